"""Facts that are missing or bounded, and the worlds in which each takes one of the values that matter.

A world gives every open fact one concrete value, so everything after it calculates with plain numbers. The parent
explores all worlds: a line on which they agree is decided, and a fact that changes nothing is never asked for.

Where there are too many worlds, the services are looked at in outline: of each duty only what may come of it, whatever
its records say. Every world is one of those, or like one of them in all that money hangs on; so what all of them pay
is certain, though which record would decide the rest is not told apart.
"""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, TypeVar

MOST_WORLDS = 400
OUTLINE = "outline:"  # how the key of a fact begins that stands for all that may come of several, in outline

T = TypeVar("T")
Details = dict[str, list[Callable[[], str]]]  # the due points behind a joint question, written only where it is asked


@dataclass(frozen=True, slots=True)
class OpenFact:
    """One open fact: what it is about, whom to ask, and the words of the question.

    Facts that one question asks for together name its key in ``asked_with``; assuming that key assumes them all.
    """

    key: str
    about: Literal[
        "services",
        "reading",
        "cause",
        "wear",
        "start",
        "dates",
        "evidence",
        "price",
        "alteration",
        "inspection",
        "position",
        "component",
        "operation",
    ]
    asks: Literal["dealer", "person"]
    words: str
    asked_with: str | None = None

    @property
    def question(self) -> "OpenFact":
        """The fact as it is asked for: itself, or the question it belongs to."""
        return self if self.asked_with is None else replace(self, key=self.asked_with, asked_with=None)


@dataclass(slots=True)
class World:
    """The values taken so far; ``picks`` replays a path and then takes the first candidate of each new fact.

    ``shared`` holds what is the same in every world of one claim (see ``once``). In ``outline`` no service record is
    looked at: a duty takes each state that its terms know.
    """

    assumed: Mapping[str, int]
    picks: tuple[int, ...] = ()
    shared: dict[Hashable, Any] = field(default_factory=dict)
    taken: list[tuple[OpenFact, int, int]] = field(default_factory=list)
    values: dict[str, int] = field(default_factory=dict)
    details: Details = field(default_factory=dict)
    outline: bool = False

    def pick(self, fact: OpenFact, candidates: tuple[int, ...] | Callable[[], tuple[int, ...]]) -> int:
        """Return the value of ``fact`` in this world, one of ``candidates`` (most favourable first where one is).

        Candidates that are dear to find are given as a callable; it is called once for all worlds that reach the fact
        by the same way.
        """
        if fact.key in self.assumed:
            return self.assumed[fact.key]
        if fact.asked_with is not None and fact.asked_with in self.assumed:
            return self.assumed[fact.asked_with]
        if fact.key in self.values:
            return self.values[fact.key]
        if callable(candidates):
            candidates = self._found_once(fact, candidates)
        if len(candidates) == 1:
            return candidates[0]
        depth = len(self.taken)
        choice = self.picks[depth] if depth < len(self.picks) else 0
        self.taken.append((fact, choice, len(candidates)))
        self.values[fact.key] = candidates[choice]
        return candidates[choice]

    def _found_once(self, fact: OpenFact, find: Callable[[], tuple[int, ...]]) -> tuple[int, ...]:
        # A world is determined by what is assumed and by the choices on its way: whatever a stage knows of it when it
        # asks for a fact, it knows in every world that came the same way.
        way = tuple([choice for _, choice, _ in self.taken])
        key = ("candidates", fact.key, way, tuple(sorted(self.assumed.items())), self.outline)
        return self.once(key, find)

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what ``make`` gives, made in the claim's first world only; it must be the same in all of them."""
        shared = self.shared
        if key not in shared:
            shared[key] = make()
        return shared[key]  # type: ignore[no-any-return]

    def known(self, key: str, value: bool) -> bool:
        """Return a known fact, unless a remedy assumes otherwise."""
        return bool(self.assumed.get(key, value))


def told(details: Details, key: str) -> list[str]:
    """Return the due points behind a joint question, each once."""
    return list(dict.fromkeys(words() for words in details.get(key, ())))


@dataclass(frozen=True, slots=True)
class Explored:
    """The results of all worlds; ``complete`` is false where there were too many, and only the first were looked at.

    Then ``outline`` holds those of the services in outline, unless these are too many as well.
    """

    results: tuple[tuple[tuple[tuple[OpenFact, int], ...], Any], ...]
    complete: bool
    outline: "Explored | None" = None


def explore(
    evaluate: Callable[[World], T],
    assumed: Mapping[str, int],
    shared: dict[Hashable, Any] | None = None,
    *,
    in_outline: bool = False,
) -> Explored:
    """Evaluate every world, depth first; a claim without open facts has exactly one.

    ``shared`` is what the worlds of this claim share, also from one exploration to the next; ``in_outline`` looks at no
    others than those of the services in outline.
    """
    shared = {} if shared is None else shared
    found = _explored(evaluate, assumed, shared, outline=in_outline)
    if found.complete or in_outline:
        return found
    outline = _explored(evaluate, assumed, shared, outline=True)
    return Explored(found.results, complete=False, outline=outline if outline.complete else None)


def _explored(
    evaluate: Callable[[World], Any], assumed: Mapping[str, int], shared: dict[Hashable, Any], *, outline: bool
) -> Explored:
    """Evaluate every world until there are certainly more than ``MOST_WORLDS``.

    Every choice not yet followed, on the way to the world just evaluated, holds a world at least.
    """
    results: list[tuple[tuple[tuple[OpenFact, int], ...], Any]] = []
    picks: tuple[int, ...] | None = ()
    while picks is not None:
        world = World(assumed, picks, shared, outline=outline)
        result = evaluate(world)
        results.append((tuple((fact, choice) for fact, choice, _ in world.taken), result))
        if len(results) + sum(choices - 1 - choice for _, choice, choices in world.taken) > MOST_WORLDS:
            return Explored(tuple(results), complete=False)
        picks = _next_path(world.taken)
    return Explored(tuple(results), complete=True)


def _next_path(taken: list[tuple[OpenFact, int, int]]) -> tuple[int, ...] | None:
    """Return the next path in depth-first order, or None after the last."""
    path = [choice for _, choice, _ in taken]
    for depth in range(len(taken) - 1, -1, -1):
        if path[depth] + 1 < taken[depth][2]:
            return (*path[:depth], path[depth] + 1)
    return None


def facts_that_matter(explored: Explored, signature: Callable[[Any], Any]) -> tuple[OpenFact, ...]:
    """Return the facts whose value changes ``signature`` of the result, in the order they came up."""
    matter: dict[str, OpenFact] = {}
    by_prefix: dict[tuple[tuple[str, int], ...], dict[int, set[Any]]] = {}
    facts: dict[tuple[tuple[str, int], ...], OpenFact] = {}
    for path, result in explored.results:
        seen = signature(result)
        prefix: tuple[tuple[str, int], ...] = ()
        for fact, choice in path:
            by_prefix.setdefault(prefix, {}).setdefault(choice, set()).add(seen)
            facts[prefix] = fact
            prefix = (*prefix, (fact.key, choice))
    for prefix, branches in by_prefix.items():
        if len({frozenset(outcomes) for outcomes in branches.values()}) > 1:
            question = facts[prefix].question
            matter.setdefault(question.key, question)
    return tuple(matter.values())
