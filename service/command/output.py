"""Printing: text to a width, faults to standard error, refusals instead of tracebacks; no colour is ever needed."""

import functools
import os
import re
import shlex
import shutil
import sys
from collections.abc import Callable, Iterable
from datetime import date, datetime
from pathlib import Path
from typing import NoReturn, ParamSpec, TypeVar

import typer
from rich.cells import cell_len

from schemas.documents import Fault
from schemas.documents.faults import shortened
from schemas.quantities import FIRST_DAY, LAST_DAY
from service.rendering.layout import headed, wrapped
from service.text_files import InputRefused, shown_path

REFUSED = 2
NOT_HELD = 1
FAULT_OF_OURS = 3
READER_GONE = 141  # as of any program that a closed pipe ends: 128 and the number of SIGPIPE
WIDTH_WHEN_PIPED = 100
WIDEST = 120

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_LABEL = re.compile(r" +(?:before|after): +(?=\S)")

P = ParamSpec("P")
R = TypeVar("R")


def width() -> int:
    """Return the width to write to, in cells: of the terminal up to 120, or COLUMNS, or 100 when piped."""
    if not sys.stdout.isatty() and not os.environ.get("COLUMNS", "").isdigit():
        return WIDTH_WHEN_PIPED
    return max(min(shutil.get_terminal_size((WIDTH_WHEN_PIPED, 24)).columns, WIDEST), 40)


def say(text: str = "") -> None:
    """Print text as it is: user text is never read as markup."""
    typer.echo(text.removesuffix("\n"))


def say_bytes(data: bytes) -> None:
    """Print bytes as they are, such as JSON in UTF-8, whatever the terminal's own encoding."""
    typer.echo(data)


def to_width(text: str) -> list[str]:
    """Return lines of text, those that are too wide wrapped under their own indentation; others stay as they are.

    A label such as "  after:  " keeps its blanks, and what follows it stands beside it.
    """
    lines = []
    for line in text.splitlines():
        label = _LABEL.match(line)
        indent = line[: len(line) - len(line.lstrip())]
        if cell_len(line) <= width():
            lines.append(line)
        elif label is not None:
            lines += wrapped(line[label.end() :], width(), label[0], " " * cell_len(label[0]))
        else:
            lines += wrapped(line, width(), indent, f"{indent}  ")
    return lines


def say_at(place: str, text: str, indent: str = "  ") -> None:
    """Print what is said about a place, such as a file with its line; the place is never broken over two lines."""
    say("\n".join(headed(f"{indent}{place}", text, width(), f"{indent}  ")))


def called() -> str:
    """Return how this command is called from here: by its name where the shell finds it so, else by its path."""
    program = Path(sys.argv[0])
    if program.stem != "hourmark":
        return "hourmark"
    found = shutil.which("hourmark")
    if found is not None and Path(found).absolute() == program.absolute():
        return "hourmark"
    return shlex.quote(str(shown_path(program.absolute())))


def complain(faults: Iterable[Fault | str]) -> None:
    """Print faults to standard error, one a line, as an editor or a person can follow them."""
    for fault in faults:
        typer.echo(str(fault), err=True)


def refuse(message: str) -> NoReturn:
    """Print why the input is refused, and leave with the exit code for it."""
    complain([message])
    raise typer.Exit(REFUSED)


def refusing(command: Callable[P, R]) -> Callable[P, R]:
    """Wrap a command so that refused input is told fault by fault and never becomes a traceback."""

    @functools.wraps(command)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return command(*args, **kwargs)
        except InputRefused as error:
            complain(error.faults)
            count = len(error.faults)
            complain([f"{count} {'fault' if count == 1 else 'faults'}; nothing was done."])
            raise typer.Exit(REFUSED) from None
        except OSError as error:
            if isinstance(error, BrokenPipeError):  # as `| head -1` does: nothing failed, and nobody reads on
                os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
                raise typer.Exit(READER_GONE) from None
            name = f"{error.filename}: " if error.filename else ""
            refuse(f"{name}{error.strerror or error}. Nothing more was done.")
        except (typer.Exit, typer.Abort):
            raise
        except ImportError as error:
            complain([f"The installation is not whole: {error}", "Install hourmark again, as its README says."])
            raise typer.Exit(FAULT_OF_OURS) from error
        except Exception as error:  # not the user's fault, and not to be shown as one
            if os.environ.get("HOURMARK_TRACEBACK"):
                raise
            complain([f"This is a fault in hourmark, not in your files: {type(error).__name__}: {error}"])
            complain(["Set HOURMARK_TRACEBACK=1 to see where, and report it with the files that show it."])
            raise typer.Exit(FAULT_OF_OURS) from error

    return wrapped


def day_option(text: str | None, option: str) -> date | None:
    """Return the day of an option; raises typer.Exit with a message for anything but an ISO date."""
    if text is None:
        return None
    try:
        if not _DAY.fullmatch(text):  # fromisoformat takes weeks, too, which nobody writes on a claim
            raise ValueError(text)
        day = date.fromisoformat(text)
    except ValueError:
        refuse(f'{option}: "{shortened(text)}" is not a day. Write it as year-month-day, for example 2026-03-31.')
    if not FIRST_DAY <= day <= LAST_DAY:
        refuse(f"{option}: {text} lies outside {FIRST_DAY} to {LAST_DAY}. Correct the year.")
    return day


def today() -> date:
    """Return today's date at this computer's place."""
    return datetime.now().astimezone().date()
