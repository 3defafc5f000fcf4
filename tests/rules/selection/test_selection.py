"""Serial ranges, the component on the machine, and days that are open."""

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.measures.groups import fitted_component
from rules.measures.starts import days_that_matter
from rules.selection.reach import serial_in
from schemas.machine import Machine
from schemas.policy.term import AppliesTo, SerialRange

pytestmark = pytest.mark.fast

SERIALS = [
    ("QF60-99", False),
    ("QF60-100", True),
    ("QF60-0100", True),
    ("QF60-299", True),
    ("QF60-300", False),
    ("QF61-150", False),
    ("150", False),
    ("QF60-", False),
]


@pytest.mark.parametrize(("serial", "inside"), SERIALS)
def test_serials_compare_by_beginning_and_number(serial: str, inside: bool) -> None:
    assert serial_in(serial, "QF60-100", "QF60-299") is inside


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [("QF60-300", "QF60-100", "Swap the two"), ("QF40-100", "QF60-100", "no serial can lie in it")],
)
def test_a_range_that_can_hold_no_serial_is_refused(low: str, high: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        SerialRange.model_validate({"from": low, "until": high})


def test_a_star_inside_a_model_code_is_refused() -> None:
    reach = {"clause": "1", "owner": "any", "components": "whole_machine", "fitted": ["factory"]}
    assert AppliesTo.model_validate({**reach, "models": ["QF*", "*"]}).models == ("QF*", "*")
    with pytest.raises(ValueError, match=r"has a \* before its end"):
        AppliesTo.model_validate({**reach, "models": ["Q*60"]})


def machine(*components: dict[str, Any]) -> Machine:
    return Machine.model_validate(
        {
            "serial": "M-1",
            "model": "QF60",
            "built_on": "2024-01-01",
            "use": "commercial",
            "region": "XX",
            "components": [{"component": "wheel_drive", **c} for c in components],
        }
    )


OLD = {"id": "old", "serial": "D-1", "removed_on": "2025-03-01"}
NEW = {"id": "new", "serial": "D-2", "fitted_on": "2025-03-01", "fitted_as": "replacement"}
HISTORY = [
    ("2025-02-28", None, "old"),
    ("2025-03-01", None, "old"),  # fitted on the day of the failure: the repair itself
    ("2025-03-01", "D-2", "new"),
    ("2025-03-02", None, "new"),
    ("2025-03-02", "D-1", "new"),
]


@pytest.mark.parametrize(("failed_on", "removed_serial", "found"), HISTORY)
def test_the_component_that_failed_was_on_the_machine(failed_on: str, removed_serial: str | None, found: str) -> None:
    for order in ((OLD, NEW), (NEW, OLD)):
        there = fitted_component(machine(*order), "wheel_drive", "none", date.fromisoformat(failed_on), removed_serial)
        assert there is not None
        assert there.id == found


def test_a_first_component_fitted_on_the_day_of_the_failure_is_the_one() -> None:
    there = fitted_component(machine(NEW), "wheel_drive", "none", date(2025, 3, 1))
    assert there is not None
    assert there.id == "new"
    assert fitted_component(machine(NEW), "wheel_drive", "none", date(2025, 2, 28)) is None
    assert fitted_component(machine(NEW), "battery", "none", date(2025, 3, 2)) is None
    assert fitted_component(machine(NEW), None, "none", date(2025, 3, 2)) is None


def test_a_kit_stands_for_its_parts_and_for_the_component_that_it_was_added_to() -> None:
    kit = {"id": "kit", "fitted_on": "2024-06-01", "fitted_as": "retrofit_kit", "kit_parts": ["oil_filter_head"]}
    with_kit = machine({"id": "old", "serial": "D-1"}, kit)
    part = fitted_component(with_kit, "oil_filter_head", "none", date(2024, 7, 1))
    drive = fitted_component(with_kit, "wheel_drive", "none", date(2024, 7, 1))
    assert part is not None
    assert drive is not None
    assert (part.id, drive.id, drive.serial) == ("kit", "kit", "D-1")
    replaced = machine({"id": "old"}, kit, {"id": "new", "fitted_on": "2024-06-20", "fitted_as": "replacement"})
    later = fitted_component(replaced, "wheel_drive", "none", date(2024, 7, 1))
    assert later is not None
    assert later.id == "new"  # a drive replaced after the kit is no longer the one that got it


@given(st.integers(0, 500), st.integers(0, 500), st.lists(st.integers(-10, 510), max_size=6))
def test_days_that_matter_stand_for_every_other_day(low: int, span: int, turns: list[int]) -> None:
    """Whatever tests a day passes, some day taken passes exactly the same ones."""
    high = low + span
    days = days_that_matter(low, high, [lambda d, turn=turn: d >= turn for turn in turns])  # type: ignore[misc]
    assert days == tuple(sorted(set(days), reverse=True))
    assert set(days) <= set(range(low, high + 1))
    patterns = {tuple(d >= turn for turn in turns) for d in days}
    assert {tuple(d >= turn for turn in turns) for d in range(low, high + 1)} == patterns
