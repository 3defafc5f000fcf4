"""Oddities seen in published terms, by the ids they were collected under: each is warned of, or cannot be written.

The numbers are those of the terms it was seen in (common practice, no source), worked by hand beside each.
"""

import ast
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from rules.measures.prorating import share_at
from rules.policy_book import lint
from rules.policy_book.lint import PolicyWarning, warnings_of
from schemas.policy.prorating import Steps
from tests.rules.policy_book import (
    test_fall_back_only,
    test_fall_back_pays_more,
    test_lint,
    test_lint_caps,
    test_lint_numbers,
    test_lint_reach,
    test_lint_services,
    test_lint_words,
)
from tests.rules.policy_book.examples import book, conventions, merged, policy
from tests.rules.policy_book.warned import LABOUR, LINEAR, OR, Change, carve_out, ends, oil, prorating

pytestmark = pytest.mark.fast

BANDS = {"steps": [[0, 1], [376, "3/4"], [751, "1/2"], [1176, "1/4"]]}  # 0-375, 376-750, 751-1,175, from 1,176
UNITS = {"steps": [[0, 1], [25, "3/4"], [33, "1/2"], [51, "1/4"]]}  # 0-24, 25-32, 33-50, 51-84
LONG = ends({"months": 121})
YEARLY = {"every": "12 months", "in_storage": "runs", "holds_from": "last_one_off"}
FOUR_YEARS = {"term": ends({"months": 48}), **oil(
    due={"at_hours": [80, 480], "calendar": YEARLY}, window={"calendar": {"early": 30, "late": 30}}
)}  # fmt: skip
KIT = {"applies_to": {"fitted": ["factory", "retrofit_kit"]}}
NEW_TERM = {"retrofit_kit": {"term": "new_from_fitting", "schedule": "from_fitting"}}

WARNED: list[tuple[str, str, Change, str, list[str]]] = [
    # id, code, terms, path, words
    (  # linear over 120 months: 36 paid of 120 at 84, 54 of 120 at 66, 96 of 120 at 24
        "O-1 and E-73: a printed example that its own rule contradicts",
        "example_contradicts_rule",
        {"term": LONG, **prorating(LINEAR, examples=[
            {"by": "complete_months", "at": 24, "share": "80%"},
            {"by": "complete_months", "at": 66, "share": "55%"},
            {"by": "complete_months", "at": 84, "share": "30%"},
        ])},
        "prorating.examples[1]",
        ["the maker's example says 55 % at 66 complete months", "the rule gives 45 %"],
    ),
    (  # bands of 375, 375 and 425 whole hours: the third of even ones would end with 1,125, the next begin at 1,126
        "O-2: a table of four bands, one wider than the others, as it was printed",
        "uneven_steps",
        prorating(BANDS, "machine_hours"),
        "prorating.axes[0].share",
        ["the step from 751 h is 425 wide, the others 375", "an even table would go on at 1,126 h"],
    ),
    (  # the same with its end, at 1,500 h
        "O-2: the four bands with the end of the last",
        "uneven_steps",
        prorating({"steps": [*BANDS["steps"], [1501, 0]]}, "machine_hours"),
        "prorating.axes[0].share",
        ["an even table would go on at 1,126 h"],
    ),
    (  # 24 months hold 730 days or more, 24.33 units
        "O-3: units of 30 days inside a term of calendar months",
        "thirty_day_units_beside_months",
        {"term": ends({"months": 24}), **prorating({"steps": [[0, 1], [12, "1/2"]]}, "complete_30_day_units")},
        "prorating.axes[0]",
        ["24 months are 24.33 units or more"],
    ),
    (  # 1 January 2024 and 545 days are 29 June 2025, 2024 having 366; and 18 months 1 July, the day before covered
        "O-4 and E-131: 18 months here, 545 days there",
        "days_beside_months",
        {"in_force": {"from": "2024-01-01"}, "term": ends({"months": 18}),
         "carve_outs": [carve_out("belt", ends={"first_of": [{"days": 545}]})]},
        "carve_outs[0]",
        ["545 days here and 18 months at term", "from 1 January 2024 the days end on 29 June 2025",
         "the months on 30 June 2025"],
    ),
    (
        "O-5: parts or labour in year 3, read in the payer's favour",
        "payer_picks",
        {"pays": {"labour": LABOUR, "either_or": {**OR, "picks": "lower"}}},
        "pays.either_or.picks",
        ['"parts or labour" is read in favour of the payer'],
    ),
    (
        "O-6: a battery's clock from the build date",
        "clock_from_build",
        {"carve_outs": [carve_out("battery", starts={"earliest_of": ["built"]})]},
        "carve_outs[0]",
        ["the period of the battery runs from the build date, the machine's from its sale"],
    ),
    (
        "O-7: the part must be received within the term",
        "part_must_arrive",
        {"term": {"tested_on": "part_received_on"}},
        "term.tested_on",
        ["a failure on the last day is covered only if the part is handed in that same day"],
    ),
    (
        "O-8: a long term that another owner's use switches off",
        "use_switches_off_long_term",
        {"applies_to": {"use": ["residential"]}, "term": ends({"months": 60})},
        "applies_to.use",
        ["one owner's use can end it for the next"],
    ),
    (  # interval 480 - 80 = 400, a tenth 40; a tenth of 480 is 48
        "T-03: a percent window, of the interval or of the due value",
        "percent_window",
        oil(due={"at_hours": [80, 480], "then_every": 480}, window={"hours": {"early": "10%", "late": "10%"}}),
        "services.oil.window",
        ["at 480 h ends at 520 h of the interval of 400 h", "at 528 h of the due value"],
    ),
    (  # 480 h in 48 months are 120 h a year; at 60 a year the second service would come in the eighth
        "T-04: a calendar that begins after the last one-off point",
        "calendar_never_begins",
        FOUR_YEARS,
        "services.oil.due.calendar.holds_from",
        ["below 120 h a year that service never falls due within 48 months, and no other after it"],
    ),
    (
        "T-26: a retrofit that gives a worn drive a full new term",
        "retrofit_renews_term",
        {**KIT, "term": NEW_TERM},
        "term.retrofit_kit.term",
        ["a retrofit kit gives the whole component a full new term", "however worn it is"],
    ),
    (
        "a schedule that is not monotone",
        "late_moves_schedule",
        oil(next_due_from="due_point_inside_window"),
        "services.oil.next_due_from",
        ["a late service can move the schedule further than an on-time one"],
    ),
    (
        "a share that is not monotone",
        "share_rises",
        prorating({"points": [[0, 1], [12, "1/2"], [24, "3/4"]], "between": "linear"}),
        "prorating.axes[0].share",
        ["rises from 50 % at 12 complete months to 75 % at 24 complete months"],
    ),
]  # fmt: skip
UNREACHABLE: list[tuple[str, str, Change, str]] = [
    # what, code, terms, path; the term is 36 months or 2,000 h
    ("a limit", "limit_never_first", {"term": ends({"machine_hours": 500}, {"machine_hours": 600})}, "term"),
    (
        "a step of a share",
        "step_beyond_term",
        prorating({"steps": [[0, 1], [2001, "1/2"]]}, "machine_hours"),
        "prorating.axes[0].share",
    ),
    (
        "a shorter period",
        "period_beyond_term",
        {"pays": {"parts": {"until": {"first_of": [{"machine_hours": 2000}]}, "after_borne_by": "owner"}}},
        "pays.parts",
    ),
    (
        "a choice after the term",
        "period_beyond_term",
        {"pays": {"labour": LABOUR, "either_or": {**OR, "after": {"months": 36}, "picks": "higher"}}},
        "pays.either_or",
    ),
    ("a service", "service_after_term", oil(due={"at_hours": [100, 2001]}), "services.oil.due"),
    (
        "a component",
        "component_out_of_reach",
        {"applies_to": {"except_components": ["belt"]}, "exclusions": [
            {"clause": "6", "wear": ["belt"], "unless": "never", "borne_by": "owner"}]},
        "exclusions[0].wear",
    ),
    (
        "an exclusion of what is never covered",
        "component_never_covered",
        {"carve_outs": [{"clause": "2.1", "components": ["belt"], "never": True}], "exclusions": [
            {"clause": "6", "consumables": ["belt"], "unless": "never", "borne_by": "owner"}]},
        "exclusions[0].consumables",
    ),
    (
        "a second exclusion",
        "exclusion_in_shadow",
        {"exclusions": [{"clause": "6.1", "causes": ["flood"], "borne_by": "owner"},
                        {"clause": "6.2", "causes": ["flood"], "borne_by": "dealer"}]},
        "exclusions[1].causes",
    ),
    (
        "a second carve-out",
        "carve_out_in_shadow",
        {"carve_outs": [carve_out("belt"), carve_out("belt", clause="2.2")]},
        "carve_outs[1].components",
    ),
]  # fmt: skip


def found(terms: Change, code: str) -> list[PolicyWarning]:
    return [warning for warning in warnings_of(book(policy(terms))) if warning.code == code]


@pytest.mark.parametrize(("code", "terms", "path", "words"), [w[1:] for w in WARNED], ids=[w[0] for w in WARNED])
def test_an_oddity_of_published_terms_is_warned_of(code: str, terms: Change, path: str, words: list[str]) -> None:
    (warning,) = found(terms, code)
    assert warning.path == path
    assert all(word in warning.message for word in words), warning.message
    assert warning.way_out


@pytest.mark.parametrize(("code", "terms", "path"), [u[1:] for u in UNREACHABLE], ids=[u[0] for u in UNREACHABLE])
def test_a_clause_that_nothing_reaches_is_warned_of(code: str, terms: Change, path: str) -> None:
    assert [warning.path for warning in found(terms, code)] == [path]


def test_a_share_that_rounding_moves_by_cents_is_warned_of() -> None:
    """T-05: 1,300 of 1,500 h left of 1,150.00 are 996.666…, and at four places, 0.8667, 996.705."""
    line = prorating({"points": [[0, 1], [1500, 0]], "between": "linear"}, "machine_hours")
    rounded = conventions({"share": {"places": 4, "round": "half_up"}})
    warned = warnings_of(book(policy(line), counted=[rounded]))
    assert [w.path for w in warned if w.code == "share_rounding_shows"] == ["prorating.axes[0]"]
    assert found(line, "share_rounding_shows") == []


# --- What cannot be written -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "at", "share"),
    [
        (BANDS, "375", "1"),
        (BANDS, "375.5", "1"),  # O-2: between two bands of whole hours
        (BANDS, "376", "3/4"),
        (BANDS, "750.9", "3/4"),
        (BANDS, "751", "1/2"),
        (UNITS, "24.5", "1"),  # O-3 and E-66: complete units are whole, and a step holds until the next
        (UNITS, "25", "3/4"),
        (UNITS, "84", "1/4"),
    ],
)
def test_no_value_lies_in_two_bands_or_in_none(table: Change, at: str, share: str) -> None:
    assert share_at(Steps.model_validate(table), Fraction(at))[0] == Fraction(share)


@pytest.mark.parametrize("twice", [[[0, 1], [375, "3/4"], [375, "1/2"]], [[0, 1], [750, "1/2"], [375, "3/4"]]])
def test_bands_that_share_an_end_or_overlap_do_not_load(twice: list[Any]) -> None:
    with pytest.raises(ValidationError):
        policy(prorating({"steps": twice}, "machine_hours"))


UNSTATED: list[tuple[str, Change, str]] = [
    ("O-5: who picks", {"pays": {"labour": LABOUR, "either_or": OR}}, "pays.either_or.picks"),
    ("T-04: from when the calendar holds", merged(FOUR_YEARS, {"services": {"oil": {"due": {"calendar": {
        "holds_from": None}}}}}), "services.oil.due.calendar.holds_from"),
    ("T-26: which term a retrofit has", {**KIT}, ""),
    ("T-26: which schedule a retrofit has", {**KIT, "term": {"retrofit_kit": {"term": "kit_only"}}},
     "term.retrofit_kit.schedule"),
]  # fmt: skip


@pytest.mark.parametrize(("terms", "path"), [u[1:] for u in UNSTATED], ids=[u[0] for u in UNSTATED])
def test_what_two_readers_would_read_differently_must_be_stated(terms: Change, path: str) -> None:
    with pytest.raises(ValidationError) as refused:
        policy(terms)
    assert [".".join(map(str, fault["loc"])) for fault in refused.value.errors()] == [path]


@pytest.mark.parametrize("unstated", ["percent_window", "share"])  # T-03 and T-05
def test_the_conventions_must_be_stated_too(unstated: str) -> None:
    with pytest.raises(ValidationError) as refused:
        conventions({unstated: None})
    assert [fault["loc"] for fault in refused.value.errors()] == [(unstated,)]


# --- Every code has its test ----------------------------------------------------------------------


TESTS_OF_WARNINGS = (
    test_fall_back_only,
    test_fall_back_pays_more,
    test_lint,
    test_lint_caps,
    test_lint_numbers,
    test_lint_reach,
    test_lint_services,
    test_lint_words,
)


def codes_in_the_code() -> set[str]:
    """Return the third argument of each warning that is made in a file of the linter."""
    calls = [
        node
        for file in Path(lint.__file__).parent.glob("lint_*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "PolicyWarning"
    ]
    codes = [words_in(call.args[2]) for call in calls]
    assert all(codes)
    return set().union(*codes)


def words_in(node: ast.AST) -> set[str]:
    """Return the texts in a piece of code, save what a choice between two of them asks for."""
    if isinstance(node, ast.IfExp):
        return words_in(node.body) | words_in(node.orelse)
    return {n.value for n in ast.walk(node) if isinstance(n, ast.Constant) and isinstance(n.value, str)}


def codes_in_tests() -> set[str]:
    """Return every code that stands in a test of warnings."""
    files = [Path(str(module.__file__)) for module in TESTS_OF_WARNINGS]
    return set().union(*(words_in(ast.parse(file.read_text(encoding="utf-8"))) for file in files))


def test_every_warning_has_a_test_that_earns_it() -> None:
    codes = codes_in_the_code()
    assert codes >= {"example_contradicts_rule", "percent_window", "limit_never_last", "fall_back_governs_too"}
    assert codes - codes_in_tests() == set()
