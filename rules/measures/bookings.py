"""Service bookings that a dealer's backlog delayed, and the due points they hold open."""

from datetime import date

from rules.history.timeline import Timeline
from rules.measures.schedule import DuePoint, Schedule
from rules.measures.unanswered import asked_in_vain, given
from rules.open_facts import OpenFact, World
from rules.plain import day_text
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.machine import Booking
from schemas.policy.services import ServiceDuty
from schemas.quantities import centihours


def holds_open(
    booking: Booking,
    duty: ServiceDuty,
    schedule: Schedule,
    point: DuePoint,
    day: int,
    timeline: Timeline,
    claim_file: ClaimFile,
    world: World,
) -> bool:
    """Return whether a booking, asked for before the window closed, still waits for its slot on ``day`` (an ordinal).

    One that nobody has proven yet is asked about where all else would hold the point open; so is a reading that was not
    noted where the hours may have been too many.
    """
    if not _is_in_time(booking, duty, schedule, point, day):
        return False
    if not _is_proven(booking, schedule.conventions, claim_file, world):
        return False
    if booking.asked_at is not None:
        return True
    most = timeline.most_on(booking.asked_on)
    if most is None or not point.hours_closed_at(most - schedule.start_hours):
        return True
    words = f"the meter reading when booking {booking.id} was asked for on {day_text(booking.asked_on)}"
    return bool(world.pick(OpenFact(f"booking:{booking.id}", "reading", "dealer", words), (1, 0)))


def asked_in_vain_for(
    booking: Booking, duty: ServiceDuty, schedule: Schedule, point: DuePoint, day: int, claim_file: ClaimFile
) -> date | None:
    """Return when proof of a booking that may have held the point open was asked for in vain; None: it was not."""
    if booking.proven or not _is_in_time(booking, duty, schedule, point, day):
        return None
    return asked_in_vain("evidence", claim_file, schedule.conventions, booking.asked_on)


def _is_in_time(booking: Booking, duty: ServiceDuty, schedule: Schedule, point: DuePoint, day: int) -> bool:
    """Return whether a booking of these tasks was asked for before the window closed, and its slot was still to come.

    Of one without a reading that holds as far as days tell.
    """
    if not set(duty.tasks).issubset(booking.tasks):
        return False
    asked = booking.asked_on.toordinal()
    if asked > day or booking.earliest_slot_on.toordinal() < day or point.days_closed_at(asked):
        return False
    if booking.asked_at is None:
        return True
    return not point.hours_closed_at(centihours(booking.asked_at) - schedule.start_hours)


def _is_proven(booking: Booking, conventions: Conventions, claim_file: ClaimFile, world: World) -> bool:
    if booking.proven:
        return True
    words = f"proof of booking {booking.id}, asked for on {day_text(booking.asked_on)}"
    fact = OpenFact(f"booking:{booking.id}:proof", "evidence", "dealer", words)
    return given(fact, world, claim_file, conventions, booking.asked_on)
