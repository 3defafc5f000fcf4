"""Claims whose days contradict one another: engine and reference alike, and a denial that stands holds on any day."""

import random
from collections import Counter
from datetime import date, timedelta

import pytest

from rules.adjudicate import Adjudicator
from rules.decision.catalogue import PRECEDENCE
from schemas.claim_file import ClaimFile
from tests.reference.checker import check
from tests.reference.claim_days import AFTER, days_in_doubt
from tests.reference.fixture_books import BOOKS, CONVENTIONS, POLICIES, Names, book_of, claims_for
from tests.rules.test_reference_differential import differences

FIELDS = tuple(AFTER)
PAID = ("pay", "pay_part", "pay_zero")
DEMO = tuple(name for name in POLICIES if name.startswith("quillfen-"))


def mixed_up(claim_file: ClaimFile, rng: random.Random) -> ClaimFile:
    """Return the claim with one or two of its days moved a little, or by a whole year."""
    tree = claim_file.model_dump(mode="json", by_alias=True)
    claim = tree["claim"]
    for field in rng.sample(FIELDS, rng.choice((1, 1, 2))):
        if claim[field] is not None:
            moved = date.fromisoformat(claim[field]) + timedelta(days=rng.choice((-366, -12, -4, -1, 1, 5, 30, 365)))
            claim[field] = moved.isoformat()
    if rng.random() < 0.2:
        claim["symptom"] = {
            "on": (date.fromisoformat(claim["failed_on"]) + timedelta(days=rng.choice((0, 1)))).isoformat()
        }
    if rng.random() < 0.3:
        claim["cause"] = rng.choice(("collision", "neglect", claim["cause"]))
    return ClaimFile.model_validate(tree)


@pytest.mark.parametrize("mess", [0, 0.3])
@pytest.mark.parametrize("names", BOOKS, ids="+".join)
def test_engine_and_reference_decide_claims_with_days_in_doubt_alike(names: Names, mess: float) -> None:
    book = {name: (POLICIES[name], CONVENTIONS[str(POLICIES[name].conventions)]) for name in names}
    files, rng, seen, found, doubtful = claims_for(names, 31, mess), random.Random(7), Counter[str](), list[str](), 0
    with Adjudicator(book_of(names)) as adjudicator:
        for _ in range(10):
            claim_file = mixed_up(files.draw(), rng)
            doubtful += bool(days_in_doubt(claim_file))
            decision = adjudicator.decide(claim_file, remedies=False)
            found += differences(book, claim_file, decision, seen)
            found += check(decision.document, PRECEDENCE)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])
    assert doubtful > 2


def test_what_is_denied_while_the_day_of_the_failure_is_in_doubt_is_paid_on_no_day() -> None:
    """Days of the machine's life are tried, with every other day of the claim left out."""
    files, rng, denied = claims_for(DEMO, 3, 0.0), random.Random(11), 0
    with Adjudicator(book_of(DEMO)) as adjudicator:
        for _ in range(80):
            claim_file = mixed_up(files.draw(), rng)
            if "failed_on" not in days_in_doubt(claim_file):
                continue
            stands = {x.line for x in adjudicator.decide(claim_file, remedies=False).lines if x.outcome == "deny"}
            if not stands:
                continue
            denied += len(stands)
            tree = claim_file.model_dump(mode="json", by_alias=True)
            tree["claim"] |= dict.fromkeys(FIELDS) | {"symptom": None}
            built = date.fromisoformat(tree["machine"]["built_on"])
            for day in {rng.randint(0, (claim_file.decided_on - built).days) for _ in range(8)}:
                tree["claim"]["failed_on"] = (built + timedelta(days=day)).isoformat()
                decision = adjudicator.decide(ClaimFile.model_validate(tree), remedies=False)
                covered = [x for x in decision.lines if x.line in stands and (x.maker_pays or x.outcome in PAID)]
                assert not covered, (day, covered, claim_file.claim)
    assert denied > 10
