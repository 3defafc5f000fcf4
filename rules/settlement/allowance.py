"""What is allowed of a claimed line: the typed price, time and rate held against the dated tables.

``allowed = claimed + added - cuts``; every cut says how much, by which clause and who bears it. All amounts are exact
(grains, see ``exact``) and in the policy's currency, unless no exchange rate is on file: then it is held as typed.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from rules.measures.prorating import number_text
from rules.measures.unanswered import given, in_vain_words
from rules.open_facts import OUTLINE, OpenFact
from rules.plain import sum_text
from rules.settlement.desk import Desk, Held
from rules.settlement.exact import Exact, Factor, factor, grains, times
from schemas.claim import ClaimLine
from schemas.frozen import quickly_made
from schemas.policy.pays import AsInvoiced, FixedSum, Paid, ShareOfLabour

OF_LINES = ("invoice:", "hours:", "distance:")  # how the key of a fact begins that one line lacks; its id follows
OUTLINE_OF_LINES = f"{OUTLINE}lines"


@quickly_made
@dataclass(frozen=True, slots=True)
class Cut:
    """Part of a claimed amount that is not allowed (exact, in the policy's currency)."""

    code: str
    path: str
    words: str
    amount: Exact
    bearer: str
    records: tuple[str, ...] = ()


def _as_claimed() -> str:
    return "as claimed"


@quickly_made
@dataclass(frozen=True, slots=True)
class Allowance:
    """A line before it is shared and capped: claimed, added by the policy, and what is cut."""

    currency: str
    claimed: Exact
    added: Exact = 0
    added_words: str = ""
    cuts: tuple[Cut, ...] = ()
    held: tuple[Held, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()
    words: Callable[[], str] = _as_claimed  # called only where a reader sees them
    rate: Factor = 1  # units of the policy's currency for one of the claim's
    list_total: Exact | None = None  # quantity times list price, for an owner billed on list and for caps
    net_total: Exact | None = None  # quantity times dealer net, for caps

    @property
    def allowed(self) -> Exact:
        allowed = self.claimed + self.added
        for cut in self.cuts:
            allowed -= cut.amount
        return allowed


def typed_grains(line: ClaimLine) -> Exact:
    """Return what the dealer typed for the line, in the claim's currency, handling apart."""
    if line.amount is not None:
        return grains(line.amount)
    if line.net is not None:
        return times(grains(line.net), factor(line.quantity))
    if line.hours is not None and line.rate is not None:
        return times(grains(line.rate), factor(line.hours))
    return 0


def handled(amount: Exact, handling: Fraction) -> Exact:
    """Return the amount with its handling."""
    return amount + times(amount, handling) if handling else amount


def limited(allowance: Allowance, most: Exact, code: str, path: str, words: str, bearer: str) -> Allowance:
    """Return the allowance cut to ``most``; unchanged when it is not above it."""
    excess = allowance.allowed - most
    if excess <= 0:
        return allowance
    return replace(allowance, cuts=(*allowance.cuts, Cut(code, path, words, excess, bearer)))


def rounded_each_step(allowance: Allowance, desk: Desk) -> Allowance:
    """Return the allowance with every amount between two of its steps in whole minor units; as it is, if at the end.

    What a cut leaves is a price, a time or a limit of its own, so it is that which is rounded, not what the cut takes.
    """
    if not desk.each_step:
        return allowance
    exact = allowance.claimed
    claimed = left = desk.after_step(exact)
    exact += allowance.added
    added = desk.after_step(exact) - left
    left += added
    cuts: list[Cut] = []
    for cut in allowance.cuts:
        exact -= cut.amount
        after = desk.after_step(exact)
        cuts.append(replace(cut, amount=left - after))
        left = after
    return replace(allowance, claimed=claimed, added=added, cuts=tuple(cuts))


def with_general_cuts(allowance: Allowance, rule: Paid, path: str, desk: Desk) -> Allowance:
    """Return the allowance after a fixed paid share and the most a line may come to, whatever kind of rule it has."""
    if rule.share is not None and rule.share != 1:
        cut = allowance.allowed - desk.after_step(times(allowance.allowed, rule.share))
        words = f"{rule.share} of these items is paid"
        cuts = (*allowance.cuts, Cut("fixed_share", path, words, cut, rule.excess_borne_by)) if cut else allowance.cuts
        allowance = replace(allowance, cuts=cuts)
    if rule.at_most is not None:
        words = f"at most {sum_text(rule.at_most)} a line"
        most = desk.after_step(grains(rule.at_most))
        allowance = limited(allowance, most, "above_allowance", path, words, rule.excess_borne_by)
    return allowance


def fixed_sum(line: ClaimLine, rule: FixedSum, path: str, desk: Desk, rate: Factor) -> Allowance:
    """Return a fixed sum a line, whatever was typed."""
    claimed, fixed = times(typed_grains(line), rate), grains(rule.fixed)
    words = f"a fixed sum of {sum_text(rule.fixed)} is paid"
    allowance = Allowance(desk.policy.terms.currency, claimed)
    if fixed >= claimed:
        return replace(allowance, added=fixed - claimed, added_words=words)
    return limited(allowance, fixed, "above_allowance", path, words, rule.excess_borne_by)


def as_invoiced(line: ClaimLine, rule: AsInvoiced, path: str, desk: Desk, rate: Factor) -> Allowance:
    """Return the amount of an outside bill with its handling; a bill that is needed and not on file is asked for."""
    typed = typed_grains(line)
    claimed = handled(times(typed, rate), rule.handling)
    allowance = Allowance(desk.policy.terms.currency, claimed)
    if line.amount is None and not typed:
        words = f"line {line.line} states no amount, and {line.item} is paid as invoiced"
        return replace(allowance, held=(Held("amount_missing", path, words),))
    if rule.as_invoiced == "invoice_needed" and line.invoice is None:
        fact = OpenFact(
            f"invoice:{line.line}", "evidence", "dealer", f"the invoice behind line {line.line} ({line.item})"
        )
        return unless_given(
            allowance, fact, desk, "invoice_missing", path, "no invoice is on file", rule.excess_borne_by
        )
    return allowance


def unless_given(
    allowance: Allowance, fact: OpenFact, desk: Desk, code: str, path: str, words: str, bearer: str
) -> Allowance:
    """Return the allowance where the fact is given, and nothing of it where it is not, or was asked for in vain.

    In outline all lines lack what they lack, or none does: another line gets its least beside all of them (under a cap)
    or beside none (under a deductible).
    """
    conventions = desk.policy.conventions
    if desk.world.outline and fact.key not in desk.world.assumed:
        fact = replace(fact, key=OUTLINE_OF_LINES)
    if given(fact, desk.world, desk.claim_file, conventions):
        return allowance
    words += in_vain_words(desk.claim_file, conventions)
    return limited(allowance, 0, code, path, words, bearer)


def share_of_labour(
    line: ClaimLine, rule: ShareOfLabour, path: str, desk: Desk, rate: Factor, labour_allowed: Exact | None
) -> Allowance:
    """Return supplies up to a share of the allowed labour; ``labour_allowed`` is None while labour is held."""
    allowance = Allowance(desk.policy.terms.currency, times(typed_grains(line), rate))
    if labour_allowed is None:
        words = "the allowed labour, of which this is a share, is not decided"
        return replace(allowance, held=(Held("labour_undecided", path, words),))
    words = f"{number_text(rule.of_labour * 100)} % of the allowed labour"
    most = times(labour_allowed, rule.of_labour)
    return limited(allowance, most, "above_allowance", path, words, rule.excess_borne_by)


def lesser(one: Decimal, other: Decimal | None) -> Decimal:
    """Return the lesser of a number and a limit that may be left out."""
    return one if other is None or one <= other else other
