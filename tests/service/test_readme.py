"""The README shows what the program does: its decision, its policy and its commands are held against the real ones."""

import json
import re
import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import Result
from typer.testing import CliRunner

from service.command.app import app
from tests.service.command_line import flat

pytestmark = pytest.mark.fast

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """Return the fenced blocks of a language (empty: none named)."""
    found = re.findall(r"^```(\w*)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    return [text for named, text in found if named == language]


def test_the_decision_it_shows_is_the_one_that_the_demo_prints(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("COLUMNS", "100")
    printed = CliRunner().invoke(app, ["demo", "--claim", "C-2002"]).output
    shown = next(block for block in blocks("") if block.startswith("Claim C-2002"))
    assert shown in printed


def test_the_policy_it_shows_is_the_one_that_ships() -> None:
    policy = (ROOT / "fixtures/demo/policies/quillfen-wheel-drive-2.yaml").read_text(encoding="utf-8")
    shown = next(block for block in blocks("yaml") if block.startswith("policy: "))
    lines = policy.splitlines()
    missing = [line for line in shown.splitlines() if line not in lines]
    assert not missing


def test_the_claim_it_shows_is_decided_as_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    files = re.findall(r"^`?.*?`(\w+\.yaml)`:\n\n```yaml\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert [name for name, _ in files] == ["machine.yaml", "services.yaml", "claim.yaml"]
    for name, text in files:
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "fixtures").symlink_to(ROOT / "fixtures")
    monkeypatch.chdir(tmp_path)
    (command,) = re.findall(r"^hourmark decide claim\.yaml .*$", README, re.MULTILINE)
    result = CliRunner().invoke(app, shlex.split(command)[1:])
    assert result.exit_code == 0, result.stderr
    # 1,000.00 on the price list × 1.15 = 1,150.00, as the README says.
    assert "Paid in full: the maker pays the dealer 1,150.00 EUR." in result.stdout
    assert result.stderr == ""


def test_every_command_it_names_exists(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    named = sorted(set(re.findall(r"`hourmark ([a-z ]+?)(?= [A-Z\[/a-z]*[./A-Z\[-]|`)", README)))
    assert len(named) >= 7, named
    for command in named:
        result = CliRunner().invoke(app, [*shlex.split(command), "--help"])
        assert result.exit_code == 0, command


def ran(command: str) -> Result:
    return CliRunner().invoke(app, shlex.split(command)[1:])


def written_and_closed(directory: Path, monkeypatch: pytest.MonkeyPatch, in_force: str = "{from: 2026-01-01,") -> Path:
    """Make the first version with the README's commands, with its time in force, and publish it."""
    monkeypatch.chdir(directory)
    (commands,) = (block for block in blocks("") if block.startswith("hourmark policy new"))
    new, show, publish = commands.splitlines()
    assert "8 cases in 1 table: 8 hold, 0 fail" in ran(new).stdout
    assert ran(show).stdout.startswith("Quillfen: wheel drive, proven service\n")
    first = directory / "policies/orchard-drive-1.yaml"
    first.write_text(first.read_text(encoding="utf-8").replace("{from: 2026-01-01,", in_force), encoding="utf-8")
    assert ran(publish).exit_code == 0
    return directory / "policies"


def edited(file: Path, *changes: tuple[str, str]) -> None:
    text = file.read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text, before
        text = text.replace(before, after)
    file.write_text(text, encoding="utf-8")


LONGER = (("months: 42", "months: 48"), ("42 months", "48 months"))


def with_the_next_terms(policies: Path) -> None:
    """Make the copies as the README says, and change in them what it says."""
    (copies,) = (block for block in blocks("") if block.startswith("cp "))
    for line in copies.splitlines():
        _, source, target = shlex.split(line)
        shutil.copy(source, target)
    in_force = "in_force: {from: 2026-01-01, selected_by: start_of_term}\n"
    second, third = (block for block in blocks("yaml") if re.match(r"version: [23]\n", block))
    *ended, end = second.splitlines(keepends=True)
    edited(policies / "orchard-drive-2.yaml", ("version: 1\n", "".join(ended)), (in_force, end))
    number, begins = third.splitlines(keepends=True)
    lesser = ("orchard-drive-prorated@1", "orchard-drive-prorated@2")
    edited(policies / "orchard-drive-3.yaml", ("version: 1\n", number), (in_force, begins), *LONGER, lesser)
    edited(policies / "orchard-drive-prorated-2.yaml", ("version: 1\n", "version: 2\n"), *LONGER)
    cases = policies / "orchard-drive-3.cases.yaml"
    edited(cases, ("orchard-drive@1", "orchard-drive@3"), lesser)
    later = re.sub(r"\b20\d\d(?=-)", lambda year: str(int(year[0]) + 1), cases.read_text(encoding="utf-8"))
    cases.write_text(later, encoding="utf-8")


def test_the_next_version_is_made_as_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    policies = written_and_closed(tmp_path, monkeypatch)
    with_the_next_terms(policies)
    (commands,) = (block for block in blocks("") if block.startswith("hourmark policy check policies"))
    check, diff, cases, publish = commands.splitlines()
    checked = " ".join(ran(check).stdout.split())
    assert "orchard-drive@1 Quillfen: wheel drive, proven service (published, superseded by orchard-drive@2)" in checked
    assert "orchard-drive@3 Quillfen: wheel drive, proven service (not published)" in checked
    assert "warning" not in checked
    # Version, time in force, the term in words and in months, and what missed services fall back to.
    assert "orchard-drive@1 and orchard-drive@3: 5 differences" in ran(diff).stdout
    tried = ran(cases)
    assert tried.exit_code == 1
    assert "8 cases in 1 table: 7 hold, 1 fail" in tried.stdout
    assert "orchard-drive-3.cases.yaml:36: on the day after the term nothing is covered" in flat(tried.stdout)
    refused = ran(publish)
    assert (refused.exit_code, "1 of 8 worked cases about these versions does not hold" in refused.stderr) == (1, True)
    # Delivered on 15 January 2027: as the README says.
    edited(policies / "orchard-drive-3.cases.yaml", ("2030-07-15", "2031-01-15"))
    assert "over on 15 July 2030, and 48 months on 15 January 2031" in README
    assert ran(cases).exit_code == 0
    closed = ran(publish)
    assert closed.exit_code == 0
    assert "3 versions are now closed in policies/published.lock. 2 were published before" in flat(closed.stdout)


def files_of_a_claim(directory: Path, start: str = "2026-03-11") -> None:
    """Write the README's files of a claim, two years later, the machine delivered on ``start``."""
    for name, text in re.findall(r"^`?.*?`(\w+\.yaml)`:\n\n```yaml\n(.*?)^```$", README, re.MULTILINE | re.DOTALL):
        later = text.replace("2024-", "2026-").replace("retail_delivery: 2026-03-11", f"retail_delivery: {start}")
        (directory / name).write_text(later, encoding="utf-8")


@pytest.mark.parametrize(("start", "version"), [("2026-12-31", 2), ("2027-01-01", 3)])
def test_each_machine_keeps_the_version_of_its_day(
    start: str, version: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    policies = written_and_closed(tmp_path, monkeypatch)
    with_the_next_terms(policies)
    files_of_a_claim(tmp_path, start)
    edited(tmp_path / "services.yaml", ("2026-05-02", "2027-05-02"), ("drain_and_fill, replace_filter", "service"))
    edited(tmp_path / "claim.yaml", ("2026-09-02", "2027-09-02"))
    decide = "hourmark decide claim.yaml --machine machine.yaml --services services.yaml --explain"
    explained = flat(ran(f"{decide} --policies policies --decided-on 2027-10-01").stdout)
    assert f"orchard-drive {version}: start of term" in explained
    own = {2: "from 1 January 2026 to 31 December 2026; it replaces version 1 for new decisions",
           3: "from 1 January 2027"}  # fmt: skip
    assert f"lies in its time in force, {own[version]}" in explained


def test_an_old_decision_is_made_again_from_the_policies_it_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    policies = written_and_closed(tmp_path, monkeypatch)
    files_of_a_claim(tmp_path)
    decide = "hourmark decide claim.yaml --machine machine.yaml --services services.yaml --json --decided-on 2026-10-01"

    def outcome(options: str) -> str:
        return str(json.loads(ran(f"{decide} {options}").stdout)["digests"]["outcome"])

    before = outcome("--policies policies")
    shutil.copy(policies / "orchard-drive-1.yaml", policies / "orchard-drive-2.yaml")
    edited(policies / "orchard-drive-2.yaml", ("version: 1\n", "version: 2\nsupersedes: [1]\n"), *LONGER)
    after = outcome("--policies policies")
    assert after != before
    prorated = "--policies policies/orchard-drive-prorated-1.yaml"
    assert outcome(f"--policies policies/orchard-drive-1.yaml {prorated}") == before
    # What a version superseded is not among the policies that its decisions name.
    assert outcome(f"--policies policies/orchard-drive-2.yaml {prorated}") == after


@pytest.mark.parametrize(
    ("in_force", "faults"),
    [("{from: 2026-01-01, until: 2026-12-31,", []), ("{from: 2026-01-01,", ["both in force on 1 January 2027"])],
)
def test_versions_follow_each_other_by_their_days_where_the_first_has_an_end(
    in_force: str, faults: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    policies = written_and_closed(tmp_path, monkeypatch, in_force)
    shutil.copy(policies / "orchard-drive-1.yaml", policies / "orchard-drive-2.yaml")
    begins = (f"in_force: {in_force}", "in_force: {from: 2027-01-01,")
    edited(policies / "orchard-drive-2.yaml", ("version: 1\n", "version: 2\n"), begins)
    checked = ran("hourmark policy check policies")
    assert checked.exit_code == (2 if faults else 0)
    for fault in faults:
        assert fault in checked.stderr
        assert "supersedes: [1]" in checked.stderr
        assert "a copy of version 1 with that end" in checked.stderr
