"""`hourmark cases`: tables of worked cases against the policies round them, and the clauses that no case touches."""

from collections.abc import Callable, Iterable, Sequence, Set
from dataclasses import dataclass, field
from pathlib import Path

import typer

from rules.cases.facts import CaseFault, WrongExpectation
from rules.cases.run import CaseResult, CaseRunner, PolicySource, untouched_clauses, with_superseded
from rules.policy_book.book import BookRefused, PolicyBook
from schemas.cases import CaseTable, WorkedCase
from schemas.claim_file import ClaimFile
from schemas.documents import Fault, ParsedDocument
from service.command.demo import read_scenario
from service.command.output import NOT_HELD, REFUSED, complain, say, width
from service.currencies import all_exponents
from service.document_kinds import expect
from service.policy_files import load_policies, read_policy_source
from service.rendering.layout import headed, wrapped
from service.shipped import FIXTURES
from service.text_files import (
    SUFFIXES,
    InputRefused,
    checked,
    document_files,
    read_document,
    refused,
    shown_path,
)


@dataclass(slots=True)
class _Tally:
    """What the tables of one run came to."""

    held: int = 0
    failed: int = 0
    refused: int = 0
    results: list[CaseResult] = field(default_factory=list)
    named: set[str] = field(default_factory=set)  # the versions that the tables are about


def run_cases(files: Sequence[Path], policies: Sequence[Path], *, verbose: bool) -> None:
    """Run every table, print failures as expected and got, and leave with 1 where a case fails."""
    tables = _tables(files)
    tally, books = _tallied(tables, policies, verbose=verbose)
    _untouched(tally, books)
    total = tally.held + tally.failed + tally.refused
    counts = f"{total} {'case' if total == 1 else 'cases'} in {len(tables)} {'table' if len(tables) == 1 else 'tables'}"
    say(f"{counts}: {tally.held} hold, {tally.failed} fail" + (f", {tally.refused} refused" if tally.refused else ""))
    if tally.refused:
        raise typer.Exit(REFUSED)
    if tally.failed:
        raise typer.Exit(NOT_HELD)


def cases_beside(directory: Path, versions: Set[str]) -> tuple[int, int, tuple[str, ...]]:
    """Run the tables in a directory that are about some of these versions, printing what does not hold.

    Returns how many cases there are, how many of them do not hold, and the versions that no table is about.
    """
    documents = [(file, read_document(file)) for file in document_files(directory)]
    tables = []
    for file, document in documents:
        if isinstance(document.tree, dict) and "cases" in document.tree:
            table = checked(CaseTable, document)
            if versions & set(map(str, table.policies)):
                tables.append((file, document, table))
    tally, _ = _tallied(tables, (), verbose=False)
    failed = tally.failed + tally.refused
    return tally.held + failed, failed, tuple(sorted(versions - tally.named))


def _tallied(
    tables: Sequence[tuple[Path, ParsedDocument, CaseTable]], policies: Sequence[Path], *, verbose: bool
) -> tuple[_Tally, list[PolicyBook]]:
    """Run tables, and return what they came to, with the books that they were run against."""
    tally = _Tally()
    books: list[PolicyBook] = []
    for file, document, table in tables:
        places = tuple(policies) or _round(file, table)
        source = read_policy_source(*places)
        _check_names(document, table, source)
        # Faults are told with their places, and published versions that changed are refused, before any case runs.
        books.append(load_policies(*places, only=set(with_superseded(table, source))).book)
        tally.named |= {str(ref) for ref in table.policies}
        _run_table(document, table, CaseRunner(source, all_exponents(), on_file_of(file, table)), tally, verbose)
    return tally, books


def _tables(files: Sequence[Path]) -> list[tuple[Path, ParsedDocument, CaseTable]]:
    found = []
    for file in document_files(*files):
        document = read_document(file)
        named = file in files
        if named:
            expect("a case table", document)
        if named or (isinstance(document.tree, dict) and "cases" in document.tree):
            found.append((file, document, checked(CaseTable, document)))
    if not found:
        raise refused(
            Path(", ".join(map(str, files))), "no case table is found here.", "A table has policies and cases."
        )
    return found


def _round(file: Path, table: CaseTable) -> tuple[Path, ...]:
    """Return where the policies of a table lie: in its own directory, or in those above it up to the shipped root.

    Of the directories above, the documents in them count and those in their folders policies and conventions.
    """
    wanted = {str(ref) for ref in table.policies}
    places: list[Path] = []
    for directory in file.resolve().parents:
        places += _places_in(directory)
        source = read_policy_source(*places)
        pinned = {str(source.policies[name].get("conventions")) for name in wanted & set(source.policies)}
        if wanted <= set(source.policies) and pinned <= set(source.conventions):
            return tuple(places)
        if directory == FIXTURES or (directory / ".git").exists():
            break
    # Not everything is there: the check of the names says what is missing.
    return tuple(places)


def _places_in(directory: Path) -> list[Path]:
    files = [file for file in sorted(directory.iterdir()) if file.suffix.lower() in SUFFIXES and file.is_file()]
    documents = [file for file in files if _is_terms(file)]
    return documents + [directory / name for name in ("policies", "conventions") if (directory / name).is_dir()]


def _is_terms(file: Path) -> bool:
    """Return whether a document is a policy or conventions; one that cannot be read is no business of this table."""
    try:
        tree = read_document(file).tree
    except InputRefused:
        return False
    return isinstance(tree, dict) and "version" in tree and ("policy" in tree or "conventions" in tree)


def _check_names(document: ParsedDocument, table: CaseTable, source: PolicySource) -> None:
    missing = [str(ref) for ref in table.policies if str(ref) not in source.policies]
    if missing:
        known = ", ".join(sorted(source.policies)) or "none"
        message = f"{', '.join(missing)} is not among the policies found: {known}."
        raise InputRefused([document.fault(("policies",), message, "Correct the name, or say where with --policies.")])


def on_file_of(file: Path, table: CaseTable) -> Callable[[str], ClaimFile] | None:
    """Return what gathers a claim by its number from a table's scenario, None for a table without one."""
    if table.scenario is None:
        return None
    scenario = read_scenario((file.parent / table.scenario).resolve())

    def gathered_claim(number: str) -> ClaimFile:
        if number not in scenario.claims:
            words = f"no claim {number} is on file in {shown_path(scenario.directory)}"
            raise CaseFault(words, "Correct the number.", ("claim_on_file",))
        return scenario.claim_file(scenario.claims[number])

    return gathered_claim


def _run_table(document: ParsedDocument, table: CaseTable, cases: CaseRunner, tally: _Tally, verbose: bool) -> None:
    with cases as runner:
        for place, case in enumerate(table.cases):
            number = case.id or case.claim_on_file
            name = f"{number}: {case.name}" if number else case.name
            try:
                result = runner.run_case(table, case)
            except (BookRefused, CaseFault, ValueError, KeyError, TypeError) as error:
                tally.refused += 1
                complain([_case_fault(document, place, name, error)])
                continue
            tally.results.append(result)
            if not result.mismatches:
                tally.held += 1
                if verbose:
                    say(f"holds  {name}")
                continue
            tally.failed += 1
            _failure(document, place, case, name, result)


def _failure(document: ParsedDocument, place: int, case: WorkedCase, name: str, result: CaseResult) -> None:
    line = document.position(("cases", place)).line
    say("\n".join(headed(f"fails  {document.name}:{line}:", name, width(), "       ")))
    for mismatch in result.mismatches:
        at = document.position(("cases", place, "expect", mismatch.line)).line
        say(f"       line {mismatch.line} of the claim, {mismatch.what} ({document.name}:{at})")
        say(f"         expected  {mismatch.expected}")
        say(f"         got       {mismatch.got}")
    if case.source:
        say(f"       source: {case.source}")


def _case_fault(document: ParsedDocument, place: int, name: str, error: Exception) -> Fault:
    """Return why a case cannot be decided: its facts or its changed terms are not what the models take."""
    said = f"{error.args[0] if error.args else 'a key'} is not stated" if isinstance(error, KeyError) else str(error)
    fault = error if isinstance(error, CaseFault) else CaseFault(said)
    verdict = "" if isinstance(error, WrongExpectation) else " cannot be decided"
    end = "" if said.endswith((".", "?")) else "."
    return document.fault(("cases", place, *fault.at), f'case "{name}"{verdict}: {said}{end}', fault.way_out)


def _untouched(tally: _Tally, books: Iterable[PolicyBook]) -> None:
    each = (pair for book in books for pair in _by_policy(untouched_clauses(tally.results, book)).items())
    found = {name: paths for name, paths in each if name in tally.named}
    if found:
        say("Clauses that no case touches:")
    for name, paths in sorted(found.items()):
        say("\n".join(wrapped(f"{name}: {', '.join(paths)}", width(), "  ", "    ")))


def _by_policy(clauses: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, path in clauses:
        found.setdefault(name, []).append(path)
    return found
