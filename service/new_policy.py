"""A first policy of one's own: the two-tier promise from eleven answers, with worked cases at its edges.

Full cover on proven dealer service; where a service is missing, a share that falls with the hours. The documents come
from the templates that ship with the project; the expected values of the cases are worked out here, in exact numbers,
and not asked of the engine.
"""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from string import Template

from schemas.documents import TreePath
from service.currencies import exponents_of
from service.new_policy_answers import (
    WHOLE_MACHINE,
    Answers,
    hours_digits,
    in_words,
    misfits,
    number,
    quoted,
)
from service.shipped import FIXTURES

TEMPLATE = FIXTURES / "templates" / "two-tier"
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
    points = ", ".join(in_words(hours) for hours in due)
    return tuple((path, words.format(due=f"{points} and so on")) for path, words in ASSUMED)


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
        "title_proven": quoted(f"{answers.maker}: {plain}, proven service"),
        "title_prorated": quoted(f"{answers.maker}: {plain}, by hours"),
        "document": quoted(f"{answers.maker} coverage terms"),
        "currency": answers.currency,
        "from_day": answers.from_day.isoformat(),
        "models": ", ".join(quoted(model) for model in answers.models),
        **_reach(answers.component),
        "months": str(answers.months),
        **_hour_limit(answers),
        "first_points": ", ".join(
            f"{{at: {hours}, early: {window}, late: {window}}}" for hours, window in zip(first, windows, strict=True)
        ),
        "first_words": ", ".join(
            f"{in_words(hours)} h ({window} h early or late)"
            for hours, window in zip(answers.first_services, windows, strict=True)
        ),
        "every_window": hours_digits(Fraction(answers.then_every) / 10),
        "every": number(answers.then_every),
        "free": number(answers.free_until),
        "zero": number(answers.zero_at),
        "free_words": in_words(answers.free_until),
        "zero_words": in_words(answers.zero_at),
        "every_words": in_words(answers.then_every),
    }


def _hour_limit(answers: Answers) -> dict[str, str]:
    """Return the hours that end the cover, in its limits and in its words; nothing where there are none."""
    if answers.hours is None:
        return {"or_hours": "", "hours_too": ""}
    sooner = f", and ends at {in_words(answers.hours)} machine hours where these come sooner"
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
        "model": quoted(answers.models[0].removesuffix("*") or answers.models[0]),
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
        limit_words=in_words(answers.hours),
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
    due = in_words(points[1])
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
