"""Old documents are read through steps from format to format; an unknown format is refused."""

from typing import Any

import pytest

from schemas.documents import DocumentRefused, parse_document, validated
from schemas.policy.document import CoveragePolicy
from schemas.upcast import CONVENTIONS, POLICY, Formats
from tests.rules.policy_book.examples import SHORT

pytestmark = pytest.mark.fast


def hours_get_a_unit(tree: dict[str, Any]) -> dict[str, Any]:
    return {"engine_hours": tree.pop("hours"), **tree}


def boundary_is_said(tree: dict[str, Any]) -> dict[str, Any]:
    return {**tree, "at_cap": "covered"}


EVOLVED = Formats("example", 3, {1: hours_get_a_unit, 2: boundary_is_said})


@pytest.mark.parametrize(
    "old",
    [
        {"hours": 100},
        {"format": 1, "hours": 100},
        {"format": 2, "engine_hours": 100},
        {"format": 3, "engine_hours": 100, "at_cap": "covered"},
    ],
)
def test_a_document_of_any_format_is_read_as_the_current_one(old: dict[str, Any]) -> None:
    before = dict(old)
    assert EVOLVED.upcast(old) == {"format": 3, "engine_hours": 100, "at_cap": "covered"}
    assert old == before, "the document itself stays as it was"


def test_a_current_document_is_not_touched() -> None:
    tree = {"format": 3, "at_cap": "not_covered"}
    assert EVOLVED.upcast(tree) is tree


@pytest.mark.parametrize("steps", [{}, {1: boundary_is_said}, {2: boundary_is_said}])
def test_a_registry_with_a_gap_cannot_be_made(steps: Any) -> None:
    with pytest.raises(AssertionError, match="one step each"):
        Formats("example", 3, steps)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("format: 2", "this policy is written in format 2, and formats up to 1 are read here"),
        ("format: 0", "the format is a whole number from 1; write format: 1"),
        ('format: "1"', "the format is a whole number from 1"),
        ("format: true", "the format is a whole number from 1"),
    ],
)
def test_an_unknown_format_is_refused_where_it_stands(line: str, words: str) -> None:
    with pytest.raises(DocumentRefused) as refused:
        validated(CoveragePolicy, parse_document(f"{SHORT}{line}\n", "sprayer.yaml"))
    (fault,) = refused.value.faults
    assert (fault.line, fault.path) == (SHORT.count("\n") + 1, "format")
    assert words in fault.message


def test_documents_of_the_first_format_are_read_with_and_without_saying_so() -> None:
    """The formats in use: a change of either number needs a step, and a document of its time here."""
    assert (POLICY.current, CONVENTIONS.current) == (1, 1)
    said = validated(CoveragePolicy, parse_document(f"format: 1\n{SHORT}", "sprayer.yaml"))
    assert said == validated(CoveragePolicy, parse_document(SHORT, "sprayer.yaml"))
