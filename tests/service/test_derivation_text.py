"""What --explain tells beside the rules that fired: money that moved, facts that are open, digests."""

from dataclasses import replace
from decimal import Decimal

import pytest

from schemas.decision import Step
from service.rendering.derivation_text import derivation_text
from tests.service.command_line import flat
from tests.service.decisions import DECISION, DRIVE

pytestmark = pytest.mark.fast


def test_derivation_accounts_for_what_the_settlement_moved_and_for_what_is_open() -> None:
    # 100.00 over 800.00 and 400.00: 66.666… and 33.333…, whole cents 66.66 and 33.33, the last cent to the first line.
    split = (
        "deductible 100 a claim; of 100.00 in all: 100.00 × 800.00 ÷ 1,200.00, to the minor unit by largest remainder"
    )
    step = Step("deductible", "8", split, Decimal("800.00"), Decimal("733.33"), "owner")
    line = replace(DRIVE, steps=(DRIVE.steps[0], step), reasons=())
    decision = replace(DECISION, lines=(line, DECISION.lines[2]), firings=())
    text = flat(derivation_text(decision, 100, None, {"orchard-base@1": f"sha256:{'d' * 64}"}))
    assert "none: no rule refuses, holds or shortens a line." in text
    assert (
        "What the settlement moved line drive: deductible (clause 8): 100 a claim; of 100.00 in all: 100.00 × 800.00 ÷"
        " 1,200.00, to the minor unit by largest remainder: −66.67, borne by the owner; 733.33 EUR left." in text
    )
    assert (
        "Facts that are open, and would change what is paid line other: records of the drive oil services due at"
        in text
    )
    assert "(912.0–1,008.0 h), asked of the dealer." in text
    # A version that was looked at and does not apply has its digest, too.
    assert f"orchard-base 1 sha256:{'d' * 64}" in text
    assert "The claim file is all that the decision may use: machine, service records" in text


def test_derivation_of_a_claim_paid_in_full_names_no_step_and_no_open_fact() -> None:
    text = derivation_text(replace(DECISION, lines=(replace(DRIVE, steps=DRIVE.steps[:1]),), questions=()))
    assert "What the settlement moved" not in text
    assert "Facts that are open" not in text
