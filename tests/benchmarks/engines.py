"""The same adjudication with another engine in the driver's place: durable-rules' own Host, and the plain evaluator."""

from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from typing import Any

import rules.rule_base.engine_symbols  # noqa: F401 - before the engine, which does not load without it

# isort: split
from durable.engine import Host

from rules.adjudicate import Adjudicator
from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy
from rules.rule_base.driver import Derive, Firing
from rules.rule_base.fact_check import Fact
from tests.rules.rule_base.plain_evaluator import content_of, evaluate

SESSION = "0"
WARM_UP = {"all": [{"m": {"k": "_warm_up_"}}], "run": "_idle_"}
CATCH_ALL = {"all": [{"any": {"$ex": {"k": 1}}}, {"never": {"_never_": 1}}], "run": "_idle_"}


class _Host(Host):  # type: ignore[misc]
    """durable-rules' own driver for one ruleset, without its timer threads, which would go on after the benchmark.

    A rule runs an action of its own name, so that a firing knows its rule. One session, warmed by a firing and emptied
    by retraction: to delete one that never fired ends the process.
    """

    def __init__(self, digest: str, ruleset: Mapping[str, Any]) -> None:
        self.digest = digest
        self.ruleset = ruleset
        self.fired: list[Firing] = []
        self.facts: dict[int, Fact] = {}
        self.contents: set[frozenset[tuple[str, int | str]]] = set()
        self.derive: Derive = lambda _: ()
        named = {name: {**rule, "run": name} for name, rule in ruleset.items()}
        super().__init__({digest: deepcopy({**named, "_warm_up_": WARM_UP, "_catch_all_": CATCH_ALL})})
        self.run([{"k": "_warm_up_"}], self.derive)

    def _run(self) -> None:
        return

    def run(self, facts: Sequence[Fact], derive: Derive) -> tuple[Firing, ...]:
        self.fired, self.facts, self.contents, self.derive = [], {}, set(), derive
        self.assert_facts(self.digest, [{**fact, "sid": SESSION} for fact in map(self.with_id, facts) if fact])
        self.retract_facts(self.digest, [{"id": number, "sid": SESSION} for number in self.facts])
        return tuple(sorted(self.fired, key=self._place))

    def with_id(self, fact: Fact) -> dict[str, int | str] | None:
        """Return a fact with an id of its own, None when it is there already."""
        if content_of(fact) in self.contents:
            return None
        self.contents.add(content_of(fact))
        number = len(self.facts) + 1
        self.facts[number] = fact
        return {**fact, "id": number}

    def _place(self, firing: Firing) -> tuple[Any, ...]:
        return self.ruleset[firing.rule]["pri"], firing.rule, [sorted(fact.items()) for fact in firing.facts]

    def get_action(self, action_name: str) -> Callable[[Any], None]:
        if action_name == "_idle_":
            return lambda _: None
        rule = self.ruleset[action_name]
        aliases = [next(iter(entry)) for entry in rule["all"]]

        def act(c: Any) -> None:
            firing = Firing(action_name, rule["run"], tuple(self.facts[c._m[alias]["id"]] for alias in aliases))
            self.fired.append(firing)
            for fact in map(self.with_id, self.derive(firing)):
                if fact:
                    c.assert_fact(fact)

        return act


class HostAdjudicator(Adjudicator):
    """The same adjudication with the library's Host in the driver's place."""

    def __init__(self, book: PolicyBook) -> None:
        super().__init__(book)
        self._hosts: dict[str, _Host] = {}

    def fire(self, policy: CompiledPolicy, facts: Sequence[Fact], derive: Derive) -> tuple[Firing, ...]:
        host = self._hosts.get(policy.digest)
        if host is None:
            host = self._hosts[policy.digest] = _Host(policy.digest, policy.ruleset)
        return host.run(facts, derive)


class PlainAdjudicator(Adjudicator):
    """The same adjudication with the tests' plain evaluator in the driver's place: every rule tried on every fact."""

    def fire(self, policy: CompiledPolicy, facts: Sequence[Fact], derive: Derive) -> tuple[Firing, ...]:
        def derived(action: str, matched: tuple[Fact, ...]) -> Sequence[Fact]:
            return list(derive(Firing("", action, matched)))

        rules = policy.ruleset
        fired = sorted(
            (rules[rule]["pri"], rule, [sorted(content) for content in contents])
            for rule, contents in evaluate(rules, facts, derived)
        )
        return tuple(Firing(rule, rules[rule]["run"], tuple(map(dict, matched))) for _, rule, matched in fired)
