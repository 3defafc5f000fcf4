"""The coverage structures of the trade: each is a policy that loads, with worked cases on both sides of its edges."""

from pathlib import Path

import pytest

from schemas.cases import CaseTable
from schemas.conventions import Conventions
from schemas.documents import parse_document, validated
from schemas.policy.document import CoveragePolicy
from service.shipped import FIXTURES

pytestmark = pytest.mark.fast

# Ids of the structures seen in the trade; the gaps are meant. Common practice, no source.
STRUCTURES = ("01", "02", "03", "04", "05", "06", "08", "09", "10", "11", "12", "14", "16", "17", "19", "21", "24")
POLICIES = sorted((FIXTURES / "cases" / "policies").glob("cs-*.yaml"))
PAID = {"pay", "pay_part"}


def _text(file: Path) -> str:
    return file.read_text(encoding="utf-8")


def _table(structure: str) -> CaseTable:
    file = FIXTURES / "cases" / "tables" / f"structures-cs-{structure}.yaml"
    return validated(CaseTable, parse_document(_text(file), file.name))


@pytest.mark.parametrize("file", POLICIES, ids=[file.stem for file in POLICIES])
def test_policy_loads_under_the_name_of_its_file_and_says_what_it_is(file: Path) -> None:
    policy = validated(CoveragePolicy, parse_document(_text(file), file.name))
    assert policy.policy == file.stem
    head = " ".join(line.removeprefix("# ") for line in _text(file).splitlines() if line.startswith("#"))
    assert head.startswith(f"CS-{file.stem[3:5]}")
    assert "common practice, no source" in head


@pytest.mark.parametrize("structure", STRUCTURES)
def test_structure_has_policies_and_its_table_tries_every_one(structure: str) -> None:
    named = {policy.name for policy in _table(structure).policies}
    assert named
    assert named == {file.stem for file in POLICIES if file.stem.startswith(f"cs-{structure}-")}


@pytest.mark.parametrize("structure", STRUCTURES)
def test_table_shows_both_sides_of_the_edges(structure: str) -> None:
    outcomes = [line.outcome for case in _table(structure).cases for line in case.expect.values()]
    assert sum(outcome in PAID for outcome in outcomes) >= 2
    assert sum(outcome == "deny" for outcome in outcomes) >= 2


def test_no_structure_is_left_over() -> None:
    assert {file.stem[3:5] for file in POLICIES} == set(STRUCTURES)


def test_structures_pin_ready_made_conventions() -> None:
    shipped = {
        str(validated(Conventions, parse_document(_text(file), file.name)).conventions)
        for file in (FIXTURES / "conventions").glob("*.yaml")
    }
    for file in POLICIES:
        policy = validated(CoveragePolicy, parse_document(_text(file), file.name))
        assert policy.conventions.name in shipped
