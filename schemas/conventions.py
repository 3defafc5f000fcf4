"""What a maker states once and every policy pins: boundaries, month ends, rounding, what a missing fact does.

Nothing here has a default: a convention that is not written down is the one two readers disagree about.
"""

from collections.abc import Mapping
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from schemas import upcast
from schemas.policy.clause import ClaimDate
from schemas.quantities import Document, Hours, Name, TimeSpan

Deduction = Literal["allowance", "share", "deductible", "caps"]
RoundingMode = Literal["half_up", "half_even", "half_down", "up", "down"]
AbsenceProof = Literal["records_complete", "dealer_declared_complete", "answer_overdue"]


class RoundedShare(Document):
    """A share rounded before it meets money (most makers keep it exact)."""

    places: int = Field(ge=0, le=9, description="Decimals kept of the share, 0 to 9.")
    round: RoundingMode


class MoneyRounding(Document):
    """Where and how amounts are rounded to the currency's minor unit."""

    round: RoundingMode = Field(description="half_up takes 33.345 to 33.35, half_even to 33.34.")
    at: Literal["line", "step"] = Field(
        description="line: once, when the line's payable amount is known; step: after every step of the arithmetic."
    )


class FactHandling(Document):
    """What the engine does when a fact is missing or contradicted; it never denies for either without asking."""

    missing: Literal["need_info"] = Field(description="A fact that is missing is asked for; it denies nothing.")
    contradicts_itself: Literal["need_info", "refer"] = Field(description="The claim contradicts itself.")
    contradicts_other_record: Literal["need_info", "refer"] = Field(
        description="Records of different origin contradict one another."
    )


class AbsentServiceRecord(Document):
    """When the absence of a service record counts as the service not having been done."""

    counts_as: Literal["ask_first", "not_done"] = Field(description="Whether an absent record is asked for first.")
    not_done_when: tuple[AbsenceProof, ...] = Field(
        description="Under ask_first, what turns an absence into 'not done'. With answer_overdue, evidence that was"
        " asked for counts as missing, too, once the time to answer is over."
    )
    answer_within: TimeSpan = Field(description="Days the dealer has to answer a question about a record.")

    @field_validator("answer_within")
    @classmethod
    def _counted_in_days(cls, value: TimeSpan) -> TimeSpan:
        if not value.days:
            raise ValueError(f"the time to answer is counted in days, not in {value}; write for example 30 days")
        return value


class MeterConventions(Document):
    """When a reading is too improbable to decide on."""

    most_hours_a_day: Hours = Field(description="More hours than this in a day make a reading impossible (at most 24).")
    stuck_after: TimeSpan = Field(
        description="An unchanged reading over this long, with the machine at work, is a stuck meter."
    )
    single_spike: Literal["drop_with_note", "refer"] = Field(
        description="What to do with one reading that the ones before and after it contradict."
    )


class Conventions(Document):
    """One published version of a maker's conventions."""

    format: int = Field(default=upcast.CONVENTIONS.current, description="Format of this document; left out, the first.")
    conventions: Name = Field(description="Name of the set; policies pin it as name@version.")
    version: int = Field(ge=1, le=999_999, description="Number of this version; a published version is never edited.")
    title: str = Field(min_length=1, max_length=200, description="What these conventions have in common.")
    last_covered_day: Literal["day_before_anniversary", "anniversary"] = Field(
        description="Whether a term of months ends with the day before its anniversary, or with the anniversary."
    )
    month_end: Literal["clamp_from_start", "roll_to_next_month"] = Field(
        description="29 Feb + 12 months: 28 Feb (clamp) or 1 March (roll); always counted once from the start."
    )
    hours_at_cap: Literal["covered", "not_covered"] = Field(
        description="Whether a reading equal to a cap is inside it."
    )
    percent_window: Literal["of_interval", "of_due_value"] = Field(
        description="What 10% of a service point in hours is taken of: the hours since the one before, or its own."
    )
    calendar_percent: Literal["of_thirty_day_months", "of_actual_days"] = Field(
        description="What 10% of a calendar interval is taken of."
    )
    one_off_points: Literal["keep_their_hours", "count_from_actual"] = Field(
        description="Whether a one-off service outside its window moves the one-off point after it."
    )
    same_day_service: Literal["counts", "does_not_count"] = Field(
        description="Whether a service on the day of the failure, at no higher reading, is evidence."
    )
    share: Literal["exact"] | RoundedShare = Field(
        description="Whether a paid share stays exact until it meets money (most makers), or is rounded before."
    )
    money: MoneyRounding
    deduction_order: tuple[Deduction, ...] = Field(
        description="Order of the money steps; exclusions always come first because they decide, not calculate."
    )
    exchange_rate_on: ClaimDate = Field(
        description="Which day's exchange rate converts the claim's lines and the payout."
    )
    rate_gap: Literal["previous_published", "need_info"] = Field(
        description="A day without a published exchange rate: the rate published before it, or ask."
    )
    facts: FactHandling
    absent_service_record: AbsentServiceRecord
    meter: MeterConventions

    @model_validator(mode="before")
    @classmethod
    def _in_the_current_format(cls, value: Any) -> Any:
        return upcast.CONVENTIONS.upcast(value) if isinstance(value, Mapping) else value

    @field_validator("format", mode="before")
    @classmethod
    def _format_is_read(cls, value: Any) -> int:
        return upcast.CONVENTIONS.known(value)

    @field_validator("deduction_order")
    @classmethod
    def _each_step_once(cls, value: tuple[Deduction, ...]) -> tuple[Deduction, ...]:
        steps = ("allowance", "share", "deductible", "caps")
        if sorted(value) != sorted(steps):
            raise ValueError(f"name each of {', '.join(steps)} once, in the order they are applied")
        if value[0] != "allowance":
            raise ValueError("the allowance comes first: share, deductible and caps work on what is allowed")
        return value
