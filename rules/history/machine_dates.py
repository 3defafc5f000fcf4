"""Days of a machine's records that cannot be: what happened to a machine before it was built.

Either day may be the slip. A day in doubt is taken anywhere between what the two records leave, so that a person is
asked where it changes a line, and nothing is denied on it alone. Other orders of events (an invoice, a registration or
a hire before or after the delivery) all occur in the trade.
"""

from datetime import date

from rules.plain import day_text
from schemas.machine import DemoEntry, Machine
from schemas.policy.clause import Event

Span = tuple[date, date]  # the first and the last day that it may have been


def has_days_in_doubt(machine: Machine) -> bool:
    """Return whether any day of the machine is in doubt, as almost never."""
    return bool(machine.events and min(machine.events.values()) < machine.built_on) or (
        bool(machine.demonstrations) and bool(demonstrations_in_doubt(machine))
    )


def events_in_doubt(machine: Machine) -> dict[Event, date]:
    """Return the events that lie before the machine was built."""
    return {event: on for event, on in sorted(machine.events.items()) if on < machine.built_on}


def demonstrations_in_doubt(machine: Machine) -> tuple[DemoEntry, ...]:
    """Return the demonstrations before the machine was built, and those that show more than was shown after them.

    A meter that was changed since may show less.
    """
    shown = [(d.on, d.hours) for d in machine.demonstrations] + [(r.on, r.hours) for r in machine.readings]
    changed = [change.on for change in machine.meter_changes]
    return tuple(
        d
        for d in machine.demonstrations
        if d.on < machine.built_on
        or any(
            on > d.on and hours < d.hours and not any(d.on <= change <= on for change in changed) for on, hours in shown
        )
    )


def built_span(machine: Machine) -> Span:
    """Return when the machine may have been built: as stated, else not after what happened to it before."""
    return min(machine.built_on, *machine.events.values()) if machine.events else machine.built_on, machine.built_on


def event_span(event: Event, machine: Machine, failed_on: date) -> Span | None:
    """Return when an event may have been, None where it is not on file."""
    if event == "built":
        return built_span(machine)
    on = machine.events.get(event)
    if on is None:
        return None
    return on, on if on >= machine.built_on else max(on, failed_on)


def doubt_words(machine: Machine) -> str:
    """Return which days of the machine contradict one another; empty where none do."""
    said = [
        f"{event.replace('_', ' ')} on {day_text(on)} lies before the machine was built on {day_text(machine.built_on)}"
        for event, on in events_in_doubt(machine).items()
    ]
    for demonstration in demonstrations_in_doubt(machine):
        what = f"a demonstration at {demonstration.hours} h on {day_text(demonstration.on)}"
        if demonstration.on < machine.built_on:
            said.append(f"{what} lies before the machine was built on {day_text(machine.built_on)}")
        else:
            said.append(f"{what} shows more than was shown later")
    return "; ".join(said)
