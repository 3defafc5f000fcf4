"""How a decision was derived: which version governs and why, the measures, the rules that fired with their facts."""

import re
from collections.abc import Iterator, Mapping
from datetime import date

from schemas.decision import Decision, Firing, Measure
from service.rendering.layout import NARROWEST, wrapped
from service.rendering.words import day_text, plain, tidy, version_text

_IN = "  "
_GOVERNS = "governs because"
_HOUR_WINDOW = re.compile(r"\bwindow (-?\d+)-(-?\d+)")
_DAY_WINDOW = re.compile(r"(?<=\s)(\d{6})-(\d{6})$")
_DAYS_PAST = re.compile(r", (-?\d+) days past")
_ISO_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
_POINT = re.compile(r"(\w+) point (\d+)")


def derivation_text(decision: Decision, width: int = 100) -> str:
    """Return the derivation of a decision as text, in lines of at most ``width`` cells (at least 40)."""
    width = max(width, NARROWEST)
    lines = [*_governing(decision, width), "", *_measures(decision, width), "", *_firings(decision, width)]
    lines += ["", *_digests(decision, width)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _governing(decision: Decision, width: int) -> Iterator[str]:
    yield from wrapped("Which version governs, and why", width)
    found = [measure for measure in decision.measures if measure.name == _GOVERNS]
    for measure in found:
        words = f"{version_text(measure.policy)}: {tidy(measure.value)}."
        yield from wrapped(words, width, _IN, _IN * 2)
    if not found:
        yield from wrapped("No version governs this machine.", width, _IN)


def _measures(decision: Decision, width: int) -> Iterator[str]:
    yield "Measures"
    policy: str | None = None
    for measure in decision.measures:
        if measure.name == _GOVERNS:
            continue
        if measure.policy != policy:
            policy = measure.policy
            yield from wrapped(f"under {version_text(policy)}", width, _IN)
        yield from wrapped(_measure(measure), width, _IN * 2, _IN * 3)


def _measure(measure: Measure) -> str:
    point = _POINT.fullmatch(measure.name)
    name = f"{plain(point[1])}, due point {point[2]}" if point else plain(measure.name)
    records = f" ({', '.join(measure.records)})" if measure.records else ""
    return f"{name}: {measure_words(measure.value)}{records}"


def measure_words(value: str) -> str:
    """Return a measure's value as a reader writes it.

    >>> measure_words("missed window 43200-52800")
    'missed, window 432.0 to 528.0 h'
    """
    value = _HOUR_WINDOW.sub(lambda m: f"window {_hours(m[1])} to {_hours(m[2])} h", value)
    value = _DAY_WINDOW.sub(lambda m: f"{_ordinal_day(m[1])} to {_ordinal_day(m[2])}", value)
    value = re.sub(r"^(\w+) window(?= )", r"\1, window", value).removesuffix(" window")
    value = _DAYS_PAST.sub(_days_past, value)
    return tidy(_ISO_DAY.sub(lambda m: day_text(m[0]), value))


def _hours(hundredths: str) -> str:
    text = f"{int(hundredths) // 100:,}.{int(hundredths) % 100:02d}"
    return text[:-1] if text.endswith("0") else text


def _ordinal_day(ordinal: str) -> str:
    return day_text(date.fromordinal(int(ordinal)))


def _days_past(match: re.Match[str]) -> str:
    days = int(match[1])
    if days == 0:
        return "; the day tested is its last"
    count = f"{abs(days):,} day{'' if abs(days) == 1 else 's'}"
    return f"; the day tested lies {count} {'after' if days > 0 else 'before'} it"


def _firings(decision: Decision, width: int) -> Iterator[str]:
    yield from wrapped("Rules that fired, with the facts they matched", width)
    if not decision.firings:
        yield from wrapped("none: nothing stands against the claim.", width, _IN)
    policy: str | None = None
    for firing in decision.firings:
        if firing.policy != policy:
            policy = firing.policy
            yield from wrapped(f"under {version_text(policy)}", width, _IN)
        yield from _firing(firing, width)


def _firing(firing: Firing, width: int) -> Iterator[str]:
    yield from wrapped(firing.rule, width, _IN * 2, _IN * 3)
    for fact in firing.facts:
        yield from wrapped(_fact(fact), width, _IN * 4, _IN * 5)


def _fact(fact: Mapping[str, int | str]) -> str:
    """Return a fact with its kind first: `line: comp wheel_drive, …`."""
    others = ", ".join(f"{key} {fact[key]}" for key in sorted(fact) if key != "k")
    return f"{fact['k']}: {others}"


def _digests(decision: Decision, width: int) -> Iterator[str]:
    yield "Digests"
    for name, value in (
        ("claim file", decision.digests.claim_file),
        *((version_text(policy), value) for policy, value in decision.digests.policies),
        ("outcome", decision.digests.outcome),
        ("derivation", decision.digests.derivation),
        ("envelope", decision.digests.envelope),
    ):
        yield from wrapped(f"{name} {value}", width, _IN, _IN * 2)
