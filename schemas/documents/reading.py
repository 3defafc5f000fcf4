"""Reading a text into a tree.

Scalars read alike in both notations. Only `true` and `false` are yes or no, so that `on: 2026-05-11` keeps its key;
whole numbers are decimal digits; a number with a point is a Decimal, never a float; dates, `1e3`, `.inf`, `007`, `+5`
and `1_000` stay text. Keys are always text. YAML's anchors, aliases, merge keys and tags are refused, and so are
doubled keys, control characters (escaped ones too) and a document past the limits in `schemas.documents.tree`.
"""

import re

from schemas.documents.json_text import read_json
from schemas.documents.tree import MOST_CHARACTERS, UNPRINTABLE, ParsedDocument, TreeBuilder, unprintable
from schemas.documents.yaml_text import yaml_events

_JSON_START = re.compile(r"[ \t\r\n]*[{\[]")


def parse_document(text: str, name: str) -> ParsedDocument:
    """Return the tree of a YAML or JSON text; `name` is the file name that messages show.

    A name that ends in `.json` demands JSON. Under any other name a text that happens to be JSON is read as JSON, which
    is several times as fast; the tree is the same, except that JSON refuses `1e3` and `NaN`, which in YAML are text.
    Raises DocumentRefused, and nothing else, whatever the text.

    >>> parse_document("policy: powertrain\\nterm: {months: 36, share: 0.50}", "powertrain/2.yaml").tree
    {'policy': 'powertrain', 'term': {'months': 36, 'share': Decimal('0.50')}}
    """
    builder = TreeBuilder(name)
    text = text.removeprefix("\ufeff")
    _check_characters(text, builder)
    demanded = name.lower().endswith(".json")
    if demanded or _JSON_START.match(text):
        document = read_json(text, builder, demanded)
        if document is not None:
            return document
    places = builder.build(yaml_events(text, builder))
    return ParsedDocument(name, places.tree, lambda: places)


def _check_characters(text: str, builder: TreeBuilder) -> None:
    if len(text) > MOST_CHARACTERS:
        message = f"the text holds {len(text):,} characters; at most {MOST_CHARACTERS:,} are read."
        builder.stop(1, 1, message, "Split it into several documents.")
    if (bad := UNPRINTABLE.search(text)) is not None:
        at = bad.start()
        builder.stop(text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at), *unprintable(bad[0]))
    if not text.strip():
        builder.stop(1, 1, "the document is empty.", "Write its keys and values, or leave the file out.")
