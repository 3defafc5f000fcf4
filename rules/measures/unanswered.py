"""Questions to the dealer that stood unanswered for longer than the conventions give.

What may be answered "it was not" is then decided so: a service that was asked for counts as not done, evidence that was
asked for counts as missing. A reading, a cause, a day, or whose the machine is and where and how it is used cannot be
decided in that way and stays a question.
"""

from datetime import date, timedelta
from typing import Literal

from rules.open_facts import OpenFact, World
from rules.plain import day_text
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions


def asked_in_vain(
    about: Literal["services", "evidence"],
    claim_file: ClaimFile,
    conventions: Conventions,
    on_file_since: date | None = None,
) -> date | None:
    """Return the day of a question whose time to answer is over; None: there is none, or the conventions wait.

    What came on file after a question (``on_file_since``) cannot have been asked about in it.
    """
    rule = conventions.absent_service_record
    if not claim_file.claim.questions or "answer_overdue" not in rule.not_done_when:
        return None
    last_asked = claim_file.decided_on - timedelta(days=rule.answer_within.days)
    asked = [q.asked_on for q in claim_file.claim.questions if q.about == about and not q.answered]
    overdue = [day for day in asked if day < last_asked and (on_file_since is None or on_file_since <= day)]
    return min(overdue, default=None)


def given(
    fact: OpenFact, world: World, claim_file: ClaimFile, conventions: Conventions, on_file_since: date | None = None
) -> bool:
    """Return whether evidence is there: asked for, and taken as missing once the time to answer is over."""
    if asked_in_vain("evidence", claim_file, conventions, on_file_since) is None:
        return bool(world.pick(fact, (1, 0)))
    return world.known(fact.key, False) or (fact.asked_with is not None and world.known(fact.asked_with, False))


def in_vain_words(claim_file: ClaimFile, conventions: Conventions, on_file_since: date | None = None) -> str:
    """Return what a reason says of evidence that was asked for in vain; empty where the time is not over."""
    day = asked_in_vain("evidence", claim_file, conventions, on_file_since)
    days = conventions.absent_service_record.answer_within.days
    return "" if day is None else f", asked for on {day_text(day)} and not answered within {days} days"
