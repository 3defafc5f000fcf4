"""Facts that are not on file, tried one after another: the claim is worked again from the start for every value.

A calculation asks for a fact by its key. Where nobody has given it a value yet, it stops, and ``every_world`` begins it
again once for each value the fact may have. Nothing is remembered between two calculations.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions


class NotGiven(Exception):
    """A calculation needs a fact that has no value yet."""

    def __init__(self, key: str, values: tuple[int, ...], asks: str) -> None:
        super().__init__(key)
        self.key, self.values, self.asks = key, values, asks


@dataclass
class Given:
    """The facts given so far, by key."""

    values: dict[str, int] = field(default_factory=dict)

    def ask(self, key: str, values: tuple[int, ...] | list[int], asks: str = "dealer") -> int:
        """Return the value of a fact; raises NotGiven where it has none and more than one is possible."""
        if key in self.values:
            return self.values[key]
        possible = tuple(dict.fromkeys(values))
        if len(possible) == 1:
            return possible[0]
        raise NotGiven(key, possible, asks)

    def yes(self, key: str, asks: str = "dealer") -> bool:
        return bool(self.ask(key, (1, 0), asks))


@dataclass
class Worlds:
    """The results of all worlds (or, where they are too many, of some), and whom each fact asks."""

    results: list[tuple[dict[str, int], Any]]
    all_of_them: bool
    asks: dict[str, str]


def every_world(calculate: Callable[[Given], Any], most: int, samples: int, seed: int) -> Worlds:
    """Return the result for every combination of values; above ``most`` worlds, of ``samples`` drawn ones."""
    asks: dict[str, str] = {}
    results: list[tuple[dict[str, int], Any]] = []
    waiting: list[dict[str, int]] = [{}]
    while waiting:
        values = waiting.pop()
        try:
            results.append((values, calculate(Given(values))))
        except NotGiven as needed:
            asks[needed.key] = needed.asks
            waiting += [{**values, needed.key: value} for value in reversed(needed.values)]
        if len(results) + len(waiting) > most:
            break
    else:
        return Worlds(results, True, asks)
    rng = random.Random(seed)
    for _ in range(samples):
        results.append(_drawn(calculate, rng, asks))
    return Worlds(results, False, asks)


def _drawn(calculate: Callable[[Given], Any], rng: random.Random, asks: dict[str, str]) -> tuple[dict[str, int], Any]:
    values: dict[str, int] = {}
    while True:
        try:
            return values, calculate(Given(values))
        except NotGiven as needed:
            asks[needed.key] = needed.asks
            values = {**values, needed.key: rng.choice(needed.values)}


def time_is_over(conventions: Conventions, claim_file: ClaimFile, about: str, known_from: date = date.min) -> bool:
    """Return whether a question was left unanswered past its time; of what came on file later it did not ask."""
    rule = conventions.absent_service_record
    return "answer_overdue" in rule.not_done_when and any(
        q.about == about
        and not q.answered
        and q.asked_on >= known_from
        and claim_file.decided_on > q.asked_on + timedelta(days=rule.answer_within.days)
        for q in claim_file.claim.questions
    )
