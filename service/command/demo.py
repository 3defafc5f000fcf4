"""`hourmark demo`: the shipped scenario decided in memory, what came out, and one decision in full."""

import shlex
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from rich import box
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table
from rich.text import Text

from rules.adjudicate import Adjudicator
from schemas.claim import Claim
from schemas.claim_file import ClaimFile
from schemas.decision import Decision
from service.claim_files import OnFile, by_serial
from service.command.decide import Beside, gathered, show
from service.command.output import called, refuse, say, width
from service.policy_files import PolicyDirectory, load_policies
from service.record_files import (
    one_of,
    read_claims,
    read_dealers,
    read_machines,
    read_payments,
    read_services,
    read_tables,
)
from service.rendering.layout import headed, joined, wrapped
from service.rendering.tally import SUMS, Tally, tally_of
from service.rendering.words import OUTCOME_WORDS, STATUS_WORDS, amount_text, reason_words
from service.shipped import DEMO
from service.text_files import shown_path
from service.vocabulary import unknown_words, vocabulary_of

DECIDED_AFTER_SUBMISSION = timedelta(days=10)
DECIDED_AFTER_FAILURE = timedelta(days=30)
MOST_REASONS = 8
NARROWEST_TABLE = 100  # cells; the sums of three currencies need them
SUM_WORDS = {"added": "granted above the claim"}  # the others are called as they are


class _Console(Console):
    """A console that leaves a reader who stopped reading to the command, which knows its exit code."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


@dataclass(frozen=True, slots=True)
class Scenario:
    """The shipped scenario, read."""

    directory: Path
    policies: PolicyDirectory
    claims: Mapping[str, Claim]
    on_file: OnFile

    def claim_file(self, claim: Claim) -> ClaimFile:
        """Return the claim file of a claim on the scenario's day of decision."""
        return gathered(claim, self.on_file, self.policies.book, decided_on(claim), self.directory / "claims.json")


def read_scenario(directory: Path = DEMO) -> Scenario:
    """Return the scenario in a directory; raises InputRefused with every fault of a file."""
    payments = directory / "payments.json"
    on_file = OnFile(
        machines=read_machines(directory / "machines.json"),
        services=by_serial(read_services(directory / "services.json").values()),
        dealers=read_dealers(directory / "dealers.json"),
        payments=read_payments(payments) if payments.is_file() else {},
        tables=read_tables(directory / "tables"),
    )
    return Scenario(directory, load_policies(directory), read_claims(directory / "claims.json"), on_file)


def decided_on(claim: Claim) -> date:
    """Return the scenario's day of decision: 10 days after submission, else 30 days after the failure."""
    if claim.submitted_on is not None:
        return claim.submitted_on + DECIDED_AFTER_SUBMISSION
    latest = max(on for on in (claim.failed_on, claim.repair_ended_on) if on is not None)
    return max(claim.failed_on + DECIDED_AFTER_FAILURE, latest)


def run_demo(claim: str | None, *, explain: bool, letter: bool, listing: bool = False) -> None:
    """Decide the scenario and print the summary, the list of its claims, or one decision of it in full."""
    if listing and (claim is not None or explain or letter):
        refuse("--list names every claim; leave out --claim, --explain and --letter.")
    if explain and letter:
        refuse("--explain and --letter print different things: choose one of them.")
    scenario = read_scenario()
    if listing:
        with Adjudicator(scenario.policies.book) as adjudicator:
            _print_list(_decided(scenario, adjudicator))
        return
    if claim is not None or explain or letter:
        file = scenario.directory / "claims.json"
        chosen = one_of(dict(scenario.claims), claim, file, "claim", "--claim")
        with Adjudicator(scenario.policies.book) as adjudicator:
            claim_file = scenario.claim_file(chosen)
            decision = adjudicator.decide(claim_file)
        # The scenario's versions play published ones: that no lock file holds them says nothing here.
        beside = Beside(tuple(unknown_words(claim_file, vocabulary_of(scenario.policies.book))))
        show(decision, scenario.policies.book, beside, explain=explain, letter=letter)
        return
    with Adjudicator(scenario.policies.book) as adjudicator:
        # What would change a line is looked for where it is shown; for all claims it would take several times as long.
        decisions = list(_decided(scenario, adjudicator))
        _print_tally(tally_of(decisions), scenario)
        example = most_telling(decisions)
        full = adjudicator.decide(scenario.claim_file(scenario.claims[example.claim]))
    say(f"One decision in full ({example.claim})")
    say()
    show(full, scenario.policies.book, Beside(), explain=False, letter=False)
    _print_next(scenario, decisions, example)


def _print_list(decisions: Iterable[Decision]) -> None:
    """Print each claim with its status, what is paid, and the reasons of its lines, each once."""
    for decision in decisions:
        codes = dict.fromkeys(reason.code for line in decision.lines for reason in line.reasons)
        payout = f"{amount_text(decision.payout.amount)} {decision.payout.currency}"
        head = f"{decision.claim}   {STATUS_WORDS[decision.status]}   {payout}  "
        reasons = "; ".join(reason_words(code).removesuffix(".") for code in codes)
        say("\n".join(row.rstrip() for row in headed(head, reasons, width(), "       ")))


def _decided(scenario: Scenario, adjudicator: Adjudicator) -> Iterator[Decision]:
    columns = (TextColumn("Deciding"), BarColumn(), MofNCompleteColumn())
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not sys.stderr.isatty()) as progress:
        task = progress.add_task("", total=len(scenario.claims))
        for claim in scenario.claims.values():
            yield adjudicator.decide(scenario.claim_file(claim), remedies=False)
            progress.advance(task)


def most_telling(decisions: list[Decision]) -> Decision:
    """Return the decision that shows most in one page: a fall-back, a prorated line, a cut, with few lines."""

    def worth(decision: Decision) -> tuple[int, int, int, str]:
        fallen = any(
            reason.policy not in (None, line.policy)
            for line in decision.lines
            for reason in line.reasons
            if line.policy
        )
        prorated = any(line.share is not None and line.share not in ("0", "1") for line in decision.lines)
        kinds = {line.outcome for line in decision.lines}
        points = 4 * fallen + 3 * prorated + len(kinds) + (decision.status == "paid_in_part")
        told = sum(len(reason.words) + len(str(reason.facts)) for line in decision.lines for reason in line.reasons)
        notes = sum(len(line.notes) for line in decision.lines)
        return -points, notes, told, decision.claim

    return min(decisions, key=worth)


def _print_tally(tally: Tally, scenario: Scenario) -> None:
    console = _Console(width=width(), highlight=False)
    book, on_file = scenario.policies.book, scenario.on_file
    services = sum(len(records) for records in on_file.services.values())
    counts = (
        f"{tally.claims} claims on {len(on_file.machines)} machines of {len(on_file.dealers)} dealers, with {services}"
        f" service records, decided under {len(book.by_name)} versions of {len(book.versions)} coverages."
    )
    say(
        "\n".join(wrapped(f"Quillfen, a maker of orchard and vineyard machines that does not exist: {counts}", width()))
    )
    say()
    if width() < NARROWEST_TABLE:
        _say_sums(tally)
    else:
        console.print(_sums_table(tally))
    table = _table("Claims by status", ("status", "claims"))
    for status, number in tally.by_status.items():
        table.add_row(Text(STATUS_WORDS[status]), Text(str(number)))
    console.print(table)
    table = _table("Most frequent reasons", ("reason", "lines"))
    for code, number in tally.reasons[:MOST_REASONS]:
        table.add_row(Text(reason_words(code)), Text(str(number)))
    console.print(table)


def _named_sums(tally: Tally) -> list[str]:
    """Return the sums of which at least one is not nothing."""
    return [name for name in SUMS if any(sums.amounts[name] for sums in tally.by_outcome.values())]


def _sum_words(name: str) -> str:
    return SUM_WORDS.get(name, name.replace("_", " "))


def _sums_table(tally: Tally) -> Table:
    named = _named_sums(tally)
    table = _table(
        "Lines by outcome", ("outcome", "", "lines", *(_sum_words(name).replace(" ", "\n") for name in named))
    )
    last = None
    for (outcome, currency), sums in tally.by_outcome.items():
        amounts = [amount_text(sums.amounts[name]) if sums.amounts[name] else "–" for name in named]
        words = OUTCOME_WORDS[outcome] if outcome != last else ""
        table.add_row(*(Text(cell) for cell in (words, currency, str(sums.lines), *amounts)))
        last = outcome
    return table


def _say_sums(tally: Tally) -> None:
    """Print the sums without a table, for a terminal that is too narrow for one."""
    say("Lines by outcome")
    for (outcome, currency), sums in tally.by_outcome.items():
        named = [name for name in SUMS if sums.amounts[name]]
        amounts = [f"{_sum_words(name)} {amount_text(sums.amounts[name])}" for name in named]
        count = f"{sums.lines} {'line' if sums.lines == 1 else 'lines'}"
        say("\n".join(joined([f"{OUTCOME_WORDS[outcome]}, {currency}", count, *amounts], width(), "  ", "   ")))
    say()


def _table(title: str, columns: tuple[str, ...]) -> Table:
    table = Table(title=Text(title), title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False)
    table.padding = (0, 1, 0, 0)
    for place, name in enumerate(columns):
        is_text = name in ("outcome", "status", "reason", "")
        table.add_column(Text(name), justify="left" if is_text else "right", no_wrap=place > 0 or name == "outcome")
    return table


def _print_next(scenario: Scenario, decisions: list[Decision], example: Decision) -> None:
    waiting = next((d.claim for d in decisions if d.status == "waiting_for_dealer"), example.claim)
    here, program = shlex.quote(str(shown_path(scenario.directory))), called()
    decide = (
        f"{program} decide {here}/claims.json --claim {example.claim} --machine {here}/machines.json"
        f" --services {here}/services.json --dealer {here}/dealers.json --tables {here}/tables --policies {here}"
        f" --decided-on {example.decided_on} --json"
    )
    say()
    say("What to try next")
    for command in (
        f"{program} demo --claim {example.claim} --explain",
        f"{program} demo --claim {waiting} --letter",
        f"{program} demo --list",
        f"{program} policy check {here}",
        f"{program} policy new",
        decide,
    ):
        say(f"  {command}")
