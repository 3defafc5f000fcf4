"""JSON, read at the full speed of the json module.

Where that leaves a doubt, and when a place is asked for, the text is read again piece by piece.
"""

import functools
import json
import re
from collections.abc import Iterator
from decimal import Decimal

from schemas.documents.faults import shortened
from schemas.documents.tree import (
    DEEPEST_NESTING,
    LONGEST_NUMBER,
    MOST_NODES,
    POINT_NUMBER,
    WHOLE_NUMBER,
    WORDS,
    Event,
    ParsedDocument,
    Piece,
    Tree,
    TreeBuilder,
)

_TOKEN = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"|[{}\[\]]|[^\s{}\[\]:,"]+')
_STRUCTURE = {"{": Piece.MAPPING, "[": Piece.LIST, "}": Piece.END, "]": Piece.END}
# Runs of digits that may be a number too long, and escapes that may stand for control characters or surrogates. They
# may also be harmless, and then cost time only.
_LONG_DIGITS = re.compile(rf"[0-9]{{{LONGEST_NUMBER}}}")
_DOUBTFUL_ESCAPE = re.compile(r"\\u(?:00[01789]|[dDfF])|\\[bf]")
_LOOK_AROUND = "Look at the quotes, the commas and the brackets here and just before."
_WAYS_OUT = {  # by the parser's own message
    "Expecting property name enclosed in double quotes": "Put keys in double quotes; no comma after the last.",
    "Extra data": "Keep one document in a file.",
    "Invalid control character at": "Close the quotes; write a line break inside text as \\n.",
    "Unterminated string starting at": "Close the quotes.",
}


def read_json(text: str, builder: TreeBuilder, demanded: bool) -> ParsedDocument | None:
    """Return the document of a JSON text, or None for a text that is not JSON and need not be."""
    doubts = ["digits or escapes"] if _LONG_DIGITS.search(text) or _DOUBTFUL_ESCAPE.search(text) else []

    def mapping(pairs: list[tuple[str, Tree]]) -> dict[str, Tree]:
        tree = dict(pairs)
        if len(tree) != len(pairs):
            doubts.append("doubled key")
        return tree

    def point_number(digits: str) -> Decimal:
        if len(digits) <= LONGEST_NUMBER and POINT_NUMBER.fullmatch(digits):
            return Decimal(digits)
        doubts.append("number")
        return Decimal(0)

    # Doubtful digits are counted, never converted here: int() refuses a few thousand of them with an error of its own.
    whole_number = (lambda _: 0) if doubts else None
    tree: Tree = None
    try:
        tree = json.loads(
            text,
            object_pairs_hook=mapping,
            parse_float=point_number,
            parse_int=whole_number,
            parse_constant=doubts.append,
        )
    except json.JSONDecodeError as error:
        if not demanded:
            return None
        problem = f"the text is not well-formed JSON here: {error.msg.removesuffix(' at')}."
        builder.stop(error.lineno, error.colno, problem, _WAYS_OUT.get(error.msg, _LOOK_AROUND))
    except RecursionError:
        doubts.append("nesting")
    if doubts or not _is_within_limits(tree):
        places = builder.build(json_events(text, builder))
        return ParsedDocument(builder.name, places.tree, lambda: places)
    places_on_demand = functools.cache(lambda: builder.build(json_events(text, builder)))
    return ParsedDocument(builder.name, tree, places_on_demand)


def _is_within_limits(tree: Tree) -> bool:
    level, nodes = [tree], 1
    for _ in range(DEEPEST_NESTING + 1):
        holders = [node for node in level if isinstance(node, (dict, list))]  # a tuple: `dict | list` is built anew
        if not holders:
            return nodes <= MOST_NODES
        level = [item for node in holders for item in (node.values() if isinstance(node, dict) else node)]
        nodes += len(level)
    return False


def json_events(text: str, builder: TreeBuilder) -> Iterator[Event]:
    """Yield the pieces of a text that is known to be JSON, at least down to the deepest nesting that is read."""
    line, line_start, before = 1, 0, 0
    for token in _TOKEN.finditer(text):
        at, lexeme = token.start(), token[0]
        if breaks := text.count("\n", before, at):
            line, line_start = line + breaks, text.rfind("\n", before, at) + 1
        before, column = at, at - line_start + 1
        if lexeme in _STRUCTURE:
            yield _STRUCTURE[lexeme], "", line, column
        elif lexeme[0] == '"':
            yield Piece.QUOTED, json.loads(lexeme), line, column
        else:
            if lexeme not in WORDS and not WHOLE_NUMBER.fullmatch(lexeme) and not POINT_NUMBER.fullmatch(lexeme):
                message = f"{shortened(lexeme)} is not a number written out in digits."
                builder.refuse(line, column, message, "Write it like 1200 or 0.5, or put it in quotes.")
            yield Piece.PLAIN, lexeme, line, column
