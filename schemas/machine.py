"""A machine and what is on file about it: events, owners, readings, meters, components, storage, alterations."""

from collections.abc import Sequence
from datetime import date
from typing import Annotated, Literal

from pydantic import Field, model_validator

from schemas.policy.clause import Event, Fitting
from schemas.quantities import AS_SET, Amount, Currency, Day, Document, Hours, LastDay, RecordId, Word, in_order_of

ReadingSource = Literal["dealer", "owner", "telematics", "fuel_log", "inspection"]
Position = Literal["left", "right", "front", "rear", "none"]
BY_ID = in_order_of("id")


def _ends_after_it_began(what: str, since: date, until: date | None) -> None:
    """Refuse a period whose days contradict one another within one record: taken as it stands it would be none."""
    if until is not None and until < since:
        raise ValueError(f"{what}: until {until}, before it begins on {since}; swap the two days, or correct one")


class Reading(Document):
    """What the meter showed on a day (h); the meter fitted on that day."""

    id: RecordId
    on: Day
    hours: Hours
    source: ReadingSource = "dealer"


class MeterChange(Document):
    """A meter replaced or preset: the old one's last reading (left out: nobody noted it), the new one's first."""

    id: RecordId
    on: Day
    kind: Literal["replaced", "preset"] = "replaced"
    old_reading: Hours | None = None
    new_reading: Hours = Field(description="What the new meter showed when fitted, mostly 0.")


class Owner(Document):
    """An owner by order and since when; who it is lives elsewhere, so that it can be erased."""

    order: int = Field(ge=1)
    since: Day
    until: LastDay = Field(default=None, description="Left out, or 9999-12-31: still the owner.")

    @model_validator(mode="after")
    def _in_order(self) -> "Owner":
        _ends_after_it_began(f"owner {self.order}", self.since, self.until)
        return self


class FittedComponent(Document):
    """A component on the machine, with its serial and how it came there."""

    id: RecordId
    component: Word
    position: Position = "none"
    serial: RecordId | None = None
    fitted_on: Day | None = Field(default=None, description="Null: fitted when the machine was built.")
    fitted_at: Hours | None = Field(default=None, description="Machine hours at fitting.")
    fitted_as: Fitting = "factory"
    removed_on: LastDay = Field(default=None, description="Left out, or 9999-12-31: still fitted.")
    kit_parts: Annotated[tuple[Word, ...], AS_SET] = Field(
        default=(),
        description="The parts a kit brought, where it was added to ``component``; left out, it is the component.",
    )

    @model_validator(mode="after")
    def _in_order(self) -> "FittedComponent":
        if self.fitted_on and self.removed_on and self.removed_on < self.fitted_on:
            raise ValueError(
                f"{self.id}: removed on {self.removed_on}, before it was fitted on {self.fitted_on}; correct the day"
                " that is wrong, or leave removed_on out if it is still fitted"
            )
        return self


class Storage(Document):
    """A recorded storage period."""

    id: RecordId
    since: Day
    until: Day

    @model_validator(mode="after")
    def _in_order(self) -> "Storage":
        _ends_after_it_began(self.id, self.since, self.until)
        return self


class Alteration(Document):
    """An altered part or one of another make found on the machine."""

    id: RecordId
    component: Word
    position: Position = Field(
        default="none", description="Side of the altered part, where it has one and it is known."
    )
    kind: Literal["altered", "other_make"]
    found_on: Day
    caused_failure: bool | None = Field(default=None, description="Null while nobody has judged it.")


class DemoEntry(Document):
    """Meter reading during demonstrations before the sale."""

    on: Day
    hours: Hours


class Booking(Document):
    """A service booking asked for at a dealer, kept or refused for lack of a slot."""

    id: RecordId
    asked_on: Day
    asked_at: Hours | None
    tasks: Annotated[tuple[Word, ...], Field(min_length=1), AS_SET]
    earliest_slot_on: Day
    proven: bool


def first_twice(ids: Sequence[str]) -> str | None:
    """Return the first id that stands twice, None where each stands once."""
    seen: set[str] = set()
    for record in ids:
        if record in seen:
            return record
        seen.add(record)
    return None


class Machine(Document):
    """One machine by serial."""

    serial: RecordId
    model: str
    built_on: Day
    events: dict[Event, Day] = Field(default_factory=dict)
    use: Word | None = Field(
        default=None, description="Use class at sale, such as residential, commercial or rental; left out: not known."
    )
    region: str | None = None
    price: Amount | None = None
    currency: Currency | None = None
    has_meter: bool = True
    selling_dealer: RecordId | None = None
    owners: Annotated[tuple[Owner, ...], in_order_of("order", "since", "until")] = ()
    readings: Annotated[tuple[Reading, ...], BY_ID] = ()
    meter_changes: Annotated[tuple[MeterChange, ...], BY_ID] = ()
    components: Annotated[tuple[FittedComponent, ...], BY_ID] = ()
    storage: Annotated[tuple[Storage, ...], BY_ID] = ()
    alterations: Annotated[tuple[Alteration, ...], BY_ID] = ()
    demonstrations: Annotated[tuple[DemoEntry, ...], in_order_of("on", "hours")] = ()
    bookings: Annotated[tuple[Booking, ...], BY_ID] = ()
    records_complete_from: Day | None = Field(
        default=None, description="From this day a service that is not on file was not done; null: unknown."
    )

    @model_validator(mode="after")
    def _built_once(self) -> "Machine":
        if "built" in self.events:
            raise ValueError("the build date stands in built_on, not among the events")
        return self

    @model_validator(mode="after")
    def _use_that_says_something(self) -> "Machine":
        if self.use == "unknown":  # taken for a class of its own, it would be one that no coverage reaches
            raise ValueError("the use is not a class that a machine is sold in; leave it out where it is not known")
        return self

    @model_validator(mode="after")
    def _every_record_once(self) -> "Machine":
        for field in ("readings", "meter_changes", "components", "storage", "alterations", "bookings"):
            twice = first_twice([record.id for record in getattr(self, field)])
            if twice is not None:
                raise ValueError(f"{field}: {twice} stands twice; give every record an id of its own")
        return self
