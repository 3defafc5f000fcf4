"""What is wrong with a document, where, and the way out."""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

TreePath: TypeAlias = tuple[str | int, ...]
"""The way from the top of a document to one entry: keys of mappings and, counted from 0, places in lists."""

MOST_FAULTS = 50  # a person mends the first few and tries again; a document of another kind would list thousands

_BARE_KEY = re.compile(r"[A-Za-z_][\w-]*")


class Position(NamedTuple):
    """A place in the text; line and column count from 1."""

    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a document.

    `path` reads like `term.ends.first_of[0]`; it is empty for the document as a whole, and for a text that cannot be
    read. `column` counts from 1, and is None where only the line is known.
    """

    file: str
    line: int
    column: int | None
    path: str
    message: str
    way_out: str = ""

    def __str__(self) -> str:
        # A path points better than a column; the column is shown where there is no path.
        column = f":{self.column}" if self.column is not None and not self.path else ""
        path = f" {self.path}:" if self.path else ""
        told = " ".join(f"{self.message} {self.way_out}".split())  # on one line, whatever a value in it holds
        return f"{self.file}:{self.line}{column}:{path} {told}".rstrip()


class DocumentRefused(Exception):
    """A document that is not taken; `faults` has at least one entry, in the order of the text."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(faults, key=lambda fault: (fault.line, fault.column or 0)))
        super().__init__(self.faults)

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)


def path_text(path: TreePath) -> str:
    """Return a path as a person writes it.

    >>> path_text(("term", "ends", "first_of", 0, "5.1"))
    'term.ends.first_of[0]["5.1"]'
    """
    parts = (f".{part}" if _BARE_KEY.fullmatch(str(part)) else f"[{json.dumps(part)}]" for part in path)
    return "".join(parts).removeprefix(".")


def shortened(text: str, most: int = 60) -> str:
    """Return text that fits into a message: at most `most` characters, on one line."""
    one_line = " ".join(text.split())
    return one_line if len(one_line) <= most else one_line[: most - 1] + "…"
