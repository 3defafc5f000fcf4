"""A model as a map of the documents that it takes.

The trail that a validation error carries follows the model: besides keys of the document it holds the names of union
members. The model's core schema tells the two apart, and knows which keys may stand at a place.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from schemas.documents.faults import TreePath
from schemas.documents.tree import Tree

_LISTS = ("list", "tuple", "set", "frozenset")
_MAPPINGS = ("model-fields", "typed-dict", "dataclass-args")
_READ_BY_FUNCTION = ("function-before", "function-wrap", "function-plain")


class Member(NamedTuple):
    """A member of an untagged union that an error's trail goes through."""

    path: TreePath  # of the value that the union stands for
    label: str
    fits: bool  # the value is a mapping, and so are the member's values; or both are lists


class Spot(NamedTuple):
    """Where an error's trail leads."""

    path: TreePath
    node: Tree
    schema: Mapping[str, Any] | None  # None where the schema is not followed
    members: tuple[Member, ...]

    def keys(self) -> list[str]:
        """Return the keys that may stand in the mapping here, as they are written in a document."""
        return list(_fields(self.schema))

    def wanted(self, key: str) -> tuple[str, list[str]]:
        """Return what may stand under a key of the mapping here: how to call it, and its words; else nothing.

        Words of which one stands there, or several in a list; or the keys of the mapping there, or of each in a list.
        """
        schema = _bare(_fields(self.schema).get(key))
        is_list = schema is not None and schema["type"] in _LISTS
        if schema is not None and is_list:
            items = schema.get("items_schema")
            schema = _bare(items[0] if isinstance(items, list) and items else items)
        if schema is None:
            return "", []
        if schema["type"] == "bool":
            return "Choices", ["true", "false"]
        if schema["type"] == "literal":
            words = [one for one in schema["expected"] if isinstance(one, str)]
            return "Choices, in a list" if is_list else "Choices", words
        return "A list, each with the keys" if is_list else "Keys", list(_fields(schema))

    def tags(self) -> list[str]:
        """Return the tags of the tagged union here, else nothing."""
        is_tagged = self.schema is not None and self.schema["type"] == "tagged-union"
        return [str(tag) for tag in self.schema["choices"]] if self.schema is not None and is_tagged else []


class ModelMap:
    """A core schema to walk through, one part of a trail at a time."""

    def __init__(self, schema: Any) -> None:
        self._schema = schema
        self._definitions = {one["ref"]: one for one in schema.get("definitions", ())}

    def find(self, trail: TreePath, tree: Tree) -> Spot:
        """Follow a trail as far as the document goes; a part that names a member of a union takes no step in it."""
        path: TreePath = ()
        members: tuple[Member, ...] = ()
        node, schema = tree, self._opened(self._schema)
        for part in trail:
            kind = "" if schema is None else schema["type"]
            if kind == "tagged-union":
                schema = self._opened(schema["choices"].get(part)) if schema is not None else None
            elif kind == "union":
                schema = self._member(schema, str(part))
                members = (*members, Member(path, str(part), _fits(schema, node)))
            else:
                schema = self._entry(schema, part)
                if isinstance(node, dict) and str(part) in node:
                    path, node = (*path, str(part)), node[str(part)]
                elif isinstance(node, list) and isinstance(part, int) and part < len(node):
                    path, node = (*path, part), node[part]
        return Spot(path, node, schema, members)

    def _entry(self, schema: Mapping[str, Any] | None, part: str | int) -> Mapping[str, Any] | None:
        """Return the schema of an entry of a mapping or list."""
        if schema is None:
            return None
        if fields := _fields(schema):
            return self._opened(fields.get(str(part)))
        items = schema.get("values_schema") or schema.get("items_schema")
        if isinstance(items, list):  # a tuple: its last schema may stand for any number of items
            items = items[min(part, len(items) - 1)] if items and isinstance(part, int) else None
        return self._opened(items)

    def _member(self, union: Any, label: str) -> Mapping[str, Any] | None:
        """Return the member of an untagged union that a label such as `function-after[check(), Term]` means."""
        head = label.partition("[")[0].removeprefix("constrained-")
        words = set(re.findall(r"\w+", label))
        for choice in union["choices"]:
            one, own_label = choice if isinstance(choice, tuple) else (choice, None)
            layers = list(self._layers(one))
            names = {layer["cls"].__name__ for layer in layers if "cls" in layer}
            if own_label == label or names & words or any(layer["type"] == head for layer in layers):
                return layers[-1]
        return None

    def _opened(self, schema: Any) -> Mapping[str, Any] | None:
        """Return the schema inside wrappers that leave no part in a trail: defaults, validators, references, models."""
        return [None, *self._layers(schema)][-1]

    def _layers(self, schema: Any) -> Iterator[Mapping[str, Any]]:
        while schema is not None:
            yield schema
            if schema["type"] == "definition-ref":
                schema = self._definitions.get(schema["schema_ref"])
            else:
                schema = schema.get("schema") or schema.get("lax_schema") or schema.get("python_schema")


def _fields(schema: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return the fields of a model, a typed dict or a dataclass by their keys as written in a document."""
    fields = (schema or {}).get("fields", {})
    named = fields.items() if isinstance(fields, dict) else ((one["name"], one) for one in fields)
    aliases = ((name, one.get("validation_alias"), one) for name, one in named)
    return {alias if isinstance(alias, str) else name: one for name, alias, one in aliases}


def _bare(schema: Any) -> Mapping[str, Any] | None:
    """Return the schema of a list, a choice or a mapping inside checks, defaults and models; None for any other.

    What is read by a function of its own (a version written name@version) has another form than the schema inside.
    """
    while schema is not None and schema["type"] not in (*_LISTS, *_MAPPINGS, "literal", "bool"):
        schema = None if schema["type"] in _READ_BY_FUNCTION else schema.get("schema")
    return schema  # type: ignore[no-any-return]


def _fits(schema: Mapping[str, Any] | None, node: Tree) -> bool:
    if schema is None:
        return False
    if isinstance(node, dict):
        return "fields" in schema or schema["type"] in ("dict", "tagged-union")
    return isinstance(node, list) and schema["type"] in _LISTS
