"""A maker's conventions in sentences, one for each knob."""

from collections.abc import Iterator

from rules.policy_book.values import CLAIM_DATES, hours_words, listed, sentence, span_words
from schemas.conventions import Conventions, RoundedShare

LAST_DAY = {
    "day_before_anniversary": "A term of months ends with the day before its anniversary",
    "anniversary": "A term of months ends with the anniversary itself",
}
MONTH_END = {
    "clamp_from_start": "A day that a month lacks is that month's last (29 February and 12 months is 28 February)",
    "roll_to_next_month": "A day that a month lacks is the next month's first (29 February and 12 months is 1 March)",
}
AT_CAP = {
    "covered": "A reading equal to an hour limit is inside it",
    "not_covered": "A reading equal to an hour limit is outside it",
}
PERCENT_WINDOW = {
    "of_interval": "A percentage window in hours is taken of the hours since the due point before",
    "of_due_value": "A percentage window in hours is taken of the due point's own hours",
}
CALENDAR_PERCENT = {
    "of_thirty_day_months": "A percentage of months is taken of months of 30 days",
    "of_actual_days": "A percentage of months is taken of their actual days",
}
ONE_OFFS = {
    "keep_their_hours": "A one-off service outside its window leaves the one-off point after it where it is",
    "count_from_actual": "A one-off service outside its window moves the one-off point after it",
}
SAME_DAY = {
    "counts": "A service on the day of the failure, at no higher reading, is evidence",
    "does_not_count": "A service on the day of the failure is no evidence",
}
ROUNDING = {
    "half_up": "to the nearest, a half going up",
    "half_even": "to the nearest, a half going to the even digit",
    "half_down": "to the nearest, a half going down",
    "up": "always up",
    "down": "always down",
}
ROUNDED_AT = {
    "line": "once a line, when its payable amount is known",
    "step": "after every step of the arithmetic",
}
STEPS = {
    "allowance": "the allowance",
    "share": "the paid share",
    "deductible": "the deductible",
    "caps": "the caps",
}
RATE_GAP = {
    "previous_published": "for a day without a published rate, the one published before it holds",
    "need_info": "for a day without a published rate, the rate is asked for",
}
HELD = {"need_info": "the dealer is asked", "refer": "it is held for a person"}
COUNTS_AS = {
    "ask_first": "A service that is not on file is asked for first",
    "not_done": "A service that is not on file counts as not done",
}
NOT_DONE = {
    "records_complete": "the machine's or the dealer's records are complete",
    "dealer_declared_complete": "the dealer declares that the services on file are all there were",
    "answer_overdue": "the time to answer is over",
}
SPIKES = {
    "drop_with_note": "One reading that those before and after it contradict is dropped, with a note",
    "refer": "One reading that those before and after it contradict is held for a person",
}


def convention_sentences(conventions: Conventions) -> Iterator[str]:
    """Yield every convention as a sentence."""
    rate_day = CLAIM_DATES[conventions.exchange_rate_on]
    for words in (
        LAST_DAY[conventions.last_covered_day],
        MONTH_END[conventions.month_end],
        AT_CAP[conventions.hours_at_cap],
        PERCENT_WINDOW[conventions.percent_window],
        CALENDAR_PERCENT[conventions.calendar_percent],
        ONE_OFFS[conventions.one_off_points],
        SAME_DAY[conventions.same_day_service],
        share_words_of(conventions.share),
        f"amounts are rounded {ROUNDING[conventions.money.round]}, {ROUNDED_AT[conventions.money.at]}",
        f"the arithmetic goes in this order: {listed(STEPS[s] for s in conventions.deduction_order)}",
        f"amounts are converted at the rate of {rate_day}; {RATE_GAP[conventions.rate_gap]}",
        *_fact_words(conventions),
        *_meter_words(conventions),
    ):
        yield sentence(words)


def share_words_of(share: RoundedShare | str) -> str:
    if isinstance(share, RoundedShare):
        return f"a paid share is rounded to {share.places} decimals, {ROUNDING[share.round]}, before it meets money"
    return "a paid share is exact, and never rounded before it meets money"


def _fact_words(conventions: Conventions) -> Iterator[str]:
    facts, absent = conventions.facts, conventions.absent_service_record
    yield f"where a fact is missing, {HELD[facts.missing]}; nothing is denied for it"
    yield f"where a claim contradicts itself, {HELD[facts.contradicts_itself]}"
    yield f"where records of different origin contradict one another, {HELD[facts.contradicts_other_record]}"
    proven = listed((NOT_DONE[p] for p in absent.not_done_when), "or") if absent.not_done_when else ""
    if absent.counts_as == "not_done":
        until = f"; it makes no difference whether {proven}" if proven else ""
    else:
        until = f"; it counts as not done once {proven}" if proven else "; nothing turns its absence into not done"
    yield f"{COUNTS_AS[absent.counts_as]}{until}"
    if "answer_overdue" in absent.not_done_when:
        yield "evidence that was asked for counts as missing once the time to answer is over"
    yield f"the dealer has {span_words(absent.answer_within)} to answer"


def _meter_words(conventions: Conventions) -> Iterator[str]:
    meter = conventions.meter
    yield f"more than {hours_words(meter.most_hours_a_day)} a day make a reading impossible"
    yield f"a reading unchanged for {span_words(meter.stuck_after)}, with the machine at work, is a stuck meter"
    yield SPIKES[meter.single_spike]
