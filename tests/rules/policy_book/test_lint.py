"""Warnings: each code with terms that earn it and a near twin that does not; numbers worked by hand."""

from typing import Any

import pytest

from rules.policy_book.book import PolicyBook
from rules.policy_book.lint import PolicyWarning, warnings_of, warnings_text
from tests.rules.policy_book.examples import book, conventions, duty, full_book, merged, policy

pytestmark = pytest.mark.fast

Change = dict[str, Any]


def ends(*limits: Change) -> Change:
    return {"ends": {"first_of": list(limits)}}


def oil(**change: Any) -> Change:
    """A duty that warns of nothing: windows in hours, counted on the grid."""
    quiet = {"window": {"hours": {"early": 25, "late": 25}}, "next_due_from": "due_point"}
    return {"services": {"oil": duty(merged(quiet, change))}}


def prorating(share: Change, by: str = "complete_months", **change: Any) -> Change:
    axis = {"by": by, "share": share}
    whole = {"clause": "3.9", "axes": [axis], "items": ["parts"], "owner_pays_on": "allowed_amount"}
    return {"prorating": {**whole, "borne_by": "owner", **change}}


def carve_out(*components: str, **change: Any) -> Change:
    return {"clause": "2.1", "components": list(components), "ends": {"first_of": [{"months": 6}]}, **change}


TEN_YEARS = {"term": ends({"months": 121})}
LINEAR = {"zero_at": 120, "credit": "whole_term", "free_until": 0}
CALENDAR = {"every": "12 months", "in_storage": "runs"}
LABOUR = {
    "clause": "4.2", "hours": "actual", "rate": "registered", "rate_on": "failed_on", "hours_in": "tenths",
    "without_flat_rate": "actual", "excess_borne_by": "dealer",
}  # fmt: skip
OR = {"clause": "4.9", "items": ["parts", "labour"], "after": {"months": 24}, "borne_by": "owner"}
RETROFIT = {"applies_to": {"fitted": ["factory", "retrofit_kit"]}}
WARNED: list[tuple[str, Change, Change, str, str]] = [
    # code, terms, their near twin, path, words of the message
    (  # O-1: (120 - 66) / 120 = 45 %
        "example_contradicts_rule",
        {**TEN_YEARS, **prorating(LINEAR, examples=[{"by": "complete_months", "at": 66, "share": "55%"}])},
        {**TEN_YEARS, **prorating(LINEAR, examples=[{"by": "complete_months", "at": 66, "share": "45%"}])},
        "prorating.examples[0]",
        "the maker's example says 55 % at 66 complete months; the rule gives 45 %",
    ),
    (
        "example_of_nothing",
        {**TEN_YEARS, **prorating(LINEAR, examples=[{"by": "machine_hours", "at": 66, "share": "45%"}])},
        {**TEN_YEARS, **prorating(LINEAR, examples=[{"by": "complete_months", "at": 24, "share": "80%"}])},
        "prorating.examples[0]",
        "the maker's example speaks of machine hours",
    ),
    (  # O-2: 0, 375, 750 and 1,175 where an even table has 1,125
        "uneven_steps",
        prorating({"steps": [[0, 1], [375, "3/4"], [750, "1/2"], [1175, "1/4"]]}, "machine_hours"),
        prorating({"steps": [[0, 1], [375, "3/4"], [750, "1/2"], [1125, "1/4"]]}, "machine_hours"),
        "prorating.axes[0].share",
        "the step from 750 h is 425 wide, the others 375: an even table would go on at 1,125 h",
    ),
    (  # O-3: 24 months of a common year are 730 days, 24.33 units; 24 units are 720 days
        "thirty_day_units_beside_months",
        {"term": ends({"months": 24}), **prorating({"steps": [[0, 1], [12, "1/2"]]}, "complete_30_day_units")},
        {"term": ends({"months": 24}), **prorating({"steps": [[0, 1], [12, "1/2"]]})},
        "prorating.axes[0]",
        "24 months are 24.33 units or more, so that 24 units end about 10 days before the term",
    ),
    (  # O-4, from 1 January 2026: 545 days end on 30 June 2027; 18 months with the day before 1 July 2027
        "days_beside_months",
        {"term": ends({"months": 18}), "carve_outs": [carve_out("belt", ends={"first_of": [{"days": 545}]})]},
        {"term": ends({"months": 18}), "carve_outs": [carve_out("belt", ends={"first_of": [{"days": 90}]})]},
        "carve_outs[0]",
        "545 days here and 18 months at term are nearly, but not, the same",
    ),
    (  # O-5
        "payer_picks",
        {"pays": {"labour": LABOUR, "either_or": {**OR, "picks": "lower"}}},
        {"pays": {"labour": LABOUR, "either_or": {**OR, "picks": "higher"}}},
        "pays.either_or.picks",
        "the lower sum is paid",
    ),
    (  # O-6
        "clock_from_build",
        {"carve_outs": [carve_out("battery", starts={"earliest_of": ["built"]})]},
        {"carve_outs": [carve_out("battery", starts={"earliest_of": ["first_use"]})]},
        "carve_outs[0]",
        "the period of the battery runs from the build date, the machine's from its sale",
    ),
    (
        "clock_from_build",
        {"carve_outs": [carve_out("battery", ends={"first_of": [{"months": 6, "from": "shipped"}]})]},
        {"carve_outs": [carve_out("battery", ends={"first_of": [{"months": 6, "from": "registered"}]})]},
        "carve_outs[0]",
        "6 months from the shipment",
    ),
    (  # O-7
        "part_must_arrive",
        {"term": {"tested_on": "part_received_on"}},
        {"term": {"tested_on": "reported_on"}},
        "term.tested_on",
        "only if the part is handed in that same day",
    ),
    (  # O-8
        "use_switches_off_long_term",
        {"applies_to": {"use": ["residential"]}, "term": ends({"months": 60})},
        {"applies_to": {"use": ["residential"]}, "term": ends({"months": 12})},
        "applies_to.use",
        "the cover of 60 months passes on to later owners, yet holds in residential use only",
    ),
    (
        "use_switches_off_long_term",
        {"applies_to": {"use": ["residential"]}, "term": {"ends": "lifetime"}},
        {"applies_to": {"use": ["residential"], "owner": "first"}, "term": {"ends": "lifetime"}},
        "applies_to.use",
        "the life of the machine",
    ),
    (  # T-03: 480 after 80, 10 % late: 400 x 10 % gives 520, 480 x 10 % gives 528
        "percent_window",
        oil(due={"at_hours": [80, 480], "then_every": 480}, window={"hours": {"late": "10%"}}),
        oil(due={"at_hours": [80, 480], "then_every": 480}, window={"hours": {"late": 48}}),
        "services.oil.window",
        "10 % late at 480 h ends at 520 h of the interval of 400 h, and at 528 h of the due value",
    ),
    (  # a first point alone: its interval is its value; twice 480 with at_most 20 is capped alike
        "percent_window",
        oil(due={"at_hours": [], "then_every": 480}, window={"hours": {"late": "10%"}}),
        oil(due={"at_hours": [], "then_every": 480}, window={"hours": {"late": "10%", "at_most": 20}}),
        "services.oil.window",
        "10 % late at 960 h ends at 1,008 h of the interval of 480 h, and at 1,056 h of the due value",
    ),
    (  # T-04: 480 h in 48 months are 120 h a year
        "calendar_never_begins",
        {**oil(due={"at_hours": [80, 480], "calendar": {**CALENDAR, "holds_from": "last_one_off"}},
               window={"calendar": {"early": 30, "late": 30}}), "term": ends({"months": 48})},
        {**oil(due={"at_hours": [80, 480], "calendar": {**CALENDAR, "holds_from": "start_of_term"}},
               window={"calendar": {"early": 30, "late": 30}}), "term": ends({"months": 48})},
        "services.oil.due.calendar.holds_from",
        "below 120 h a year that service never falls due within 48 months, and no other after it",
    ),
    (  # E-section 4.0: the point at 1,500 h in its window, 25 h late; the point after it 1,500 + 500, or 1,526 + 500
        "late_moves_schedule",
        oil(next_due_from="due_point_inside_window"),
        oil(next_due_from="actual"),
        "services.oil.next_due_from",
        "done at 1,525 h is followed by one due at 2,000 h, and one done an hour later, too late, by one due at 2,026",
    ),
    (  # T-26
        "retrofit_renews_term",
        {**RETROFIT, "term": {"retrofit_kit": {"term": "new_from_fitting", "schedule": "from_fitting"}}},
        {**RETROFIT, "term": {"retrofit_kit": {"term": "kit_only", "schedule": "from_fitting"}}},
        "term.retrofit_kit.term",
        "a full new term (36 months or 2,000 h, whichever comes first), however worn it is",
    ),
    (
        "share_rises",
        prorating({"steps": [[0, 1], [12, "1/2"], [24, "3/4"]]}),
        prorating({"steps": [[0, 1], [12, "1/2"], [24, "1/2"]]}),
        "prorating.axes[0].share",
        "rises from 50 % at 12 complete months to 75 % at 24 complete months",
    ),
    (
        "share_rises",
        prorating({"owner_prices": [[0, 0], [12, 90], [24, 40]]}),
        prorating({"owner_prices": [[0, 0], [12, 40], [24, 90]]}),
        "prorating.axes[0].share",
        "the owner's price falls from 90 EUR to 40 EUR at 24 complete months",
    ),
    (  # a failure in the last covered month is at 35 complete months
        "step_beyond_term",
        prorating({"steps": [[0, 1], [36, "1/2"]]}),
        prorating({"steps": [[0, 1], [35, "1/2"]]}),
        "prorating.axes[0].share",
        "from 36 complete months on is never reached: the cover ends at 35 complete months",
    ),
    (
        "step_beyond_term",
        prorating({"points": [[0, 1], [2000, 1], [2400, 0]], "between": "linear"}, "machine_hours"),
        prorating({"points": [[0, 1], [1900, 1], [2400, 0]], "between": "linear"}, "machine_hours"),
        "prorating.axes[0].share",
        "from 2,400 h on is never reached: the cover ends at 2,000 h",
    ),
    (
        "limit_never_first",
        {"term": ends({"months": 24}, {"months": 36})},
        {"term": ends({"months": 24}, {"months": 36, "from": "built"})},
        "term",
        "36 months can never come before 24 months",
    ),
    (  # a month has at most 31 days, and the anniversary may count too: 32 x 24 = 768 h
        "limit_never_first",
        {"term": ends({"months": 1}, {"machine_hours": 769})},
        {"term": ends({"months": 1}, {"machine_hours": 768})},
        "term",
        "769 h can never come before 1 month",
    ),
    (
        "limit_never_first",
        {"term": ends({"machine_hours": 500}, {"component_hours": 500})},
        {"term": ends({"machine_hours": 500}, {"component_hours": 499})},
        "term",
        "500 h of the component itself can never come before 500 h",
    ),
    (
        "period_beyond_term",
        {"pays": {"parts": {"until": {"first_of": [{"months": 36}]}, "after_borne_by": "owner"}}},
        {"pays": {"parts": {"until": {"first_of": [{"months": 35}]}, "after_borne_by": "owner"}}},
        "pays.parts",
        "its period of 36 months is no shorter than the cover",
    ),
    (
        "service_after_term",
        oil(due={"at_hours": [100, 2500]}),
        oil(due={"at_hours": [100, 2000]}),
        "services.oil.due",
        "the services at 2,500 h fall due only after the cover has ended at 2,000 h",
    ),
    (
        "service_after_term",
        oil(due={"calendar": {**CALENDAR, "every": "36 months", "holds_from": "start_of_term"}},
            window={"calendar": {"early": 30, "late": 30}}),
        oil(due={"calendar": {**CALENDAR, "every": "35 months", "holds_from": "start_of_term"}},
            window={"calendar": {"early": 30, "late": 30}}),
        "services.oil.due.calendar.every",
        "every 36 months falls due only after the cover of 36 months has ended",
    ),
    (
        "consumer_tied_to_dealer",
        {**oil(), "owner_class": "consumer"},
        {**oil(performed_by=["authorised_dealer", "owner"]), "owner_class": "consumer"},
        "services.oil.performed_by",
        "must be done by an authorised dealer",
    ),
    (
        "consumer_tied_to_dealer",
        {**oil(), "owner_class": "consumer"},
        {**oil(), "owner_class": "commercial"},
        "services.oil.performed_by",
        "ask counsel",
    ),
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
]  # fmt: skip


def found(made: PolicyBook, code: str) -> list[PolicyWarning]:
    return [warning for warning in warnings_of(made) if warning.code == code]


def ids() -> list[str]:
    return [f"{code}-{path}-{number}" for number, (code, _, _, path, _) in enumerate(WARNED)]


@pytest.mark.parametrize(("code", "terms", "twin", "path", "words"), WARNED, ids=ids())
def test_suspicious_terms_are_warned_of_and_their_twin_is_not(
    code: str, terms: Change, twin: Change, path: str, words: str
) -> None:
    (warning,) = found(book(policy(terms)), code)
    assert (warning.policy, warning.path) == ("sprayer@1", path)
    assert words in f"{warning.message} {warning.way_out}"
    assert found(book(policy(twin)), code) == []


# --- Conventions and other versions that bring a warning ------------------------------------------


def test_a_rounded_share_shows_in_money() -> None:
    """T-05: 1,300 of 1,500 h left of 1,150.00: exact 996.67, to four places (0.8667) 996.71."""
    line = {"zero_at": 1500, "credit": "whole_term", "free_until": 0}
    terms = policy({"term": ends({"months": 60}), **prorating(line, "machine_hours")})
    rounded = conventions({"share": {"places": 4, "round": "half_up"}})
    (warning,) = found(book(terms, counted=[rounded]), "share_rounding_shows")
    assert "the conventions round shares to 4 places: at " in warning.message
    assert "1,150.00 at the exact share is " in warning.message
    assert found(book(terms), "share_rounding_shows") == []
    halves = policy(prorating({"steps": [[0, 1], [12, "1/2"]]}))
    assert found(book(halves, counted=[rounded]), "share_rounding_shows") == []


def test_an_example_is_held_against_the_rounded_share_where_shares_are_rounded() -> None:
    line = {"zero_at": 1500, "credit": "whole_term", "free_until": 0}
    example = [{"by": "machine_hours", "at": 200, "share": "0.8667"}]
    terms = policy({"term": ends({"months": 60}), **prorating(line, "machine_hours", examples=example)})
    rounded = conventions({"share": {"places": 4, "round": "half_up"}})
    assert found(book(terms, counted=[rounded]), "example_contradicts_rule") == []
    assert len(found(book(terms), "example_contradicts_rule")) == 1


def test_the_anniversary_convention_moves_the_end_of_what_is_reached() -> None:
    late = policy(prorating({"steps": [[0, 1], [36, "1/2"]]}))
    inclusive = conventions({"last_covered_day": "anniversary"})
    assert found(book(late, counted=[inclusive]), "step_beyond_term") == []
    assert len(found(book(late), "step_beyond_term")) == 1


def falling(target: str, **change: Any) -> Change:
    missed = {"deny": None, "fall_back_to": target, "reach": "linked_components"}
    return {**oil(missed=missed), **change}


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


def test_a_fall_back_to_a_faulty_version_is_warned_of() -> None:
    newer = policy(falling("older@1"))
    older, mended = policy({"policy": "older"}), policy({"policy": "older", "version": 2, "supersedes": [1]})
    (warning,) = found(book(newer, older, mended), "fall_back_is_superseded")
    assert "older@2 supersedes it" in warning.message
    assert found(book(policy(falling("older@2")), older, mended), "fall_back_is_superseded") == []


def test_plain_terms_earn_no_warning() -> None:
    assert warnings_of(book(policy(), policy({"policy": "with-service", **oil()}))) == ()


def test_warnings_come_in_order_and_read_as_lines() -> None:
    warnings = warnings_of(full_book())
    assert list(warnings) == sorted(warnings, key=lambda w: (w.policy, w.path, w.code, w.message))
    lines = warnings_text(warnings).splitlines()
    assert len(lines) == len(warnings) > 3
    assert lines[0].startswith(f"{warnings[0].policy}: {warnings[0].path}: {warnings[0].code}: ")
