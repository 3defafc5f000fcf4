"""Which versions of a policy may govern by themselves, and on which days; two may never, and none should be missed.

A version that another one supersedes decides nothing new: neither its own days nor its overlaps count any more, but
those of the versions that took its place.
"""

from collections.abc import Iterator, Mapping
from datetime import date, timedelta

from rules.plain import day_text
from schemas.policy.document import CoveragePolicy
from schemas.policy.term import InForce
from schemas.quantities import VersionRef

Documents = Mapping[VersionRef, CoveragePolicy]
A_DAY = timedelta(days=1)


def that_may_govern(documents: Documents) -> tuple[CoveragePolicy, ...]:
    """Return the versions that decide by themselves: not superseded, and not in force only as a fall-back."""
    superseded = {VersionRef(ref.name, number) for ref, terms in documents.items() for number in terms.supersedes}
    return tuple(
        terms for ref, terms in documents.items() if ref not in superseded and not terms.in_force.only_as_fall_back
    )


def superseded_by(ref: VersionRef, documents: Documents) -> tuple[str, ...]:
    """Return the versions that supersede one, as name@version."""
    found = (other for other, terms in documents.items() if other.name == ref.name and ref.version in terms.supersedes)
    return tuple(str(other) for other in sorted(found))


def both_in_force_from(one: InForce, other: InForce) -> date | None:
    """Return the first day on which both are in force, None where there is none."""
    first = max(one.from_, other.from_)
    ends = [day for day in (one.until, other.until) if day is not None]
    return None if ends and min(ends) < first else first


def days_left_out(older: CoveragePolicy, documents: Documents) -> Iterator[tuple[date, date | None]]:
    """Yield the days, first and last (None: no end), on which a version was in force and none that governs is."""
    spans = sorted(
        (terms.in_force.from_, terms.in_force.until or date.max)
        for terms in that_may_govern(documents)
        if terms.policy == older.policy
    )
    first, last = older.in_force.from_, older.in_force.until or date.max
    for begins, ends in spans:
        if begins > last:
            break
        if begins > first:
            yield first, begins - A_DAY
        if ends >= last:
            return
        first = max(first, ends + A_DAY)
    yield first, older.in_force.until


def span_in_force(first: date, last: date | None) -> str:
    """Return days in words: from 1 January 2026 until 31 December 2026; from 1 January 2026, no end."""
    return f"from {day_text(first)}, no end" if last is None else f"from {day_text(first)} until {day_text(last)}"
