"""Published policies written down again for an SMT solver (z3), from their text alone.

Nothing of the engine is used here: days are year, month and day with the Gregorian calendar as arithmetic, months are
counted on the calendar's face, shares are exact reals. Hours are whole hundredths, lengths whole tenths, amounts cents.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import z3

Facts = Mapping[str, Any]  # what z3 chose: days as text, measures as integers


@dataclass(frozen=True)
class ADay:
    """A calendar day as three integers."""

    year: Any
    month: Any
    day: Any

    @property
    def is_one(self) -> Any:
        from_2019 = z3.And(self.year >= 2019, self.year <= 2034, self.month >= 1, self.month <= 12)
        return z3.And(from_2019, self.day >= 1, self.day <= length_of_month(self.year, self.month))

    @property
    def number(self) -> Any:
        """Days since 1 March of the year 0, by the usual count of years that begin in March."""
        year = z3.If(self.month <= 2, self.year - 1, self.year)
        month = z3.If(self.month <= 2, self.month + 9, self.month - 3)
        return 365 * year + year / 4 - year / 100 + year / 400 + (153 * month + 2) / 5 + self.day - 1

    def plus_months(self, months: int) -> "ADay":
        """The same day of a later month, or that month's last where it has no such day."""
        index = 12 * self.year + self.month - 1 + months
        year, month = index / 12, index % 12 + 1
        last = length_of_month(year, month)
        return ADay(year, month, z3.If(self.day < last, self.day, last))

    def before(self, other: "ADay") -> Any:
        mine, others = 12 * self.year + self.month, 12 * other.year + other.month
        return z3.Or(mine < others, z3.And(mine == others, self.day < other.day))

    def same(self, other: "ADay") -> Any:
        return z3.And(self.year == other.year, self.month == other.month, self.day == other.day)


def length_of_month(year: Any, month: Any) -> Any:
    leap = z3.And(year % 4 == 0, z3.Or(year % 100 != 0, year % 400 == 0))
    short = z3.Or(month == 4, month == 6, month == 9, month == 11)
    return z3.If(month == 2, z3.If(leap, 29, 28), z3.If(short, 30, 31))


@dataclass(frozen=True)
class Point:
    """A claim: the start of term, the building, the failure, hours (hundredths) and the length left (tenths)."""

    built: ADay
    start: ADay
    failed: ADay
    hours: Any
    left: Any

    @staticmethod
    def named(name: str) -> "Point":
        days = [ADay(*z3.Ints(f"{name}_{what}_y {name}_{what}_m {name}_{what}_d")) for what in ("b", "s", "f")]
        return Point(*days, z3.Int(f"{name}_hours"), z3.Int(f"{name}_left"))

    @property
    def is_one(self) -> Any:
        """In order: built, then begun, then failed, within fourteen years; up to 6,000 h and 50.0 mm."""
        days = z3.And(self.built.is_one, self.start.is_one, self.failed.is_one)
        order = z3.And(z3.Not(self.start.before(self.built)), z3.Not(self.failed.before(self.start)))
        measures = z3.And(self.hours >= 0, self.hours <= 600_000, self.left >= 0, self.left <= 500)
        return z3.And(days, order, measures, self.start.year <= 2026)

    def one_step_worse(self, later: "Point") -> Any:
        """``later`` is the same claim a day later, a hundredth of an hour on, or worn by a tenth more."""
        same_term = z3.And(self.built.same(later.built), self.start.same(later.start))
        same_day, same_hours = self.failed.same(later.failed), self.hours == later.hours
        same_left = self.left == later.left
        steps = z3.Or(
            z3.And(later.failed.number == self.failed.number + 1, same_hours, same_left),
            z3.And(same_day, later.hours == self.hours + 1, same_left),
            z3.And(same_day, same_hours, later.left == self.left - 1),
        )
        return z3.And(same_term, steps)


def facts_of(model: z3.ModelRef, point: Point) -> Facts:
    """Return the numbers of a point in a model of z3's."""

    def number(term: Any) -> int:
        return int(model.eval(term, model_completion=True).as_long())

    def text(day: ADay) -> str:
        return f"{number(day.year)}-{number(day.month):02}-{number(day.day):02}"

    return {
        "built": text(point.built),
        "start": text(point.start),
        "failed": text(point.failed),
        "hours": number(point.hours),
        "left": number(point.left),
    }


def cents(exact: Any) -> Any:
    """Round an exact number of cents half up."""
    return z3.ToInt(exact + z3.RealVal("1/2"))


@dataclass(frozen=True)
class Encoded:
    """A policy for z3: in which region a point lies, and the exact number of cents that is paid there.

    ``regions`` are in the order in which a machine passes through them; the last one is outside.
    """

    regions: Callable[[Point], Mapping[str, Any]]
    exact_cents: Callable[[Point, str], Any]
    deducted: int = 0

    def paid(self, point: Point) -> Any:
        """Return the whole cents paid at ``point``."""
        result: Any = z3.IntVal(0)
        for name, region in self.regions(point).items():
            whole = cents(self.exact_cents(point, name)) - self.deducted
            result = z3.If(region, z3.If(whole > 0, whole, 0), result)
        return result


def _from(point: Point, year: int, until: int = 9999) -> Any:
    """The term begins in these years: the version is in force and selected by the start of term."""
    return z3.And(point.start.year >= year, point.start.year <= until)


def wheel_drive() -> Encoded:
    """Clauses 4.1 and 4.3: 48 months; up to 900 h the whole, from there evenly down to nothing at 2,400 h.

    In force for terms that begin in 2021 to 2023. One drive at 1,000.00 net and 15 % handling: 115,000 cents.
    """

    def regions(point: Point) -> dict[str, Any]:
        inside = z3.And(_from(point, 2021, 2023), point.failed.before(point.start.plus_months(48)))
        return {
            "pay": z3.And(inside, point.hours <= 90_000),
            "pay_part": z3.And(inside, point.hours > 90_000, point.hours < 240_000),
            "pay_zero": z3.And(inside, point.hours >= 240_000),
            "deny": z3.Not(inside),
        }

    def exact(point: Point, region: str) -> Any:
        whole = z3.RealVal(115_000)
        falling = whole * z3.ToReal(240_000 - point.hours) / z3.RealVal(150_000)
        return {"pay": whole, "pay_part": falling}.get(region, z3.RealVal(0))

    return Encoded(regions, exact)


def traction_battery() -> Encoded:
    """Clauses B2 and B3: 2,520 days; by complete units of 30 days 1, from 24 3/4, from 33 1/2, from 51 1/4, from 72 0.

    In force for terms that begin from 2019. One battery at 999.99 list: the quarters of 99,999 cents end in parts.
    """

    def regions(point: Point) -> dict[str, Any]:
        age = point.failed.number - point.start.number
        inside, units = z3.And(_from(point, 2019), age <= 2520), age / 30
        return {
            "pay": z3.And(inside, units < 24),
            "pay_part 3/4": z3.And(inside, units >= 24, units < 33),
            "pay_part 1/2": z3.And(inside, units >= 33, units < 51),
            "pay_part 1/4": z3.And(inside, units >= 51, units < 72),
            "pay_zero": z3.And(inside, units >= 72),
            "deny": z3.Not(inside),
        }

    def exact(point: Point, region: str) -> Any:
        del point
        share = {"pay": "1", "pay_part 3/4": "3/4", "pay_part 1/2": "1/2", "pay_part 1/4": "1/4"}.get(region, "0")
        return 99_999 * z3.RealVal(share)

    return Encoded(regions, exact)


def track() -> Encoded:
    """Clauses T2 and T3: 60 months from delivery, 72 from building, while no more than 9/10 of the lug is worn.

    The whole in the first 12 months up to a quarter of wear, after either the share that is not worn. Lugs of 46.0 mm,
    usable down to 10.0 mm; in force for terms that begin from 2022. One track for which 777.77 was paid.
    """

    def worn(point: Point) -> Any:
        share = z3.ToReal(460 - point.left) / z3.RealVal(360)
        return z3.If(share < 0, z3.RealVal(0), z3.If(share > 1, z3.RealVal(1), share))

    def regions(point: Point) -> dict[str, Any]:
        months = z3.And(
            point.failed.before(point.start.plus_months(60)), point.failed.before(point.built.plus_months(72))
        )
        inside = z3.And(_from(point, 2022), months, worn(point) <= z3.RealVal("9/10"))
        free = z3.And(point.failed.before(point.start.plus_months(12)), worn(point) <= z3.RealVal("1/4"))
        whole = z3.Or(free, worn(point) == 0)  # after the free period, a lug that is not worn is paid in full too
        return {
            "pay": z3.And(inside, whole),
            "pay_part": z3.And(inside, z3.Not(whole)),
            "deny": z3.Not(inside),
        }

    def exact(point: Point, region: str) -> Any:
        shares = {"pay": z3.RealVal(1), "pay_part": 1 - worn(point)}
        return 77_777 * shares.get(region, z3.RealVal(0))

    return Encoded(regions, exact)


def hire_machine() -> Encoded:
    """Clauses 2 to 4 and 8: 12 months or 1,000 h, the cap itself covered; labour for 6 months; 100.00 deducted.

    In force for terms that begin from 2022. Parts at 80.05 net and 10 % handling, 88.055 and so 88.06; 1.37 h of work,
    of which 1.3 at 60.00 count, 78.00. What 100.00 leaves of it is paid: 66.06 with labour, nothing without.
    """

    def regions(point: Point) -> dict[str, Any]:
        inside = z3.And(_from(point, 2022), point.failed.before(point.start.plus_months(12)), point.hours <= 100_000)
        labour = point.failed.before(point.start.plus_months(6))
        return {
            "with labour": z3.And(inside, labour),
            "without labour": z3.And(inside, z3.Not(labour)),
            "deny": z3.Not(inside),
        }

    def exact(point: Point, region: str) -> Any:
        del point
        return z3.RealVal({"with labour": 8806 + 7800, "without labour": 8806}.get(region, 0))

    return Encoded(regions, exact, deducted=10_000)


def full_then_prorated() -> Encoded:
    """36 months or 3,000 h; the whole while both 24 months and 2,000 h hold, else by hours down to nothing at 3,000 h.

    One part at 40,000.00, so that a hundredth of an hour shows in the cents. In force for terms that begin from 2015.
    """

    def regions(point: Point) -> dict[str, Any]:
        inside = z3.And(point.failed.before(point.start.plus_months(36)), point.hours <= 300_000)
        free = z3.And(point.failed.before(point.start.plus_months(24)), point.hours <= 200_000)
        whole, nothing = z3.Or(free, point.hours == 0), point.hours == 300_000
        return {
            "pay": z3.And(inside, whole),
            "pay_part": z3.And(inside, z3.Not(whole), z3.Not(nothing)),
            "pay_zero": z3.And(inside, nothing),
            "deny": z3.Not(inside),
        }

    def exact(point: Point, region: str) -> Any:
        falling = 4_000_000 * z3.ToReal(300_000 - point.hours) / z3.RealVal(300_000)
        return {"pay": z3.RealVal(4_000_000), "pay_part": falling}.get(region, z3.RealVal(0))

    return Encoded(regions, exact)
