"""The records as they were known on the day of the decision: what is dated later was not on file that day.

So a record file that has grown since still gives the claim file of an old decision, and its digest. An end that came
later (a component taken off, a machine sold on) was open. What the days of the machine's life say (delivery, first use)
is left as it is: one that lies ahead is a contradiction, for the rules to show to a person.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, NamedTuple

from rules.plain import day_text
from schemas.claim import Claim
from schemas.machine import Machine
from schemas.service_record import ServiceRecord
from service.rendering.remarks import Remark


class _Dated(NamedTuple):
    """A list of the machine's records: by which day each came about, what one is called, and what tells it apart."""

    field: str
    day: str
    what: str
    key: str = "id"
    end: str | None = None  # a last day, which is open until it has come


_MACHINE = (
    _Dated("readings", "on", "reading"),
    _Dated("meter_changes", "on", "meter change"),
    _Dated("owners", "since", "owner", "order", end="until"),
    _Dated("components", "fitted_on", "component", end="removed_on"),
    _Dated("storage", "since", "storage period"),
    _Dated("alterations", "found_on", "alteration"),
    _Dated("demonstrations", "on", "demonstration", "on"),
    _Dated("bookings", "asked_on", "booking"),
)
FIRST_NAMED = 3  # of many records; and the last one, which may be the slip


def services_known(services: Sequence[ServiceRecord], day: date) -> tuple[ServiceRecord, ...]:
    """Return the services that were done and whose papers had come in by this day."""
    return tuple(record for record in services if _came_in(record) <= day)


def machine_known(machine: Machine, day: date) -> Machine:
    """Return the machine with what is dated up to this day; the very same one where nothing is dated later."""
    changes: dict[str, Any] = {}
    for dated in _MACHINE:
        records = getattr(machine, dated.field)
        known = tuple(_open_ended(record, dated.end, day) for record in records if not _is_later(record, dated, day))
        if known != records:
            changes[dated.field] = known
    return machine.model_copy(update=changes) if changes else machine


def claim_known(claim: Claim, day: date) -> Claim:
    """Return the claim with the questions that were put by this day."""
    asked = tuple(question for question in claim.questions if question.asked_on <= day)
    return claim if asked == claim.questions else claim.model_copy(update={"questions": asked})


def dated_later(machine: Machine, services: Iterable[ServiceRecord], claim: Claim, day: date) -> list[Remark]:
    """Return a remark for each kind of record that is left out because it is dated after this day."""
    late = [record for record in services if _came_in(record) > day]
    remarks = _told("", "service record", [(_came_in(record), _service_words(record)) for record in late])
    for dated in _MACHINE:
        found = [record for record in getattr(machine, dated.field) if _is_later(record, dated, day)]
        rows = [(on := getattr(record, dated.day), _words(getattr(record, dated.key), on)) for record in found]
        remarks += _told(f"machine {machine.serial}: ", dated.what, rows)
    put = [(q.asked_on, _words(q.about, q.asked_on)) for q in claim.questions if q.asked_on > day]
    return remarks + _told(f"claim {claim.claim}: ", "question", put)


def _told(place: str, what: str, later: Iterable[tuple[date, str]]) -> list[Remark]:
    named = [words for _, words in sorted(later)]
    after = "dated after the day of the decision"
    if not named:
        return []
    if len(named) == 1:
        return [Remark(f"{place}{what} {named[0]} is {after} and plays no part.")]
    shown = named if len(named) <= FIRST_NAMED + 1 else [*named[:FIRST_NAMED], "…", named[-1]]
    return [Remark(f"{place}{len(named)} {what}s are {after} and play no part: {', '.join(shown)}.")]


def _words(key: object, on: date) -> str:
    return day_text(on) if key == on else f"{key} of {day_text(on)}"


def _service_words(record: ServiceRecord) -> str:
    came = _came_in(record)
    papers = f", its papers of {day_text(came)}" if came != record.on else ""
    return f"{_words(record.record, record.on)}{papers}"


def _came_in(record: ServiceRecord) -> date:
    """Return the day from which a service was on file: its own, or the later one on which its papers came."""
    return record.on if record.provided_on is None else max(record.on, record.provided_on)


def _is_later(record: object, dated: _Dated, day: date) -> bool:
    on: date | None = getattr(record, dated.day)
    return on is not None and on > day


def _open_ended(record: Any, end: str | None, day: date) -> Any:
    last: date | None = None if end is None else getattr(record, end)
    return record if last is None or last <= day else record.model_copy(update={end: None})
