"""On what ground a service that is not on file counts as not done: what a refusal rests on, told with its reason."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from rules.decision.describe_limits import Facts
from rules.measures.duties import DutyState
from rules.measures.schedule import DuePoint
from rules.measures.unanswered import asked_in_vain
from rules.plain import day_text
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions


def absence_facts(state: DutyState, points: Sequence[DuePoint], claim_file: ClaimFile) -> Facts:
    """Return since when the records are complete, and what else makes the absence of these points count."""
    numbers = {point.number for point in points}
    grounds = {ground for number, ground in state.grounds if number in numbers}
    conventions = state.schedule.conventions
    facts: Facts = []
    since = _complete_since(claim_file, "records_complete" in grounds)
    if since or not grounds:  # beside another ground it says nothing that the records are not known to be complete
        facts.append(("records complete from", since or "not known"))
    if "dealer_declared_complete" in grounds:
        facts.append(("declared by the dealer", "the services on file are complete"))
    asked = asked_in_vain("services", claim_file, conventions) if "answer_overdue" in grounds else None
    if asked is not None:
        facts.append(("asked on", in_vain_text(asked, conventions)))
    if "not_done" in grounds:
        facts.append(("by the terms", "a service that is not on file counts as not done"))
    return [*facts, *_bookings(state, numbers, claim_file)]


def in_vain_text(asked: date, conventions: Conventions) -> str:
    """Return when something was asked for and until when the answer was due: 12 October 2025, unanswered by …"""
    due = asked + timedelta(days=conventions.absent_service_record.answer_within.days)
    return f"{day_text(asked)}, unanswered by {day_text(due)}"


def _complete_since(claim_file: ClaimFile, counts: bool) -> str:
    """Return since when this machine's records are complete, or where it ``counts`` those of the dealer who sold it."""
    own, dealer = claim_file.machine.records_complete_from, claim_file.dealer
    if own is not None:
        return day_text(own)
    if counts and dealer.records_complete_from is not None:
        return f"{day_text(dealer.records_complete_from)} (those of dealer {dealer.dealer}, who sold the machine)"
    return ""


def _bookings(state: DutyState, numbers: set[int], claim_file: ClaimFile) -> Iterator[tuple[str, str]]:
    """Yield the bookings that would have held a point open, and whose proof was asked for in vain."""
    ids = {booking for number, booking in state.unproven if number in numbers}
    for booking in claim_file.machine.bookings if ids else ():
        asked = asked_in_vain("evidence", claim_file, state.schedule.conventions, booking.asked_on)
        if booking.id in ids and asked is not None:
            words = f"{booking.id}; its proof was asked for on {in_vain_text(asked, state.schedule.conventions)}"
            yield "booking not counted", words
