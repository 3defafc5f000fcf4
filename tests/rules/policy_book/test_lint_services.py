"""Warnings about services: each code with terms that earn it and a near twin that does not; numbers by hand."""

import pytest

from tests.rules.policy_book.examples import book, conventions, policy
from tests.rules.policy_book.warned import Change, Warned, assert_warned, ends, found, ids_of, oil

pytestmark = pytest.mark.fast

CALENDAR = {"every": "12 months", "in_storage": "runs"}
DAYS = {"window": {"calendar": {"early": 30, "late": 30}}}
BY_CALENDAR = {"at_hours": [], "then_every": None, "calendar": {**CALENDAR, "holds_from": "start_of_term"}}
BOTH = {"at_hours": [], "then_every": 250, "calendar": {**CALENDAR, "holds_from": "start_of_term"}}
WARNED: list[Warned] = [
    # code, terms, their near twin, path, words of the message
    (  # T-03: 480 after 80, 10 % late: 400 x 10 % gives 520, 480 x 10 % gives 528
        "percent_window",
        oil(due={"at_hours": [80, 480], "then_every": 480}, window={"hours": {"late": "10%"}}),
        oil(due={"at_hours": [80, 480], "then_every": 480}, window={"hours": {"late": 48}}),
        "services.oil.window",
        "10 % late at 480 h ends at 520 h of the interval of 400 h, and at 528 h of the due value",
    ),
    (  # 400 x 10 % early opens at 440, 480 x 10 % at 432
        "percent_window",
        oil(due={"at_hours": [80, 480], "then_every": 480}, window={"hours": {"early": "10%"}}),
        oil(due={"at_hours": [80, 480], "then_every": 480}, window={"hours": {"early": 48}}),
        "services.oil.window",
        "10 % early at 480 h opens at 440 h of the interval of 400 h, and at 432 h of the due value",
    ),
    (  # a tolerance of the point's own; hard bounds have none
        "percent_window",
        oil(due={"at_hours": [80, {"at": 480, "early": 8, "late": "10%"}]}),
        oil(due={"at_hours": [80, {"at": 480, "from_hours": 440, "until_hours": 520}]}),
        "services.oil.window",
        "10 % late at 480 h ends at 520 h",
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
    (  # no numbers of hours to show it with; counted on the grid there is nothing to show
        "late_moves_schedule",
        oil(due=BY_CALENDAR, **DAYS, next_due_from="due_point_inside_window"),
        oil(due=BY_CALENDAR, **DAYS, next_due_from="due_point_inside_window", judged="last_closed_window"),
        "services.oil.next_due_from",
        "a service done a little too late leaves more time until the next than one done in its window",
    ),
    (  # a late service is no service: it moves nothing
        "late_moves_schedule",
        oil(next_due_from="due_point_inside_window", late="cures_from_its_date"),
        oil(next_due_from="due_point_inside_window", late="never_cures"),
        "services.oil.next_due_from",
        "done at 1,525 h",
    ),
    (  # one point alone is followed by none
        "late_moves_schedule",
        oil(next_due_from="due_point_inside_window", due={"at_hours": [100], "then_every": 500}),
        oil(next_due_from="due_point_inside_window", due={"at_hours": [100], "then_every": None}),
        "services.oil.next_due_from",
        "a service due at 1,100 h and done at 1,125 h is followed by one due at 1,600 h",
    ),
    (  # of the interval of 480 h: 48 h after 960 h
        "late_moves_schedule",
        oil(next_due_from="due_point_inside_window", due={"at_hours": [], "then_every": 480},
            window={"hours": {"early": "10%", "late": "10%"}}),
        oil(due={"at_hours": [], "then_every": 480}, window={"hours": {"early": "10%", "late": "10%"}}),
        "services.oil.next_due_from",
        "at 1,008 h is followed by one due at 1,440 h, and one done an hour later, too late, by one due at 1,489 h",
    ),
    (  # E-12, E-17: on the grid an early service is unmatched; the window of 800 h closes at 825 h
        "early_without_limit",
        oil(early="counts", due={"at_hours": [75, 400], "then_every": 400}, window={"hours": {"early": 40}}),
        oil(due={"at_hours": [75, 400], "then_every": 400}, window={"hours": {"early": 40}}),
        "services.oil.early",
        "one at 826 h, right after the window of the one due at 800 h has closed, counts as the one due at 1,200 h.",
    ),
    (  # an early service that moves the schedule brings the next one nearer
        "early_without_limit",
        oil(early="counts"),
        oil(early="counts", next_due_from="due_point_inside_window"),
        "services.oil.early",
        "counts as the one due at 1,500 h. Write early: does_not_count, or count the next one from it (next_due_from:",
    ),
    (  # the last window alone judged is on the grid, whatever moves the next one; only early: does_not_count helps
        "early_without_limit",
        oil(early="counts", next_due_from="actual", judged="last_closed_window"),
        oil(early="counts", next_due_from="actual"),
        "services.oil.early",
        "Write early: does_not_count.",
    ),
    (  # the first point has the whole time since 0 h before it; a window from 0 h on leaves none
        "early_without_limit",
        oil(early="counts", due={"at_hours": [{"at": 50, "from_hours": 40, "until_hours": 60}], "then_every": None}),
        oil(early="counts", due={"at_hours": [{"at": 50, "from_hours": 0, "until_hours": 60}], "then_every": None}),
        "services.oil.early",
        "one at 1 h counts as the one due at 50 h",
    ),
    (  # windows that meet leave no time between them: 250 h early, none late
        "early_without_limit",
        oil(early="counts", due={"at_hours": [], "then_every": 250}, window={"hours": {"early": 249, "late": 0}}),
        oil(early="counts", due={"at_hours": [], "then_every": 250}, window={"hours": {"early": 250, "late": 0}}),
        "services.oil.early",
        "one at 250.5 h, right after the window of the one due at 250 h has closed, counts as the one due at 500 h",
    ),
    (  # 12 months of 30 days: 180 days either side leave none
        "early_without_limit",
        oil(early="counts", due=BY_CALENDAR, **DAYS),
        oil(early="counts", due=BY_CALENDAR, window={"calendar": {"early": 180, "late": 180}}),
        "services.oil.early",
        "one on the day after a window has closed counts as the next one, due 12 months after the one just past",
    ),
    (  # a term of hours alone says nothing of a year
        "calendar_never_begins",
        {**oil(due={"at_hours": [80, 480], "calendar": {**CALENDAR, "holds_from": "last_one_off"}}, **DAYS),
         "term": ends({"machine_hours": 2000})},
        {**oil(due={"at_hours": [80, 480], "calendar": {**CALENDAR, "holds_from": "start_of_term"}}, **DAYS),
         "term": ends({"machine_hours": 2000})},
        "services.oil.due.calendar.holds_from",
        "the calendar runs only from the service at 480 h on. Write",
    ),
    (
        "service_after_term",
        oil(due={"at_hours": [], "then_every": 2001}),
        oil(due={"at_hours": [], "then_every": 2000}),
        "services.oil.due",
        "the services at 2,001 h fall due only after the cover has ended at 2,000 h",
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
    (  # 36 months at 200 h a year: 250 and 500 h, and two anniversaries, at 200 and 400 h, 50 and 75 h before a window
        "two_plans_ask_more",
        oil(due=BOTH, **DAYS),
        oil(due=BOTH, **DAYS, next_due_from="actual"),
        "services.oil.next_due_from",
        "at 200 h a year 4 services fall due within the term, by the hours alone 2, by the calendar alone 2",
    ),
    (
        "two_plans_ask_more",
        oil(due=BOTH, **DAYS, next_due_from="actual", judged="last_closed_window"),
        oil(due=BY_CALENDAR, **DAYS),
        "services.oil.judged",
        "One service answers both only where the windows of both are open.",
    ),
    (  # the way out of one warning must not lead into the other unsaid
        "late_moves_schedule",
        oil(due=BOTH, **DAYS, next_due_from="due_point_inside_window"),
        oil(due=BOTH, **DAYS, next_due_from="actual"),
        "services.oil.next_due_from",
        "Write next_due_from: actual, or leave it if the booklet says so. With due_point hours and calendar would each",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("code", "terms", "twin", "path", "words"), WARNED, ids=ids_of(WARNED))
def test_suspicious_services_are_warned_of_and_their_twin_is_not(
    code: str, terms: Change, twin: Change, path: str, words: str
) -> None:
    assert_warned(code, terms, twin, path, words)


def test_a_percent_window_is_warned_of_where_the_conventions_take_it_of_the_due_value_too() -> None:
    """10 % of 960 h are 96: a service an hour later than 1,056 h is followed by one at 1,057 + 480 = 1,537 h."""
    tenth = {"hours": {"early": "10%", "late": "10%"}}
    terms = policy(oil(next_due_from="due_point_inside_window", due={"at_hours": [], "then_every": 480}, window=tenth))
    made = book(terms, counted=[conventions({"percent_window": "of_due_value"})])
    (warning,) = found(made, "percent_window")
    assert "the conventions say of due value" in warning.message
    (warning,) = found(made, "late_moves_schedule")
    assert "done at 1,056 h is followed by one due at 1,440 h" in warning.message
    assert "by one due at 1,537 h" in warning.message
