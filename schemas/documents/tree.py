"""The plain tree of a document and the place of each of its entries, built alike from YAML and from JSON."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum
from typing import NoReturn, TypeAlias

from schemas.documents.faults import MOST_FAULTS, DocumentRefused, Fault, Position, TreePath, path_text, shortened

Tree: TypeAlias = "dict[str, Tree] | list[Tree] | str | int | Decimal | bool | None"
"""What a document holds: mappings with text as keys, lists, text, numbers (never a float), true or false, nothing."""

MOST_CHARACTERS = 5_000_000
MOST_NODES = 200_000  # values of every kind, mappings and lists included, keys not
DEEPEST_NESTING = 40  # mappings and lists inside each other
LONGEST_NUMBER = 30  # characters; an amount or a meter reading needs a dozen, and a longer one is a slip or an attack

WORDS: dict[str, bool | None] = {"true": True, "false": False, "null": None, "~": None, "": None}
WHOLE_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)")
POINT_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)\.[0-9]+")
UNPRINTABLE = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]")


class Piece(Enum):
    """The pieces that a text falls into, in either notation."""

    MAPPING = "a mapping begins"
    LIST = "a list begins"
    END = "the innermost mapping or list ends"
    PLAIN = "a scalar without quotes"
    QUOTED = "a scalar in quotes"


Event: TypeAlias = tuple[Piece, str, int, int]
"""A piece, the text of a scalar (else empty), the line and the column."""


@dataclass(slots=True)
class Places:
    """A tree with the place of each entry, looked up by the identity of the mapping or list that holds it."""

    tree: Tree = None
    root: tuple[int, int] = (1, 1)
    entries: dict[int, dict[str | int, tuple[int, int]]] = field(default_factory=dict)


@dataclass(frozen=True)
class ParsedDocument:
    """A document's name (for messages), its plain tree, and where each part of the tree stands in the text."""

    name: str
    tree: Tree
    _places: Callable[[], Places] = field(repr=False, compare=False)

    def position(self, path: TreePath) -> Position:
        """Return where the entry at `path` stands, or its nearest ancestor; for an entry of a mapping, its key."""
        places = self._places()
        node, position = places.tree, places.root
        for part in path:
            entries = places.entries.get(id(node), {})
            if part not in entries or not isinstance(node, dict | list):
                break
            position = entries[part]
            node = node[part]  # type: ignore[index]  # entries has text for a mapping, numbers for a list
        return Position(*position)

    def fault(self, path: TreePath, message: str, way_out: str = "") -> Fault:
        """Return a fault of this document at `path`, for a check that looks at more than one value."""
        return Fault(self.name, *self.position(path), path_text(path), message, way_out)


@dataclass(slots=True)
class _Unfinished:
    """A mapping or list that is still being read."""

    holder: dict[str, Tree] | list[Tree]
    path: TreePath
    entries: dict[str | int, tuple[int, int]]
    key: str | None = None  # the key that waits for its value

    def path_of_next(self) -> TreePath:
        """Return the path of the value that comes next; of the mapping itself while a key is expected."""
        if isinstance(self.holder, list):
            return (*self.path, len(self.holder))
        return self.path if self.key is None else (*self.path, self.key)


class TreeBuilder:
    """Puts pieces together into a tree, and gathers faults, so that one reading shows them all."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.nodes = 0
        self._places = Places()
        self._faults: list[Fault] = []
        self._unfinished: list[_Unfinished] = []

    def refuse(self, line: int, column: int, message: str, way_out: str) -> None:
        """Note a fault in what is being read, and go on; raises DocumentRefused when there are very many."""
        path = self._unfinished[-1].path_of_next() if self._unfinished else ()
        self._faults.append(Fault(self.name, line, column, path_text(path), message, way_out))
        if len(self._faults) >= MOST_FAULTS:
            raise DocumentRefused(self._faults)

    def stop(self, line: int, column: int, message: str, way_out: str) -> NoReturn:
        """Raise DocumentRefused with a fault past which nothing can be read, and those before it."""
        # Without a path: what stands before the fault may have been misread, so only line and column are sure.
        raise DocumentRefused([*self._faults, Fault(self.name, line, column, "", message, way_out)])

    def build(self, events: Iterable[Event]) -> Places:
        """Return the tree of the events, or raise DocumentRefused with every fault noted on the way."""
        for piece, text, line, column in events:
            if piece is Piece.END:
                self._unfinished.pop()
                continue
            if not text.isprintable() and (bad := UNPRINTABLE.search(text)):
                self.refuse(line, column, *unprintable(bad[0]))
            top = self._unfinished[-1] if self._unfinished else None
            if top is not None and top.key is None and isinstance(top.holder, dict):
                self._take_key(top, piece, text, line, column)
            else:
                self._take_value(top, piece, text, (line, column))
        if self._faults:
            raise DocumentRefused(self._faults)
        return self._places

    def _take_key(self, top: _Unfinished, piece: Piece, text: str, line: int, column: int) -> None:
        if piece is not Piece.PLAIN and piece is not Piece.QUOTED:
            self.stop(line, column, "a list or mapping stands where a key is expected.", "Write the key as plain text.")
        if piece is Piece.PLAIN and text == "":
            self.refuse(line, column, "there is no key before this colon.", "Write the key before it.")
        elif piece is Piece.PLAIN and text == "<<":
            self.refuse(line, column, "merge keys (<<) are not read.", "Write each key out where it holds.")
        elif text in top.entries:
            message = f'the key "{shortened(text)}" stands twice here, first on line {top.entries[text][0]}.'
            self.refuse(line, column, message, "Keep one of the two.")
        top.key = text
        top.entries.setdefault(text, (line, column))

    def _take_value(self, top: _Unfinished | None, piece: Piece, text: str, position: tuple[int, int]) -> None:
        self.nodes += 1
        if self.nodes > MOST_NODES:
            self.stop(
                *position, f"the document holds more than {MOST_NODES:,} values.", "Split it into several documents."
            )
        value: Tree
        if piece is Piece.QUOTED:
            value = text
        elif piece is Piece.PLAIN:
            value = self._plain_value(text, position)
        else:
            value = self._open(top, piece, position)
        if top is None:
            self._places.tree, self._places.root = value, position
        elif isinstance(top.holder, list):
            top.entries[len(top.holder)] = position
            top.holder.append(value)
        else:
            assert top.key is not None, "a mapping takes a key before each value"
            top.holder[top.key], top.key = value, None

    def _open(self, top: _Unfinished | None, piece: Piece, position: tuple[int, int]) -> dict[str, Tree] | list[Tree]:
        if len(self._unfinished) >= DEEPEST_NESTING:
            message = f"mappings and lists are nested deeper than {DEEPEST_NESTING} levels here."
            self.stop(*position, message, "Write the document flatter.")
        holder: dict[str, Tree] | list[Tree] = {} if piece is Piece.MAPPING else []
        entries = self._places.entries[id(holder)] = {}
        self._unfinished.append(_Unfinished(holder, top.path_of_next() if top is not None else (), entries))
        return holder

    def _plain_value(self, text: str, position: tuple[int, int]) -> Tree:
        if text in WORDS:
            return WORDS[text]
        is_whole = WHOLE_NUMBER.fullmatch(text) is not None
        if not is_whole and POINT_NUMBER.fullmatch(text) is None:
            return text
        if len(text) > LONGEST_NUMBER:
            message = f"this number has {len(text):,} characters; at most {LONGEST_NUMBER} are read."
            self.refuse(*position, message, "Correct it, or put it in quotes if it is a name.")
            return None
        return int(text) if is_whole else Decimal(text)


def unprintable(character: str) -> tuple[str, str]:
    """Return the message and the way out for a character that has no place in a document."""
    if "\ud800" <= character <= "\udfff":
        kind = "half of a surrogate pair"
    else:
        kind = "a byte-order mark in the middle of the text" if character == "\ufeff" else "a control character"
    return f"U+{ord(character):04X} stands here: {kind}, not text.", "Remove it and save the document as UTF-8."
