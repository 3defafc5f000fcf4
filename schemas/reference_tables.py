"""Dated reference tables: what a part costs, how long work takes, what an hour or a currency is worth.

A row holds from its own date until the next row with the same key; nothing is interpolated.
"""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from schemas.quantities import Amount, Currency, Document, Hours, Name, Number, RecordId, Word


class Row(Document):
    from_: date = Field(alias="from", description="First day on which the row holds.")


class PriceRow(Row):
    part: RecordId
    net: Amount
    list_price: Amount | None = None


class FlatTimeRow(Row):
    """Hours an operation may take; ``together`` replaces the sum when all of ``operations`` are in one visit."""

    operations: tuple[RecordId, ...] = Field(min_length=1)
    hours: Hours


class LabourRateRow(Row):
    dealer: RecordId
    rate: Amount = Field(description="Per hour, in the table's currency.")


class ExchangeRateRow(Row):
    one: Currency
    is_worth: Number = Field(description="Units of the other currency for one unit, as published.")
    in_: Currency = Field(alias="in")


class FluidRow(Row):
    fluid: Word
    on_list: Word
    until: date | None = Field(default=None, description="Last day on the list; null while it stands there.")


class PartComponentRow(Row):
    part: RecordId
    component: Word


class Table(Document):
    table: Name
    version: int = Field(ge=1)


class PriceTable(Table):
    kind: Literal["prices"]
    currency: Currency
    rows: tuple[PriceRow, ...]


class FlatTimeTable(Table):
    kind: Literal["flat_times"]
    rows: tuple[FlatTimeRow, ...]


class LabourRateTable(Table):
    kind: Literal["labour_rates"]
    currency: Currency
    rows: tuple[LabourRateRow, ...]


class ExchangeRateTable(Table):
    kind: Literal["exchange_rates"]
    rows: tuple[ExchangeRateRow, ...]


class FluidTable(Table):
    kind: Literal["fluids"]
    rows: tuple[FluidRow, ...]


class PartComponentTable(Table):
    kind: Literal["part_components"]
    rows: tuple[PartComponentRow, ...]


ReferenceTable = Annotated[
    PriceTable | FlatTimeTable | LabourRateTable | ExchangeRateTable | FluidTable | PartComponentTable,
    Field(discriminator="kind"),
]
