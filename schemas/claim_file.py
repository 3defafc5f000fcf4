"""The claim file: everything a decision may use, gathered by key, frozen and digested."""

from functools import cached_property
from typing import Annotated, Any

from pydantic import Field, model_validator

from schemas.canonical import canonical_bytes, digest
from schemas.claim import Claim
from schemas.machine import Machine, first_twice
from schemas.quantities import CANONICAL, Amount, Currency, Day, Document, RecordId, Word
from schemas.reference_tables import ReferenceTable
from schemas.service_record import ServiceRecord


class Dealer(Document):
    """A dealer as a decision sees it; names and contacts live elsewhere."""

    dealer: RecordId
    region: str
    currency: Currency = Field(description="The dealer is paid in this currency.")
    records_complete_from: Day | None = Field(
        default=None, description="From this day all services of this dealer are on file."
    )


class EarlierPayment(Document):
    """A payment on the same machine, for caps over a lifetime."""

    id: RecordId
    claim: RecordId
    paid_on: Day
    policy: str
    component: Word | None = None
    item: Word
    amount: Amount
    currency: Currency


class ClaimFile(Document):
    """Input of ``adjudicate``. ``service`` gathers it and judges nothing; its digest is the decision's input digest."""

    machine: Machine
    services: tuple[ServiceRecord, ...] = ()
    claim: Claim
    dealer: Dealer
    tables: tuple[ReferenceTable, ...] = ()
    earlier_payments: tuple[EarlierPayment, ...] = ()
    currency_exponents: dict[Currency, Annotated[int, Field(ge=0, le=4)]] = Field(
        description="ISO 4217 decimals of every currency in the file."
    )
    decided_on: Day

    @model_validator(mode="after")
    def _about_one_machine(self) -> "ClaimFile":
        if self.claim.serial != self.machine.serial:
            raise ValueError(
                f"claim {self.claim.claim} is about machine {self.claim.serial}, not {self.machine.serial}"
            )
        stray = sorted(s.record for s in self.services if s.serial != self.machine.serial)
        if stray:
            raise ValueError(f"service records {', '.join(stray)} belong to another machine than {self.machine.serial}")
        for what, ids in (
            ("service record", [s.record for s in self.services]),
            ("earlier payment", [p.id for p in self.earlier_payments]),
            ("table", [f"{t.table} version {t.version} of {t.kind}" for t in self.tables]),
        ):
            twice = first_twice(ids)
            if twice is not None:
                raise ValueError(f"{what} {twice} stands twice in the claim file; a record is given once, by its id")
        if self.claim.dealer != self.dealer.dealer:
            raise ValueError(
                f"claim {self.claim.claim} comes from dealer {self.claim.dealer}, not {self.dealer.dealer}"
            )
        return self

    @cached_property
    def digest(self) -> str:
        """Digest of the canonical form: numbers in one form, lists in one order, what is left out left out."""
        tree = self.model_dump(mode="json", by_alias=True, exclude_defaults=True, context=CANONICAL)
        return digest(in_canonical_order(tree))


def in_canonical_order(tree: Any) -> Any:
    """Return a claim file's tree with every list sorted by its content, so that input order changes no digest.

    No list of a claim file has an order that means something: records carry their own days, lines and rows their keys,
    and tasks, evidence and fluids are sets.
    """
    if isinstance(tree, dict):
        return {key: in_canonical_order(value) for key, value in tree.items()}
    if isinstance(tree, list):
        return sorted((in_canonical_order(value) for value in tree), key=canonical_bytes)
    return tree
