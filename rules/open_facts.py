"""Facts that are missing or bounded, and the worlds in which each takes one of the values that matter.

A world gives every open fact one concrete value, so everything after it calculates with plain numbers. The parent
explores all worlds: a line on which they agree is decided, and a fact that changes nothing is never asked for.

Where there are too many worlds, the services are looked at in outline: of each duty only what may come of it, whatever
its records say. Every world is one of those, or like one of them in all that money hangs on; so what all of them pay
is certain, though which record would decide the rest is not told apart.
"""

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any, Literal, TypeVar

MOST_WORLDS = 400
OUTLINE = "outline:"  # how the key of a fact begins that stands for all that may come of several, in outline

T = TypeVar("T")
Asks = Literal["dealer", "person"]
Way = tuple[tuple[str, int], ...]  # the facts of a world by key, each with its value, in the order they came up
Leaf = tuple[Way, Any]  # a world, and what a line comes to in it
After = tuple[dict[str, int], Any]  # the same, of the facts that came up after one of them, without an order
Details = dict[str, list[Callable[[], str]]]  # the due points behind a joint question, written only where it is asked


def asked_where(handling: Literal["need_info", "refer"]) -> Asks:
    """Return who is asked where facts contradict one another, as the conventions handle that."""
    return "person" if handling == "refer" else "dealer"


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
        "use",
        "region",
        "owner",
    ]
    asks: Asks
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
        results.append((tuple((fact, world.values[fact.key]) for fact, _, _ in world.taken), result))
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
    """Return the facts whose value changes ``signature`` of the result, in the order they came up.

    One that changes it only beside certain values of others is asked for with these, not in a second round.
    """
    matter: dict[str, OpenFact] = {}
    by_prefix: dict[Way, dict[int, list[Leaf]]] = {}
    facts: dict[Way, OpenFact] = {}
    for path, result in explored.results:
        seen = signature(result)
        way = tuple([(fact.key, value) for fact, value in path])
        for depth, (fact, value) in enumerate(path):
            prefix = way[:depth]
            by_prefix.setdefault(prefix, {}).setdefault(value, []).append((way, seen))
            facts[prefix] = fact
    for prefix, branches in by_prefix.items():
        question = facts[prefix].question
        if question.key not in matter and _matters(tuple(branches.values()), len(prefix) + 1):
            matter[question.key] = question
    return tuple(matter.values())


def _matters(branches: Sequence[Sequence[Leaf]], depth: int) -> bool:
    """Return whether the values of one fact lead to different results, of themselves or beside certain other values."""
    outcomes = [{seen for _, seen in branch} for branch in branches]
    if any(seen != outcomes[0] for seen in outcomes):
        return True
    if len(outcomes[0]) == 1 or len(branches) == 1:
        return False
    after = [[(dict(way[depth:]), seen) for way, seen in branch] for branch in branches]
    keys = [dict.fromkeys(key for known, _ in branch for key in known) for branch in after]
    return any(
        _are_apart(after[one], after[other], tuple(key for key in keys[one] if key in keys[other]))
        for one, other in combinations(range(len(after)), 2)
    )


def _are_apart(one: Sequence[After], other: Sequence[After], keys: tuple[str, ...]) -> bool:
    """Return whether two branches differ where the facts ``keys``, which come up in both, have the same values in both.

    Of what comes up in one alone nothing says how it hangs together with the rest: its results are taken together.
    """
    results = {seen for _, seen in one}
    if results != {seen for _, seen in other}:
        return True
    if len(results) == 1 or not keys:
        return False
    key, rest = keys[0], keys[1:]
    values = {known[key] for known, _ in one if key in known}
    if not values:
        return _are_apart(one, other, rest)
    for value in values:
        with_it = [leaf for leaf in one if leaf[0].get(key, value) == value]
        as_well = [leaf for leaf in other if leaf[0].get(key, value) == value]
        if as_well and _are_apart(with_it, as_well, rest):
            return True
    return False
