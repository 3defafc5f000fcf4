"""Canonical bytes of a document, and the digest over them: the form that is hashed, stored and replayed.

The form is RFC 8785 (JSON Canonicalization Scheme). Two conditions keep it cheap and exact: keys are ASCII, so that the
order of UTF-8 bytes is the UTF-16 order which the RFC asks for; and there are no floats, because the RFC writes every
number as an IEEE double, which can hold neither an amount nor a share. Amounts, hours and dates stand as text.
"""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeAlias

import orjson

Canonical: TypeAlias = "Mapping[str, Canonical] | Sequence[Canonical] | str | int | None"
"""What may be hashed: dicts with ASCII keys, lists and tuples, text, whole numbers within ±(2**53 - 1), bool, None."""

Written: TypeAlias = orjson.Fragment | str | int
"""A value of an object: written in canonical form (see `part`), or text or a whole number as it is."""

LARGEST_INTEGER = 2**53 - 1
DEEPEST_NESTING = 200

# The pass-through options make orjson refuse dates, dataclasses and subclasses, which it would otherwise write in a
# form of its own; OPT_STRICT_INTEGER holds whole numbers to the range in which a JSON reader keeps every digit.
_OPTIONS = (
    orjson.OPT_SORT_KEYS
    | orjson.OPT_STRICT_INTEGER
    | orjson.OPT_PASSTHROUGH_DATETIME
    | orjson.OPT_PASSTHROUGH_DATACLASS
    | orjson.OPT_PASSTHROUGH_SUBCLASS
)
_OF_PARTS = _OPTIONS & ~orjson.OPT_PASSTHROUGH_DATACLASS


def canonical_bytes(value: Canonical) -> bytes:
    """Return the RFC 8785 form of `value` as UTF-8.

    Raises TypeError for a Decimal, a date or any other type without a place in the form, and for a key that is not
    text; ValueError for a whole number past ±(2**53 - 1), for text that is no Unicode (a lone surrogate) and for
    nesting deeper than about 200 levels. Four things go unseen here, because looking for them costs more than the
    encoding: a float, a key outside ASCII, a member of an enum and a UUID. `check_canonical` finds them, where a
    document enters and in tests.

    >>> canonical_bytes({"share": "3/5", "maker_pays": ["690.00", "EUR"], "line": 2})
    b'{"line":2,"maker_pays":["690.00","EUR"],"share":"3/5"}'
    """
    try:
        return orjson.dumps(value, option=_OPTIONS)
    except TypeError:
        check_canonical(value)  # says where and what, which the encoder cannot
        raise


def part(value: object, plain: Callable[[Any], Any] | None = None) -> orjson.Fragment:
    """Return one value of an object in canonical form, for `object_of_parts`.

    `plain` makes plain values of what has none of its own, such as a Decimal. A dataclass is written as an object, its
    fields in the order of the instance's dict: it must be `quickly_made` without slots, so that they are sorted.
    """
    return orjson.Fragment(orjson.dumps(value, default=plain, option=_OF_PARTS))


def object_of_parts(parts: Mapping[str, Written]) -> bytes:
    """Return the RFC 8785 form of an object whose values are written already, or plain; the keys are ASCII.

    >>> object_of_parts({"b": part(2), "a": part("x")})
    b'{"a":"x","b":2}'
    """
    return orjson.dumps(parts, option=_OPTIONS)


def digest(value: Canonical) -> str:
    """Return the digest of `value`: `sha256:` and 64 hexadecimal digits over its canonical bytes.

    >>> digest({})
    'sha256:44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a'
    """
    return digest_of_bytes(canonical_bytes(value))


def digest_of_bytes(data: bytes) -> str:
    """Return the digest of bytes that are canonical already, such as those the store gives back."""
    return "sha256:" + hashlib.sha256(data).hexdigest()


def check_canonical(value: object) -> None:
    """Refuse what has no canonical form under our two conditions, naming the place in `value`.

    A TypeError names a wrong type (a float first of all), a ValueError a value of a right type that cannot be written.
    It walks the whole value, at several times the cost of the encoding.
    """
    _check(value, "$", 0)


def _check(value: object, place: str, depth: int) -> None:
    kind = type(value)
    if value is None or kind is bool:
        return
    if kind is str:
        _check_text(str(value), place)
    elif isinstance(value, int) and kind is int:
        if abs(value) > LARGEST_INTEGER:
            raise ValueError(
                f"{place}: a whole number past ±(2**53 - 1) loses digits in JSON readers. Write it as text."
            )
    elif isinstance(value, dict | list | tuple) and kind in (dict, list, tuple):
        if depth >= DEEPEST_NESTING:
            raise ValueError(
                f"{place[:80]}…: nested deeper than {DEEPEST_NESTING} levels, or inside itself. Flatten it."
            )
        items = value.items() if isinstance(value, dict) else enumerate(value)
        for key, item in items:
            if isinstance(value, dict):
                _check_key(key, place)
            _check(item, f"{place}[{key!r}]", depth + 1)
    else:
        advice = "no float may touch a date, hour or amount" if kind is float else "the form holds plain values only"
        raise TypeError(
            f"{place}: {kind.__name__} has no canonical form: {advice}. Write it as text, in its own notation."
        )


def _check_key(key: object, place: str) -> None:
    if type(key) is not str:
        raise TypeError(f"{place}: the key {key!r} is {type(key).__name__}, not text. Make every key a plain str.")
    if not key.isascii():
        raise ValueError(
            f"{place}: the key {key!r} is not ASCII, so its place in the order is not sure. Rename the key."
        )


def _check_text(text: str, place: str) -> None:
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise ValueError(
            f"{place}: the text holds a lone surrogate (U+{ord(text[error.start]):04X} at {error.start}), which is no "
            "character and has no UTF-8. Remove it where the text enters."
        ) from None
