"""Looking up dated rows: the last row on or before a day holds, with its table named for the record."""

from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Generic, TypeVar

from rules.plain import day_text
from rules.settlement.exact import Factor, factor
from schemas.claim_file import ClaimFile
from schemas.frozen import quickly_made
from schemas.reference_tables import (
    ExchangeRateTable,
    FlatTimeTable,
    LabourRateTable,
    PartComponentTable,
    PriceRow,
    PriceTable,
)

T = TypeVar("T")
Key = TypeVar("Key")


@quickly_made
@dataclass(frozen=True, slots=True)
class Dated(Generic[T]):
    """A row's value, the day it holds from, and its table with the currency of its amounts (empty: none)."""

    since: date
    value: T
    table: str
    version: int
    currency: str = ""

    @property
    def row(self) -> str:
        """The row as a record names it, such as parts-2026@3 from 1 January 2026."""
        return f"{self.table}@{self.version} from {day_text(self.since)}"


@dataclass(frozen=True, slots=True)
class Found:
    """A looked-up factor and the row it came from."""

    value: Factor
    row: str
    on_the_day: bool = True


@dataclass(frozen=True, slots=True)
class Price:
    """The row that prices a part; ``superseded`` names the part numbers it stands for, oldest first."""

    dated: Dated[PriceRow]
    superseded: tuple[str, ...] = ()


Rows = Mapping[Key, tuple[Dated[T], ...]]


@dataclass(frozen=True, slots=True)
class Tables:
    """Rows of a claim file by key, newest first; of two rows of one day the one in the higher table version."""

    prices: Rows[str, PriceRow]
    flat_times: Rows[frozenset[str], Decimal]
    labour_rates: Rows[str, Decimal]
    exchange: Rows[tuple[str, str], Decimal]
    components: Rows[str, str]
    has_prices: bool
    has_flat_times: bool
    has_labour_rates: bool
    has_components: bool

    def price(self, part: str, on: date) -> Price | None:
        """Return the price row of a part on a day, following the numbers that superseded it."""
        passed: list[str] = []
        while part not in passed:
            dated = _last(self.prices.get(part, ()), on)
            if dated is None:
                return None
            if dated.value.superseded_by is None:
                return Price(dated, tuple(passed))
            passed.append(part)
            part = dated.value.superseded_by
        return None

    def labour_rate(self, dealer: str, on: date) -> Dated[Decimal] | None:
        """Return the registered rate per hour."""
        return _last(self.labour_rates.get(dealer, ()), on)

    def flat_time(self, operations: frozenset[str], on: date) -> Dated[Decimal] | None:
        """Return the hours of one operation, or of several together."""
        return _last(self.flat_times.get(operations, ()), on)

    def combined(self, present: frozenset[str], on: date) -> tuple[frozenset[str], ...]:
        """Return every combined operation that this visit holds, in the order of their names."""
        together = (
            operations
            for operations in self.flat_times
            if len(operations) > 1 and operations <= present and self.flat_time(operations, on) is not None
        )
        return tuple(sorted(together, key=sorted))

    def rate(self, one: str, other: str, on: date, gap: str) -> Found | None:
        """Return units of ``other`` for one unit of ``one``; ``gap`` says what a day without a row does.

        Of the rows for the pair and for its inverse the newest holds, the pair itself first on the same day.
        """
        if one == other:
            return Found(1, "same currency")
        direct, inverse = _last(self.exchange.get((one, other), ()), on), _last(self.exchange.get((other, one), ()), on)
        dated = direct if inverse is None or (direct is not None and direct.since >= inverse.since) else inverse
        if dated is None or (dated.since < on and gap == "need_info"):
            return None
        published = factor(dated.value)
        pair = (one, other) if dated is direct else (other, one)
        row = f"{dated.table}@{dated.version} of {dated.since.day} {dated.since:%B %Y}"
        words = f"{row}: 1 {pair[0]} = {dated.value} {pair[1]}"
        return Found(published if dated is direct else Fraction(1) / published, words, dated.since == on)

    def component_of(self, part: str | None, on: date) -> Dated[str] | None:
        """Return the component that a part number belongs to."""
        return _last(self.components.get(part or "", ()), on)

    def days_of_change(self, claim_file: ClaimFile, low: date, high: date) -> tuple[date, ...]:
        """Return the days after ``low`` and up to ``high`` on which a row begins that the claim could use."""
        claim = claim_file.claim
        parts = {line.part_number for line in claim.lines if line.part_number is not None}
        # Work without a code may be of any operation.
        work = {line.operation for line in claim.lines if line.item == "labour" or line.operation is not None}
        days = {d.since for part in self._with_successors(parts) for d in self.prices.get(part, ())}
        days |= {d.since for d in self.labour_rates.get(claim.dealer, ())}
        times = [rows for together, rows in self.flat_times.items() if None in work or together <= work]
        days |= {d.since for rows in times for d in rows}
        days |= {d.since for rates in self.exchange.values() for d in rates}
        return tuple(sorted(day for day in days if low < day <= high))

    def _with_successors(self, parts: Iterable[str]) -> set[str]:
        found: set[str] = set()
        waiting = list(parts)
        while waiting:
            part = waiting.pop()
            if part not in found:
                found.add(part)
                waiting += [d.value.superseded_by for d in self.prices.get(part, ()) if d.value.superseded_by]
        return found


def _last(rows: tuple[Dated[T], ...], on: date) -> Dated[T] | None:
    """Return the newest row on or before a day (``rows`` newest first)."""
    if not rows:
        return None
    if rows[0].since <= on:
        return rows[0]
    place = bisect_left(rows, -on.toordinal(), key=lambda dated: -dated.since.toordinal())
    return rows[place] if place < len(rows) else None


def index_tables(claim_file: ClaimFile) -> Tables:
    """Return the claim file's rows by key, newest first."""
    prices: dict[str, list[Dated[PriceRow]]] = {}
    flat: dict[frozenset[str], list[Dated[Decimal]]] = {}
    labour: dict[str, list[Dated[Decimal]]] = {}
    exchange: dict[tuple[str, str], list[Dated[Decimal]]] = {}
    components: dict[str, list[Dated[str]]] = {}
    for table in claim_file.tables:
        name, version = table.table, table.version
        match table:
            case PriceTable():
                for price in table.rows:
                    _add(prices, price.part, Dated(price.from_, price, name, version, table.currency))
            case FlatTimeTable():
                for time in table.rows:
                    _add(flat, frozenset(time.operations), Dated(time.from_, time.hours, name, version))
            case LabourRateTable():
                for rate in table.rows:
                    _add(labour, rate.dealer, Dated(rate.from_, rate.rate, name, version, table.currency))
            case ExchangeRateTable():
                for worth in table.rows:
                    _add(exchange, (worth.one, worth.in_), Dated(worth.from_, worth.is_worth, name, version))
            case PartComponentTable():
                for part in table.rows:
                    _add(components, part.part, Dated(part.from_, part.component, name, version))
    kinds = {table.kind for table in claim_file.tables}
    return Tables(
        _newest_first(prices),
        _newest_first(flat),
        _newest_first(labour),
        _newest_first(exchange),
        _newest_first(components),
        "prices" in kinds,
        "flat_times" in kinds,
        "labour_rates" in kinds,
        "part_components" in kinds,
    )


def _add(rows: dict[Key, list[Dated[T]]], key: Key, dated: Dated[T]) -> None:
    rows.setdefault(key, []).append(dated)


def _newest_first(rows: dict[Key, list[Dated[T]]]) -> Rows[Key, T]:
    return {key: tuple(found) if len(found) == 1 else _sorted(found) for key, found in rows.items()}


def _sorted(rows: list[Dated[T]]) -> tuple[Dated[T], ...]:
    return tuple(sorted(rows, key=lambda d: (d.since, d.table, d.version), reverse=True))
