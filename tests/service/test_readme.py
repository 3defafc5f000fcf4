"""The README shows what the program does: its decision, its policy and its commands are held against the real ones."""

import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from service.command.app import app

pytestmark = pytest.mark.fast

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """Return the fenced blocks of a language (empty: none named)."""
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


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
