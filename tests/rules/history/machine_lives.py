"""Made-up lives of a machine: what it really ran, and what meters and papers show of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from hypothesis import strategies as st

from schemas.claim_file import ClaimFile

DELIVERED = date(2024, 1, 1)
MOST_A_DAY = 2400  # hundredths


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
def lives(draw: st.DrawFn, *, most_records: int = 4, near: tuple[int, ...] = ()) -> tuple[Life, list[int]]:
    """Draw a life with all its readings true and known; and the days of its services, oldest first.

    ``near``: machine hours to draw the readings close to, so that edges are met often.
    """
    count = draw(st.integers(0, most_records))
    days = sorted(draw(st.sets(st.integers(1, 420), min_size=count + 1, max_size=count + 1)))
    hours: dict[int, int] = {}
    before_day, before = 0, 0
    for day in days:
        most = before + MOST_A_DAY * (day - before_day)
        close = [h + step for h in near for step in (-1, 0, 1) if before < h + step <= most]
        at = draw(st.sampled_from(close)) if close and draw(st.booleans()) else None
        if at is None:
            at = before + draw(st.integers(1, min(most - before, 40000)))
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


def through_meters(life: Life, served: list[int], draw: st.DrawFn, *, recorded: bool = True) -> None:
    """Replace the meter once or twice in a life: every reading becomes what the meter of its day showed.

    Not ``recorded``: the new meter starts at 0 and nobody says so. The old meter's reading is noted or not, as drawn.
    """
    free = sorted(set(range(1, life.failed)) - set(life.hours))
    if not free:
        return
    days = sorted(draw(st.sets(st.sampled_from(free), min_size=1, max_size=2 if recorded else 1)))
    known = {0: 0, **life.hours}
    offset = 0
    for number, day in enumerate(days):
        before, after = max(d for d in known if d < day), min(d for d in known if d > day)
        low = max(known[before], known[after] - MOST_A_DAY * (after - day))
        high = min(known[after], known[before] + MOST_A_DAY * (day - before))
        known[day] = at = draw(st.integers(low, high))
        new = draw(st.sampled_from([0, 0, 1200])) if recorded else 0
        if recorded:
            change: dict[str, Any] = {"id": f"M-{number}", "on": day_text(day), "new_reading": hours_text(new)}
            if draw(st.booleans()):
                change["old_reading"] = hours_text(at - offset)
            life.changes.append(change)
        offset = at - new
        shown = {d: hours_text(h - offset) for d, h in life.hours.items() if d > day}
        for service, served_on in zip(life.services, served, strict=True):
            service["reading"] = shown.get(served_on, service["reading"])
        life.reading = shown[life.failed]


def left_out(life: Life, draw: st.DrawFn) -> None:
    """Leave some readings of a life unnoted."""
    for service in life.services:
        if draw(st.booleans()):
            del service["reading"]
    if draw(st.booleans()):
        life.reading = None
