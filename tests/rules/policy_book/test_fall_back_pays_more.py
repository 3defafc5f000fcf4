"""A fall-back to a promise that is wider than the newer one, or ends sooner: warned of, and told in plain English."""

import pytest

from rules.policy_book.show import terms_in_plain_english
from tests.rules.policy_book.examples import book, policy
from tests.rules.policy_book.warned import LABOUR, Change, carve_out, ends, falling, found, oil

pytestmark = pytest.mark.fast

AT = "services.oil.missed.fall_back_to"
OWNER = {"clause": "6", "borne_by": "owner"}
ACCIDENT: Change = {"exclusions": [{**OWNER, "causes": ["accident"]}]}
ALTERED: Change = {"exclusions": [{**OWNER, "alterations": ["altered"], "reach": "altered_component"}]}
ALTERED_ALWAYS: Change = {"exclusions": [{**OWNER, "alterations": ["altered"], "reach": "everything"}]}
NEVER: Change = {"carve_outs": [{"clause": "2.1", "components": ["seal"], "never": True}]}
NO_LABOUR: Change = {"pays": {"labour": {"clause": "4.2", "nothing": True, "borne_by": "owner"}}}

# The short terms run 36 months or 2,000 h, pay parts and nothing else, and exclude nothing.
CASES: list[tuple[str, Change, Change, str | None]] = [
    ("an exclusion that is missing", ACCIDENT, {}, "it does not exclude causes accident"),
    ("the same exclusion", ACCIDENT, ACCIDENT, None),
    ("an exclusion that reaches further", ALTERED, ALTERED_ALWAYS, None),
    ("one that reaches less far", ALTERED_ALWAYS, ALTERED, "it does not exclude alterations altered"),
    ("a component never covered", NEVER, {}, "it covers the seal"),
    ("never covered there either", NEVER, NEVER, None),
    ("one that it does not reach", NEVER, {"applies_to": {"except_components": ["seal"]}}, None),
    ("covered for a shorter time", {}, {"carve_outs": [carve_out("seal")]}, None),
    ("an item that is paid", {}, {"pays": {"labour": LABOUR}}, "it pays labour"),
    ("an item refused by name", NO_LABOUR, {"pays": {"labour": LABOUR}}, "it pays labour"),
    ("an item refused there", {"pays": {"labour": LABOUR}}, NO_LABOUR, None),
    (
        "a longer term",
        {"term": ends({"months": 24}, {"machine_hours": 2000})},
        {},
        "its term may run for 36 months, not 24 months",
    ),
    (
        "no end by hours",
        {},
        {"term": ends({"months": 36})},
        "its term may run without an end by hours, not 2,000 hours",
    ),
    ("a shorter term", {}, {"term": ends({"months": 24}, {"machine_hours": 1500})}, None),
]


@pytest.mark.parametrize(("name", "newer", "older", "words"), CASES, ids=[name for name, *_ in CASES])
def test_a_wider_older_promise_is_warned_of(name: str, newer: Change, older: Change, words: str | None) -> None:
    del name
    made = book(policy(falling("older@1", **newer)), policy({"policy": "older", **older}))
    told = found(made, "fall_back_pays_more")
    assert [(w.policy, w.path) for w in told] == ([] if words is None else [("sprayer@1", AT)])
    assert words is None or f"which is wider than this version: {words}." in told[0].message


def test_all_that_is_wider_stands_in_one_warning() -> None:
    made = book(policy(falling("older@1", **ACCIDENT, **NEVER)), policy({"policy": "older"}))
    (warning,) = found(made, "fall_back_pays_more")
    assert "it does not exclude causes accident; it covers the seal." in warning.message


def test_show_says_that_the_other_promise_is_kept_whole() -> None:
    words = "a machine that falls back keeps that promise whole: the term, items and exclusions of this version"
    made = book(policy(falling("older@1")), policy({"policy": "older"}))
    assert words in " ".join(terms_in_plain_english(made.policy("sprayer@1")).split()).replace("A machine", "a machine")
    assert "promise whole" not in terms_in_plain_english(book(policy(oil())).policy("sprayer@1"))


# The short terms run 36 months or 2,000 h.
SOONER: list[tuple[str, Change, Change, str | None]] = [
    (
        "a shorter term in months",
        {},
        {"term": ends({"months": 35}, {"machine_hours": 2000})},
        "(35 months there, 36 here)",
    ),
    ("the same term", {}, {}, None),
    ("a longer one", {}, {"term": ends({"months": 37}, {"machine_hours": 2001})}, None),
    (
        "a shorter term in hours",
        {},
        {"term": ends({"months": 36}, {"machine_hours": 1999})},
        "(1,999 hours there, 2,000 here)",
    ),
    (
        "hours that the newer one does not count",
        {"term": ends({"months": 24})},
        {},
        "(2,000 hours there, no end by hours here)",
    ),
    (
        "an end where the newer one has none",
        {"term": {"ends": "lifetime"}},
        {},
        "(36 months there, no end by months here; 2,000 hours there, no end by hours here)",
    ),
    (
        "the later of two limits",
        {},
        {"term": {"ends": {"first_of": None, "last_of": [{"months": 24}, {"machine_hours": 1500}]}}},
        None,
    ),
]


@pytest.mark.parametrize(("name", "newer", "older", "words"), SOONER, ids=[name for name, *_ in SOONER])
def test_a_fall_back_that_ends_sooner_is_warned_of(name: str, newer: Change, older: Change, words: str | None) -> None:
    del name
    made = book(policy(falling("older@1", **newer)), policy({"policy": "older", **older}))
    told = found(made, "fall_back_ends_sooner")
    assert [(w.policy, w.path) for w in told] == ([] if words is None else [("sprayer@1", AT)])
    assert words is None or f"older@1 ends sooner than this version {words}" in told[0].message
