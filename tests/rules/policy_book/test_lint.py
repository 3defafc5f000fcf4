"""Warnings about terms and shares: each code with terms that earn it and a near twin that does not; numbers by hand."""

import pytest

from rules.policy_book.lint import warnings_of, warnings_text
from tests.rules.policy_book.examples import book, conventions, full_book, policy
from tests.rules.policy_book.warned import (
    LABOUR,
    LINEAR,
    OR,
    Change,
    Warned,
    assert_warned,
    carve_out,
    ends,
    found,
    ids_of,
    oil,
    prorating,
)

pytestmark = pytest.mark.fast

TEN_YEARS = {"term": ends({"months": 121})}
OWNER = {"after_borne_by": "owner"}
RETROFIT = {"applies_to": {"fitted": ["factory", "retrofit_kit"]}}
WARNED: list[Warned] = [
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
    (  # free until 2,001 h, in a term of 2,000 h: the line is never reached
        "step_beyond_term",
        prorating({**LINEAR, "zero_at": 2400, "free_until": 2001}, "machine_hours"),
        prorating({**LINEAR, "zero_at": 2400, "free_until": 2000}, "machine_hours"),
        "prorating.axes[0].share",
        "from 2,001 h on is never reached: the cover ends at 2,000 h",
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
        "limit_never_last",
        {"term": {"ends": {"first_of": None, "last_of": [{"months": 24}, {"months": 36}]}}},
        {"term": {"ends": {"first_of": None, "last_of": [{"months": 24}, {"machine_hours": 36}]}}},
        "term",
        "24 months can never come after 36 months, so it decides nothing",
    ),
    (
        "period_beyond_term",
        {"pays": {"parts": {"until": {"first_of": [{"months": 36}]}, "after_borne_by": "owner"}}},
        {"pays": {"parts": {"until": {"first_of": [{"months": 35}]}, "after_borne_by": "owner"}}},
        "pays.parts",
        "its period of 36 months is no shorter than the cover",
    ),
    (  # neither of the two can end it before the term of 36 months or 2,000 h; 90 days can
        "period_beyond_term",
        {"pays": {"parts": {"until": {"first_of": [{"months": 36}, {"machine_hours": 2000}]}, **OWNER}}},
        {"pays": {"parts": {"until": {"first_of": [{"months": 36}, {"days": 90}]}, **OWNER}}},
        "pays.parts",
        "its period of 36 months or 2,000 h, whichever comes first is no shorter than the cover",
    ),
    (  # it ends at the later of the two, and 36 months come no earlier than the term's
        "period_beyond_term",
        {"pays": {"parts": {"until": {"last_of": [{"months": 36}, {"machine_hours": 500}]}, **OWNER}}},
        {"pays": {"parts": {"until": {"last_of": [{"months": 35}, {"machine_hours": 500}]}, **OWNER}}},
        "pays.parts",
        "is no shorter than the cover",
    ),
    (  # months from another event may be over before the term
        "period_beyond_term",
        {"pays": {"parts": {"until": {"first_of": [{"months": 36}]}, **OWNER}}},
        {"pays": {"parts": {"until": {"first_of": [{"months": 36, "from": "built"}]}, **OWNER}}},
        "pays.parts",
        "its period of 36 months is no shorter",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("code", "terms", "twin", "path", "words"), WARNED, ids=ids_of(WARNED))
def test_suspicious_terms_are_warned_of_and_their_twin_is_not(
    code: str, terms: Change, twin: Change, path: str, words: str
) -> None:
    assert_warned(code, terms, twin, path, words)


# --- Conventions that bring a warning, and warnings as lines --------------------------------------


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


def test_months_of_a_term_without_months_are_not_held_against_units_of_30_days() -> None:
    units = prorating({"steps": [[0, 1], [12, "1/2"]]}, "complete_30_day_units")
    assert found(book(policy({"term": ends({"machine_hours": 2000}), **units})), "thirty_day_units_beside_months") == []


def test_plain_terms_earn_no_warning() -> None:
    assert warnings_of(book(policy(), policy({"policy": "with-service", **oil()}))) == ()


def test_warnings_come_in_order_and_read_as_lines() -> None:
    warnings = warnings_of(full_book())
    assert list(warnings) == sorted(warnings, key=lambda w: (w.policy, w.path, w.code, w.message))
    lines = warnings_text(warnings).splitlines()
    assert len(lines) == len(warnings) > 3
    assert lines[0].startswith(f"{warnings[0].policy}: {warnings[0].path}: {warnings[0].code}: ")
