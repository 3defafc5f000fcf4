"""The worn share of a part as an exact fraction: measured, or an open fact that takes every share that can matter.

A wear that cannot be contradicts itself: it counts as not measured, and is asked for as the conventions say.
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from rules.open_facts import Asks, OpenFact, World, asked_where
from rules.policy_book.compiled import Change, CompiledPolicy, wear_edges
from schemas.claim import ClaimLine, Wear
from schemas.frozen import quickly_made

ONE = Fraction(1)
UNWORN = (Fraction(0),)
HAIR = Fraction(1, 10**12)  # a share just before or after a step; no amount can tell it from the step's own side

SIDES: Mapping[Change, tuple[Fraction, ...]] = {
    "just_past": (Fraction(0), HAIR),
    "from_there_on": (-HAIR, Fraction(0)),
    "bends": (Fraction(0),),
}

Floor = Decimal | None
WearShares = Mapping[Floor, tuple[Fraction, ...]]  # by the floor that the worn share is measured against


@quickly_made
@dataclass(frozen=True, slots=True)
class WearOnFile:
    """The wear stated for what a line is about; ``stated`` None: not on file.

    Where it is not on file, or cannot be, it is asked for with ``lines`` together.
    """

    stated: Wear | None
    lines: tuple[str, ...]


@quickly_made
@dataclass(frozen=True, slots=True)
class Worn:
    """The worn share of one line under one policy; ``measured`` None: not known, one of ``shares`` in each world."""

    lines: tuple[str, ...]  # that wait for the same measure
    floor: Floor
    measured: Fraction | None
    shares: tuple[Fraction, ...]
    world: World
    doubt: str = ""  # why what is stated cannot be
    asks: Asks = "dealer"

    def share(self) -> Fraction:
        """Return the worn share (0 new, 1 used up) in this world."""
        if self.measured is not None:
            return self.measured
        question = f"wear:{self.lines[0]}"
        lines = f"line {self.lines[0]}" if len(self.lines) == 1 else f"lines {', '.join(self.lines)}"
        words = f"the wear measured on the failed part of {lines} (new and left){self.doubt}"
        fact = OpenFact(f"{question}:{self.floor}", "wear", self.asks, words, question)
        return self.shares[self.world.pick(fact, tuple(range(len(self.shares))))]


NOT_COUNTED = Worn((), None, Fraction(0), UNWORN, World({}))  # under terms that never look at wear


def worn_share(wear: Wear, floor: Decimal) -> Fraction:
    """Return the worn share of the usable measure: (new - left) / (new - floor), 0 to 1, of a wear that can be.

    >>> worn_share(Wear(new=Decimal(46), left=Decimal(24)), Decimal(2))
    Fraction(1, 2)
    """
    return min((Fraction(wear.new) - Fraction(wear.left)) / (Fraction(wear.new) - Fraction(floor)), ONE)


def cannot_be(wear: Wear, floor: Decimal) -> str:
    """Return why a stated wear cannot be, empty where it can: more left than new, or none to wear when new.

    A part may be worn past the floor, but it was not made so.

    >>> cannot_be(Wear(new=Decimal(46), left=Decimal(50)), Decimal(2))
    ': 50 left is more than 46 new'
    """
    if wear.left > wear.new:
        return f": {wear.left} left is more than {wear.new} new"
    if wear.new <= floor:
        return f": {wear.new} new is no more than {floor}, at which the part counts as used up"
    return ""


def wear_on_file(lines: Iterable[tuple[ClaimLine, Hashable, bool]]) -> dict[str, WearOnFile]:
    """Return the wear stated for each line, by line; each comes with what it is about, and whether that may be several.

    One thing has one wear: lines about it that state none wait for one answer, and work on it, or whatever else is no
    part, takes what its parts lines state, where each of them states the same. A part never takes it from another line:
    it may be a piece of the thing that wears otherwise. Of several things each part waits for an answer of its own.
    """
    alike: dict[Hashable, list[tuple[ClaimLine, bool]]] = {}
    for line, about, several in lines:
        alike.setdefault(about, []).append((line, several))
    found: dict[str, WearOnFile] = {}
    for together in alike.values():
        of_parts = [line.wear for line, _ in together if line.item == "parts"]
        same = of_parts[0] if of_parts and all(wear == of_parts[0] for wear in of_parts) else None
        of_one: dict[Wear | None, list[str]] = {}  # the lines of the one thing, by the wear that they state
        for line, several in together:
            is_part = line.item == "parts"
            stated = line.wear or (None if is_part else same)
            if is_part and several:
                found[line.line] = WearOnFile(stated, (line.line,))
            else:
                of_one.setdefault(stated, []).append(line.line)
        found |= {line: WearOnFile(wear, tuple(lines)) for wear, lines in of_one.items() for line in lines}
    return found


def worn_of(policy: CompiledPolicy, line: ClaimLine, wear: WearOnFile | None, shares: WearShares, world: World) -> Worn:
    """Return how worn the part of a line is as ``policy`` measures it; ``wear`` None: as the line alone states it."""
    if not policy.counts_wear:
        return NOT_COUNTED
    floor = _floor(policy)
    stated, lines = (line.wear, (line.line,)) if wear is None else (wear.stated, wear.lines)
    if stated is None or floor is None:
        return Worn(lines, floor, None, shares.get(floor, UNWORN), world)
    doubt = cannot_be(stated, floor)
    if not doubt:
        return Worn(lines, floor, worn_share(stated, floor), UNWORN, world)
    asks = asked_where(policy.conventions.facts.contradicts_itself)
    return Worn(lines, floor, None, shares.get(floor, UNWORN), world, doubt, asks)


def wear_shares(policies: Sequence[CompiledPolicy]) -> WearShares:
    """Return for each floor the worn shares worth trying, least worn first: each side of every change, and both ends.

    Between two of them every curve is straight and no limit or step lies, so that no share in between gives more or
    less than both of them.
    """
    edges: dict[Floor, set[tuple[Fraction, Change]]] = {}
    for policy in policies:
        edges.setdefault(_floor(policy), set()).update(wear_edges(policy.terms))
    return {floor: _each_side(found) for floor, found in edges.items()}


def _floor(policy: CompiledPolicy) -> Floor:
    return None if policy.terms.prorating is None else policy.terms.prorating.wear_floor


def _each_side(edges: Iterable[tuple[Fraction, Change]]) -> tuple[Fraction, ...]:
    found = {Fraction(0), ONE, *(edge + step for edge, change in edges for step in SIDES[change])}
    return tuple(sorted(share for share in found if 0 <= share <= 1))
