"""The services a policy asks for, in sentences: due, window, hands, proof, and what a missed one costs."""

from collections.abc import Iterator

from rules.plain import day_text
from rules.policy_book.values import (
    BEARERS,
    Told,
    hours_words,
    listed,
    number_words,
    plain,
    share_words,
    span_words,
    told,
    tolerance_words,
)
from schemas.policy.services import (
    Consequence,
    Due,
    FallBack,
    LowerShare,
    OneOffPoint,
    Proof,
    Refused,
    ServiceDuty,
    Tolerances,
    Window,
)
from schemas.policy.term import Term

RECURRING_SHOWN = 3  # due points, enough to see from where they count
PERFORMERS = {
    "selling_dealer": "the selling dealer",
    "authorised_dealer": "an authorised dealer",
    "independent": "an independent workshop",
    "owner": "the owner",
}
EVIDENCE = {
    "dealer_invoice": "a dealer's invoice",
    "garage_invoice": "a workshop's invoice",
    "parts_receipt": "a receipt for the parts",
    "log_entry": "an entry in the service log",
    "telematics_reset": "a service reset seen by telematics",
    "oil_sample": "an oil sample",
    "photo": "a photo",
    "statement": "a signed statement",
}
EARLY = {
    "counts": "A service before its window counts, once the window before it has closed",
    "does_not_count": "A service before its window does not count",
}
LATE = {
    "cures_from_its_date": "A late service puts the gap right from its date",
    "cures_if_inspected": "A late service puts the gap right if an inspection then found the machine sound",
    "never_cures": "A late service never puts the gap right",
}
NEXT_DUE = {
    "due_point": "The next due counts from the due point, whenever the service was done",
    "actual": "The next due counts from the hours and day at which the service was done",
    "due_point_inside_window": "The next due counts from the due point after a service inside its window, and from the"
    " service itself after one outside it",
}
JUDGED = {
    "every_closed_window": "Every due point whose window has closed is looked at",
    "last_closed_window": "Only the last due point whose window has closed is looked at",
}
NEW_COMPONENT = {
    "own_schedule": "A component fitted later starts a schedule of its own",
    "keeps_schedule": "A component fitted later keeps the schedule",
}
DONE_WRONG = {
    "owner_kept_whole": "If the maker's own dealer did it wrongly, the owner is kept whole",
    "counts_as_missed": "If the maker's own dealer did it wrongly, it counts as missed",
}


def due_words(duty: ServiceDuty) -> str:
    """Return when the services fall due: at 75 h and 400 h, then every 400 h or 12 months, whichever comes first.

    Where hours and calendar each keep a plan of their own, neither replaces the other: every 400 h, and also every 12
    months.
    """
    due, parts = duty.due, []
    if due.at_hours:
        parts.append(f"at {listed(hours_words(point.at) for point in due.at_hours)}")
    every = [hours_words(due.then_every)] if due.then_every is not None else []
    calendar = due.calendar
    if calendar is not None:
        every.append(span_words(calendar.every))
    if every:
        first = f"every {' or '.join(every)}{', whichever comes first' if len(every) == 2 else ''}"
        words = ", and also ".join(f"every {one}" for one in every) if two_plans(duty) else first
        parts.append(f"{'then ' if parts else ''}{words}")
    return ", ".join(parts)


def due_points_words(due: Due) -> str:
    """Return the first due points in hours, where recurring ones follow one-off ones: 50, 350, 650, 950 h and so on.

    "Then every 300 h" counts from the last one-off point, which a reader of 50 and 300 may not know.
    """
    if not due.at_hours or due.then_every is None:
        return ""
    points = [point.at for point in due.at_hours]
    points += [points[-1] + number * due.then_every for number in range(1, RECURRING_SHOWN + 1)]
    by = "by hours" if due.calendar is not None else "done when due"
    return f"{by}, that is at {', '.join(map(number_words, points))} h and so on"


def two_plans(duty: ServiceDuty) -> bool:
    """Return whether hours and calendar each keep a plan of their own, which a service moves inside its window only.

    That is so on a fixed grid: where each due point counts from the one before it, and not from the service.
    """
    on_grid = duty.next_due_from == "due_point" or duty.judged == "last_closed_window"
    due = duty.due
    by_hours = due.then_every is not None or len(due.at_hours) > 0
    return on_grid and due.calendar is not None and by_hours


def calendar_words(due: Due) -> str:
    """Return how the calendar limb runs; empty without one."""
    if due.calendar is None:
        return ""
    since = (
        "from the start of term, the first services included"
        if due.calendar.holds_from == "start_of_term"
        else "only once the last one-off service was done"
    )
    storage = "runs on in recorded storage" if due.calendar.in_storage == "runs" else "pauses in recorded storage"
    return f"the {span_words(due.calendar.every)} run {since}; the calendar {storage}"


def tolerances_words(tolerances: Tolerances, unit: str) -> str:
    """Return a window: 25 h early to 25 h late; ``unit`` is h or days."""
    words = f"{tolerance_words(tolerances.early, unit)} early to {tolerance_words(tolerances.late, unit)} late"
    return words if tolerances.at_most is None else f"{words}, at most {number_words(tolerances.at_most)} {unit}"


def point_words(point: OneOffPoint) -> str:
    """Return a one-off point that states its window itself; empty for one that follows the duty's window."""
    if point.from_hours is not None and point.until_hours is not None:
        low, high = number_words(point.from_hours), hours_words(point.until_hours)
        return f"{low} to {high} at the {hours_words(point.at)} service"
    if point.early is not None and point.late is not None:
        early, late = tolerance_words(point.early, "h"), tolerance_words(point.late, "h")
        return f"{early} early to {late} late at the {hours_words(point.at)} service"
    return ""


def window_words(window: Window, due: Due) -> str:
    """Return how early and late a service may be; the bounds lie inside."""
    parts = [words for point in due.at_hours if (words := point_words(point))]
    if window.hours is not None:
        parts.append(f"{'else ' if parts else ''}{tolerances_words(window.hours, 'h')}")
    if window.calendar is not None:
        parts.append(f"by the calendar {tolerances_words(window.calendar, 'days')}")
    return ", ".join(parts) or "none"


def proof_words(proof: Proof) -> str:
    return f"{listed(EVIDENCE[e] for e in proof.all)} (grade {proof.grade})"


def counts_words(duty: ServiceDuty) -> str:
    """Return whose services count and what proves them: done by an authorised dealer, proven by a dealer's invoice."""
    sets = "; or by ".join(listed(EVIDENCE[e] for e in proof.all) for proof in duty.proof)
    return f"done by {listed((PERFORMERS[p] for p in duty.performed_by), 'or')}, proven by {sets}"


def consequence_words(consequence: Consequence, duty: ServiceDuty) -> str:
    """Return what a consequence does to lines of the claim."""
    match consequence:
        case "refer":
            return "a person must judge the lines that it can have to do with"
        case "note_only":
            return "it is noted and changes nothing"
        case Refused(deny="everything"):
            return "no line is covered"
        case Refused(deny=reach):
            return f"{_reached(reach, duty)} not covered"
        case LowerShare(share=share, reach=reach):
            return f"{_reached(reach, duty)} paid at {share_words(share)}"
        case FallBack(fall_back_to=target, reach=reach):
            return f"{_reached(reach, duty)} decided under {target.name} version {target.version} instead"


def _reached(reach: str, duty: ServiceDuty) -> str:
    return "all lines are" if reach == "everything" else f"lines on the {listed(map(plain, duty.links))} are"


def _new_component_words(duty: ServiceDuty, term: Term) -> str:
    """Return whose schedule a component fitted later gets, by the way of fitting where that makes a difference."""
    fittings = {"retrofit kit": term.retrofit_kit, "replacement": term.replacement}
    stated = {name: fitting.schedule for name, fitting in fittings.items() if fitting is not None}
    if duty.new_component == "keeps_schedule" or len(set(stated.values())) < 2:
        return NEW_COMPONENT[duty.new_component]
    own, kept = sorted(stated, key=lambda name: stated[name])  # from_fitting stands before of_the_machine
    return (
        f"A component fitted later as a {own} starts a schedule of its own, one fitted as a {kept} keeps the schedule"
    )


def service_sentences(name: str, duty: ServiceDuty, term: Term) -> Iterator[Told]:
    """Yield a duty's sentences; the first says what the duty is. ``term`` says which fittings begin a schedule anew."""
    called = f"the {plain(name)} service" if name != "service" else "the service"
    tasks = f" ({', '.join(map(plain, duty.tasks))})" if duty.tasks not in (("service",), (name,)) else ""
    yield told("due", f"{called}{tasks} is due {due_words(duty)}")
    points = due_points_words(duty.due)
    if points:
        yield told("points", points)
    yield told("window", f"its window: {window_words(duty.window, duty.due)}")
    yield told("missed", f"if it is missed, {consequence_words(duty.missed, duty)}")
    if isinstance(duty.missed, FallBack) or isinstance(duty.wrong_fluid, FallBack):
        whole = "a machine that falls back keeps that promise whole"
        yield told("fall_back", f"{whole}: the term, items and exclusions of this version play no part in it")
    if duty.due.calendar is not None:
        yield told("calendar", calendar_words(duty.due))
    if two_plans(duty):
        own = "hours and calendar each keep a plan of their own"
        yield told("two_plans", f"{own}: a service answers both only where the windows of both are open")
    yield told("early", EARLY[duty.early])
    yield told("late", LATE[duty.late])
    yield told("next_due", NEXT_DUE[duty.next_due_from])
    yield told("judged", JUDGED[duty.judged])
    yield told("hands", f"it may be done by {listed((PERFORMERS[p] for p in duty.performed_by), 'or')}")
    yield told("proof", f"it is proven by {'; or by '.join(proof_words(p) for p in duty.proof)}")
    yield from _fluid_sentences(duty)
    counted = "counts" if duty.repairs_count else "does not count"
    yield told("repairs", f"a repair that carries the same work {counted} as the service")
    booked = "counts" if duty.bookings_count else "does not count"
    yield told("bookings", f"a proven booking inside the window, refused for lack of a slot, {booked}")
    yield told("new_component", _new_component_words(duty, term))
    if duty.activates:
        yield told("activates", "the cover begins to hold only with proof of this service")
    if duty.advised_on is not None:
        since = f"on or after {day_text(duty.advised_on)}, when it was advised"
        yield told("advised", f"it is a duty only where the term began {since}")
    if duty.links:
        yield told("links", f"it can have to do with failures of the {listed(map(plain, duty.links))}")
    yield told("done_wrong", DONE_WRONG[duty.done_wrong_by_dealer])
    yield told("borne", f"what is not paid because of it is borne by {BEARERS[duty.borne_by]}")


def _fluid_sentences(duty: ServiceDuty) -> Iterator[Told]:
    if duty.fluid is not None:
        grace = duty.fluid.grace
        taken_off = "no longer counts" if grace is None else f"still counts for {span_words(grace)}"
        on_list = f"the fluid must stand on the list {plain(duty.fluid.fluids)} on the day of the service"
        yield told("fluid", f"{on_list}; one taken off it {taken_off}")
        if duty.fluid.at_least_litres is not None:
            litres = number_words(duty.fluid.at_least_litres)
            yield told("litres", f"a service takes {litres} litres; records of less are asked about")
    if duty.wrong_fluid is not None:
        yield told("wrong_fluid", f"if another fluid was used, {consequence_words(duty.wrong_fluid, duty)}")
