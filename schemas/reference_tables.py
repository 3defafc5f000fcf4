"""Dated reference tables: what a part costs, how long work takes, what an hour or a currency is worth.

A row holds from its own date until the next row with the same key; nothing is interpolated.
"""

from collections import Counter
from collections.abc import Hashable, Iterable
from datetime import date
from typing import Annotated, Literal

from pydantic import Field, model_validator

from schemas.quantities import (
    AS_SET,
    Amount,
    Currency,
    Day,
    Document,
    Hours,
    LastDay,
    Name,
    Rate,
    RecordId,
    Word,
    in_order_of,
)


class Row(Document):
    from_: Day = Field(alias="from", description="First day on which the row holds.")


class PriceRow(Row):
    """What one unit of a part costs, or which part number took its place."""

    part: RecordId
    net: Amount | None = Field(default=None, description="Dealer net of one unit; left out only for a superseded part.")
    list_price: Amount | None = None
    superseded_by: RecordId | None = Field(
        default=None, description="From this day the part is sold under this number, at that number's price."
    )

    @model_validator(mode="after")
    def _priced_or_superseded(self) -> "PriceRow":
        if (self.net is None) == (self.superseded_by is None):
            raise ValueError(
                f"part {self.part} from {self.from_}: state either net, its price, or superseded_by, its new number"
            )
        if self.superseded_by is not None and self.list_price is not None:
            number = self.superseded_by
            raise ValueError(f"part {self.part} from {self.from_}: state the list price in the row of {number} instead")
        if self.superseded_by == self.part:
            raise ValueError(f"part {self.part} from {self.from_}: a part cannot supersede itself")
        return self


class FlatTimeRow(Row):
    """Hours an operation may take; with several ``operations``, the hours of all of them done in one visit."""

    operations: Annotated[tuple[RecordId, ...], Field(min_length=1), AS_SET]
    hours: Hours

    @model_validator(mode="after")
    def _each_operation_once(self) -> "FlatTimeRow":
        if len(set(self.operations)) != len(self.operations):
            raise ValueError(f"operations {', '.join(self.operations)}: name each operation once")
        return self


class LabourRateRow(Row):
    dealer: RecordId
    rate: Amount = Field(description="Per hour, in the table's currency.")


class ExchangeRateRow(Row):
    one: Currency
    is_worth: Rate = Field(gt=0, description="Units of the other currency for one unit, as published.")
    in_: Currency = Field(alias="in")


class FluidRow(Row):
    fluid: Word
    on_list: Word
    until: LastDay = Field(
        default=None, description="Last day on the list; null, or 9999-12-31, while it stands there."
    )


class PartComponentRow(Row):
    part: RecordId
    component: Word


class Table(Document):
    table: Name
    version: int = Field(ge=1)


def _each_key_once_a_day(table: str, rows: Iterable[tuple[Hashable, date]]) -> None:
    twice = sorted(f"{key} from {day}" for (key, day), count in Counter(rows).items() if count > 1)
    if twice:
        raise ValueError(f"{table} has two rows for {twice[0]}; keep the one that holds")


class PriceTable(Table):
    kind: Literal["prices"]
    currency: Currency
    rows: Annotated[tuple[PriceRow, ...], in_order_of("part", "from_")]

    @model_validator(mode="after")
    def _one_row_a_day(self) -> "PriceTable":
        _each_key_once_a_day(self.table, ((row.part, row.from_) for row in self.rows))
        return self


class FlatTimeTable(Table):
    kind: Literal["flat_times"]
    rows: Annotated[tuple[FlatTimeRow, ...], in_order_of("operations", "from_")]

    @model_validator(mode="after")
    def _one_row_a_day(self) -> "FlatTimeTable":
        _each_key_once_a_day(self.table, ((" and ".join(sorted(row.operations)), row.from_) for row in self.rows))
        return self


class LabourRateTable(Table):
    kind: Literal["labour_rates"]
    currency: Currency
    rows: Annotated[tuple[LabourRateRow, ...], in_order_of("dealer", "from_")]

    @model_validator(mode="after")
    def _one_row_a_day(self) -> "LabourRateTable":
        _each_key_once_a_day(self.table, ((row.dealer, row.from_) for row in self.rows))
        return self


class ExchangeRateTable(Table):
    kind: Literal["exchange_rates"]
    rows: Annotated[tuple[ExchangeRateRow, ...], in_order_of("one", "in_", "from_")]

    @model_validator(mode="after")
    def _one_row_a_day(self) -> "ExchangeRateTable":
        _each_key_once_a_day(self.table, ((f"{row.one} in {row.in_}", row.from_) for row in self.rows))
        return self


class FluidTable(Table):
    kind: Literal["fluids"]
    rows: Annotated[tuple[FluidRow, ...], in_order_of("fluid", "on_list", "from_", "until")]


class PartComponentTable(Table):
    kind: Literal["part_components"]
    rows: Annotated[tuple[PartComponentRow, ...], in_order_of("part", "from_")]

    @model_validator(mode="after")
    def _one_row_a_day(self) -> "PartComponentTable":
        _each_key_once_a_day(self.table, ((row.part, row.from_) for row in self.rows))
        return self


ReferenceTable = Annotated[
    PriceTable | FlatTimeTable | LabourRateTable | ExchangeRateTable | FluidTable | PartComponentTable,
    Field(discriminator="kind"),
]
