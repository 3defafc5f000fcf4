"""Clauses whose own words tell another number than their terms: an owner reads the words, the engine the terms.

Words are free. They may leave numbers out, tell derived ones or those of another clause, so that a clause is suspect
only where both hold: its words tell a number that its terms do not have, and its terms have one of that kind that its
words do not tell.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, pairwise

from rules.policy_book.clause_numbers import KINDS, Quantity, Stated, numbers_of
from rules.policy_book.compiled import CompiledPolicy, each_clause
from rules.policy_book.said_numbers import Said, Words, read_numbers
from rules.policy_book.values import listed
from rules.policy_book.warning import PolicyWarning
from schemas.policy.clause import Clause
from schemas.policy.prorating import Prorating
from schemas.policy.services import ServiceDuty

ALL_KINDS = (*dict.fromkeys(KINDS.values()), "money")
SERVICES_LOOKED_AT = 20  # recurring due points whose hours the words may tell
_ADDED = re.compile(
    r"\b(?:(?<!no )later\b(?! than)|further|additional|another|in addition|on top|plus|extra|thereafter|from then)\b",
    re.I,
)


def word_warnings(policy: CompiledPolicy) -> Iterator[PolicyWarning]:
    """Yield a warning for each kind of number in which a clause's words and terms differ."""
    for path, clause in each_clause(policy.terms):
        if clause.text is None:
            continue
        words = read_numbers(clause.text)
        stated = numbers_of(clause, policy.terms.currency) if words.said else ()
        for kind in ALL_KINDS:
            found = _Compared(clause, kind, words, stated).differing()
            if found is not None:
                said, unsaid = found
                yield PolicyWarning(
                    policy.name,
                    f"{path}.text",
                    "words_contradict_terms",
                    f"the words of clause {clause.clause} say {_once(s.words for s in said)}, which its terms do not;"
                    f" its terms say {_once(str(s.quantity) for s in unsaid)}, which its words do not.",
                    "Owners can hold the maker to the words: correct them, or the terms.",
                )


def _once(words: Iterable[str]) -> str:
    return listed(dict.fromkeys(words))


Differing = tuple[list[Said], list[Stated]]


@dataclass(frozen=True, slots=True)
class _Compared:
    """The numbers of one kind in a clause's words and in its terms."""

    clause: Clause
    kind: str
    words: Words
    every_stated: Sequence[Stated]

    @property
    def said(self) -> list[Said]:
        return [one for one in self.words.said if one.kind == self.kind]

    @property
    def stated(self) -> list[Stated]:
        return [one for one in self.every_stated if one.quantity.kind == self.kind]

    def differing(self) -> Differing | None:
        """Return what the words alone say and what the terms alone say, None where the two can be read as one."""
        intervals = [one for one in self.stated if one.interval]
        often = [one for one in self.said if one.interval]
        if not intervals or not often:
            return self._differ(self.said, self.stated, intervals_told=False)
        return self._how_often(intervals, often) or self._differ(
            [one for one in self.said if not one.interval],
            [one for one in self.stated if not one.interval],
            intervals_told=True,
        )

    def _how_often(self, intervals: list[Stated], often: list[Said]) -> Differing | None:
        """Hold "every 400 h" against the interval alone: a one-off point at 400 h does not make it right."""
        strange = [one for one in often if not any(_fits(one, interval) for interval in intervals)]
        untold = [one for one in intervals if not any(_fits(said, one) for said in often)]
        if all(one.aside for one in strange):  # each day the oil is looked at; changed it is at 12 months
            untold = [one for one in untold if not self._is_said(one, self.said)]
        return (strange, untold) if strange and untold else None

    def _differ(self, said: list[Said], stated: list[Stated], *, intervals_told: bool) -> Differing | None:
        asked = [one for one in stated if one.asked]
        if intervals_told and self._on_grid():
            asked = [one for one in asked if one.tolerance]
        untold = [one for one in asked if not self._is_said(one, said)]
        # Words tell the parts that the maker pays, or those of the owner: each of the two ways something is left out.
        rest_untold = [one for one in asked if not self._is_said(one, said, of_the_rest=True)]
        if not untold or not rest_untold:
            return None
        derived = set(self._derived(said))
        strange = [
            one
            for one in said
            if not one.aside and not any(_fits_either(one, known) for known in stated) and not one.values & derived
        ]
        units = {quantity.unit for one in strange for quantity in one.values}
        left_out = min(untold, rest_untold, key=len)
        main = [one for one in left_out if not one.minor]
        minor = [one for one in left_out if one.minor and one.quantity.unit in units]
        return (strange, [*main, *minor]) if strange and (main or minor) else None

    def _is_said(self, one: Stated, said: Sequence[Said], *, of_the_rest: bool = False) -> bool:
        if one.quantity.value in self.words.bare or any(_fits(other, one, of_the_rest) for other in said):
            return True
        if not _ADDED.search(self.clause.text or ""):
            return False
        told = [{q.value for q in other.values if q.unit == one.quantity.unit} for other in said]
        return any(one.quantity.value - value in second for first, second in combinations(told, 2) for value in first)

    def _on_grid(self) -> bool:
        """Whether "every 500 h" says the one-off points too, which all lie on that grid."""
        every = next((one.quantity.value for one in self.stated if one.interval), None)
        points = [one.quantity.value for one in self.stated if not one.interval and not one.tolerance]
        return bool(every) and all((point / every).denominator == 1 for point in points if every)

    def _derived(self, said: Sequence[Said]) -> Iterator[Quantity]:
        """Yield numbers that follow from the terms, and may be told in their place or beside them."""
        if self.kind == "share" and not any(one.of_a_whole and one.asked for one in self.stated):
            yield from (Quantity("share", Fraction(whole)) for whole in (0, 1))
        if isinstance(self.clause, ServiceDuty) and self.kind == "hours":
            yield from (Quantity("hours", value) for value in self._hours_of_services(self.clause, said))
        if isinstance(self.clause, Prorating):
            yield from self._of_a_curve()

    def _hours_of_services(self, duty: ServiceDuty, said: Sequence[Said]) -> Iterator[Fraction]:
        """Yield due points, what lies between them, and windows, of those points only that the words tell, too."""
        every = None if duty.due.then_every is None else Fraction(duty.due.then_every)
        points = [Fraction(point.at) for point in duty.due.at_hours]
        told = [self._on_grid() or self._is_said(Stated(Quantity("hours", at)), said) for at in points]
        if every is not None:
            points += [(points or [Fraction(0)])[-1] + (number + 1) * every for number in range(SERVICES_LOOKED_AT)]
            told += [True] * SERVICES_LOOKED_AT
        gaps = [
            right - left for (left, one), (right, other) in pairwise(zip(points, told, strict=True)) if one and other
        ]
        looked_at = [at for at, is_told in zip(points, told, strict=True) if is_told]
        amounts = set(self._tolerated([*looked_at[: len(duty.due.at_hours) + 1], *gaps]))
        bounds = [(point.at, bound) for point in duty.due.at_hours for bound in (point.from_hours, point.until_hours)]
        amounts |= {abs(Fraction(at - bound)) for at, bound in bounds if bound is not None and at in looked_at}
        yield from (*looked_at, *gaps, *amounts)
        yield from (point + side * amount for point in looked_at for amount in amounts for side in (1, -1))

    def _tolerated(self, wholes: Sequence[Fraction]) -> Iterator[Fraction]:
        for one in self.every_stated:
            if one.tolerance and one.quantity.unit == "hours":
                yield one.quantity.value
            elif one.tolerance and one.quantity.unit == "share":
                yield from (one.quantity.value * whole for whole in wholes)

    def _of_a_curve(self) -> Iterator[Quantity]:
        """Yield what a share falls by from step to step, how long a step is, and what falls in one unit."""
        steps = [one.quantity for one in self.stated if one.asked or one.quantity.value == 0 or one.of_a_whole]
        for left, right in pairwise(steps):
            if left.unit == right.unit:
                yield Quantity(left.unit, abs(right.value - left.value))
        if self.kind == "share":
            for one in self.every_stated:
                if one.quantity.kind in ("time", "hours") and one.quantity.value:
                    yield Quantity("share", 1 / one.quantity.value)


def _fits(said: Said, stated: Stated, of_the_rest: bool = False) -> bool:
    """Whether words may mean a number of the terms, or what it leaves of the whole; they may name no currency."""
    unit, value = stated.quantity
    meant = 1 - value if of_the_rest and stated.of_a_whole else value
    return any(q.value == meant and q.unit in (unit, "" if q.kind == "money" else unit) for q in said.values)


def _fits_either(said: Said, stated: Stated) -> bool:
    return _fits(said, stated) or _fits(said, stated, of_the_rest=True)
