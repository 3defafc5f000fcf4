"""A table of worked cases: a named base, and cases that state only what differs from it.

Facts are written as in the documents themselves, with four shorthands: lists of records are written as mappings by id,
``like: a`` copies another service, a machine's events may stand directly under ``machine``, and null takes a key away.
``terms`` and ``conventions`` change a policy or its conventions for one case, for cases that show what a knob does.

Instead of a base, a table may name a scenario: a directory of records on file, from which each case names a claim.
"""

from typing import Annotated, Any

from pydantic import AfterValidator, Field, WithJsonSchema, model_validator

from schemas.decision import Outcome
from schemas.quantities import Amount, Document, Name, PublishedVersion, RecordId, Share

Codes = Annotated[tuple[str, ...], Field(min_length=1)]
Said = Annotated[str, Field(min_length=1)]


FEWEST_LETTERS = 10


def _sentence(name: str) -> str:
    if len(name) < FEWEST_LETTERS:
        raise ValueError(
            f'"{name}" says too little: a case that fails is known by its name; write a sentence of at least'
            f" {FEWEST_LETTERS} characters that says what it shows"
        )
    return name


Sentence = Annotated[str, AfterValidator(_sentence), WithJsonSchema({"type": "string", "minLength": FEWEST_LETTERS})]


class ExpectedLine(Document):
    """What a line must come to; only what is stated is compared, and something is. Codes must be among those found."""

    outcome: Outcome | None = None
    policy: PublishedVersion | None = Field(default=None, description="The version the line is decided under.")
    maker_pays: Amount | None = None
    owner_owes: Amount | None = None
    dealer_bears: Amount | None = None
    other_payer: Amount | None = None
    open: Amount | None = None
    claimed: Amount | None = None
    added: Amount | None = None
    allowed: Amount | None = None
    share: Share | None = None
    reasons: Codes | None = None
    no_reasons: Codes | None = Field(default=None, description="Codes that must not be among the reasons.")
    notes: Codes | None = None
    only_reasons: tuple[str, ...] | None = Field(default=None, description="Exactly these reasons, in order.")
    says: Annotated[tuple[Said, ...], Field(min_length=1)] | None = Field(
        default=None, description="Words that the line's reasons, facts or notes must hold."
    )

    @model_validator(mode="after")
    def _expects_something(self) -> "ExpectedLine":
        if all(getattr(self, field) is None for field in type(self).model_fields):
            raise ValueError("nothing is expected of this line, so it always holds; state outcome, an amount or a code")
        return self


class WorkedCase(Document):
    """One case: a sentence as its name, what differs, and what must come out."""

    id: str | None = Field(default=None, description="Short id, such as E-01.")
    name: Sentence
    source: str | None = Field(default=None, description="Where the expected value comes from.")
    claim_on_file: RecordId | None = Field(
        default=None, description="The claim of the table's scenario that this case is about, decided as it is on file."
    )
    terms: dict[str, dict[str, Any]] = Field(default_factory=dict, description="Changes to policies, by name@version.")
    conventions: dict[str, Any] = Field(default_factory=dict, description="Changes to the conventions of all policies.")
    machine: dict[str, Any] = Field(default_factory=dict)
    services: dict[str, Any] = Field(default_factory=dict)
    claim: dict[str, Any] = Field(default_factory=dict)
    dealer: dict[str, Any] = Field(default_factory=dict)
    tables: dict[str, Any] = Field(default_factory=dict)
    earlier_payments: dict[str, Any] = Field(default_factory=dict)
    decided_on: str | None = None
    expect: dict[str, ExpectedLine] = Field(min_length=1)
    payout: Amount | None = None
    proposals: int | None = Field(default=None, description="Number of proposals to a person.")
    questions: tuple[str, ...] | None = Field(default=None, description="What the open questions are about, in order.")
    remedy: dict[str, Amount] | None = Field(
        default=None, min_length=1, description="What a line would come to with the named remedy."
    )


FACTS = ("machine", "services", "claim", "dealer", "tables", "earlier_payments", "decided_on")


class CaseBase(Document):
    """The facts that the cases share."""

    machine: dict[str, Any]
    services: dict[str, Any] = Field(default_factory=dict)
    claim: dict[str, Any]
    dealer: dict[str, Any] = Field(default_factory=dict)
    tables: dict[str, Any] = Field(default_factory=dict)
    earlier_payments: dict[str, Any] = Field(default_factory=dict)
    decided_on: str | None = None


class CaseTable(Document):
    """A file of cases; the policies are found in the directory that the runner is given."""

    policies: tuple[PublishedVersion, ...] = Field(min_length=1)
    title: Name | str | None = None
    source: str | None = Field(
        default=None, description="Where the expected values come from, unless a case says otherwise."
    )
    base: CaseBase | None = Field(default=None, description="The facts that the cases share; left out with a scenario.")
    scenario: str | None = Field(
        default=None,
        description="Instead of a base: the directory, seen from this file, of claims.json, machines.json and the other"
        " records on file.",
    )
    cases: tuple[WorkedCase, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _facts_come_from_one_place(self) -> "CaseTable":
        if (self.base is None) == (self.scenario is None):
            raise ValueError("a table takes its facts from one place: write either base or scenario")
        for case in self.cases:
            if (case.claim_on_file is None) != (self.scenario is None):
                raise ValueError(
                    f'case "{case.name}": claim_on_file names a claim of the table\'s scenario; write it in every case'
                    " of a table with a scenario, and in no other"
                )
            stated = [fact for fact in FACTS if getattr(case, fact)]
            if case.claim_on_file is not None and stated:
                raise ValueError(
                    f'case "{case.name}" is about a claim as it is on file, and states {stated[0]}; leave it out, or'
                    " write the case in a table with a base"
                )
        return self
