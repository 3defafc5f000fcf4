"""The worn share of a part as an exact fraction: measured, or an open fact that takes every share that can matter."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from rules.open_facts import OpenFact, World
from rules.policy_book.compiled import CompiledPolicy, wear_edges
from schemas.claim import ClaimLine, Wear
from schemas.frozen import quickly_made

ONE = Fraction(1)
UNWORN = (Fraction(0),)
HAIR = Fraction(1, 10**12)  # a share just before or after a step; no amount can tell it from the step's own side

Floor = Decimal | None
WearShares = Mapping[Floor, tuple[Fraction, ...]]  # by the floor that the worn share is measured against


@quickly_made
@dataclass(frozen=True, slots=True)
class Worn:
    """The worn share of one line under one policy; ``measured`` None: not on file, one of ``shares`` in each world."""

    line: str
    floor: Floor
    measured: Fraction | None
    shares: tuple[Fraction, ...]
    world: World

    def share(self) -> Fraction:
        """Return the worn share (0 new, 1 used up) in this world."""
        if self.measured is not None:
            return self.measured
        question = f"wear:{self.line}"
        words = f"the wear measured on the failed part of line {self.line} (new and left)"
        fact = OpenFact(f"{question}:{self.floor}", "wear", "dealer", words, question)
        return self.shares[self.world.pick(fact, tuple(range(len(self.shares))))]


def worn_share(wear: Wear, floor: Decimal) -> Fraction:
    """Return the worn share of the usable measure: (new - left) / (new - floor), 0 to 1.

    >>> worn_share(Wear(new=Decimal(46), left=Decimal(24)), Decimal(2))
    Fraction(1, 2)
    """
    usable = Fraction(wear.new) - Fraction(floor)
    if usable <= 0:
        return ONE
    return min(max((Fraction(wear.new) - Fraction(wear.left)) / usable, Fraction(0)), ONE)


def worn_of(policy: CompiledPolicy, line: ClaimLine, shares: WearShares, world: World) -> Worn:
    """Return how worn the part of a line is as ``policy`` measures it."""
    floor = _floor(policy)
    measured = None if line.wear is None or floor is None else worn_share(line.wear, floor)
    return Worn(line.line, floor, measured, shares.get(floor, UNWORN), world)


def wear_shares(policies: Sequence[CompiledPolicy]) -> WearShares:
    """Return for each floor the worn shares worth trying, least worn first: each side of every edge, and both ends."""
    edges: dict[Floor, set[Fraction]] = {}
    for policy in policies:
        edges.setdefault(_floor(policy), set()).update(wear_edges(policy.terms))
    return {floor: _each_side(found) for floor, found in edges.items()}


def _floor(policy: CompiledPolicy) -> Floor:
    return None if policy.terms.prorating is None else policy.terms.prorating.wear_floor


def _each_side(edges: Iterable[Fraction]) -> tuple[Fraction, ...]:
    found = {Fraction(0), ONE, *(edge + step for edge in edges for step in (-HAIR, Fraction(0), HAIR))}
    return tuple(sorted(share for share in found if 0 <= share <= 1))
