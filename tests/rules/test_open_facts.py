"""Worlds: how many are looked at, when a claim is given up, and what is found once for all of them."""

from collections.abc import Callable

import pytest

from rules.open_facts import MOST_WORLDS, OpenFact, World, explore

pytestmark = pytest.mark.fast


def fact(key: str) -> OpenFact:
    return OpenFact(key, "reading", "dealer", f"the reading {key}")


def product_of(*sizes: int) -> Callable[[World], tuple[int, ...]]:
    """Return a claim with one independent open fact of each size."""

    def evaluate(world: World) -> tuple[int, ...]:
        return tuple(world.pick(fact(str(n)), tuple(range(size))) for n, size in enumerate(sizes))

    return evaluate


@pytest.mark.parametrize("sizes", [(MOST_WORLDS,), (20, 20), (2, 200), (4, 10, 10)])
def test_exactly_the_most_worlds_are_all_looked_at(sizes: tuple[int, ...]) -> None:
    explored = explore(product_of(*sizes), {})
    assert explored.complete
    assert len({result for _, result in explored.results}) == MOST_WORLDS == 400


@pytest.mark.parametrize("sizes", [(401,), (20, 21), (2, 3, 67), (7, 7, 7, 7)])
def test_one_world_more_is_given_up(sizes: tuple[int, ...]) -> None:
    explored = explore(product_of(*sizes), {})
    assert not explored.complete
    assert len(explored.results) <= MOST_WORLDS


def test_a_claim_whose_first_way_holds_too_many_is_given_up_at_once() -> None:
    """Of 401 values of one fact, and of 201 of each of two (401 worlds at least), one world is looked at."""
    assert len(explore(product_of(401), {}).results) == 1
    assert len(explore(product_of(201, 201), {}).results) == 1


def test_a_fact_that_only_some_worlds_ask_for_counts_there_alone() -> None:
    """One world without the second fact, and 399 with it: 400 in all."""

    def evaluate(world: World) -> int:
        return world.pick(fact("first"), (0, 1)) and world.pick(fact("second"), tuple(range(399)))

    explored = explore(evaluate, {})
    assert explored.complete
    assert len(explored.results) == 400


def test_candidates_are_found_once_for_each_way_to_a_fact() -> None:
    """A first fact of three values, and a second whose candidates hang on it: found three times for nine worlds."""
    found: list[int] = []

    def evaluate(world: World) -> tuple[int, int]:
        first = world.pick(fact("first"), (0, 1, 2))

        def candidates() -> tuple[int, ...]:
            found.append(first)
            return (10 * first, 10 * first + 1, 10 * first + 2)

        return first, world.pick(fact("second"), candidates)

    explored = explore(evaluate, {})
    assert {result for _, result in explored.results} == {(a, 10 * a + b) for a in range(3) for b in range(3)}
    assert sorted(found) == [0, 1, 2]


def test_what_is_assumed_has_candidates_of_its_own() -> None:
    """What the worlds of a claim share must not carry over from one assumption to another."""

    def evaluate(world: World) -> int:
        base = world.assumed.get("base", 0)
        return world.pick(fact("open"), lambda: (base, base + 1))

    shared: dict[object, object] = {}
    assert [r for _, r in explore(evaluate, {}, shared).results] == [0, 1]
    assert [r for _, r in explore(evaluate, {"base": 5}, shared).results] == [5, 6]
    assert [r for _, r in explore(evaluate, {"open": 9}, shared).results] == [9]
