"""The numbers in the terms of a clause, each with its unit: what the clause's own words are held against."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any, NamedTuple

from rules.policy_book.values import amount_words, hours_words, number_words, share_words
from schemas.policy.clause import DemoHours, Limit, StartAfter
from schemas.policy.pays import (
    AsInvoiced,
    CapAmount,
    Deductible,
    Distance,
    FixedSum,
    HoursAtRate,
    LabourPaid,
    Paid,
    PartsPaid,
    ShareOfLabour,
)
from schemas.policy.prorating import Axis, Decline, PricePoint, SharePoint, WorkedExample
from schemas.policy.services import CalendarLimb, Due, FluidList, LowerShare, OneOffPoint, Tolerances, Window
from schemas.policy.term import LaterFitting, Starts
from schemas.quantities import Document, Span, Tolerance

KINDS = MappingProxyType({"months": "time", "days": "time", "hours": "hours", "share": "share", "km": "distance",
                          "mile": "distance", "litres": "litres"})  # fmt: skip

# Each number of a clause by its place. Four units depend on what stands round it: measure (the axis), limb (hours or
# calendar), money (the policy's currency), distance (km or mile). A span states its own unit. The measure at which a
# part is used up is no unit of a reader's: it is not looked for in the words.
UNITS: Mapping[tuple[type, str], str] = MappingProxyType(
    {
        (Limit, "months"): "months",
        (Limit, "days"): "days",
        (Limit, "machine_hours"): "hours",
        (Limit, "component_hours"): "hours",
        (Limit, "wear"): "share",
        (StartAfter, "plus"): "span",
        (DemoHours, "demo_reaches"): "hours",
        (LaterFitting, "span"): "span",
        (OneOffPoint, "at"): "hours",
        (OneOffPoint, "early"): "hours",
        (OneOffPoint, "late"): "hours",
        (OneOffPoint, "from_hours"): "hours",
        (OneOffPoint, "until_hours"): "hours",
        (Due, "then_every"): "hours",
        (CalendarLimb, "every"): "span",
        (Tolerances, "early"): "limb",
        (Tolerances, "late"): "limb",
        (Tolerances, "at_most"): "limb",
        (FluidList, "grace"): "span",
        (FluidList, "at_least_litres"): "litres",
        (LowerShare, "share"): "share",
        (SharePoint, "at"): "measure",
        (SharePoint, "value"): "share",
        (PricePoint, "at"): "measure",
        (PricePoint, "value"): "money",
        (Decline, "zero_at"): "measure",
        (Decline, "free_until"): "measure",
        (WorkedExample, "at"): "measure",
        (WorkedExample, "share"): "share",
        (Paid, "share"): "share",
        (Paid, "at_most"): "money",
        (PartsPaid, "handling"): "markup",
        (PartsPaid, "handling_at_most"): "money",
        (LabourPaid, "rate"): "money",
        (FixedSum, "fixed"): "money",
        (HoursAtRate, "hours_at_most"): "hours",
        (HoursAtRate, "rate"): "money",
        (Distance, "per_unit"): "money",
        (Distance, "units_at_most"): "distance",
        (AsInvoiced, "handling"): "markup",
        (ShareOfLabour, "of_labour"): "markup",
        (Deductible, "amount"): "money",
        (CapAmount, "amount"): "money",
    }
)
# Numbers that words often leave out beside the clause's main ones; those of a start that counts otherwise are so, too.
MINOR = (
    (Tolerances, "early"),
    (Tolerances, "late"),
    (Tolerances, "at_most"),
    (OneOffPoint, "early"),
    (OneOffPoint, "late"),
    (DemoHours, "demo_reaches"),
    (FluidList, "grace"),
)
INTERVALS = ((Due, "then_every"), (CalendarLimb, "every"))
MEASURED_IN = MappingProxyType({"complete_months": "months", "begun_months": "months", "machine_hours": "hours",
                                "component_hours": "hours", "wear": "share"})  # fmt: skip


class Quantity(NamedTuple):
    """A number and its unit: months, days, hours, share, km, mile, litres or a currency ("" where words name none)."""

    unit: str
    value: Fraction

    @property
    def kind(self) -> str:
        return KINDS.get(self.unit, "money")

    def __str__(self) -> str:
        number = number_words(self.value)
        match self.unit:
            case "hours":
                return hours_words(self.value)
            case "share":
                return share_words(self.value)
            case "months" | "days" | "litres" | "mile":
                one = self.unit.removesuffix("s")
                return f"{number} {one}{'' if self.value == 1 else 's'}"
            case "km":
                return f"{number} km"
            case currency:
                exact = Decimal(self.value.numerator) / self.value.denominator
                return amount_words(exact, currency)


@dataclass(frozen=True, slots=True)
class Stated:
    """A number of the terms; ``asked`` where a reader would look for it in the words, unlike the whole and nothing."""

    quantity: Quantity
    interval: bool = False  # how often a service falls due
    tolerance: bool = False
    asked: bool = True
    minor: bool = False  # often left out
    of_a_whole: bool = False  # the words may name the rest of the whole instead


@dataclass(frozen=True, slots=True)
class _Around:
    currency: str
    measure: str | None = None
    limb: str | None = None
    example: bool = False
    otherwise: bool = False


def numbers_of(clause: Document, currency: str) -> tuple[Stated, ...]:
    """Return the numbers of a clause's terms in the order of the document."""
    return tuple(_numbers(clause, _Around(currency)))


def _numbers(model: Document, around: _Around) -> Iterator[Stated]:
    if isinstance(model, Axis | WorkedExample):
        around = replace(around, measure=MEASURED_IN.get(model.by), example=isinstance(model, WorkedExample))
    for name in type(model).model_fields:
        inside = around
        if isinstance(model, Window):
            inside = replace(around, limb="hours" if name == "hours" else "days")
        elif isinstance(model, Starts):
            inside = replace(around, otherwise=name == "otherwise")
        value = getattr(model, name)
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, Document):
                yield from _numbers(one, inside)
            elif (place := place_of(type(model), name)) is not None and not isinstance(one, str) and one is not None:
                yield from _stated(model, place, one, inside)


def place_of(model: type, name: str) -> tuple[type, str] | None:
    """Return the place of UNITS that tells the unit of a field, None for a field that is no number."""
    return next(((kind, name) for kind in model.__mro__ if (kind, name) in UNITS), None)


def _stated(model: Document, place: tuple[type, str], value: Any, around: _Around) -> Iterator[Stated]:
    quantity = _quantity(model, UNITS[place], value, around)
    if quantity is None:
        return
    share = quantity.unit == "share"
    told = quantity.value != 0 and not (share and quantity.value == 1)  # as the whole, or as nothing
    yield Stated(
        quantity,
        interval=place in INTERVALS,
        tolerance=place[1] in ("early", "late"),
        asked=told and not around.example,
        minor=place in MINOR or around.otherwise,
        of_a_whole=share and UNITS[place] != "markup" and not isinstance(value, Tolerance),
    )


def _quantity(model: Document, unit: str, value: Any, around: _Around) -> Quantity | None:
    if isinstance(value, Span):
        return Quantity("months", Fraction(value.months)) if value.months else Quantity("days", Fraction(value.days))
    if isinstance(value, Tolerance) and value.share is not None:
        return Quantity("share", value.share)
    exact = Fraction(value.amount if isinstance(value, Tolerance) and value.amount is not None else value)
    match unit:
        case "measure":
            return None if around.measure is None else Quantity(around.measure, exact)
        case "limb":
            assert around.limb is not None, "a tolerance of a window stands under its hours or its calendar"
            return Quantity(around.limb, exact)
        case "money":
            return Quantity(around.currency, exact)
        case "distance":
            assert isinstance(model, Distance), "only a distance counts units of distance"
            return Quantity(model.unit, exact)
        case "markup":
            return Quantity("share", exact)
        case _:
            return Quantity(unit, exact)
