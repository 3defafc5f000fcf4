"""What is paid of each kind of item: bases, handling, flat-rate time, allowances, caps and deductible."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from schemas.fault_at import FaultAt, raise_all
from schemas.policy.clause import Bearer, ClaimDate, Clause, Limit, Limits
from schemas.policy.prorating import Item
from schemas.quantities import (
    EACH_ONCE,
    Amount,
    DistanceUnit,
    Document,
    Hours,
    ListedWord,
    Markup,
    Share,
    said_otherwise,
)

RateDate = ClaimDate


class NotPaid(Clause):
    """Nothing is paid of these items."""

    nothing: Literal[True]
    borne_by: Bearer


class Paid(Clause):
    """What every paying rule shares."""

    share: Share | None = Field(default=None, description="A fixed paid share, such as 1/2; left out, the whole.")
    until: Limits | None = Field(default=None, description="A shorter period for these items inside the term.")
    after_borne_by: Bearer | None = Field(default=None, description="Who bears them after that period.")
    at_most: Amount | None = Field(default=None, description="Most that is allowed a line.")
    excess_borne_by: Bearer = Field(description="Who bears what is above the allowance.")

    @model_validator(mode="after")
    def _bearer_after_the_period(self) -> "Paid":
        if (self.until is None) != (self.after_borne_by is None):
            stated, lacking = ("until", "after_borne_by") if self.until is not None else ("after_borne_by", "until")
            message = f"until and after_borne_by go together, and {lacking} is not stated."
            way_out = "Say who bears the items once their period is over: `after_borne_by: owner`."
            raise FaultAt((stated,), message, way_out if self.until is not None else "Say when that period ends.")
        return self


class PartsPaid(Paid):
    """Parts (and fluids by part number), compared with the dated price list."""

    basis: Literal["dealer_net", "list_price", "price_paid"]
    price_on: RateDate
    handling: Markup = Field(description="Added to the basis, such as 15%; 0 for none.")
    handling_at_most: Amount | None = None


class LabourPaid(Paid):
    """Labour time at a rate, compared with the flat-rate table and the dealer's registered rate."""

    hours: Literal["lesser_of_actual_and_flat_rate", "flat_rate", "actual"]
    rate: Literal["registered"] | Amount = Field(
        description="The dealer's registered rate, or a fixed one per hour; a ceiling: a lower rate typed is paid."
    )
    rate_on: RateDate
    hours_in: Literal["tenths", "hundredths"] = Field(description="Actual hours count in full tenths or hundredths.")
    without_flat_rate: Literal["actual", "refer"] = Field(description="An operation that has no flat-rate time.")


class FixedSum(Paid):
    """A fixed sum a line, whatever was typed."""

    fixed: Amount


class HoursAtRate(Paid):
    """Hours (diagnosis, travel) up to a number, at the labour rate."""

    hours_at_most: Hours
    rate: Literal["registered"] | Amount
    rate_on: RateDate


class Distance(Paid):
    """Distance at a sum per unit (km or mile), up to a number of units; one claimed in the other unit is converted."""

    per_unit: Amount
    unit: DistanceUnit
    units_at_most: Hours | None = None


class AsInvoiced(Paid):
    """The amount on an outside bill, with or without the bill being needed."""

    as_invoiced: Literal["invoice_needed", "no_invoice_needed"]
    handling: Markup


class ShareOfLabour(Paid):
    """Shop supplies as a share of the allowed labour."""

    of_labour: Markup


MARKS: Mapping[type[Clause], str] = MappingProxyType(
    {
        NotPaid: "nothing",
        PartsPaid: "basis",
        LabourPaid: "hours",
        FixedSum: "fixed",
        HoursAtRate: "hours_at_most",
        Distance: "per_unit",
        AsInvoiced: "as_invoiced",
        ShareOfLabour: "of_labour",
    }
)
"""The key by which each kind of rule is known."""


def _rule_kind(value: Any) -> str:
    def get(key: str) -> Any:
        return value.get(key) if isinstance(value, dict) else getattr(value, key, None)

    return next((mark for mark in MARKS.values() if get(mark) is not None), "unrecognised")


ItemRule = Annotated[
    Annotated[NotPaid, Tag("nothing")]
    | Annotated[PartsPaid, Tag("basis")]
    | Annotated[LabourPaid, Tag("hours")]
    | Annotated[FixedSum, Tag("fixed")]
    | Annotated[HoursAtRate, Tag("hours_at_most")]
    | Annotated[Distance, Tag("per_unit")]
    | Annotated[AsInvoiced, Tag("as_invoiced")]
    | Annotated[ShareOfLabour, Tag("of_labour")],
    Discriminator(
        _rule_kind,
        custom_error_type="item_rule",
        custom_error_message="this says neither nothing: true nor how it is paid: write one of basis (parts), hours"
        " (labour), fixed, hours_at_most, per_unit, as_invoiced or of_labour",
    ),
]


class EitherOr(Clause):
    """From a point of the term on, only one of two kinds of items is paid."""

    items: tuple[Item, Item]
    after: Limit
    picks: Literal["higher", "lower"] = Field(description="Which of the two sums is paid; the choice must be stated.")
    borne_by: Bearer

    @model_validator(mode="after")
    def _two_kinds(self) -> "EitherOr":
        if self.items[0] == self.items[1]:
            message = f"either_or names {self.items[0]} twice."
            raise FaultAt(("items", 1), message, "Name the two kinds of items of which one is paid.")
        return self


class Pays(Document):
    """A rule for each kind of item; ``anything_else`` answers for the kinds not named."""

    parts: ItemRule | None = None
    labour: ItemRule | None = None
    travel: ItemRule | None = None
    freight: ItemRule | None = None
    sublet: ItemRule | None = None
    diagnosis: ItemRule | None = None
    fluids: ItemRule | None = None
    supplies: ItemRule | None = None
    anything_else: NotPaid
    either_or: EitherOr | None = None

    @model_validator(mode="after")
    def _rule_fits_item(self) -> "Pays":
        fits: dict[str, tuple[type[Clause], ...]] = {
            "parts": (NotPaid, PartsPaid, FixedSum),
            "labour": (NotPaid, LabourPaid, FixedSum),
            "travel": (NotPaid, HoursAtRate, Distance, AsInvoiced, FixedSum),
            "freight": (NotPaid, AsInvoiced, FixedSum),
            "sublet": (NotPaid, AsInvoiced, FixedSum),
            "diagnosis": (NotPaid, HoursAtRate, AsInvoiced, FixedSum),
            "fluids": (NotPaid, PartsPaid, AsInvoiced, FixedSum),
            "supplies": (NotPaid, AsInvoiced, ShareOfLabour, FixedSum),
        }
        rules = {item: getattr(self, item) for item in fits}
        raise_all(
            FaultAt(
                (item, _rule_kind(rule)),
                f"{item} cannot be paid by a rule of the kind {_rule_kind(rule)}.",
                f"For {item} write one of {', '.join(MARKS[kind] for kind in fits[item])}.",
            )
            for item, rule in rules.items()
            if rule is not None and not isinstance(rule, fits[item])
        )
        return self

    def rule_for(self, item: Item) -> Any:
        """Return the rule for this kind of item, ``anything_else`` where none is named."""
        return getattr(self, item) or self.anything_else


class Deductible(Clause):
    """A sum that is not paid of each claim, spread over the payable lines; ``borne_by`` says who bears it."""

    amount: Amount
    borne_by: Bearer


class CapAmount(Document):
    """A fixed sum."""

    amount: Amount


class CapOf(Document):
    """A price that is on file."""

    of: Literal["machine_price", "part_list_price", "part_net_price"]


class Cap(Clause):
    """The most that is paid, of one claim or of the whole life of the machine or component."""

    over: Literal["line", "claim", "machine_lifetime", "component_lifetime"]
    at: CapAmount | CapOf
    items: Annotated[tuple[Item, ...] | Literal["all"], EACH_ONCE]
    components: Annotated[
        tuple[Annotated[ListedWord, said_otherwise("write components: all, without brackets, to mean them all")], ...]
        | Literal["all"],
        EACH_ONCE,
    ] = "all"
    excess_borne_by: Bearer

    @model_validator(mode="after")
    def _part_price_caps_a_line(self) -> "Cap":
        if not isinstance(self.at, CapOf) or self.at.of == "machine_price":
            return self
        if self.over not in ("line", "component_lifetime"):
            message = f"a cap at the {self.at.of} is over a line or a component_lifetime, not over {self.over}."
            raise FaultAt(("over",), message, "Write one of these two, or another sum under at.")
        if self.over == "line" and (self.items == "all" or not set(self.items) <= {"parts", "fluids"}):
            raise FaultAt(
                ("items",),
                f"a cap at the {self.at.of} over a line names items: [parts], for other items have no part price.",
                "To cap a part with its labour, write over: component_lifetime.",
            )
        return self
