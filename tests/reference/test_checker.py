"""The checker finds nothing wrong with the engine's decisions, and something wrong with every tampered one."""

import copy
from collections.abc import Iterator
from typing import Any

import pytest

from rules.adjudicate import Adjudicator
from rules.cases.facts import claim_file_of
from rules.cases.run import CaseRunner
from rules.decision.catalogue import PRECEDENCE
from rules.policy_book.book import build_book
from schemas.cases import CaseTable
from schemas.documents import parse_document, validated
from service.policy_files import read_policy_source
from service.shipped import FIXTURES
from tests.reference.checker import check
from tests.reference.fixture_books import BOOKS, Names, book_of, claims_for
from tests.reference.test_worked_cases import EXPONENTS
from tests.reference.test_worked_cases import book_of as cases_book_of
from tests.rules.decision.test_remedies_shared import capped, decided

Doc = dict[str, Any]


def documents(names: Names, seed: int, mess: float, claims: int, *, remedies: bool = False) -> Iterator[Doc]:
    files = claims_for(names, seed, mess)
    with Adjudicator(book_of(names)) as adjudicator:
        for _ in range(claims):
            yield adjudicator.decide(files.draw(), remedies=remedies).document


@pytest.mark.parametrize("mess", [0, 0.4])
@pytest.mark.parametrize("names", BOOKS, ids="+".join)
def test_the_checker_finds_nothing_wrong(names: Names, mess: float) -> None:
    for document in documents(names, 7, mess, 3, remedies=True):
        assert check(document, PRECEDENCE) == [], document


WHEEL_DRIVE = ("quillfen-wheel-drive@1", "quillfen-wheel-drive@2", "quillfen-wheel-drive@3")

# Where to change what: a path (``*`` the first element in which the rest of it is found), the new value.
TAMPERINGS: tuple[tuple[str, Any], ...] = (
    ("lines.*.maker_pays", "0.01"),
    ("lines.*.claimed", "9.99"),
    ("lines.*.added", "5.00"),
    ("lines.*.allowed", "0.00"),
    ("lines.*.owner_owes", "1.23"),
    ("lines.*.dealer_bears", "-4.00"),
    ("lines.*.other_payer", "0.50"),
    ("lines.*.open", "7.00"),
    ("lines.*.outcome", "pay_zero"),
    ("lines.*.share", "1/7"),
    ("lines.*.policy", "quillfen-wheel-drive@9"),
    ("lines.*.text", "another"),
    ("lines.*.steps.*.before", "3.00"),
    ("lines.*.steps.*.after", "3.00"),
    ("lines.*.steps.*.exact", "3.3"),
    ("lines.*.steps.*.factor", "9/10"),
    ("lines.*.steps.*.amount", "2.5"),
    ("lines.*.steps.*.bearer", "other_payer"),
    ("lines.*.steps.*.words", "another"),
    ("lines.*.reasons.*.code", "no_such_code"),
    ("lines.*.reasons.*.code", "window_open"),
    ("lines.*.reasons.*.comparison.operator", "=="),
    ("lines.*.reasons.*.comparison.left", "0"),
    ("lines.*.reasons.*.facts.*.1", "another"),
    ("lines.*.notes.*.words", "another"),
    ("lines.*.considered.*.outcome", "another"),
    ("status", "nothing_due"),
    ("payout.amount", "123456.78"),
    ("payout.currency", "CHF"),
    ("questions.*.id", "reading:another"),
    ("questions.*.lines", []),
    ("questions.*.answer_by", "2030-01-01"),
    ("deadlines.*.2", "2030-01-01"),
    ("measures.*.value", "another"),
    ("firings.*.rule", "another"),
    ("engine", "another"),
    ("format", 7),
    ("cautions.*", "another"),
    ("decided_on", "2030-01-01"),
    ("claim", "another"),
    ("digests.outcome", "sha256:0"),
    ("digests.derivation", "sha256:0"),
    ("digests.envelope", "sha256:0"),
    ("digests.claim_file", "sha256:0"),
)


def places(node: Any, path: list[str]) -> Iterator[tuple[Any, Any]]:
    """Yield each container and key that a path leads to."""
    step, rest = path[0], path[1:]
    if isinstance(node, list):
        keys: list[Any] = list(range(len(node))) if step == "*" else [int(step)] if int(step) < len(node) else []
    else:
        keys = [step] if isinstance(node, dict) and step in node else []
    for key in keys:
        if rest:
            yield from places(node[key], rest)
        elif node[key] is not None:
            yield node, key


@pytest.fixture(scope="module")
def sound() -> list[Doc]:
    return [d for mess in (0, 0.8) for d in documents(WHEEL_DRIVE, 11, mess, 25)]


@pytest.mark.fast
@pytest.mark.parametrize(("path", "value"), TAMPERINGS)
def test_the_checker_refuses_a_tampered_decision(sound: list[Doc], path: str, value: object) -> None:
    changed = 0
    for document in sound:
        for place in range(len(list(places(document, path.split("."))))):
            tampered = copy.deepcopy(document)
            container, key = list(places(tampered, path.split(".")))[place]
            if container[key] == value:
                continue
            container[key] = value
            changed += 1
            assert check(tampered, PRECEDENCE), f"{path} of {document['claim']}: {value} passed"
            break
    assert changed, f"nothing to change at {path}"


# A pump and a drive under one cap of 3,000.00 a claim (tests/rules/decision/test_remedies_shared.py): the records of
# the pump's oil bring it 1,000.00 and leave the drive 2,000.00 of the 2,300.00 that it has now.
REMEDY_TAMPERINGS: tuple[dict[str, Any], ...] = (
    {"maker_pays": "1000.01"},
    {"maker_pays": "-1.00"},
    {"also": []},
    {"also": [["drive", "2000.01"]]},
    {"also": [["drive", "2300.00"]]},
    {"also": [["pump", "2000.00"]]},
    {"also": [["another", "2000.00"]]},
    {"line": "another"},
    {"payout": None},
    {"also": [], "payout": None, "maker_pays": "0.00"},
    {"also": [["drive", "1300.00"]], "payout": {"currency": "EUR", "amount": "2300.00", "rates": [], "held": []}},
)


@pytest.mark.fast
@pytest.mark.parametrize("change", REMEDY_TAMPERINGS, ids=str)
def test_a_remedy_that_is_not_as_it_says_is_refused_even_with_digests_made_new(change: Doc) -> None:
    document = capped_document()
    assert not list(check(document, PRECEDENCE))
    document["remedies"][0] |= change
    assert any("digest" not in finding for finding in check(document, PRECEDENCE)), change


def capped_document() -> Doc:
    """Decide the claim of a pump and a drive whose remedy takes from the drive, with its remedies."""
    with CaseRunner(read_policy_source(FIXTURES), {"EUR": 2}) as runner:
        return decided(runner, capped("3000.00")).document


TOLD_BY_DIGEST_ALONE = ("words", "text", "policy", "considered", "notes", "facts", "bearer")


@pytest.mark.fast
@pytest.mark.parametrize(
    ("path", "value"), [t for t in TAMPERINGS[:24] if not any(word in t[0] for word in TOLD_BY_DIGEST_ALONE)]
)
def test_amounts_steps_and_comparisons_are_refused_even_with_digests_made_new(
    sound: list[Doc], path: str, value: object
) -> None:
    refused = 0
    for document in sound:
        tampered = copy.deepcopy(document)
        for container, key in places(tampered, path.split(".")):
            if container[key] != value:
                container[key] = value
                break
        refused += any("digest" not in finding for finding in check(tampered, PRECEDENCE))
    assert refused, f"{path}: no tampering was seen but by its digest"


def hour_limit_document() -> Doc:
    """Decide the worked case of a pump fitted at 480.0 h that failed at 1,480.1 h, past 1,000 h of its own."""
    file = FIXTURES / "cases" / "tables" / "applies-fittings.yaml"
    table = validated(CaseTable, parse_document(file.read_text(encoding="utf-8"), file.name))
    case = next(case for case in table.cases if case.name == "… and 1,480.1 h is past them")
    book = cases_book_of(table, case)
    claim_file = claim_file_of(table, case, "EUR", EXPONENTS)
    pinned = {(c.conventions, c.version): c for _, c in book.values()}
    with Adjudicator(build_book([policy for policy, _ in book.values()], list(pinned.values()))) as adjudicator:
        return adjudicator.decide(claim_file, remedies=False).document


@pytest.mark.fast
@pytest.mark.parametrize(
    ("name", "value"),
    [("machine hours", "1,480.2 h"), ("machine hours at the fitting", "470.0 h"), ("hours counted", "1,000.2 h")],
)
def test_hours_counted_are_recomputed_from_what_they_are_the_rest_of(name: str, value: str) -> None:
    document = hour_limit_document()
    assert not list(check(document, PRECEDENCE))
    reason = next(r for r in document["lines"][0]["reasons"] if r["code"] == "hour_limit_passed")
    fact = next(fact for fact in reason["facts"] if fact[0] == name)
    fact[1] = value
    assert any(finding for finding in check(document, PRECEDENCE) if "digest" not in finding)


@pytest.mark.parametrize(
    ("part", "another", "said"),
    [
        ("comparison", "1.00", "ends no window"),
        ("due", "250.0 h (225.0–275.0 h) or 1 March 2025 (30 January 2025 to 31 March 2025)", "whichever comes first"),
    ],
)
def test_what_is_told_of_a_due_point_is_held_against_what_is_compared(part: str, another: str, said: str) -> None:
    """Still true as a comparison, and sealed no longer: the window told is another one."""
    drawn = (document for seed in range(4) for document in documents(WHEEL_DRIVE, seed, 0, 12))
    for document in drawn:
        reasons = [r for line in document["lines"] for r in line["reasons"] if r["code"] == "service_missed"]
        for reason in [r for r in reasons if r["comparison"] is not None and r["comparison"]["unit"] == "h"]:
            assert not any(said in text for text in check(document, PRECEDENCE))
            if part == "comparison":
                reason["comparison"]["right"] = another
            else:
                reason["facts"] = [[name, another if name == "due" else value] for name, value in reason["facts"]]
            assert any(said in text for text in check(document, PRECEDENCE))
            return
    raise AssertionError("no service of these claims was missed by its hours")
