"""The values of a component that nothing tells: one for each kind that clauses and records tell apart."""

from typing import Any

import pytest

from rules.adjudicate import adjudicate
from rules.cases.facts import merged
from rules.policy_book.book import PolicyBook, build_book
from rules.selection.components import possible_components
from rules.settlement.tables import index_tables
from schemas.claim_file import ClaimFile
from schemas.policy.document import CoveragePolicy
from tests.reference.fixture_books import CONVENTIONS, SOURCE

pytestmark = pytest.mark.fast

TERMS = {
    "exclusions": [
        {"clause": "8", "wear": ["belt", "brake_pad", "clutch_disc"], "unless": "never", "borne_by": "owner"},
        {"clause": "9", "consumables": ["filter"], "unless": "never", "borne_by": "owner"},
    ],
    "carve_outs": [{"clause": "2.9", "components": ["lamp", "seat"], "never": True}],
}


def book() -> PolicyBook:
    terms = CoveragePolicy.model_validate({**SOURCE.policies["money@1"], **TERMS})
    return build_book([terms], CONVENTIONS.values())


def claim_file(components: list[dict[str, str]] | None = None) -> ClaimFile:
    machine = {"serial": "S-1", "model": "RM10", "built_on": "2024-12-01", "events": {"retail_delivery": "2025-01-10"}}
    work = {"line": "work", "item": "labour", "hours": "2.0", "rate": "50.00"}
    claim = {"claim": "C-1", "serial": "S-1", "dealer": "D-1", "currency": "EUR", "failed_on": "2025-06-16"}
    tree = {
        "machine": {**machine, "use": "commercial", "region": "XX", "components": components or []},
        "claim": {**claim, "repair_ended_on": "2025-06-20", "lines": [work]},
        "dealer": {"dealer": "D-1", "region": "XX", "currency": "EUR"},
        "currency_exponents": {"EUR": 2},
        "decided_on": "2025-06-30",
    }
    return ClaimFile.model_validate(tree)


def possible(file: ClaimFile) -> tuple[str | None, ...]:
    return possible_components(file.claim.lines[0], file, index_tables(file), book())


def test_components_under_the_same_clauses_are_tried_once() -> None:
    # belt, brake pad and clutch disc stand in one clause, lamp and seat in another; the last is one that none names
    assert possible(claim_file()) == ("belt", "filter", "lamp", None)


def test_a_component_on_the_machine_is_one_of_its_own() -> None:
    fitted = [{"id": "f1", "component": "clutch_disc"}, {"id": "f2", "component": "gearbox"}]
    assert possible(claim_file(fitted)) == ("belt", "clutch_disc", "filter", "gearbox", "lamp", None)


CAP = {"clause": "6", "over": "claim", "at": {"amount": "10.00"}, "items": "all", "excess_borne_by": "owner"}
NAMING: dict[str, dict[str, Any]] = {
    "what the coverage reaches": {"applies_to": {"components": ["axle"]}},
    "what it leaves to another one": {"applies_to": {"except_components": ["axle"]}},
    "a carve-out": {"carve_outs": [{"clause": "2.9", "components": ["axle"], "never": True}]},
    "wear items": {"exclusions": [{"clause": "8", "wear": ["axle"], "unless": "never", "borne_by": "owner"}]},
    "consumables": {"exclusions": [{"clause": "9", "consumables": ["axle"], "unless": "never", "borne_by": "owner"}]},
    "a cap": {"caps": [{**CAP, "components": ["axle"]}]},
    "what a service is for": {
        "services": {"oil": {**SOURCE.policies["two-services@1"]["services"]["oil"], "links": ["axle"]}}
    },
}


@pytest.mark.parametrize("changes", NAMING.values(), ids=NAMING)
def test_each_clause_that_names_components_tells_them_apart(changes: dict[str, Any]) -> None:
    terms = CoveragePolicy.model_validate(merged(SOURCE.policies["money@1"], changes))
    file = claim_file()
    tried = possible_components(
        file.claim.lines[0], file, index_tables(file), build_book([terms], CONVENTIONS.values())
    )
    assert tried == ("axle", None)


def test_clauses_of_coverages_for_other_models_tell_nothing_apart() -> None:
    changes = {**NAMING["a carve-out"], "applies_to": {"models": ["XX9"]}}
    terms = CoveragePolicy.model_validate(merged(SOURCE.policies["money@1"], changes))
    file = claim_file()
    tried = possible_components(
        file.claim.lines[0], file, index_tables(file), build_book([terms], CONVENTIONS.values())
    )
    assert tried == (None,)


ALTERED = {"id": "a1", "component": "axle", "kind": "altered", "found_on": "2025-06-01"}
KIT = {
    "id": "f1",
    "component": "wheel_drive",
    "kit_parts": ["axle"],
    "fitted_as": "retrofit_kit",
    "fitted_on": "2025-02-01",
}
PAID = {"id": "P-1", "claim": "C-0", "paid_on": "2025-05-01", "policy": "money@1", "item": "parts", "component": "axle"}
PAID |= {"amount": "1.00", "currency": "EUR"}
ON_FILE = {
    "an alteration": ({"machine": {"alterations": [ALTERED]}}, ("axle", None)),
    "the parts of a kit": ({"machine": {"components": [KIT]}}, ("axle", "wheel_drive", None)),
    "what was paid before": ({"earlier_payments": [PAID]}, ("axle", None)),
}


@pytest.mark.parametrize(("changes", "expected"), ON_FILE.values(), ids=ON_FILE)
def test_each_record_that_names_a_component_makes_it_one_of_its_own(
    changes: dict[str, Any], expected: tuple[str | None, ...]
) -> None:
    tree = merged(claim_file().model_dump(mode="json", by_alias=True), changes)
    file = ClaimFile.model_validate(tree)
    terms = CoveragePolicy.model_validate(SOURCE.policies["money@1"])
    tried = possible_components(
        file.claim.lines[0], file, index_tables(file), build_book([terms], CONVENTIONS.values())
    )
    assert tried == expected


def test_a_component_of_one_world_is_told_to_nobody() -> None:
    decision = adjudicate(book(), claim_file())
    assert [(line.outcome, line.component) for line in decision.lines] == [("need_info", None)]
    assert [(question.id, question.about, question.words) for question in decision.questions] == [
        ("component", "component", "which component failed first")
    ]


def test_a_denial_under_every_component_names_none() -> None:
    late = claim_file().model_dump(mode="json", by_alias=True)
    late["claim"] |= {"failed_on": "2030-06-16", "repair_ended_on": "2030-06-20"}  # 60 months end on 10 January 2030
    late["decided_on"] = "2030-06-30"
    (line,) = adjudicate(book(), ClaimFile.model_validate(late)).lines
    assert (line.outcome, line.component) == ("deny", None)
