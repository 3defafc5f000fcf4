"""Looking up dated rows: the last row on or before a day holds, with its table named for the record."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from schemas.claim_file import ClaimFile
from schemas.reference_tables import (
    ExchangeRateTable,
    FlatTimeRow,
    FlatTimeTable,
    LabourRateTable,
    PartComponentTable,
    PriceRow,
    PriceTable,
)


@dataclass(frozen=True, slots=True)
class Found:
    """A looked-up value and the row it came from, such as parts-2026@3 from 1 January 2026."""

    value: Fraction
    row: str
    on_the_day: bool = True


@dataclass(frozen=True, slots=True)
class PriceFound:
    net: Fraction
    list_price: Fraction | None
    currency: str
    row: str


@dataclass(frozen=True, slots=True)
class Tables:
    """Rows of a claim file by key, newest first."""

    prices: Mapping[str, tuple[tuple[PriceRow, str, str], ...]]
    flat_times: tuple[tuple[FlatTimeRow, str], ...]
    labour_rates: Mapping[str, tuple[tuple[date, Fraction, str, str], ...]]
    exchange: Mapping[tuple[str, str], tuple[tuple[date, Fraction, str], ...]]
    components: Mapping[str, tuple[tuple[date, str], ...]]
    has_prices: bool
    has_flat_times: bool
    has_labour_rates: bool

    def price(self, part: str, on: date) -> PriceFound | None:
        for row, currency, table in self.prices.get(part, ()):
            if row.from_ <= on:
                list_price = None if row.list_price is None else Fraction(row.list_price)
                return PriceFound(Fraction(row.net), list_price, currency, f"{table} from {row.from_:%d %B %Y}")
        return None

    def labour_rate(self, dealer: str, on: date) -> tuple[Fraction, str, str] | None:
        """Return the registered rate per hour, its currency and its row."""
        for since, rate, currency, table in self.labour_rates.get(dealer, ()):
            if since <= on:
                return rate, currency, f"{table} from {since:%d %B %Y}"
        return None

    def flat_time(self, operations: frozenset[str], on: date) -> Found | None:
        for row, table in self.flat_times:
            if row.from_ <= on and frozenset(row.operations) == operations:
                return Found(Fraction(row.hours), f"{table} from {row.from_:%d %B %Y}")
        return None

    def combined(self, present: frozenset[str], on: date) -> tuple[frozenset[str], ...]:
        """Return the combined operations that this visit holds, larger ones first, none sharing an operation."""
        sets = {frozenset(row.operations) for row, _ in self.flat_times if len(row.operations) > 1 and row.from_ <= on}
        chosen: list[frozenset[str]] = []
        left = present
        for together in sorted(sets, key=lambda s: (-len(s), sorted(s))):
            if together <= left:
                chosen.append(together)
                left = left - together
        return tuple(chosen)

    def rate(self, one: str, other: str, on: date, gap: str) -> Found | None:
        """Return units of ``other`` for one unit of ``one``; ``gap`` says what a day without a row does."""
        if one == other:
            return Found(Fraction(1), "same currency")
        for pair, inverse in (((one, other), False), ((other, one), True)):
            for since, rate, table in self.exchange.get(pair, ()):
                if since > on or (since < on and gap == "need_info"):
                    continue
                value = 1 / rate if inverse else rate
                return Found(value, f"{table} of {since:%d %B %Y}: 1 {pair[0]} = {_plain(rate)} {pair[1]}", since == on)
        return None

    def component_of(self, part: str | None, on: date) -> str | None:
        for since, component in self.components.get(part or "", ()):
            if since <= on:
                return component
        return None


def _plain(rate: Fraction) -> str:
    digits = 0
    while (rate * 10**digits).denominator != 1 and digits < 10:
        digits += 1
    whole = int(rate * 10**digits)
    return f"{whole // 10**digits}.{whole % 10**digits:0{digits}d}" if digits else str(whole)


def index_tables(claim_file: ClaimFile) -> Tables:
    """Return the claim file's rows by key, newest first; of two tables the higher version of a day wins."""
    prices: dict[str, list[tuple[PriceRow, str, str]]] = {}
    flat: list[tuple[FlatTimeRow, str]] = []
    labour: dict[str, list[tuple[date, Fraction, str, str]]] = {}
    exchange: dict[tuple[str, str], list[tuple[date, Fraction, str]]] = {}
    components: dict[str, list[tuple[date, str]]] = {}
    kinds = set()
    for table in sorted(claim_file.tables, key=lambda t: (t.table, t.version)):
        name = f"{table.table}@{table.version}"
        kinds.add(table.kind)
        match table:
            case PriceTable():
                for price in table.rows:
                    prices.setdefault(price.part, []).append((price, table.currency, name))
            case FlatTimeTable():
                flat += [(row, name) for row in table.rows]
            case LabourRateTable():
                for labour_row in table.rows:
                    labour.setdefault(labour_row.dealer, []).append(
                        (labour_row.from_, Fraction(labour_row.rate), table.currency, name)
                    )
            case ExchangeRateTable():
                for rate in table.rows:
                    exchange.setdefault((rate.one, rate.in_), []).append((rate.from_, Fraction(rate.is_worth), name))
            case PartComponentTable():
                for part in table.rows:
                    components.setdefault(part.part, []).append((part.from_, part.component))
    return Tables(
        {key: tuple(sorted(rows, key=lambda r: (r[0].from_, r[2]), reverse=True)) for key, rows in prices.items()},
        tuple(sorted(flat, key=lambda r: (r[0].from_, r[1]), reverse=True)),
        {key: tuple(sorted(rows, key=lambda r: (r[0], r[3]), reverse=True)) for key, rows in labour.items()},
        {key: tuple(sorted(rows, key=lambda r: (r[0], r[2]), reverse=True)) for key, rows in exchange.items()},
        {key: tuple(sorted(rows, reverse=True)) for key, rows in components.items()},
        "prices" in kinds,
        "flat_times" in kinds,
        "labour_rates" in kinds,
    )
