"""What the letter tells a dealer of records that do not count, of a line that is paid, and of how to answer."""

from dataclasses import replace
from decimal import Decimal

import pytest

from service.rendering.decision_text import decision_text
from service.rendering.letter_text import letter_text
from tests.service.command_line import flat
from tests.service.decisions import DECISION, DRIVE, MISSED

pytestmark = pytest.mark.fast


def test_a_letter_says_which_record_does_not_count_why_and_whose_service_does() -> None:
    facts = (
        ("due", "480.0 h (432.0–528.0 h)"),
        ("records in its window", "S-119 was done by owner (3 July 2026)"),
        ("nearest", "S-119 at 480.0 h, 3 July 2026"),
        ("records complete from", "2 March 2026"),
        ("counts when", "done by an authorised dealer, proven by a dealer's invoice"),
    )
    decision = replace(DECISION, lines=(replace(DRIVE, reasons=(replace(MISSED, facts=facts),)),))
    letter = flat(letter_text(decision))
    assert (
        "On file, and not counted: S-119 was done by owner (3 July 2026); a service counts when it is done by an"
        " authorised dealer, proven by a dealer's invoice; we hold the whole record of this machine from 2 March 2026"
        " on." in letter
    )
    for bound in ("432", "528", "480.0"):
        assert bound not in letter, bound
    # The desk has the terms, and reads what was refused among the facts.
    desk = flat(decision_text(decision))
    assert "records in its window: S-119 was done by owner (3 July 2026)" in desk
    assert "counts when" not in desk
    unknown = replace(
        MISSED, facts=(facts[0], ("records in its window", "none"), ("records complete from", "not known"))
    )
    letter = flat(letter_text(replace(decision, lines=(replace(DRIVE, reasons=(unknown,)),))))
    assert "not counted" not in letter
    assert "We do not know whether we hold all records of this machine." in letter


def test_a_letter_says_where_to_answer_and_how_to_object() -> None:
    letter = flat(letter_text(DECISION))
    assert "Send your answer to the warranty desk, whose letter this is, naming claim C-2207. If you do not" in letter
    settled = flat(letter_text(replace(DECISION, questions=(), remedies=())))
    assert "Send what you have to say to the warranty desk, whose letter this is, naming claim C-2207." in settled


def test_what_is_said_against_a_line_that_is_paid_in_full_is_for_information() -> None:
    paid = replace(DRIVE, outcome="pay", maker_pays=DRIVE.claimed, owner_owes=Decimal("0.00"), reasons=(MISSED,))
    letter = flat(letter_text(replace(DECISION, lines=(paid,))))
    assert "claimed. For your information, as nothing is cut for it: decided under orchard-drive 1, not" in letter


def test_a_line_without_a_sum_is_not_said_to_claim_nothing_of_nothing() -> None:
    trip = replace(DECISION.lines[1], claimed=Decimal("0.00"), dealer_bears=Decimal("0.00"), text="120 km")
    letter = flat(letter_text(replace(DECISION, lines=(trip,))))
    assert "Line trip, 120 km (travel, wheel drive): not covered. We pay 0.00 EUR; no sum is claimed for this" in letter
    assert "of 0.00" not in letter
