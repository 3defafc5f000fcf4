"""What is told of a claim's lines as typed. The claim is that of test_decide_command.py."""

from pathlib import Path

import pytest

from tests.service.command_line import CLAIM, DECIDE, FILES, ROOT, flat, run

pytestmark = pytest.mark.fast

SIDES = (
    "components: [{id: F-1, component: wheel_drive, position: left}, {id: F-2, component: wheel_drive, position: %s}]"
)


def decided(tmp_path: Path, components: str, claim: str) -> str:
    """Return what is printed of a claim on a machine with these components on file."""
    machine = tmp_path / "machine.yaml"
    machine.write_text(f"{(FILES / 'records/machine.yaml').read_text()}\n{components}\n")
    file = tmp_path / "claim.yaml"
    file.write_text(claim)
    given = ["decide", str(file), *DECIDE[2:]]
    given[given.index("--machine") + 1] = str(machine)
    code, out, err = run(*given)
    assert (code, err) == (0, "")
    return flat(out)


@pytest.mark.parametrize(
    ("components", "position", "told"),
    [
        (SIDES % "right", "rear", True),
        (SIDES % "right", "left", False),
        (SIDES % "none", "rear", False),  # which side the other one is on is not known
        ("components: []", "rear", False),
        (SIDES % "right", "none", False),  # where the side matters, the rules ask for it
    ],
)
def test_a_side_that_the_machine_does_not_have_is_told(
    components: str, position: str, told: bool, tmp_path: Path
) -> None:
    text = CLAIM.read_text()
    assert text.count("part_number: P-100") == 1
    claim = text.replace("part_number: P-100", f"part_number: P-100, position: {position}")
    words = (
        "Note: claim C-2207, line drive: the rear wheel drive is claimed, and machine QF60-771 has the left and right"
        " one on file."
    )
    assert (words in decided(tmp_path, components, claim)) is told
    assert ("is claimed, and machine" in decided(tmp_path, components, claim)) is told


def test_a_distance_without_a_sum_that_nothing_is_paid_for_is_told(tmp_path: Path) -> None:
    text = CLAIM.read_text()
    assert text.count('item: travel, component: wheel_drive, amount: "60.00"') == 1
    words = "line trip: it states 50 km and no amount, and no coverage pays it by a rate of its own"
    for stated, told in (("units: 50, unit: km", True), ('units: 50, unit: km, amount: "60.00"', False)):
        claim = text.replace('component: wheel_drive, amount: "60.00"', f"component: wheel_drive, {stated}")
        assert (words in decided(tmp_path, "components: []", claim)) is told


def test_a_distance_that_is_paid_by_a_rate_is_not_told(tmp_path: Path) -> None:
    """The demo's machine coverage pays 0.80 a kilometre: 50 × 0.80 = 40.00."""
    machine = (FILES / "records/machine.yaml").read_text().replace("region: XX", "region: DE")
    (tmp_path / "machine.yaml").write_text(machine)
    claim = CLAIM.read_text().split("lines:")[0].replace("reading: 1500", "reading: 300")
    line = "lines: [{line: trip, item: travel, component: wiring_harness, units: 50, unit: km}]\n"
    (tmp_path / "claim.yaml").write_text(claim + line)
    given = ["--machine", tmp_path / "machine.yaml", "--policies", ROOT / "fixtures/demo", "--decided-on", "2027-02-20"]
    code, out, _ = run("decide", tmp_path / "claim.yaml", *given)
    assert code == 0
    assert "claimed 40.00" in flat(out)
    assert "by a rate of its own" not in flat(out)
