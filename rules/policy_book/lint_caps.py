"""Caps and sums that can change nothing, or leave nothing: of items never paid, of 0, in the shadow of another cap."""

from collections.abc import Iterator, Sequence
from typing import Any

from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.values import amount_words, listed, plain
from rules.policy_book.warning import PolicyWarning
from schemas.policy.pays import Cap, CapAmount, NotPaid

SUMS = ("share", "fixed", "per_unit", "rate")  # each alone makes what is paid of an item


def cap_warnings(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    yield from _items_never_paid(policy)
    yield from _sums_of_nothing(policy)
    yield from _shadowed_caps(policy)


def _items_never_paid(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    """Clauses about kinds of items of which the policy pays nothing."""
    terms = policy.terms
    named: list[tuple[str, Sequence[Any]]] = [
        (f"caps[{i}].items", cap.items) for i, cap in enumerate(terms.caps) if cap.items != "all"
    ]
    if terms.pays.either_or is not None:
        named.append(("pays.either_or.items", terms.pays.either_or.items))
    for path, items in named:
        rules = {item: policy.rules_of_items[item] for item in items}
        unpaid = [item for item, (_, rule) in rules.items() if isinstance(rule, NotPaid)]
        if unpaid:
            whole = len(unpaid) == len(rules)
            where = listed(dict.fromkeys(rules[item][0] for item in unpaid))
            yield PolicyWarning(
                policy.name,
                path,
                "item_never_paid",
                f"nothing is ever paid of {listed(map(plain, unpaid), 'or')} ({where}):"
                f" {'this clause changes nothing' if whole else 'there, this clause changes nothing'}.",
                f"Take {'the clause' if whole else listed(unpaid)} off, or say under pays how"
                f" {'it is' if len(unpaid) == 1 else 'they are'} paid.",
            )


def _sums_of_nothing(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    """Sums of 0: a cap or a price at which every line comes to nothing, a deductible that takes nothing."""
    say_so = "write nothing: true under pays, in the clause's words"
    for index, cap in enumerate(policy.terms.caps):
        if isinstance(cap.at, CapAmount) and cap.at.amount == 0:
            capped = "any item" if cap.items == "all" else listed(map(plain, cap.items), "or")
            on = "" if cap.components == "all" else f" for the {listed(map(plain, cap.components), 'or')}"
            yield PolicyWarning(
                policy.name,
                f"caps[{index}].at",
                "cap_of_nothing",
                f"at most 0 is ever paid of {capped}{on}: every such line comes to nothing.",
                f"Leave the cap out where there is none; where nothing is paid, {say_so}.",
            )
    for path, rule in dict(policy.rules_of_items.values()).items():
        for key in SUMS:
            if getattr(rule, key, None) == 0:
                yield PolicyWarning(
                    policy.name,
                    f"{path}.{key}",
                    "paid_at_nothing",
                    f"{key} is 0, so that nothing of it is ever paid.",
                    f"Correct the number; where nothing is paid, {say_so}.",
                )
    deductible = policy.terms.deductible
    if deductible is not None and deductible.amount == 0:
        yield PolicyWarning(
            policy.name,
            "deductible.amount",
            "deductible_of_nothing",
            "it takes nothing off any claim.",
            "Leave it out.",
        )


def _shadowed_caps(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    """Caps that are never reached: another one of the same span holds all that it does to as little or less."""
    caps = policy.terms.caps
    for index, cap in enumerate(caps):
        for place, other in enumerate(caps):
            if place != index and _never_reached_beside(cap, other, earlier=place < index):
                yield PolicyWarning(
                    policy.name,
                    f"caps[{index}]",
                    "cap_in_shadow",
                    f"caps[{place}] holds all that this one does to {_sum(other, policy)}, so that"
                    f" {_sum(cap, policy)} are never reached.",
                    "Take it off, or correct one of the two sums.",
                )
                break


def _never_reached_beside(cap: Cap, other: Cap, *, earlier: bool) -> bool:
    """Return whether ``other`` keeps a cap from being reached; of two that hold alike, the earlier one does."""
    if not (isinstance(cap.at, CapAmount) and isinstance(other.at, CapAmount)) or cap.over != other.over:
        return False
    if not (_within(cap.items, other.items) and _within(cap.components, other.components)):
        return False
    alike = cap.at.amount == other.at.amount and _within(other.items, cap.items)
    alike = alike and _within(other.components, cap.components)
    return other.at.amount <= cap.at.amount and (earlier or not alike)


def _within(ones: Sequence[str] | str, others: Sequence[str] | str) -> bool:
    return others == "all" or (ones != "all" and set(ones) <= set(others))


def _sum(cap: Cap, policy: CompiledPolicy) -> str:
    assert isinstance(cap.at, CapAmount)
    return amount_words(cap.at.amount, policy.terms.currency)
