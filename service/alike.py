"""Which known word or serial may be meant by one that is almost the same."""

import re
from collections.abc import Iterable
from difflib import get_close_matches

CLOSE = 0.75  # how alike two words are before one is taken for the other mistyped, from 0 to 1


def bare(text: str) -> str:
    """Return text without what hands leave out or add: case, marks, leading zeros, the letters O and I.

    >>> bare("QF6O-0771") == bare("qf60 771")
    True
    """
    groups = re.findall(r"[^\W\d_]+|\d+", text.upper().translate({ord("O"): "0", ord("I"): "1"}))
    return "".join(group.lstrip("0") or "0" for group in groups)


def meant(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that is the same written otherwise, else the one that comes nearest, None where none does.

    >>> meant("comercial", ["commercial", "rental"]), meant("De", ["DE", "AT"]), meant("DK", ["DE", "AT"])
    ('commercial', 'DE', None)
    """
    words = sorted(known)
    folded = {one.casefold(): one for one in reversed(words)}
    near = get_close_matches(word.casefold(), folded, n=1, cutoff=CLOSE)
    return written_otherwise(word, words) or (folded[near[0]] if near else None)


def written_otherwise(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that is the same but for what hands leave out or add, None where there is none."""
    same = bare(word)
    return next((one for one in sorted(known) if same and bare(one) == same), None)
