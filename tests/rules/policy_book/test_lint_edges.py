"""Warnings at the edges of their thresholds, and where a clause and the term are written in different units."""

import pytest

from tests.rules.policy_book.warned import Change, Warned, assert_warned, carve_out, ends, ids_of, prorating

pytestmark = pytest.mark.fast

OWNER = {"after_borne_by": "owner"}
WARNED: list[Warned] = [
    # code, terms, their near twin, path, words of the message; the term, where none is said, is 36 months or 2,000 h
    (  # the same bands as printed, 0-375, 376-750, 751-1,175: the third would end with 1,125, the next begin at 1,126
        "uneven_steps",
        prorating({"steps": [[0, 1], [376, "3/4"], [751, "1/2"], [1176, "1/4"]]}, "machine_hours"),
        prorating({"steps": [[0, 1], [376, "3/4"], [751, "1/2"], [1126, "1/4"]]}, "machine_hours"),
        "prorating.axes[0].share",
        "the step from 751 h is 425 wide, the others 375: an even table would go on at 1,126 h",
    ),
    (  # with an end at 1,500, the boundary alone has moved: 425 and 325 wide
        "uneven_steps",
        prorating({"steps": [[0, 1], [376, "3/4"], [751, "1/2"], [1176, "1/4"], [1501, 0]]}, "machine_hours"),
        prorating({"steps": [[0, 1], [376, "3/4"], [751, "1/2"], [1126, "1/4"], [1501, 0]]}, "machine_hours"),
        "prorating.axes[0].share",
        "the step from 751 h is 425 wide, the others 375: an even table would go on at 1,126 h",
    ),
    (
        "uneven_steps",
        prorating({"steps": [[0, 1], [375, "3/4"], [750, "1/2"], [1175, "1/4"], [1500, 0]]}, "machine_hours"),
        prorating({"steps": [[0, 1], [375, "3/4"], [750, "1/2"], [1125, "1/4"], [1500, 0]]}, "machine_hours"),
        "prorating.axes[0].share",
        "the step from 750 h is 425 wide, the others 375: an even table would go on at 1,125 h",
    ),
    (  # two odd steps that do not make up for each other: 425 and 330 are 755, not twice 375
        "uneven_steps",
        prorating({"steps": [[0, 1], [375, "3/4"], [750, "1/2"], [1125, "1/4"], [1550, 0]]}, "machine_hours"),
        prorating({"steps": [[0, 1], [375, "3/4"], [750, "1/2"], [1175, "1/4"], [1505, 0]]}, "machine_hours"),
        "prorating.axes[0].share",
        "the step from 1,125 h is 425 wide, the others 375: an even table would go on at 1,500 h",
    ),
    (  # a width that is off by a quarter of the others is no slip
        "uneven_steps",
        prorating({"steps": [[0, 1], [100, "3/4"], [200, "1/2"], [324, "1/4"]]}, "machine_hours"),
        prorating({"steps": [[0, 1], [100, "3/4"], [200, "1/2"], [325, "1/4"]]}, "machine_hours"),
        "prorating.axes[0].share",
        "the step from 200 h is 124 wide, the others 100: an even table would go on at 300 h",
    ),
    (  # 18 months are 547.5 days: 552 are within five of them, 553 are not
        "days_beside_months",
        {"term": ends({"months": 18}), "carve_outs": [carve_out("belt", ends={"first_of": [{"days": 552}]})]},
        {"term": ends({"months": 18}), "carve_outs": [carve_out("belt", ends={"first_of": [{"days": 553}]})]},
        "carve_outs[0]",
        "552 days here and 18 months at term are nearly, but not, the same",
    ),
    (  # three years are long, a month less is not
        "use_switches_off_long_term",
        {"applies_to": {"use": ["residential"]}, "term": ends({"months": 36})},
        {"applies_to": {"use": ["residential"]}, "term": ends({"months": 35})},
        "applies_to.use",
        "the cover of 36 months",
    ),
    (  # five years in days
        "use_switches_off_long_term",
        {"applies_to": {"use": ["residential"]}, "term": ends({"days": 1826})},
        {"applies_to": {"use": ["residential"]}, "term": ends({"days": 730})},
        "applies_to.use",
        "the cover of 1,826 days",
    ),
    (
        "use_switches_off_long_term",
        {"applies_to": {"use": ["residential"]}, "term": ends({"days": 1095})},
        {"applies_to": {"use": ["residential"]}, "term": ends({"days": 1094})},
        "applies_to.use",
        "the cover of 1,095 days",
    ),
    (  # hours alone end it; beside a year, the year does
        "use_switches_off_long_term",
        {"applies_to": {"use": ["residential"]}, "term": ends({"machine_hours": 5000})},
        {"applies_to": {"use": ["residential"]}, "term": ends({"machine_hours": 5000}, {"months": 12})},
        "applies_to.use",
        "the cover of 5,000 h",
    ),
    (
        "use_switches_off_long_term",
        {"applies_to": {"use": ["residential"]}, "term": ends({"machine_hours": 1500})},
        {"applies_to": {"use": ["residential"]}, "term": ends({"machine_hours": 1499})},
        "applies_to.use",
        "the cover of 1,500 h",
    ),
    (  # 730 days hold 24 complete months at most
        "step_beyond_term",
        {"term": ends({"days": 730}), **prorating({"steps": [[0, 1], [48, "1/2"]]})},
        {"term": ends({"days": 730}), **prorating({"steps": [[0, 1], [24, "1/2"]]})},
        "prorating.axes[0].share",
        "from 48 complete months on is never reached: the cover ends at 24 complete months",
    ),
    (  # 24 x 30 = 720 days, 25 x 30 = 750
        "step_beyond_term",
        {"term": ends({"days": 730}), **prorating({"steps": [[0, 1], [25, "1/2"]]}, "complete_30_day_units")},
        {"term": ends({"days": 730}), **prorating({"steps": [[0, 1], [24, "1/2"]]}, "complete_30_day_units")},
        "prorating.axes[0].share",
        "from 25 complete 30-day units on is never reached",
    ),
    (  # 24 months have 731 days at most, which is 24 complete units and a 25th begun
        "step_beyond_term",
        {"term": ends({"months": 24}), **prorating({"steps": [[0, 1], [26, "1/2"]]}, "begun_30_day_units")},
        {"term": ends({"months": 24}), **prorating({"steps": [[0, 1], [25, "1/2"]]}, "begun_30_day_units")},
        "prorating.axes[0].share",
        "from 26 begun 30-day units on is never reached",
    ),
    (  # a component runs no longer than its machine
        "step_beyond_term",
        {"term": ends({"machine_hours": 500}), **prorating({"steps": [[0, 1], [900, "1/2"]]}, "component_hours")},
        {"term": ends({"machine_hours": 500}), **prorating({"steps": [[0, 1], [500, "1/2"]]}, "component_hours")},
        "prorating.axes[0].share",
        "is never reached: the cover ends at 500",
    ),
    (  # unless hours before the term do not count: the component may have run then
        "step_beyond_term",
        {"term": {**ends({"component_hours": 500}), "hours_count_from": "start_of_term"},
         **prorating({"steps": [[0, 1], [900, "1/2"]]}, "component_hours")},
        {"term": {**ends({"machine_hours": 500}), "hours_count_from": "start_of_term"},
         **prorating({"steps": [[0, 1], [900, "1/2"]]}, "component_hours")},
        "prorating.axes[0].share",
        "is never reached: the cover ends at 500",
    ),
    (  # 10 days and the day of the start round the clock: 11 x 24 = 264 h
        "step_beyond_term",
        {"term": ends({"days": 10}), **prorating({"steps": [[0, 1], [265, "1/2"]]}, "machine_hours")},
        {"term": ends({"days": 10}), **prorating({"steps": [[0, 1], [264, "1/2"]]}, "machine_hours")},
        "prorating.axes[0].share",
        "is never reached: the cover ends at 264 h",
    ),
    (  # 24 months have 731 days at most
        "period_beyond_term",
        {"term": ends({"months": 24}), "pays": {"parts": {"until": {"first_of": [{"days": 900}]}, **OWNER}}},
        {"term": ends({"months": 24}), "pays": {"parts": {"until": {"first_of": [{"days": 700}]}, **OWNER}}},
        "pays.parts",
        "its period of 900 days is no shorter than the cover (24 months)",
    ),
    (
        "period_beyond_term",
        {"term": ends({"days": 365}), "pays": {"parts": {"until": {"first_of": [{"months": 24}]}, **OWNER}}},
        {"term": ends({"days": 365}), "pays": {"parts": {"until": {"first_of": [{"months": 11}]}, **OWNER}}},
        "pays.parts",
        "its period of 24 months is no shorter than the cover (365 days)",
    ),
    (
        "period_beyond_term",
        {"pays": {"parts": {"until": {"first_of": [{"component_hours": 2000}]}, **OWNER}}},
        {"pays": {"parts": {"until": {"first_of": [{"component_hours": 1999}]}, **OWNER}}},
        "pays.parts",
        "is no shorter than the cover",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("code", "terms", "twin", "path", "words"), WARNED, ids=ids_of(WARNED))
def test_what_lies_past_an_edge_is_warned_of_and_what_lies_before_it_is_not(
    code: str, terms: Change, twin: Change, path: str, words: str
) -> None:
    assert_warned(code, terms, twin, path, words)
