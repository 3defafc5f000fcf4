"""The claim file: everything a decision may use, gathered by key, frozen and digested."""

from functools import cached_property
from typing import Annotated

from pydantic import Field, model_validator

from schemas.canonical import canonical_bytes, digest_of_bytes
from schemas.claim import Claim
from schemas.machine import BY_ID, Machine, Position, first_twice
from schemas.quantities import Amount, Currency, Day, Document, RecordId, Word, in_order_of
from schemas.reference_tables import LabourRateTable, PriceTable, ReferenceTable
from schemas.service_record import ServiceRecord


class Dealer(Document):
    """A dealer as a decision sees it; names and contacts live elsewhere."""

    dealer: RecordId
    region: str | None = None
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
    position: Position = Field(
        default="none", description="Side of a paired component; none: not known, or not paired."
    )
    item: Word
    amount: Amount
    currency: Currency


class PaymentOnMachine(EarlierPayment):
    """An earlier payment as it stands in a file: with the serial of the machine it was made on."""

    serial: RecordId


class ClaimFile(Document):
    """Input of ``adjudicate``. ``service`` gathers it and judges nothing; its digest is the decision's input digest."""

    machine: Machine
    services: Annotated[tuple[ServiceRecord, ...], in_order_of("record")] = ()
    claim: Claim
    dealer: Dealer
    tables: Annotated[tuple[ReferenceTable, ...], in_order_of("kind", "table", "version")] = ()
    earlier_payments: Annotated[tuple[EarlierPayment, ...], BY_ID] = ()
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

    @property
    def canonical(self) -> bytes:
        """The canonical form (RFC 8785): numbers in one form, lists in one order, what is left out left out."""
        return canonical_bytes(self.model_dump(mode="json", by_alias=True, exclude_defaults=True))

    @cached_property
    def digest(self) -> str:
        """Digest of the canonical form."""
        return digest_of_bytes(self.canonical)

    @property
    def currencies(self) -> frozenset[Currency]:
        """Every currency of an amount in the file."""
        found = {self.claim.currency, self.dealer.currency, *(p.currency for p in self.earlier_payments)}
        found |= {table.currency for table in self.tables if isinstance(table, PriceTable | LabourRateTable)}
        return frozenset(found | ({self.machine.currency} if self.machine.currency is not None else set()))
