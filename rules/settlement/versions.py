"""The lines that several versions of one coverage pay on one claim: its deductible and the room of its caps are one.

A claim has lines of several versions where some of them fall back to an older one, or an extension pays some more.
"""

from collections.abc import Callable, Sequence
from typing import Any

from rules.policy_book.compiled import CompiledPolicy
from rules.settlement.caps import PaidHere
from rules.settlement.desk import Desk
from rules.settlement.either_or import Waiting
from rules.settlement.exact import Minor
from rules.settlement.money import LineMoney
from rules.settlement.settle import Payable, Settlement
from schemas.claim_file import ClaimFile
from schemas.policy.pays import Cap, Deductible


def settled_versions(
    payables: Sequence[Payable],
    over_limit: Callable[[Payable], bool],
    waiting_for: Callable[[CompiledPolicy], Sequence[Waiting]],
    desk_of: Callable[[CompiledPolicy], Desk],
    claim_file: ClaimFile,
) -> dict[str, LineMoney]:
    """Return the money of the lines that the versions of one coverage (one policy name) pay on a claim.

    Versions that state the same of the whole claim are settled as one: a deductible or a cap is spread over the lines
    of all of them. Others are settled one after another, the oldest first, as claims one after another would be. Of its
    deductible a version takes what those before it have not taken, so that the claim bears no more than the highest.
    What those before it are paid counts against its caps over the claim and over a life, as an earlier payment does, so
    that no cap has a second room. Within each version its own order of steps, its shares and its choice of parts or
    labour hold. A coverage of another name, also one that a line falls back to, has a deductible and caps of its own.
    """
    money: dict[str, LineMoney] = {}
    here: list[PaidHere] = []
    for alike in _alike(payables):
        policy = alike[0].policy
        settlement = Settlement(policy, claim_file, here)
        found = settlement.settle(alike, over_limit, desk_of(policy), waiting_for)
        money |= found
        here += [_paid_here(payable, found[payable.subject.line.line], settlement.minor) for payable in alike]
    return money


def _alike(payables: Sequence[Payable]) -> list[Sequence[Payable]]:
    """Return the lines of versions that state the same of the whole claim together, those of the oldest first."""
    if all(payable.policy is payables[0].policy for payable in payables):
        return [payables]
    groups: list[tuple[tuple[Any, ...], list[Payable]]] = []
    for payable in sorted(payables, key=lambda p: (p.policy.ref.version, p.subject.line.line)):
        stated = _of_the_claim(payable.policy)
        group = next((lines for terms, lines in groups if terms == stated), None)
        if group is None:
            groups.append((stated, [payable]))
        else:
            group.append(payable)
    return [lines for _, lines in groups]


def _of_the_claim(policy: CompiledPolicy) -> tuple[Any, ...]:
    """Return what a version states of the claim as a whole, clause numbers and words apart."""
    terms, conventions = policy.terms, policy.conventions
    return (
        conventions.deduction_order,
        conventions.money,
        conventions.exchange_rate_on,
        conventions.rate_gap,
        None if terms.deductible is None else _stated(terms.deductible),
        [_stated(cap) for cap in terms.caps],
    )


def _stated(clause: Deductible | Cap) -> dict[str, Any]:
    return clause.model_dump(exclude={"clause", "text"})


def _paid_here(payable: Payable, money: LineMoney, minor: Minor) -> PaidHere:
    deductible = sum(minor.units(cut.amount) for cut in money.cuts if cut.code == "deductible")
    return PaidHere(payable.subject, money.maker, deductible)
