"""How a line stands by the reasons found: denied, for a person, falling back or covered, and who bears it."""

from collections.abc import Sequence

from rules.decision.catalogue import PRECEDENCE
from rules.line_views import PolicyReason, clause_bearer
from rules.policy_book.compiled import CompiledPolicy
from rules.rule_base.compiler import DUE_STATES
from rules.rule_base.findings import RuleReason
from rules.settlement.allowance import Allowance
from schemas.policy.services import Consequence, FallBack

DENYING = frozenset(("deny", "deny_unless_caused"))  # effects by which a reason denies a line


def state_of(reasons: Sequence[RuleReason], allowance: Allowance) -> str:
    """Return how a line stands by its reasons and allowance: denied, for a person, or covered.

    Where a missed service leads to another version and a person must look first, that version may pay what this one
    denies: no denial stands before the person has looked.
    """
    if not reasons:
        return "refer" if allowance.held else "covered"
    effects = {reason.effect for reason in reasons}
    held = "refer" in effects or bool(allowance.held)
    if not effects.isdisjoint(DENYING) and not (held and _fall_back_weighs_most(reasons)):
        return "deny"
    return "refer" if held else "covered"


def _fall_back_weighs_most(reasons: Sequence[RuleReason | PolicyReason]) -> bool:
    effects = {reason.effect for reason in reasons if reason.path.startswith("services.")}
    return "fall_back" in effects and effects.isdisjoint(("deny", "lower_share"))


def consequence_of(policy: CompiledPolicy, reason: RuleReason | PolicyReason) -> Consequence:
    """Return what the policy says of the breach behind a service reason."""
    return policy.terms.duty_at(reason.path).consequence(of_wrong_fluid=reason.code == DUE_STATES["wrong_fluid"])


def fall_backs_of(policy: CompiledPolicy, reasons: Sequence[RuleReason | PolicyReason]) -> tuple[str, ...]:
    """Return the versions a line falls back to; none where a service has a worse consequence, or a person must look.

    Of several consequences the worst alone counts: refusal, a lower share, falling back, nothing.
    """
    if not _fall_back_weighs_most(reasons) or any(reason.effect == "refer" for reason in reasons):
        return ()
    targets: set[str] = set()
    for reason in reasons:
        if reason.effect != "fall_back":
            continue
        consequence = consequence_of(policy, reason)
        assert isinstance(consequence, FallBack)
        targets.add(str(consequence.fall_back_to))
    return tuple(sorted(targets))


def bearer_of(policy: CompiledPolicy, reasons: tuple[RuleReason, ...]) -> str:
    """Return who bears a denied line: as the clause of the first reason says, else as the catalogue does."""
    deciding = [r for r in reasons if r.effect in DENYING]
    if not deciding:
        return "owner"
    first = min(deciding, key=lambda r: (PRECEDENCE[r.code], r.path))
    return clause_bearer(policy, first.code, first.path)
