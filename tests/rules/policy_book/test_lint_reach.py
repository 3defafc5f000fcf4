"""Warnings about what nothing reaches: components outside, carve-outs in a shadow, fall-backs that leave out."""

import pytest

from tests.rules.policy_book.examples import book, policy
from tests.rules.policy_book.warned import Change, Warned, assert_warned, carve_out, falling, found, ids_of, oil

pytestmark = pytest.mark.fast

CAUSED = "caused_by_covered_failure"


def excluding(*exclusions: Change) -> Change:
    return {"exclusions": [{"clause": "6", "borne_by": "owner", **exclusion} for exclusion in exclusions]}


WARNED: list[Warned] = [
    # code, terms, their near twin, path, words of the message
    (
        "component_out_of_reach",
        {"applies_to": {"components": ["wheel_drive"]}, "carve_outs": [carve_out("belt")]},
        {"applies_to": {"components": ["wheel_drive", "belt"]}, "carve_outs": [carve_out("belt")]},
        "carve_outs[0].components",
        "the belt is named here, but applies_to does not reach it",
    ),
    (
        "component_out_of_reach",
        {"applies_to": {"except_components": ["wheel_drive"]}, **oil()},
        {"applies_to": {"except_components": ["battery"]}, **oil()},
        "services.oil.links",
        "the wheel drive is named here",
    ),
    (
        "component_never_covered",
        {**oil(), "carve_outs": [{"clause": "2.1", "components": ["wheel_drive"], "never": True}]},
        {**oil(), "carve_outs": [carve_out("wheel_drive")]},
        "services.oil.links",
        "the wheel drive is never covered by a carve-out",
    ),
    (
        "carve_out_in_shadow",
        {"carve_outs": [carve_out("belt", "bulb"), carve_out("bulb", clause="2.2")]},
        {"carve_outs": [carve_out("belt", "bulb"), carve_out("fuse", clause="2.2")]},
        "carve_outs[1].components",
        "the bulb stands in carve_outs[0] already",
    ),
    (  # the earlier one decides, and the owner bears it
        "exclusion_in_shadow",
        excluding({"causes": ["flood", "fire"]}, {"causes": ["frost", "flood"], "borne_by": "dealer"}),
        excluding({"causes": ["flood", "fire"]}, {"causes": ["frost"], "borne_by": "dealer"}),
        "exclusions[1].causes",
        "flood stands in exclusions[0] already, which says who bears it",
    ),
    (
        "exclusion_in_shadow",
        excluding({"wear": ["belt"], "unless": CAUSED}, {"causes": ["fire"]}, {"wear": ["belt"], "unless": CAUSED}),
        # a belt ruined by a covered failure is left to the second
        excluding({"wear": ["belt"], "unless": CAUSED}, {"causes": ["fire"]}, {"wear": ["belt"], "unless": "never"}),
        "exclusions[2].wear",
        "belt stands in exclusions[0] already",
    ),
    (
        "exclusion_in_shadow",
        excluding({"wear": ["belt"], "unless": "never"}, {"wear": ["belt"], "unless": CAUSED}),
        excluding({"wear": ["belt"], "unless": "never"}, {"consumables": ["belt"], "unless": CAUSED}),
        "exclusions[1].wear",
        "belt stands in exclusions[0] already",
    ),
    (
        "exclusion_in_shadow",
        excluding({"consumables": ["oil"], "unless": "never"}, {"consumables": ["oil"], "unless": CAUSED}),
        excluding({"consumables": ["oil"], "unless": CAUSED}, {"consumables": ["oil"], "unless": "never"}),
        "exclusions[1].consumables",
        "oil stands in exclusions[0] already",
    ),
    (
        "exclusion_in_shadow",
        excluding(
            {"alterations": ["altered"], "reach": "everything"},
            {"alterations": ["altered"], "reach": "altered_component"},
        ),
        excluding(
            {"alterations": ["altered"], "reach": "altered_component"},
            {"alterations": ["altered"], "reach": "everything"},
        ),
        "exclusions[1].alterations",
        "altered stands in exclusions[0] already",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("code", "terms", "twin", "path", "words"), WARNED, ids=ids_of(WARNED))
def test_suspicious_components_are_warned_of_and_their_twin_is_not(
    code: str, terms: Change, twin: Change, path: str, words: str
) -> None:
    assert_warned(code, terms, twin, path, words)


FALL_BACKS: list[tuple[Change, str]] = [
    ({"models": ["QF40"]}, "models QF60"),
    ({"owner": "first"}, "later owners"),
    ({"use": ["rental"]}, "use outside rental"),
    ({"regions": ["DE"]}, "regions outside DE"),
    ({"components": ["wheel_drive"]}, "components other than the wheel drive"),
    ({"except_components": ["battery"]}, "the battery"),
    ({"built": {"from": "2020-01-01"}}, "machines built outside its days"),
    ({"serials": [{"from": "A-1", "until": "A-9"}]}, "serial numbers outside its ranges"),
]


@pytest.mark.parametrize(("narrower", "words"), FALL_BACKS)
def test_a_fall_back_that_leaves_something_out_is_warned_of(narrower: Change, words: str) -> None:
    newer = policy(falling("older@1"))
    (warning,) = found(book(newer, policy({"policy": "older", "applies_to": narrower})), "fall_back_leaves_out")
    assert warning.path == "services.oil.missed.fall_back_to"
    assert words in warning.message


@pytest.mark.parametrize("as_wide", [{}, {"models": ["*"]}, {"models": ["QF4*", "QF6*", "QF9*"]}])
def test_a_fall_back_that_reaches_as_much_is_not(as_wide: Change) -> None:
    older = policy({"policy": "older", "applies_to": as_wide})
    assert found(book(policy(falling("older@1")), older), "fall_back_leaves_out") == []


def test_a_fall_back_that_leaves_out_how_a_component_was_fitted_is_warned_of() -> None:
    kit = {"retrofit_kit": {"term": "of_the_machine", "schedule": "of_the_machine"}}
    fitted = {"applies_to": {"fitted": ["factory", "retrofit_kit"]}, "term": kit}
    newer, older = policy({**falling("older@1"), **fitted}), policy({"policy": "older"})
    (warning,) = found(book(newer, older), "fall_back_leaves_out")
    assert "components fitted as retrofit kit" in warning.message
    assert found(book(newer, policy({"policy": "older", **fitted})), "fall_back_leaves_out") == []


def test_a_fall_back_to_a_faulty_version_is_warned_of() -> None:
    newer = policy(falling("older@1"))
    older, mended = policy({"policy": "older"}), policy({"policy": "older", "version": 2, "supersedes": [1]})
    (warning,) = found(book(newer, older, mended), "fall_back_is_superseded")
    assert "older@2 supersedes it" in warning.message
    assert found(book(policy(falling("older@2")), older, mended), "fall_back_is_superseded") == []


@pytest.mark.parametrize(
    ("reach", "words"),
    [
        ({"models": ["QF40"]}, "(models QF60)"),
        ({"owner": "first"}, "(later owners)"),
        ({"models": ["QF*"]}, None),
    ],
)
def test_a_version_that_reaches_less_than_the_one_it_supersedes(reach: Change, words: str | None) -> None:
    older, mended = policy(), policy({"version": 2, "supersedes": [1], "applies_to": reach})
    told = found(book(older, mended), "supersedes_leaves_out")
    assert [(w.policy, w.path) for w in told] == ([] if words is None else [("sprayer@2", "supersedes")])
    assert words is None or words in told[0].message
    beside = policy({"version": 2, "in_force": {"from": "2027-01-01"}, "applies_to": reach})
    earlier = policy({"in_force": {"until": "2026-12-31"}})
    assert found(book(earlier, beside), "supersedes_leaves_out") == []
