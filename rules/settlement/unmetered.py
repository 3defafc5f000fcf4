"""Lines of a machine without an hour meter whose coverage, period or share only hours could decide: held for a person.

A limit that cannot be measured plays no part beside one that can: of 60 months or 3,000 h, whichever comes first, the
age alone is left. Where nothing else is left to tell, or the later of two limits counts and the other one has passed,
neither paying nor refusing would rest on anything.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from rules.measures.groups import LimitState
from rules.measures.measure import Measures
from rules.selection.select import Subject
from rules.settlement.allowance import Allowance
from rules.settlement.desk import Desk, Held
from schemas.conventions import Conventions
from schemas.policy.clause import Limits

BY_HOURS = frozenset(("machine_hours", "component_hours"))


def metered(allowance: Allowance, measures: Measures, subject: Subject, desk: Desk) -> Allowance:
    """Return the allowance, held where the machine has no hour meter and only its hours could decide."""
    if desk.claim_file.machine.has_meter:
        return allowance
    held_by = (_held_by_term, _held_by_period, _held_by_share)
    held = (*allowance.held, *(held for by in held_by for held in by(measures, subject)))
    return replace(allowance, held=held)


def _held_by_term(measures: Measures, subject: Subject) -> Iterator[Held]:
    policy = measures.policy
    group = measures.group_of_line[subject.line.line]
    path = group.path
    ends = policy.terms.term.ends if path == "term" else policy.terms.carve_outs[int(path[11:-1])].ends
    spared = group.span_last_day is not None and group.tested_day <= group.span_last_day
    if isinstance(ends, Limits) and not spared and _is_undecided(ends, group.limits, policy.conventions):
        yield Held("no_hour_meter", path, "whether the limit of hours had passed is not measured")


def _is_undecided(limits: Limits, measured: Sequence[LimitState], conventions: Conventions) -> bool:
    if len(measured) == len(limits.all):
        return False
    if limits.first_of is not None:
        return not measured
    return all(state.passed(conventions) for state in measured)


def _held_by_period(measures: Measures, subject: Subject) -> Iterator[Held]:
    path = measures.item_untold.get(subject.line.line)
    if path == "pays.either_or":
        words = "whether the point in hours had come, from which one of two kinds of items is paid, is not measured"
        yield Held("no_hour_meter", path, words)
    elif path is not None:
        yield Held("no_hour_meter", path, "whether the shorter period of these items had ended is not measured")


def _held_by_share(measures: Measures, subject: Subject) -> Iterator[Held]:
    prorating = measures.policy.terms.prorating
    proration = measures.prorations.get(subject.line.line)
    if prorating is None or proration is None:
        return
    free = prorating.free_while
    if free is not None:
        hours = [limit for limit in free.all if limit.hours is not None]
        alone = len(hours) == len(free.all)
        if alone or (hours and free.last_of is not None and not proration.free):
            yield Held("no_hour_meter", "prorating", "whether the free period of hours had ended is not measured")
            return
    if not proration.free and all(axis.by in BY_HOURS for axis in prorating.axes):
        yield Held("no_hour_meter", "prorating", "the paid share falls with hours alone")
