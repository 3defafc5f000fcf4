"""Gathering a claim file by key: what was on file about one claim, and of the tables only rows that can matter.

Nothing is judged here. A table stays in the file even when none of its rows does, because the absence of a row from a
table is a fact of its own.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches

from schemas.claim import Claim
from schemas.claim_file import ClaimFile, Dealer, EarlierPayment
from schemas.machine import Machine
from schemas.reference_tables import (
    ExchangeRateTable,
    FlatTimeTable,
    FluidTable,
    LabourRateTable,
    PartComponentTable,
    PriceTable,
    ReferenceTable,
)
from schemas.service_record import ServiceRecord
from service.alike import bare
from service.as_known import claim_known, machine_known, services_known
from service.currencies import exponents_of
from service.rendering.remarks import Remark

_NEAR = 0.8  # how alike two serials are before one is taken for the other mistyped, from 0 to 1


@dataclass(frozen=True, slots=True)
class OnFile:
    """Everything on file, by key; later the store answers the same questions."""

    machines: Mapping[str, Machine] = field(default_factory=dict)  # by serial
    services: Mapping[str, tuple[ServiceRecord, ...]] = field(default_factory=dict)  # by serial of the machine
    dealers: Mapping[str, Dealer] = field(default_factory=dict)  # by dealer id
    payments: Mapping[str, tuple[EarlierPayment, ...]] = field(default_factory=dict)  # by serial of the machine
    tables: tuple[ReferenceTable, ...] = ()


class NotOnFile(LookupError):
    """A machine or dealer that a claim names and that is not on file."""


def gather(claim: Claim, on_file: OnFile, policy_currencies: Iterable[str], decided_on: date) -> ClaimFile:
    """Return the claim file of ``claim``.

    Raises NotOnFile, UnknownCurrency, or ValidationError where the records do not belong together.
    """
    machine = on_file.machines.get(claim.serial)
    if machine is None:
        raise NotOnFile(f"claim {claim.claim} is about machine {claim.serial}, which is not on file")
    dealer = on_file.dealers.get(claim.dealer)
    if dealer is None:
        raise NotOnFile(f"claim {claim.claim} comes from dealer {claim.dealer}, who is not on file")
    machine, claim = machine_known(machine, decided_on), claim_known(claim, decided_on)
    services = services_known(on_file.services.get(claim.serial, ()), decided_on)
    payments = tuple(
        payment
        for payment in on_file.payments.get(claim.serial, ())
        if payment.claim != claim.claim and payment.paid_on <= decided_on
    )
    currencies = {claim.currency, dealer.currency, *policy_currencies, *(p.currency for p in payments)}
    currencies |= {table.currency for table in on_file.tables if isinstance(table, PriceTable | LabourRateTable)}
    currencies |= {machine.currency} if machine.currency is not None else set()
    keys = _Keys.of(claim, services, currencies, on_file.tables)
    return ClaimFile(
        machine=machine,
        services=tuple(sorted(services, key=lambda record: record.record)),
        claim=claim,
        dealer=dealer,
        tables=tuple(keys.rows_of(table) for table in on_file.tables),
        earlier_payments=tuple(sorted(payments, key=lambda payment: payment.id)),
        currency_exponents=exponents_of(currencies),
        decided_on=decided_on,
    )


@dataclass(frozen=True, slots=True)
class _Keys:
    """The keys by which a claim can meet a row."""

    parts: frozenset[str]
    operations: frozenset[str]
    dealer: str
    currencies: frozenset[str]
    fluids: frozenset[str]

    @classmethod
    def of(
        cls,
        claim: Claim,
        services: Iterable[ServiceRecord],
        currencies: Iterable[str],
        tables: Iterable[ReferenceTable],
    ) -> "_Keys":
        return cls(
            parts=_with_successors((line.part_number for line in claim.lines), tables),
            operations=_with_combined(claim, tables),
            dealer=claim.dealer,
            currencies=frozenset(currencies),
            fluids=frozenset(used.fluid for record in services for used in record.fluids),
        )

    def rows_of(self, table: ReferenceTable) -> ReferenceTable:
        """Return the table with the rows that can matter, of every date: which one holds is for the rules to say."""
        match table:
            case PriceTable():
                return table.model_copy(update={"rows": tuple(r for r in table.rows if r.part in self.parts)})
            case FlatTimeTable():
                # A combined row matters only when all of its operations are in this visit.
                together = tuple(r for r in table.rows if self.operations.issuperset(r.operations))
                return table.model_copy(update={"rows": together})
            case LabourRateTable():
                return table.model_copy(update={"rows": tuple(r for r in table.rows if r.dealer == self.dealer)})
            case ExchangeRateTable():
                pairs = tuple(r for r in table.rows if {r.one, r.in_} <= self.currencies)
                return table.model_copy(update={"rows": pairs})
            case FluidTable():
                return table.model_copy(update={"rows": tuple(r for r in table.rows if r.fluid in self.fluids)})
            case PartComponentTable():
                return table.model_copy(update={"rows": tuple(r for r in table.rows if r.part in self.parts)})


def _with_combined(claim: Claim, tables: Iterable[ReferenceTable]) -> frozenset[str]:
    """Return the operations with those that work without a code may be of, as far as they combine with claimed ones."""
    claimed = frozenset(line.operation for line in claim.lines if line.operation is not None)
    unstated = sum(line.item == "labour" and line.operation is None for line in claim.lines)
    times = [row for table in tables if isinstance(table, FlatTimeTable) for row in table.rows] if unstated else []
    others = [set(row.operations) - claimed for row in times if claimed.intersection(row.operations)]
    return claimed.union(*(found for found in others if len(found) <= unstated))


def _with_successors(parts: Iterable[str | None], tables: Iterable[ReferenceTable]) -> frozenset[str]:
    """Return part numbers with those that took their place: a superseded part is priced under its new number."""
    rows = [row for table in tables if isinstance(table, PriceTable) for row in table.rows]
    found = {part for part in parts if part is not None}
    waiting = set(found)
    while waiting:
        waiting = {r.superseded_by for r in rows if r.part in waiting and r.superseded_by is not None} - found
        found |= waiting
    return frozenset(found)


def left_out(records: Mapping[str, Collection[object]], serial: str, what: str) -> list[Remark]:
    """Return a remark where records of other machines are left out and may be meant for this one.

    A file of a whole fleet holds many other machines: it is told only where nothing in it is of this machine, or where
    a serial in it is the same one written otherwise.
    """
    others = sorted(set(records) - {serial})
    alike = [other for other in others if bare(other) == bare(serial)]
    named = alike or (others if serial not in records else [])
    if not named:
        return []
    count = sum(len(records[other]) for other in named)
    some = ", ".join(named[:5]) + (", …" if len(named) > 5 else "")
    told = f"{what} is of another machine" if count == 1 else f"{what}s are of other machines"
    words = f"{count} {told} ({some}) and {'plays' if count == 1 else 'play'} no part"
    near = alike or get_close_matches(serial, others, n=1, cutoff=_NEAR)
    return [Remark(f"{words}; did you mean {serial}?" if near else f"{words}: none is of {serial}.")]


def by_serial(records: Iterable[ServiceRecord]) -> dict[str, tuple[ServiceRecord, ...]]:
    """Return service records by the serial of their machine."""
    found: dict[str, list[ServiceRecord]] = {}
    for record in records:
        found.setdefault(record.serial, []).append(record)
    return {serial: tuple(rows) for serial, rows in found.items()}
