"""Dated rows, looked through from first to last: the newest row on or before a day holds."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from schemas.reference_tables import (
    ExchangeRateTable,
    FlatTimeTable,
    LabourRateTable,
    PartComponentTable,
    PriceRow,
    PriceTable,
    ReferenceTable,
    Row,
)
from tests.reference.terms import claim_day
from tests.reference.unknown import Given, time_is_over


def newest(
    claim_file: ClaimFile, kind: type[ReferenceTable], fits: Callable[[Row], bool], day: date
) -> tuple[ReferenceTable, Row] | None:
    """Return the row that holds on a day, with its table; of two of one day that of the later table and version."""
    found = [
        (row.from_, table.table, table.version, table, row)
        for table in claim_file.tables
        if isinstance(table, kind)
        for row in table.rows
        if fits(row) and row.from_ <= day
    ]
    if not found:
        return None
    best = max(found, key=lambda f: f[:3])
    return best[3], best[4]


def component_of_part(claim_file: ClaimFile, part: str | None) -> str | None:
    found = newest(claim_file, PartComponentTable, lambda r: r.part == part, claim_file.claim.failed_on)
    return None if found is None else found[1].component


@dataclass
class Counter:
    """Look-ups of one claim for one policy: prices, rates and times, in the policy's currency."""

    policy: CoveragePolicy
    conventions: Conventions
    claim_file: ClaimFile
    given: Given

    def has(self, kind: type[ReferenceTable]) -> bool:
        return any(isinstance(t, kind) for t in self.claim_file.tables)

    def evidence(self, key: str) -> bool:
        """Return whether what stands behind a line is there; asked for in vain, it is not."""
        return not time_is_over(self.conventions, self.claim_file, "evidence") and self.given.yes(key)

    def day(self, which: str) -> date:
        return claim_day(which, self.claim_file, self.given)

    def into(self, currency: str, day: date | None = None) -> Fraction | None:
        """Return units of the policy's currency for one of ``currency``; None where no rate is on file."""
        if currency == self.policy.currency:
            return Fraction(1)
        on = day or self.day(self.conventions.exchange_rate_on)
        return exchange(self.claim_file, currency, self.policy.currency, on, self.conventions.rate_gap)

    def price(self, part: str | None, day: date) -> tuple[PriceRow, str] | None:
        """Return the row that prices a part, following the numbers that took its place."""
        seen: list[str] = []
        while part is not None and part not in seen:
            seen.append(part)
            found = newest(self.claim_file, PriceTable, lambda r, part=part: r.part == part, day)
            if found is None:
                return None
            table, row = found
            if row.superseded_by is None:
                return row, table.currency
            part = row.superseded_by
        return None

    def flat_time(self, operations: set[str], day: date) -> Decimal | None:
        found = newest(self.claim_file, FlatTimeTable, lambda r: set(r.operations) == operations, day)
        return None if found is None else found[1].hours

    def registered(self, day: date) -> tuple[Fraction | None, str]:
        """Return the dealer's rate per hour, and the code of what holds the line where there is none."""
        dealer = self.claim_file.claim.dealer
        found = newest(self.claim_file, LabourRateTable, lambda r: r.dealer == dealer, day)
        if found is None:
            return None, "labour_rate_missing" if self.has(LabourRateTable) else ""
        rate = self.into(found[0].currency)
        return (None, "exchange_rate_missing") if rate is None else (Fraction(found[1].rate) * rate, "")


def exchange(claim_file: ClaimFile, one: str, other: str, day: date, gap: str) -> Fraction | None:
    """Return the newest published rate on or before the day, of the pair or turned round; the pair on the same day."""
    if one == other:
        return Fraction(1)
    found = []
    for place, (a, b) in enumerate(((other, one), (one, other))):
        row = newest(claim_file, ExchangeRateTable, lambda r, a=a, b=b: (r.one, r.in_) == (a, b), day)
        if row is not None:
            found.append((row[1].from_, place, Fraction(row[1].is_worth)))
    if not found:
        return None
    since, place, worth = max(found)
    if since < day and gap == "need_info":
        return None
    return worth if place else 1 / worth
