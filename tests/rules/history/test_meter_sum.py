"""Machine hours over changed meters, told as a sum that can be added up again; sums worked by hand."""

from typing import Any

import pytest

from rules.history.meter_sum import meter_sum
from tests.rules.history.machine_lives import Life

pytestmark = pytest.mark.fast


def told(changes: list[dict[str, Any]], reading: str | None, at: int | None) -> str | None:
    life = Life({}, failed=300, changes=changes, reading=reading)
    return meter_sum(life.claim_file(), at)


def change(number: int, on: str, old: str | None, new: str = "0") -> dict[str, Any]:
    found = {"id": f"MC-{number}", "on": on, "new_reading": new}
    return found if old is None else {**found, "old_reading": old}


def test_old_meter_and_reading_are_added() -> None:
    words = told([change(1, "2024-06-01", "1120")], "400", 152000)
    assert words == "1,120.0 h (MC-1, old meter) + 400.0 h (read at the failure) = 1,520.0 h"


def test_what_the_new_meter_showed_when_fitted_is_taken_off() -> None:
    """1,120 − 20 + 400 = 1,500; and a second change: 1,120 − 20 + 300.5 + 10 = 1,410.5."""
    first = change(1, "2024-06-01", "1120", "20")
    words = told([first], "400", 150000)
    assert words == (
        "1,120.0 h (MC-1, old meter) − 20.0 h (MC-1, new meter when fitted) + 400.0 h (read at the failure) = 1,500.0 h"
    )
    words = told([change(2, "2024-08-01", "300.5"), first], "10", 141050)
    assert words == (
        "1,120.0 h (MC-1, old meter) − 20.0 h (MC-1, new meter when fitted) + 300.5 h (MC-2, old meter)"
        " + 10.0 h (read at the failure) = 1,410.5 h"
    )


@pytest.mark.parametrize(
    ("changes", "reading", "at"),
    [
        ([], "400", 40000),  # one meter
        ([change(1, "2024-06-01", None)], "400", 152000),  # nobody noted the old meter
        ([change(1, "2024-06-01", "1120")], None, 152000),  # nothing was read at the failure
        ([change(1, "2024-06-01", "1120")], "400", None),  # no hours are known
        ([change(1, "2024-06-01", "1120")], "400", 160000),  # hours in doubt, and no sum of these
        ([change(1, "2025-06-01", "1120")], "400", 40000),  # changed after the failure, day 300 of 2024
    ],
)
def test_hours_that_are_no_plain_sum_are_not_told_as_one(
    changes: list[dict[str, Any]], reading: str | None, at: int | None
) -> None:
    assert told(changes, reading, at) is None
