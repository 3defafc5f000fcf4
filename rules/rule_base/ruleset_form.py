"""The form of a ruleset, and how a checked one is read.

The rule base knows this subset of the engine's definition format (in which ``run`` names an action); ``ruleset_check``
refuses the rest, and what is here expects a ruleset that has passed:

    ruleset    {rule name: rule, ...}
    rule       {"all": [{alias: condition}, ...], "run": action name, "pri": 0 to 32767}     lower ``pri`` fires first
    condition  {"k": kind}  or  {"$and": [{"k": kind}, test, ...]}                           the kind always comes first
    test       {property: constant}                                                          equal
               {"$neq": {property: constant}}                                                present and not equal
               {"$lt" or "$lte" or "$gt" or "$gte": {property: integer}}
               {"$ex": {property: 1}}                                                        present
               {property: {alias: property}}           equal to a property of the fact matched by an earlier condition

A rule fires once for each tuple of different facts that meets its conditions in order. A property holds integers or
codes, never both; joined properties hold the same. An example: a finding reaches the lines of its own group.

    {"deny_elapsed": {"all": [{"f": {"$and": [{"k": "finding"}, {"code": "term_elapsed"}]}},
                              {"l": {"$and": [{"k": "line"}, {"group": {"f": "group"}}]}}],
                      "run": "reason:term_elapsed", "pri": 10}}
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final

Rule = Mapping[str, Any]
Definition = Mapping[str, Rule]
Test = Mapping[str, Any]

KIND: Final = "k"  # the property that says what a fact is about


def conditions_of(rule: Rule) -> Iterator[tuple[str, tuple[Test, ...]]]:
    """Yield the alias and the tests of each condition, in order; the first test is the kind."""
    for entry in rule["all"]:
        ((alias, condition),) = entry.items()
        yield alias, tuple(condition["$and"]) if "$and" in condition else (condition,)


def is_join(test: Test) -> bool:
    """Tell whether a test compares with a property of the fact matched by an earlier condition."""
    ((name, operand),) = test.items()
    return not name.startswith("$") and isinstance(operand, Mapping)


def property_of(test: Test) -> str:
    """Return the property of the fact that a test looks at."""
    ((name, operand),) = test.items()
    return next(iter(operand)) if name.startswith("$") else name


def key_of(test: Test) -> tuple[Any, ...]:
    """Return the test as a hashable value: its operator or property, then its operand.

    >>> key_of({"$gt": {"hours": 40}}), key_of({"code": "x"})
    (('$gt', 'hours', 40), ('code', 'x'))
    """
    ((name, operand),) = test.items()
    if isinstance(operand, Mapping):
        ((inner, constant),) = operand.items()
        return name, inner, constant
    return name, operand


def property_groups(definition: Definition) -> Mapping[frozenset[str], frozenset[type]]:
    """Return the properties that are joined with each other, and the types of the constants they are compared with.

    Each property named in a test is in one group. No type means that the rules name the group in joins and tests for
    presence only: in one run it may hold integers or codes. Two types are a fault.
    """
    group_of: dict[str, set[str]] = {}
    constants: dict[str, set[type]] = {}
    for rule in definition.values():
        for _, tests in conditions_of(rule):
            for test in tests:
                name, *_, operand = property_of(test), *key_of(test)
                group = group_of.setdefault(name, {name})
                if is_join(test):
                    group |= group_of.get(operand, {operand})
                    group_of.update(dict.fromkeys(group, group))
                elif "$ex" not in test:
                    constants.setdefault(name, set()).add(type(operand))
    return {
        frozenset(group): frozenset().union(*(constants.get(name, ()) for name in group)) for group in group_of.values()
    }


def native_conditions(rule: Rule) -> Iterator[tuple[str, tuple[Test, ...]]]:
    """Yield the conditions of a rule as the engine gets them: the same meaning, made safe and light.

    The conditions with fewest constants come first and the joins stand at the others: a join costs the engine a test of
    its own for each fact that reaches it, and its stack holds 64. A property that is joined to is tested for presence,
    since a fact without it can end the assertion with an error. The last join is written twice: the engine looks for
    partners by a 32-bit hash, and when two unequal values share theirs and the last test of the list is false, it reads
    past the list's end and the process dies. The copy is never the first to be false.
    """
    conditions = dict(conditions_of(rule))
    order = sorted(conditions, key=lambda alias: sum(map(_is_equality, conditions[alias])))
    joins: dict[str, list[Test]] = {alias: [] for alias in order}
    joined_to: dict[str, set[str]] = {alias: set() for alias in order}
    for alias, tests in conditions.items():
        for name, other, other_name in map(key_of, filter(is_join, tests)):
            if order.index(other) < order.index(alias):
                joins[alias].append({name: {other: other_name}})
                joined_to[other].add(other_name)
            else:
                joins[other].append({other_name: {alias: name}})
                joined_to[alias].add(name)
    for alias in order:
        constants = [test for test in conditions[alias] if not is_join(test)]
        untested = joined_to[alias] - {property_of(test) for test in constants}
        present = [{"$ex": {name: 1}} for name in sorted(untested)]
        yield alias, (*constants, *present, *joins[alias], *joins[alias][-1:])


def _is_equality(test: Test) -> bool:
    ((name, operand),) = test.items()
    return not name.startswith("$") and not isinstance(operand, Mapping)


def fnv1a_32(text: str) -> int:
    """Return the 32-bit hash by which the engine tells names, ids and joined values apart.

    >>> fnv1a_32("glbvs") == fnv1a_32("yacxa")
    True
    """
    value = 0x811C9DC5
    for byte in text.encode():
        value = (value ^ byte) * 16_777_619 & 0xFFFFFFFF
    return value
