"""What an allowance looks things up in: one claim under one policy in one world, each look-up done once."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Literal

from rules.open_facts import OpenFact, World
from rules.plain import day_text
from rules.policy_book.compiled import CompiledPolicy
from rules.settlement.exact import Exact, Factor, Minor, grains, minor_of, times
from rules.settlement.tables import Tables
from schemas.claim_file import ClaimFile
from schemas.policy.clause import ClaimDate

# The days of a claim in the order in which they come, as far as they have an order.
REPAIR_DAYS: tuple[ClaimDate, ...] = ("failed_on", "repair_began_on", "repair_ended_on", "submitted_on")
DAY_WORDS = {
    "reported_on": "the day on which the failure was reported",
    "part_received_on": "the day on which the failed part was received",
    "repair_began_on": "the day on which the repair began",
    "repair_ended_on": "the day on which the repair ended",
    "submitted_on": "the day on which the claim was submitted",
}


@dataclass(frozen=True, slots=True)
class Conversion:
    """The factor into the policy's currency, with the words of its row (empty: the same currency)."""

    factor: Factor
    words: str = ""


@dataclass(frozen=True, slots=True)
class Held:
    """Why a person must look at a line before it can be paid: reason code, clause path and words."""

    code: str
    path: str
    words: str


NO_CONVERSION = Conversion(1)


def _fixed() -> str:
    return "fixed"


class Desk:
    """The look-ups of one claim under one policy in one world; private to one evaluation."""

    def __init__(self, policy: CompiledPolicy, claim_file: ClaimFile, tables: Tables, world: World) -> None:
        self.policy = policy
        self.claim_file = claim_file
        self.tables = tables
        self.world = world
        self.each_step = policy.conventions.money.at == "step"
        self._minor: Minor | None = None
        self._days: dict[ClaimDate, date] = {}
        self._conversions: dict[tuple[str, date | None], Conversion | None] = {}

    def after_step(self, amount: Exact) -> Exact:
        """Return an amount as the next step of the arithmetic takes it: in whole minor units, if each step rounds."""
        if not self.each_step:
            return amount
        if self._minor is None:
            self._minor = minor_of(self.claim_file, self.policy.terms.currency, self.policy.conventions.money.round)
        return self._minor.exact(self._minor.units(amount))

    def on(self, which: ClaimDate) -> date:
        """Return a day of the claim; one that is missing is an open fact where a row begins in between."""
        day = self._days.get(which)
        if day is None:
            gaps = self.policy.conventions.rate_gap == "need_info"
            day = self._days[which] = claim_date(self.claim_file, self.tables, which, self.world, gaps=gaps)
        return day

    def into_policy_currency(self, currency: str, day: date | None = None) -> Conversion | None:
        """Return the conversion on ``day`` (left out: the conventions' day), None where no rate is on file."""
        target = self.policy.terms.currency
        if currency == target:
            return NO_CONVERSION
        key = (currency, day)
        if key not in self._conversions:
            conventions = self.policy.conventions
            on = day or self.on(conventions.exchange_rate_on)
            found = self.tables.rate(currency, target, on, conventions.rate_gap)
            note = f"; none was published for {day_text(on)}: the one before it holds"
            if found is None or found.on_the_day:
                note = ""
            self._conversions[key] = None if found is None else Conversion(found.value, f"{found.row}{note}")
        return self._conversions[key]

    def no_rate(self, currency: str, path: str) -> Held:
        words = f"no exchange rate {currency} to {self.policy.terms.currency} is on file for the day"
        return Held("exchange_rate_missing", path, words)

    def registered_rate(
        self, path: str, rate: Decimal | Literal["registered"], rate_on: ClaimDate
    ) -> tuple[Exact | None, Callable[[], str], Held | None]:
        """Return the rate per hour in grains with its words: the clause's fixed one, or the dealer's registered one.

        Where there is none, the first is None, and the third says why where that must be held.
        """
        if isinstance(rate, Decimal):
            return grains(rate), _fixed, None
        dealer = self.claim_file.claim.dealer
        found = self.tables.labour_rate(dealer, self.on(rate_on)) if dealer in self.tables.labour_rates else None
        if found is None:
            held = Held("labour_rate_missing", path, f"no labour rate of dealer {dealer} is on file")
            return None, _fixed, held if self.tables.has_labour_rates else None
        into = self.into_policy_currency(found.currency)
        if into is None:
            return None, _fixed, self.no_rate(found.currency, path)
        return times(grains(found.value), into.factor), lambda: found.row, None


def claim_date(claim_file: ClaimFile, tables: Tables, which: ClaimDate, world: World, *, gaps: bool) -> date:
    """Return a day of the claim.

    A missing one lies between the known days before and after it; its candidates are the first of these days and every
    day on which a table row that the claim could use begins, so that it is asked for only where a row would change;
    with ``gaps``, where an exchange rate holds for its own day alone, the day after each of them as well.
    """
    day: date | None = getattr(claim_file.claim, which)
    if day is not None:
        return day
    days = possible_days(claim_file, tables, which, gaps=gaps)
    fact = OpenFact(f"date:{which}", "start", "dealer", DAY_WORDS[which])
    return date.fromordinal(world.pick(fact, tuple(d.toordinal() for d in days)))


def possible_days(claim_file: ClaimFile, tables: Tables, which: ClaimDate, *, gaps: bool) -> tuple[date, ...]:
    """Return the candidates of a day of the claim that is not on file."""
    claim = claim_file.claim
    place = REPAIR_DAYS.index(which) if which in REPAIR_DAYS else 1
    before = [claim.failed_on, *(d for name in REPAIR_DAYS[:place] if (d := getattr(claim, name)) is not None)]
    later = REPAIR_DAYS[place + 1 :] if which in REPAIR_DAYS else ("submitted_on",)
    after = [claim_file.decided_on, *(d for name in later if (d := getattr(claim, name)) is not None)]
    low, high = max(before), min(after)
    days: tuple[date, ...] = (low, *tables.days_of_change(claim_file, low, high))
    if gaps and tables.exchange:
        days = tuple(sorted({*days, *(d + timedelta(days=1) for d in days if d < high)}))
    return days
