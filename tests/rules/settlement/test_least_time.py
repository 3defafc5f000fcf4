"""Combined times that hang together: the best of all ways up to a bound, beyond it the most saved first."""

from collections.abc import Iterator
from itertools import combinations, pairwise
from string import ascii_lowercase

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.settlement.least_time import MOST_TRIED, Saving, most_saved

pytestmark = pytest.mark.fast


def savings_of(**saved: int) -> list[Saving]:
    """Return savings by the operations' letters, in the order of their names."""
    return [(saved[letters], frozenset(letters)) for letters in sorted(saved)]


def chain(length: int) -> list[Saving]:
    """Return neighbours of a chain: a-b and c-d save 3, b-c saves 4, every later pair 1."""
    letters = ascii_lowercase[:length]
    saved = {"ab": 3, "bc": 4, "cd": 3}
    return savings_of(**{one + two: saved.get(one + two, 1) for one, two in pairwise(letters)})


def taken(savings: list[Saving]) -> list[str]:
    return ["".join(sorted(savings[place][1])) for place, _ in most_saved(savings)]


def test_twelve_that_hang_together_are_combined_in_the_best_of_all_ways() -> None:
    assert taken(chain(12)) == ["ab", "cd", "ef", "gh", "ij", "kl"]
    assert all(tried for _, tried in most_saved(chain(12)))


def test_of_thirteen_the_most_saved_comes_first() -> None:
    assert taken(chain(13)) == ["bc", "de", "fg", "hi", "jk", "lm"]
    assert not any(tried for _, tried in most_saved(chain(13)))


def test_what_does_not_hang_together_is_bounded_apart() -> None:
    """Thirteen in a chain and two more beside them: the two are still tried in all ways."""
    savings = sorted([*chain(13), (2, frozenset("xy")), (1, frozenset("xyz"))], key=lambda each: sorted(each[1]))
    assert taken(savings) == ["bc", "de", "fg", "hi", "jk", "lm", "xy"]
    assert most_saved(savings)[-1][1]


def test_of_two_ways_that_save_the_same_the_names_decide() -> None:
    assert taken(savings_of(ab=2, bc=2, cd=2, ad=2)) == ["ab", "cd"]
    assert taken(savings_of(ab=5, bc=2, ac=5)) == ["ab"]


def test_every_pair_of_many_operations_takes_one_each() -> None:
    letters = ascii_lowercase
    savings = savings_of(**{one + two: 1 for one, two in combinations(letters, 2)})
    assert taken(savings) == [letters[place : place + 2] for place in range(0, 26, 2)]


def ways(savings: list[Saving], place: int = 0, used: frozenset[str] = frozenset()) -> Iterator[tuple[int, ...]]:
    """Yield all ways to take savings that share no operation."""
    if place == len(savings):
        yield ()
        return
    yield from ways(savings, place + 1, used)
    if not savings[place][1] & used:
        yield from ((place, *rest) for rest in ways(savings, place + 1, used | savings[place][1]))


@settings(max_examples=200, deadline=None)
@given(
    st.dictionaries(st.frozensets(st.sampled_from("abcdefgh"), min_size=2, max_size=3), st.integers(1, 4), max_size=9)
)
def test_up_to_the_bound_it_is_the_first_of_the_best_of_all_ways(saved: dict[frozenset[str], int]) -> None:
    savings = [(saved[members], members) for members in sorted(saved, key=sorted)]
    best = min(ways(savings), key=lambda way: (-sum(savings[place][0] for place in way), way))
    assert MOST_TRIED >= 8
    assert tuple(place for place, _ in most_saved(savings)) == best
