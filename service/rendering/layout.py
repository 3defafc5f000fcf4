"""Laying out plain text to a width in terminal cells; nothing here knows colour or markup."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from rich.cells import cell_len, chop_cells

NARROWEST = 40
_UNIT = re.compile(r"(?:h|%|km|miles?|months?|days?|[A-Z]{3})[).,;:]*")


def wrapped(text: str, width: int, indent: str = "", hanging: str | None = None) -> list[str]:
    """Return ``text`` in lines of at most ``width`` cells; the first begins with ``indent``, the others ``hanging``.

    A word longer than a line is cut, so that no line is ever too long.
    """
    hanging = indent if hanging is None else hanging
    lines, line = [], indent
    empty = True
    for word in _words(text):
        room = max(width - cell_len(hanging), 1)
        if not empty and cell_len(line) + 1 + cell_len(word) > width:
            lines.append(line)
            line, empty = hanging, True
        if empty and cell_len(line) + cell_len(word) > width:
            *full, word = chop_cells(word, room)
            for piece in full:
                lines.append(line + piece)
                line = hanging
        line += word if empty else f" {word}"
        empty = False
    return [*lines, line] if not empty or not lines else lines


def _words(text: str) -> list[str]:
    """Return the words of a text; a number and its unit are one, so that no line ends between them."""
    words: list[str] = []
    for word in text.split():
        if words and _UNIT.fullmatch(word) and words[-1][-1].isdigit():
            words[-1] += f" {word}"
        else:
            words.append(word)
    return words


def headed(head: str, text: str, width: int, hanging: str = "  ") -> list[str]:
    """Return ``text`` after a head that is never broken, such as a path with its line number to click on.

    Where no word fits beside the head, the head has a line of its own, even one wider than ``width``.
    """
    words = text.split(maxsplit=1)
    if words and cell_len(f"{head} {words[0]}") <= width:
        return wrapped(text, width, f"{head} ", hanging)
    return [head, *(wrapped(text, width, hanging) if words else [])]


def joined(parts: Iterable[str], width: int, indent: str, gap: str = "     ") -> list[str]:
    """Return short parts side by side with gaps, broken between parts; a part longer than a line is wrapped."""
    lines: list[str] = []
    line = ""
    for part in parts:
        candidate = f"{line}{gap}{part}" if line else f"{indent}{part}"
        if line and cell_len(candidate) > width:
            lines.append(line)
            candidate = f"{indent}{part}"
        if cell_len(candidate) > width:
            lines += wrapped(part, width, indent, f"{indent}  ")
            candidate = ""
        line = candidate
    return [*lines, line] if line else lines


def padded(text: str, width: int, right: bool = False) -> str:
    """Return text filled with blanks to ``width`` cells."""
    blanks = " " * max(width - cell_len(text), 0)
    return blanks + text if right else text + blanks


def between(left: str, right: str, width: int) -> list[str]:
    """Return one line with ``left`` and ``right`` at its two ends, or two lines where they do not fit."""
    if cell_len(left) + 3 + cell_len(right) <= width:
        return [f"{padded(left, width - cell_len(right))}{right}"]
    return [*wrapped(left, width), *wrapped(right, width, "  ")]


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a sum: what it says, what moved, and what is left."""

    words: str
    moved: str
    left: str


def sum_lines(rows: Sequence[Row], width: int, indent: str) -> Iterator[str]:
    """Yield the rows of a sum with the amounts right-aligned below each other; long words wrap beside them."""
    moved = max((cell_len(row.moved) for row in rows), default=0)
    left = max((cell_len(row.left) for row in rows), default=0)
    amounts = (moved + 3 if moved else 0) + left + 3
    room = width - amounts
    if room < len(indent) + 20:  # too narrow for columns: the amounts go below the words
        for row in rows:
            yield from wrapped(row.words, width, indent, f"{indent}  ")
            yield from joined([part for part in (row.moved, row.left) if part], width, f"{indent}  ", "  ")
        return
    for row in rows:
        *first, last = wrapped(row.words, room, indent, f"{indent}  ")
        yield from first
        middle = f"   {padded(row.moved, moved, right=True)}" if moved else ""
        yield f"{padded(last, room)}{middle}   {padded(row.left, left, right=True)}"
