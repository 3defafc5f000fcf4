"""Old documents: a registry of steps, each of which takes a document's tree from one format to the next.

A document says its format (`format: 1`); one that does not is of the first. When a format changes, its number here
goes up by one and a step is added that writes what the new format asks for, so that an old document keeps its
meaning: a new knob gets the value that the engine used before there was a knob. Steps are never changed afterwards,
and each has a test with a document of its time.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

Tree = Mapping[str, Any]
Step = Callable[[dict[str, Any]], dict[str, Any]]
"""Takes the tree of a document, a copy, and returns it as the next format writes it."""

FIRST_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Formats:
    """The formats of one kind of document: the current one, and by each older one the step to the next."""

    kind: str
    current: int = FIRST_FORMAT
    steps: Mapping[int, Step] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        wanted = set(range(FIRST_FORMAT, self.current))
        assert set(self.steps) == wanted, f"{self.kind}: formats {sorted(wanted)} need one step each"

    def known(self, number: Any) -> int:
        """Return a format number; raises ValueError, with the way out, for one that is not read."""
        if isinstance(number, bool) or not isinstance(number, int) or number < FIRST_FORMAT:
            raise ValueError(f"the format is a whole number from {FIRST_FORMAT}; write format: {self.current}")
        if number > self.current:
            raise ValueError(
                f"this {self.kind} is written in format {number}, and formats up to {self.current} are read here;"
                f" read it with a newer release, or write it in format {self.current}"
            )
        return number

    def upcast(self, tree: Tree) -> Tree:
        """Return a document in the current format; one that is current already, or says no known format, as it is."""
        try:
            number = self.known(tree.get("format", FIRST_FORMAT))
        except ValueError:
            return tree  # the field of the model says so, at its place
        if number == self.current:
            return tree
        upcast = dict(tree)
        for step in range(number, self.current):
            upcast = {**self.steps[step](upcast), "format": step + 1}
        return upcast


POLICY = Formats("policy")
CONVENTIONS = Formats("set of conventions")
