"""What every clause of a policy shares: its number and, where the maker wishes, its own words."""

from datetime import date
from decimal import Decimal
from typing import Literal

from pydantic import Field, model_validator

from schemas.fault_at import FaultAt
from schemas.quantities import Day, Document, Hours, LastDay, Share, TimeSpan

Bearer = Literal["owner", "dealer", "other_payer"]
Event = Literal[
    "built",
    "shipped",
    "dealer_invoice",
    "dispatched",
    "retail_invoice",
    "retail_delivery",
    "first_use",
    "first_rental",
    "registered",
    "installed",
    "started_up",
]
ClaimDate = Literal[
    "failed_on", "reported_on", "part_received_on", "repair_began_on", "repair_ended_on", "submitted_on"
]
Layer = Literal["base", "drive", "emission", "part", "retrofit", "campaign", "contract"]
Fitting = Literal["factory", "retrofit_kit", "replacement"]


class Clause(Document):
    """A numbered clause; ``text`` is quoted in reasons, and without it the terms in plain English are."""

    clause: str = Field(min_length=1, max_length=20, description="Number of the clause in the maker's own document.")
    text: str | None = Field(default=None, max_length=2000, description="The clause in the maker's own words.")


class DateRange(Document):
    """Calendar days, both ends inside; an end left out is open."""

    from_: Day | None = Field(default=None, alias="from")
    until: LastDay = Field(default=None, description="Left out, or 9999-12-31: it has no end.")

    @model_validator(mode="after")
    def _in_order(self) -> "DateRange":
        if self.from_ and self.until and self.from_ > self.until:
            message = f"the range ends on {self.until}, before it begins on {self.from_}."
            raise FaultAt(("until",), message, "Swap the two dates.")
        return self

    def holds(self, day: date) -> bool:
        return (self.from_ is None or self.from_ <= day) and (self.until is None or day <= self.until)


class Limit(Document):
    """One limit of a period: exactly one of months, days, machine_hours, component_hours or wear."""

    months: int | None = Field(default=None, ge=1, le=1200)
    days: int | None = Field(
        default=None, ge=1, le=36500, description="The start day is not counted, the last day is covered."
    )
    machine_hours: Hours | None = None
    component_hours: Hours | None = Field(default=None, description="Hours since this component was fitted.")
    wear: Share | None = Field(default=None, description="Worn share of the usable measure.")
    from_: Event | None = Field(
        default=None, alias="from", description="Counted from this event instead of the start of term."
    )

    @model_validator(mode="after")
    def _exactly_one(self) -> "Limit":
        units = ("months", "days", "machine_hours", "component_hours", "wear")
        given = [unit for unit in units if getattr(self, unit) is not None]
        if len(given) != 1:
            message = f"a limit states exactly one of {', '.join(units)}; this one states {', '.join(given) or 'none'}."
            way_out = "Write each limit by itself: `first_of: [{months: 36}, {machine_hours: 2000}]`."
            raise FaultAt((), message, way_out if given else "Write one of them, such as `months: 36`.")
        if self.from_ is not None and given[0] not in ("months", "days"):
            message = f"only months and days can be counted from another event, not {given[0]}."
            raise FaultAt(("from",), message, "Take from off, or state the limit in months or days.")
        return self

    @property
    def hours(self) -> Decimal | None:
        """The hours it caps, of the machine or of the component; None for a limit of time or wear."""
        return self.machine_hours if self.machine_hours is not None else self.component_hours


class Limits(Document):
    """One or more limits: the period ends at the first of them, or only at the last."""

    first_of: tuple[Limit, ...] | None = Field(default=None, min_length=1)
    last_of: tuple[Limit, ...] | None = Field(default=None, min_length=1)

    @model_validator(mode="after")
    def _one_reading(self) -> "Limits":
        if (self.first_of is None) == (self.last_of is None):
            told = "neither first_of nor last_of" if self.first_of is None else "both first_of and last_of"
            way_out = "Write either first_of (whichever comes first) or last_of (whichever comes last)."
            raise FaultAt((), f"this states {told}.", way_out)
        return self

    @property
    def all(self) -> tuple[Limit, ...]:
        return self.first_of or self.last_of or ()


class StartAfter(Document):
    """An event plus a span, such as six months after the dealer's invoice."""

    event: Event
    plus: TimeSpan


class DemoHours(Document):
    """The day on which the machine, still the dealer's, reached this many hours in demonstrations."""

    demo_reaches: Hours
