"""The answers of which a first policy of one's own is made: what is asked, how an answer is read, what does not fit.

Hours are told here as digits and in words, too, for questions and documents alike.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from schemas.quantities import RESERVED_WORDS, parse_hours
from service.currencies import exponents_of

MOST_HOURS_A_MONTH = 300
WHOLE_MACHINE = "whole_machine"  # an answer that names no component, but all of them
NO_LIMIT = "none"
_NAME = re.compile(r"[a-z][a-z0-9-]{0,59}")
_WORD = re.compile(r"[a-z][a-z0-9_]{0,39}")
_MODEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}\*?")


@dataclass(frozen=True, slots=True)
class Answers:
    """The eleven answers, and the day from which the terms are in force."""

    maker: str
    name: str
    models: tuple[str, ...]
    component: str
    months: int
    hours: Decimal | None  # h, where the cover ends when they come before the months
    first_services: tuple[Decimal, ...]  # h, one-off, rising
    then_every: Decimal  # h
    free_until: Decimal  # h
    zero_at: Decimal  # h
    currency: str
    from_day: date


@dataclass(frozen=True, slots=True)
class Asked:
    """One of the questions: the answer's name, the words, and an example that is offered."""

    key: str
    words: str
    example: str


QUESTIONS = (
    Asked("maker", "Who makes the promise (name of the maker)", "Quillfen"),
    Asked("name", "Short name of the coverage (small letters and hyphens)", "wheel-drive"),
    Asked("models", "Which models, with commas; a * at the end stands for any ending", "QF40, QF60"),
    Asked("component", "Which component is covered (small letters and underscores; or whole_machine)", "wheel_drive"),
    Asked("months", "How many months does cover run from delivery", "48"),
    Asked("hours", "At how many hours does cover end, if they come sooner (or none)", "none"),
    Asked("first_services", "At which hours are the first services due, with commas", "75, 400"),
    Asked("then_every", "Every how many hours after that", "400"),
    Asked("free_until", "Without the services: up to how many hours is the whole paid", "900"),
    Asked("zero_at", "Without the services: from how many hours is nothing paid", "2400"),
    Asked("currency", "In which currency (three letters)", "EUR"),
)


def parsed(key: str, text: str) -> object:
    """Return one answer in its own type; raises ValueError with what is wrong and the way out."""
    text = " ".join(text.split())
    match key:
        case "maker":
            if not text or len(text) > 60 or not text.isprintable():
                raise ValueError("write a name of 1 to 60 letters")
            return text
        case "name":
            return _fitting(_NAME, text, "write small letters, digits and hyphens, for example wheel-drive")
        case "component":
            if text in RESERVED_WORDS and text != WHOLE_MACHINE:
                raise ValueError("name one component, for example wheel_drive, or write whole_machine for them all")
            return _fitting(_WORD, text, "write small letters, digits and underscores, for example wheel_drive")
        case "models":
            models = tuple(part.strip() for part in text.split(",") if part.strip())
            if not models:
                raise ValueError("name at least one model, for example QF60")
            return tuple(_fitting(_MODEL, model, "write model codes with commas: QF40, QF60") for model in models)
        case "months":
            if not re.fullmatch(r"[1-9]\d{0,2}", text):
                raise ValueError("write a whole number of months from 1 to 999, for example 48")
            return int(text)
        case "hours":
            return None if text.lower() == NO_LIMIT else _hours(text)
        case "first_services":
            if re.fullmatch(r"[\d.]+( [\d.]+)+", text):
                raise ValueError("write the hours with commas, for example 75, 400")
            hours = tuple(_hours(part.strip()) for part in text.split(",") if part.strip())
            if not hours or list(hours) != sorted(set(hours)):
                raise ValueError("write hours in rising order, each once, for example 75, 400")
            return hours
        case "currency":
            code = text.upper()
            exponents_of([code])
            return code
    return _hours(text)


class DoNotFit(ValueError):
    """Answers that do not fit together, with the way out; ``keys`` are those of which one must change."""

    def __init__(self, keys: tuple[str, ...], words: str) -> None:
        super().__init__(words)
        self.keys = keys


def misfits(answers: Answers) -> list[DoNotFit]:
    """Return every way in which answers do not fit together."""
    return [*_share_misfits(answers), *_term_misfits(answers)]


def _share_misfits(answers: Answers) -> Iterator[DoNotFit]:
    window_closes = Fraction(answers.first_services[0]) * Fraction(11, 10)
    if answers.free_until >= answers.zero_at:
        yield DoNotFit(
            ("free_until", "zero_at"),
            f"the whole is paid up to {answers.free_until} h, but nothing from {answers.zero_at} h: write more for the"
            " second",
        )
    if answers.free_until < window_closes:
        yield DoNotFit(
            ("first_services", "free_until"),
            f"the first service may be done until {hours_digits(window_closes)} h, but the share falls from"
            f" {answers.free_until} h on: let the whole be paid longer, or ask for the first service sooner",
        )
    if ((Fraction(answers.free_until) + Fraction(answers.zero_at)) * 50).denominator != 1:
        yield DoNotFit(
            ("free_until", "zero_at"),
            "write the hours of the share with one decimal at most, for example 900 and 2400",
        )


def _term_misfits(answers: Answers) -> Iterator[DoNotFit]:
    if answers.then_every < 5:
        yield DoNotFit(
            ("then_every",),
            f"a service every {answers.then_every} h is more than a machine is given; write 5 h or more",
        )
    if answers.hours is not None and answers.zero_at > answers.hours:
        yield DoNotFit(
            ("hours", "zero_at"),
            f"cover ends at {answers.hours} h, but the share falls until {answers.zero_at} h: let nothing be paid from"
            f" {answers.hours} h or sooner, or let cover run longer",
        )
    most = answers.hours or answers.zero_at
    if most > answers.months * MOST_HOURS_A_MONTH:
        yield DoNotFit(
            ("months", "zero_at" if answers.hours is None else "hours"),
            f"a machine does not reach {most} h in {answers.months} months (more than {MOST_HOURS_A_MONTH}"
            f" h a month): let {'the share end sooner' if answers.hours is None else 'fewer hours end cover'}, or cover"
            " run longer",
        )


def _fitting(pattern: re.Pattern[str], text: str, way_out: str) -> str:
    if not pattern.fullmatch(text):
        raise ValueError(way_out)
    return text


def _hours(text: str) -> Decimal:
    hours = parse_hours(text)
    if not hours:
        raise ValueError("write hours above 0")
    return hours


def number(value: Decimal) -> str:
    """Return hours as digits without needless zeros."""
    return hours_digits(Fraction(value))


def in_words(hours: Decimal) -> str:
    """Return hours as a sentence shows them, with thousands marks: 2,400."""
    whole, point, hundredths = number(hours).partition(".")
    return f"{int(whole):,}{point}{hundredths}"


def hours_digits(value: Fraction) -> str:
    """Return an exact number of hours as digits, to hundredths; thirds of them are cut."""
    hundredths = value * 100
    whole = hundredths.numerator // hundredths.denominator
    text = f"{whole // 100}.{whole % 100:02d}"
    return text.rstrip("0").removesuffix(".")


def quoted(text: str) -> str:
    """Return text as a YAML scalar whatever it holds."""
    return json.dumps(text, ensure_ascii=False)
