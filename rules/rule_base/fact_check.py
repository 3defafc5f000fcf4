"""Which facts may be asserted: flat objects of integers and short codes, each property of one type.

The engine drops what it cannot read, and the rest of the batch with it, without a word; it takes true for 1 and "5" for
5, saturates larger integers and knows properties by a hash. So such facts are refused before it sees them.
"""

from collections.abc import Iterable, Mapping
from typing import Final

import orjson

from rules.rule_base.ruleset_check import (
    CODE,
    MAX_CODE_LENGTH,
    MAX_INTEGER,
    PROPERTY_NAME,
    RESERVED_PROPERTIES,
    VALUES,
    shown,
)
from rules.rule_base.ruleset_form import KIND, Definition, fnv1a_32, property_groups

Fact = Mapping[str, int | str]

MAX_PROPERTIES: Final = 32  # of one fact; at 255 the engine drops the fact and its batch
MAX_KNOWN_NAMES: Final = 1_000  # names whose hash is not looked at again

_CONTENT: Final = orjson.OPT_SORT_KEYS | orjson.OPT_STRICT_INTEGER


class RuleBaseError(Exception):
    """The rule base cannot do what was asked; the message says why and names the way out."""


class UnsafeFact(RuleBaseError):
    """A fact holds something that the engine gets wrong, or drops without a word."""


class Vocabulary:
    """The properties that a ruleset mentions, and the type of each where the rules tell it."""

    def __init__(self, ruleset: str, definition: Definition) -> None:
        self._ruleset = ruleset
        self._joined: dict[str, frozenset[str]] = {}
        self._types: dict[str, type] = {KIND: str}
        for group, types in property_groups(definition).items():
            self._joined.update(dict.fromkeys(group, group))
            for held in types:
                self._types.update(dict.fromkeys(group, held))
        # What a property that the rules join only settles in a run: the type of all that it is joined with.
        self._together = {
            name: {held: dict.fromkeys(group, held) for held in (int, str)} for name, group in self._joined.items()
        }
        self._known = set(self._joined)
        self._hashes = {fnv1a_32(name): name for name in RESERVED_PROPERTIES.union(self._joined)}

    def types(self) -> dict[str, type]:
        """Return the types known before a run; ``contents`` adds those that the run's facts settle."""
        return self._types.copy()

    def contents(self, facts: Iterable[Fact], types: dict[str, type]) -> dict[bytes, Fact]:
        """Return the facts by content, which is JSON with sorted names; equal facts become one.

        Raises UnsafeFact, naming the ruleset, the fact's kind, the property, the rule broken and the way out.
        """
        contents: dict[bytes, Fact] = {}
        for fact in facts:
            if type(fact) is not dict or KIND not in fact or len(fact) > MAX_PROPERTIES:
                self._check_types(fact, types)
            for name, value in fact.items():
                held = type(value)
                if types.get(name) is not held:
                    if name in types or name not in self._together or (held is not int and held is not str):
                        self._check_types(fact, types)
                        break
                    types.update(self._together[name][held])
            try:
                content = orjson.dumps(fact, option=_CONTENT, default=dict)
            except orjson.JSONEncodeError as error:  # a large integer, or half a character
                raise self._unsafe_value(fact) from error
            if len(content) > MAX_CODE_LENGTH and any(len(str(value)) > MAX_CODE_LENGTH for value in fact.values()):
                raise self._unsafe_value(fact)
            contents[content] = fact
        text = b"".join(contents)
        if b"\\" in text or not text.isascii():  # JSON escapes the quote, the backslash and control characters
            raise self._unsafe_value(*contents.values())
        return contents

    def _check_types(self, fact: Fact, types: dict[str, type]) -> None:
        """Check the names of a fact and the types of its values; properties new in the run get those types."""
        if type(fact) is not dict and not isinstance(fact, Mapping):
            raise UnsafeFact(
                f"{self._ruleset}: {shown(fact)} is not a fact; write an object with its kind under {KIND}"
            )
        if KIND not in fact:
            raise self._unsafe(fact, KIND, "each fact says what it is about", "add the property")
        if len(fact) > MAX_PROPERTIES:
            raise self._unsafe(fact, KIND, f"a fact has at most {MAX_PROPERTIES} properties", "split it over two kinds")
        for name, value in fact.items():
            held = type(value)
            if types.get(name) is held:
                continue
            if held is not int and held is not str:
                raise self._unsafe_value(fact)
            if name in types:
                expected = "an integer" if types[name] is int else "a code"
                limit = f'it is {expected} in the rules or in another fact, and the engine takes "5" for 5'
                raise self._unsafe(fact, name, limit, "give the two meanings two properties")
            self._check_name(fact, name)
            types.update(dict.fromkeys(self._joined.get(name, (name,)), held))

    def _check_name(self, fact: Fact, name: object) -> None:
        if not isinstance(name, str) or not PROPERTY_NAME.fullmatch(name) or name in RESERVED_PROPERTIES:
            limit = f"properties are named {PROPERTY_NAME.pattern}, and id and sid belong to the rule base"
            raise self._unsafe(fact, name, limit, "rename the property")
        if name not in self._known:
            other = self._hashes.get(fnv1a_32(name), name)
            if other != name:
                limit = f"the engine knows properties by a hash, and {other} has the same"
                raise self._unsafe(fact, name, limit, "rename the property")
            if len(self._known) < MAX_KNOWN_NAMES:
                self._known.add(name)

    def _unsafe_value(self, *facts: Fact) -> UnsafeFact:
        """Return the fault of the first value that is neither an integer nor a code."""
        faulty = (
            (fact, name)
            for fact in facts
            for name, value in fact.items()
            if not (CODE.fullmatch(value) if type(value) is str else type(value) is int and abs(value) <= MAX_INTEGER)
        )
        # Without such a value it is a name that equals a plain string and is none.
        fact, name = next(faulty, (facts[0], KIND))
        return self._unsafe(fact, name, VALUES, "use a whole number in another unit, or a code, under a plain name")

    def _unsafe(self, fact: Fact, name: object, limit: str, way_out: str) -> UnsafeFact:
        value = shown(fact[name]) if isinstance(name, str) and name in fact else "nothing"
        return UnsafeFact(
            f"{self._ruleset}: a fact of kind {shown(fact.get(KIND, ''))} holds {value} under {shown(name)}; {limit}. "
            f"Way out: {way_out}."
        )
