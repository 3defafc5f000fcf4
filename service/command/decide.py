"""`hourmark decide`: one claim, its records and the policies in files, and the decision as text, JSON or a letter."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TypeVar

import orjson
from pydantic import ValidationError

from rules.adjudicate import adjudicate
from rules.policy_book.book import PolicyBook
from rules.policy_book.values import listed
from schemas.claim import Claim
from schemas.claim_file import ClaimFile, Dealer
from schemas.decision import Decision
from schemas.machine import Machine
from service.as_known import dated_later
from service.claim_files import NotOnFile, OnFile, by_serial, gather, left_out
from service.command.output import complain, day_option, refuse, say, say_bytes, today, width
from service.currencies import UnknownCurrency
from service.line_remarks import stray_sides, without_sums
from service.policy_files import load_policies
from service.record_files import (
    one_of,
    read_claim_or_file,
    read_dealers,
    read_machines,
    read_payments,
    read_services,
    read_tables,
    write_kept,
)
from service.rendering.decision_text import decision_text
from service.rendering.derivation_text import derivation_text
from service.rendering.letter_text import letter_text
from service.rendering.remarks import Remark, draft_remarks, for_dealer
from service.text_files import refused
from service.vocabulary import unknown_words, vocabulary_of

Record = TypeVar("Record", Machine, Dealer)


@dataclass(frozen=True, slots=True)
class Inputs:
    """The files of one decision."""

    claim: Path
    claim_id: str | None
    machine: Path | None
    services: Path | None
    tables: tuple[Path, ...]
    dealer: Path | None
    payments: Path | None
    policies: tuple[Path, ...]

    def beside_claim(self) -> tuple[str, ...]:
        """Return the options that name something of which a claim file is made."""
        given = {
            "--claim": self.claim_id,
            "--machine": self.machine,
            "--services": self.services,
            "--tables": self.tables,
            "--dealer": self.dealer,
            "--payments": self.payments,
        }
        return tuple(option for option, value in given.items() if value)


def run_decide(
    inputs: Inputs, decided_on: str | None, *, as_json: bool, explain: bool, letter: bool, keep: Path | None = None
) -> None:
    """Decide, and print the decision; ``keep`` takes the claim file. Raises typer.Exit for refused input."""
    if (as_json and (explain or letter)) or (explain and letter):
        refuse("--json, --explain and --letter print different things: choose one of them.")
    day = day_option(decided_on, "--decided-on")
    directory = load_policies(*inputs.policies)
    book = directory.book
    given = read_claim_or_file(inputs.claim)
    remarks: list[Remark] = []
    if isinstance(given, ClaimFile):
        claim_file = _kept(given, inputs, book, day)
    else:
        claim_file, remarks = _claim_file(given, inputs, book, day or today())
    remarks += (*unknown_words(claim_file, vocabulary_of(book)), *stray_sides(claim_file))
    if not isinstance(given, ClaimFile):
        remarks += _taken_for_granted(inputs, claim_file)
    if keep is not None:
        write_kept(keep, claim_file)
    decision = adjudicate(book, claim_file)
    remarks += without_sums(claim_file, decision)
    beside = Beside(tuple(remarks), directory.drafts)
    show(decision, book, beside, as_json=as_json, explain=explain, letter=letter)


@dataclass(frozen=True, slots=True)
class Beside:
    """What is said beside a decision: remarks on what was read, and the versions that are not published."""

    remarks: tuple[Remark, ...] = ()
    drafts: frozenset[str] = frozenset()


def show(
    decision: Decision, book: PolicyBook, beside: Beside, *, as_json: bool = False, explain: bool, letter: bool
) -> None:
    """Print a decision in one of its forms.

    What is sent on, the document or the letter, holds nothing that is for the desk alone: that goes to standard error.
    """
    remarks = (*draft_remarks(decision, beside.drafts), *beside.remarks)
    if as_json or letter:
        complain(f"Note: {remark.words}" for remark in remarks)
    if as_json:
        say_bytes(orjson.dumps(decision.document, option=orjson.OPT_INDENT_2))
        return
    if letter:
        titles = {name: policy.terms.title for name, policy in book.by_name.items()}
        to_check = for_dealer(remarks)
        say(letter_text(decision, min(width(), 78), titles, to_check=to_check, drafts=beside.drafts))
        return
    say(decision_text(decision, width(), [remark.words for remark in remarks]))
    if explain:
        say()
        clauses = {
            name: {path: cited.number for path, cited in policy.clauses.items()}
            for name, policy in book.by_name.items()
        }
        digests = {name: policy.digest for name, policy in book.by_name.items()}
        say(derivation_text(decision, width(), clauses, digests))


def gathered(claim: Claim, on_file: OnFile, book: PolicyBook, day: date, file: Path) -> ClaimFile:
    """Return the claim file of a claim; raises InputRefused where the records do not belong together."""
    _check_day(claim, day, file, "Give a later day with --decided-on.")
    try:
        return gather(claim, on_file, {policy.terms.currency for policy in book.by_name.values()}, day)
    except NotOnFile as error:
        raise refused(file, f"{error}.", "Add it to the file of machines or dealers.") from None
    except UnknownCurrency as error:
        raise refused(file, str(error), "") from None
    except ValidationError as error:
        messages = [str(detail["msg"]).removeprefix("Value error, ") for detail in error.errors(include_url=False)]
        raise refused(file, f"{'; '.join(messages).removesuffix('.')}.", "Correct the records.") from None


def _check_day(claim: Claim, day: date, file: Path, way_out: str) -> None:
    last = max(on for on in (claim.failed_on, claim.repair_ended_on, claim.submitted_on) if on is not None)
    if day < last:
        message = f"claim {claim.claim} goes on until {last}, and cannot be decided on {day}."
        raise refused(file, message, way_out)


def _kept(claim_file: ClaimFile, inputs: Inputs, book: PolicyBook, day: date | None) -> ClaimFile:
    """Return a claim file that was kept; raises InputRefused where other records are given, or it lacks a currency."""
    beside = [*inputs.beside_claim(), *(["--decided-on"] if day is not None else [])]
    if beside:
        message = "this is a claim file, which holds the records and the day of the decision as they were."
        raise refused(inputs.claim, message, f"Leave out {listed(beside)}, or decide from the records themselves.")
    _check_day(claim_file.claim, claim_file.decided_on, inputs.claim, "Correct its days.")
    wanted = claim_file.currencies | {policy.terms.currency for policy in book.by_name.values()}
    lacking = sorted(wanted - set(claim_file.currency_exponents))
    if lacking:
        message = f"this claim file was gathered without {listed(lacking)}, which it or a policy here names."
        raise refused(inputs.claim, message, "Name the policies it was decided under, or decide from the records.")
    return claim_file


def _claim_file(
    claims: dict[str, Claim], inputs: Inputs, book: PolicyBook, day: date
) -> tuple[ClaimFile, list[Remark]]:
    """Return the claim file with remarks on the records that were left out of it."""
    claim = one_of(claims, inputs.claim_id, inputs.claim, "claim", "--claim")
    if inputs.machine is None:
        refuse("The machine is not given. Name its file with --machine.")
    machine = _machine(inputs.machine, claim)
    dealer = _dealer(inputs.dealer, claim, machine)
    on_file = OnFile(
        machines={claim.serial: machine},
        services=by_serial(read_services(inputs.services).values()) if inputs.services is not None else {},
        dealers={claim.dealer: dealer},
        payments=read_payments(inputs.payments) if inputs.payments is not None else {},
        tables=read_tables(*inputs.tables),
    )
    claim_file = gathered(claim, on_file, book, day, inputs.claim)
    remarks = left_out(on_file.services, claim.serial, "service record")
    remarks += left_out(on_file.payments, claim.serial, "earlier payment")
    return claim_file, remarks + dated_later(machine, on_file.services.get(claim.serial, ()), claim, day)


def _taken_for_granted(inputs: Inputs, claim_file: ClaimFile) -> Iterator[Remark]:
    """Yield what was assumed for the files that were not given."""
    if inputs.services is None:
        yield Remark("No --services was given: no service was taken to be on file.")
    if inputs.dealer is None:
        dealer = claim_file.dealer
        taken = (
            f"No --dealer was given: dealer {dealer.dealer} was taken to be in the machine's region"
            f" ({dealer.region or 'not on file'}) and paid in the claim's currency ({dealer.currency})."
        )
        yield Remark(taken)


def _machine(file: Path, claim: Claim) -> Machine:
    return _named(read_machines(file), claim.serial, file, "machine", claim)


def _dealer(file: Path | None, claim: Claim, machine: Machine) -> Dealer:
    if file is None:
        return Dealer(dealer=claim.dealer, region=machine.region, currency=claim.currency)
    return _named(read_dealers(file), claim.dealer, file, "dealer", claim)


def _named(records: Mapping[str, Record], key: str, file: Path, what: str, claim: Claim) -> Record:
    found = records.get(key)
    if found is None:
        some = ", ".join(sorted(records)[:5]) + (", …" if len(records) > 5 else "")
        message = f"claim {claim.claim} names {what} {key}, which is not in this file; it holds {some}."
        raise refused(file, message, f"Name the {what} in the claim as it is in the file, or give another file.")
    return found
