"""`hourmark demo`: the shipped scenario, decided in memory by the real command."""

import re
import shlex
import sys
from dataclasses import replace
from decimal import Decimal

import pytest

from rules.adjudicate import Adjudicator
from service.command.demo import decided_on, most_telling, read_scenario
from service.rendering.tally import SUMS, tally_of
from service.rendering.words import OUTCOME_WORDS
from tests.service.command_line import ROOT, flat, process, run
from tests.service.decisions import DECISION, DRIVE


@pytest.fixture(scope="module")
def shown() -> str:
    """What the demo prints, piped and without colour."""
    done = process("demo", NO_COLOR="1")
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def test_demo_shows_outcomes_one_decision_cautions_and_what_to_try_next(shown: str) -> None:
    text = flat(shown)
    for words in (*OUTCOME_WORDS.values(), "Claims by status", "Most frequent reasons", "How it was worked out"):
        assert words in text, words
    assert "This is not legal advice." in text
    assert "A failure that can hurt someone must go to a person at once, whatever is paid." in text
    assert "\x1b" not in shown
    assert max(len(line) for line in shown.split("What to try next")[0].splitlines()) <= 100


def test_every_command_that_the_demo_names_works(shown: str) -> None:
    named = [line.strip() for line in shown.split("What to try next")[1].splitlines() if line.strip()]
    assert len(named) >= 4
    assert all(command.startswith("hourmark ") for command in named)
    for command in named:
        if command == "hourmark policy new":
            continue  # asks questions: see its own tests
        done = process(*shlex.split(command)[1:])
        # The document holds nothing else, so that the scenario's versions are drafts is said beside it, and that its
        # services of later days play no part.
        beside = ["are drafts: no lock file holds them.", "service records are dated after the day of the decision"]
        told = done.stderr.splitlines()
        assert (done.returncode, len(told)) == (0, 2 if command.endswith("--json") else 0), command
        assert all(words in line for words, line in zip(beside, told, strict=False)), command
        assert done.stdout


def test_one_claim_of_the_demo_in_full(shown: str) -> None:
    match = re.search(r"One decision in full \((\S+)\)", shown)
    assert match is not None
    code, out, _ = run("demo", "--claim", match[1])
    assert code == 0
    assert f"Claim {match[1]}, machine " in out
    code, _, err = run("demo", "--claim", "C-0000")
    assert code == 2
    assert "claim C-0000 is not in this file." in err


def test_every_claim_is_listed_with_what_came_out_and_why() -> None:
    """C-2002 is the README's: 731.40 for the part and 96.72 for the work; C-2050 is above its hour limit."""
    code, out, err = run("demo", "--list")
    assert (code, err) == (0, "")
    rows = out.splitlines()
    starts = [row for row in rows if re.match(r"C-\d{4}   ", row)]
    assert len(starts) == len({row[:6] for row in starts}) == 250
    (one,) = [row for row in starts if row.startswith("C-2002")]
    assert one.startswith("C-2002   paid in part   828.12 EUR   A required service is missing")
    (one,) = [row for row in starts if row.startswith("C-2050")]
    assert one.startswith("C-2050   not covered   0.00 EUR   The hour limit was exceeded")
    code, out, err = run("demo", "--list", "--letter")
    assert (code, out) == (2, "")
    assert "--list names every claim; leave out --claim, --explain and --letter." in err


def test_hours_over_two_meters_are_told_as_their_sum() -> None:
    """C-2050: the old meter ended at 1,120 h, the new one showed 400 h at the failure; the limit is 1,500 h."""
    code, out, _ = run("demo", "--claim", "C-2050", "--explain")
    words = "1,120.0 h (MC-01, old meter) + 400.0 h (read at the failure) = 1,520.0 h"
    assert code == 0
    assert f"hours over all meters: {words}" in flat(out)
    assert f"machine hours at the failure: {words} " in flat(out)
    assert f"{words} (" not in flat(out)


def test_the_tally_adds_up_to_the_lines_of_the_decisions() -> None:
    scenario = read_scenario(ROOT / "fixtures/demo")
    claims = list(scenario.claims.values())[:25]
    with Adjudicator(scenario.policies.book) as adjudicator:
        decisions = [adjudicator.decide(scenario.claim_file(claim), remedies=False) for claim in claims]
    tally = tally_of(decisions)
    lines = [line for decision in decisions for line in decision.lines]
    assert tally.claims == len(claims) == sum(tally.by_status.values())
    assert sum(sums.lines for sums in tally.by_outcome.values()) == len(lines)
    for name in SUMS:
        counted = sum((sums.amounts[name] for sums in tally.by_outcome.values()), Decimal(0))
        assert counted == sum((getattr(line, name) for line in lines), Decimal(0))


def test_an_installation_that_is_not_whole_is_told_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "service.command.demo", None)
    code, out, err = run("demo")
    assert (code, out) == (3, "")
    assert err.startswith("The installation is not whole: ")
    assert err.endswith("\nInstall hourmark again, as its README says.\n")


def test_what_is_claimed_and_granted_goes_to_somebody(shown: str) -> None:
    assert "granted" in shown.split("Claims by status")[0]
    # 1,150.00 claimed and 10.00 granted above it: the maker pays 700.00, the owner owes 460.00.
    line = replace(DRIVE, added=Decimal("10.00"), maker_pays=Decimal("700.00"))
    (sums,) = tally_of([replace(DECISION, lines=(line,))]).by_outcome.values()
    claimed, granted, *others = (sums.amounts[name] for name in SUMS)
    assert (claimed, granted) == (Decimal("1150.00"), Decimal("10.00"))
    assert claimed + granted == sum(others, Decimal(0))


def test_the_tally_of_a_decision_made_by_hand() -> None:
    tally = tally_of([DECISION, DECISION])
    # Twice: 690.00 of the drive in part, 0.00 of the trip, 690.00 of what waits with 460.00 open.
    assert {
        key: (sums.lines, sums.amounts["maker_pays"], sums.amounts["open"]) for key, sums in tally.by_outcome.items()
    } == {
        ("pay_part", "EUR"): (2, Decimal("1380.00"), Decimal("0.00")),
        ("deny", "EUR"): (2, Decimal("0.00"), Decimal("0.00")),
        ("need_info", "EUR"): (2, Decimal("1380.00"), Decimal("920.00")),
    }
    assert tally.by_status == {"partly_decided": 2}
    assert dict(tally.reasons) == {"service_missed": 4, "prorated": 2, "fact_open": 2, "item_not_paid": 2}
    assert tally.reasons[0] == ("service_missed", 4)


def test_the_most_telling_decision_falls_back_and_is_prorated() -> None:
    scenario = read_scenario(ROOT / "fixtures/demo")
    assert decided_on(next(iter(scenario.claims.values()))).year >= 2020
    assert most_telling([DECISION]) is DECISION
    assert DRIVE.share == "3/5"
