"""Engine and reference decide alike what several coverages, and several versions of one, make of one claim.

The claims are of a pair of drives, each with its oil service or without, and of what they ruined under a base coverage;
deductibles and caps are drawn for each version, now and then the same for all. Each feature must have been seen.
"""

import random
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest

from rules.adjudicate import Adjudicator
from rules.cases.facts import claim_file_of
from rules.policy_book.book import build_book
from schemas.cases import CaseTable
from schemas.claim_file import ClaimFile
from schemas.decision import Decision
from schemas.policy.document import CoveragePolicy
from tests.reference.fixture_books import CONVENTIONS, POLICIES
from tests.rules.test_reference_differential import differences

NAMES = ("beside-drive@1", "paired-drive@1", "paired-drive@2")
OIL = {"on": "2024-09-02", "reading": 400, "tasks": ["drain_and_fill"], "by": "authorised_dealer"}
MACHINE: dict[str, Any] = {
    "model": "RM10",
    "retail_delivery": "2024-01-10",
    "components": {
        "L": {"component": "wheel_drive", "position": "left", "serial": "WD-1"},
        "R": {"component": "wheel_drive", "position": "right", "serial": "WD-2"},
    },
}
FEATURES = {"two versions", "one after another", "a cap or deductible over versions", "ruined", "cause not decided"}


def drawn_terms(rng: random.Random) -> dict[str, Any]:
    terms: dict[str, Any] = {}
    if rng.random() < 0.6:
        terms["deductible"] = {"clause": "D", "amount": rng.choice(("25.00", "60.00", "400.00")), "borne_by": "owner"}
    terms["caps"] = [
        {
            "clause": "C",
            "over": rng.choice(("claim", "line", "machine_lifetime", "component_lifetime")),
            "at": {"amount": rng.choice(("300.00", "900.55", "1500.00"))},
            "items": rng.choice(("all", "all", ["parts"])),
            "excess_borne_by": "dealer",
        }
        for _ in range(rng.choice((0, 1, 1, 2)))
    ]
    return terms


def drawn_policies(rng: random.Random) -> list[CoveragePolicy]:
    same = drawn_terms(rng) if rng.random() < 0.3 else None
    trees = [POLICIES[name].model_dump(mode="json", by_alias=True, exclude_none=True) for name in NAMES]
    return [CoveragePolicy.model_validate({**tree, **(same or drawn_terms(rng))}) for tree in trees]


def drawn_lines(rng: random.Random) -> dict[str, dict[str, Any]]:
    names = [f"l{number}" for number in range(rng.randint(2, 6))]
    lines: dict[str, dict[str, Any]] = {}
    for name in names:
        component = rng.choice(("wheel_drive", "wheel_drive", "wheel_drive", "seal", "belt", "tyre", "pump"))
        line = lines[name] = {"component": component, "net": f"{rng.randint(0, 90_000) / 100:.2f}"}
        if component == "wheel_drive":
            line["position"] = rng.choice(("left", "right", "left", "right", "none"))
            if rng.random() < 0.15:
                line["removed_serial"] = "WD-9"
            if rng.random() < 0.3:
                del line["net"]
                line |= {"item": "labour", "hours": f"{rng.randint(1, 60) / 10}", "rate": "100.00"}
        cause = rng.choice(names)
        if cause != name and rng.random() < 0.7:
            line["caused_by"] = cause
    return lines


def drawn_claim(rng: random.Random) -> ClaimFile:
    payments = {
        f"P-{number}": {
            "paid_on": "2025-01-15",
            "policy": rng.choice(NAMES),
            "component": rng.choice(("wheel_drive", "pump")),
            "position": rng.choice(("left", "right", "none")),
            "amount": f"{rng.randint(0, 50_000) / 100:.2f}",
        }
        for number in range(rng.choice((0, 0, 1, 2)))
    }
    base = {
        "machine": MACHINE | {"records_complete_from": "2024-01-10" if rng.random() < 0.8 else None},
        "services": {
            side: OIL | {"position": side, "evidence": ["dealer_invoice"]}
            for side in ("left", "right")
            if rng.random() < 0.5
        },
        "claim": {
            "failed_on": "2025-06-16",
            "repair_ended_on": "2025-06-20",
            "submitted_on": "2025-06-25",
            "reading": rng.choice((300, 900, 1500, 1999, 2000)),
            "cause": "material",
            "component": "wheel_drive",
            "lines": drawn_lines(rng),
        },
        "earlier_payments": payments,
    }
    case = {"name": "a drawn claim", "expect": {"l0": {"outcome": "pay"}}}
    table = CaseTable.model_validate({"policies": NAMES, "base": base, "cases": [case]})
    return claim_file_of(table, table.cases[0], "EUR", {"EUR": 2})


def features_of(decision: Decision) -> Iterator[str]:
    reasons = [reason for line in decision.lines for reason in line.reasons]
    if {"paired-drive@1", "paired-drive@2"} <= {line.policy for line in decision.lines if line.maker_pays}:
        yield "two versions"
        if any(reason.code in ("cap_reached", "deductible") for reason in reasons):
            yield "a cap or deductible over versions"
        if any(" on line " in reason.words for reason in reasons if reason.code in ("cap_reached", "deductible")):
            yield "one after another"
    if any(note.code == "caused_by_covered_failure" for line in decision.lines for note in line.notes):
        yield "ruined"
    if any(reason.code == "cause_undecided" for reason in reasons):
        yield "cause not decided"


def run(seed: int, books: int, claims: int) -> tuple[list[str], set[str]]:
    """Return in what engine and reference differ, and which features the decisions had."""
    rng = random.Random(seed)
    found, features = list[str](), set[str]()
    for _ in range(books):
        policies = drawn_policies(rng)
        book = {str(policy.ref): (policy, CONVENTIONS[str(policy.conventions)]) for policy in policies}
        with Adjudicator(build_book(policies, CONVENTIONS.values())) as adjudicator:
            for _ in range(claims):
                claim_file = drawn_claim(rng)
                decision = adjudicator.decide(claim_file, remedies=False)
                found += differences(book, claim_file, decision, Counter())
                features |= set(features_of(decision))
    return found, features


def test_engine_and_reference_decide_alike_over_coverages_and_versions() -> None:
    found, features = run(seed=3, books=25, claims=5)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])
    assert features == FEATURES


@pytest.mark.long
@pytest.mark.parametrize("seed", range(200, 212))
def test_engine_and_reference_decide_many_claims_alike_over_coverages_and_versions(seed: int) -> None:
    found, _ = run(seed, 30, 6)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])
