"""Bounds of machine hours worked by hand from the conventions: 24 h a day at most, a meter stands still after 120 days.

The machine was built on 1 January 2024. Both days of a span count whole: from 1 to 11 March a meter shows at most
11 × 24 = 264 h more.
"""

from typing import Any

import pytest

from rules.history.timeline import HoursBounds, Timeline, build_timeline
from schemas.claim_file import ClaimFile
from tests.rules.history.test_timeline_bounds import CONVENTIONS

pytestmark = pytest.mark.fast


def timeline_of(**facts: Any) -> Timeline:
    """Return the timeline of a machine; the records are given as day (month and day) and reading, by id."""
    readings = [{"id": name, "on": f"2024-{day}", "hours": h} for name, (day, h) in facts.get("readings", {}).items()]
    services = [
        {
            "record": name,
            "serial": "M-1",
            "on": f"2024-{day}",
            "tasks": ["oil"],
            "by": "owner",
            "evidence": ["log_entry"],
        }
        | ({} if reading is None else {"reading": reading})
        for name, (day, reading) in facts.get("services", {}).items()
    ]
    changes = [{"id": "X-1", "kind": "replaced", **change} for change in facts.get("changes", ())]
    claim = {
        "claim": "C-1",
        "serial": "M-1",
        "dealer": "D-1",
        "currency": "EUR",
        "failed_on": f"2024-{facts['failed']}",
    }
    claim["lines"] = [{"line": "pump", "item": "parts", "component": "pump", "net": "1.00"}]  # type: ignore[assignment]
    claim |= facts.get("claim", {})
    machine = {
        "serial": "M-1", "model": "RM10", "built_on": "2024-01-01", "use": "commercial", "region": "XX",
        "events": {"retail_delivery": "2024-01-01"}, "readings": readings, "meter_changes": changes,
        "storage": facts.get("storage", []),
    }  # fmt: skip
    document = {
        "machine": machine, "services": services, "claim": claim, "currency_exponents": {"EUR": 2},
        "dealer": {"dealer": "D-1", "region": "XX", "currency": "EUR"}, "decided_on": "2025-01-31",
    }  # fmt: skip
    return build_timeline(ClaimFile.model_validate(document), CONVENTIONS.meter, CONVENTIONS.facts)


def span(bounds: HoursBounds | None) -> tuple[int, int]:
    assert bounds is not None
    return bounds.low, bounds.high


ONE = {"R-1": ("03-01", "100")}
REPLACED = [{"on": "2024-03-11", "new_reading": "0"}]
CAME_OFF = [{"on": "2024-07-15", "old_reading": "200", "new_reading": "0"}]
LATER = {"repair_began_on": "2024-06-02", "repair_reading": "150"}
STOOD = {"A": ("03-01", "200"), "B": ("07-10", "200")}
FALL = {"R-2": ("04-01", "50"), "R-3": ("04-10", "60")}
RISE = {"R-2": ("03-03", "300"), "R-3": ("03-04", "303")}
USED = {"R-1": ("03-01", "580")}
UNREAD = {"S": ("03-05", None)}
REPAIR = {"repair_began_on": "2024-03-12", "repair_reading": "150"}
NOTED = {"claim": {"repair_began_on": "2024-03-11", "repair_reading": "120"}}

AT_FAILURE: tuple[tuple[str, dict[str, Any], tuple[int, int]], ...] = (
    ("nothing is on file: three days of 24 h", {"failed": "01-03"}, (0, 7200)),
    ("100 h on 1 March, and 264 h more at most", {"failed": "03-11", "readings": ONE}, (10000, 36400)),
    (
        "of two readings the later one bounds",
        {"failed": "03-11", "readings": {**ONE, "R-2": ("03-09", "150")}},
        (15000, 22200),
    ),
    (
        "a reading after the failure is an upper bound",
        {"failed": "03-11", "readings": {**ONE, "R-2": ("03-20", "150")}},
        (10000, 15000),
    ),
    (
        "the repair's reading is one on the day of the failure too",
        {"failed": "03-11", "readings": ONE, **NOTED},
        (10000, 12000),
    ),
    (
        "… but no other reading of that day",
        {"failed": "03-11", "readings": {**ONE, "R-2": ("03-11", "150")}},
        (15000, 15000),
    ),
    # The claim against the reading before: below it a person, above what is possible the dealer's slip.
    (
        "90 h in the claim: either reading may be wrong",
        {"failed": "03-11", "readings": ONE, "claim": {"reading": "90"}},
        (9000, 36400),
    ),
    (
        "482 h in the claim, 364 are possible",
        {"failed": "03-11", "readings": ONE, "claim": {"reading": "482"}},
        (10000, 48200),
    ),
    (
        "100 h on the second day of a machine's life, 48 are possible",
        {"failed": "01-02", "claim": {"reading": "100"}},
        (0, 10000),
    ),
    # The claim against itself.
    (
        "200 h at the failure and 150 h at the repair",
        {"failed": "03-11", "readings": ONE, "claim": {"reading": "200", **REPAIR}},
        (10000, 36400),
    ),
    (
        "… 500 h are more than possible, and an upper bound all the same",
        {"failed": "03-11", "readings": ONE, "claim": {"reading": "500", **REPAIR}},
        (10000, 50000),
    ),
    (
        "… also the higher one of the repair",
        {
            "failed": "03-11",
            "readings": ONE,
            "claim": {"reading": "150", "repair_began_on": "2024-03-12", "repair_reading": "500"},
        },
        (10000, 50000),
    ),
    # Readings against one another: 70 h stand after a fall from 100 h to 50 h over 32 days of 24 h, 818 h at most.
    (
        "a fall that the records do not explain",
        {"failed": "04-20", "readings": {**ONE, **FALL}, "claim": {"reading": "70"}},
        (7000, 88800),
    ),
    # 100 to 300 h in three days is too much by 128 h: of the 320 h at most the 200 h more than 100 h are wrong.
    (
        "a rise that is too fast",
        {"failed": "03-20", "readings": {**ONE, **RISE}, "claim": {"reading": "320"}},
        (12000, 32000),
    ),
    (
        "100 h on the second day, 120 h later on",
        {
            "failed": "02-01",
            "readings": {"R-1": ("01-02", "100"), "R-2": ("01-20", "110")},
            "claim": {"reading": "120"},
        },
        (2000, 12000),
    ),
    # Meters that were replaced.
    (
        "612 h and 410 h",
        {
            "failed": "06-01",
            "changes": [{"on": "2024-03-11", "old_reading": "612", "new_reading": "0"}],
            "claim": {"reading": "410"},
        },
        (102200, 102200),
    ),
    (
        "… on a meter that began at 5 h",
        {
            "failed": "06-01",
            "changes": [{"on": "2024-03-11", "old_reading": "612", "new_reading": "5"}],
            "claim": {"reading": "410"},
        },
        (101700, 101700),
    ),
    (
        "580 h on 1 March, 264 h more at most when it came off, and 395 h",
        {"failed": "06-01", "readings": USED, "changes": REPLACED, "claim": {"reading": "395"}},
        (97500, 123900),
    ),
    (
        "24 h on the day of the change are the new meter's, which fits",
        {
            "failed": "06-01",
            "readings": {"R-1": ("03-01", "580"), "R-2": ("03-11", "24")},
            "changes": REPLACED,
            "claim": {"reading": "100"},
        },
        (68000, 94400),
    ),
    (
        "10 h are the old one's, which stood at 5 h",
        {
            "failed": "06-01",
            "readings": {"R-1": ("03-01", "5"), "R-2": ("03-11", "10")},
            "changes": REPLACED,
            "claim": {"reading": "100"},
        },
        (11000, 13400),
    ),
    (
        "… and the new one's where nothing is known of the old: 71 days of 24 h",
        {"failed": "06-01", "readings": {"R-2": ("03-11", "10")}, "changes": REPLACED, "claim": {"reading": "100"}},
        (10000, 180400),
    ),
    (
        "a claim that contradicts itself on a new meter, 580 h, 3,000 h and the 264 h that are not known",
        {"failed": "06-01", "readings": USED, "changes": REPLACED, "claim": {"reading": "3000", **LATER}},
        (58000, 384400),
    ),
    (
        "a meter that stood from 1 March until it came off on 15 July, 137 days, and 30 h on the new one",
        {"failed": "07-20", "services": STOOD, "changes": CAME_OFF, "claim": {"reading": "30"}},
        (23000, 351800),
    ),
    # A meter that stood at 200 h from 1 March to 10 July, 132 days, and to 20 July, 142 days of 24 h.
    (
        "it still stands at the failure",
        {"failed": "07-20", "services": STOOD, "claim": {"reading": "200"}},
        (20000, 360800),
    ),
    (
        "it moves again and shows 30 h more",
        {"failed": "07-20", "services": STOOD, "claim": {"reading": "230"}},
        (23000, 360800),
    ),
)


@pytest.mark.parametrize(("facts", "expected"), [row[1:] for row in AT_FAILURE], ids=[row[0] for row in AT_FAILURE])
def test_hours_at_the_failure(facts: dict[str, Any], expected: tuple[int, int]) -> None:
    assert span(timeline_of(**facts).at_failure) == expected


OF_SERVICE: tuple[tuple[str, dict[str, Any], tuple[int, int]], ...] = (
    (
        "between the readings round it",
        {"readings": {**ONE, "R-2": ("03-08", "150")}, "services": UNREAD},
        (10000, 15000),
    ),
    (
        "no more than five days allow",
        {"readings": {**ONE, "R-2": ("03-08", "250")}, "services": UNREAD},
        (10000, 22000),
    ),
    (
        "a reading of its own day is its reading",
        {"readings": {**ONE, "R-2": ("03-05", "150")}, "services": UNREAD},
        (15000, 15000),
    ),
    (
        "of two readings of its day either",
        {"readings": {**ONE, "R-2": ("03-05", "150"), "R-3": ("03-05", "160")}, "services": UNREAD},
        (15000, 16000),
    ),
    (
        "the claim's reading bounds it",
        {"readings": ONE, "services": UNREAD, "claim": {"reading": "130"}},
        (10000, 13000),
    ),
    ("with nothing else on file the age of the machine does: 65 days", {"services": UNREAD}, (0, 156000)),
    (
        "a reading that later ones contradict holds nothing up",
        {"failed": "04-20", "services": {"S": ("03-01", "100")}, "readings": {**FALL}, "claim": {"reading": "70"}},
        (0, 10000),
    ),
    (
        "… nor one before a rise that is too fast",
        {"failed": "03-20", "services": {"S": ("03-01", "100")}, "readings": {**RISE}, "claim": {"reading": "320"}},
        (0, 30000),
    ),
    (
        "before a meter change its own days bound it: 580 h and five days",
        {"failed": "06-01", "readings": USED, "services": UNREAD, "changes": REPLACED, "claim": {"reading": "395"}},
        (58000, 70000),
    ),
    (
        "at a meter that stands still, 132 days of 24 h",
        {"failed": "07-20", "services": {"A": ("03-01", "200"), "S": ("07-10", "200")}, "claim": {"reading": "230"}},
        (20000, 336800),
    ),
)


@pytest.mark.parametrize(("facts", "expected"), [row[1:] for row in OF_SERVICE], ids=[row[0] for row in OF_SERVICE])
def test_hours_of_a_service(facts: dict[str, Any], expected: tuple[int, int]) -> None:
    assert span(timeline_of(**{"failed": "03-11", **facts}).of_records["S"]) == expected


STORED = (
    # From 1 March 120 days end on 29 June; days in recorded storage do not count, those before the first work neither.
    ("06-28", [], False),
    ("06-29", [], True),
    ("07-08", [("04-01", "04-11")], False),
    ("07-09", [("04-01", "04-11")], True),
    ("07-03", [("02-20", "03-06")], False),
    ("07-04", [("02-20", "03-06")], True),
    ("07-08", [("06-25", "07-05")], False),
    ("07-09", [("06-25", "07-05")], True),
)


@pytest.mark.parametrize(("day", "stored", "stuck"), STORED)
def test_how_long_a_meter_may_stand(day: str, stored: list[tuple[str, str]], stuck: bool) -> None:
    storage = [{"id": "P", "since": f"2024-{since}", "until": f"2024-{until}"} for since, until in stored]
    services = {"A": ("03-01", "200"), "S": (day, "200")}
    timeline = timeline_of(failed="08-01", services=services, storage=storage, claim={"reading": "230"})
    assert timeline.of_records["S"].certain is not stuck
    assert len(timeline.shifts) == stuck


WORDS = (
    (
        {"claim": {"reading": "482"}},
        "reading:failure",
        "dealer",
        "482.0 h on 11 March 2024: 38 h a day since 100.0 h on 1 March 2024 (R-1) is not possible",
    ),
    (
        {"claim": {"reading": "1000"}},
        "reading:failure",
        "dealer",
        "90 h a day since 100.0 h on 1 March 2024 (R-1) is not possible; was 100.0 h meant?",
    ),
    (
        {"failed": "03-02", "claim": {"reading": "1240"}},
        "reading:failure",
        "dealer",
        "1140 h a day since 100.0 h on 1 March 2024 (R-1) is not possible; was 124.0 h meant?",
    ),
    (
        {"failed": "03-01", "claim": {"reading": "300"}},
        "reading:failure",
        "dealer",
        "200 h a day since 100.0 h on 1 March 2024 (R-1) is not possible",
    ),
    (
        {"claim": {"reading": "90"}},
        "reading:failure",
        "person",
        "90.0 h on 11 March 2024 (the claim), which is below 100.0 h on 1 March 2024 (R-1)",
    ),
    (
        {"readings": {}, "failed": "01-02", "claim": {"reading": "100"}},
        "reading:failure",
        "dealer",
        "100.0 h on 2 January 2024 (the claim), which is more than the machine's age allows",
    ),
    (
        {"claim": {"reading": "200", **REPAIR}},
        "reading:failure",
        "dealer",
        "200.0 h at the failure on 11 March 2024 and 150.0 h at the repair on 12 March 2024 contradict one another",
    ),
    (
        {"readings": {}, "failed": "07-20", "services": STOOD, "claim": {"reading": "200"}},
        "reading:stuck",
        "person",
        "the meter stood at 200.0 h from 1 March 2024 to 20 July 2024",
    ),
)


@pytest.mark.parametrize(("facts", "key", "asks", "words"), WORDS)
def test_what_is_asked_about_the_failure(facts: dict[str, Any], key: str, asks: str, words: str) -> None:
    bounds = timeline_of(**{"failed": "03-11", "readings": ONE, **facts}).at_failure
    assert bounds is not None
    assert bounds.fact is not None
    assert (bounds.fact.key, bounds.fact.asks) == (key, asks)
    assert words in bounds.fact.words
    if "meant" not in words:
        assert "meant" not in bounds.fact.words


def test_what_is_asked_about_the_shifts() -> None:
    fall = {"readings": {**ONE, "R-2": ("04-01", "50"), "R-3": ("04-10", "60")}, "claim": {"reading": "70"}}
    (shift,) = timeline_of(failed="04-20", **fall).shifts
    assert (shift.fact.key, shift.fact.asks, shift.most) == ("contradiction:R-2", "person", 81800)
    (change,) = timeline_of(
        failed="06-01",
        readings={"R-1": ("03-01", "580")},
        changes=[{"on": "2024-03-11", "new_reading": "0"}],
        claim={"reading": "395"},
    ).shifts
    assert (change.fact.key, change.fact.asks, change.most) == ("meter_change:X-1", "dealer", 26400)
    service = timeline_of(failed="03-11", readings=ONE, services={"S": ("03-05", None)}).of_records["S"]
    assert service.fact is not None
    assert service.fact.words == "the meter reading of service S on 5 March 2024 (between 100.0 h and 220.0 h)"
