"""Worlds: how many are looked at, when a claim is given up, what is found once for all, and what is asked for."""

from collections.abc import Callable
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.open_facts import MOST_WORLDS, OpenFact, World, explore, facts_that_matter

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


# --- Which facts are asked for --------------------------------------------------------------------


def asked_for(evaluate: Callable[[World], object]) -> list[str]:
    return [fact.key for fact in facts_that_matter(explore(evaluate, {}), lambda result: result)]


def test_of_two_facts_that_matter_only_together_both_are_asked_for() -> None:
    """Each of the two first values leaves both results, and so does each of the others; which, they say together."""
    assert asked_for(lambda world: world.pick(fact("a"), (0, 1)) == world.pick(fact("b"), (0, 1))) == ["a", "b"]


def test_a_fact_that_moves_the_limit_of_a_later_one_is_asked_for() -> None:
    """Paid up to 1 or up to 2 of three values of the second fact: at 1 it is the first that decides."""

    def evaluate(world: World) -> bool:
        limit = world.pick(fact("limit"), (1, 2))
        return world.pick(fact("hours"), (0, 1, 2)) < limit

    assert asked_for(evaluate) == ["limit", "hours"]


def test_a_fact_that_changes_nothing_beside_any_values_of_the_others_is_not_asked_for() -> None:
    def evaluate(world: World) -> bool:
        world.pick(fact("beside"), (0, 1))
        return world.pick(fact("a"), (0, 1)) == world.pick(fact("b"), (0, 1))

    assert asked_for(evaluate) == ["a", "b"]


def test_worlds_with_other_values_of_a_later_fact_are_not_compared() -> None:
    """The second fact is 0 or 1, or else 5 or 6: no value of it is there on which the first could decide."""

    def evaluate(world: World) -> int:
        first = world.pick(fact("first"), (0, 1))
        return world.pick(fact("second"), (5 * first, 5 * first + 1)) % 2  # 0, 1 and 1, 0

    assert asked_for(evaluate) == ["second"]


def test_facts_of_one_side_only_may_hang_together_and_decide_nothing_on_the_other() -> None:
    """Hours on the first or on the second day, whichever the term begins on: that the days differ decides nothing."""

    def evaluate(world: World) -> int:
        day = world.pick(fact("day"), (1, 2))
        return world.pick(fact(f"hours on day {day}"), (0, 400))

    assert asked_for(evaluate) == ["hours on day 1", "hours on day 2"]


def test_beside_a_fact_of_both_sides_one_of_one_side_only_counts() -> None:
    """A long life has a second service; with the first one done, it is the life that says whether that one decides."""

    def evaluate(world: World) -> bool:
        is_long = world.pick(fact("life"), (0, 1))
        return bool(world.pick(fact("first"), (1, 0)) and (not is_long or world.pick(fact("second"), (1, 0))))

    assert asked_for(evaluate) == ["life", "first", "second"]


TABLES = st.lists(st.integers(0, 2), min_size=12, max_size=12)
SIZES = {"a": 2, "b": 3, "c": 2}
CASES = [dict(zip(SIZES, values, strict=True)) for values in product(*map(range, SIZES.values()))]


@given(TABLES)
def test_exactly_those_facts_are_asked_for_that_by_themselves_change_the_result_in_some_case(table: list[int]) -> None:
    """Held against every combination of the values of three facts, whose results are those of a table."""

    def result_of(case: dict[str, int]) -> int:
        return table[CASES.index(case)]

    def evaluate(world: World) -> int:
        return result_of({key: world.pick(fact(key), tuple(range(size))) for key, size in SIZES.items()})

    expected = [
        key
        for key, size in SIZES.items()
        if any(result_of(case) != result_of({**case, key: value}) for case in CASES for value in range(size))
    ]
    assert sorted(asked_for(evaluate)) == expected


TREES = st.recursive(st.integers(0, 2), lambda trees: st.tuples(st.sampled_from("abcd"), trees, trees))


def end_of(tree: Any, value_of: Callable[[str], int]) -> int:
    """Follow a tree of facts, each with what comes after its value 0 and after its value 1, to its result."""
    while isinstance(tree, tuple):
        tree = tree[1 + value_of(tree[0])]
    return int(tree)


@given(TREES)
def test_nothing_is_asked_for_that_changes_no_result(tree: Any) -> None:
    """Held against every combination of two values of each of four facts, of which not all come up in every world."""
    matter = set()
    for values in product((0, 1), repeat=4):
        case = dict(zip("abcd", values, strict=True))
        for name in case:
            other = {**case, name: 1 - case[name]}
            if end_of(tree, case.__getitem__) != end_of(tree, other.__getitem__):
                matter.add(name)
    found = set(asked_for(lambda world: end_of(tree, lambda key: world.pick(fact(key), (0, 1)))))
    assert found <= matter
    assert found or not matter
