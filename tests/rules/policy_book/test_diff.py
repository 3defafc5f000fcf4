"""Two policy versions side by side: every difference is told, nothing else is, and it reads as the terms do."""

from dataclasses import replace
from itertools import islice
from typing import Any

import pytest

from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.diff import ClauseChange, diff_policies, diff_text
from tests.rules.policy_book.examples import FULL, book, compiled, conventions, duty, full_book, policy
from tests.rules.policy_book.test_show import changed_conventions, changed_policies

pytestmark = pytest.mark.fast

Change = dict[str, Any]

OIL = {"services": {"oil": duty()}}
BELT = {"clause": "2.1", "components": ["belt"], "ends": {"first_of": [{"days": 60}]}}
BULB = {"clause": "2.2", "components": ["bulb"], "never": True}

CHANGES: list[tuple[Change, Change, list[ClauseChange]]] = [
    ({}, {}, []),
    (
        {},
        {"term": {"ends": {"first_of": [{"months": 24}, {"machine_hours": 1000}]}}},
        [
            ClauseChange(
                "2",
                "2",
                "term.ends",
                "The cover lasts 36 months or 2,000 h, whichever comes first, counted from the retail delivery.",
                "The cover lasts 24 months or 1,000 h, whichever comes first, counted from the retail delivery.",
            )
        ],
    ),
    (
        {},
        {"pays": {"parts": {"handling": "20%"}}},
        [
            ClauseChange(
                "4",
                "4",
                "pays.parts.handling",
                "Parts: the dealer's net price plus 15 % handling.",
                "Parts: the dealer's net price plus 20 % handling.",
            )
        ],
    ),
    (  # a service of another name under the same number is the same service
        OIL,
        {"services": {"gear_oil": duty({"due": {"then_every": 400}})}},
        [
            ClauseChange("3", "3", "services.oil", "called oil", "called gear_oil"),
            ClauseChange(
                "3",
                "3",
                "services.oil.due",
                "The oil service (change oil) is due at 100 h and 500 h, then every 500 h. Done when due, that is at"
                " 100, 500, 1,000, 1,500, 2,000 h and so on.",
                "The oil service (change oil) is due at 100 h and 500 h, then every 400 h. Done when due, that is at"
                " 100, 500, 900, 1,300, 1,700 h and so on.",
            ),
        ],
    ),
    (  # … as under another number, where it says the same
        OIL,
        {"services": {"gear_oil": duty({"clause": "3.1"})}},
        [
            ClauseChange("3", "3.1", "services.oil", "called oil", "called gear_oil"),
            ClauseChange("3", "3.1", "services.oil.clause", "clause 3", "clause 3.1"),
        ],
    ),
    (
        {"carve_outs": [BELT, BULB]},
        {"carve_outs": [BULB]},
        [ClauseChange("2.1", None, "carve_outs[0]", "The belt: covered for 60 days, instead of the term.", "nothing")],
    ),
    (
        {"carve_outs": [BELT]},
        {"carve_outs": [BULB, BELT]},
        [ClauseChange(None, "2.2", "carve_outs[0]", "nothing", "The bulb: never covered.")],
    ),
    (
        {"carve_outs": [BELT, BULB]},
        {"carve_outs": [BULB, BELT]},
        [ClauseChange(None, None, "carve_outs", "in the order 2.1 and 2.2", "in the order 2.2 and 2.1")],
    ),
    (
        {"carve_outs": [BELT]},
        {"carve_outs": [BELT | {"clause": "2.9"}]},
        [ClauseChange("2.1", "2.9", "carve_outs[0]", "clause 2.1", "clause 2.9")],
    ),
    (
        {},
        {"pays": {"anything_else": {"clause": "6"}}},
        [ClauseChange("5", "6", "pays.anything_else.clause", "clause 5", "clause 6")],
    ),
    (
        {},
        {"term": {"text": "Three years."}},
        [ClauseChange("2", "2", "term.text", "nothing", '"Three years."')],
    ),
    (
        {"pays": {"sublet": {"clause": "4.9", "fixed": 80, "excess_borne_by": "dealer"}}},
        {"pays": {"sublet": {"clause": "4.9", "nothing": True, "borne_by": "owner"}}},
        [
            ClauseChange(
                "4.9",
                "4.9",
                "pays.sublet",
                "Sublet: a fixed 80 EUR a line, whatever was claimed."
                " What is above the allowance is borne by the dealer.",
                "Sublet: nothing is paid; borne by the owner.",
            )
        ],
    ),
    (
        {},
        {"pays": {"parts": {"until": {"first_of": [{"months": 12}]}, "after_borne_by": "owner"}}},
        [
            ClauseChange(
                "4",
                "4",
                "pays.parts.until and pays.parts.after_borne_by",
                "nothing",
                "It is paid for 12 months only, and after that borne by the owner.",
            )
        ],
    ),
    (  # a sentence of either version, and none of a term of 24 months from the first delivery that neither has
        {"term": {"starts": {"earliest_of": ["first_use"]}}},
        {"term": {"ends": {"first_of": [{"months": 24}]}}},
        [
            ClauseChange(
                "2",
                "2",
                "term.starts and term.ends",
                "The cover lasts 36 months or 2,000 h, whichever comes first, counted from the first use.",
                "The cover lasts 24 months, counted from the retail delivery.",
            )
        ],
    ),
    (
        OIL,
        {"services": {"oil": duty({"late": "never_cures"})}},
        [
            ClauseChange(
                "3",
                "3",
                "services.oil.late",
                "A late service puts the gap right from its date.",
                "A late service never puts the gap right.",
            )
        ],
    ),
    (
        {},
        {"layer": "drive"},
        [
            ClauseChange(
                None, None, "layer", "base coverage of the machine", "coverage of the drive or another main component"
            )
        ],
    ),
    (
        {},
        {"applies_to": {"owner": "first"}},
        [
            ClauseChange(
                "1",
                "1",
                "applies_to.owner",
                "It passes on to every later owner.",
                "It holds for the first owner only.",
            )
        ],
    ),
]


@pytest.mark.parametrize(("before", "after", "expected"), CHANGES)
def test_a_difference_is_told_in_words(before: Change, after: Change, expected: list[ClauseChange]) -> None:
    assert list(diff_policies(compiled(before), compiled(after))) == expected


def test_a_difference_read_the_other_way_round_swaps_its_sides() -> None:
    one, other = compiled(OIL), compiled({"term": {"tested_on": "reported_on"}})
    there, back = diff_policies(one, other), diff_policies(other, one)
    assert {(c.path, c.before, c.after) for c in there} == {(c.path, c.after, c.before) for c in back}
    assert {c.path for c in there} == {"term.tested_on", "services.oil"}


def test_pinned_conventions_are_told_too() -> None:
    pinned = conventions({"version": 2, "month_end": "roll_to_next_month"})
    newer = book(policy({"conventions": "counted@2", "version": 2}), counted=[pinned]).policy("sprayer@2")
    paths = [change.path for change in diff_policies(compiled(), newer)]
    assert paths == ["version", "conventions", "conventions.version", "conventions.month_end"]
    assert "first of" not in diff_text(compiled(), compiled())
    assert "(29 February and 12 months is 1 March)" in diff_text(compiled(), newer)


def test_two_policies_of_different_kinds_can_be_compared() -> None:
    full = full_book().policy("full@3")
    text = diff_text(compiled(), full)
    assert text.startswith("sprayer@1 and full@3: ")
    assert "(term.starts and term.ends)\n  before: The cover lasts 36 months or 2,000 h" in text
    assert "clause 3.1, break in service (services.break_in)\n  before: nothing\n  after:  The break in service" in text


def test_a_text_without_differences_says_so() -> None:
    assert diff_text(compiled(), compiled()) == "sprayer@1 and sprayer@1: no difference\n"


def test_no_change_of_a_policy_goes_untold() -> None:
    """A quarter of the fields of policy models with another value, from the matrix that checks the plain English."""
    full = full_book().policy("full@3")
    told = 0
    for document, changed in islice(changed_policies(), 0, None, 4):
        changes = diff_policies(replace(full, terms=document), replace(full, terms=changed))
        assert changes
        assert all(change.before != change.after for change in changes), changes
        told += 1
    assert told > 100


def test_no_change_of_the_conventions_goes_untold() -> None:
    full = full_book().policy("full@3")
    for document, changed in changed_conventions():
        changes = diff_policies(replace(full, conventions=document), replace(full, conventions=changed))
        assert [change.before != change.after for change in changes] == [True]


def test_a_policy_beside_itself_shows_nothing() -> None:
    full: CompiledPolicy = full_book().policy("full@3")
    assert diff_policies(full, full) == ()
    assert policy(base=FULL) == full.terms


@pytest.mark.parametrize(
    ("before", "after", "heading"),
    [
        ({}, {"title": "Sprayers"}, "title\n"),
        ({}, {"in_force": {"until": "2027-12-31"}}, "days in force (in_force)"),
        ({}, {"pays": {"parts": {"handling": "20%"}}}, "clause 4, parts, handling (pays.parts.handling)"),
        ({}, {"pays": {"anything_else": {"borne_by": "dealer"}}}, "clause 5, anything else, borne by (pays.anything"),
        (OIL, {}, "clause 3, oil service (services.oil)"),
        ({}, {"term": {"text": "Three years."}}, "clause 2, term, the maker's words (term.text)"),
        (
            {},
            {"pays": {"parts": {"until": {"first_of": [{"months": 12}]}, "after_borne_by": "owner"}}},
            "clause 4, parts, until and after borne by (pays.parts.until and pays.parts.after_borne_by)",
        ),
        ({"carve_outs": [BELT, BULB]}, {"carve_outs": [BULB, BELT]}, "order of carve-outs (carve_outs)"),
        ({"carve_outs": [BELT]}, {}, "clause 2.1, period of its own (carve_outs[0])"),
    ],
)
def test_a_place_is_told_in_words_and_by_its_key(before: Change, after: Change, heading: str) -> None:
    assert f"\n{heading}" in diff_text(compiled(before), compiled(after))


def test_pinned_conventions_and_owners_are_told_in_words() -> None:
    pinned = conventions({"version": 2})
    newer = book(policy({"conventions": "counted@2", "owner_class": "consumer"}), counted=[pinned]).policy("sprayer@1")
    text = diff_text(compiled(), newer)
    assert "  before: counted, version 1\n  after:  counted, version 2\n" in text
    assert "  before: nothing\n  after:  the promise is made to consumer owners\n" in text
