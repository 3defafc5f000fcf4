"""Shares, hours, amounts, spans of time and names, as they may be written in a document.

Nothing here passes through a binary float: a number is an ``int``, a ``Decimal`` or an exact ``Fraction``.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Annotated, Any, Final, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    PlainSerializer,
    WithJsonSchema,
)

from schemas.digits import digits_wanted
from schemas.frozen import quickly_made

CENTIHOURS_PER_HOUR: Final = 100
METRES_IN: Final = {"km": Decimal(1000), "mile": Decimal("1609.344")}  # a mile is exact by international definition
LARGEST_AMOUNT: Final = Decimal("1000000000")
LARGEST_HOURS: Final = Decimal("1000000")
LARGEST_NUMBER: Final = Decimal("1000000")
FIRST_DAY: Final = date(1900, 1, 1)  # between these two, adding the longest spans stays inside the calendar
LAST_DAY: Final = date(2199, 12, 31)
LONGEST_SPAN_MONTHS: Final = 1200
LONGEST_SPAN_DAYS: Final = 36_500
NO_END: Final = "9999-12-31"  # how office systems write an end that is open
MOST_DIGITS: Final = 20  # before the point, and after it
SPAN_PATTERN: Final = r"^([0-9]{1,4}) (day|days|month|months|year|years)$"
SHARE_PATTERN: Final = r"^([0-9]{1,9}/[0-9]{1,9}|[0-9]{1,4}(\.[0-9]{1,9})?%?)$"

# Patterns are matched whole and name their digits: $ lets a line break through, and \d takes digits of every script.
_DIGITS: Final = re.compile(r"[+-]?[0-9]{1,20}(\.[0-9]{1,20})?")
_EXPONENT: Final = re.compile(r"[+-]?[0-9]{1,20}(\.[0-9]{1,20})?[eE][+-]?[0-9]{1,20}")


class Document(BaseModel):
    """Base of every document: unknown keys are refused and a loaded document never changes."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False, ser_json_inf_nan="constants")


def in_order_of(*fields: str) -> AfterValidator:
    """Return a validator that puts a list of documents in the order of these fields, what is left out first.

    The lists of a claim file have no order that means something: records carry their own days, lines and rows their
    keys. So a document holds them in one order, and its digest cannot depend on another.
    """

    def place(item: Any) -> tuple[tuple[bool, Any], ...]:
        return tuple((value is not None, value) for value in (getattr(item, field) for field in fields))

    return AfterValidator(_sorted_by(place))


def _sorted_by(place: Callable[[Any], Any] | None) -> Callable[[tuple[Any, ...]], tuple[Any, ...]]:
    return lambda items: tuple(sorted(items, key=place))


AS_SET: Final = AfterValidator(_sorted_by(None))  # a list of words that is a set


def _each_once(items: Any) -> Any:
    """Return a list in which nothing stands twice, or the word or None that stands in its place."""
    if isinstance(items, tuple):
        twice = next((item for place, item in enumerate(items) if item in items[:place]), None)
        if twice is not None:
            raise ValueError(f'"{twice}" stands twice in this list; name it once')
    return items


EACH_ONCE: Final = AfterValidator(_each_once)  # a list in which a word said twice is a slip


def exact_number(value: Any) -> Decimal:
    """Return ``value`` as a Decimal; text, int and Decimal are exact, a float is refused.

    Digits stand written out, at most 20 before and 20 after the point: an exponent is refused before it is converted,
    for 1e5000000 is nine characters that no amount, hour or share can mean.
    """
    if isinstance(value, bool) or not isinstance(value, int | str | Decimal):
        raise ValueError(f"{value!r} is not an exact number; write it as text or digits, for example 12.50")
    if isinstance(value, str):
        if value.strip().lstrip("+-").lower() in ("nan", "inf", "infinity"):
            raise ValueError(f'"{value}" is not a finite number')
        if _EXPONENT.fullmatch(value):
            raise ValueError(f'"{value}" is written with an exponent; write the digits out, for example 12.50')
        if not _DIGITS.fullmatch(value):
            raise ValueError(f'"{_short(value)}" is not a number; {digits_wanted(value)}')
        return Decimal(value)
    if isinstance(value, Decimal):
        exponent = value.as_tuple().exponent
        if not isinstance(exponent, int):
            raise ValueError(f'"{value}" is not a finite number')
        if exponent > 0 or exponent < -MOST_DIGITS:
            raise ValueError(f'"{value}" is written with an exponent; write the digits out, for example 12.50')
    number = Decimal(value)
    if number.adjusted() >= MOST_DIGITS:
        raise ValueError(f"a number of more than {MOST_DIGITS} digits is no quantity; correct it")
    return number


def _short(value: Any) -> str:
    """Return a value as a message shows it: of a long one the beginning, and how long it is."""
    text = str(value)
    return text if len(text) <= 60 else f"{text[:40]}… ({len(text):,} characters)"


def _decimals(number: Decimal) -> int:
    """Return how many decimals a number needs (12.50 needs one)."""
    exponent = number.as_tuple().exponent
    text = f"{number:f}".rstrip("0") if isinstance(exponent, int) and exponent < 0 else ""
    return len(text.partition(".")[2])


def number_written(number: Decimal) -> str:
    """Return a number's digits, without zeros at the end that say nothing: 1800 for 1800.00.

    >>> number_written(Decimal("1800.00")), number_written(Decimal("0.50"))
    ('1800', '0.5')
    """
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _bounded(value: Any, most: Decimal, decimals: int, outside: str, too_fine: str) -> Decimal:
    """Return an exact number between 0 and ``most``; the two messages take the number in braces."""
    number = exact_number(value)
    if not 0 <= number <= most:
        raise ValueError(outside.format(number))
    if _decimals(number) > decimals:
        raise ValueError(too_fine.format(number))
    return Decimal(number_written(number))  # in one form, so that no word of a decision tells how it was typed


def parse_number(value: Any) -> Decimal:
    """Return a bare number (a quantity, litres, a distance, wear, a measure: 0 to 1,000,000, at most six decimals)."""
    return _bounded(value, LARGEST_NUMBER, 6, "{} is outside 0 to 1,000,000", "{} has more than six decimals")


def parse_rate(value: Any) -> Decimal:
    """Return an exchange rate (0 to 1,000,000, at most ten decimals: a small unit in a large one begins late)."""
    fine = "the rate {} has more than ten decimals; publish the inverse rate instead"
    return _bounded(value, LARGEST_NUMBER, 10, "the rate {} is outside 0 to 1,000,000", fine)


def parse_hours(value: Any) -> Decimal:
    """Return hours of operation (h, 0 to 1,000,000, at most two decimals: the core compares hundredths)."""
    fine = "{} h has more than two decimals; hours are compared as hundredths"
    return _bounded(value, LARGEST_HOURS, 2, "{} h is outside 0 to 1,000,000 h", fine)


def parse_day(value: Any) -> date:
    """Return a calendar day from 1900 to 2199, written 2026-03-02 (a number or an instant is no day)."""
    day = value if isinstance(value, date) and not isinstance(value, datetime) else _day_of_text(value)
    if not FIRST_DAY <= day <= LAST_DAY:
        raise ValueError(
            f"the day {day} lies outside {FIRST_DAY} to {LAST_DAY}; correct it, or leave it out where there is none"
        )
    return day


def _day_of_text(value: Any) -> date:
    if not isinstance(value, str) or not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", value):
        raise ValueError(f'"{_short(value)}" is not a date; write year-month-day, such as 2026-03-31')
    try:
        return date.fromisoformat(value)
    except ValueError:
        raise ValueError(f'"{value}" is not a date: the calendar has no such day') from None


def parse_last_day(value: Any) -> date | None:
    """Return the last day of something that may have no end; 9999-12-31 says that it has none.

    >>> parse_last_day("2026-03-31"), parse_last_day("9999-12-31")
    (datetime.date(2026, 3, 31), None)
    """
    return None if value is None or str(value) == NO_END else parse_day(value)


def parse_amount(value: Any) -> Decimal:
    """Return an amount of money (0 or more, at most four decimals)."""
    return _bounded(value, LARGEST_AMOUNT, 4, "{} is outside 0 to 1,000,000,000", "{} has more than four decimals")


def parse_share(value: Any) -> Fraction:
    """Return a share as an exact fraction, written 1/2, 15%, 0.6, 0 or 1 (never negative).

    >>> parse_share("15%"), parse_share("1/3"), parse_share("0.6")
    (Fraction(3, 20), Fraction(1, 3), Fraction(3, 5))
    """
    if isinstance(value, Fraction):
        return value
    text = str(value).strip() if not isinstance(value, bool | float) else ""
    if not re.fullmatch(SHARE_PATTERN, text):
        raise ValueError(f'"{_short(value)}" is not a share; write 1/2, 15% or 0.6')
    try:
        return Fraction(text[:-1]) / 100 if text.endswith("%") else Fraction(text)
    except ZeroDivisionError:
        raise ValueError(f'"{value}" divides by zero; write a share such as 1/2') from None


def part_of_whole(share: Fraction) -> Fraction:
    if share > 1:
        raise ValueError(f"the share {share} is more than the whole; a share lies between 0 and 1")
    return share


def share_text(share: Fraction) -> str:
    return str(share)


@quickly_made
@dataclass(frozen=True, slots=True)
class Span:
    """A span of calendar time: whole months or whole days, never both (P1M and P30D are not comparable)."""

    months: int = 0
    days: int = 0

    def __str__(self) -> str:
        number, unit = (self.months, "month") if self.months else (self.days, "day")
        return f"{number} {unit}" if number == 1 else f"{number} {unit}s"


def parse_span(value: Any) -> Span:
    """Return a span written "6 months", "30 days" or "2 years".

    >>> parse_span("2 years")
    Span(months=24, days=0)
    """
    if isinstance(value, Span):
        return value
    match = re.fullmatch(SPAN_PATTERN, str(value).strip())
    if match is None:
        raise ValueError(f'"{_short(value)}" is not a span of time; write for example 6 months, 30 days or 2 years')
    number, unit = int(match[1]), match[2].rstrip("s")
    if unit == "day":
        return Span(days=number)
    months = number * 12 if unit == "year" else number
    if months > LONGEST_SPAN_MONTHS:
        raise ValueError(f'"{value}" is longer than 100 years; correct it, or leave the key out where it may be')
    return Span(months=months)


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far from a due point a service may lie: a number of hours or days, or a share of something named."""

    amount: Decimal | None = None
    share: Fraction | None = None

    def __str__(self) -> str:
        return (
            f"{self.amount}"
            if self.share is None
            else f"{Decimal(self.share.numerator * 100) / self.share.denominator}%"
        )


def parse_tolerance(value: Any) -> Tolerance:
    """Return a tolerance written 25 (hours or days, by its place) or 10% (of what the conventions say)."""
    if isinstance(value, Tolerance):
        return value
    if isinstance(value, str) and value.strip().endswith("%"):
        return Tolerance(share=part_of_whole(parse_share(value)))
    return Tolerance(amount=parse_hours(value))


@lru_cache(maxsize=65536)
def centihours(hours: Decimal) -> int:
    """Return hours as whole hundredths of an hour, the unit in which the core compares them."""
    return int(hours * CENTIHOURS_PER_HOUR)


def _checked(pattern: str, example: str) -> Any:
    compiled = re.compile(pattern)

    def check(text: str) -> str:
        if not compiled.fullmatch(text):
            raise ValueError(f'"{_short(text)}" is not in the right form; write for example {example}')
        return text

    return AfterValidator(check)


@dataclass(frozen=True, slots=True, order=True)
class VersionRef:
    """A published version, written name@version."""

    name: str
    version: int

    def __str__(self) -> str:
        return f"{self.name}@{self.version}"


def parse_version_ref(value: Any) -> VersionRef:
    if isinstance(value, VersionRef):
        return value
    match = re.fullmatch(r"([a-z][a-z0-9-]{0,79})@([1-9][0-9]{0,5})", str(value))
    if match is None:
        raise ValueError(f'"{_short(value)}" is not a version; write name@version, for example quillfen-wheel-drive@2')
    return VersionRef(match[1], int(match[2]))


def _text_schema(pattern: str, *examples: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "pattern": pattern, "examples": list(examples)})


_SHARE_SCHEMA = WithJsonSchema(
    {
        "anyOf": [{"type": "number", "minimum": 0}, {"type": "string", "pattern": SHARE_PATTERN}],
        "examples": ["1/2", "15%"],
    }
)
_NUMBER_SCHEMA = WithJsonSchema(
    {
        "anyOf": [{"type": "number", "minimum": 0}, {"type": "string", "pattern": r"^[0-9]+(\.[0-9]+)?$"}],
        "examples": ["12.50"],
    }
)

Share = Annotated[
    Fraction, BeforeValidator(parse_share), AfterValidator(part_of_whole), PlainSerializer(share_text), _SHARE_SCHEMA
]
Markup = Annotated[Fraction, BeforeValidator(parse_share), PlainSerializer(share_text), _SHARE_SCHEMA]
Day = Annotated[date, BeforeValidator(parse_day)]
LastDay = Annotated[date | None, BeforeValidator(parse_last_day)]
Hours = Annotated[Decimal, BeforeValidator(parse_hours), _NUMBER_SCHEMA]
Amount = Annotated[Decimal, BeforeValidator(parse_amount), _NUMBER_SCHEMA]
Number = Annotated[Decimal, BeforeValidator(parse_number), _NUMBER_SCHEMA]
Rate = Annotated[Decimal, BeforeValidator(parse_rate), PlainSerializer(number_written), _NUMBER_SCHEMA]
TimeSpan = Annotated[
    Span,
    BeforeValidator(parse_span),
    PlainSerializer(str),
    _text_schema(SPAN_PATTERN, "6 months", "30 days", "2 years"),
]
Tolerated = Annotated[
    Tolerance,
    BeforeValidator(parse_tolerance),
    PlainSerializer(str),
    WithJsonSchema({"anyOf": [{"type": "number", "minimum": 0}, {"type": "string"}], "examples": ["10%", 25]}),
]
PublishedVersion = Annotated[
    VersionRef,
    BeforeValidator(parse_version_ref),
    PlainSerializer(str),
    _text_schema(r"^[a-z][a-z0-9-]*@[1-9][0-9]*$", "quillfen-wheel-drive@2"),
]
DistanceUnit = Literal["km", "mile"]
Name = Annotated[str, _checked(r"^[a-z][a-z0-9-]{0,79}$", "quillfen-wheel-drive"), _text_schema(r"^[a-z][a-z0-9-]*$")]
Word = Annotated[str, _checked(r"^[a-z][a-z0-9_]{0,39}$", "wheel_drive"), _text_schema(r"^[a-z][a-z0-9_]*$")]
RESERVED_WORDS: Final = ("all", "any", "everything", "linked_components", "none", "whole_machine")
ListedWord = Annotated[
    Word,
    WithJsonSchema({"type": "string", "pattern": r"^[a-z][a-z0-9_]*$", "not": {"enum": list(RESERVED_WORDS)}}),
]


def said_otherwise(way_out: str) -> AfterValidator:
    """Return a validator of a word in a list, which refuses those that stand for no single name.

    ``[whole_machine]`` would name a component of that name, which no machine has: the opposite of what it says.
    """

    def check(word: str) -> str:
        if word in RESERVED_WORDS:
            raise ValueError(f'"{word}" is no single name and cannot stand in a list; {way_out}')
        return word

    return AfterValidator(check)


RecordId = Annotated[
    str,
    _checked(r"^[A-Za-z0-9][A-Za-z0-9._/-]{0,39}$", "S-118"),
    _text_schema(r"^[A-Za-z0-9][A-Za-z0-9._/-]*$", "S-118"),
]
Currency = Annotated[str, _checked(r"^[A-Z]{3}$", "EUR"), _text_schema(r"^[A-Z]{3}$", "EUR")]
