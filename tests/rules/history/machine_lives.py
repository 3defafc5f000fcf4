"""Made-up lives of a machine: what it really ran, and what meters and papers show of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from hypothesis import strategies as st

from schemas.claim_file import ClaimFile

DELIVERED = date(2024, 1, 1)
MOST_A_DAY = 2400  # hundredths
LAST_DAY = 420  # of a failure, counted from delivery


@dataclass
class Life:
    """Machine hours (hundredths) by day since delivery, and the records made of them."""

    hours: Mapping[int, int]  # day -> true machine hours
    failed: int
    services: list[dict[str, Any]] = field(default_factory=list)
    readings: list[dict[str, Any]] = field(default_factory=list)
    changes: list[dict[str, Any]] = field(default_factory=list)
    reading: str | None = None

    def claim_file(self) -> ClaimFile:
        """Return the claim file that shows this life, with one line for a hydrostatic pump."""
        claim: dict[str, Any] = {
            "claim": "C-1",
            "serial": "M-1",
            "dealer": "D-1",
            "currency": "EUR",
            "failed_on": day_text(self.failed),
            "lines": [{"line": "pump", "item": "parts", "component": "hydrostatic_pump", "net": "1000.00"}],
        }
        if self.reading is not None:
            claim["reading"] = self.reading
        machine = {
            "serial": "M-1",
            "model": "RM10",
            "built_on": DELIVERED.isoformat(),
            "events": {"retail_delivery": DELIVERED.isoformat()},
            "use": "commercial",
            "region": "XX",
            "readings": self.readings,
            "meter_changes": self.changes,
            "records_complete_from": DELIVERED.isoformat(),
        }
        return ClaimFile.model_validate(
            {
                "machine": machine,
                "services": self.services,
                "claim": claim,
                "dealer": {"dealer": "D-1", "region": "XX", "currency": "EUR"},
                "currency_exponents": {"EUR": 2},
                "decided_on": (DELIVERED + timedelta(days=self.failed + 10)).isoformat(),
            }
        )


def day_text(day: int) -> str:
    return (DELIVERED + timedelta(days=day)).isoformat()


def hours_text(hundredths: int) -> str:
    return f"{hundredths // 100}.{hundredths % 100:02d}"


@st.composite
def lives(
    draw: st.DrawFn,
    *,
    most_records: int = 4,
    fewest_records: int = 0,
    near: tuple[int, ...] = (),
    days_apart: int = 1,
    least_hours: int = 1,
) -> tuple[Life, list[int]]:
    """Draw a life with all its readings true and known; and the days of its services, oldest first.

    ``near``: machine hours to draw the readings close to, so that edges are met often. ``days_apart``: records lie on
    multiples of so many days. ``least_hours``: of the first record, no more than the machine can run in ``days_apart``.
    """
    count = draw(st.integers(fewest_records, most_records)) + 1
    drawn = draw(st.sets(st.integers(1, LAST_DAY // days_apart), min_size=count, max_size=count))
    return life_on(draw, sorted(day * days_apart for day in drawn), near, least_hours)


@st.composite
def lives_served_over(draw: st.DrawFn, days: int, *, most_records: int) -> tuple[Life, list[int]]:
    """Draw a life whose first and last service lie ``days`` or more apart."""
    first = draw(st.integers(1, LAST_DAY - 1 - days))
    last = draw(st.integers(first + days, LAST_DAY - 1))
    between = draw(st.sets(st.integers(first + 1, last - 1), max_size=most_records - 2))
    return life_on(draw, [first, *sorted(between), last, draw(st.integers(last + 1, LAST_DAY))])


def life_on(
    draw: st.DrawFn, days: list[int], near: tuple[int, ...] = (), least_hours: int = 1
) -> tuple[Life, list[int]]:
    """Draw a life with a service on each of the days but the last, on which it fails."""
    hours: dict[int, int] = {}
    before_day, before = 0, 0
    for day in days:
        most = before + MOST_A_DAY * (day - before_day)
        close = [h + step for h in near for step in (-1, 0, 1) if before < h + step <= most]
        at = draw(st.sampled_from(close)) if close and draw(st.booleans()) else None
        if at is None:
            at = draw(st.integers(max(before + 1, least_hours), min(most, before + 40000)))
        hours[day] = before = at
        before_day = day
    *served, failed = days
    life = Life(hours, failed, reading=hours_text(hours[failed]))
    for number, day in enumerate(served):
        tasks = draw(st.sampled_from([["break_in"], ["recurring"], ["break_in", "recurring"]]))
        life.services.append(
            {
                "record": f"S-{number}",
                "serial": "M-1",
                "on": day_text(day),
                "reading": hours_text(hours[day]),
                "tasks": tasks,
                "by": "authorised_dealer",
                "evidence": ["dealer_invoice"],
            }
        )
    return life, served


def through_meters(life: Life, served: list[int], draw: st.DrawFn) -> None:
    """Replace the meter once or twice in a life: every reading becomes what the meter of its day showed.

    The old meter's reading is noted or not, as drawn.
    """
    free = sorted(set(range(1, life.failed)) - set(life.hours))
    if not free:
        return
    days = sorted(draw(st.sets(st.sampled_from(free), min_size=1, max_size=2)))
    known = {0: 0, **life.hours}
    offset = 0
    for number, day in enumerate(days):
        before, after = max(d for d in known if d < day), min(d for d in known if d > day)
        low = max(known[before], known[after] - MOST_A_DAY * (after - day))
        high = min(known[after], known[before] + MOST_A_DAY * (day - before))
        known[day] = at = draw(st.integers(low, high))
        new = draw(st.sampled_from([0, 0, 1200]))
        change: dict[str, Any] = {"id": f"M-{number}", "on": day_text(day), "new_reading": hours_text(new)}
        if draw(st.booleans()):
            change["old_reading"] = hours_text(at - offset)
        life.changes.append(change)
        offset = at - new
        show_from(life, served, day, offset)


def show_from(life: Life, served: list[int], day: int, offset: int) -> None:
    """Let every reading after a day be what a meter shows that is ``offset`` hundredths behind the machine."""
    shown = {d: hours_text(h - offset) for d, h in life.hours.items() if d > day}
    for service, served_on in zip(life.services, served, strict=True):
        service["reading"] = shown.get(served_on, service["reading"])
    life.reading = shown[life.failed]


@st.composite
def lives_set_back(draw: st.DrawFn, *, most_records: int) -> tuple[Life, list[int]]:
    """Draw a life whose meter is replaced once by one that starts at 0, which nobody says, and the readings fall.

    The first reading after it is below the last one before it. A day of at least one record before and a day between
    any two leave room for that: the new meter then runs less in its days than the old one showed.
    """
    life, served = draw(
        lives(fewest_records=1, most_records=most_records, days_apart=2, least_hours=MOST_A_DAY + 1),
    )
    days = [*served, life.failed]
    place = draw(st.integers(1, len(days) - 1))
    last, following = days[place - 1], days[place]
    before, after = life.hours[last], life.hours[following]
    hours_at_change = {
        day: (
            max(before, after - MOST_A_DAY * (following - day), after - before + 1),
            min(after, before + MOST_A_DAY * (day - last)),
        )
        for day in range(last + 1, following)
    }
    day = draw(st.sampled_from([day for day, (low, high) in hours_at_change.items() if low <= high]))
    show_from(life, served, day, draw(st.integers(*hours_at_change[day])))
    return life, served


def left_out(life: Life, draw: st.DrawFn) -> None:
    """Leave some readings of a life unnoted."""
    for service in life.services:
        if draw(st.booleans()):
            del service["reading"]
    if draw(st.booleans()):
        life.reading = None
