"""`hourmark policy new`: ten questions, answered as options or one by one, and the files of a first policy."""

import shlex
from collections.abc import Mapping
from datetime import date
from pathlib import Path

import typer

from schemas.cases import CaseTable
from schemas.documents import Fault
from service.command.cases import run_cases
from service.command.output import called, day_option, refuse, say, today
from service.new_policy import QUESTIONS, Answers, Asked, check_together, documents_of, parsed
from service.policy_files import load_policies
from service.text_files import InputRefused, read_as, refused, shown_path, write_whole


def run_new(directory: Path, given: Mapping[str, str | None], from_day: str | None) -> None:
    """Ask what was not given, write the files, and show that they hold. Raises typer.Exit for refused answers."""
    day = day_option(from_day, "--from") or today()
    answers = _answers(given, day)
    try:
        check_together(answers)
        documents = documents_of(answers)
    except ValueError as error:
        refuse(f"These answers do not fit together: {error}. Nothing was written.")
    present = [directory / name for name in documents if (directory / name).exists()]
    if present:
        faults = [
            Fault(str(shown_path(file)), 1, None, "", "this file is there already.", "Choose another name.")
            for file in present
        ]
        raise InputRefused(faults)
    if directory.exists() and not directory.is_dir():
        raise refused(
            directory, "this is a file, and no directory.", "Name the directory to write the policy files to."
        )
    directory.mkdir(parents=True, exist_ok=True)
    for name, text in documents.items():
        write_whole(directory / name, text)
        say(f"written  {shown_path(directory / name)}")
    load_policies(directory)
    table = directory / f"{answers.name}.cases.yaml"
    read_as(CaseTable, table)
    run_cases([table], [directory], verbose=True)
    say()
    say("What to do next: read the terms in plain English, change what is not yours, and publish.")
    for command, file in (
        ("policy show", directory / f"{answers.name}-1.yaml"),
        ("policy check", directory),
        ("cases", table),
        ("policy publish", directory),
    ):
        say(f"  {called()} {command} {shlex.quote(str(shown_path(file)))}")


def _answers(given: Mapping[str, str | None], day: date) -> Answers:
    found: dict[str, object] = {}
    for asked in QUESTIONS:
        text = given.get(asked.key)
        found[asked.key] = _ask(asked) if text is None else _option(asked, text)
    return Answers(**found, from_day=day)  # type: ignore[arg-type]


def _option(asked: Asked, text: str) -> object:
    try:
        return parsed(asked.key, text)
    except ValueError as error:
        refuse(f'--{asked.key.replace("_", "-")}: "{text}" cannot be taken: {error}. Nothing was written.')


def _ask(asked: Asked) -> object:
    """Ask until the answer can be taken; without anybody to ask, say which option answers."""
    while True:
        try:
            text = typer.prompt(f"{asked.words}, for example {asked.example}", prompt_suffix="\n> ", type=str)
        except typer.Abort:
            say()
            refuse(f"Nobody answered. Give --{asked.key.replace('_', '-')}, for example {asked.example}.")
        try:
            return parsed(asked.key, text)
        except ValueError as error:
            say(f"  That cannot be taken: {error}.")
