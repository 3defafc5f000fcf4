"""Suspicious numbers and gaps: mark-ups above the whole, limits of nothing, days on which no version is in force."""

from collections.abc import Iterator
from fractions import Fraction

from rules.plain import day_text
from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy, all_limits
from rules.policy_book.values import plain, share_words
from rules.policy_book.version_days import A_DAY, days_left_out, span_in_force
from rules.policy_book.warning import PolicyWarning

MARKUPS = ("handling", "of_labour")
ALLOWANCES = ("units_at_most", "hours_at_most", "at_most", "handling_at_most")
LIMITS = ("machine_hours", "component_hours", "wear")


def number_warnings(policy: CompiledPolicy, book: PolicyBook) -> Iterator[PolicyWarning]:
    """Yield what numbers of a version say that is seldom meant, and the days between it and the version before."""
    yield from _items(policy)
    yield from _limits_of_nothing(policy)
    yield from _gap(policy, book)
    yield from _superseded_days(policy, book)


def _items(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    for path, rule in dict(policy.rules_of_items.values()).items():
        for key in MARKUPS:
            markup = getattr(rule, key, None)
            if isinstance(markup, Fraction) and markup > 1:
                yield PolicyWarning(
                    policy.name,
                    f"{path}.{key}",
                    "markup_above_whole",
                    f"{share_words(markup)} is added: of 100.00 allowed, {_hundred_times(1 + markup)} is paid.",
                    "Write 15% or 0.15 for fifteen per cent.",
                )
        for key in ALLOWANCES:
            if getattr(rule, key, None) == 0:
                yield PolicyWarning(
                    policy.name,
                    f"{path}.{key}",
                    "allowance_of_nothing",
                    "at most 0 is allowed, so that nothing of it is ever paid.",
                    "Leave it out where there is no such limit; where nothing is paid, say so, in the clause's words.",
                )


def _hundred_times(share: Fraction) -> str:
    hundredths = int(share * 10_000)
    return f"{hundredths // 100:,}.{hundredths % 100:02d}"


def _limits_of_nothing(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    for path, limits in all_limits(policy.terms):
        for limit in limits.all:
            for key in LIMITS:
                if getattr(limit, key) == 0:
                    yield PolicyWarning(
                        policy.name,
                        path,
                        "limit_of_nothing",
                        f"{plain(key)}: 0 is reached before the first use, so that the period is over at once.",
                        "Correct the number, or leave the limit out.",
                    )


def _gap(policy: CompiledPolicy, book: PolicyBook) -> Iterator[PolicyWarning]:
    """Days after an earlier version and before this one, on which no version of the policy is in force."""
    governing = book.governing.get(policy.ref.name, ())
    if policy not in governing:
        return
    ours = policy.terms.in_force
    before = [p for p in governing if p.terms.in_force.from_ < ours.from_]
    ends = [p.terms.in_force.until for p in before]
    last = max((end for end in ends if end is not None), default=None)
    if last is None or None in ends or last + A_DAY >= ours.from_:
        return
    yield PolicyWarning(
        policy.name,
        "in_force.from",
        "no_version_between",
        f"from {day_text(last + A_DAY)} to {day_text(ours.from_ - A_DAY)} no version of {policy.ref.name} is in force:"
        f" a machine or claim whose {plain(ours.selected_by)} lies there is denied.",
        f"Let this version begin on {(last + A_DAY).isoformat()}, unless no machine was sold with a promise between.",
    )


def _superseded_days(policy: CompiledPolicy, book: PolicyBook) -> Iterator[PolicyWarning]:
    """Days after a version's end on which one that it supersedes was in force, and none is any more."""
    if policy not in book.governing.get(policy.ref.name, ()):
        return
    versions = book.versions[policy.ref.name]
    documents = {p.ref: p.terms for p in versions}
    for older in versions:
        if older.ref.version not in policy.terms.supersedes or older.terms.in_force.only_as_fall_back:
            continue
        for first, last in days_left_out(older.terms, documents):
            yield PolicyWarning(
                policy.name,
                "in_force.until",
                "superseded_days_end",
                f"it supersedes version {older.ref.version}, which was in force on days that no version has any more"
                f" ({span_in_force(first, last)}): a machine or claim whose"
                f" {plain(policy.terms.in_force.selected_by)} lies there is denied.",
                f"Let the next version begin on {first.isoformat()}, unless the promise ends here.",
            )
