"""What may be written as a number, an hour, an amount, a share, a day or a name, at the edges of each."""

import time
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from schemas.quantities import (
    Amount,
    Currency,
    Day,
    Hours,
    Name,
    Number,
    PublishedVersion,
    Rate,
    RecordId,
    Share,
    TimeSpan,
    Tolerated,
    Word,
)

pytestmark = pytest.mark.fast

NUMBERS = [Number, Rate, Hours, Amount]


def read(kind: Any, value: object) -> Any:
    return TypeAdapter(kind).validate_python(value)


def refusal(kind: Any, value: object) -> str:
    with pytest.raises(ValidationError) as raised:
        read(kind, value)
    return raised.value.errors()[0]["msg"].removeprefix("Value error, ")


@pytest.mark.parametrize("kind", NUMBERS)
@pytest.mark.parametrize(
    "written", ["1e5000000", "1E5", "1e-5000000", "2.5e+3", "-1e9", Decimal("1e5000000"), Decimal("1e-50")]
)
def test_an_exponent_is_refused_before_it_is_converted(kind: Any, written: str | Decimal) -> None:
    """1e5000000 has five million digits once it is written out; it must not be."""
    began = time.monotonic()
    assert refusal(kind, written) == f'"{written}" is written with an exponent; write the digits out, for example 12.50'
    assert time.monotonic() - began < 1


@pytest.mark.parametrize("kind", [Share, Tolerated])
@pytest.mark.parametrize("written", ["1e5000000", "1e-3", "1e5%"])
def test_a_share_has_no_exponent(kind: Any, written: str) -> None:
    assert refusal(kind, written)


# The largest and the finest value of each kind that is taken, and the first of each that is not.
@pytest.mark.parametrize(
    ("kind", "taken", "refused", "words"),
    [
        (Number, "1000000", "1000000.000001", "1000000.000001 is outside 0 to 1,000,000"),
        (Number, "0.000001", "0.0000001", "1E-7 has more than six decimals"),
        (Number, "0", "-0.000001", "-0.000001 is outside 0 to 1,000,000"),
        (Rate, "1000000", "1000001", "the rate 1000001 is outside 0 to 1,000,000"),
        (
            Rate,
            "0.0000578035",
            "0.00005780351",
            "the rate 0.00005780351 has more than ten decimals; publish the inverse rate instead",
        ),
        (Hours, "1000000.00", "1000000.01", "1000000.01 h is outside 0 to 1,000,000 h"),
        (Hours, "0.01", "0.001", "0.001 h has more than two decimals; hours are compared as hundredths"),
        (Amount, "1000000000", "1000000000.0001", "1000000000.0001 is outside 0 to 1,000,000,000"),
        (Amount, "0.0001", "0.00001", "0.00001 has more than four decimals"),
    ],
)
def test_each_kind_has_its_bounds(kind: Any, taken: str, refused: str, words: str) -> None:
    assert read(kind, taken) == Decimal(taken)
    assert refusal(kind, refused) == words


@pytest.mark.parametrize("kind", NUMBERS)
@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("9" * 21, f'"{"9" * 21}" is not a number; write it as digits, for example 12.50'),
        (10**30, "a number of more than 20 digits is no quantity; correct it"),
        ("1" * 5000, f'"{"1" * 40}… (5,000 characters)" is not a number; write it as digits, for example 12.50'),
        ("1_000", '"1_000" is not a number; write it as digits, for example 12.50'),
        ("12\n", '"12\n" is not a number; write it as digits, for example 12.50'),
        ("１２", '"１２" is not a number; write it as digits, for example 12.50'),
        (".5", '".5" is not a number; write it as digits, for example 12.50'),
        ("5.", '"5." is not a number; write it as digits, for example 12.50'),
        ("300 h", '"300 h" is not a number; write the digits alone, without "h": 300'),
        ("12.50€", '"12.50€" is not a number; write the digits alone, without "€": 12.50'),
        ("300,5", '"300,5" is not a number; write a point before the decimals, not a comma: 300.5'),
        ("1,200", '"1,200" is not a number; with a comma it is 1200 or 1.200: write which of them'),
        ("1,200.50", '"1,200.50" is not a number; leave out the commas between thousands: 1200.50'),
        ("1,200,000", '"1,200,000" is not a number; leave out the commas between thousands: 1200000'),
    ],
)
def test_a_number_is_plain_digits(kind: Any, written: object, words: str) -> None:
    assert refusal(kind, written) == words


@pytest.mark.parametrize(
    ("kind", "written"),
    [
        (RecordId, "S-1"),
        (Word, "wheel_drive"),
        (Name, "wheel-drive"),
        (Currency, "EUR"),
        (PublishedVersion, "wheel-drive@2"),
        (Day, "2024-02-29"),
    ],
)
def test_a_name_or_a_day_is_matched_whole(kind: Any, written: str) -> None:
    """A line break at the end makes another name that looks the same."""
    assert str(read(kind, written)) == written
    assert refusal(kind, f"{written}\n")


@pytest.mark.parametrize(
    ("kind", "written"),
    [
        (RecordId, "S-１"),
        (Day, "２024-02-29"),
        (PublishedVersion, "wheel-drive@1２"),
        (Share, "１/２"),
        (TimeSpan, "６ months"),
    ],
)
def test_digits_of_another_script_are_no_digits(kind: Any, written: str) -> None:
    assert refusal(kind, written)


@given(st.decimals(min_value=0, max_value=1_000_000, places=6))
def test_a_number_keeps_every_digit(number: Decimal) -> None:
    """Written as text and as a Decimal it is the same number, and what is written back reads the same."""
    adapter = TypeAdapter(Number)
    taken = adapter.validate_python(f"{number:f}")
    assert Fraction(taken) == Fraction(number)
    assert adapter.validate_json(adapter.dump_json(taken)) == taken
