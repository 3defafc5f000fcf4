"""The decision: one outcome a line with every reason, the arithmetic, who bears what, and how it was derived.

Every amount is in the line's own currency; every line keeps
``claimed + added = maker_pays + owner_owes + dealer_bears + other_payer + open``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Literal

import orjson

from schemas.frozen import quickly_made

Outcome = Literal["pay", "pay_part", "pay_zero", "deny", "need_info", "refer"]
Status = Literal[
    "paid_in_full", "paid_in_part", "nothing_due", "denied", "waiting_for_dealer", "held_for_person", "partly_decided"
]
CostBearer = Literal["maker", "owner", "dealer", "other_payer"]

FORMAT_VERSION = 1

CAUTIONS = (
    "This is not legal advice. Local warranty, consumer and product-safety law and licensed practice prevail.",
    "A failure that can hurt someone must go to a person at once, whatever is paid.",
)


@quickly_made
@dataclass(frozen=True)
class Comparison:
    """A comparison in numbers that a checker can recompute: ``left operator right``, in ``unit``."""

    quantity: str
    left: str
    operator: Literal["<=", "<", ">", ">=", "==", "!="]
    right: str
    unit: Literal["h", "day", "months", "share", "amount", "text"]


@quickly_made
@dataclass(frozen=True)
class Reason:
    """Why a line came out as it did: code, clause in words, facts with record ids, numbers, bearer.

    ``clause_quoted`` says whether ``clause_text`` is what the maker wrote; otherwise it is the terms in plain English.
    """

    code: str
    policy: str | None
    clause: str | None
    clause_text: str | None
    clause_quoted: bool
    words: str
    facts: tuple[tuple[str, str], ...]
    records: tuple[str, ...]
    comparison: Comparison | None
    bearer: CostBearer | None


@quickly_made
@dataclass(frozen=True)
class Step:
    """One step of the arithmetic: ``before - after`` moves to ``bearer`` (in the step ``added``: joins the claim).

    ``exact`` is the running amount after the step before it is rounded (decimal, or n/d). It follows from the step
    before: times ``factor``, or less ``amount`` (``added``: plus), never below 0. ``after`` is it in minor units,
    rounded as the conventions say; where whole minor units are taken (deductible, caps, open) it is
    ``before - amount``.
    An ``added`` step with a bearer is borne by that one at once and leaves the running amount as it is.
    """

    step: Literal[
        "claimed", "exchange", "added", "allowance", "share", "deductible", "caps", "open", "not_covered", "either_or"
    ]
    clause: str | None
    words: str
    before: Decimal
    after: Decimal
    bearer: CostBearer | Literal["open"] | None = None
    factor: str | None = None
    amount: str | None = None
    exact: str | None = None


@quickly_made
@dataclass(frozen=True)
class Considered:
    """Another coverage that was looked at for the line, and what it would have done."""

    policy: str
    outcome: str
    maker_pays: Decimal | None
    why: str


@quickly_made
@dataclass(frozen=True)
class Question:
    """A fact somebody must give, and until when; where ``lines`` is empty, it is the payout alone that waits for it.

    ``asked_on`` is the day, before that of the decision, on which the dealer was first asked about the subject and has
    not answered since; ``answer_by`` is counted from it, and may have passed.
    """

    id: str
    about: str
    asks: Literal["dealer", "person"]
    words: str
    lines: tuple[str, ...]
    answer_by: str | None
    asked_on: str | None = None


@quickly_made
@dataclass(frozen=True)
class Payout:
    """What the maker pays the dealer, in the dealer's currency; ``rates`` names the rows used.

    ``held`` lists the sums that wait for an exchange rate and are not part of ``amount``, each with why.
    """

    currency: str
    amount: Decimal
    rates: tuple[str, ...]
    held: tuple[str, ...] = ()


@quickly_made
@dataclass(frozen=True)
class Remedy:
    """Facts that, were they proven, would change a line; exact ranges are for the desk, not for the dealer's letter.

    An undecided outcome says what the line waits for, with the amount unchanged. ``letter_words`` is empty where the
    dealer need supply nothing. ``answer_by`` is the last day to answer, counted from the first time that the subject
    was asked about; it may have passed.
    Lines share caps, deductibles and records: ``also`` are the other lines that come to another sum by it, with what
    the maker pays on each then, and ``payout`` is what the dealer gets in all then; None where no other line changes.
    """

    line: str
    desk_words: str
    letter_words: str
    facts: tuple[str, ...]
    outcome: Outcome
    maker_pays: Decimal
    answer_by: str
    also: tuple[tuple[str, Decimal], ...] = ()
    payout: Payout | None = None


@quickly_made
@dataclass(frozen=True)
class Proposal:
    """Something proposed to a person, such as recovering a sum from a dealer; it alters no amount by itself."""

    kind: Literal["recovery"]
    from_whom: str
    words: str
    records: tuple[str, ...]


@quickly_made
@dataclass(frozen=True)
class LineDecision:
    line: str
    item: str
    component: str | None
    position: str
    text: str | None
    outcome: Outcome
    policy: str | None
    currency: str
    claimed: Decimal
    added: Decimal
    allowed: Decimal
    share: str | None
    maker_pays: Decimal
    owner_owes: Decimal
    dealer_bears: Decimal
    other_payer: Decimal
    open: Decimal
    reasons: tuple[Reason, ...]
    notes: tuple[Reason, ...]
    steps: tuple[Step, ...]
    considered: tuple[Considered, ...]


@quickly_made
@dataclass(frozen=True)
class Firing:
    """One rule that fired, with the facts it matched."""

    policy: str
    rule: str
    facts: tuple[Mapping[str, int | str], ...]


@quickly_made
@dataclass(frozen=True)
class Measure:
    """A derived quantity with its records, such as the machine hours at the failure."""

    policy: str | None
    name: str
    value: str
    records: tuple[str, ...] = ()


@quickly_made
@dataclass(frozen=True)
class Digests:
    claim_file: str
    policies: tuple[tuple[str, str], ...]
    outcome: str
    derivation: str
    envelope: str


@quickly_made
@dataclass(frozen=True)
class Decision:
    claim: str
    serial: str
    dealer: str
    decided_on: str
    status: Status
    lines: tuple[LineDecision, ...]
    payout: Payout
    questions: tuple[Question, ...]
    proposals: tuple[Proposal, ...]
    deadlines: tuple[tuple[str, str, str], ...]
    measures: tuple[Measure, ...]
    firings: tuple[Firing, ...]
    remedies: tuple[Remedy, ...]
    digests: Digests
    engine: str
    format: int = FORMAT_VERSION
    cautions: tuple[str, ...] = CAUTIONS
    data: bytes = field(default=b"", compare=False, repr=False)
    """The decision in canonical form (RFC 8785), digests included: what is stored."""

    @property
    def document(self) -> dict[str, Any]:
        """The decision as plain JSON values, amounts as text."""
        return orjson.loads(self.data)  # type: ignore[no-any-return]
