"""The sum that a cap leaves: what it is at, less what was paid before on the same machine or component.

The left and the right of a paired component are two components, each with its own life. What another version of the
same coverage pays on the same claim was paid before, too, where it is settled before (``versions``).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from rules.open_facts import OpenFact
from rules.plain import day_text
from rules.selection.select import Subject
from rules.settlement.allowance import Allowance
from rules.settlement.desk import Desk, Held
from rules.settlement.exact import Exact, Minor, grains, money_text, times
from rules.settlement.sides import SIDES, side_among, sides_of
from schemas.claim_file import EarlierPayment
from schemas.machine import Position
from schemas.policy.pays import Cap, CapAmount


@dataclass(frozen=True, slots=True)
class Pool:
    """What a cap is counted over: one line, one component on one side of the machine, or all lines together."""

    line: str | None = None
    component: str | None = None
    side: Position = "none"
    sides: tuple[Position, ...] = ()  # of the component in this claim


@dataclass(frozen=True, slots=True)
class PaidHere:
    """What another version of the coverage pays of a line of the same claim, and what its deductible took of it.

    Both in minor units: the versions of a coverage share one currency.
    """

    subject: Subject
    units: int
    deductible: int


@dataclass(frozen=True, slots=True)
class Left:
    """What a cap leaves to pay (minor units, 0 or more), with its words."""

    units: int
    words: str


def left_under(
    cap: Cap,
    path: str,
    lines: Sequence[tuple[Subject, Allowance]],
    pool: Pool,
    claimed: int,
    desk: Desk,
    minor: Minor,
    here: Sequence[PaidHere] = (),
) -> Left | Held:
    """Return what the cap leaves for these lines of one claim, which come to ``claimed`` minor units so far.

    ``here`` is what was paid on other lines of the claim under other versions of the coverage.

    A price or an exchange rate that it depends on and that is not on file makes the lines held, never uncapped. A
    payment of which nobody knows for which side it was is an open fact where it would leave too little.
    """
    most = _most(cap, path, lines, desk)
    if isinstance(most, Held):
        return most
    beside = [line for line in here if _counts_here(cap, pool, line, desk)]
    paid_here = sum(line.units for line in beside)
    paid: dict[str, int] = {}
    payments = _earlier(cap, pool, desk)
    for payment in payments:
        into = desk.into_policy_currency(payment.currency, payment.paid_on)
        if into is None:
            held = desk.no_rate(payment.currency, path)
            return Held(held.code, path, f"{held.words} of payment {payment.id} ({day_text(payment.paid_on)})")
        paid[payment.id] = minor.units(times(grains(payment.amount), into.factor))
    room = minor.units(most) - claimed - paid_here
    if sum(paid.values()) > room:
        paid = {p.id: paid[p.id] for p in payments if not _side_open(p, pool) or _was_for(p, pool, desk)}
    before = sum(paid.values())
    words = f"at most {money_text(most)}"
    taken = [f"{money_text(minor.exact(before))} was paid before"] if before else []
    if paid_here:
        about = ", ".join(line.subject.line.line for line in beside if line.units)
        taken.append(f"{money_text(minor.exact(paid_here))} is paid on line {about}")
    if taken:
        words += f", of which {' and '.join(taken)}"
    return Left(max(minor.units(most) - before - paid_here, 0), words)


def is_inside(cap: Cap, item: str, component: str | None) -> bool:
    """Return whether a cap counts an item of a component."""
    of_component = cap.components == "all" or component in cap.components
    return of_component and (cap.items == "all" or item in cap.items)


def _counts_here(cap: Cap, pool: Pool, paid: PaidHere, desk: Desk) -> bool:
    subject = paid.subject
    if pool.line is not None or not is_inside(cap, subject.line.item, subject.component or ""):
        return False
    if pool.component is None:
        return True
    return subject.component == pool.component and pool.side in ("none", side_among(subject, pool.sides, desk))


def _most(cap: Cap, path: str, lines: Sequence[tuple[Subject, Allowance]], desk: Desk) -> Exact | Held:
    if isinstance(cap.at, CapAmount):
        return grains(cap.at.amount)
    if cap.at.of == "machine_price":
        machine = desk.claim_file.machine
        if machine.price is None:
            return Held("cap_price_missing", path, f"the price of machine {machine.serial} is not on file")
        currency = machine.currency or desk.policy.terms.currency
        into = desk.into_policy_currency(currency)
        return desk.no_rate(currency, path) if into is None else times(grains(machine.price), into.factor)
    what = "list price" if cap.at.of == "part_list_price" else "dealer net price"
    most: Exact = 0
    priced = [(s, a) for s, a in lines if s.line.item in ("parts", "fluids")]
    for subject, allowance in priced:
        total = allowance.list_total if cap.at.of == "part_list_price" else allowance.net_total
        if total is None:
            return Held("cap_price_missing", path, f"the {what} of the part of line {subject.line.line} is not on file")
        most += total
    if not priced:
        about = ", ".join(subject.line.line for subject, _ in lines)
        return Held("cap_price_missing", path, f"no part stands beside line {about}, whose {what} caps it")
    return most


def pools_of(cap: Cap, subjects: Sequence[Subject], desk: Desk, here: Sequence[PaidHere] = ()) -> list[Pool]:
    """Return the pool of each line; one whose side is not stated is of the side that the others are of, if of one."""
    if cap.over == "line":
        return [Pool(line=subject.line.line) for subject in subjects]
    if cap.over != "component_lifetime":
        return [Pool() for _ in subjects]
    beside = [p.subject for p in here if is_inside(cap, p.subject.line.item, p.subject.component or "")]
    sides = sides_of([*subjects, *beside], desk)
    return [_pool_of(subject, sides[subject.component or ""], desk) for subject in subjects]


def _pool_of(subject: Subject, sides: tuple[Position, ...], desk: Desk) -> Pool:
    return Pool(component=subject.component or "", side=side_among(subject, sides, desk), sides=sides)


def _side_open(payment: EarlierPayment, pool: Pool) -> bool:
    return pool.side != "none" and payment.position == "none"


def _was_for(payment: EarlierPayment, pool: Pool, desk: Desk) -> bool:
    """Return whether an earlier payment without a side was for the pool's: one of the claim's sides, or another one."""
    component = str(pool.component).replace("_", " ")
    words = f"which {component} the earlier payment {payment.id} was for"
    fact = OpenFact(f"position:payment:{payment.id}", "position", "person", words)
    possible: tuple[Position, ...] = pool.sides if len(pool.sides) > 1 else ("none", *pool.sides)
    return SIDES[desk.world.pick(fact, tuple(SIDES.index(side) for side in possible))] == pool.side


def _earlier(cap: Cap, pool: Pool, desk: Desk) -> list[EarlierPayment]:
    """Return the payments that a lifetime cap counts: of the policy's name, on earlier claims, inside the cap.

    A payment after the day of the decision is no earlier one.
    An earlier payment on the claim itself is no other payment: the decision says what the claim comes to in all.
    """
    if cap.over not in ("machine_lifetime", "component_lifetime"):
        return []
    name, claim = desk.policy.ref.name, desk.claim_file.claim.claim
    return [
        payment
        for payment in desk.claim_file.earlier_payments
        if payment.policy.split("@")[0] == name
        and payment.claim != claim
        and payment.paid_on <= desk.claim_file.decided_on
        and (pool.component is None or payment.component == pool.component)
        and (pool.side == "none" or payment.position in (pool.side, "none"))
        and is_inside(cap, payment.item, payment.component)
    ]
