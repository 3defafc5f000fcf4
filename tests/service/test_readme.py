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
    assert "7 cases in 1 table: 7 hold, 0 fail" in ran(new).stdout
    assert ran(show).stdout.startswith("Quillfen: wheel drive, proven service\n")
    first = directory / "policies/orchard-drive-1.yaml"
    first.write_text(first.read_text(encoding="utf-8").replace("{from: 2026-01-01,", in_force), encoding="utf-8")
    assert ran(publish).exit_code == 0
    return directory / "policies"


def copied(policies: Path, old: str, new: str) -> None:
    """Make the copies as the README says, with the new months, and ``new`` for ``old`` in the copied policy."""
    (copies,) = (block for block in blocks("") if block.startswith("cp "))
    for line in copies.splitlines():
        _, source, target = shlex.split(line)
        shutil.copy(source, target)
    second, cases = policies / "orchard-drive-2.yaml", policies / "orchard-drive-2.cases.yaml"
    text = second.read_text(encoding="utf-8").replace(old, new)
    text = text.replace("months: 42", "months: 48").replace("42 months", "48 months")
    second.write_text(text, encoding="utf-8")
    text = cases.read_text(encoding="utf-8").replace("orchard-drive@1", "orchard-drive@2")
    cases.write_text(text, encoding="utf-8")


def test_the_next_version_is_made_as_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    policies = written_and_closed(tmp_path, monkeypatch)
    (head,) = (block for block in blocks("yaml") if "supersedes" in block)
    copied(policies, "version: 1\n", head)
    (commands,) = (block for block in blocks("") if block.startswith("hourmark policy check policies"))
    check, diff, cases, publish = commands.splitlines()
    assert "orchard-drive@2 Quillfen: wheel drive, proven service (not published)" in ran(check).stdout
    compared = ran(diff).stdout
    assert "supersedes\n  before: nothing\n  after:  version 1\n" in compared
    assert "4 differences" in compared  # version, supersedes, and the term in words and in months
    tried = ran(cases)
    assert tried.exit_code == 1
    assert "7 cases in 1 table: 6 hold, 1 fail" in tried.stdout
    assert "orchard-drive-2.cases.yaml:30: on the day after the term nothing is covered" in flat(tried.stdout)
    assert "orchard-drive@1" not in tried.stdout  # the replaced version is not what the table is about
    table = policies / "orchard-drive-2.cases.yaml"
    # Delivered on 15 January 2026; 48 months end with 14 January 2030.
    table.write_text(table.read_text(encoding="utf-8").replace("2029-07-15", "2030-01-15"), encoding="utf-8")
    assert ran(cases).exit_code == 0
    closed = ran(publish)
    assert closed.exit_code == 0
    assert "published  orchard-drive@2" in closed.stdout
    assert "1 version is now closed in policies/published.lock. 2 were published before and unchanged." in closed.stdout


def test_an_old_decision_is_made_again_from_the_policies_it_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    policies = written_and_closed(tmp_path, monkeypatch)
    for name, text in re.findall(r"^`?.*?`(\w+\.yaml)`:\n\n```yaml\n(.*?)^```$", README, re.MULTILINE | re.DOTALL):
        (tmp_path / name).write_text(text.replace("2024-", "2026-"), encoding="utf-8")
    decide = "hourmark decide claim.yaml --machine machine.yaml --services services.yaml --json --decided-on 2026-10-01"

    def outcome(options: str) -> str:
        return str(json.loads(ran(f"{decide} {options}").stdout)["digests"]["outcome"])

    before = outcome("--policies policies")
    copied(policies, "version: 1\n", "version: 2\nsupersedes: [1]\n")
    assert outcome("--policies policies") != before
    named = "--policies policies/orchard-drive-1.yaml --policies policies/orchard-drive-prorated-1.yaml"
    assert outcome(named) == before


@pytest.mark.parametrize(
    ("in_force", "faults"),
    [("{from: 2026-01-01, until: 2026-12-31,", []), ("{from: 2026-01-01,", ["both in force on 1 January 2027"])],
)
def test_versions_follow_each_other_by_their_days_where_the_first_has_an_end(
    in_force: str, faults: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "`in_force: {from: 2026-01-01, until: 2026-12-31, selected_by: start_of_term}`" in README
    policies = written_and_closed(tmp_path, monkeypatch, in_force)
    copied(policies, f"in_force: {in_force}", "in_force: {from: 2027-01-01,")
    second = policies / "orchard-drive-2.yaml"
    second.write_text(second.read_text(encoding="utf-8").replace("version: 1\n", "version: 2\n"), encoding="utf-8")
    checked = ran("hourmark policy check policies")
    assert checked.exit_code == (2 if faults else 0)
    for fault in faults:
        assert fault in checked.stderr
        assert "supersedes: [1]" in checked.stderr
