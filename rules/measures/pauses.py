"""Days that do not run: storage periods in which a calendar limb pauses (proleptic ordinals)."""

from collections.abc import Iterable, Sequence


def merged(storage: Iterable[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """Return the storage periods in order, overlapping ones as one (a period that ends before it begins is none)."""
    merged: list[tuple[int, int]] = []
    for since, until in sorted(s for s in storage if s[0] < s[1]):
        if merged and since <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], until))
        else:
            merged.append((since, until))
    return tuple(merged)


def running_after(day: int, running: int, pauses: Sequence[tuple[int, int]]) -> int:
    """Return the day ``running`` days after ``day``; the days of a pause that begins before it do not count."""
    reached = day + running
    for since, until in pauses:
        begin = max(since, day)
        if until > day and begin < reached:
            reached += until - begin
    return reached


def running_before(day: int, running: int, pauses: Sequence[tuple[int, int]]) -> int:
    """Return the day ``running`` days before ``day``; the days of a pause that ends after it do not count."""
    reached = day - running
    for since, until in reversed(pauses):
        end = min(until, day)
        if since < day and end > reached:
            reached -= end - since
    return reached
