"""YAML as pieces, by PyYAML's parser; its own reading of scalars plays no part.

Pieces are taken one by one, so that nesting past the limit, an alias or a second document stops the reading at once.
"""

from collections.abc import Iterator
from typing import Any, NoReturn

import yaml

from schemas.documents.faults import shortened
from schemas.documents.tree import Event, Piece, TreeBuilder

_LOADER: Any = getattr(
    yaml, "CSafeLoader", yaml.SafeLoader
)  # libyaml, where PyYAML was built with it, is ten times as fast

_PIECES = {
    yaml.MappingStartEvent: Piece.MAPPING,
    yaml.SequenceStartEvent: Piece.LIST,
    yaml.MappingEndEvent: Piece.END,
    yaml.SequenceEndEvent: Piece.END,
}

_WRITE_OUT = "Write the value out where it holds; text that begins with {} stands in quotes."
_LOOK_AROUND = "Look at the indentation, the colons, the quotes and the brackets on this line and the one above."
_WAYS_OUT = {  # by words in the parser's own message
    "mapping values are not allowed": 'Put text that holds ": " in quotes; indent keys alike, one to a line.',
    "could not find expected ':'": "Give the key a colon and a space, and indent it like the keys beside it.",
    "',' or ']'": "Put commas between the items of the list, and close it with ].",
    "',' or '}'": "Put commas between the entries of the mapping, and close it with }.",
    "escape": "Write a backslash as \\\\, or put the text in single quotes.",
    "quoted scalar": "Close the quotes.",
}


def yaml_events(text: str, builder: TreeBuilder) -> Iterator[Event]:
    """Yield the pieces of a YAML text; what cannot be read becomes a fault of `builder`."""
    line = column = 1
    documents = 0
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            mark = event.start_mark
            assert mark is not None, "the parser marks every event"
            line, column = mark.line + 1, mark.column + 1
            kind = type(event)
            if isinstance(event, yaml.NodeEvent):
                yield _node(event, builder, line, column)
            elif kind in _PIECES:
                yield _PIECES[kind], "", line, column
            elif kind is yaml.DocumentStartEvent:
                documents += 1
                if documents == 2:
                    builder.stop(line, column, "a second document begins here.", "Keep one document in a file.")
    except yaml.MarkedYAMLError as error:
        _stop_at(error, text, builder)
    except (yaml.YAMLError, ValueError, OverflowError) as error:
        # The reader's own errors carry no mark, and the loader in pure Python lets a wild \U escape reach chr().
        builder.stop(
            line, column, f"the text after this is not well-formed YAML: {shortened(str(error))}.", _LOOK_AROUND
        )
    if documents == 0:
        builder.stop(
            1, 1, "the document holds nothing but comments.", "Write its keys and values, or leave the file out."
        )


def _node(event: Any, builder: TreeBuilder, line: int, column: int) -> Event:
    """Return the piece of a scalar, a start or an alias; what is refused is read on as if it were plain text."""
    if isinstance(event, yaml.AliasEvent):
        message = f"*{shortened(str(event.anchor))} is an alias; aliases are not read."
        builder.refuse(line, column, message, _WRITE_OUT.format("*"))
        return Piece.QUOTED, f"*{event.anchor}", line, column
    if event.anchor is not None:
        message = f"&{shortened(event.anchor)} is an anchor; anchors are not read."
        builder.refuse(line, column, message, _WRITE_OUT.format("&"))
    if event.tag is not None:
        tag = shortened(event.tag.replace("tag:yaml.org,2002:", "!!"))
        builder.refuse(line, column, f"{tag} is a tag; tags are not read.", _WRITE_OUT.format("!"))
    if isinstance(event, yaml.ScalarEvent):
        return (Piece.QUOTED if event.style else Piece.PLAIN), event.value, line, column
    return _PIECES[type(event)], "", line, column


def _stop_at(error: yaml.MarkedYAMLError, text: str, builder: TreeBuilder) -> NoReturn:
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark is not None else (1, 1)
    problem = error.problem or error.context or "it ends too soon"
    if error.context and error.context_mark is not None:
        problem += f" ({error.context} that begins on line {error.context_mark.line + 1})"
    lines = text.splitlines()
    if line > len(lines):  # the parser may put the end of the text on a line of its own
        line, column = len(lines), len(lines[-1]) + 1
    here = lines[line - 1][column - 1 : column]
    if here == "\t":
        way_out = "A tab stands here; indent with spaces."
    elif here and here in "@`%" and "start any token" in problem:
        way_out = f"Put text that begins with {here} in quotes."
    else:
        way_out = next((way for words, way in _WAYS_OUT.items() if words in problem), _LOOK_AROUND)
    builder.stop(line, column, f"the text is not well-formed YAML here: {problem}.", way_out)
