"""What a service record proves: accepted hands, a complete set of evidence, an approved fluid in the right quantity.

What is not on file is an open fact; what is on file and wrong refuses the record. Without any list of fluids on file
there is nothing to hold a fluid against: it counts as approved, and ``unlisted`` tells the desk.

Where a dealer of the maker did the work and the policy keeps the owner whole, work done wrongly is a matter between the
maker and that dealer: a wrong or unnamed fluid and a quantity that is too small change nothing for the owner, so that
nobody is asked about them, and neither does a task left out of a service that nobody explains in time.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Literal

from rules.calendar import add_span
from rules.measures.unanswered import asked_in_vain, given, in_vain_words
from rules.open_facts import OpenFact, World
from rules.plain import day_text
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.machine import Machine
from schemas.policy.services import PERFORMERS, Evidence, FluidList, Performer, ServiceDuty
from schemas.reference_tables import FluidRow, FluidTable
from schemas.service_record import ServiceRecord

MAKERS_DEALERS = frozenset(("selling_dealer", "authorised_dealer"))


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a record does not count; an unproven one is asked about, in this world it stays unproven.

    ``lacks`` is the key of the fact that would let it count, empty where nothing would. ``between_dealers``: the record
    counts all the same, for a dealer of the maker did the work and the owner is kept whole; by its record the work was
    done wrongly, or the record does not tell.
    """

    why: Literal["wrong_fluid", "wrong_hands", "unproven"]
    words: str
    lacks: str = ""
    between_dealers: Literal["done_wrong", "not_told", ""] = ""


@dataclass(frozen=True, slots=True)
class _Proving:
    """A record held against a duty in one world; what it lacks is asked for as long as there is time to answer."""

    name: str
    duty: ServiceDuty
    record: ServiceRecord
    claim_file: ClaimFile
    conventions: Conventions
    world: World

    @property
    def on_file_since(self) -> date:
        return self.record.on if self.record.provided_on is None else self.record.provided_on

    def lacks(self, key: str, words: str, asked_with: str | None = None) -> bool:
        """Return whether evidence is missing in this world."""
        fact = OpenFact(key, "evidence", "dealer", words, asked_with)
        return not given(fact, self.world, self.claim_file, self.conventions, self.on_file_since)

    def refusal(self, why: Literal["wrong_fluid", "wrong_hands", "unproven"], words: str, key: str) -> Refusal:
        return Refusal(why, words + in_vain_words(self.claim_file, self.conventions, self.on_file_since), key)

    @property
    def was_asked_in_vain(self) -> bool:
        return asked_in_vain("evidence", self.claim_file, self.conventions, self.on_file_since) is not None

    @property
    def keeps_owner_whole(self) -> bool:
        """Return whether what is wrong with the work is held against a dealer of the maker, and not the owner."""
        duty = self.duty
        return duty.done_wrong_by_dealer == "owner_kept_whole" and done_by_makers_dealer(
            duty, self.record, self.claim_file, self.conventions, self.world
        )

    @property
    def visit_words(self) -> str:
        return f"service {self.record.record} of {day_text(self.record.on)}"


def refusal_of(
    name: str,
    duty: ServiceDuty,
    parts: Sequence[ServiceRecord],
    claim_file: ClaimFile,
    conventions: Conventions,
    world: World,
) -> Refusal | None:
    """Return why a visit does not count, None when it does; what is not on file is asked for.

    ``parts`` are its records, one or several of a day that carry the tasks together: each needs accepted hands and
    proof, and their fluids are those of the visit.
    """
    for part in parts:
        proving = _Proving(name, duty, part, claim_file, conventions, world)
        refusal = _hands_refusal(proving) or _proof_refusal(proving)
        if refusal is not None:
            return refusal
    if duty.fluid is None:
        return None
    whole = with_fluids(parts)
    if len(parts) > 1:
        whole = whole.model_copy(update={"fluids": tuple(used for part in parts for used in part.fluids)})
    return _fluid_refusal(_Proving(name, duty, whole, claim_file, conventions, world), duty.fluid)


def with_fluids(parts: Sequence[ServiceRecord]) -> ServiceRecord:
    """Return the record of a visit that tells of its fluids."""
    return next((part for part in parts if part.fluids), parts[0])


def lacks_tasks(
    name: str,
    duty: ServiceDuty,
    record: ServiceRecord,
    claim_file: ClaimFile,
    conventions: Conventions,
    world: World,
    is_whole_service: bool,
) -> Refusal | None:
    """Return why a record of part of the tasks does not count, None where the rest was done in that visit.

    Whether the dealer left the rest out, or it was never ordered, is asked for. ``is_whole_service``: nothing on file
    says that less was ordered, so that a dealer's silence is not held against the owner.
    """
    proving = _Proving(name, duty, record, claim_file, conventions, world)
    lacking = ", ".join(task.replace("_", " ") for task in duty.tasks if task not in record.tasks)
    key = f"tasks:{record.record}:{name}"
    if not proving.lacks(key, f"whether {proving.visit_words} held {lacking} too"):
        return None
    refusal = proving.refusal("unproven", f"{record.record} lacks {lacking}", key)
    if is_whole_service and proving.was_asked_in_vain and proving.keeps_owner_whole:
        return replace(refusal, between_dealers="done_wrong")
    return refusal


def _hands_refusal(proving: _Proving) -> Refusal | None:
    duty, record, claim_file = proving.duty, proving.record, proving.claim_file
    hands = performers(record, claim_file.machine)
    accepted = [by for by in hands if _accepts(duty, by)]
    if not accepted:
        return Refusal("wrong_hands", f"{record.record} was done by {_hands_words(hands)}")
    key = f"performer:{record.record}"
    if len(accepted) < len(hands) and proving.lacks(key, _who_words(record, claim_file.machine)):
        words = f"nobody is named for {record.record}"
        if record.by is not None:
            words = f"{record.record} was done by {_hands_words([by for by in hands if by not in accepted])}"
        return proving.refusal("wrong_hands", words, key)
    return None


def performers(record: ServiceRecord, machine: Machine) -> tuple[Performer, ...]:
    """Return who may have done a service, by what its record says: one, unless it says nothing or contradicts itself.

    The machine's selling dealer and the dealer of the record tell which kind of dealer it was, where both are on file.
    """
    by, sold_by = record.by, machine.selling_dealer
    if record.dealer is not None and record.dealer == sold_by:
        return (by, "selling_dealer") if by in ("independent", "owner") else ("selling_dealer",)
    if by is None:
        return PERFORMERS
    if by == "selling_dealer" and record.dealer is not None and sold_by is not None:
        return ("selling_dealer", "authorised_dealer")
    return (by,)


def done_by_makers_dealer(
    duty: ServiceDuty, record: ServiceRecord, claim_file: ClaimFile, conventions: Conventions, world: World
) -> bool:
    """Return whether a dealer of the maker did a service; asked for where other accepted hands may have done it.

    Asked only of a service that counts as far as its hands go: where only dealers are accepted, it was one.
    """
    hands = [by for by in performers(record, claim_file.machine) if _accepts(duty, by)]
    dealers = [by for by in hands if by in MAKERS_DEALERS]
    if not dealers or len(dealers) == len(hands):
        return bool(dealers)
    proving = _Proving("", duty, record, claim_file, conventions, world)
    words = f"whether a dealer of the maker did {proving.visit_words}"
    question = f"performer:{record.record}"
    return not proving.lacks(f"{question}:dealer", words, question)


def _who_words(record: ServiceRecord, machine: Machine) -> str:
    words = f"who did service {record.record} of {day_text(record.on)}"
    if record.by is None:
        return words
    sold = f"the selling dealer is {machine.selling_dealer}"
    return f"{words}: it names dealer {record.dealer} and says {_hands_words([record.by])}; {sold}"


def _hands_words(hands: Sequence[Performer]) -> str:
    return " or ".join(by.replace("_", " ") for by in hands)


def _accepts(duty: ServiceDuty, by: Performer) -> bool:
    return by in duty.performed_by or (by == "selling_dealer" and "authorised_dealer" in duty.performed_by)


def _proof_refusal(proving: _Proving) -> Refusal | None:
    duty, record = proving.duty, proving.record
    on_file = set(record.evidence)
    if not any(on_file.issuperset(proof.all) for proof in duty.proof):
        # Asked for is the set that lacks least, of several the one of which most is on file.
        nearest = min(duty.proof, key=lambda p: (len(set(p.all) - on_file), -len(on_file & set(p.all)), sorted(p.all)))
        lacking = sorted(set(nearest.all) - on_file)
        key = f"evidence:{record.record}:{proving.name}"
        if proving.lacks(key, f"proof of {proving.visit_words}: {_words(lacking)}"):
            return proving.refusal("unproven", f"{record.record} lacks {_words(lacking)}", key)
    return None


def _words(evidence: list[Evidence]) -> str:
    return ", ".join(word.replace("_", " ") for word in evidence)


def _fluid_refusal(proving: _Proving, rule: FluidList) -> Refusal | None:
    record = proving.record
    if not record.fluids:
        key, unnamed = f"fluid:{record.record}", f"no fluid is named for {record.record}"
        if proving.keeps_owner_whole:
            return replace(proving.refusal("wrong_fluid", unnamed, key), between_dealers="not_told")
        if not proving.lacks(key, f"the fluid used in {proving.visit_words}"):
            return None
        return proving.refusal("wrong_fluid", unnamed, key)
    lists: dict[str, set[str]] = {used.fluid: set() for used in record.fluids}
    tables = [table for table in proving.claim_file.tables if isinstance(table, FluidTable)]
    if not tables:  # held against no list: the notes say so
        return _quantity_refusal(proving, rule, set(lists))
    for row in (row for table in tables for row in table.rows):
        if row.fluid in lists and _on_list(row, rule, record):
            lists[row.fluid].add(row.on_list)
    name = rule.fluids
    used = {fluid for fluid, on in lists.items() if name in on}
    # A visit may use other fluids for other tasks: they stand on lists of their own.
    stray = sorted(fluid for fluid, on in lists.items() if not on or (not used and name not in on))
    if stray:
        words = f"{', '.join(stray)} is not on the list {name} on {day_text(record.on)} ({record.record})"
        return Refusal("wrong_fluid", words, between_dealers="done_wrong" if proving.keeps_owner_whole else "")
    return _quantity_refusal(proving, rule, used)


def unlisted(duty: ServiceDuty, record: ServiceRecord, claim_file: ClaimFile) -> tuple[str, ...]:
    """Return the fluids of a record that were taken as approved because no list of fluids is on file."""
    if duty.fluid is None or any(isinstance(table, FluidTable) for table in claim_file.tables):
        return ()
    return tuple(sorted({used.fluid for used in record.fluids}))


def _on_list(row: FluidRow, rule: FluidList, record: ServiceRecord) -> bool:
    until = row.until
    if until is not None and rule.grace is not None:
        until = add_span(until, rule.grace, "clamp_from_start")
    return row.from_ <= record.on and (until is None or record.on <= until)


def _quantity_refusal(proving: _Proving, rule: FluidList, approved: set[str]) -> Refusal | None:
    """Return a refusal where less fluid is on file than the service takes and nobody explains it."""
    record = proving.record
    if rule.at_least_litres is None:
        return None
    litres = sum((u.litres for u in record.fluids if u.litres is not None and u.fluid in approved), Decimal(0))
    if litres >= rule.at_least_litres:
        return None
    key = f"litres:{record.record}"
    if proving.keeps_owner_whole:
        is_told = all(used.litres is not None for used in record.fluids if used.fluid in approved)
        told = "lacks fluid" if is_told else "does not tell how much fluid was used"
        refusal = proving.refusal("unproven", f"{record.record} {told}: {litres} of {rule.at_least_litres} litres", key)
        return replace(refusal, between_dealers="done_wrong" if is_told else "not_told")
    words = f"proof that {proving.visit_words} used {rule.at_least_litres} litres ({litres} on file)"
    if not proving.lacks(key, words):
        return None
    lacking = f"{record.record} lacks fluid: {litres} of {rule.at_least_litres} litres"
    return proving.refusal("unproven", lacking, key)
