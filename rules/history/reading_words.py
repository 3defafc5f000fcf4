"""Readings that contradict others, in words: which, from whom, and what speaks against them."""

from rules.history.readings import CLAIM_READING, REPAIR_READING, LeftOut, Observed
from rules.plain import day_text, hours_text


def _named(observed: Observed) -> str:
    return "the claim" if observed.record in (CLAIM_READING, REPAIR_READING) else observed.record


def shown_words(observed: Observed) -> str:
    return f"{hours_text(observed.reading)} on {day_text(observed.day)} ({_named(observed)})"


def read_words(observed: Observed) -> str:
    return f"the meter reading of {shown_words(observed)}"


def left_out_words(out: LeftOut) -> str:
    """Return why the others go on without a reading."""
    words = f"reading {hours_text(out.reading.reading)} on {day_text(out.reading.day)} is set aside: "
    if out.spike:
        words += "the readings before and after it contradict it"
    else:
        words += f"{shown_words(out.against)} contradicts it"
        words += ", and the other readings agree without it" if out.alone else ", and either may be right"
    return words


def doubt_words(doubtful: Observed, last: Observed, per_day: int) -> str:
    read = read_words(doubtful)
    if last.anchor == "age":
        return f"{read}, which is more than the machine's age allows"
    if doubtful.reading < last.reading:
        return f"{read}, which is below {hours_text(last.reading)} on {day_text(last.day)} ({_named(last)})"
    days = max((doubtful.day - last.day).days, 1)
    rate = (doubtful.reading - last.reading) // (100 * days)
    slip = doubtful.reading // 10
    meant = f"; was {hours_text(slip)} meant?" if last.reading <= slip <= last.reading + per_day * days else ""
    return (
        f"the meter reading of {hours_text(doubtful.reading)} on {day_text(doubtful.day)}: {rate} h a day since"
        f" {hours_text(last.reading)} on {day_text(last.day)} ({_named(last)}) is not possible{meant}"
    )
