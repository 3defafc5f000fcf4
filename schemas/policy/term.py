"""Where the term of a coverage starts and ends, and whose parts carry a term of their own."""

import re
from datetime import date
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from schemas.fault_at import FaultAt, raise_all
from schemas.policy.clause import Clause, DateRange, DemoHours, Event, Fitting, Limits, StartAfter
from schemas.quantities import EACH_ONCE, Day, Document, LastDay, ListedWord, RecordId, TimeSpan, said_otherwise

StartPoint = Event | StartAfter | DemoHours


class SerialRange(Document):
    """Serial numbers from one to another, both inside, compared by prefix and number."""

    from_: RecordId = Field(alias="from")
    until: RecordId

    @model_validator(mode="after")
    def _can_hold_a_serial(self) -> "SerialRange":
        (prefix, number), (last_prefix, last_number) = prefix_and_number(self.from_), prefix_and_number(self.until)
        if prefix != last_prefix:
            raise FaultAt(
                ("until",),
                f'the range goes from "{self.from_}" to "{self.until}", whose beginnings differ ("{prefix}" and'
                f' "{last_prefix}"), so that no serial can lie in it.',
                "Write one range for each beginning.",
            )
        if number > last_number:
            message = f'the range ends at "{self.until}", before it begins at "{self.from_}".'
            raise FaultAt(("until",), message, "Swap the two.")
        return self


def prefix_and_number(serial: str) -> tuple[str, int]:
    """Return a serial as its beginning and the number it ends in, 0 where it ends in none.

    >>> prefix_and_number("QF60-0771"), prefix_and_number("QF60-A")
    (('QF60-', 771), ('QF60-A', 0))
    """
    match = re.search(r"(\d{1,18})$", serial)
    return (serial, 0) if match is None else (serial[: match.start()], int(match[1]))


class AppliesTo(Document):
    """Which machines, owners and components the policy is about; a condition left out is not asked for."""

    clause: str = Field(min_length=1, max_length=20)
    models: Annotated[tuple[Annotated[str, said_otherwise('write "*" to mean every model')], ...], EACH_ONCE] = Field(
        min_length=1, description="Model codes; a trailing * stands for any ending."
    )
    serials: tuple[SerialRange, ...] = ()
    built: DateRange | None = None
    use: Annotated[
        tuple[Annotated[ListedWord, said_otherwise("leave use out to mean every use")], ...] | None, EACH_ONCE
    ] = Field(default=None, description="Use classes, such as residential or commercial.")
    regions: Annotated[
        tuple[Annotated[str, said_otherwise("leave regions out to mean every region")], ...] | None, EACH_ONCE
    ] = Field(default=None, description="Regions, such as DE or US-CA; DE also holds DE-BY.")
    owner: Literal["first", "any"]
    components: Annotated[
        tuple[
            Annotated[
                ListedWord, said_otherwise("write components: whole_machine, without brackets, to mean them all")
            ],
            ...,
        ]
        | Literal["whole_machine"],
        EACH_ONCE,
    ]
    except_components: Annotated[
        tuple[Annotated[ListedWord, said_otherwise("name the components one by one")], ...], EACH_ONCE
    ] = Field(default=(), description="Components left to another maker or policy.")
    fitted: Annotated[tuple[Fitting, ...], EACH_ONCE] = Field(
        min_length=1, description="How the component came onto the machine."
    )

    @field_validator("models")
    @classmethod
    def _star_stands_last(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        raise_all(
            FaultAt(
                (place,),
                f'"{model}" has a * before its end.',
                "A * stands for any ending and comes last: write it as in QF*, or name the models one by one.",
            )
            for place, model in enumerate(value)
            if "*" in model[:-1]
        )
        return value


class Starts(Document):
    """The start of term: the earliest known of some events, else the first known of the fallbacks."""

    earliest_of: tuple[StartPoint, ...] = Field(min_length=1)
    otherwise: tuple[StartPoint, ...] = ()


class LaterFitting(Document):
    """The term and the service schedule of a component that was fitted later than the machine was built."""

    term: Literal["of_the_machine", "new_from_fitting", "kit_only", "longer_of_machine_and_span"] = Field(
        description="of_the_machine: what is left; new_from_fitting: a full new term; kit_only: a full new term for the"
        " kit's own parts alone, while the component it was added to keeps the machine's; longer_of_machine_and_span:"
        " what is left, or the span from fitting if longer."
    )
    span: TimeSpan | None = None
    schedule: Literal["from_fitting", "of_the_machine"]

    @model_validator(mode="after")
    def _span_where_it_is_used(self) -> "LaterFitting":
        if (self.term == "longer_of_machine_and_span") != (self.span is not None):
            if self.span is None:
                message = "the longer of what is left and a span from fitting needs the span."
                raise FaultAt(("term",), message, "Write it beside, for example `span: 90 days`.")
            message = f"span goes with term: longer_of_machine_and_span, and only with it; here stands {self.term}."
            raise FaultAt(("span",), message, "Take span off, or write term: longer_of_machine_and_span.")
        return self


class Term(Clause):
    """The period in which a failure is covered."""

    starts: Starts
    ends: Limits | Literal["lifetime"]
    tested_on: Literal["failed_on", "reported_on", "part_received_on"] = Field(
        description="Which day must lie inside the term: that of the failure, of its report, or of the part's arrival"
        " at a service outlet."
    )
    hours_count_from: Literal["zero", "start_of_term"] = Field(
        description="Whether hours run before the start of term (demonstrations) count against the hour limits."
    )
    retrofit_kit: LaterFitting | None = None
    replacement: LaterFitting | None = None


class CarveOut(Clause):
    """Components with a shorter or longer period of their own inside the policy, or none at all."""

    components: Annotated[
        tuple[
            Annotated[
                ListedWord, said_otherwise("name the components one by one; a period for all of them is the term's own")
            ],
            ...,
        ],
        EACH_ONCE,
    ] = Field(min_length=1)
    never: bool = Field(default=False, description="Not covered at all.")
    starts: Starts | None = Field(default=None, description="A start of their own; left out, the policy's.")
    ends: Limits | Literal["lifetime"] | None = None

    @model_validator(mode="after")
    def _never_or_until(self) -> "CarveOut":
        if self.never == (self.ends is not None):
            message = "a carve-out either says never: true or when its cover ends."
            if self.never:
                raise FaultAt(("ends",), f"{message[:-1]}; this one says both.", "Take one of the two off.")
            raise FaultAt((), f"{message[:-1]}; this one says neither.", "Write `never: true`, or `ends: …`.")
        return self


class InForce(Document):
    """When the version is in force, and which date of a machine or claim is held against that."""

    from_: Day = Field(alias="from")
    until: LastDay = Field(default=None, description="Left out, or 9999-12-31: it has no end.")
    selected_by: Literal["start_of_term"] | Event | Literal["failed_on", "repair_ended_on", "submitted_on"]
    only_as_fall_back: bool = False

    @model_validator(mode="after")
    def _in_order(self) -> "InForce":
        if self.until is not None and self.until < self.from_:
            message = f"in force until {self.until}, before it begins on {self.from_}."
            raise FaultAt(("until",), message, "Swap the two dates.")
        return self

    def holds(self, day: date) -> bool:
        return self.from_ <= day and (self.until is None or day <= self.until)

    def days_from(self, day: date) -> int:
        """Return by how many days a day lies before the time in force or after it; 0 inside it."""
        if day < self.from_:
            return (self.from_ - day).days
        return 0 if self.until is None else max((day - self.until).days, 0)
