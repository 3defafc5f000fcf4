"""`hourmark policy new`: some questions, answered as options or one by one, and the files of a first policy."""

import shlex
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import NoReturn

import typer

from rules.plain import day_text
from schemas.cases import CaseTable
from schemas.documents import Fault
from schemas.documents.faults import shortened
from service.command.cases import run_cases
from service.command.output import called, complain, day_option, refuse, say, say_at, today
from service.new_policy import assumed, documents_of
from service.new_policy_answers import QUESTIONS, Answers, Asked, misfits, parsed
from service.policy_files import load_policies
from service.text_files import InputRefused, read_as, read_document, refused, shown_path, write_whole

LONGEST_SHOWN = 60  # characters of an answer that is told back as it was given


def run_new(directory: Path, given: Mapping[str, str | None], from_day: str | None) -> None:
    """Ask what was not given, write the files, and show that they hold. Raises typer.Exit for refused answers."""
    day = day_option(from_day, "--from")
    answers = _answers(given, day or today())
    documents = documents_of(answers)
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
    _say_assumed(directory, answers, given_day=day is not None)
    say()
    say("What to do next: read the terms in plain English, change what is not yours, and publish.")
    for command, file in (
        ("policy show", directory / f"{answers.name}-1.yaml"),
        ("policy check", directory),
        ("cases", table),
        ("policy publish", directory),
    ):
        say(f"  {called()} {command} {shlex.quote(str(shown_path(file)))}")


def _say_assumed(directory: Path, answers: Answers, *, given_day: bool) -> None:
    """Print what the files say that nobody was asked about, each with its place."""
    full, lesser = directory / f"{answers.name}-1.yaml", directory / f"{answers.name}-prorated-1.yaml"
    document = read_document(full)
    why = "" if given_day else " (today, for --from was not given)"
    year = (answers.from_day + timedelta(days=364)).isoformat()
    day = (
        f"in force from {day_text(answers.from_day)}{why}, without an end; where you know the last day, for example"
        f" until: {year}, write it before you publish"
    )
    say()
    say("Assumed, check these:")
    for path, words in ((("in_force",), day), *assumed(answers)):
        say_at(f"{shown_path(full)}:{document.position(path).line}", words)
    say_at(str(shown_path(lesser)), "the days in force, the term and what is paid stand here, too: change them in both")


def _answers(given: Mapping[str, str | None], day: date) -> Answers:
    """Return the answers; those of two that do not fit together are asked again, where they were asked for at all."""
    found = _options(given)
    found |= {asked.key: _ask(asked) for asked in QUESTIONS if asked.key not in found}
    while True:
        answers = Answers(**found, from_day=day)  # type: ignore[arg-type]
        wrong = misfits(answers)
        if not wrong:
            return answers
        open_keys = [{key for key in error.keys if given.get(key) is None} for error in wrong]
        told = [f"These answers do not fit together: {error}." for error in wrong]
        if not all(open_keys):
            _refuse_all(told)
        for words in told:
            say(f"  {words}")
        found |= {asked.key: _ask(asked) for asked in QUESTIONS if asked.key in set().union(*open_keys)}


def _options(given: Mapping[str, str | None]) -> dict[str, object]:
    """Return the answers that were given as options; raises typer.Exit with everything that is wrong with them."""
    found: dict[str, object] = {}
    told: list[str] = []
    for asked in QUESTIONS:
        text = given.get(asked.key)
        if text is None:
            continue
        try:
            found[asked.key] = parsed(asked.key, text)
        except ValueError as error:
            shown = text if len(text) <= LONGEST_SHOWN and text.isprintable() else shortened(text)
            told.append(f'--{asked.key.replace("_", "-")}: "{shown}" cannot be taken: {error}.')
    if told:
        _refuse_all(told)
    return found


def _refuse_all(told: Sequence[str]) -> NoReturn:
    complain(told)
    refuse("Nothing was written.")


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
