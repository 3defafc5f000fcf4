"""Reading records and tables from files, one document or a list of them a file, into what is on file by key."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, TypeAdapter

from schemas.claim import Claim
from schemas.claim_file import ClaimFile, Dealer, EarlierPayment, PaymentOnMachine
from schemas.documents import Fault, ParsedDocument
from schemas.documents.faults import shortened
from schemas.machine import Machine
from schemas.reference_tables import ReferenceTable
from schemas.service_record import ServiceRecord
from service.document_kinds import expect, kind_of
from service.text_files import SUFFIXES, InputRefused, checked, document_files, read_document, refused, write_whole

Record = TypeVar("Record", bound=BaseModel)


_TABLE: TypeAdapter[ReferenceTable] = TypeAdapter(ReferenceTable)


def read_machines(file: Path) -> dict[str, Machine]:
    return _by_key(Machine, "a machine", file, lambda machine: machine.serial)


def read_dealers(file: Path) -> dict[str, Dealer]:
    return _by_key(Dealer, "a dealer", file, lambda dealer: dealer.dealer)


def read_claims(file: Path) -> dict[str, Claim]:
    return _by_key(Claim, "a claim", file, lambda claim: claim.claim)


def read_claim_or_file(file: Path) -> dict[str, Claim] | ClaimFile:
    """Return the claims in a file, or the claim file that it is; raises InputRefused for one with faults."""
    document = read_document(file)  # once: it may be a pipe
    if kind_of(document, "a claim") == "a claim file":
        return checked(ClaimFile, document)
    return _in_document(Claim, "a claim", document, lambda claim: claim.claim)


def read_services(file: Path) -> dict[str, ServiceRecord]:
    return _by_key(ServiceRecord, "a service record", file, lambda service: service.record)


def read_payments(file: Path) -> dict[str, tuple[EarlierPayment, ...]]:
    """Return earlier payments by the serial of the machine."""
    found: dict[str, list[EarlierPayment]] = {}
    for payment in _by_key(PaymentOnMachine, "an earlier payment", file, lambda payment: payment.id).values():
        plain = EarlierPayment.model_construct(**{name: getattr(payment, name) for name in EarlierPayment.model_fields})
        found.setdefault(payment.serial, []).append(plain)
    return {serial: tuple(payments) for serial, payments in found.items()}


def read_tables(*places: Path) -> tuple[ReferenceTable, ...]:
    """Return the reference tables in these files and directories; other documents in a directory are passed over."""
    tables: dict[tuple[str, int], tuple[ReferenceTable, ParsedDocument]] = {}
    faults: list[Fault] = []
    for file in document_files(*places):
        document = read_document(file)
        named = file in places  # a file that was named must be a table; in a directory others may lie beside it
        if not named and not (isinstance(document.tree, dict) and "table" in document.tree):
            continue
        try:
            expect("a reference table", document)
            table = checked(_TABLE, document)
        except InputRefused as error:
            faults += error.faults
            continue
        known = tables.setdefault((table.table, table.version), (table, document))
        if known[1] is not document and known[0] != table:
            message = f"{table.table}@{table.version} stands in {known[1].name} too, and says something else there."
            faults.append(document.fault(("version",), message, "Give one of the two another version, or remove it."))
    if faults:
        raise InputRefused(faults)
    if places and not tables:
        raise refused(places[0], "no table found here.", _why_none(places))
    return tuple(table for _, (table, _) in sorted(tables.items()))


def _why_none(places: Sequence[Path]) -> str:
    """Return what stands in these places instead of a table."""
    others = [
        file.name
        for place in places
        if place.is_dir()
        for file in sorted(place.rglob("*"))
        if file.is_file() and file.suffix not in SUFFIXES and not file.name.startswith(".")
    ]
    if not others:
        return "A table begins with `table: name` and `version: 1`; name its file, or the directory it is in."
    some = ", ".join(others[:3]) + (", …" if len(others) > 3 else "")
    return f"{some} {'is' if len(others) == 1 else 'are'} not YAML or JSON: write the rows as a table in one of these."


def _by_key(model: type[Record], kind: str, file: Path, key_of: Callable[[Record], str]) -> dict[str, Record]:
    """Return the records of a file by key; a file holds one record or a list of them."""
    return _in_document(model, kind, read_document(file), key_of)


def _in_document(
    model: type[Record], kind: str, document: ParsedDocument, key_of: Callable[[Record], str]
) -> dict[str, Record]:
    expect(kind, document)
    if isinstance(document.tree, list):
        adapter: TypeAdapter[list[Record]] = TypeAdapter(list[model])  # type: ignore[valid-type]
        records: list[Record] = checked(adapter, document)
    else:
        records = [checked(model, document)]
    found: dict[str, Record] = {}
    for place, record in enumerate(records):
        key = key_of(record)
        if key in found:
            raise InputRefused([document.fault((place,), f"{key} stands twice in this file.", "Keep one of the two.")])
        found[key] = record
    if not found:
        raise InputRefused(
            [document.fault((), "the list is empty.", "Write at least one record, or leave the file out.")]
        )
    return found


def one_of(records: dict[str, Record], key: str | None, file: Path, what: str, option: str) -> Record:
    """Return the record with this key, or the only one; raises InputRefused when it is not clear which is meant."""
    if key is not None and key in records:
        return records[key]
    some = ", ".join(sorted(records)[:5]) + (", …" if len(records) > 5 else "")
    if key is not None:
        raise refused(file, f"{what} {shortened(key)} is not in this file.", f"It holds {some}.")
    if len(records) > 1:
        raise refused(file, f"this file holds {len(records)} {what}s.", f"Say which {what} with {option}: {some}.")
    return next(iter(records.values()))


def write_kept(file: Path, claim_file: ClaimFile) -> None:
    """Write a claim file in its canonical form, whose SHA-256 is its digest; raises InputRefused for a file in use."""
    data = claim_file.canonical
    if file.exists() and not (file.is_file() and file.read_bytes() == data):
        raise refused(file, "this is there already, and is not this claim file.", "Name another file to write it to.")
    write_whole(file, data.decode("utf-8"))
