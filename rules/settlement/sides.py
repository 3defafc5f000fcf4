"""The side of a paired component that a line is about, where money depends on which one it was."""

from collections.abc import Sequence
from typing import get_args

from rules.open_facts import OpenFact
from rules.selection.select import Subject, typed_position
from rules.settlement.desk import Desk
from schemas.machine import Position

SIDES: tuple[Position, ...] = get_args(Position)


def sides_of(subjects: Sequence[Subject], desk: Desk) -> dict[str, tuple[Position, ...]]:
    """Return the sides of each component that these lines are about, as far as they are stated or on file."""
    found: dict[str, set[Position]] = {}
    for subject in subjects:
        found.setdefault(subject.component or "", set()).add(stated_side(subject, desk))
    return {component: tuple(sorted(sides - {"none"})) for component, sides in found.items()}


def side_among(subject: Subject, sides: Sequence[Position], desk: Desk) -> Position:
    """Return the side of a line; one that is not stated is that of the others, and an open fact where they differ."""
    side = stated_side(subject, desk)
    if side != "none" or not sides:
        return side
    line, component = subject.line.line, (subject.component or "").replace("_", " ")
    words = f"which {component} line {line} is about: {' or '.join(sides)}"
    fact = OpenFact(f"position:line:{line}", "position", "dealer", words)
    return SIDES[desk.world.pick(fact, tuple(SIDES.index(side) for side in sides))]


def stated_side(subject: Subject, desk: Desk) -> Position:
    """Return the side of the component on file that failed, else the one typed; ``none`` where neither is there."""
    if subject.fitted is not None and subject.fitted.position != "none":
        return subject.fitted.position
    return typed_position(subject.line, desk.claim_file.claim, subject.component)
