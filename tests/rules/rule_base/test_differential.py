"""Driver and plain evaluator fire the same, whatever the rules, the facts and their order."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rules.rule_base.driver import Fact, Firing, RuleBase
from rules.rule_base.ruleset_check import check_ruleset
from tests.rules.rule_base.plain_evaluator import Fired, content_of, evaluate

pytestmark = pytest.mark.fast

KINDS = ("hours", "finding", "line")
INTEGERS = ("v", "w")
SMALL = st.integers(-1, 2)
CODES = ("late", "", "glbvs", "yacxa")  # the last two share their hash in the engine
VALUES = {"v": SMALL, "w": SMALL, "code": st.sampled_from(CODES), "g": st.sampled_from([1, 2])}
ACTIONS = ("nothing", "copy:finding", "copy:line", "mark:finding", "mark:line")


def derive_from(action: str, facts: tuple[Fact, ...]) -> Iterator[Fact]:
    """Few facts can be derived of few, so every chain ends."""
    what, _, kind = action.partition(":")
    if what == "copy":
        yield {**facts[0], "k": kind}
    elif what == "mark":
        yield {"k": kind, "v": max(int(fact.get("v", 0)) for fact in facts)}
        yield {"k": kind, "code": "late"}


def derive(firing: Firing) -> Iterable[Fact]:
    return derive_from(firing.action, firing.facts)


def fired_of(trace: Iterable[Firing]) -> list[Fired]:
    return [(firing.rule, tuple(map(content_of, firing.facts))) for firing in trace]


@st.composite
def drawn_tests(draw: st.DrawFn, earlier: list[str]) -> dict[str, Any]:
    shape = draw(st.sampled_from(["equal", "order", "other", "present", "join"]))
    if shape == "join" and earlier:
        name, other = draw(st.sampled_from([("g", "g"), ("v", "v"), ("v", "w"), ("w", "v"), ("code", "code")]))
        return {name: {draw(st.sampled_from(earlier)): other}}
    if shape == "order":
        name, operator = draw(st.sampled_from(INTEGERS)), draw(st.sampled_from(["$lt", "$lte", "$gt", "$gte"]))
        return {operator: {name: draw(SMALL)}}
    name = draw(st.sampled_from(["v", "w", "code"]))
    if shape == "present":
        return {"$ex": {draw(st.sampled_from(list(VALUES))): 1}}
    constant = draw(VALUES[name])
    return {"$neq": {name: constant}} if shape == "other" else {name: constant}


@st.composite
def rules(draw: st.DrawFn) -> dict[str, Any]:
    conditions: list[dict[str, Any]] = []
    aliases: list[str] = []
    for alias in draw(st.sampled_from([["m"], ["f", "l"], ["f", "l", "m"]])):
        drawn = draw(st.lists(drawn_tests(earlier=list(aliases)), max_size=2))
        kind = {"k": draw(st.sampled_from(KINDS))}
        conditions.append({alias: {"$and": [kind, *drawn]} if drawn else kind})
        aliases.append(alias)
    return {"all": conditions, "run": draw(st.sampled_from(ACTIONS)), "pri": draw(st.integers(0, 3))}


rulesets = st.dictionaries(st.sampled_from([f"rule {number}" for number in range(6)]), rules(), min_size=1)
facts_of_a_claim = st.lists(
    st.fixed_dictionaries({"k": st.sampled_from([*KINDS, "unheard_of"])}, optional=VALUES),
    max_size=7,
)


@settings(max_examples=250, deadline=None)
@given(definition=rulesets, claims=st.lists(facts_of_a_claim, min_size=1, max_size=3))
def test_the_driver_fires_what_the_plain_evaluator_fires_claim_after_claim(
    definition: Mapping[str, Any], claims: list[list[Fact]]
) -> None:
    assume(not check_ruleset("drawn", definition))
    with RuleBase("drawn", definition) as rule_base:
        for facts in [*claims, *claims]:
            fired = fired_of(rule_base.run(facts, derive))
            assert len(fired) == len(set(fired))
            assert set(fired) == evaluate(definition, facts, derive_from)


@settings(max_examples=100, deadline=None)
@given(definition=rulesets, facts=facts_of_a_claim, data=st.data())
def test_the_order_of_facts_and_their_properties_does_not_change_the_trace(
    definition: Mapping[str, Any], facts: list[dict[str, int | str]], data: st.DataObject
) -> None:
    assume(not check_ruleset("drawn", definition))
    shuffled = [dict(data.draw(st.permutations(list(fact.items())))) for fact in data.draw(st.permutations(facts))]
    with RuleBase("drawn", definition) as rule_base:
        trace = rule_base.run(facts, derive)
        assert rule_base.run(shuffled, derive) == trace
        assert rule_base.run([*facts, *shuffled], derive) == trace
    priorities = [definition[firing.rule].get("pri", 0) for firing in trace]
    assert priorities == sorted(priorities)


def term_policy(clauses: int) -> dict[str, Any]:
    """Return a ruleset of the shapes that a policy compiles to: measures, findings on lines, outcomes."""
    definition: dict[str, Any] = {}
    for number in range(clauses):
        code = f"limit_{number}"
        beyond = {"$and": [{"k": "used"}, {"p": code}, {"$gt": {"v": 10 * number}}]}
        on_line = {"$and": [{"k": "line"}, {"g": {"f": "g"}}]}
        definition[f"{code} passed"] = {"all": [{"m": beyond}], "run": f"finding|{code}", "pri": number}
        definition[f"{code} on the line"] = {
            "all": [{"f": {"$and": [{"k": "finding"}, {"c": code}]}}, {"l": on_line}],
            "run": f"reason|{code}",
            "pri": 100 + number,
        }
        definition[f"{code} denies"] = {
            "all": [{"r": {"$and": [{"k": "reason"}, {"c": code}]}}],
            "run": "outcome|deny",
            "pri": 200 + number,
        }
    return definition


def derive_decision(action: str, facts: tuple[Fact, ...]) -> Iterator[Fact]:
    what, _, code = action.partition("|")
    if what == "finding":
        yield {"k": "finding", "c": code, "g": facts[0]["g"]}
    elif what == "reason":
        yield {"k": "reason", "c": code, "l": facts[1]["l"]}
    elif what == "outcome":
        yield {"k": "outcome", "l": facts[0]["l"]}


claims = st.tuples(
    st.lists(st.integers(1, 3), max_size=4), st.lists(st.tuples(st.integers(0, 19), st.integers(0, 300)))
)


@settings(max_examples=60, deadline=None)
@given(drawn=st.lists(claims, min_size=1, max_size=4))
def test_a_policy_of_sixty_rules_fires_alike_on_one_handle(
    drawn: list[tuple[list[int], list[tuple[int, int]]]],
) -> None:
    definition = term_policy(20)
    with RuleBase("term", definition) as rule_base:
        for groups, used in drawn:
            facts: list[Fact] = [{"k": "line", "l": line, "g": group} for line, group in enumerate(groups)]
            facts += [{"k": "used", "p": f"limit_{limit}", "g": 1 + limit % 3, "v": v} for limit, v in used[:8]]
            trace = rule_base.run(facts, lambda firing: derive_decision(firing.action, firing.facts))
            assert set(fired_of(trace)) == evaluate(definition, facts, derive_decision)
