"""The engine and the slow reference decide the same random claims under every policy of the fixtures.

Where both know all results that open facts allow, outcome, every bearer, what was allowed and added, the version and
the reasons must be equal. Where the worlds are too many, the engine may not promise more than any drawn world gives.
"""

from collections import Counter

import pytest

from rules.adjudicate import Adjudicator
from schemas.claim_file import ClaimFile
from schemas.decision import Decision, LineDecision
from tests.reference.adjudication import Book
from tests.reference.decide import Decided, Verdict, decide
from tests.reference.fixture_books import BOOKS, CONVENTIONS, POLICIES, Names, book_of, claims_for

OF_EACH = {0: 16, 0.3: 12, 0.8: 8}  # claims a book by degree of mess, in the ordinary run
BEARERS = {"maker": "maker_pays", "owner": "owner_owes", "dealer": "dealer_bears", "other_payer": "other_payer"}


def differences(book: Book, claim_file: ClaimFile, decision: Decision, seen: Counter[str]) -> list[str]:
    """Return in what the decision and the reference differ, a story each."""
    reference = decide(book, claim_file)
    if reference.unclear:
        seen["unclear"] += 1
        return []
    found = []
    for line in decision.lines:
        verdict = reference.lines[line.line]
        gave_up = any(reason.code == "too_many_open_facts" for reason in line.reasons)
        seen["gave up" if gave_up else "exact" if verdict.exact else "sound"] += 1
        seen[line.outcome] += 1
        exponent = claim_file.currency_exponents[line.currency]
        wrong = _exact(line, verdict, exponent) if verdict.exact and not gave_up else _sound(line, verdict, exponent)
        if wrong:
            found.append(_story(wrong, claim_file, decision, line, reference))
    return found


def _units(line: LineDecision, exponent: int) -> dict[str, int]:
    return {who: int(getattr(line, field).scaleb(exponent)) for who, field in BEARERS.items()}


def _exact(line: LineDecision, verdict: Verdict, exponent: int) -> str:
    codes = frozenset(reason.code for reason in line.reasons) - {"fact_open", "dates_contradict"}
    if line.outcome not in verdict.outcomes():
        return f"outcome {line.outcome}, not {' or '.join(sorted(verdict.outcomes()))}"
    if _units(line, exponent) != verdict.certain():
        return f"bearers {_units(line, exponent)}, not {verdict.certain()}"
    shown = verdict.shown()
    if not any((codes, line.policy) == (result.codes, result.policy) for result in shown):
        return f"reasons {sorted(codes)} under {line.policy}"
    money = {(r.money.claimed, r.money.added, r.money.allowed) for r in shown if r.codes == codes}
    if tuple(int(value.scaleb(exponent)) for value in (line.claimed, line.added, line.allowed)) not in money:
        return f"claimed, added and allowed, not {money}"
    return ""


def _sound(line: LineDecision, verdict: Verdict, exponent: int) -> str:
    certain, promised = verdict.certain(), _units(line, exponent)
    if any(promised[who] > certain[who] for who in certain):
        return f"bearers {promised}, more than {certain}"
    if not verdict.agreed and line.outcome not in ("need_info", "refer"):
        return f"outcome {line.outcome}, but worlds differ"
    return ""


def _story(wrong: str, claim_file: ClaimFile, decision: Decision, line: LineDecision, reference: Decided) -> str:
    results = {repr(result): None for result in reference.lines[line.line].results}
    return "\n".join(
        (
            f"claim {decision.claim}, line {line.line}: {wrong}",
            f"  engine: {line.outcome} {line.policy} {[(r.code, r.words) for r in line.reasons]}",
            *(f"  reference: {result}" for result in list(results)[:6]),
            f"  claim file: {claim_file.model_dump_json(by_alias=True, exclude_defaults=True)}",
        )
    )


def run(names: Names, seed: int, mess: float, claims: int) -> tuple[list[str], Counter[str]]:
    """Decide ``claims`` random claims both ways; return the differences and what was seen."""
    book = {name: (POLICIES[name], CONVENTIONS[str(POLICIES[name].conventions)]) for name in names}
    files, seen, found = claims_for(names, seed, mess), Counter[str](), list[str]()
    with Adjudicator(book_of(names)) as adjudicator:
        for _ in range(claims):
            claim_file = files.draw()
            found += differences(book, claim_file, adjudicator.decide(claim_file, remedies=False), seen)
    return found, seen


@pytest.mark.parametrize("mess", sorted(OF_EACH))
@pytest.mark.parametrize("names", BOOKS, ids="+".join)
def test_engine_and_reference_decide_alike(names: Names, mess: float) -> None:
    found, seen = run(names, seed=20, mess=mess, claims=OF_EACH[mess])
    assert not found, "\n\n".join(sorted(found, key=len)[:2])
    assert sum(seen[kind] for kind in ("exact", "sound", "gave up")) > 0, "every history was beyond the reference"


@pytest.mark.long
@pytest.mark.parametrize("mess", [0, 0.3, 0.8])
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("names", BOOKS, ids="+".join)
def test_engine_and_reference_decide_twenty_thousand_claims_alike(names: Names, seed: int, mess: float) -> None:
    found, _ = run(names, 1000 + seed, mess, 40)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])
