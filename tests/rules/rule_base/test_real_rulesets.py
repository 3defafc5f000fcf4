"""On the rulesets of real policies, with the facts of random claims, driver and plain evaluator fire the same."""

from collections.abc import Iterable, Sequence

import pytest

from rules.adjudicate import Adjudicator
from rules.policy_book.compiled import CompiledPolicy
from rules.rule_base.driver import Derive, Fact, Firing
from tests.reference.fixture_books import BOOKS, Names, book_of, claims_for
from tests.rules.rule_base.plain_evaluator import content_of, evaluate

pytestmark = pytest.mark.fast

MOST_FACTS = 40  # the plain evaluator tries every pair of facts for every rule


class Compared(Adjudicator):
    """An engine that holds every run of a rule base against the plain evaluator."""

    compared = 0

    def fire(self, policy: CompiledPolicy, facts: Sequence[Fact], derive: Derive) -> tuple[Firing, ...]:
        fired = super().fire(policy, facts, derive)
        if len(facts) > MOST_FACTS:
            return fired

        def derived(action: str, matched: tuple[Fact, ...]) -> Iterable[Fact]:
            return derive(Firing("", action, matched))

        as_set = {(firing.rule, tuple(content_of(fact) for fact in firing.facts)) for firing in fired}
        assert len(as_set) == len(fired), "a rule fired twice on the same facts"
        assert as_set == evaluate(policy.ruleset, facts, derived), policy.name
        self.compared += 1
        return fired


@pytest.mark.parametrize("names", BOOKS, ids="+".join)
def test_driver_and_plain_evaluator_fire_the_same_on_real_policies(names: Names) -> None:
    files = claims_for(names, 3, 0.0)
    with Compared(book_of(names)) as adjudicator:
        for _ in range(6):
            adjudicator.decide(files.draw(lines=2, services=3), remedies=False)
        assert adjudicator.compared, "no rule base fired"
