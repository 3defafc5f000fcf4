"""Where the term of a coverage starts and ends, and whose parts carry a term of their own."""

from datetime import date
from typing import Literal

from pydantic import Field, model_validator

from schemas.policy.clause import Clause, DateRange, DemoHours, Event, Fitting, Limits, StartAfter
from schemas.quantities import Document, RecordId, TimeSpan, Word

StartPoint = Event | StartAfter | DemoHours


class SerialRange(Document):
    """Serial numbers from one to another, both inside, compared by prefix and number."""

    from_: RecordId = Field(alias="from")
    until: RecordId


class AppliesTo(Document):
    """Which machines, owners and components the policy is about; a condition left out is not asked for."""

    clause: str = Field(min_length=1, max_length=20)
    models: tuple[str, ...] = Field(min_length=1, description="Model codes; a trailing * stands for any ending.")
    serials: tuple[SerialRange, ...] = ()
    built: DateRange | None = None
    use: tuple[Word, ...] | None = Field(default=None, description="Use classes, such as residential or commercial.")
    regions: tuple[str, ...] | None = Field(
        default=None, description="Regions, such as DE or US-CA; DE also holds DE-BY."
    )
    owner: Literal["first", "any"]
    components: tuple[Word, ...] | Literal["whole_machine"]
    except_components: tuple[Word, ...] = Field(default=(), description="Components left to another maker or policy.")
    fitted: tuple[Fitting, ...] = Field(min_length=1, description="How the component came onto the machine.")


class Starts(Document):
    """The start of term: the earliest known of some events, else the first known of the fallbacks."""

    earliest_of: tuple[StartPoint, ...] = Field(min_length=1)
    otherwise: tuple[StartPoint, ...] = ()


class LaterFitting(Document):
    """The term and the service schedule of a component that was fitted later than the machine was built."""

    term: Literal["of_the_machine", "new_from_fitting", "kit_only", "longer_of_machine_and_span"] = Field(
        description="of_the_machine: what is left; new_from_fitting: a full new term; kit_only: as new_from_fitting, for"
        " the kit's own parts alone; longer_of_machine_and_span: what is left, or the span from fitting if longer."
    )
    span: TimeSpan | None = None
    schedule: Literal["from_fitting", "of_the_machine"]

    @model_validator(mode="after")
    def _span_where_it_is_used(self) -> "LaterFitting":
        if (self.term == "longer_of_machine_and_span") != (self.span is not None):
            raise ValueError("span goes with term: longer_of_machine_and_span, and only with it")
        return self


class Term(Clause):
    """The period in which a failure is covered."""

    starts: Starts
    ends: Limits | Literal["lifetime"]
    tested_on: Literal["failed_on", "reported_on", "part_received_on"] = Field(
        description="Which day must lie inside the term: the failure, its report, or the part's arrival at a service outlet."
    )
    hours_count_from: Literal["zero", "start_of_term"] = Field(
        description="Whether hours run before the start of term (demonstrations) count against the hour limits."
    )
    retrofit_kit: LaterFitting | None = None
    replacement: LaterFitting | None = None


class CarveOut(Clause):
    """Components with a shorter or longer period of their own inside the policy, or none at all."""

    components: tuple[Word, ...] = Field(min_length=1)
    never: bool = Field(default=False, description="Not covered at all.")
    starts: Starts | None = Field(default=None, description="A start of their own; left out, the policy's.")
    ends: Limits | Literal["lifetime"] | None = None

    @model_validator(mode="after")
    def _never_or_until(self) -> "CarveOut":
        if self.never == (self.ends is not None):
            raise ValueError("a carve-out either says never: true or when its cover ends")
        return self


class InForce(Document):
    """When the version is in force, and which date of a machine or claim is held against that."""

    from_: date = Field(alias="from")
    until: date | None = None
    selected_by: Literal["start_of_term"] | Event | Literal["failed_on", "repair_ended_on", "submitted_on"]

    @model_validator(mode="after")
    def _in_order(self) -> "InForce":
        if self.until is not None and self.until < self.from_:
            raise ValueError(f"in force until {self.until}, before it begins on {self.from_}; swap the two dates")
        return self

    def holds(self, day: date) -> bool:
        return self.from_ <= day and (self.until is None or day <= self.until)
