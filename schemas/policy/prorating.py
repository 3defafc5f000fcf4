"""How the paid share falls with age, hours or wear, and what it is a share of."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from schemas.fault_at import FaultAt, raise_all
from schemas.policy.clause import Bearer, Clause, Limits
from schemas.quantities import Amount, Document, Number, Share

Measure = Literal[
    "complete_months",
    "begun_months",
    "complete_30_day_units",
    "begun_30_day_units",
    "machine_hours",
    "component_hours",
    "wear",
]
Item = Literal["parts", "labour", "travel", "freight", "sublet", "diagnosis", "fluids", "supplies"]


def _pair(value: Any) -> Any:
    if isinstance(value, list | tuple) and len(value) == 2:
        return {"at": value[0], "value": value[1]}
    return value


class SharePoint(Document):
    """From this measure on (months, hours, or worn share), this paid share; written [24, 1/2]."""

    at: Number
    value: Share


class PricePoint(Document):
    """From this measure on, the fixed price the owner pays; written [36, "120.00"]."""

    at: Number
    value: Amount


SharePair = Annotated[SharePoint, BeforeValidator(_pair)]
PricePair = Annotated[PricePoint, BeforeValidator(_pair)]


def _rising_from_zero(key: str, points: tuple[SharePoint, ...] | tuple[PricePoint, ...]) -> None:
    at = [point.at for point in points]
    if at != sorted(set(at)):
        place = next(i for i, (one, other) in enumerate(pairwise(at), 1) if other <= one)
        message = "the points stand in rising order, each once."
        raise FaultAt((key, place), message, f"Put the point at {at[place]} in its place, or correct it.")
    if at[0] != 0:
        raise FaultAt((key, 0), f"nothing is said below {at[0]}.", "Begin with a point at 0.")


class Steps(Document):
    """Each share holds from its measure on, until the next one."""

    steps: tuple[SharePair, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _complete(self) -> "Steps":
        _rising_from_zero("steps", self.steps)
        return self


class Points(Document):
    """Straight lines between the points; the last share holds beyond the last point."""

    points: tuple[SharePair, ...] = Field(min_length=2)
    between: Literal["linear"]

    @model_validator(mode="after")
    def _complete(self) -> "Points":
        _rising_from_zero("points", self.points)
        return self


class Decline(Document):
    """A straight decline to nothing at ``zero_at``.

    whole_term counts the free period as used ((zero_at - x) / zero_at); tail_only starts from the whole where the free
    period ends ((zero_at - x) / (zero_at - free_until)).
    """

    zero_at: Number
    credit: Literal["whole_term", "tail_only"]
    free_until: Number = Field(description="The whole is paid below this measure; 0 for no free period.")

    @model_validator(mode="after")
    def _in_order(self) -> "Decline":
        if not 0 <= self.free_until < self.zero_at:
            message = f"free_until {self.free_until} does not lie below zero_at {self.zero_at}."
            raise FaultAt(("free_until",), message, "Correct one of the two; 0 says that there is no free period.")
        return self


class OwnerPrices(Document):
    """The owner pays a fixed price for each piece, by steps of the measure, and the maker the rest."""

    owner_prices: tuple[PricePair, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _complete(self) -> "OwnerPrices":
        _rising_from_zero("owner_prices", self.owner_prices)
        return self


Curve = Steps | Points | Decline | OwnerPrices


class Axis(Document):
    """One measure and the share (or owner's price) it gives."""

    by: Measure
    share: Curve


class WorkedExample(Document):
    """An example printed in the maker's document; the loader says when the rule contradicts it."""

    by: Measure
    at: Number
    share: Share


class Prorating(Clause):
    """The paid share of the allowed amount."""

    axes: tuple[Axis, ...] = Field(min_length=1)
    combine: Literal["worse_of", "better_of", "product_of"] | None = Field(
        default=None, description="How several axes make one share; required with more than one."
    )
    free_while: Limits | None = Field(
        default=None, description="The whole is paid while all these limits hold (first_of) or any (last_of)."
    )
    items: tuple[Item, ...] = Field(min_length=1, description="Kinds of items that are prorated.")
    wear_floor: Number | None = Field(
        default=None, ge=0, description="Measure at which the part is used up, in the claim's own unit."
    )
    owner_pays_on: Literal["allowed_amount", "list_price"] = Field(
        description="What the owner's part is a share of: the allowed amount, or the list price (the dealer keeps the"
        " margin)."
    )
    borne_by: Bearer
    examples: tuple[WorkedExample, ...] = ()

    @model_validator(mode="after")
    def _axes_fit_together(self) -> "Prorating":
        raise_all(self._faults_of_axes())
        return self

    def _faults_of_axes(self) -> Iterator[FaultAt]:
        if (len(self.axes) > 1) != (self.combine is not None):
            message = "combine (worse_of, better_of or product_of) goes with more than one axis, and only with it."
            way_out = "Say how the axes make one share: `combine: worse_of`, better_of or product_of."
            if self.combine is None:
                yield FaultAt(("axes",), message, way_out)
            else:
                yield FaultAt(("combine",), message, "Take combine off, or add the other axis.")
        for place, axis in enumerate(self.axes):
            if isinstance(axis.share, OwnerPrices) and len(self.axes) > 1:
                message = "owner_prices stand alone: a fixed price cannot be combined with a share."
                yield FaultAt(("axes", place, "share"), message, "Keep this axis alone, or state a share here.")
            if axis.by == "wear" and self.wear_floor is None:
                message = "an axis by wear needs wear_floor, the measure at which the part is used up."
                yield FaultAt(("axes", place, "by"), message, "Add it beside the axes, for example `wear_floor: 2`.")

    @model_validator(mode="after")
    def _owner_is_billed_on_list(self) -> "Prorating":
        raise_all(self._faults_of_billing())
        return self

    def _faults_of_billing(self) -> Iterator[FaultAt]:
        if self.owner_pays_on == "list_price" and self.borne_by != "owner":
            message = f"owner_pays_on: list_price bills the owner, but borne_by says {self.borne_by}."
            yield FaultAt(("owner_pays_on",), message, "Write allowed_amount, or borne_by: owner.")
        if self.owner_pays_on == "list_price" and not set(self.items) <= {"parts", "fluids"}:
            message = "owner_pays_on: list_price goes with items: [parts], for other items have no list price."
            yield FaultAt(("owner_pays_on",), message, "Prorate the others on allowed_amount.")
        priced = any(isinstance(axis.share, OwnerPrices) for axis in self.axes)
        if priced and self.borne_by != "owner":
            message = f"owner_prices are what the owner pays, but borne_by says {self.borne_by}."
            yield FaultAt(("borne_by",), message, "Write borne_by: owner, or state the paid share in steps.")
        if priced and self.items != ("parts",):
            message = "owner_prices are the price of one part: they go with items: [parts]."
            yield FaultAt(("items",), message, "Write items: [parts], or state a share instead of prices.")
