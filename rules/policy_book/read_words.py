"""English number words: twenty-four, a hundred and twenty, two thirds, the third; read from the words of a clause."""

from collections.abc import Sequence
from fractions import Fraction
from types import MappingProxyType
from typing import NamedTuple

_ONES = (
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
)
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
SMALL = MappingProxyType({word: number for number, word in enumerate(_ONES)})
TENS = MappingProxyType({word: 10 * (number + 2) for number, word in enumerate(_TENS)})
SCALES = MappingProxyType({"hundred": 100, "thousand": 1000})
_IRREGULAR = {"one": "first", "two": "second", "three": "third", "five": "fifth", "eight": "eighth", "nine": "ninth",
              "twelve": "twelfth"}  # fmt: skip
ORDINALS = MappingProxyType(
    {_IRREGULAR.get(word, f"{word}th"): number for word, number in SMALL.items() if number}
    | {f"{word[:-1]}ieth": number for word, number in TENS.items()}
    | {"hundredth": 100}
)
PARTS = MappingProxyType({word: number for word, number in ORDINALS.items() if number > 2}
                         | {"half": 2, "quarter": 4})  # fmt: skip
_VULGAR = MappingProxyType({"½": Fraction(1, 2), "¼": Fraction(1, 4), "¾": Fraction(3, 4), "⅓": Fraction(1, 3),
                            "⅔": Fraction(2, 3)})  # fmt: skip
# "a third" is a part only where what follows does not make it the third of a row: a third service, a third party
_AFTER_A_PART = frozenset(
    {
        "of",
        "off",
        "less",
        "more",
        "early",
        "late",
        "either",
        "for",
        "and",
        "or",
        "is",
        "to",
        "with",
        ".",
        ",",
        ";",
        ")",
        ":",
    }
)

_LARGEST_ABOVE = 9  # of a fraction in digits, unless it is of something


class Read(NamedTuple):
    """What a number may mean (1.200 may be either), and the place behind it."""

    values: frozenset[Fraction]
    end: int


def _word(tokens: Sequence[str], at: int) -> str:
    return tokens[at].lower() if at < len(tokens) else ""


def read_number(tokens: Sequence[str], at: int) -> Read | None:
    """Read a number in digits or words from a place on."""
    if at >= len(tokens):
        return None
    return _digits(tokens, at) if tokens[at][0].isdigit() or tokens[at] in _VULGAR else _words(tokens, at)


def _digits(tokens: Sequence[str], at: int) -> Read:
    if tokens[at] in _VULGAR:
        return Read(frozenset({_VULGAR[tokens[at]]}), at + 1)
    values, end = _meanings(tokens[at]), at + 1
    if _word(tokens, end) in _VULGAR:  # 2½
        return Read(frozenset(v + _VULGAR[tokens[end]] for v in values), end + 1)
    part = _over(tokens, at)
    if part is not None:
        return Read(frozenset({part}), at + 3)
    more = _over(tokens, end)
    if more is not None and more < 1:  # 2 1/2
        return Read(frozenset(v + more for v in values), end + 3)
    return _and_a_half(tokens, Read(values, end))


def _over(tokens: Sequence[str], at: int) -> Fraction | None:
    """Return the fraction n/d that stands at a place; 24/36 months are two numbers, 24/36 of it is one."""
    if at + 2 >= len(tokens) or tokens[at + 1] != "/" or not (tokens[at].isdecimal() and tokens[at + 2].isdecimal()):
        return None
    above, below = int(tokens[at]), int(tokens[at + 2])
    if below == 0 or (above > _LARGEST_ABOVE and _word(tokens, at + 3) != "of"):
        return None
    return Fraction(above, below)


def _meanings(text: str) -> frozenset[Fraction]:
    """Return what digits may mean: a comma or a point before three digits may mark thousands, or decimals."""
    plain = text.translate({ord(mark): None for mark in "'’ \u00a0\u202f"})
    as_english = plain.replace(",", "")
    found = {Fraction(as_english)}
    if "," in plain and as_english != plain and not _marks_thousands(plain, ","):
        found = {Fraction(plain.replace(",", "."))} if plain.count(",") == 1 and "." not in plain else found
    if "." in plain and "," not in plain and _marks_thousands(plain, "."):
        found.add(Fraction(plain.replace(".", "")))
    return frozenset(found)


def _marks_thousands(text: str, mark: str) -> bool:
    head, *rest = text.split(mark)
    return 1 <= len(head) <= 3 and all(len(group.partition(".")[0]) == 3 for group in rest)


def _words(tokens: Sequence[str], at: int) -> Read | None:
    total, current, end, read = 0, 0, at, False
    if _word(tokens, at) == "a" and _word(tokens, at + 1) in SCALES:
        current, end = 1, at + 1
    while True:
        word = _word(tokens, end)
        if word in SMALL or word in TENS:
            current += SMALL.get(word, TENS.get(word, 0))
            joined = word in TENS and _word(tokens, end + 1) == "-" and _word(tokens, end + 2) in SMALL
            end += 2 if joined else 1
        elif word == "hundred" and current:
            current, end = current * 100, end + 1
        elif word == "thousand" and current:
            total, current, end = total + current * 1000, 0, end + 1
        elif word == "and" and read and _word(tokens, end - 1) in SCALES and _word(tokens, end + 1) in {*SMALL, *TENS}:
            end += 1
            continue
        else:
            break
        read = True
        if word in SMALL and _word(tokens, end) not in SCALES:
            break
    return _and_a_half(tokens, Read(frozenset({Fraction(total + current)}), end)) if read else None


def _and_a_half(tokens: Sequence[str], number: Read) -> Read:
    if [_word(tokens, number.end + i) for i in range(3)] == ["and", "a", "half"]:
        return Read(frozenset(value + Fraction(1, 2) for value in number.values), number.end + 3)
    return number


def read_part(tokens: Sequence[str], at: int) -> Read | None:
    """Read a part in words: a half, half, one third, two thirds, three-quarters, a sixtieth."""
    first = _word(tokens, at)
    if first == "half":
        return Read(frozenset({Fraction(1, 2)}), at + 1)
    count = 1 if first in ("a", "an") else SMALL.get(first, int(first) if first.isdecimal() else None)
    place = at + 2 if _word(tokens, at + 1) == "-" else at + 1
    name = _word(tokens, place)
    if not count or (name in PARTS) != (count == 1):
        return None
    single = name if count == 1 else "half" if name == "halves" else name.removesuffix("s")
    if single not in PARTS or (count > 1 and single == name):
        return None
    if count == 1 and single not in ("half", "quarter") and _word(tokens, place + 1) not in {*_AFTER_A_PART, ""}:
        return None
    return Read(frozenset({Fraction(count, PARTS[single])}), place + 1)


def read_ordinal(tokens: Sequence[str], at: int) -> tuple[int, int] | None:
    """Read third, 3rd or twenty-fourth: the number and the place behind it."""
    first = _word(tokens, at)
    if first in TENS and _word(tokens, at + 1) == "-" and ORDINALS.get(_word(tokens, at + 2), 10) < 10:
        return TENS[first] + ORDINALS[_word(tokens, at + 2)], at + 3
    if first.isdecimal() and _word(tokens, at + 1) in ("st", "nd", "rd", "th"):
        return int(first), at + 2
    return (ORDINALS[first], at + 1) if first in ORDINALS else None
