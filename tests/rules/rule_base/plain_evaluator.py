"""The answer that the rule base should give, found the slow way: every tuple of facts is tried for every rule.

It reads the ruleset definition by itself and shares no code with the driver, so that the two check each other.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import permutations
from typing import Any

Fact = Mapping[str, int | str]
Content = frozenset[tuple[str, int | str]]
Fired = tuple[str, tuple[Content, ...]]  # rule, matched facts
Derive = Callable[[str, tuple[Fact, ...]], Iterable[Fact]]  # from the action and the matched facts

COMPARE: Mapping[str, Callable[[Any, Any], bool]] = {
    "$lt": lambda held, constant: held < constant,
    "$lte": lambda held, constant: held <= constant,
    "$gt": lambda held, constant: held > constant,
    "$gte": lambda held, constant: held >= constant,
    "$neq": lambda held, constant: held != constant,
    "$ex": lambda _held, _constant: True,
}


def content_of(fact: Fact) -> Content:
    return frozenset(fact.items())


def evaluate(definition: Mapping[str, Any], facts: Iterable[Fact], derive: Derive) -> set[Fired]:
    """Return every firing that follows from the facts and from those derived of them."""
    known = {content_of(fact): fact for fact in facts}
    fired: set[Fired] = set()
    while True:
        fresh = [
            (name, matched)
            for name, rule in definition.items()
            for matched in matches(rule["all"], list(known.values()))
            if (name, tuple(map(content_of, matched))) not in fired
        ]
        if not fresh:
            return fired
        for name, matched in fresh:
            fired.add((name, tuple(map(content_of, matched))))
            for fact in derive(definition[name]["run"], matched):
                known.setdefault(content_of(fact), fact)


def matches(conditions: list[dict[str, Any]], facts: list[Fact]) -> Iterator[tuple[Fact, ...]]:
    """Yield each tuple of different facts that meets the conditions in order."""
    aliases = [next(iter(entry)) for entry in conditions]
    candidates = [fact for fact in facts if any(fact["k"] == kind_of(entry) for entry in conditions)]
    for matched in permutations(candidates, len(conditions)):
        by_alias = dict(zip(aliases, matched, strict=True))
        if all(
            meets(by_alias[alias], entry[alias], by_alias) for alias, entry in zip(aliases, conditions, strict=True)
        ):
            yield matched


def kind_of(entry: dict[str, Any]) -> str:
    ((_, condition),) = entry.items()
    kind: str = (condition.get("$and") or [condition])[0]["k"]
    return kind


def meets(fact: Fact, condition: dict[str, Any], by_alias: Mapping[str, Fact]) -> bool:
    for test in condition.get("$and", [condition]):
        ((name, operand),) = test.items()
        if name in COMPARE:
            ((held, constant),) = operand.items()
            if held not in fact or not COMPARE[name](fact[held], constant):
                return False
        elif isinstance(operand, dict):
            ((alias, other),) = operand.items()
            if name not in fact or other not in by_alias[alias] or fact[name] != by_alias[alias][other]:
                return False
        elif fact.get(name) != operand:
            return False
    return True
