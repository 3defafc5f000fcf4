"""Every reason that the catalogue says has a remedy has one in the demo, for a line that is not paid in full."""

import re
from collections import defaultdict

import pytest

from rules.adjudicate import Adjudicator
from rules.decision.catalogue import KINDS
from schemas.decision import Decision, Remedy
from service.rendering.letter_text import letter_text
from tests.fixtures_scenario.scenario import book, claim_files, decisions

pytestmark = pytest.mark.fast

UNDECIDED = ("need_info", "refer")
# What the words of a remedy hold, by its kind; other reasons of the line may add to them.
WORDS = {
    "service_records": ("records of the", "an inspection at the late"),
    "evidence": ("the invoice behind", "records of the", "proof that"),
    "statement": ("a statement", "the amount of line", "what the owner paid", "the price", "the part number"),
    "table_row": ("row", "a flat-rate time", "the price of machine"),
}


@pytest.fixture(scope="module")
def with_remedies() -> dict[str, Decision]:
    """The decisions of the claims in which a reason with a remedy stands, three claims a reason."""
    claims: dict[str, list[str]] = defaultdict(list)
    for number, decision in decisions().items():
        for code in {reason.code for line in decision.lines for reason in line.reasons}:
            if KINDS[code].remedy is not None:
                claims[code].append(number)
    chosen = sorted({number for numbers in claims.values() for number in numbers[:3]})
    with Adjudicator(book()) as adjudicator:
        return {number: adjudicator.decide(claim_files()[number]) for number in chosen}


def remedies_beside(with_remedies: dict[str, Decision], code: str) -> list[Remedy]:
    return [
        remedy
        for decision in with_remedies.values()
        for line in decision.lines
        for remedy in decision.remedies
        if remedy.line == line.line and any(reason.code == code for reason in line.reasons)
    ]


@pytest.mark.parametrize("code", [code for code, kind in KINDS.items() if kind.remedy is not None])
def test_a_declared_remedy_is_given(with_remedies: dict[str, Decision], code: str) -> None:
    kind = KINDS[code].remedy
    assert kind is not None
    found = remedies_beside(with_remedies, code)
    assert any(words in remedy.desk_words for remedy in found for words in WORDS[kind]), found


def test_a_remedy_improves_its_line_or_says_what_it_waits_for(with_remedies: dict[str, Decision]) -> None:
    for number, decision in with_remedies.items():
        lines = {line.line: line for line in decision.lines}
        for remedy in decision.remedies:
            line = lines[remedy.line]
            assert line.outcome != "pay", (number, remedy)
            assert remedy.maker_pays >= line.maker_pays, (number, remedy)
            if remedy.outcome in UNDECIDED and remedy.maker_pays == line.maker_pays:
                assert line.outcome in UNDECIDED, (number, remedy)


def test_no_remedy_names_another_day_or_other_hours_of_the_failure(with_remedies: dict[str, Decision]) -> None:
    """Nothing that is assumed is a date of the claim or a reading of a meter."""
    for number, decision in with_remedies.items():
        for remedy in decision.remedies:
            if remedy.outcome not in UNDECIDED:
                assert not [f for f in remedy.facts if f.startswith(("date:", "reading:", "stuck:"))], (number, remedy)


def test_no_letter_hands_over_the_answer(with_remedies: dict[str, Decision]) -> None:
    """No serial number on file that the claim does not state, no window, no reading that would fit, no finding."""
    windows = re.compile(r"[(–]\d[\d,.]*( h)?–|\(between|meant\?|was not the one|found the machine sound")
    told = 0
    for number, decision in {**decisions(), **with_remedies}.items():
        letter = " ".join(letter_text(decision).split())
        found = windows.search(letter)
        assert found is None, (number, letter)
        claim_file = claim_files()[number]
        stated = {line.removed_serial for line in claim_file.claim.lines}
        on_file = {part.serial for part in claim_file.machine.components} - stated - {None}
        told += bool(on_file)
        assert not [serial for serial in on_file if f"{serial}" in letter], (number, letter)
    assert told, "some machines have serial numbers of components on file"


@pytest.mark.parametrize("number", ["C-3129", "C-3142"])
def test_what_would_bring_no_more_than_is_undisputed_is_no_remedy(number: str) -> None:
    """Without the proof the base coverage, which has no cap a claim, pays the lines no less than the engine's would."""
    with Adjudicator(book()) as adjudicator:
        decision = adjudicator.decide(claim_files()[number])
    assert any(line.outcome == "need_info" for line in decision.lines)
    assert decision.remedies == ()
