"""A first policy of one's own: the two-tier promise from eleven answers, with worked cases at its edges.

Full cover on proven dealer service; where a service is missing, a share that falls with the hours. The documents come
from the templates that ship with the project; the expected values of the cases are worked out here, in exact numbers,
and not asked of the engine.
"""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from string import Template

from schemas.documents import TreePath
from schemas.quantities import RESERVED_WORDS, parse_hours
from service.currencies import exponents_of
from service.shipped import FIXTURES

TEMPLATE = FIXTURES / "templates" / "two-tier"
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


# What the templates say that nobody was asked about: where it stands in the policy of the full promise, and what it
# means. Term and pays stand in the lesser promise, too.
ASSUMED: tuple[tuple[TreePath, str], ...] = (
    (("conventions",), "days, months, windows and money are counted by common-civil@1 (policy show tells how)"),
    (("applies_to", "owner"), "every later owner has the cover, too"),
    (("applies_to", "fitted"), "a component fitted later, as a replacement or a kit, is not covered"),
    (
        ("term", "starts"),
        "the term starts at delivery, first use or first hire, else six months after the build date",
    ),
    (("services", "scheduled", "window"), "a service may be a tenth of its interval early or late"),
    (("services", "scheduled", "early"), "a service before its window has opened does not count"),
    (("services", "scheduled", "late"), "a late service puts the gap right from its date"),
    (
        ("services", "scheduled", "next_due_from"),
        "services fall due at {due} (h): on a fixed grid, whenever the last one was done",
    ),
    (("services", "scheduled", "performed_by"), "only an authorised dealer may do them"),
    (("services", "scheduled", "proof"), "only a dealer's invoice proves them"),
    (("services", "scheduled", "bookings_count"), "a proven booking that the dealer could not keep counts as done"),
    (("services", "scheduled", "done_wrong_by_dealer"), "what a dealer did wrongly is not held against the owner"),
    (
        ("pays", "parts"),
        "parts: the dealer's net price and 15 % handling; what is above the price list, the dealer bears",
    ),
    (("pays", "labour"), "labour: the flat-rate time or the actual one, the lesser, at the dealer's registered rate"),
    (("pays", "anything_else"), "travel, freight and everything else are not paid"),
)


def assumed(answers: Answers) -> tuple[tuple[TreePath, str], ...]:
    """Return what nobody was asked about, with the hours at which services fall due by these answers."""
    due = [*answers.first_services]
    while len(due) < len(answers.first_services) + 3:
        due.append(due[-1] + answers.then_every)
    points = ", ".join(_in_words(hours) for hours in due)
    return tuple((path, words.format(due=f"{points} and so on")) for path, words in ASSUMED)


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


def documents_of(answers: Answers) -> dict[str, str]:
    """Return the documents by file name: two policies and their case table. Raises DoNotFit."""
    for misfit in misfits(answers):
        raise misfit
    values = {**_terms(answers), **_case_values(answers)}
    files = {
        f"{answers.name}-prorated-1.yaml": "prorated.yaml.template",
        f"{answers.name}-1.yaml": "proven.yaml.template",
        f"{answers.name}.cases.yaml": "cases.yaml.template",
    }
    return {
        file: Template((TEMPLATE / source).read_text(encoding="utf-8")).substitute(values)
        for file, source in files.items()
    }


def _terms(answers: Answers) -> dict[str, str]:
    plain = answers.component.replace("_", " ")
    first = [number(hours) for hours in answers.first_services]
    before = (Decimal(0), *answers.first_services)
    windows = [hours_digits(Fraction(b - a) / 10) for a, b in pairwise(before)]  # a tenth of each interval
    return {
        "name": answers.name,
        "layer": "drive",
        "title_proven": _quoted(f"{answers.maker}: {plain}, proven service"),
        "title_prorated": _quoted(f"{answers.maker}: {plain}, by hours"),
        "document": _quoted(f"{answers.maker} coverage terms"),
        "currency": answers.currency,
        "from_day": answers.from_day.isoformat(),
        "models": ", ".join(_quoted(model) for model in answers.models),
        **_reach(answers.component),
        "months": str(answers.months),
        **_hour_limit(answers),
        "first_points": ", ".join(
            f"{{at: {hours}, early: {window}, late: {window}}}" for hours, window in zip(first, windows, strict=True)
        ),
        "first_words": ", ".join(
            f"{_in_words(hours)} h ({window} h early or late)"
            for hours, window in zip(answers.first_services, windows, strict=True)
        ),
        "every_window": hours_digits(Fraction(answers.then_every) / 10),
        "every": number(answers.then_every),
        "free": number(answers.free_until),
        "zero": number(answers.zero_at),
        "free_words": _in_words(answers.free_until),
        "zero_words": _in_words(answers.zero_at),
        "every_words": _in_words(answers.then_every),
    }


def _hour_limit(answers: Answers) -> dict[str, str]:
    """Return the hours that end the cover, in its limits and in its words; nothing where there are none."""
    if answers.hours is None:
        return {"or_hours": "", "hours_too": ""}
    sooner = f", and ends at {_in_words(answers.hours)} machine hours where these come sooner"
    return {"or_hours": sooner, "hours_too": f", {{machine_hours: {number(answers.hours)}}}"}


def _reach(component: str) -> dict[str, str]:
    """Return what is covered, which lines a service has to do with, and the component that the cases are about."""
    if component == WHOLE_MACHINE:  # the word stands without brackets, and a case is about any component of the machine
        return {"covered": component, "links": "[]", "reach": "everything", "component": "engine"}
    return {
        "covered": f"[{component}]",
        "links": f"[{component}]",
        "reach": "linked_components",
        "component": component,
    }


def _case_values(answers: Answers) -> dict[str, str]:
    """Return what the cases say: delivered on a 15th, which every month has; the term ends the day before another."""
    delivery = answers.from_day.replace(day=15) if answers.from_day.day <= 15 else _months_later(answers.from_day, 1)
    day_after = _months_later(delivery, answers.months)
    last_day = day_after - timedelta(days=1)
    half_way = (Fraction(answers.free_until) + Fraction(answers.zero_at)) / 2
    exponent = exponents_of([answers.currency])[answers.currency]
    whole = Decimal(1150).quantize(Decimal(1).scaleb(-exponent))
    return {
        "model": _quoted(answers.models[0].removesuffix("*") or answers.models[0]),
        "delivery": delivery.isoformat(),
        "failed_on": last_day.isoformat(),
        "last_day": last_day.isoformat(),
        "day_after": day_after.isoformat(),
        "half_way": hours_digits(half_way),
        "before_first": hours_digits(Fraction(answers.first_services[0]) / 2),
        "whole": str(whole),
        "half": str((Decimal(1150) / 2).quantize(Decimal(1).scaleb(-exponent))),
        "nothing": str(Decimal(0).quantize(Decimal(1).scaleb(-exponent))),
        "services": "\n".join(_services(answers, delivery, last_day, half_way)),
        "hour_cases": "" if answers.hours is None else _hour_cases(answers, delivery, last_day, str(whole)),
        "early_case": _early_case(answers, delivery, last_day),
    }


def _hour_cases(answers: Answers, delivery: date, last_day: date, whole: str) -> str:
    """Return the cases at the hours that end the cover: at them all is covered still, past them nothing is."""
    assert answers.hours is not None, "without such hours there is no case about them"
    template = Template((TEMPLATE / "hour-cases.yaml.template").read_text(encoding="utf-8"))
    limit = Fraction(answers.hours)
    return template.substitute(
        name=answers.name,
        limit=number(answers.hours),
        limit_words=_in_words(answers.hours),
        past=hours_digits(limit + 1),
        whole=whole,
        services="\n".join(_services(answers, delivery, last_day, limit)),
    )


def _early_case(answers: Answers, delivery: date, last_day: date) -> str:
    """Return the case of a second service that came before its window; empty where the windows leave no room for it.

    The answers have points whose windows may meet: 390 h, a tenth late, closes after 400 h has opened.
    """
    first = Fraction(answers.first_services[0])
    points = (*answers.first_services, answers.first_services[0] + answers.then_every)
    second = Fraction(points[1])
    closes, side = first * Fraction(11, 10), (second - first) / 10
    early, after = (closes + second - side).__floor__() // 2, (second + side).__floor__() + 1
    if not closes < early < second - side:
        return ""
    done = "tasks: [service], by: authorised_dealer, evidence: [dealer_invoice]}"
    days = (last_day - delivery).days  # at even use
    on = [delivery + timedelta(days=int(days * hours / after)) for hours in (first, early)]
    due = _in_words(points[1])
    return "\n".join(
        (
            f"  - name: a service at {early:,} h, before the window of the one due at {due} h, is not that one",
            "    services:",
            f"      s1: {{on: {on[0]}, reading: {hours_digits(first)}, {done}",
            f"      s2: {{on: {on[1]}, reading: {early}, {done}",
            f"    claim: {{failed_on: {last_day}, reading: {after}}}",
            f"    expect: {{part: {{policy: {answers.name}-prorated@1, reasons: [service_missed]}}}}",
            "",
        )
    )


def _services(answers: Answers, delivery: date, last_day: date, top: Fraction) -> list[str]:
    """Return every service up to these hours on its hour, at even use, the last day of the term at the top."""
    due = [Fraction(hours) for hours in answers.first_services if hours <= top]
    while len(due) >= len(answers.first_services) and due[-1] + Fraction(answers.then_every) <= top:
        due.append(due[-1] + Fraction(answers.then_every))
    days = (last_day - delivery).days
    rows = []
    for place, hours in enumerate(due, 1):
        on = delivery + timedelta(days=int(days * hours / top))
        rows.append(
            f"      s{place}: {{on: {min(on, last_day)}, reading: {hours_digits(hours)}, tasks: [service],"
            " by: authorised_dealer, evidence: [dealer_invoice]}"
        )
    return rows


def _months_later(day: date, months: int) -> date:
    years, month = divmod(day.month - 1 + months, 12)
    return date(day.year + years, month + 1, 15)


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


def _in_words(hours: Decimal) -> str:
    """Return hours as a sentence shows them, with thousands marks: 2,400."""
    whole, point, hundredths = number(hours).partition(".")
    return f"{int(whole):,}{point}{hundredths}"


def hours_digits(value: Fraction) -> str:
    """Return an exact number of hours as digits, to hundredths; thirds of them are cut."""
    hundredths = value * 100
    whole = hundredths.numerator // hundredths.denominator
    text = f"{whole // 100}.{whole % 100:02d}"
    return text.rstrip("0").removesuffix(".")


def _quoted(text: str) -> str:
    """Return text as a YAML scalar whatever it holds."""
    return json.dumps(text, ensure_ascii=False)
