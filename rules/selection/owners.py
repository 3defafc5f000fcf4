"""Whether the first owner has a machine on a day, or what leaves that open.

Cover for the first owner ends when the machine passes on. The first day of an ownership is the new owner's, unless the
owner before it is on file for that day too: then it may still have been either's. An owner whose time has ended, with
nobody after, has passed the machine on to somebody unknown.
"""

from collections.abc import Sequence
from datetime import date

from rules.open_facts import Asks, OpenFact
from rules.plain import day_text
from schemas.machine import Machine, Owner


def first_owner_has(machine: Machine, on: date) -> bool | None:
    """Return whether the first owner has the machine on a day; None: what is on file leaves it open.

    A machine of which no later owner is on file is the first one's.
    """
    if not machine.owners:
        return True
    first, later = _begun(machine, on)
    if not later:
        return None if first and _has_ended(first, on) else True
    return None if _out_of_order(machine, later) or _still_on_file(first, on) else False


def first_owner_fact(machine: Machine, on: date, if_contradicted: Asks) -> OpenFact:
    """Return what to ask where it is open; ``if_contradicted``: whom, where the days of the owners cannot all be."""
    first, later = _begun(machine, on)
    asks = if_contradicted
    out_of_order = _out_of_order(machine, later)
    if out_of_order:
        words = f"since when the machine has had a later owner: {out_of_order}"
    else:
        until = max((owner.until for owner in first if owner.until is not None), default=on)
        words = f"who owned the machine at the failure on {day_text(on)}: owner 1 is on file until {day_text(until)}"
        taken_over = [f"owner {owner.order} since {day_text(owner.since)}" for owner in later]
        words += f", {', '.join(taken_over)}" if taken_over else ", and nobody for that day"
        # A machine changes hands within a day: two owners of one day contradict nothing.
        if all(owner.since >= until for owner in later):
            asks = "dealer"
    return OpenFact("first_owner", "owner", asks, words)


def owner_words(machine: Machine, on: date) -> str:
    """Return which owner has the machine on a day, by number."""
    _, later = _begun(machine, on)
    if first_owner_has(machine, on) is None:
        return "not known"
    return str(max((owner.order for owner in later), default=1))


def _begun(machine: Machine, on: date) -> tuple[list[Owner], list[Owner]]:
    """Return the records of the first owner and of later ones whose ownership has begun on a day."""
    begun = [owner for owner in machine.owners if owner.since <= on]
    return [owner for owner in begun if owner.order == 1], [owner for owner in begun if owner.order > 1]


def _has_ended(first: Sequence[Owner], on: date) -> bool:
    return all(owner.until is not None and owner.until < on for owner in first)


def _still_on_file(first: Sequence[Owner], on: date) -> bool:
    return any(owner.until is not None and owner.until >= on for owner in first)


def _out_of_order(machine: Machine, later: Sequence[Owner]) -> str:
    """Return what is wrong with the days of later owners where without these the first one has it; else empty.

    No owner had the machine before it was built, nor a later one before an earlier.
    """
    said = []
    for owner in later:
        if owner.since < machine.built_on:
            why = f"before it was built on {day_text(machine.built_on)}"
        elif any(o.order < owner.order and o.since > owner.since for o in machine.owners):
            why = "before an earlier owner"
        else:
            continue
        said.append(f"owner {owner.order} since {day_text(owner.since)}, {why}")
    return "; ".join(said) if len(said) == len(later) else ""
