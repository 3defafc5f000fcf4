"""Which machines a policy is about, and when its cover starts and ends, in sentences."""

from collections.abc import Iterator, Mapping, Sequence

from rules.plain import day_text
from rules.policy_book.values import (
    CLAIM_DATES,
    EVENTS,
    Told,
    hours_words,
    listed,
    number_words,
    plain,
    share_words,
    span_words,
    told,
)
from schemas.policy.clause import DateRange, DemoHours, Limit, Limits, StartAfter
from schemas.policy.services import ServiceDuty
from schemas.policy.term import AppliesTo, CarveOut, InForce, LaterFitting, StartPoint, Starts, Term

FITTINGS = {
    "factory": "fitted by the factory",
    "retrofit_kit": "fitted later as a retrofit kit",
    "replacement": "fitted later as a replacement",
}
TESTED = {
    "failed_on": "The failure must happen inside the term",
    "reported_on": "The failure must be reported inside the term; that it happened inside it is not enough",
    "part_received_on": "The failed part must be received at a service outlet inside the term; a failure inside it is"
    " not enough",
}
DEMO_HOURS = {
    "zero": "Every hour on the machine counts, demonstrations before the start of term included",
    "start_of_term": "Hours run before the start of term, in demonstrations, do not count",
}
LATER_TERMS = {
    "of_the_machine": "gets what is left of the machine's term",
    "new_from_fitting": "gets a full new term from its fitting",
    "kit_only": "gets a full new term from its fitting, for the kit's own parts alone",
    "longer_of_machine_and_span": "gets what is left of the machine's term, or {span} from fitting if that is longer",
}
LATER_SCHEDULES = {
    "from_fitting": "its services are counted from the fitting",
    "of_the_machine": "its services follow the machine's schedule",
}


def limit_words(limit: Limit) -> str:
    """Return one limit: 24 months; 1,000 h; 25 % wear."""
    if limit.months is not None:
        words = f"{number_words(limit.months)} month{'' if limit.months == 1 else 's'}"
    elif limit.days is not None:
        words = f"{number_words(limit.days)} day{'' if limit.days == 1 else 's'}"
    elif limit.machine_hours is not None:
        words = hours_words(limit.machine_hours)
    elif limit.component_hours is not None:
        words = f"{hours_words(limit.component_hours)} of the component itself"
    else:
        assert limit.wear is not None, "a limit states one unit"
        words = f"{share_words(limit.wear)} wear"
    return words if limit.from_ is None else f"{words} from {EVENTS[limit.from_]}"


def limits_words(limits: Limits) -> str:
    """Return a set of limits, and which of several ends the period."""
    words = [limit_words(limit) for limit in limits.all]
    if len(words) == 1:
        return words[0]
    return f"{listed(words, 'or')}, whichever comes {'first' if limits.first_of is not None else 'last'}"


def ends_words(ends: Limits | str) -> str:
    return limits_words(ends) if isinstance(ends, Limits) else "the life of the machine"


def start_point_words(point: StartPoint) -> str:
    if isinstance(point, DemoHours):
        return f"the day on which demonstrations reach {hours_words(point.demo_reaches)}"
    if isinstance(point, StartAfter):
        return f"{span_words(point.plus)} after {EVENTS[point.event]}"
    return EVENTS[point]


def starts_words(starts: Starts) -> str:
    """Return where a period starts: the earliest of its events, and what counts when none is known."""
    points = [start_point_words(point) for point in starts.earliest_of]
    words = points[0] if len(points) == 1 else f"the earliest of {listed(points)}"
    if starts.otherwise:
        words += f" (if none is known, {listed([start_point_words(p) for p in starts.otherwise], 'else')})"
    return words


def range_words(days: DateRange) -> str:
    ends = []
    if days.from_ is not None:
        ends.append(f"from {day_text(days.from_)}")
    if days.until is not None:
        ends.append(f"until {day_text(days.until)}")
    return " ".join(ends) or "on any day"


def applies_to_sentences(applies: AppliesTo) -> Iterator[Told]:
    """Yield which machines, owners and components the policy is about; the first sentence stands for the clause."""
    named = "the whole machine" if applies.components == "whole_machine" else f"the {_named(applies.components)}"
    if applies.except_components:
        named += f", except the {_named(applies.except_components)},"
    fitted = listed((FITTINGS[f] for f in applies.fitted), "or")
    yield told("named", f"covered is {named} of {models_words(applies.models)}, {fitted}")
    if applies.serials:
        ranges = listed(f"{r.from_} to {r.until}" for r in applies.serials)
        yield told("serials", f"it holds for machines with a serial number in {ranges}")
    if applies.built is not None:
        yield told("built", f"it holds for machines built {range_words(applies.built)}")
    if applies.use is not None:
        yield told("use", f"it holds for machines in {listed(map(plain, applies.use), 'or')} use")
    if applies.regions is not None:
        yield told("regions", f"it holds in {listed(applies.regions)}")
    reach = "it holds for the first owner only" if applies.owner == "first" else "it passes on to every later owner"
    yield told("owner", reach)


def models_words(models: tuple[str, ...]) -> str:
    if models == ("*",):
        return "every model"
    one = len(models) == 1 and not models[0].endswith("*")
    return f"model{'' if one else 's'} {listed(map(model_words, models))}"


def model_words(model: str) -> str:
    return f"{model[:-1]}… (any ending)" if model.endswith("*") else model


def _named(components: tuple[str, ...]) -> str:
    return listed(map(plain, components))


def term_sentences(term: Term, services: Mapping[str, ServiceDuty]) -> Iterator[Told]:
    """Yield the term's sentences; the first says when it starts and ends."""
    kept = [plain(name) for name, duty in services.items() if duty.new_component == "keeps_schedule"]
    yield told("term", f"the cover lasts {ends_words(term.ends)}, counted from {starts_words(term.starts)}")
    yield told("tested", TESTED[term.tested_on])
    yield told("hours", DEMO_HOURS[term.hours_count_from])
    for name, fitting in (("retrofit kit", term.retrofit_kit), ("replacement", term.replacement)):
        if fitting is not None:
            yield told("fitted_later", f"a component fitted later as a {name} {later_fitting_words(fitting, kept)}")


def later_fitting_words(fitting: LaterFitting, kept: Sequence[str]) -> str:
    """Return the term and schedule of a component fitted later; ``kept``: the services that never begin anew."""
    term = LATER_TERMS[fitting.term]
    if fitting.span is not None:
        term = term.format(span=span_words(fitting.span))
    save = ""
    if fitting.schedule == "from_fitting" and kept:
        save = f", save the {listed(kept)}, which {'follows' if len(kept) == 1 else 'follow'} the machine's schedule"
    return f"{term}; {LATER_SCHEDULES[fitting.schedule]}{save}"


def carve_out_sentences(carve_out: CarveOut) -> Iterator[Told]:
    """Yield the one sentence of a carve-out (a start of its own would change nothing where cover never begins)."""
    named = _named(carve_out.components)
    starts = "" if carve_out.starts is None else f", counted from {starts_words(carve_out.starts)}"
    if carve_out.never:
        yield told("carved_out", f"the {named}: never covered{starts}")
    else:
        assert carve_out.ends is not None, "a carve-out that is not never covered says when its cover ends"
        ends = ends_words(carve_out.ends)
        yield told("carved_out", f"the {named}: covered for {ends}{starts}, instead of the term")


def in_force_words(in_force: InForce) -> str:
    until = "" if in_force.until is None else f" until {day_text(in_force.until)}"
    selected = {"start_of_term": "the start of term", **EVENTS, **CLAIM_DATES}[in_force.selected_by]
    alone = "; it never governs by itself, but only where another version falls back to it"
    beside = alone if in_force.only_as_fall_back else ""
    return f"in force from {day_text(in_force.from_)}{until}; what counts is {selected}{beside}"
