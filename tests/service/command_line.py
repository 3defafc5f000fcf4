"""Running the command as people do: in a process of its own, and through typer's runner where many runs are needed."""

import os
import subprocess
import sys
from pathlib import Path

from typer.testing import CliRunner

from service.command.app import app

ROOT = Path(__file__).parents[2]
FILES = Path(__file__).parent / "files"
CLAIM = FILES / "records/claim.yaml"
DECIDE = (
    "decide",
    str(CLAIM),
    "--machine",
    str(FILES / "records/machine.yaml"),
    "--services",
    str(FILES / "records/services.json"),
    "--dealer",
    str(FILES / "records/dealers.json"),
    "--tables",
    str(FILES / "tables"),
    "--policies",
    str(FILES / "terms"),
    "--decided-on",
    "2027-02-20",
)


def process(*arguments: object, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run `hourmark` in a process of its own, from the root of the project."""
    return subprocess.run(
        [sys.executable, "-m", "service.command", *map(str, arguments)],
        cwd=ROOT,
        env={**os.environ, "PYTHONWARNINGS": "error", "HOURMARK_TRACEBACK": "", **environment},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )


def run(*arguments: object, answers: str | None = None) -> tuple[int, str, str]:
    """Return the exit code, the output and the errors of a run within this process; an exception is raised."""
    result = CliRunner().invoke(app, [str(argument) for argument in arguments], input=answers)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr


def flat(text: str) -> str:
    """Return text without its line breaks, to look for words in it."""
    return " ".join(text.split())
