"""A claim file that was kept: the decision made again from it alone, and from records that have grown since.

The claim is that of test_decide_command.py: 937.00 EUR, decided on 20 February 2027.
"""

import hashlib
import json
from pathlib import Path

import pytest

from schemas.claim_file import ClaimFile
from schemas.documents import parse_document, validated
from service.command.demo import read_scenario
from tests.service.command_line import DECIDE, FILES, flat, process, run

pytestmark = pytest.mark.fast

POLICIES = ("--policies", str(FILES / "terms"))


def kept(tmp_path: Path) -> tuple[Path, str]:
    """Keep the claim file of the claim; return it, and the Decision document."""
    file = tmp_path / "C-2207.claim-file.json"
    code, out, _ = run(*DECIDE, "--json", "--keep-claim-file", file)
    assert code == 0
    return file, out


def test_the_decision_is_made_again_from_the_claim_file_alone(tmp_path: Path) -> None:
    file = tmp_path / "kept.json"
    first = process(*DECIDE, "--json", "--keep-claim-file", file)
    assert first.returncode == 0
    again = process("decide", file, *POLICIES, "--json")
    assert (again.returncode, again.stdout) == (0, first.stdout)
    document = json.loads(again.stdout)
    assert document["payout"]["amount"] == "937.00"
    # What is kept is what is digested, byte for byte.
    assert document["digests"]["claim_file"] == f"sha256:{hashlib.sha256(file.read_bytes()).hexdigest()}"


def test_records_that_have_grown_since_give_the_same_decision(tmp_path: Path) -> None:
    _, before = kept(tmp_path)
    services = json.loads((FILES / "records/services.json").read_text())
    assert services[0]["record"] == "S-118"
    later = {**services[0], "record": "S-200", "on": "2027-02-21", "reading": 1520}  # the day after the decision
    grown = tmp_path / "services.json"
    grown.write_text(json.dumps([*services, later]))
    machine = tmp_path / "machine.yaml"
    reading = "\nreadings: [{id: R-9, on: 2027-03-01, hours: 1530}]\n"
    machine.write_text((FILES / "records/machine.yaml").read_text().rstrip() + reading)
    given = [str(grown) if part.endswith("services.json") else part for part in DECIDE]
    given[given.index("--machine") + 1] = str(machine)
    code, after, err = run(*given, "--json")
    assert (code, after) == (0, before)
    assert "service record S-200 of 21 February 2027 is dated after the day of the decision and plays no part." in err
    assert "machine QF60-771: reading R-9 of 1 March 2027 is dated after the day of the decision and plays" in err


def test_nothing_is_written_over_and_the_same_claim_file_may_be_there(tmp_path: Path) -> None:
    file, _ = kept(tmp_path)
    assert kept(tmp_path)[0] == file
    claim = tmp_path / "claim.yaml"
    claim.write_text("claim: C-1\n")
    code, out, err = run(*DECIDE, "--keep-claim-file", claim)
    assert (code, out, claim.read_text()) == (2, "", "claim: C-1\n")
    assert f"{claim}:1: this is there already, and is not this claim file. Name another file" in err


@pytest.mark.parametrize(
    "beside", [*[DECIDE[at : at + 2] for at in (2, 4, 6, 8, 12)], ("--claim", "C-2207"), ("--payments", "none.json")]
)
def test_records_beside_a_claim_file_are_refused(beside: tuple[str, str], tmp_path: Path) -> None:
    file, _ = kept(tmp_path)
    code, out, err = run("decide", file, *POLICIES, *beside)
    assert (code, out) == (2, "")
    assert f"which holds the records and the day of the decision as they were. Leave out {beside[0]}," in err


def test_a_claim_file_that_was_changed_by_hand_is_refused_in_words(tmp_path: Path) -> None:
    file, _ = kept(tmp_path)
    text = file.read_text()
    for before, after, words in (
        ('"EUR":2', '"USD":2', "this claim file was gathered without EUR, which it or a policy here names."),
        ('"decided_on":"2027-02-20"', '"decided_on":"2027-02-09"', "claim C-2207 goes on until 2027-02-10, and cannot"),
        ('"decided_on":"2027-02-20"', '"decided_in":"2027-02-20"', '"decided_in" is not a key here. Did you mean'),
    ):
        assert text.count(before) == 1
        file.write_text(text.replace(before, after))
        code, out, err = run("decide", file, *POLICIES)
        assert (code, out) == (2, "")
        assert words in flat(err)


def test_without_a_machine_a_claim_is_refused() -> None:
    at = DECIDE.index("--machine")
    code, _, err = run(*DECIDE[:at], *DECIDE[at + 2 :])
    assert (code, err) == (2, "The machine is not given. Name its file with --machine.\n")


def test_every_claim_file_of_the_scenario_is_read_back_as_it_was() -> None:
    scenario = read_scenario()
    for claim in scenario.claims.values():
        claim_file = scenario.claim_file(claim)
        read = validated(ClaimFile, parse_document(claim_file.canonical.decode(), "kept.json"))
        assert read == claim_file
        assert read.digest == claim_file.digest
