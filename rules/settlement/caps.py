"""The sum that a cap leaves: what it is at, less what was paid before on the same machine or component."""

from collections.abc import Sequence
from dataclasses import dataclass

from rules.selection.select import Subject
from rules.settlement.allowance import Allowance
from rules.settlement.desk import Desk, Held
from rules.settlement.exact import Exact, Minor, grains, money_text, times
from schemas.claim_file import EarlierPayment
from schemas.policy.pays import Cap, CapAmount


@dataclass(frozen=True, slots=True)
class Left:
    """What a cap leaves to pay (minor units, 0 or more), with its words."""

    units: int
    words: str


def left_under(
    cap: Cap,
    path: str,
    lines: Sequence[tuple[Subject, Allowance]],
    component: str | None,
    desk: Desk,
    minor: Minor,
) -> Left | Held:
    """Return what the cap leaves for these lines of one claim; ``component`` is given for a cap over its lifetime.

    A price or an exchange rate that it depends on and that is not on file makes the lines held, never uncapped.
    """
    most = _most(cap, path, lines, desk)
    if isinstance(most, Held):
        return most
    before = 0
    for payment in _earlier(cap, component, desk):
        into = desk.into_policy_currency(payment.currency, payment.paid_on)
        if into is None:
            held = desk.no_rate(payment.currency, path)
            return Held(held.code, path, f"{held.words} of payment {payment.id} ({payment.paid_on})")
        before += minor.units(times(grains(payment.amount), into.factor))
    words = f"at most {money_text(most)}"
    if before:
        words += f", of which {money_text(minor.exact(before))} was paid before"
    return Left(max(minor.units(most) - before, 0), words)


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


def _earlier(cap: Cap, component: str | None, desk: Desk) -> list[EarlierPayment]:
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
        and (component is None or payment.component == component)
        and (cap.components == "all" or payment.component in cap.components)
        and (cap.items == "all" or payment.item in cap.items)
    ]
