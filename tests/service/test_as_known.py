"""The records as they were known on the day of the decision, and what is told of those that are dated later."""

from datetime import date
from typing import Any

import pytest

from schemas.claim import Claim
from schemas.machine import Machine
from schemas.service_record import ServiceRecord
from service.as_known import claim_known, dated_later, machine_known, services_known

pytestmark = pytest.mark.fast

DAY = date(2026, 6, 1)
BEFORE, ON, AFTER = "2026-05-31", "2026-06-01", "2026-06-02"
SERIAL = {"serial": "M-1", "model": "QF60", "built_on": "2025-01-01", "use": "commercial", "region": "XX"}
CLAIM: dict[str, Any] = {
    "claim": "C-1", "serial": "M-1", "dealer": "D-1", "currency": "EUR", "failed_on": "2026-05-01",
    "lines": [{"line": "a", "item": "parts", "net": "10"}],
}  # fmt: skip
BOOKING = {"asked_at": None, "tasks": ["service"], "earliest_slot_on": "2026-08-01", "proven": True}


def machine(**facts: Any) -> Machine:
    return Machine.model_validate({**SERIAL, **facts})


def service(record: str, on: str, **facts: Any) -> ServiceRecord:
    return ServiceRecord.model_validate({"record": record, "serial": "M-1", "on": on, **facts})


def told(of: Machine, services: tuple[ServiceRecord, ...] = (), **claim: Any) -> list[str]:
    return [remark.words for remark in dated_later(of, services, Claim.model_validate({**CLAIM, **claim}), DAY)]


@pytest.mark.parametrize(
    ("field", "day", "record", "words"),
    [
        ("readings", "on", {"id": "A", "hours": "5"}, "reading A of"),
        ("meter_changes", "on", {"id": "A", "new_reading": "0"}, "meter change A of"),
        ("owners", "since", {"order": 2}, "owner 2 of"),
        ("components", "fitted_on", {"id": "A", "component": "engine"}, "component A of"),
        ("storage", "since", {"id": "A", "until": "2026-12-01"}, "storage period A of"),
        ("alterations", "found_on", {"id": "A", "component": "engine", "kind": "altered"}, "alteration A of"),
        ("demonstrations", "on", {"hours": "5"}, "demonstration"),
        ("bookings", "asked_on", {"id": "A", **BOOKING}, "booking A of"),
    ],
)
def test_a_record_of_the_day_was_known_and_one_of_the_next_day_was_not(
    field: str, day: str, record: dict[str, Any], words: str
) -> None:
    known, later = machine(**{field: [{**record, day: ON}]}), machine(**{field: [{**record, day: AFTER}]})
    assert machine_known(known, DAY) is known
    assert told(known) == []
    assert machine_known(later, DAY) == machine()
    assert told(later) == [
        f"machine M-1: {words} 2 June 2026 is dated after the day of the decision and plays no part."
    ]


def test_what_ended_later_was_still_so() -> None:
    component = {"id": "A", "component": "engine"}
    owner = {"order": 1, "since": "2025-02-01"}
    sold = machine(components=[{**component, "removed_on": AFTER}], owners=[{**owner, "until": AFTER}])
    assert machine_known(sold, DAY) == machine(components=[component], owners=[owner])
    assert told(sold) == []
    taken_off = machine(components=[{**component, "removed_on": ON}], owners=[{**owner, "until": ON}])
    assert machine_known(taken_off, DAY) is taken_off


def test_days_of_the_machine_s_life_that_lie_ahead_are_left_to_the_rules() -> None:
    ahead = machine(events={"retail_delivery": "2027-01-01"})
    assert machine_known(ahead, DAY) is ahead


def test_a_service_is_known_from_its_own_day_or_from_that_of_its_papers() -> None:
    services = (
        service("S-1", ON),
        service("S-2", AFTER),
        service("S-3", BEFORE, provided_on=ON),
        service("S-4", BEFORE, provided_on=AFTER),
        service("S-5", AFTER, provided_on=BEFORE),  # no papers of a service were there before it
    )
    assert [record.record for record in services_known(services, DAY)] == ["S-1", "S-3"]
    (words,) = told(machine(), services)
    head, named = words.split(": ")
    assert head == "3 service records are dated after the day of the decision and play no part"
    assert named == "S-2 of 2 June 2026, S-4 of 31 May 2026, its papers of 2 June 2026, S-5 of 2 June 2026."


def test_of_many_records_the_first_and_the_last_are_named() -> None:
    services = tuple(service(f"S-{n}", f"2026-07-0{n}") for n in range(1, 6))
    (words,) = told(machine(), services)
    head, named = words.split(": ")
    assert head == "5 service records are dated after the day of the decision and play no part"
    assert named == "S-1 of 1 July 2026, S-2 of 2 July 2026, S-3 of 3 July 2026, …, S-5 of 5 July 2026."


def test_a_question_of_a_later_day_was_not_put() -> None:
    asked = [{"about": "services", "asked_on": ON}, {"about": "wear", "asked_on": AFTER}]
    claim = Claim.model_validate({**CLAIM, "questions": asked})
    assert [question.about for question in claim_known(claim, DAY).questions] == ["services"]
    assert claim_known(claim, date(2026, 6, 2)) is claim
    assert told(machine(), questions=asked) == [
        "claim C-1: question wear of 2 June 2026 is dated after the day of the decision and plays no part."
    ]
