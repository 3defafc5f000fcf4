"""Warnings about numbers and gaps: each code with terms that earn it and a near twin that does not; numbers by hand."""

import pytest

from rules.policy_book.lint import warnings_of
from tests.rules.policy_book.examples import book, policy
from tests.rules.policy_book.warned import Change, Warned, assert_warned, ends, found, ids_of, oil

pytestmark = pytest.mark.fast

TRAVEL: Change = {"clause": "4.8", "per_unit": "0.80", "unit": "km", "excess_borne_by": "owner"}
CALENDAR: Change = {"every": "12 months", "in_storage": "runs", "holds_from": "start_of_term"}
WARNED: list[Warned] = [
    # code, terms, their near twin, path, words of the message
    (  # 15 is 1,500 %: of 100.00 come 1,600.00
        "markup_above_whole",
        {"pays": {"parts": {"handling": 15}}},
        {"pays": {"parts": {"handling": 1}}},
        "pays.parts.handling",
        "1,500 % is added: of 100.00 allowed, 1,600.00 is paid. Write 15% or 0.15",
    ),
    (
        "allowance_of_nothing",
        {"pays": {"travel": {**TRAVEL, "units_at_most": 0}}},
        {"pays": {"travel": {**TRAVEL, "units_at_most": "0.01"}}},
        "pays.travel.units_at_most",
        "at most 0 is allowed, so that nothing of it is ever paid",
    ),
    (
        "limit_of_nothing",
        {"term": ends({"months": 36}, {"machine_hours": 0})},
        {"term": ends({"months": 36}, {"machine_hours": "0.01"})},
        "term",
        "machine hours: 0 is reached before the first use",
    ),
    (  # 500 and 1,000: 300 late closes at 800, 201 early opens at 799
        "window_wider_than_interval",
        oil(due={"at_hours": [], "then_every": 500}, window={"hours": {"early": 201, "late": 300}}),
        oil(due={"at_hours": [], "then_every": 500}, window={"hours": {"early": 200, "late": 300}}),
        "services.oil.window.hours",
        "the window of the service at 500 h closes at 800 h, after that of the next one has opened at 799 h",
    ),
    (  # half of the 400 h between 100 and 500 early opens at 300; 10 h late closes at 110
        "window_wider_than_interval",
        oil(due={"at_hours": [100, 500], "then_every": 500}, window={"hours": {"early": "50%", "late": 201}}),
        oil(due={"at_hours": [100, 500], "then_every": 500}, window={"hours": {"early": "50%", "late": 200}}),
        "services.oil.window.hours",
        "the window of the service at 100 h closes at 301 h, after that of the next one has opened at 300 h",
    ),
    (  # twelve months of thirty days are 360 days
        "window_wider_than_interval",
        oil(due={"calendar": CALENDAR}, window={"calendar": {"early": 180, "late": 181}}),
        oil(due={"calendar": CALENDAR}, window={"calendar": {"early": 180, "late": 180}}),
        "services.oil.window.calendar",
        "the window of 361 days is wider than 12 months",
    ),
]


@pytest.mark.parametrize(("code", "terms", "twin", "path", "words"), WARNED, ids=ids_of(WARNED))
def test_a_number_that_is_seldom_meant(code: str, terms: Change, twin: Change, path: str, words: str) -> None:
    assert_warned(code, terms, twin, path, words)


@pytest.mark.parametrize(
    ("begins", "words"),
    [
        ("2027-01-01", None),
        ("2027-01-02", "from 1 January 2027 to 1 January 2027 no version of sprayer is in force"),
        ("2027-03-01", "from 1 January 2027 to 28 February 2027 no version of sprayer is in force"),
    ],
)
def test_days_between_two_versions_are_told(begins: str, words: str | None) -> None:
    first = policy({"in_force": {"until": "2026-12-31"}})
    second = policy({"version": 2, "in_force": {"from": begins}})
    told = found(book(first, second), "no_version_between")
    assert [(w.policy, w.path) for w in told] == ([] if words is None else [("sprayer@2", "in_force.from")])
    assert words is None or words in told[0].message
    assert words is None or "a machine or claim whose start of term lies there is denied" in told[0].message


def test_a_version_that_is_replaced_leaves_no_gap() -> None:
    """The second replaces the first for every new decision, so that the first says nothing of the days between."""
    first = policy({"in_force": {"until": "2026-12-31"}})
    second = policy({"version": 2, "supersedes": [1], "in_force": {"from": "2026-01-01", "until": "2027-02-28"}})
    third = policy({"version": 3, "in_force": {"from": "2027-03-01"}})
    assert found(book(first, second, third), "no_version_between") == []


@pytest.mark.parametrize(
    ("until", "begins", "words"),
    [
        (
            "2026-12-31",
            None,
            "in force on days that no version has any more (from 1 January 2027, no end)",
        ),
        ("2026-12-31", "2027-01-01", None),
        ("2026-12-31", "2027-01-02", "(from 1 January 2027 until 1 January 2027)"),
        (None, None, None),
    ],
)
def test_days_that_only_a_superseded_version_had_are_told(
    until: str | None, begins: str | None, words: str | None
) -> None:
    versions = [policy(), policy({"version": 2, "supersedes": [1], "in_force": {"until": until}})]
    if begins is not None:
        versions.append(policy({"version": 3, "in_force": {"from": begins}}))
    told = found(book(*versions), "superseded_days_end")
    assert [(w.policy, w.path) for w in told] == ([] if words is None else [("sprayer@2", "in_force.until")])
    assert words is None or words in told[0].message


def test_a_single_version_has_no_gap_and_quiet_terms_warn_of_no_number() -> None:
    quiet = book(policy(oil()))
    assert {w.code for w in warnings_of(quiet)}.isdisjoint({code for code, *_ in WARNED} | {"no_version_between"})
