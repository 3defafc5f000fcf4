"""Suspicious services: windows that two readers count apart, schedules that bend back, demands nobody meets."""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.demands import YEARLY_HOURS, services_due
from rules.policy_book.service_words import PERFORMERS, two_plans
from rules.policy_book.values import hours_words, listed, number_words, plain, share_words
from rules.policy_book.warning import PolicyWarning, hours_of, longest, months_of
from schemas.policy.services import Due, ServiceDuty, Tolerances
from schemas.quantities import Tolerance

DAYS_A_MONTH = 30
DEALERS = frozenset({"selling_dealer", "authorised_dealer"})


def service_warnings(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    for name, duty in policy.terms.services.items():
        path = f"services.{name}"
        yield from _percent_window(policy, duty, path)
        yield from _wider_than_its_interval(policy, duty, path)
        yield from _calendar_from_last_one_off(policy, duty, path)
        yield from _late_moves_schedule(policy, duty, path)
        yield from _early_without_limit(policy, duty, path)
        yield from _two_plans(policy, name, duty)
        yield from _after_the_term(policy, duty, path)
        yield from _tied_to_dealers(policy, duty, path)


@dataclass(frozen=True, slots=True)
class _Point:
    """A due point in hours, the gap before it, its tolerances, and the window that caps them."""

    at: Fraction
    gap: Fraction
    early: Tolerance
    late: Tolerance
    window: Tolerances | None


def _points(duty: ServiceDuty) -> Iterator[_Point]:
    """Yield the due points that have tolerances: each one-off, and two recurring ones."""
    before = Fraction(0)
    window = duty.window.hours
    for point in duty.due.at_hours:
        at = Fraction(point.at)
        if point.early is not None and point.late is not None:
            yield _Point(at, at - before, point.early, point.late, None)
        elif point.until_hours is None and window is not None:
            yield _Point(at, at - before, window.early, window.late, window)
        before = at
    if duty.due.then_every is not None and window is not None:
        gap = Fraction(duty.due.then_every)
        yield _Point(before + gap, gap, window.early, window.late, window)
        yield _Point(before + 2 * gap, gap, window.early, window.late, window)


def _percent_window(policy: CompiledPolicy, duty: ServiceDuty, path: str) -> Iterator[PolicyWarning]:
    for point in _points(duty):
        for tolerance, side, sign in ((point.late, "late", 1), (point.early, "early", -1)):
            share = tolerance.share
            if share is None:
                continue
            of_interval, of_value = (_capped(base * share, point.window) for base in (point.gap, point.at))
            if of_interval == of_value:
                continue
            meant = plain(policy.conventions.percent_window)
            yield PolicyWarning(
                policy.name,
                f"{path}.window",
                "percent_window",
                f"{share_words(share)} {side} at {hours_words(point.at)} {'ends' if sign > 0 else 'opens'} at"
                f" {hours_words(point.at + sign * of_interval)} of the interval of {hours_words(point.gap)}, and at"
                f" {hours_words(point.at + sign * of_value)} of the due value; the conventions say {meant}, which an"
                " owner cannot see.",
                "Write the window in hours, or say in the clause what the percentage is taken of.",
            )
            return


def _capped(hours: Fraction, window: Tolerances | None) -> Fraction:
    return hours if window is None or window.at_most is None else min(hours, Fraction(window.at_most))


def _wider_than_its_interval(policy: CompiledPolicy, duty: ServiceDuty, path: str) -> Iterator[PolicyWarning]:
    """Windows so wide that the next one opens before one has closed, so that one visit lies in two."""
    wide: list[tuple[str, str]] = []
    for one, following in pairwise(_points(duty)):
        closes, opens = (
            one.at + _width(one.late, one, policy),
            following.at - _width(following.early, following, policy),
        )
        if closes > opens:
            said = f"the window of the service at {hours_words(one.at)} closes at {hours_words(closes)}, after that of"
            wide.append(("hours", f"{said} the next one has opened at {hours_words(max(opens, Fraction(0)))}"))
    calendar, window = duty.due.calendar, duty.window.calendar
    if calendar is not None and window is not None:
        days = Fraction(calendar.every.days or calendar.every.months * DAYS_A_MONTH)
        sides = sum(_side(side, days, window) for side in (window.early, window.late))
        if sides > days:
            wide.append(("calendar", f"the window of {number_words(sides)} days is wider than {calendar.every}"))
    for kind, words in wide[:1]:
        yield PolicyWarning(
            policy.name,
            f"{path}.window.{kind}",
            "window_wider_than_interval",
            f"{words}: one visit can lie in two windows.",
            "Narrow the window: early and late together stay within the interval.",
        )


def _width(side: Tolerance, point: _Point, policy: CompiledPolicy) -> Fraction:
    base = point.gap if policy.conventions.percent_window == "of_interval" else point.at
    return _side(side, base, point.window)


def _side(side: Tolerance, base: Fraction, window: Tolerances | None) -> Fraction:
    """Return one side of a window, in the unit of ``base``, which a percentage is of; at_most caps a percentage."""
    return _capped(base * side.share, window) if side.share is not None else Fraction(side.amount or 0)


def _calendar_from_last_one_off(policy: CompiledPolicy, duty: ServiceDuty, path: str) -> Iterator[PolicyWarning]:
    calendar = duty.due.calendar
    if calendar is None or calendar.holds_from != "last_one_off":
        return
    last = Fraction(duty.due.at_hours[-1].at)
    months = longest(policy, months_of)
    message = f"the calendar runs only from the service at {hours_words(last)} on"
    if months is not None:
        rate_exact = last * 12 / months
        rate = number_words(-(-rate_exact.numerator // rate_exact.denominator))
        message += (
            f": below {rate} h a year that service never falls due within {number_words(months)} months,"
            " and no other after it"
        )
    yield PolicyWarning(
        policy.name,
        f"{path}.due.calendar.holds_from",
        "calendar_never_begins",
        f"{message}.",
        "Write holds_from: start_of_term, if a machine that is little used needs its oil changed too.",
    )


def _late_moves_schedule(policy: CompiledPolicy, duty: ServiceDuty, path: str) -> Iterator[PolicyWarning]:
    recurring = duty.due.then_every is not None or duty.due.calendar is not None
    if duty.next_due_from != "due_point_inside_window" or duty.late == "never_cures" or not recurring:
        return
    if duty.judged == "last_closed_window":
        return  # judged on the grid
    example = "a service done a little too late leaves more time until the next than one done in its window"
    points = list(_points(duty))
    if points and duty.due.then_every is not None:
        at, gap, late = points[-1].at, points[-1].gap, points[-1].late
        base = gap if policy.conventions.percent_window == "of_interval" else at
        of_base = _capped(base * (late.share or 0), points[-1].window)
        allowed = of_base if late.amount is None else Fraction(late.amount)
        example = (
            f"a service due at {hours_words(at)} and done at {hours_words(at + allowed)} is followed by one due at"
            f" {hours_words(at + gap)}, and one done an hour later, too late, by one due at"
            f" {hours_words(at + allowed + 1 + gap)}"
        )
    grid_is_more = ""
    if two_plans(duty.model_copy(update={"next_due_from": "due_point"})):
        grid_is_more = " With due_point hours and calendar would each keep a plan of their own, which asks for more."
    yield PolicyWarning(
        policy.name,
        f"{path}.next_due_from",
        "late_moves_schedule",
        f"a late service can move the schedule further than an on-time one: {example}.",
        f"Write next_due_from: {'actual' if grid_is_more else 'due_point or actual'}, or leave it if the booklet says"
        f" so.{grid_is_more}",
    )


def _early_without_limit(policy: CompiledPolicy, duty: ServiceDuty, path: str) -> Iterator[PolicyWarning]:
    """Early services that count on a fixed grid, which they do not move: one done at any time stands for the next."""
    if duty.early != "counts" or not _on_grid(duty):
        return
    example = (
        _early_by_hours(policy, duty)
        if (duty.due.at_hours or duty.due.then_every is not None)
        else _early_by_calendar(duty)
    )
    if not example:
        return
    other = ", or count the next one from it (next_due_from: actual or due_point_inside_window)"
    yield PolicyWarning(
        policy.name,
        f"{path}.early",
        "early_without_limit",
        f"services fall due on a fixed grid, and one before its window counts, however early it is: {example}.",
        f"Write early: does_not_count{other if duty.judged == 'every_closed_window' else ''}.",
    )


def _on_grid(duty: ServiceDuty) -> bool:
    return duty.next_due_from == "due_point" or duty.judged == "last_closed_window"


def _early_by_hours(policy: CompiledPolicy, duty: ServiceDuty) -> str:
    """Return what an early service stands for, empty where each window opens before the one before it has closed."""
    windows = [(Fraction(0), Fraction(0), Fraction(0)), *_hour_windows(policy, duty)]
    gaps = [(one, following) for one, following in pairwise(windows) if one[2] < following[1]]
    if not gaps:
        return ""
    (at, _, closes), (due, opens, _) = gaps[-1]  # the last one follows another, where there is one
    after = f", right after the window of the one due at {hours_words(at)} has closed," if at else ""
    done = min(closes + 1, (closes + opens) / 2)
    return f"one at {hours_words(done)}{after} counts as the one due at {hours_words(due)}"


def _hour_windows(policy: CompiledPolicy, duty: ServiceDuty) -> Iterator[tuple[Fraction, Fraction, Fraction]]:
    """Yield where each due point lies, its window opens and closes: the one-off ones and two recurring ones."""
    tolerated = {point.at: point for point in _points(duty)}
    bounds = {Fraction(p.at): p for p in duty.due.at_hours if p.from_hours is not None and p.until_hours is not None}
    for at in sorted({*tolerated, *bounds}):
        if at in bounds:
            yield at, Fraction(bounds[at].from_hours or 0), Fraction(bounds[at].until_hours or 0)
        else:
            point = tolerated[at]
            yield at, at - _width(point.early, point, policy), at + _width(point.late, point, policy)


def _early_by_calendar(duty: ServiceDuty) -> str:
    calendar, window = duty.due.calendar, duty.window.calendar
    if calendar is None or window is None:
        return ""
    days = Fraction(calendar.every.days or calendar.every.months * DAYS_A_MONTH)
    if sum(_side(side, days, window) for side in (window.early, window.late)) >= days:
        return ""
    return (
        f"one on the day after a window has closed counts as the next one, due {calendar.every} after the one just past"
    )


def _two_plans(policy: CompiledPolicy, name: str, duty: ServiceDuty) -> Iterator[PolicyWarning]:
    """More services than the hours or the calendar alone would ask for, where each keeps a plan of its own."""
    calendar = duty.due.calendar
    if not two_plans(duty) or calendar is None:
        return
    by_hours = Due(at_hours=duty.due.at_hours, then_every=duty.due.then_every)
    by_calendar = Due(calendar=calendar.model_copy(update={"holds_from": "start_of_term"}))
    most: tuple[int, int, int, int, int] | None = None  # more than either, the least use first, and the three numbers
    for rate in YEARLY_HOURS:
        dues = (None, by_hours, by_calendar)
        both, hours, days = (sum(1 for _ in services_due(policy, name, Fraction(rate), due)) for due in dues)
        if both > max(hours, days):
            most = max(most or (0, 0, 0, 0, 0), (both - max(hours, days), -rate, both, hours, days))
    if most is None:
        return
    _, rate, both, hours, days = most
    key = "next_due_from" if duty.next_due_from == "due_point" else "judged"
    yield PolicyWarning(
        policy.name,
        f"services.{name}.{key}",
        "two_plans_ask_more",
        f"hours and calendar each keep a plan of their own here: at {number_words(-rate)} h a year {both} services fall"
        f" due within the term, by the hours alone {hours}, by the calendar alone {days}. One service answers both only"
        " where the windows of both are open.",
        "Say so in the clause's words; where whichever comes first is meant, count the next one from the service:"
        " next_due_from: actual or due_point_inside_window, judged: every_closed_window.",
    )


def _after_the_term(policy: CompiledPolicy, duty: ServiceDuty, path: str) -> Iterator[PolicyWarning]:
    hours, months = longest(policy, hours_of), longest(policy, months_of)
    due = duty.due
    late_points = [point.at for point in due.at_hours if hours is not None and Fraction(point.at) > hours]
    if due.then_every is not None and not due.at_hours and hours is not None and Fraction(due.then_every) > hours:
        late_points.append(due.then_every)
    if hours is not None and late_points:
        points = listed(number_words(at) for at in late_points)
        yield PolicyWarning(
            policy.name,
            f"{path}.due",
            "service_after_term",
            f"the services at {points} h fall due only after the cover has ended at {hours_words(hours)}.",
            "Take them off, or correct the term.",
        )
    every = due.calendar.every.months if due.calendar is not None else 0
    inclusive = policy.conventions.last_covered_day == "anniversary"
    if every and months is not None and (every > months or (every == months and not inclusive)):
        yield PolicyWarning(
            policy.name,
            f"{path}.due.calendar.every",
            "service_after_term",
            f"every {every} months falls due only after the cover of {number_words(months)} months has ended.",
            "Take the calendar off, or correct the term.",
        )


def _tied_to_dealers(policy: CompiledPolicy, duty: ServiceDuty, path: str) -> Iterator[PolicyWarning]:
    if policy.terms.owner_class != "consumer" or not set(duty.performed_by) <= DEALERS or duty.missed == "note_only":
        return
    hands = listed((PERFORMERS[performer] for performer in duty.performed_by), "or")
    yield PolicyWarning(
        policy.name,
        f"{path}.performed_by",
        "consumer_tied_to_dealer",
        f"the promise is made to consumers, and the service must be done by {hands}: some laws bar tying a consumer's"
        " cover"
        " to paid branded service.",
        "Take independent workshops and owners too, or let the dealer do it free of charge; ask counsel.",
    )
