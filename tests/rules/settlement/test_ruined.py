"""Chains of causes: a covered failure is at the beginning, whichever coverage covers it, or none is."""

from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.adjudicate import Adjudicator
from rules.cases.facts import claim_file_of
from rules.policy_book.book import build_book
from schemas.cases import CaseTable
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from tests.rules.settlement.examples import CONVENTIONS, EXPONENTS, tree

pytestmark = pytest.mark.fast

NAMES = ("beside-drive-1", "paired-drive-1", "paired-drive-2")
MACHINE = {
    "model": "RM10",
    "retail_delivery": "2024-01-10",
    "records_complete_from": "2024-01-10",
    "components": {"W": {"component": "wheel_drive", "serial": "WD-1"}},
}
# How a line stands by itself: covered by the base coverage or by the drive's own, held by a person, refused, or refused
# unless a covered failure ruined it.
LINES: dict[str, dict[str, str]] = {
    "covered": {"component": "pump", "net": "10.00"},
    "elsewhere": {"component": "wheel_drive", "net": "10.00"},
    "refer": {"component": "wheel_drive", "net": "10.00", "removed_serial": "WD-7"},
    "deny": {"component": "tyre", "net": "10.00"},
    "spared": {"component": "seal", "net": "10.00"},
}


@pytest.fixture(scope="module")
def adjudicator() -> Iterator[Adjudicator]:
    policies = [CoveragePolicy.model_validate(tree(f"cases/policies/{name}.yaml")) for name in NAMES]
    with Adjudicator(build_book(policies, [Conventions.model_validate(CONVENTIONS)])) as adjudicator:
        yield adjudicator


def outcomes(adjudicator: Adjudicator, kinds: Mapping[str, str], causes: Mapping[str, str]) -> dict[str, str]:
    """Return the outcome of each line, given how it stands by itself and which line ruined it."""
    claim: dict[str, Any] = {"failed_on": "2024-06-17", "repair_ended_on": "2024-06-20", "reading": 100}
    claim["lines"] = {line: LINES[kind] | {"caused_by": causes.get(line)} for line, kind in kinds.items()}
    written = {
        "policies": ["beside-drive@1", "paired-drive@2", "paired-drive@1"],
        "base": {"machine": MACHINE, "claim": claim},
        "cases": [{"name": "a chain of causes", "expect": {"a": {"outcome": "pay"}}}],
    }
    table = CaseTable.model_validate(written)
    decision = adjudicator.decide(claim_file_of(table, table.cases[0], "EUR", EXPONENTS), remedies=False)
    return {line.line: line.outcome for line in decision.lines}


@pytest.mark.parametrize(
    ("kinds", "causes", "expected"),
    [
        ({"a": "spared"}, {}, "deny"),  # no cause at all
        ({"a": "spared", "b": "covered"}, {"a": "b"}, "pay"),
        ({"a": "spared", "b": "elsewhere"}, {"a": "b"}, "pay"),
        ({"a": "spared", "b": "refer"}, {"a": "b"}, "refer"),
        ({"a": "spared", "b": "deny"}, {"a": "b"}, "deny"),
        ({"a": "spared", "b": "spared", "c": "elsewhere"}, {"a": "b", "b": "c"}, "pay"),
        ({"a": "spared", "b": "spared", "c": "refer"}, {"a": "b", "b": "c"}, "refer"),
        ({"a": "spared", "b": "deny", "c": "covered"}, {"a": "b", "b": "c"}, "deny"),  # the chain ends at b
        ({"a": "spared", "b": "spared"}, {"a": "b", "b": "a"}, "deny"),  # a circle
        ({"a": "spared", "b": "spared", "c": "spared"}, {"a": "b", "b": "c", "c": "b"}, "deny"),  # into a circle
        ({"a": "spared", "b": "covered"}, {"a": "b", "b": "a"}, "pay"),  # a circle with a covered line in it
        ({"a": "covered", "b": "deny"}, {"a": "b"}, "pay"),  # covered for itself
    ],
)
def test_a_chain_of_causes(
    adjudicator: Adjudicator, kinds: dict[str, str], causes: dict[str, str], expected: str
) -> None:
    assert outcomes(adjudicator, kinds, causes)["a"] == expected


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_a_line_is_paid_where_its_chain_leads_to_a_covered_one(adjudicator: Adjudicator, data: st.DataObject) -> None:
    names = "abcdef"[: data.draw(st.integers(1, 6))]
    kinds = {line: data.draw(st.sampled_from(sorted(LINES))) for line in names}
    others = {line: [None, *(other for other in names if other != line)] for line in names}
    causes = {line: cause for line in names if (cause := data.draw(st.sampled_from(others[line]))) is not None}
    found = outcomes(adjudicator, kinds, causes)
    for line in names:
        last: str | None = line
        for _ in names:
            last = causes.get(last) if last is not None and kinds[last] == "spared" else last
        expected = {"covered": "pay", "elsewhere": "pay", "refer": "refer"}.get(kinds[last] if last else "", "deny")
        assert found[line] == expected, (kinds, causes, line)
