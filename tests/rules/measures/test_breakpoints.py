"""Hours tried for an open reading: the first of each stretch in which no window opens or closes, worked by hand.

The oil is changed every 250 h, 25 h early or late; a late change cures. A window from 225 to 275 h opens at 225.00 h,
and has closed from 275.01 h on. Delivered on 1 March 2024, failed on 16 June 2025 between two readings.
"""

from collections.abc import Mapping
from typing import Any

import pytest

from rules.cases.facts import merged
from rules.history.timeline import build_timeline
from rules.measures.hours import resolve_hours
from rules.open_facts import World, explore
from rules.policy_book.compiled import compile_policy
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from service.policy_files import read_policy_source
from service.shipped import FIXTURES

pytestmark = pytest.mark.fast

SOURCE = read_policy_source(FIXTURES)
YEARLY = {"every": "12 months", "holds_from": "start_of_term", "in_storage": "pauses"}
EITHER = {
    "due": {"then_every": 250, "calendar": YEARLY},
    "window": {"hours": {"early": 25, "late": 25}, "calendar": {"early": 30, "late": 30}},
}


def service(record: str, on: str, hours: str | None, **changed: Any) -> dict[str, Any]:
    tree = {
        "record": record,
        "serial": "M-1",
        "on": on,
        "reading": hours,
        "tasks": ["oil_change"],
        "by": "authorised_dealer",
        "dealer": "D-1",
        "evidence": ["dealer_invoice"],
        **changed,
    }
    return {key: value for key, value in tree.items() if value is not None}


def hours_tried(
    services: list[dict[str, Any]],
    between: tuple[str, str],
    oil: Mapping[str, Any],
    machine: Mapping[str, Any],
    *,
    percent: str = "of_interval",
    of: str | None = None,
) -> set[int | None]:
    """Return the hours (hundredths) that the worlds of a claim take for the failure, ``between`` two readings.

    With a record named in ``of`` its hours are told instead.
    """
    tree = merged(SOURCE.policies["two-services@1"], {"services": {"yearly": None, "oil": dict(oil)}})
    conventions = Conventions.model_validate({**SOURCE.conventions["common-civil@1"], "percent_window": percent})
    policy = compile_policy(CoveragePolicy.model_validate(tree), conventions, {})
    readings = [
        {"id": "before", "on": "2025-05-10", "hours": between[0]},
        {"id": "after", "on": "2025-08-01", "hours": between[1]},
    ]
    line = {"line": "a", "item": "parts", "component": "hydrostatic_pump", "net": "1.00"}
    claim_file = ClaimFile.model_validate(
        {
            "machine": {
                "serial": "M-1",
                "model": "RM10",
                "built_on": "2024-01-10",
                "events": {"retail_delivery": "2024-03-01"},
                "use": "commercial",
                "region": "XX",
                **machine,
                "readings": [*readings, *machine.get("readings", [])],
            },
            "services": services,
            "claim": {
                "claim": "C-1",
                "serial": "M-1",
                "dealer": "D-1",
                "currency": "EUR",
                "failed_on": "2025-06-16",
                "lines": [line],
            },
            "dealer": {"dealer": "D-1", "region": "XX", "currency": "EUR"},
            "currency_exponents": {"EUR": 2},
            "decided_on": "2025-09-01",
        }
    )
    timeline = build_timeline(claim_file, conventions.meter, conventions.facts)

    def taken(world: World) -> int | None:
        hours = resolve_hours(timeline, (policy,), claim_file, world)
        return hours.at_failure if of is None else hours.of_record(of)

    return {hours for _, hours in explore(taken, {}).results}


def both_ends(low: int, high: int, *firsts: int) -> set[int]:
    """Return the first and the last hours of each stretch, as where another quantity is open."""
    return {low, high, *(first - step for first in firsts for step in (0, 1))}


GRID = {22_500, 27_501, 47_500, 52_501, 72_500, 77_501}
ROUND_MAY = [{"id": "r1", "on": "2024-04-30", "hours": "240"}, {"id": "r2", "on": "2024-05-02", "hours": "260"}]
ROUND_SEPTEMBER = [{"id": "r1", "on": "2024-09-01", "hours": "240"}, {"id": "r2", "on": "2024-10-15", "hours": "600"}]
NEW_PUMP = {"id": "p", "component": "hydrostatic_pump", "fitted_on": "2024-04-02", "fitted_as": "replacement"}
OWN_SCHEDULE = {"new_component": "own_schedule"}
TENTH = {"window": {"hours": {"early": "10%", "late": "10%"}}}
OWN_HANDS = {"by": "owner", "dealer": None}


@pytest.mark.parametrize(
    ("services", "between", "oil", "machine", "expected"),
    [
        pytest.param([], ("210", "800"), {}, {}, {21_000, *GRID}, id="no-service"),
        # 230 h lies in 225-275 h, in which a second service would be spare; 500 and 750 h stay due.
        pytest.param(
            [service("s", "2024-05-01", "230")], ("240", "800"), {}, {}, {24_000, *GRID - {22_500}}, id="in-time"
        ),
        # 200 h is early and moves what is due to 450 and 700 h.
        pytest.param(
            [service("s", "2024-05-01", "200")],
            ("210", "800"),
            {},
            {},
            {21_000, 42_500, 47_501, 67_500, 72_501},
            id="early",
        ),
        # 300 h cures 250 h or, where that was done, is early for 500 h: 550 and 800 h either way.
        pytest.param(
            [service("s", "2024-05-01", "300")],
            ("310", "800"),
            {},
            {},
            {31_000, 52_500, 57_501, 77_500},
            id="late",
        ),
        # Nobody noted who did it: 450 and 700 h where it counts, the grid where it does not.
        pytest.param(
            [service("s", "2024-05-01", "200", by=None)],
            ("210", "800"),
            {},
            {},
            {21_000, *GRID, 42_500, 47_501, 67_500, 72_501},
            id="may-count",
        ),
        # Done by the owner it counts in no case, and nothing counts from it.
        pytest.param(
            [service("s", "2024-05-01", "200", **OWN_HANDS)], ("210", "800"), {}, {}, {21_000, *GRID}, id="refused"
        ),
        # Of the left side alone: it counts for what is on the left.
        pytest.param(
            [service("s", "2024-05-01", "200", position="left")],
            ("210", "800"),
            {},
            {},
            {21_000, *GRID, 42_500, 47_501, 67_500, 72_501},
            id="one-side",
        ),
        # Two services in the order of their days, 240 h in time and 450 h early for 500 h: 700 h, then 950 h.
        pytest.param(
            [service("a", "2024-09-01", "450"), service("b", "2024-05-01", "240")],
            ("460", "800"),
            {},
            {},
            {46_000, 67_500, 72_501},
            id="two-services",
        ),
        # 100 h on 10 April 2025, ten days after the window of 1 March had closed: as its cure, or early for what came
        # next, 350 h and 600 h.
        pytest.param(
            [service("s", "2025-04-10", "100")],
            ("110", "700"),
            EITHER,
            {},
            {11_000, 32_500, 37_501, 57_500, 62_501},
            id="late-by-calendar",
        ),
        # 10 March 2025 lies in the window of 1 March, counted from delivery and not from 10 January: in time, so that
        # its own window, to 275 h, may hold a spare one.
        pytest.param(
            [service("s", "2025-03-10", "100")],
            ("110", "700"),
            EITHER,
            {},
            {11_000, 22_500, 27_501, 32_500, 37_501, 57_500, 62_501},
            id="in-time-by-calendar",
        ),
        # Thirty days in storage move the window of 1 March to 31 March, and 10 April lies in it.
        pytest.param(
            [service("s", "2025-04-10", "100")],
            ("110", "700"),
            EITHER,
            {"storage": [{"id": "w", "since": "2024-12-01", "until": "2024-12-31"}]},
            {11_000, 22_500, 27_501, 32_500, 37_501, 57_500, 62_501},
            id="in-time-after-storage",
        ),
        # 490 h keeps the grid where 250 h was done, as the cure it moves what is due to 740 h.
        pytest.param(
            [service("s", "2024-09-01", "490")],
            ("500", "800"),
            {},
            {},
            {50_000, 52_501, 71_500, 72_500, 76_501, 77_501},
            id="done-or-cured",
        ),
        # The hours of the service are open as well, from 240 to 260 h: what is due next lies 250 h from either end or
        # on the grid, and both ends of each stretch are tried.
        pytest.param(
            [service("s", "2024-05-01", None)],
            ("270", "600"),
            {},
            {"readings": ROUND_MAY},
            both_ends(27_000, 60_000, 27_501, 46_500, 47_500, 48_500, 51_501, 52_501, 53_501),
            id="open-service",
        ),
        # A pump fitted later changes nothing of that where services stay the machine's.
        pytest.param(
            [service("s", "2024-05-01", None)],
            ("270", "600"),
            {},
            {"readings": ROUND_MAY, "components": [{**NEW_PUMP, "fitted_at": "100"}]},
            both_ends(27_000, 60_000, 27_501, 46_500, 47_500, 48_500, 51_501, 52_501, 53_501),
            id="services-of-machine",
        ),
        # With a schedule of its own the pump fitted at 100 h is due at 350 h as well.
        pytest.param(
            [],
            ("110", "500"),
            OWN_SCHEDULE,
            {"components": [{**NEW_PUMP, "fitted_at": "100"}]},
            {11_000, 22_500, 27_501, 32_500, 37_501, 47_500},
            id="own-schedule",
        ),
        # The service at 400 h is followed by 650 h, beside the grids of the machine and of the pump, 600 h.
        pytest.param(
            [service("s", "2024-10-01", "400")],
            ("410", "800"),
            OWN_SCHEDULE,
            {"components": [{**NEW_PUMP, "fitted_at": "100"}]},
            {41_000, 47_500, 52_501, 72_500, 77_501, 57_500, 62_501, 62_500, 67_501},
            id="own-schedule-served",
        ),
        # Fitted between 90 and 110 h, due at 340 to 360 h.
        pytest.param(
            [],
            ("200", "400"),
            OWN_SCHEDULE,
            {
                "components": [NEW_PUMP],
                "readings": [
                    {"id": "r1", "on": "2024-04-01", "hours": "90"},
                    {"id": "r2", "on": "2024-04-03", "hours": "110"},
                ],
            },
            both_ends(20_000, 40_000, 22_500, 27_501, 31_500, 33_500, 36_501, 38_501),
            id="own-schedule-open",
        ),
        # Once at 100 h, once at 200 h, then every 250 h: 450 h is due next, or 100 or 250 h after either end.
        pytest.param(
            [service("s", "2024-05-01", None)],
            ("270", "600"),
            {"due": {"at_hours": [100, 200], "then_every": 250}},
            {"readings": ROUND_MAY},
            both_ends(
                27_000,
                60_000,
                31_500,
                33_500,
                36_501,
                38_501,
                42_500,
                46_500,
                47_501,
                48_500,
                51_501,
                53_501,
                56_500,
                58_500,
            ),
            id="one-offs",
        ),
        # One of two tasks: the other may have been done as well.
        pytest.param(
            [service("s", "2024-05-01", "200")],
            ("210", "800"),
            {"tasks": ["oil_change", "filter"]},
            {},
            {21_000, *GRID, 42_500, 47_501, 67_500, 72_501},
            id="part-of-the-tasks",
        ),
        # More than the tasks is enough.
        pytest.param(
            [service("s", "2024-05-01", "200", tasks=["oil_change", "washing"])],
            ("210", "800"),
            {},
            {},
            {21_000, 42_500, 47_501, 67_500, 72_501},
            id="more-than-the-tasks",
        ),
        # The old meter's last reading was not noted: between 200 h and 288 h more. The new one showed 40 h at a service
        # and 100 h at the failure. From the service at 200 h 450 h is due; what counts from the later one
        # moves with it.
        pytest.param(
            [service("s", "2024-05-20", "200"), service("t", "2024-09-20", "40")],
            ("100", "100"),
            {},
            {"meter_changes": [{"id": "m", "on": "2024-06-01", "new_reading": "0"}]},
            {30_000, 42_500, 47_501, 48_500, 53_501},
            id="meter-unread",
        ),
    ],
)
def test_hours_tried_for_the_failure(
    services: list[dict[str, Any]],
    between: tuple[str, str],
    oil: dict[str, Any],
    machine: dict[str, Any],
    expected: set[int],
) -> None:
    assert hours_tried(services, between, oil, machine) == expected


@pytest.mark.parametrize(
    ("services", "between", "oil", "machine", "expected"),
    [
        # 250 h from either end of the service, a tenth of 490 or 510 h either side, or 450-550 h on the grid.
        pytest.param(
            [service("s", "2024-05-01", None)],
            ("270", "600"),
            TENTH,
            {"readings": ROUND_MAY},
            both_ends(27_000, 60_000, 27_501, 44_100, 45_000, 45_900, 53_901, 55_001, 56_101),
            id="open-service",
        ),
        # After 400 h the machine is due at 650 h, 65 h either side; the pump, which had run 300 h, at 550 of its own,
        # 55 h either side: 595-705 h. Beside them the grids: 450-550 and 675-825 h, for the pump 550-650 and 775-925 h.
        pytest.param(
            [service("s", "2024-10-01", "400")],
            ("410", "800"),
            {**TENTH, **OWN_SCHEDULE},
            {"components": [{**NEW_PUMP, "fitted_at": "100"}]},
            {41_000, 45_000, 55_001, 67_500, 55_000, 65_001, 77_500, 58_500, 71_501, 59_500, 70_501},
            id="own-schedule",
        ),
    ],
)
def test_hours_tried_where_a_tolerance_grows_with_the_hours(
    services: list[dict[str, Any]],
    between: tuple[str, str],
    oil: dict[str, Any],
    machine: dict[str, Any],
    expected: set[int],
) -> None:
    assert hours_tried(services, between, oil, machine, percent="of_due_value") == expected


# The failure at 800 h: a service from 575.01 h on leaves it before its first window, 225-275 h on, one below 525.00 h
# behind it, one below 325.01 and 275.00 h before and behind the second one, 475-525 h on.
FROM_THE_FAILURE = {57_501, 52_500, 32_501, 27_500}


@pytest.mark.parametrize(
    ("services", "expected"),
    [
        # After 230 h, in time, the grid stays: 275.00, 475-525 h.
        pytest.param(
            [service("s", "2024-05-01", "230"), service("r", "2024-09-20", None)],
            {24_000, 27_501, 47_500, 52_501, *FROM_THE_FAILURE},
            id="counts",
        ),
        # Whether it counts is open itself: then all windows that any visit could open are tried, so 480 h after 230 h.
        pytest.param(
            [service("s", "2024-05-01", "230"), service("r", "2024-09-20", None, by=None)],
            {24_000, 27_501, 47_500, 52_501, 45_500, 50_501, *FROM_THE_FAILURE},
            id="may-count",
        ),
    ],
)
def test_hours_tried_for_a_service(services: list[dict[str, Any]], expected: set[int]) -> None:
    assert hours_tried(services, ("800", "800"), {}, {"readings": ROUND_SEPTEMBER}, of="r") == expected
