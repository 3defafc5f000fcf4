"""The numbers with a unit that a clause's own words say: two years, 1,200 h, a quarter of wear, 80.00, once a year.

Read generously: a number counts as said wherever it stands, and what may be of another thing is marked as an aside.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from types import MappingProxyType

from rules.plain import MONTHS
from rules.policy_book.clause_numbers import Quantity
from rules.policy_book.read_words import Read, read_number, read_ordinal, read_part

_TOKEN = re.compile(
    r"\d{1,3}(?:[,'’\u00a0\u202f ]\d{3})+(?![\d])(?:\.\d+)?|\d{1,3}(?:\.\d{3}){2,}|\d+(?:[.,]\d+)?|[^\W\d_]\w*|\S"
)
_HOUR, _MINUTE, _PERCENT = ("hours", Fraction(1)), ("hours", Fraction(1, 60)), ("share", Fraction(1, 100))
_YEAR, _KM, _LITRE = ("months", Fraction(12)), ("km", Fraction(1)), ("litres", Fraction(1))
_MONEY = ("", Fraction(1))  # the words name no currency, or a sign that several share
_UNITS = MappingProxyType({
    "month": ("months", Fraction(1)), "year": _YEAR, "yr": _YEAR, "day": ("days", Fraction(1)),
    "week": ("days", Fraction(7)), "h": _HOUR, "hr": _HOUR, "hour": _HOUR, "minute": _MINUTE, "min": _MINUTE,
    "%": _PERCENT, "percent": _PERCENT, "km": _KM, "kilometre": _KM, "kilometer": _KM, "mile": ("mile", Fraction(1)),
    "l": _LITRE, "litre": _LITRE, "liter": _LITRE, "euro": ("EUR", Fraction(1)), "dollar": _MONEY, "pound": _MONEY,
    "€": _MONEY, "£": _MONEY, "$": _MONEY, "¥": _MONEY,
})  # fmt: skip
_SIGNS = ("€", "£", "$", "¥")
_ADJECTIVES = frozenset({
    "operating", "machine", "engine", "working", "running", "meter", "drive", "component", "service", "pto", "full",
    "whole", "calendar", "complete", "completed", "begun", "consecutive", "clock",
})  # fmt: skip
_JOINTS = frozenset({"and", "or", "to", "then", "until", "resp", ",", "-", "–", "—", "/"})
_FILLERS = frozenset({"at", "from", "again", "between", "after", "up", "the"})
_LABELS = frozenset({
    "clause", "clauses", "section", "sections", "paragraph", "article", "chapter", "version", "edition", "number", "§",
    "page",
})  # fmt: skip
_ADVERBS = MappingProxyType({"yearly": 12, "annually": 12, "annual": 12, "monthly": 1})
_TIMES = MappingProxyType({"once": 1, "twice": 2})
_GROUPS = frozenset({"unit", "units", "period", "periods", "term", "terms", "block", "blocks"})
_EACH = frozenset({"a", "an", "per", "each", "every"})
_RUNNING = ("months", "days", "hours")
YEARS_IN_DATES = range(1900, 2101)


@dataclass(frozen=True, slots=True)
class Said:
    """A number as the words say it: what it may mean, whether it tells how often, and whether it is an aside.

    An aside (the whole of "the two years", "a year", "the first year") says a number without being held against one.
    """

    words: str
    values: frozenset[Quantity]
    interval: bool = False
    aside: bool = False

    @property
    def kind(self) -> str:
        return next(iter(self.values)).kind

    @property
    def is_years(self) -> bool:
        return "year" in self.words and not self.aside

    @property
    def is_part_of_a_year(self) -> bool:
        """Whether it is a number of months that stands behind years: two years and six months."""
        return (
            "month" in self.words
            and not self.aside
            and all(q.unit == "months" and 0 < q.value < 12 for q in self.values)
        )


@dataclass(frozen=True, slots=True)
class Words:
    """What a clause's words say: numbers with a unit, and bare ones, which may be of any unit."""

    said: tuple[Said, ...]
    bare: frozenset[Fraction]


@dataclass(frozen=True, slots=True)
class _Found:
    """A number and where it stands, before its unit is known."""

    start: int
    read: Read


def read_numbers(text: str) -> Words:
    """Return every number that words say."""
    return _Reader(text).read()


class _Reader:
    def __init__(self, text: str) -> None:
        matches = list(_TOKEN.finditer(text))
        self.text = text
        self.tokens = [match[0] for match in matches]
        self.spans = [match.span() for match in matches]
        self.said: list[Said] = []
        self.ends: list[int] = []  # the place behind each number said
        self.bare: set[Fraction] = set()
        self.times = frozenset({Fraction(1)})  # 84 units of 30 days

    def read(self) -> Words:
        at = 0
        while at < len(self.tokens):
            at = self._ordinal(at) or self._often(at) or self._part(at) or self._numbers(at) or at + 1
        return Words(tuple(self.said), frozenset(self.bare))

    def _word(self, at: int) -> str:
        return self.tokens[at].lower() if 0 <= at < len(self.tokens) else ""

    def _say(self, start: int, end: int, values: frozenset[Quantity], *, aside: bool = False) -> None:
        self._add(start, end, values, self._tells_interval(start, end), aside or self._of_another(start, end))

    def _add(self, start: int, end: int, values: frozenset[Quantity], interval: bool, aside: bool) -> None:
        first = self.spans[start][0]
        one = Said(self.text[first : self.spans[end - 1][1]], values, interval, aside)
        between = self.tokens[self.ends[-1] : start] if self.ends else None
        if between in ([], ["and"]) and self.said[-1].is_years and one.is_part_of_a_year:
            start_of_years = self.text.rindex(self.said[-1].words, 0, first)
            one = _with_months(self.said.pop(), one, self.text[start_of_years : self.spans[end - 1][1]])
            self.ends.pop()
        self.said.append(one)
        self.ends.append(end)

    def _tells_interval(self, start: int, end: int) -> bool:
        before = self._word(start - 1)
        if before in ("every", "each") or self._word(end) == "apart":
            return True
        if before == "of" and self._word(start - 2).startswith("interval"):
            return True
        joined = before in ("or", "and") and self.ends and self.ends[-1] == start - 1
        return bool(joined) and self.said[-1].interval

    def _of_another(self, start: int, end: int) -> bool:
        """Whether the number is told of something else: of the two years; within 24 months of clause 2."""
        known = self._word(start - 1) in ("these", "those", "its", "their")
        whole = (self._word(start - 2), self._word(start - 1)) == ("of", "the")
        labelled = self._word(end) in ("of", "in", "under", "(") and self._word(end + 1) in _LABELS
        return known or whole or labelled

    def _unit(self, at: int) -> tuple[str, Fraction, int] | None:
        """Return the unit at a place, its factor and the place behind it."""
        place = at + 1 if self._word(at) == "-" else at
        while self._word(place) in _ADJECTIVES:
            place += 1
        word = self._word(place)
        if (word, self._word(place + 1)) == ("per", "cent"):
            return "share", Fraction(1, 100), place + 2
        found = _UNITS.get(word) or _UNITS.get(word.removesuffix("s"))
        if found is not None:
            return *found, place + 1
        if at < len(self.tokens) and re.fullmatch("[A-Z]{3}", self.tokens[at]):
            return self.tokens[at], Fraction(1), at + 1
        return None

    def _ordinal(self, at: int) -> int | None:
        """Read the third year: it runs from 24 to 36 months."""
        found = read_ordinal(self.tokens, at)
        if found is None:
            return None
        number, behind = found
        unit = self._unit(behind)
        if unit is None or unit[0] not in _RUNNING:
            return None
        name, factor, end = unit
        every = self._word(at - 1) in ("every", "each")
        values = _quantities(name, factor, {Fraction(n) for n in ({number} if every else {number, number - 1})})
        self._say(at, end, values, aside=number == 1)
        return end

    def _often(self, at: int) -> int | None:
        """Read once a year, every month, yearly; a year and an hour are told by the way."""
        word, times, end = self._word(at), 0, at + 1
        if word in _ADVERBS:
            self._add(at, end, frozenset({Quantity("months", Fraction(_ADVERBS[word]))}), True, True)
            return end
        if word in _TIMES and self._word(end) in _EACH:
            times, end = _TIMES[word], end + 1
        elif word not in _EACH:
            return None
        unit = self._unit(end)
        if unit is None or unit[0] not in _RUNNING:
            return None
        name, factor, end = unit
        values = _quantities(name, factor / (times or 1), {Fraction(1)})
        self._add(at, end, values, times > 0 or word in ("each", "every"), True)
        return end

    def _part(self, at: int) -> int | None:
        """Read two thirds (a share) or half an hour."""
        part = read_part(self.tokens, at)
        if part is None:
            return None
        place = part.end + 1 if self._word(part.end) == "of" else part.end
        place += 1 if self._word(place) in ("a", "an") else 0
        unit = self._unit(place)
        if unit is not None and unit[0] in (*_RUNNING, "km", "mile", "litres"):
            name, factor, end = unit
            self._say(at, end, _quantities(name, factor, part.values))
            return end
        self._say(at, part.end, _quantities("share", Fraction(1), part.values))
        return part.end

    def _numbers(self, at: int) -> int | None:
        """Read a number, or several before one unit: 8, 24 and 40 h; a number without a unit is bare."""
        found: list[_Found] = []
        place = at
        while (read := read_number(self.tokens, place)) is not None:
            if self._is_label(place):
                self.bare |= read.values
                return place + 1 if not found else self._leave(found, place)
            found.append(_Found(place, read))
            unit = self._unit_of(place, read)
            if unit is not None:
                return self._say_all(found, unit)
            group = self._group(read)
            if group is not None:
                return self._leave(found, group)
            place = self._behind_joint(read.end)
            if place == read.end:
                break
        return self._leave(found, found[-1].read.end) if found else None

    def _unit_of(self, start: int, read: Read) -> tuple[str, Fraction, int] | None:
        unit = self._unit(read.end)
        if unit is not None:
            return unit
        before = self.tokens[start - 1] if start else ""
        if before in _SIGNS:
            return "", Fraction(1), read.end
        if re.fullmatch("[A-Z]{3}", before):
            return before, Fraction(1), read.end
        return ("", Fraction(1), read.end) if re.fullmatch(r"[\d,'’]+\.\d\d", self.tokens[start]) else None

    def _say_all(self, found: Sequence[_Found], unit: tuple[str, Fraction, int]) -> int:
        name, factor, end = unit
        last = found[-1]
        named = self.text[self.spans[last.read.end - 1][1] : self.spans[end - 1][1]]
        if end == last.read.end:  # no unit stands behind it, so that it is the unit of this number alone
            self._leave(found[:-1], end)
            found = found[-1:]
        for one in found:
            values = {times * value for value in one.read.values for times in {*self.times, Fraction(1)}}
            self._say(one.start, end if one is last else one.read.end, _quantities(name, factor, values))
            if one is not last:
                self.said[-1] = replace(self.said[-1], words=f"{self.said[-1].words}{named}")
        self.times = frozenset({Fraction(1)})
        return end

    def _leave(self, found: Sequence[_Found], end: int) -> int:
        """Keep numbers that have no unit: 9/10 of something is a share, the others are bare."""
        for one in found:
            tokens = self.tokens[one.start : one.read.end]
            if "/" in tokens and self._word(one.read.end) == "of":
                self._say(one.start, one.read.end, _quantities("share", Fraction(1), one.read.values))
                continue
            self.bare |= one.read.values
            self.bare |= {Fraction(token) for token in tokens if token.isdecimal()}
        return end

    def _group(self, read: Read) -> int | None:
        """Return the place behind "units of", in 84 units of 30 days."""
        if self._word(read.end) in _GROUPS and self._word(read.end + 1) == "of":
            self.times = read.values
            return read.end + 2
        return None

    def _is_label(self, at: int) -> bool:
        """Whether a number names a clause or a year, or stands in a date."""
        token = self.tokens[at]
        year = token.isdecimal() and int(token) in YEARS_IN_DATES and self._unit(at + 1) is None
        day = self._word(at + 1).capitalize() in MONTHS or self._word(at - 1).capitalize() in MONTHS
        return year or day or self._word(at - 1) in _LABELS

    def _behind_joint(self, at: int) -> int:
        """Return the place behind the words that join two numbers, or the place itself."""
        place = at
        while self._word(place) in _JOINTS and place < at + 2:
            place += 1
        if place == at:
            return at
        while self._word(place) in _FILLERS and place < at + 4:
            place += 1
        return place if read_number(self.tokens, place) is not None else at


def _quantities(unit: str, factor: Fraction, values: set[Fraction] | frozenset[Fraction]) -> frozenset[Quantity]:
    """Return what numbers of a unit mean; a year is 12 months, and 365 or 366 days."""
    found = {Quantity(unit, factor * value) for value in values}
    if unit == "months" and factor == 12:
        for value in values:
            found |= {Quantity("days", Fraction(days)) for days in range(int(365 * value), int(366 * value) + 1)}
    return frozenset(found)


def _with_months(years: Said, months: Said, words: str) -> Said:
    """Return two years and six months as the one number that they are."""
    sums = frozenset(
        Quantity("months", y.value + m.value)
        for y in years.values
        for m in months.values
        if y.unit == m.unit == "months"
    )
    return replace(years, words=words, values=sums)
