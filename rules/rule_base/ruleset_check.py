"""Which rulesets may be loaded: the constructs that the engine runs as written, and nothing beyond.

A policy is user input, and the engine under the rule base trusts its rulesets: some it answers wrongly without a word,
some end the process. So a ruleset is read here first, as data, and refused with every fault found.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeGuard

from rules.rule_base.ruleset_form import KIND, fnv1a_32, is_join, key_of, property_groups
from rules.rule_base.ruleset_limits import crowding_of

MAX_CONDITIONS: Final = 15  # of one rule; the engine's frame has 16 slots
MAX_TESTS: Final = 16  # of one condition; the engine's list of joins has 32 slots, brackets included
MAX_LOOSE_CONDITIONS: Final = 2  # of one rule
MAX_PRIORITY: Final = 32_767
MAX_CODE_LENGTH: Final = 120
MAX_INTEGER: Final = 2**53 - 1  # and down to its negative; every JSON reader keeps these exact

PROPERTY_NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,63}")
RESERVED_PROPERTIES: Final = frozenset({"id", "sid"})
_ALIAS: Final = re.compile(r"[a-z][a-z0-9_]{0,15}")
_NAME: Final = re.compile(r"[A-Za-z0-9][\x20\x21\x23-\x5b\x5d-\x7e]{0,199}")
_KIND: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.:-]{0,31}")
CODE: Final = re.compile(rf"[\x20\x21\x23-\x5b\x5d-\x7e]{{0,{MAX_CODE_LENGTH}}}")
_ORDERINGS: Final = frozenset({"$lt", "$lte", "$gt", "$gte"})

VALUES: Final = (
    f"values are integers up to 2^53 - 1 or codes of at most {MAX_CODE_LENGTH} printable ASCII characters without "
    "quote and backslash; the engine takes true for 1, does not join 1 with 1.0 and saturates large integers"
)
_FORM: Final = "the rule base knows only the forms that the engine runs as written"
_ASSERT_ABSENCE: Final = "compute the absence beforehand and assert it as a fact"
_ASSERT_RESULT: Final = "compute it beforehand and assert the result as a fact"
_ONE_RULE_EACH: Final = "write one rule for each alternative, with the same run"

# construct: (which limit, the way out)
_REFUSED: Final[Mapping[object, tuple[str, str]]] = {
    "any": ("alternatives fire once for each that is met", _ONE_RULE_EACH),
    "none": ("it fires unless the blocking fact came first; later facts do not take it back", _ASSERT_ABSENCE),
    "count": ("a count drops the matches left over", "count beforehand and assert the number as a fact"),
    "cap": ("a cap groups matches by their arrival", "count beforehand and assert the number as a fact"),
    "dist": ("one fact must not stand for two", "leave it out; the facts of a firing always differ"),
    "$or": ("a fact that meets both sides fires twice", _ONE_RULE_EACH),
    "$and": ("conditions are one level deep", "list all tests in the outer $and"),
    "$eq": (_FORM, "write {property: constant}"),
    "$nex": ("it also meets the engine's own facts, and later facts do not take it back", _ASSERT_ABSENCE),
    "$mt": ("patterns are compiled without a bound", _ASSERT_RESULT),
    "$imt": ("patterns are compiled without a bound", _ASSERT_RESULT),
    "$iall": ("facts hold no arrays", "assert one fact for each item"),
    "$iany": ("facts hold no arrays", "assert one fact for each item"),
}


@dataclass(frozen=True, slots=True)
class RulesetFault:
    """One reason why a ruleset is refused: where it stands, what it is, which limit it breaks, and the way out."""

    ruleset: str
    rule: str  # empty for a fault of the ruleset as a whole
    what: str
    limit: str
    way_out: str

    def __str__(self) -> str:
        place = f"{self.ruleset}, rule {self.rule}" if self.rule else self.ruleset
        return f"{place}: {self.what}; {self.limit}. Way out: {self.way_out}."


_Fault = tuple[str, str, str]  # what, which limit, the way out


def check_ruleset(name: str, definition: object) -> tuple[RulesetFault, ...]:
    """Return every fault of a ruleset, in the order of its rules; an empty tuple says that it may be loaded.

    Any value is accepted as definition: a malformed one is a fault, never an exception. Faults of the whole (types,
    names, sizes) are looked for when each rule by itself is well-formed.
    """
    if not _NAME.fullmatch(name):
        return (RulesetFault(shown(name), "", "it has no usable name", _FORM, f"name it {_NAME.pattern}"),)
    if not isinstance(definition, Mapping) or not definition:
        return (RulesetFault(name, "", "it has no rules", _FORM, "give at least one rule"),)
    faults = [
        RulesetFault(name, rule_name if isinstance(rule_name, str) else shown(rule_name), *fault)
        for rule_name, rule in definition.items()
        for fault in _faults_of_rule(rule_name, rule)
    ]
    if not faults:
        faults = [RulesetFault(name, "", *fault) for fault in _faults_of_properties(definition)]
        faults += [RulesetFault(name, "", *fault) for fault in crowding_of(definition)]
    return tuple(faults)


def shown(value: object) -> str:
    """Return a value for a message; a hostile one may be too deep or too long to print."""
    if isinstance(value, str):
        return repr(value[:40])
    if isinstance(value, int) and abs(value) > MAX_INTEGER:
        return "an integer past 2^53 - 1"
    if value is None or isinstance(value, int | float):
        return repr(value)
    return "an object" if isinstance(value, Mapping) else "a list" if isinstance(value, Sequence) else "something else"


def _is_list(value: object) -> TypeGuard[Sequence[Any]]:
    return isinstance(value, Sequence) and not isinstance(value, str) and bool(value)


# One rule


def _faults_of_rule(name: object, rule: object) -> Iterator[_Fault]:
    if not isinstance(name, str) or not _NAME.fullmatch(name):
        yield "its name cannot be used", _FORM, f"name it {_NAME.pattern}"
    if not isinstance(rule, Mapping):
        yield "it is not an object", _FORM, 'write {"all": [...], "run": ...}'
        return
    yield from _faults_of_settings(rule)
    entries = rule.get("all")
    if not _is_list(entries):
        if "any" not in rule and "none" not in rule:  # which have been named
            yield 'it has no list "all"', _FORM, 'put its conditions into {"all": [...]}'
    elif len(entries) > MAX_CONDITIONS:
        what, limit = f"it has {len(entries)} conditions", f"the engine joins at most {MAX_CONDITIONS} facts"
        yield what, limit, "let a rule of its own derive a fact from some of the conditions"
    else:
        yield from _faults_of_conditions(entries)


def _faults_of_settings(rule: Mapping[Any, Any]) -> Iterator[_Fault]:
    for setting in rule:
        if setting not in ("all", "run", "pri"):
            yield f"it has {shown(setting)}", *_REFUSED.get(setting, (_FORM, "leave it out"))
    action = rule.get("run")
    if not isinstance(action, str) or not _NAME.fullmatch(action):
        yield '"run" does not name an action', _FORM, f"give a name {_NAME.pattern}"
    priority = rule.get("pri", 0)
    if type(priority) is not int or not 0 <= priority <= MAX_PRIORITY:
        limit = f"the engine keeps priorities in 16 bits and wraps others round; 0 to {MAX_PRIORITY} are safe"
        yield f'"pri" is {shown(priority)}', limit, "number the priorities from 0"


def _faults_of_conditions(entries: Sequence[Any]) -> Iterator[_Fault]:
    aliases: list[str] = []
    seen: dict[frozenset[tuple[Any, ...]], str] = {}
    loose = 0
    for position, entry in enumerate(entries, 1):
        if not isinstance(entry, Mapping) or len(entry) != 1:
            yield f"condition {position} is not {{alias: condition}}", _FORM, "write one alias for each condition"
            continue
        ((alias, condition),) = entry.items()
        tests = condition.get("$and", [condition]) if isinstance(condition, Mapping) else None
        place = f"condition {position}"
        faults = list(_faults_of_alias(place, alias, aliases)) or list(_faults_of_tests(place, tests, aliases))
        yield from faults
        if faults or tests is None:
            continue
        aliases.append(alias)
        content = frozenset(map(key_of, tests))
        if content in seen:
            limit = "two identical conditions fire once for each order of the facts"
            yield f"condition {alias} repeats condition {seen[content]}", limit, "tell the two facts apart by a test"
        seen[content] = alias
        loose += not any(is_join(test) or not next(iter(test)).startswith("$") for test in tests[1:])
    if loose > MAX_LOOSE_CONDITIONS:
        what = f"{loose} of its conditions are tied neither to a constant nor to an earlier condition"
        limit = f"with more than {MAX_LOOSE_CONDITIONS} of them, all facts of their kinds are multiplied"
        yield what, limit, "join them by equality to an earlier condition"


def _faults_of_alias(place: str, alias: object, earlier: Sequence[str]) -> Iterator[_Fault]:
    if isinstance(alias, str) and _ALIAS.fullmatch(alias):
        if fnv1a_32(alias) in map(fnv1a_32, earlier):
            yield f"{place}: the alias {alias} is taken", "the engine knows aliases by a hash", "choose another alias"
        return
    negated = isinstance(alias, str) and alias.endswith("$not")
    nested = isinstance(alias, str) and alias.endswith(("$all", "$any"))
    way_out = _ASSERT_ABSENCE if negated else _ONE_RULE_EACH if nested else f"choose an alias {_ALIAS.pattern}"
    yield f"{place} is named {shown(alias)}", "nested and negated conditions misfire", way_out


# One condition


def _faults_of_tests(place: str, tests: object, earlier: Sequence[str]) -> Iterator[_Fault]:
    if not _is_list(tests):
        yield f"{place} is not an object of tests", _FORM, 'write {"$and": [{"k": kind}, test, ...]}'
        return
    if len(tests) > MAX_TESTS:
        yield f"{place} has {len(tests)} tests", f"it may have {MAX_TESTS}", "split it over two kinds of fact"
        return
    kind = tests[0].get(KIND) if isinstance(tests[0], Mapping) and len(tests[0]) == 1 else None
    if not isinstance(kind, str) or not _KIND.fullmatch(kind):
        what = f"{place} does not begin with the kind of fact"
        limit = "a test without a kind also meets the engine's own facts and crowds its stack"
        yield what, limit, f'put {{"{KIND}": kind}} first, the kind {_KIND.pattern}'
    for position, test in enumerate(tests, 1):
        yield from _faults_of_test(f"{place}, test {position},", test, earlier)


def _faults_of_test(place: str, test: object, earlier: Sequence[str]) -> Iterator[_Fault]:
    if not isinstance(test, Mapping) or len(test) != 1 or not isinstance(next(iter(test)), str):
        yield f"{place} is not an object with one name", _FORM, "write each test as an object of its own"
        return
    ((operator, operand),) = test.items()
    if not operator.startswith("$"):
        yield from _faults_of_property(place, operator)
        is_a_join = isinstance(operand, Mapping)
        yield from _faults_of_join(place, operand, earlier) if is_a_join else _faults_of_constant(place, operand)
    elif operator not in {"$neq", "$ex", *_ORDERINGS}:
        yield f"{place} uses {shown(operator)}", *_REFUSED.get(operator, (_FORM, _ASSERT_RESULT))
    elif not isinstance(operand, Mapping) or len(operand) != 1:
        yield f"{place} does not read {{{operator}: {{property: constant}}}}", _FORM, "name one property"
    else:
        ((name, constant),) = operand.items()
        yield from _faults_of_property(place, name)
        yield from _faults_of_comparison(place, operator, constant)


def _faults_of_comparison(place: str, operator: str, constant: object) -> Iterator[_Fault]:
    if isinstance(constant, Mapping):
        limit = "of joins the engine survives only equality, and dividing by zero ends the process"
        yield f"{place} compares two facts, or calculates, with {operator}", limit, _ASSERT_RESULT
    elif operator == "$ex" and not (type(constant) is int and constant == 1):
        yield f"{place} does not read {{$ex: {{property: 1}}}}", _FORM, "write 1 after the property"
    elif operator in _ORDERINGS and isinstance(constant, str):
        limit = "the engine compares past the end of the shorter code"
        yield f"{place} orders codes with {operator}", limit, "order integers, or write one rule for each code"
    else:
        yield from _faults_of_constant(place, constant)


def _faults_of_property(place: str, name: object) -> Iterator[_Fault]:
    if not isinstance(name, str) or not PROPERTY_NAME.fullmatch(name) or name in RESERVED_PROPERTIES:
        limit = f"properties are named {PROPERTY_NAME.pattern}; id and sid belong to the rule base"
        yield f"{place} names the property {shown(name)}", limit, "rename the property"


def _faults_of_join(place: str, operand: Mapping[Any, Any], earlier: Sequence[str]) -> Iterator[_Fault]:
    if len(operand) != 1:
        yield f"{place} does not read {{property: {{alias: property}}}}", _FORM, "join to one property"
        return
    ((alias, name),) = operand.items()
    if isinstance(alias, str) and alias.startswith("$"):
        limit = "dividing by zero ends the process, and an absent property ends the assertion"
        yield f"{place} calculates with {shown(alias)}", limit, _ASSERT_RESULT
    elif alias not in earlier:
        limit = "the engine knows only the facts that it has matched before, and joins to others never"
        what = f"{place} compares with {shown(alias)}, no alias of an earlier condition"
        yield what, limit, "order the conditions so that each join looks back"
    else:
        yield from _faults_of_property(place, name)


def _faults_of_constant(place: str, value: object) -> Iterator[_Fault]:
    if type(value) is int and abs(value) <= MAX_INTEGER:
        return
    if type(value) is str and CODE.fullmatch(value):
        return
    yield f"{place} compares with {shown(value)}", VALUES, "use a whole number in another unit, or a code"


# The ruleset as a whole


def _faults_of_properties(definition: Mapping[str, Any]) -> Iterator[_Fault]:
    groups = property_groups(definition)
    for group, types in groups.items():
        if len(types) > 1:
            what = f"{', '.join(sorted(group))}: compared with integers and with codes"
            yield what, 'the engine takes "5" for 5', "give the two meanings two properties"
    by_hash: dict[int, str] = {}
    for name in sorted(RESERVED_PROPERTIES.union(*groups)):
        other = by_hash.setdefault(fnv1a_32(name), name)
        if other != name:
            limit = "the engine knows properties by a hash"
            yield f"the properties {other} and {name} have the same hash", limit, "rename one of them"
