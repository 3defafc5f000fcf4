"""Validation errors in plain words: what stands there, what may stand there."""

import difflib
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from schemas.documents.faults import shortened
from schemas.documents.model_map import Spot
from schemas.documents.tree import Tree

_TEXT = ("text", "text, in quotes if it looks like a number")
_WHOLE = ("a whole number", "a whole number in digits, such as 48")
_NUMBER = ("a number", "a number in digits, such as 12.50")
_YES_NO = ("true or false", "true or false")
_DATE = ("a date", "a date as year, month and day, such as 2026-03-31")
_INSTANT = ("an instant", "an instant with its zone, such as 2026-03-31T09:30:00Z")
_LIST = ("a list", "a list, its items between [ and ] or each on a line after a dash")
_MAPPING = ("a mapping", "keys with their values, each on a line like `months: 48`")

KINDS: Mapping[str, tuple[str, str]] = {
    "string_type": _TEXT,
    "int_type": _WHOLE,
    "int_parsing": _WHOLE,
    "int_parsing_size": _WHOLE,
    "int_from_float": _WHOLE,
    "decimal_type": _NUMBER,
    "decimal_parsing": _NUMBER,
    "bool_type": _YES_NO,
    "bool_parsing": _YES_NO,
    "date_type": _DATE,
    "date_parsing": _DATE,
    "date_from_datetime_parsing": _DATE,
    "date_from_datetime_inexact": _DATE,
    "datetime_type": _INSTANT,
    "datetime_parsing": _INSTANT,
    "datetime_from_date_parsing": _INSTANT,
    "timezone_aware": _INSTANT,
    "list_type": _LIST,
    "tuple_type": _LIST,
    "set_type": _LIST,
    "frozen_set_type": _LIST,
    "dict_type": _MAPPING,
    "mapping_type": _MAPPING,
    "model_type": _MAPPING,
    "model_attributes_type": _MAPPING,
    "dataclass_type": _MAPPING,
    "none_required": ("null", "null, or leave the value out"),
}
"""By the type of an error: the kind of value that it asks for, and how such a value is written."""

ABOUT_A_KEY = ("missing", "extra_forbidden")
ABOUT_A_VALUE = (*KINDS, "literal_error", "enum")

_BOUNDS: Mapping[str, str] = {
    "greater_than": "a value greater than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "a value less than {lt}",
    "less_than_equal": "{le} or less",
    "multiple_of": "a multiple of {multiple_of}",
    "string_too_short": "text of at least {min_length} characters",
    "string_too_long": "text of at most {max_length} characters",
    "string_pattern_mismatch": "text of the form {pattern}",
    "decimal_max_places": "at most {decimal_places} digits after the point",
    "decimal_max_digits": "at most {max_digits} digits",
    "decimal_whole_digits": "at most {whole_digits} digits before the point",
    "finite_number": "a finite number",
}

_MOST_GUESSED = 3
_PYDANTIC_WISH = "Input should be "  # how pydantic begins to tell of kinds that have no words of ours


def words(detail: Any, spot: Spot) -> tuple[str, str]:
    """Return the message and the way out for one of pydantic's error details, of a type outside ABOUT_A_VALUE.

    `spot` is where the error was found; for a type in ABOUT_A_KEY, the mapping or list that the key stands in.
    """
    kind, context = detail["type"], detail.get("ctx", {})
    if kind in ("value_error", "assertion_error"):
        return str(context["error"]), ""
    if kind == "missing":
        part = detail["loc"][-1] if detail["loc"] else "value"
        return _missing(part, *spot.wanted(str(part)))
    if kind == "extra_forbidden":
        return _unknown_key(str(detail["loc"][-1]), spot.node, spot.keys())
    if kind == "union_tag_invalid" and context["discriminator"].startswith("'"):
        return _wrong_choice(context["tag"], f"for {context['discriminator'].strip(chr(39))}", spot.tags())
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        return _no_form(detail["input"], context["discriminator"], spot.tags())
    if kind in ("too_short", "too_long"):
        return _wrong_length(spot.node, context)
    if kind in _BOUNDS:
        return f"{shown(detail['input'])} is not allowed here.", f"Write {_BOUNDS[kind].format(**context)}."
    if detail["msg"].startswith(_PYDANTIC_WISH):
        wish = detail["msg"].removeprefix(_PYDANTIC_WISH)
        return f"{shown(detail['input'])} is not {wish}.", f"Write {wish}."
    return detail["msg"], ""  # an error of ours with a type of its own


def wrong_value(details: Sequence[Any]) -> tuple[str, str]:
    """Return the message and the way out for one value that each of the errors, of types in ABOUT_A_VALUE, refuses."""
    value = details[0]["input"]
    choices = [choice for detail in details if detail["type"] not in KINDS for choice in _choices(detail)]
    kinds = dict.fromkeys(KINDS[detail["type"]] for detail in details if detail["type"] in KINDS)
    if not kinds:
        return _wrong_choice(value, "here", choices)
    if list(kinds) == [_TEXT] and isinstance(value, int | Decimal) and not isinstance(value, bool) and not choices:
        return f"{shown(value)} is not text.", f'Put it in quotes: "{shown(value)}".'
    named = (["one of the choices here"] if choices else []) + [kind for kind, _ in kinds]
    ways = ([f"one of {', '.join(choices)}"] if choices else []) + [way for _, way in kinds]
    reason = details[0].get("ctx", {}).get("error", "") if len(named) == 1 else ""
    message = f"{shown(value)} is not {', nor '.join(named)}{reason and f': {reason}'}."
    hint = _guess(value, choices) if isinstance(value, str) else ""
    return message, f"{hint}Write {', or '.join(ways)}."


def _choices(detail: Any) -> list[str]:
    expected: str = detail["ctx"]["expected"]
    return re.findall(r"'([^']*)'", expected) or [expected]


def shown(value: Any) -> str:
    """Return a value as a person would point at it, on one short line."""
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    if value is None:
        return "nothing (null)"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Decimal):
        return shortened(format(value, "f"))  # str() would write a small one with an exponent
    return f'"{shortened(value)}"' if isinstance(value, str) else shortened(str(value))


def _missing(part: str | int, called: str, words: Sequence[str]) -> tuple[str, str]:
    if isinstance(part, int):
        return f"item {part + 1} of the list is missing.", "Write it after the others."
    way_out = f" {called}: {', '.join(words)}." if words else ""
    return f'the key "{part}" is missing.', f"Add it: `{part}: …`.{way_out}"


def _unknown_key(key: str, node: Tree, keys: Sequence[str]) -> tuple[str, str]:
    message = f'"{shortened(key)}" is not a key here.'
    name, colon, value = key.partition(":")
    if colon and name in keys:
        return message, f"Put a space after the colon: `{name}: {shortened(value)}`."
    if not keys:
        return message, "Remove it."
    unused = [one for one in keys if not isinstance(node, dict) or one not in node]
    return message, f"{_guess(key, unused)}Known keys: {', '.join(keys)}."


def _wrong_length(node: Tree, context: Mapping[str, Any]) -> tuple[str, str]:
    bound = f"at least {context['min_length']}" if "min_length" in context else f"at most {context['max_length']}"
    if context["field_type"] in ("Set", "Frozenset"):  # equal entries count once
        return f"the number of different entries here is {context['actual_length']}.", f"Write {bound}."
    return f"the number of entries here is {len(node) if isinstance(node, dict | list) else 0}.", f"Write {bound}."


def _wrong_choice(value: Any, where: str, allowed: Sequence[str]) -> tuple[str, str]:
    hint = _guess(value, allowed) if isinstance(value, str) else ""
    return f"{shown(value)} is not a choice {where}.", f"{hint}Choices: {', '.join(allowed)}."


def _no_form(value: Any, discriminator: str, choices: Sequence[str]) -> tuple[str, str]:
    forms = ", ".join(choices)
    if isinstance(value, dict) and discriminator.startswith("'"):
        key = discriminator.strip("'")
        return f'the key "{key}" is missing, which says what form this takes.', f"Add it; choices: {forms}."
    return f"{shown(value)} has none of the forms known here.", f"Forms: {forms}."


def _guess(text: str, known: Sequence[str]) -> str:
    """Return a hint at what may be meant: what is nearly the text, else what has it among its words."""
    near = difflib.get_close_matches(text, known, n=1)
    near = near or [one for one in known if text in one.split("_")][:_MOST_GUESSED]
    quoted = [f'"{one}"' for one in near]
    return f"Did you mean {' or '.join(quoted)}? " if near else ""
