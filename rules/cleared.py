"""What lines are held for, taken as settled: how a claim would come out once that is answered.

Nobody knows the answer yet, so the price, the rate or the sum is taken as typed, and whatever a person must look at as
found in order. Such a result is never shown and pays nothing: it tells which other facts would matter then.
"""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import TypeVar

from rules.line_views import PolicyReason
from rules.rule_base.compiler import DUE_STATES
from rules.rule_base.findings import Findings, RuleReason
from rules.settlement.allowance import Allowance
from rules.settlement.exact import grains

ANY_SUM = grains(Decimal(1000))  # where nothing was typed: a share of any sum differs from the whole of it
OF_SERVICES = frozenset(DUE_STATES.values())

Reason = TypeVar("Reason", RuleReason, PolicyReason)


def cleared_findings(found: Findings) -> Findings:
    """Return the findings without what a person must look at, unless it is what a policy makes of a service."""
    return replace(found, reasons={line: cleared_reasons(reasons) for line, reasons in found.reasons.items()})


def cleared_reasons(reasons: Sequence[Reason]) -> tuple[Reason, ...]:
    """Return the reasons of one line under one version that are left once a person has found all in order."""
    return tuple(reason for reason in reasons if reason.effect != "refer" or reason.code in OF_SERVICES)


def cleared_allowance(allowance: Allowance) -> Allowance:
    """Return the allowance as typed, held for nothing."""
    if not allowance.held:
        return allowance
    return replace(allowance, held=(), claimed=allowance.claimed or ANY_SUM)
