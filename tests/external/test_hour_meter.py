"""Readings as a controller counts them: SAE J1939 SPN 247, Engine Total Hours of Operation.

PGN 65253, bytes 1 to 4, least significant first, 0.05 h a bit, offset 0, 0 to 210,554,060.75 h; 0xFB… and above mean an
error or no value.
"""

from decimal import Decimal

import pytest

from rules.plain import hours_text
from schemas.machine import Reading
from schemas.quantities import centihours, parse_hours

pytestmark = pytest.mark.fast

CENTIHOURS_A_TICK = 5

# Computed from the definition above.
VECTORS = [
    ("1250.5", 25010, "B2 61 00 00", "1,250.5 h"),
    ("3300", 66000, "D0 01 01 00", "3,300.0 h"),
    ("2000", 40000, "40 9C 00 00", "2,000.0 h"),
    ("0.05", 1, "01 00 00 00", "0.05 h"),
    ("3276.75", 65535, "FF FF 00 00", "3,276.75 h"),
]


@pytest.mark.parametrize(("hours", "ticks", "payload", "words"), VECTORS)
def test_every_tick_is_a_whole_number_of_hundredths(hours: str, ticks: int, payload: str, words: str) -> None:
    assert int.from_bytes(bytes.fromhex(payload), "little") == ticks
    assert centihours(parse_hours(hours)) == ticks * CENTIHOURS_A_TICK
    assert hours_text(ticks * CENTIHOURS_A_TICK) == words


def test_a_cap_is_compared_in_whole_ticks() -> None:
    cap = centihours(parse_hours(2000))
    assert cap == 40000 * CENTIHOURS_A_TICK
    assert centihours(parse_hours("2000.05")) > cap >= centihours(parse_hours("2000.00"))


def test_hours_of_the_whole_signal_are_refused_beyond_what_a_machine_can_run() -> None:
    """The signal's largest value is exact in twentieths of an hour; a policy's hours end at 1,000,000."""
    assert Decimal(0xFAFFFFFF) * Decimal("0.05") == Decimal("210554060.75")
    with pytest.raises(ValueError, match="outside 0 to 1,000,000 h"):
        parse_hours(Decimal("210554060.75"))


@pytest.mark.parametrize("hours", [1250.5, 0.05, True])
def test_a_binary_float_is_no_reading(hours: object) -> None:
    with pytest.raises(ValueError, match="is not an exact number"):
        Reading.model_validate({"id": "R-1", "on": "2026-05-11", "hours": hours})


def test_a_reading_finer_than_a_hundredth_is_refused() -> None:
    with pytest.raises(ValueError, match="more than two decimals"):
        Reading.model_validate({"id": "R-1", "on": "2026-05-11", "hours": "1250.505"})


def test_a_whole_hour_of_a_telematics_feed_is_a_reading() -> None:
    """ISO 15143-3 samples carry CumulativeOperatingHours as a number: {"Hour": 162}."""
    assert centihours(Reading.model_validate({"id": "R-1", "on": "2023-05-08", "hours": 162}).hours) == 16200
