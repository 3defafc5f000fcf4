"""Which combined times a visit takes where several share an operation: those that save the most time, within bounds."""

from collections.abc import Iterator, Sequence

MOST_TRIED = 12  # operations that hang together; all ways to combine so many are tried

Saving = tuple[int, frozenset[str]]  # hundredths of an hour saved, and the operations of a combined time


def most_saved(savings: Sequence[Saving]) -> tuple[tuple[int, bool], ...]:
    """Return the places of combined times, none sharing an operation, that save the most; of equal ways the first.

    Operations hang together where combined times link them. Of more than ``MOST_TRIED`` that do, the time that saves
    most is taken first, the first of equal ones, then the next that shares no operation with it, and so on: the number
    of all ways grows too fast. With each place stands whether all ways were tried.
    """
    chosen: list[tuple[int, bool]] = []
    for places in _hanging_together(savings):
        tried = len(frozenset().union(*(savings[place][1] for place in places))) <= MOST_TRIED
        taken = _of_all_ways(savings, places) if tried else _one_by_one(savings, places)
        chosen += [(place, tried) for place in taken]
    return tuple(sorted(chosen))


def _hanging_together(savings: Sequence[Saving]) -> Iterator[list[int]]:
    """Yield the places of combined times that hang together by their operations."""
    left = list(range(len(savings)))
    while left:
        members, found = savings[left[0]][1], [left[0]]
        left = left[1:]
        while linked := [place for place in left if savings[place][1] & members]:
            members = members.union(*(savings[place][1] for place in linked))
            found += linked
            left = [place for place in left if place not in linked]
        yield sorted(found)


def _one_by_one(savings: Sequence[Saving], places: Sequence[int]) -> list[int]:
    taken: list[int] = []
    settled: frozenset[str] = frozenset()
    for place in sorted(places, key=lambda place: (-savings[place][0], place)):
        if not savings[place][1] & settled:
            taken.append(place)
            settled |= savings[place][1]
    return taken


def _of_all_ways(savings: Sequence[Saving], places: Sequence[int]) -> tuple[int, ...]:
    """Return the best of all ways.

    The first operation not yet settled is left alone or goes into one of its combined times, so each choice is made
    once for all ways that leave the same operations.
    """
    settled: dict[frozenset[str], tuple[int, tuple[int, ...]]] = {}

    def best(left: frozenset[str]) -> tuple[int, tuple[int, ...]]:
        inside = [place for place in places if savings[place][1] <= left]
        if not inside:
            return 0, ()
        if left not in settled:
            left_in_times = frozenset().union(*(savings[place][1] for place in inside))
            first = min(left_in_times)
            ways = [best(left_in_times - {first})]
            for place in inside:
                saved, members = savings[place]
                if first in members:
                    more, others = best(left_in_times - members)
                    ways.append((saved + more, (place, *others)))
            settled[left] = min(ways, key=lambda way: (-way[0], way[1]))
        return settled[left]

    return best(frozenset().union(*(savings[place][1] for place in places)))[1]
