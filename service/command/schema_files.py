"""`hourmark schemas`: the JSON Schemas of every document as files, for editors and other programs."""

from pathlib import Path

import typer

from schemas.json_schemas import SUFFIX, schema_files
from service.command.output import NOT_HELD, called, complain, refuse, say
from service.text_files import shown_path, write_whole


def run_schemas(directory: Path, *, write: bool, check: bool) -> None:
    """Write the schemas, or say which of those written are out of step; without either, check."""
    if write and check:
        refuse("--write and --check do not go together: choose one of them.")
    if write:
        _write(directory)
    else:
        _check(directory)


def _write(directory: Path) -> None:
    directory.mkdir(parents=True, exist_ok=True)
    written = 0
    files = schema_files()
    for name, text in files.items():
        if _text_of(directory / name) != text:
            write_whole(directory / name, text)
            say(f"written  {shown_path(directory / name)}")
            written += 1
    say(f"{written} of {len(files)} schemas written to {shown_path(directory)}; the others were in step.")
    for stray in _strays(directory):
        complain([f"{shown_path(stray)}: this schema belongs to no document known here. Remove it."])


def _check(directory: Path) -> None:
    files = schema_files()
    wrong = []
    for name, text in files.items():
        found = _text_of(directory / name)
        if found is None:
            wrong.append(f"{shown_path(directory / name)}: this schema is not there.")
        elif found != text:
            wrong.append(f"{shown_path(directory / name)}: this schema is not what the models say.")
    wrong += [f"{shown_path(stray)}: this schema belongs to no document known here." for stray in _strays(directory)]
    if wrong:
        complain([*wrong, f"Write them again with `{called()} schemas {shown_path(directory)} --write`."])
        raise typer.Exit(NOT_HELD)
    say(f"{len(files)} schemas in {shown_path(directory)} are in step.")


def _text_of(file: Path) -> str | None:
    try:
        return file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except UnicodeDecodeError:
        return ""  # whatever it is, it is not a schema of ours


def _strays(directory: Path) -> list[Path]:
    known = schema_files()
    found = sorted(directory.glob(f"*{SUFFIX}")) if directory.is_dir() else []
    return [file for file in found if file.name not in known]
