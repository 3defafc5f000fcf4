"""The services a coverage asks for: when they fall due, what proves them and what a missed one costs."""

from collections.abc import Iterator
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from typing import Annotated, Any, Final, Literal, get_args

from pydantic import Field, field_validator, model_validator

from schemas.fault_at import FaultAt, raise_all
from schemas.policy.clause import Bearer, Clause
from schemas.quantities import (
    EACH_ONCE,
    LONGEST_SPAN_DAYS,
    Day,
    Document,
    Hours,
    ListedWord,
    Number,
    PublishedVersion,
    Share,
    TimeSpan,
    Tolerated,
    Word,
    centihours,
    said_otherwise,
)

SHORTEST_INTERVAL = Decimal(5)  # hours; keeps a schedule of a machine's whole life to a size a person could read

Performer = Literal["selling_dealer", "authorised_dealer", "independent", "owner"]
PERFORMERS: Final[tuple[Performer, ...]] = get_args(Performer)
Evidence = Literal[
    "dealer_invoice",
    "garage_invoice",
    "parts_receipt",
    "log_entry",
    "telematics_reset",
    "oil_sample",
    "photo",
    "statement",
]
Grade = Literal["A", "B", "C"]


class OneOffPoint(Document):
    """A one-off due point in hours, with a tolerance of its own or with hard bounds."""

    at: Hours
    early: Tolerated | None = None
    late: Tolerated | None = None
    from_hours: Hours | None = Field(default=None, description="Hard lower bound of the window.")
    until_hours: Hours | None = Field(default=None, description="Hard upper bound of the window.")

    @model_validator(mode="after")
    def _tolerance_or_bounds(self) -> "OneOffPoint":
        pairs = ((self.early, self.late), (self.from_hours, self.until_hours))
        if any((low is None) != (high is None) for low, high in pairs):
            message = "the window of this due point is stated on one side only."
            raise FaultAt((), message, "State both sides of the window: early and late, or from_hours and until_hours.")
        if self.early is not None and self.from_hours is not None:
            raise FaultAt(
                ("from_hours",),
                "the window of this due point is stated twice.",
                "State the window by tolerance (early, late) or by bounds (from_hours, until_hours), not both.",
            )
        if (
            self.from_hours is not None
            and self.until_hours is not None
            and not self.from_hours <= self.at <= self.until_hours
        ):
            raise FaultAt(
                ("at",),
                f"the due point {self.at} h lies outside its own window {self.from_hours}-{self.until_hours} h.",
                "Correct the due point, or the bound that it passes.",
            )
        return self


class CalendarLimb(Document):
    """The calendar beside the hours: how often, from when, and whether storage stops it."""

    every: TimeSpan
    holds_from: Literal["start_of_term", "last_one_off"] = Field(
        description="Whether it runs from the start of term, or only once the last one-off service was done."
    )
    in_storage: Literal["runs", "pauses"] = Field(
        description="Whether recorded storage stops it: the days in storage then count neither towards the due day nor"
        " towards its window."
    )

    @model_validator(mode="after")
    def _falls_due_at_some_time(self) -> "CalendarLimb":
        if not self.every.months and not self.every.days:
            message = f"every {self.every} never comes round."
            raise FaultAt(("every",), message, "Write for example 12 months or 90 days.")
        return self


class Due(Document):
    """The due points: one-off ones first, then every so many hours, every so many months, or both.

    With both, next_due_from says how they go together: whichever comes first, or each on a plan of its own.
    """

    at_hours: tuple[OneOffPoint, ...] = Field(
        default=(), description="One-off points; write 75, or {at: 75, early: 8, late: 8}."
    )
    then_every: Hours | None = Field(
        default=None, description="Hours between recurring points after the last one-off one."
    )
    calendar: CalendarLimb | None = None

    @cached_property
    def one_off_hundredths(self) -> tuple[int, ...]:
        """The one-off points in hundredths of an hour."""
        return tuple(centihours(point.at) for point in self.at_hours)

    @cached_property
    def every_hundredths(self) -> int | None:
        """Hundredths of an hour between recurring points."""
        return None if self.then_every is None else centihours(self.then_every)

    @field_validator("at_hours", mode="before")
    @classmethod
    def _number_is_a_point(cls, value: Any) -> Any:
        if not isinstance(value, list | tuple):
            return value
        return tuple({"at": point} if isinstance(point, int | str | Decimal) else point for point in value)

    @model_validator(mode="after")
    def _something_falls_due(self) -> "Due":
        if not self.at_hours and self.then_every is None and self.calendar is None:
            raise FaultAt((), "nothing falls due.", "State at_hours, then_every or calendar.")
        raise_all(self._faults())
        return self

    def _faults(self) -> Iterator[FaultAt]:
        hours = [point.at for point in self.at_hours]
        if hours != sorted(set(hours)):
            place = next(i for i, (one, other) in enumerate(pairwise(hours), 1) if other <= one)
            message = "one-off points stand in rising order, each once."
            way_out = f"Put {hours[place]} h in its place, or correct it."
            yield FaultAt(("at_hours", place), message, way_out)
        if self.then_every is not None and self.then_every < SHORTEST_INTERVAL:
            yield FaultAt(
                ("then_every",),
                f"then_every {self.then_every} h is shorter than {SHORTEST_INTERVAL} h, which no machine is serviced"
                " at.",
                "Correct the number.",
            )
        if self.calendar is not None and self.calendar.holds_from == "last_one_off" and not self.at_hours:
            message = "holds_from: last_one_off needs a one-off point in at_hours."
            yield FaultAt(("calendar", "holds_from"), message, "Write start_of_term, or state the one-off point.")


class Tolerances(Document):
    """How early and how late a service may be on one limb; ``at_most`` caps a percentage (hours or days)."""

    early: Tolerated
    late: Tolerated
    at_most: Hours | None = None


class Window(Document):
    """The window round each due point, hours and calendar apart; both bounds lie inside it."""

    hours: Tolerances | None = None
    calendar: Tolerances | None = None

    @model_validator(mode="after")
    def _days_of_a_life(self) -> "Window":
        sides = {} if self.calendar is None else {"early": self.calendar.early, "late": self.calendar.late}
        raise_all(
            FaultAt(
                ("calendar", name),
                f"a calendar window of {side.amount} days is wider than 100 years.",
                "Correct the number.",
            )
            for name, side in sides.items()
            if side.amount is not None and side.amount > LONGEST_SPAN_DAYS
        )
        return self


class Proof(Document):
    """One set of evidence that together proves a service, and the grade it earns."""

    grade: Grade
    all: Annotated[tuple[Evidence, ...], EACH_ONCE] = Field(min_length=1)


class FluidList(Document):
    """Fluids judged by the dated list in force on the service date, with grace for stock bought before a change."""

    fluids: Word = Field(description="Name of the list in the reference tables.")
    grace: TimeSpan | None = Field(description="How long a fluid taken off the list still counts; null for none.")
    at_least_litres: Number | None = Field(
        default=None, description="The quantity a service takes; records of less are asked about."
    )


class Refused(Document):
    """The linked lines, or everything, are not covered."""

    deny: Literal["linked_components", "everything"]


class LowerShare(Document):
    """Linked lines are paid at a lower share."""

    share: Share
    reach: Literal["linked_components", "everything"]


class FallBack(Document):
    """The machine keeps the older promise instead: linked lines are decided under that version."""

    fall_back_to: PublishedVersion
    reach: Literal["linked_components", "everything"]


Consequence = Literal["refer", "note_only"] | Refused | LowerShare | FallBack


class ServiceDuty(Clause):
    """One kind of service the owner must have done."""

    tasks: Annotated[tuple[Annotated[ListedWord, said_otherwise("name the tasks one by one")], ...], EACH_ONCE] = Field(
        min_length=1, description="A record counts when it carries all of these."
    )
    due: Due
    window: Window
    early: Literal["counts", "does_not_count"] = Field(
        description="A service before its window, after the one before closed."
    )
    late: Literal["cures_from_its_date", "cures_if_inspected", "never_cures"]
    next_due_from: Literal["due_point", "actual", "due_point_inside_window"] = Field(
        description="due_point: a fixed grid, on which hours and calendar each keep a plan of their own, and a service"
        " answers both only where the windows of both are open; actual: from the service, whichever of the two came"
        " first; due_point_inside_window: from the due point of the one whose window held the service, from the service"
        " for the other."
    )
    judged: Literal["every_closed_window", "last_closed_window"]
    performed_by: Annotated[tuple[Performer, ...], EACH_ONCE] = Field(min_length=1)
    proof: tuple[Proof, ...] = Field(min_length=1, description="Any one of these sets proves the service.")
    fluid: FluidList | None = None
    repairs_count: bool = Field(description="Whether a repair that carries the tasks counts as the service.")
    bookings_count: bool = Field(
        description="Whether a proven booking inside the window, refused for lack of a slot, counts."
    )
    new_component: Literal["own_schedule", "keeps_schedule"] = Field(
        description="Whether a component fitted later starts a schedule of its own, where the term lets its fitting"
        " begin one (schedule: from_fitting); a service that keeps the machine's is the exception."
    )
    activates: bool = Field(
        default=False, description="Proof of this service activates the coverage in the first place."
    )
    advised_on: Day | None = Field(default=None, description="A service advised after the term began is no duty.")
    links: Annotated[
        tuple[
            Annotated[
                ListedWord, said_otherwise("to reach every line, write reach (or deny): everything and leave links out")
            ],
            ...,
        ],
        EACH_ONCE,
    ] = Field(default=(), description="Components whose failure this service can have to do with.")
    missed: Consequence
    wrong_fluid: Consequence | None = Field(default=None, description="Left out, as missed.")
    done_wrong_by_dealer: Literal["owner_kept_whole", "counts_as_missed"]
    borne_by: Bearer

    @property
    def done_by_selling_dealer_alone(self) -> bool:
        """Whether nobody but the dealer who sold the machine may do this service."""
        return set(self.performed_by) == {"selling_dealer"}

    def consequence(self, *, of_wrong_fluid: bool) -> Consequence:
        """Return what a breach leads to; a wrong fluid may have a consequence of its own."""
        return self.wrong_fluid if of_wrong_fluid and self.wrong_fluid is not None else self.missed

    @model_validator(mode="after")
    def _limbs_have_windows(self) -> "ServiceDuty":
        raise_all(self._faults())
        return self

    def _faults(self) -> Iterator[FaultAt]:
        by_hours = self.due.then_every is not None or any(
            p.early is None and p.from_hours is None for p in self.due.at_hours
        )
        if by_hours and self.window.hours is None:
            message = "points in hours fall due, but window.hours is not stated."
            yield FaultAt(("window",), message, "Write window: {hours: {early: …, late: …}}.")
        if self.due.calendar is not None and self.window.calendar is None:
            message = "the calendar limb has no window."
            yield FaultAt(("window",), message, "Write window: {calendar: {early: …, late: …}}.")
        for name, consequence in (("missed", self.missed), ("wrong_fluid", self.wrong_fluid)):
            key = "deny" if isinstance(consequence, Refused) else "reach"
            if not self.links and getattr(consequence, key, "") == "linked_components":
                message = "the consequence reaches linked_components, but links names none."
                way_out = f"Name the components under links, or write {key}: everything."
                yield FaultAt((name, key), message, way_out)
