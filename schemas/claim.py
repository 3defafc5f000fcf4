"""A dealer's claim: what failed, when, and what the repair cost, line by line as the dealer typed it."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from schemas.machine import Position
from schemas.policy.prorating import Item
from schemas.quantities import Amount, Currency, Day, DistanceUnit, Document, Hours, Number, RecordId, Word, in_order_of


class Wear(Document):
    """Wear measured on the failed part, in the unit of the policy's floor (tread depth, thickness)."""

    new: Number = Field(ge=0)
    left: Number = Field(ge=0)


_OF_WORK = ("labour", "travel", "diagnosis")  # the kinds of items that are paid by the time they took


class ClaimLine(Document):
    """One line of the claim; what it may carry depends on the kind of item."""

    line: RecordId
    item: Item
    component: Word | None = Field(default=None, description="Left out, found by the part number.")
    position: Position = "none"
    caused_by: RecordId | None = Field(default=None, description="The line whose failure ruined this item.")
    part_number: RecordId | None = None
    quantity: Number = Field(default=Number(1), gt=0)
    net: Amount | None = Field(default=None, description="Dealer net of one unit, as typed.")
    list_price: Amount | None = Field(default=None, description="List price of one unit, as typed.")
    price_paid: Amount | None = Field(default=None, description="What the owner paid for the failed unit.")
    operation: RecordId | None = None
    hours: Hours | None = Field(default=None, description="Actual hours.")
    rate: Amount | None = Field(default=None, description="Rate per hour as typed; left out, the registered one.")
    units: Number | None = Field(default=None, ge=0, description="Distance, in the unit that is stated beside it.")
    unit: DistanceUnit | None = Field(default=None, description="Unit of the distance: km or mile.")
    amount: Amount | None = Field(default=None, description="Amount of an outside bill or a typed sum.")
    invoice: RecordId | None = None
    removed_serial: RecordId | None = None
    wear: Wear | None = None
    text: str | None = None

    @model_validator(mode="after")
    def _says_what_it_claims(self) -> "ClaimLine":
        if self.item == "parts" and self.net is None:
            raise ValueError(f"line {self.line}: a parts line states net, the dealer's net price of one unit")
        if self.item == "labour" and self.hours is None:
            raise ValueError(f"line {self.line}: a labour line states hours, the time the work took")
        if self.item == "fluids" and self.net is None and self.amount is None:
            raise ValueError(f"line {self.line}: a fluids line states net (with quantity) or amount")
        if self.item in ("freight", "sublet", "supplies") and self.amount is None:
            raise ValueError(f"line {self.line}: a {self.item} line states amount")
        self._measures_what_its_kind_is_paid_by()
        if (self.units is None) != (self.unit is None):
            given, missing = ("unit", "units") if self.units is None else ("units", "unit: km or unit: mile")
            raise ValueError(f"line {self.line}: {given} states half of a distance; write {missing} beside it")
        if self.item in ("travel", "diagnosis") and self.amount is None and self.hours is None and self.units is None:
            raise ValueError(f"line {self.line}: a {self.item} line states hours, units or amount")
        return self

    def _measures_what_its_kind_is_paid_by(self) -> None:
        """Refuse time and distance on a line whose kind is not paid by them: they would be passed over unseen."""
        if self.item in _OF_WORK:
            return
        other = {"hours": "labour", "rate": "labour", "units": "travel"}
        stray = next((key for key in other if getattr(self, key) is not None), None)
        if stray is not None:
            raise ValueError(
                f"line {self.line}: {stray} would count for nothing on a {self.item} line; write it on a {other[stray]}"
                " line, or tell it in text"
            )


class Symptom(Document):
    """When the trouble was first noted, if before the failure."""

    on: Day
    reading: Hours | None = None


class EarlierQuestion(Document):
    """A question put to the dealer before, and whether it was answered."""

    about: Literal[
        "services",
        "reading",
        "cause",
        "wear",
        "start",
        "dates",
        "evidence",
        "price",
        "inspection",
        "position",
        "component",
        "operation",
        "use",
        "region",
        "owner",
    ]
    asked_on: Day
    answered: bool = False


class Claim(Document):
    """One repair of one machine."""

    claim: RecordId
    serial: RecordId
    dealer: RecordId
    currency: Currency
    failed_on: Day
    reading: Hours | None = Field(default=None, description="Meter reading at the failure (h).")
    reported_on: Day | None = None
    part_received_on: Day | None = None
    repair_began_on: Day | None = None
    repair_reading: Hours | None = Field(default=None, description="Meter reading when the repair began (h).")
    repair_ended_on: Day | None = None
    submitted_on: Day | None = None
    complaint: str | None = None
    cause: Word | None = Field(default=None, description="Cause of the failure by code; null when not stated.")
    correction: str | None = None
    component: Word | None = Field(default=None, description="The component that failed first.")
    position: Position = "none"
    symptom: Symptom | None = None
    services_declared_complete: bool = Field(
        default=False, description="The dealer declares that the services on file are all there were."
    )
    questions: Annotated[tuple[EarlierQuestion, ...], in_order_of("about", "asked_on", "answered")] = ()
    lines: Annotated[tuple[ClaimLine, ...], Field(min_length=1), in_order_of("line")]

    @model_validator(mode="after")
    def _lines_fit_together(self) -> "Claim":
        ids = [line.line for line in self.lines]
        twice = sorted({line for line in ids if ids.count(line) > 1})
        if twice:
            raise ValueError(f"line {', '.join(twice)} stands twice; give every line an id of its own")
        for line in self.lines:
            if line.caused_by is not None and (line.caused_by not in ids or line.caused_by == line.line):
                raise ValueError(
                    f"line {line.line} is caused_by {line.caused_by}, which is no other line of this claim"
                )
        return self
