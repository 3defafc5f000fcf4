"""A claim line as one coverage sees it, and what becomes of it in one world."""

from dataclasses import dataclass
from fractions import Fraction

from rules.decision.catalogue import KINDS
from rules.measures.hours import Hours
from rules.measures.measure import Measures
from rules.open_facts import Details
from rules.policy_book.compiled import CompiledPolicy
from rules.rule_base.driver import Firing
from rules.selection.select import Selected, Subject
from rules.settlement.allowance import Allowance
from rules.settlement.exact import Exact, grains, times
from rules.settlement.money import LineMoney
from rules.settlement.settle import LowerShare, proration_quantity
from schemas.frozen import quickly_made
from schemas.policy.pays import NotPaid


@quickly_made
@dataclass(frozen=True, slots=True)
class PolicyReason:
    """A reason under one policy version, with what it rests on."""

    policy: CompiledPolicy
    measures: Measures | None
    code: str
    path: str
    effect: str = "deny"
    limit: int = 0
    words: str = ""


@quickly_made
@dataclass(frozen=True, slots=True)
class LineView:
    """What one coverage makes of a line: covered, denied or held, with reasons, and who would pay under which terms."""

    subject: Subject
    candidate: CompiledPolicy  # the coverage looked at
    payer: CompiledPolicy  # itself, or the version it falls back to
    measures: Measures
    state: str  # covered, deny or refer
    reasons: tuple[PolicyReason, ...]
    lowered: tuple[LowerShare, ...]
    allowance: Allowance
    bearer: str  # of a denied line

    @property
    def estimate(self) -> Exact:
        """What it pays before claim-level steps, in the policy's currency; below 0 where it denies."""
        if self.state != "covered":
            return -1 if self.state == "deny" else 0
        amount = self.allowance.allowed
        proration = self.measures.prorations.get(self.subject.line.line)
        if proration is not None and proration.owner_price is not None:
            amount = max(amount - times(grains(proration.owner_price), proration_quantity(self.subject)), 0)
        elif proration is not None:
            amount = times(amount, proration.share)
        for lowered in self.lowered:
            amount = times(amount, lowered.share)
        return amount

    @property
    def estimate_in_claim_currency(self) -> Exact:
        """The estimate as coverages of several currencies are compared."""
        rate = self.allowance.rate
        return self.estimate if rate == 1 else Fraction(self.estimate) / rate


@quickly_made
@dataclass(frozen=True, slots=True)
class LineResult:
    """A line's result in one world."""

    subject: Subject
    state: str
    view: LineView | None
    reasons: tuple[PolicyReason, ...]
    refused: tuple[tuple[CompiledPolicy, str], ...]
    money: LineMoney
    others: tuple[LineView, ...]


@dataclass(frozen=True, slots=True)
class WorldResult:
    """A claim's result in one world."""

    lines: tuple[LineResult, ...]
    selected: Selected
    hours: dict[str, Hours]  # by policy, as its conventions read the meters
    measures: tuple[Measures, ...]
    firings: tuple[tuple[str, Firing], ...]
    details: Details


def clause_bearer(policy: CompiledPolicy, code: str, path: str) -> str:
    """Return who bears what a reason takes: the catalogue's bearer, or the one the clause names."""
    fixed = KINDS[code].bearer
    if fixed is not None:
        return fixed
    terms = policy.terms
    if path.startswith("services."):
        return terms.duty_at(path).borne_by
    if path.startswith("exclusions["):
        return terms.exclusions[int(path[len("exclusions[") : -1])].borne_by
    if path.startswith("pays."):
        rule = getattr(terms.pays, path.removeprefix("pays."))
        if isinstance(rule, NotPaid):
            return rule.borne_by
        if code == "item_period_over":
            return str(rule.after_borne_by)
        return str(getattr(rule, "excess_borne_by", None) or rule.borne_by)
    if path.startswith("caps["):
        return terms.caps[int(path[len("caps[") : -1])].excess_borne_by
    if path == "prorating" and terms.prorating is not None:
        return terms.prorating.borne_by
    if path == "deductible" and terms.deductible is not None:
        return terms.deductible.borne_by
    return "owner"
