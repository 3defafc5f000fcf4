"""The limits of the engine's network: how many rules, kinds and tests one ruleset may hold.

The engine lets each fact run down a tree of tests that the rules share from the left: the kind, then the tests in
the order in which they are written, then the joins, which are never shared. Its stack, its tables and its lists have
fixed sizes; two of them are not guarded. The numbers here leave a margin below those sizes.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from rules.rule_base.ruleset_form import KIND, Definition, Test, is_join, key_of, native_conditions

MAX_RULES: Final = 1_000
MAX_PENDING_TESTS: Final = 60  # of one fact; the engine's stack has 64 slots
MAX_TESTS_SIDE_BY_SIDE: Final = 400  # behind one test; the engine's table has 512 slots
MAX_RULES_ON_ONE_CONDITION: Final = 250  # the engine's list has 256 slots and is read past its end when full

Crowding = tuple[str, str, str]  # what, which limit, the way out


@dataclass(slots=True)
class _Junction:
    """A test in the engine's tree, with the tests behind it and the number of conditions that end in it."""

    behind: dict[object, "_Junction"] = field(default_factory=dict)
    conditions: int = 0

    def pending(self) -> int:
        """Return how many tests can wait on the engine's stack while it follows one fact from here, at most."""
        deepest: dict[object, int] = {}
        for key, junction in self.behind.items():
            # Of several constants that a property may equal, one fact meets one.
            met_alone = key[0] if isinstance(key, tuple) and not key[0].startswith("$") else key
            deepest[met_alone] = max(deepest.get(met_alone, 0), junction.pending())
        return max([len(deepest), *(len(deepest) - 1 + deeper for deeper in deepest.values())])

    def all_behind(self) -> Iterator["_Junction"]:
        yield self
        for junction in self.behind.values():
            yield from junction.all_behind()


def crowding_of(definition: Definition) -> Iterator[Crowding]:
    """Yield what is too much in a ruleset whose rules are well-formed: what, which limit, and the way out."""
    if len(definition) > MAX_RULES:
        yield f"it has {len(definition)} rules", f"a ruleset holds at most {MAX_RULES}", "split the policy"
    kinds: dict[str, _Junction] = {}
    conditions_on: Counter[str] = Counter()
    for rule in definition.values():
        for _, tests in native_conditions(rule):
            kind = tests[0][KIND]
            conditions_on[kind] += 1
            _enter(kinds.setdefault(kind, _Junction()), tests[1:])
    if len(kinds) > MAX_TESTS_SIDE_BY_SIDE:
        yield (
            f"it tests for {len(kinds)} kinds of fact",
            f"the engine's table is safe up to {MAX_TESTS_SIDE_BY_SIDE}",
            "tell facts of one kind apart by a code",
        )
    for kind, junction in kinds.items():
        for what, limit, way_out in _crowding_on_kind(junction):
            yield f"its {conditions_on[kind]} conditions on facts of kind {kind} {what}", limit, way_out


def _enter(junction: _Junction, tests: Sequence[Test]) -> None:
    for test in tests:
        key: object = object() if is_join(test) else key_of(test)
        junction = junction.behind.setdefault(key, _Junction())
    junction.conditions += 1


def _crowding_on_kind(kind: _Junction) -> Iterator[Crowding]:
    pending = kind.pending() + 1  # and the rule base's own catch-all
    if pending > MAX_PENDING_TESTS:
        yield (
            f"let one fact meet {pending} tests at once",
            f"the engine's stack is safe up to {MAX_PENDING_TESTS}",
            "give some of the tests a kind of their own, and write each join at the condition with more constants",
        )
    widest = max(len(junction.behind) for junction in kind.all_behind())
    if widest > MAX_TESTS_SIDE_BY_SIDE:
        yield (
            f"put {widest} tests side by side",
            f"the engine's table is safe up to {MAX_TESTS_SIDE_BY_SIDE}",
            "give some of the tests a kind of their own",
        )
    fullest = max(junction.conditions for junction in kind.all_behind())
    if fullest > MAX_RULES_ON_ONE_CONDITION:
        yield (
            f"are the same {fullest} times",
            f"the engine's list is safe up to {MAX_RULES_ON_ONE_CONDITION}",
            "derive a fact from the condition and let some of the rules start from that fact",
        )
