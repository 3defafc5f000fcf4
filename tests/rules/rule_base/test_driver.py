"""How a rule base behaves: what a run returns, what it refuses, and that nothing of it reaches the next."""

import gc
import resource
import threading
from collections.abc import Callable, Iterable, Iterator
from itertools import permutations
from types import MappingProxyType, SimpleNamespace
from typing import Any

import pytest

from rules.rule_base import driver
from rules.rule_base.cache import RuleBaseCache
from rules.rule_base.driver import (
    MAX_FACTS,
    EngineFault,
    Fact,
    Firing,
    RuleBase,
    RuleBaseError,
    RunawayRules,
    UnsafeFact,
    engine,
)
from rules.rule_base.ruleset_form import fnv1a_32

pytestmark = pytest.mark.fast

POLICY: dict[str, Any] = {
    "elapsed": {"all": [{"m": {"$and": [{"k": "hours"}, {"$gt": {"v": 100}}]}}], "run": "finding:elapsed", "pri": 1},
    "denied": {
        "all": [
            {"f": {"$and": [{"k": "finding"}, {"code": "elapsed"}]}},
            {"l": {"$and": [{"k": "line"}, {"g": {"f": "g"}}]}},
        ],
        "run": "reason:elapsed",
        "pri": 2,
    },
    "outcome": {"all": [{"r": {"k": "reason"}}], "run": "outcome", "pri": 0},
}
CLAIM: list[Fact] = [
    {"k": "line", "l": 2, "g": 1},
    {"k": "line", "l": 1, "g": 1},
    {"k": "line", "l": 3, "g": 2},
    {"k": "hours", "g": 1, "v": 101},
    {"k": "hours", "g": 2, "v": 100},
    {"k": "remark", "n": 7},
]


def derive(firing: Firing) -> Iterator[Fact]:
    if firing.action == "finding:elapsed":
        yield {"k": "finding", "code": "elapsed", "g": firing.facts[0]["g"]}
    elif firing.action == "reason:elapsed":
        yield {"k": "reason", "l": firing.facts[1]["l"]}


@pytest.fixture
def policy() -> Iterator[RuleBase]:
    with RuleBase("powertrain@2", POLICY) as rule_base:
        yield rule_base


def summary(trace: Iterable[Firing]) -> list[tuple[str, int | str]]:
    return [(firing.rule, firing.facts[-1].get("l", "")) for firing in trace]


ALL_FIRINGS = [("outcome", 1), ("outcome", 2), ("elapsed", ""), ("denied", 1), ("denied", 2)]


def test_facts_chain_to_findings_reasons_and_outcomes_sorted_by_priority_rule_and_facts(policy: RuleBase) -> None:
    trace = policy.run(CLAIM, derive)
    assert summary(trace) == ALL_FIRINGS
    assert trace[3] == Firing(
        "denied", "reason:elapsed", ({"k": "finding", "code": "elapsed", "g": 1}, {"k": "line", "l": 1, "g": 1})
    )


def test_the_matched_facts_are_the_callers_own_objects(policy: RuleBase) -> None:
    assert policy.run(CLAIM, derive)[2].facts[0] is CLAIM[3]
    proxies = [MappingProxyType(dict(fact)) for fact in CLAIM]
    assert policy.run(proxies, derive)[2].facts[0] is proxies[3]


def test_every_order_of_the_facts_gives_the_same_trace(policy: RuleBase) -> None:
    assert {repr(policy.run(order, derive)) for order in permutations(CLAIM)} == {repr(policy.run(CLAIM, derive))}


def test_equal_facts_count_as_one_given_or_derived(policy: RuleBase) -> None:
    finding: Fact = {"g": 1, "code": "elapsed", "k": "finding"}
    assert summary(policy.run([*CLAIM, *CLAIM, finding], derive)) == ALL_FIRINGS


def test_nothing_of_a_run_reaches_the_next(policy: RuleBase) -> None:
    for _ in range(3):
        assert summary(policy.run(CLAIM, derive)) == ALL_FIRINGS
        assert policy.run(CLAIM[:3], derive) == ()
        assert policy.run(CLAIM[3:], derive)[0].rule == "elapsed"
        assert policy.run([], derive) == ()
    assert engine.get_facts(policy._handle, "0") == "[]"


def test_no_fact_of_a_kind_in_the_rules_is_no_error(policy: RuleBase) -> None:
    assert policy.run([{"k": "remark", "n": 1}, {"k": "hours", "v": 5, "g": 1}], derive) == ()
    assert policy.run([{"k": "_warm_up_"}], derive) == ()


def test_an_exception_while_deriving_is_raised_after_the_session_is_reset(policy: RuleBase) -> None:
    def fail(firing: Firing) -> Iterator[Fact]:
        yield {"k": "finding", "code": "elapsed", "g": 1}
        if firing.rule == "denied":
            raise LookupError("no such clause")

    with pytest.raises(LookupError) as raised:
        policy.run(CLAIM, fail)
    assert raised.value.__notes__ == ["powertrain@2: while deriving facts from a firing of rule denied"]
    assert engine.get_facts(policy._handle, "0") == "[]"
    assert summary(policy.run(CLAIM, derive)) == ALL_FIRINGS


def test_rules_that_do_not_come_to_rest_are_stopped_and_the_rule_is_named() -> None:
    counting = {
        "count": {"all": [{"m": {"k": "number"}}], "run": "next"},
        "once": {"all": [{"m": {"$and": [{"k": "number"}, {"n": 0}]}}], "run": "nothing"},
    }

    def following(firing: Firing) -> list[Fact]:
        return [{"k": "number", "n": int(firing.facts[0]["n"]) + 1}] if firing.action == "next" else []

    with RuleBase("counting", counting, max_firings=100) as rule_base:
        for _ in range(2):
            with pytest.raises(RunawayRules, match=r"more than 100 firings .* rule count alone fired 100 times"):
                rule_base.run([{"k": "number", "n": 0}], following)
        with pytest.raises(RunawayRules, match="rule count alone fired 101 times"):
            rule_base.run([{"k": "number", "n": number} for number in range(1, 102)], lambda _: ())
        assert len(rule_base.run([{"k": "number", "n": number} for number in range(1, 101)], lambda _: ())) == 100
        with pytest.raises(RunawayRules, match=f"{MAX_FACTS} facts"):
            rule_base.run([{"k": "number", "n": number} for number in range(MAX_FACTS + 1)], lambda _: ())


@pytest.mark.parametrize(
    ("fact", "words"),
    [
        ({"k": "hours", "v": 1.0}, "holds 1.0 under 'v'"),
        ({"k": "hours", "v": True}, "holds True under 'v'"),
        ({"k": "hours", "v": None}, "holds None under 'v'"),
        ({"k": "hours", "v": float("inf")}, "holds inf under 'v'"),
        ({"k": "hours", "v": 2**53}, "an integer past 2^53 - 1 under 'v'"),
        ({"k": "hours", "v": -(2**63) - 1}, "an integer past 2^53 - 1 under 'v'"),
        ({"k": "hours", "v": "101"}, "it is an integer in the rules"),
        ({"k": "hours", "v": [1]}, "holds a list under 'v'"),
        ({"k": "hours", "n": {"a": 1}}, "holds an object under 'n'"),
        ({"k": "finding", "code": 5}, "it is a code in the rules"),
        ({"k": "finding", "code": 'a"b'}, "printable ASCII"),
        ({"k": "finding", "code": "a\\b"}, "printable ASCII"),
        ({"k": "finding", "code": "a\nb"}, "printable ASCII"),
        ({"k": "finding", "code": "ü"}, "printable ASCII"),
        ({"k": "remark", "text": "\ud800"}, "printable ASCII"),
        ({"k": "finding", "code": "x" * 121}, "at most 120"),
        ({"k": "finding", "id": 1}, "belong to the rule base"),
        ({"k": "finding", "sid": "1"}, "belong to the rule base"),
        ({"k": "finding", "_never_": 1}, "rename the property"),
        ({"k": "finding", "A": 1}, "rename the property"),
        ({"k": "finding", 5: 1}, "rename the property"),
        ({"k": 5}, "it is a code in the rules"),
        ({"code": "elapsed"}, "each fact says what it is about"),
        ({"k": "finding", **{f"p{number}": 1 for number in range(32)}}, "at most 32 properties"),
        ("finding", "'finding' is not a fact"),
    ],
)
def test_a_fact_that_the_engine_would_get_wrong_is_refused_given_or_derived(
    policy: RuleBase, fact: Any, words: str
) -> None:
    for run in (lambda: policy.run([*CLAIM, fact], derive), lambda: policy.run(CLAIM, lambda _: [fact])):
        with pytest.raises(UnsafeFact, match=r"^powertrain@2: ") as refusal:
            run()
        assert words in str(refusal.value)
    assert summary(policy.run(CLAIM, derive)) == ALL_FIRINGS


def test_a_property_holds_one_type_in_a_run_and_joined_properties_the_same(policy: RuleBase) -> None:
    for mixed in (CLAIM, CLAIM[::-1]):
        with pytest.raises(UnsafeFact, match='the engine takes "5" for 5'):
            policy.run([*mixed, {"k": "line", "l": 4, "g": "1"}], derive)
    codes = [{**fact, "g": f"g{fact['g']}"} for fact in CLAIM if "g" in fact]
    assert summary(policy.run(codes, derive)) == ALL_FIRINGS


def test_values_at_the_limits_are_kept_exactly() -> None:
    largest = 2**53 - 1
    rules = {
        "largest": {"all": [{"m": {"$and": [{"k": "n"}, {"$gt": {"v": largest - 1}}]}}], "run": "act"},
        "lowest": {"all": [{"m": {"$and": [{"k": "n"}, {"v": -largest}]}}], "run": "act"},
        "long": {"all": [{"m": {"$and": [{"k": "n"}, {"c": "x" * 120}]}}], "run": "act"},
    }
    facts: list[Fact] = [{"k": "n", "v": v} for v in (largest, largest - 1, -largest, 1 - largest)]
    facts += [{"k": "n", "c": c} for c in ("x" * 120, "x" * 119, "", "~ !#[]{}',:")]
    with RuleBase("limits", rules) as rule_base:
        trace = rule_base.run(facts, lambda _: ())
    assert [(firing.rule, firing.facts) for firing in trace] == [
        ("largest", (facts[0],)),
        ("long", (facts[4],)),
        ("lowest", (facts[2],)),
    ]


def test_the_ids_that_a_run_gives_never_share_a_hash() -> None:
    assert len({fnv1a_32(str(id_)) for id_ in range(1, MAX_FACTS + 1)} | {fnv1a_32("sid-0")}) == MAX_FACTS + 1


def replaced(**calls: Callable[..., Any]) -> SimpleNamespace:
    """Return the engine with some calls replaced."""
    names = [name for name in dir(engine) if not name.startswith("_")]
    return SimpleNamespace(**{name: getattr(engine, name) for name in names} | calls)


@pytest.mark.parametrize("call", ["assert_facts", "retract_facts"])
def test_a_return_code_other_than_zero_is_an_error_and_the_next_run_starts_afresh(
    policy: RuleBase, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    for code in (1, 2, 3):
        answer = replaced(**{call: lambda *given, code=code: (code, getattr(engine, call)(*given)[1])})
        monkeypatch.setattr(driver, "engine", answer)
        with pytest.raises(EngineFault, match=f"^powertrain@2: the engine answered code {code}"):
            policy.run(CLAIM, derive)
        monkeypatch.undo()
        assert summary(policy.run(CLAIM, derive)) == ALL_FIRINGS


def test_an_error_of_the_engine_is_reported_with_the_ruleset(policy: RuleBase, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise engine.error("Could not complete and start action, error code: 307")

    monkeypatch.setattr(driver, "engine", replaced(complete_and_start_action=fail))
    with pytest.raises(EngineFault, match=r"powertrain@2: .*307"):
        policy.run(CLAIM, derive)
    monkeypatch.undo()
    # The session could not be warmed up again either, so the rule base has closed itself.
    assert policy.closed
    with pytest.raises(RuleBaseError, match="closed; load the ruleset again"):
        policy.run(CLAIM, derive)


def test_the_session_is_deleted_before_the_ruleset_and_once(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[str] = []

    def noted(name: str) -> Callable[..., Any]:
        def call(*given: object) -> object:
            calls.append(name)
            return getattr(engine, name)(*given)

        return call

    monkeypatch.setattr(driver, "engine", replaced(**{n: noted(n) for n in ("delete_state", "delete_ruleset")}))
    rule_base = RuleBase("powertrain@2", POLICY)
    rule_base.close()
    rule_base.close()
    assert calls == ["delete_state", "delete_ruleset"]
    RuleBase("powertrain@2", POLICY)
    gc.collect()
    assert calls == 2 * ["delete_state", "delete_ruleset"]


def test_a_run_or_a_close_inside_a_run_is_refused(policy: RuleBase) -> None:
    for nested in (lambda: policy.run([], derive), policy.close):
        with pytest.raises(RuleBaseError, match="powertrain@2 is running"):
            policy.run(CLAIM, lambda _, nested=nested: nested() or ())  # type: ignore[misc]
    with RuleBase("another", POLICY) as another:
        assert policy.run(CLAIM, lambda firing: derive(firing) if another.run(CLAIM, derive) else ()) == policy.run(
            CLAIM, derive
        )


def test_threads_share_a_handle_one_run_at_a_time(policy: RuleBase) -> None:
    traces: list[list[tuple[str, int | str]]] = []

    def work() -> None:
        traces.extend(summary(policy.run(CLAIM, derive)) for _ in range(100))

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert traces == [ALL_FIRINGS] * 400


def test_memory_does_not_grow_with_the_runs_nor_with_the_rulesets(policy: RuleBase) -> None:
    def used() -> int:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # KiB

    def work(runs: int, rulesets: int) -> None:
        for _ in range(runs):
            policy.run(CLAIM, derive)
        for _ in range(rulesets):
            with RuleBase("short", POLICY) as rule_base:
                rule_base.run(CLAIM, derive)

    work(runs=200, rulesets=50)
    before = used()
    work(runs=5_000, rulesets=300)
    assert used() - before < 4_096


def test_the_cache_keeps_the_latest_and_frees_the_others_when_no_run_needs_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    freed: list[int] = []

    def delete_ruleset(handle: int) -> None:
        freed.append(handle)
        engine.delete_ruleset(handle)

    monkeypatch.setattr(driver, "engine", replaced(delete_ruleset=delete_ruleset))
    cache = RuleBaseCache(max_handles=2)
    a, b = (cache.get(digest, "powertrain@2", POLICY) for digest in "ab")
    handles = [a._handle, b._handle]
    assert cache.get("a", "powertrain@2", POLICY) is a
    cache.get("c", "powertrain@2", POLICY)  # b was asked for longest ago
    assert len(cache) == 2
    assert summary(b.run(CLAIM, derive)) == ALL_FIRINGS
    assert freed == []
    del b
    assert freed == handles[1:]
    a.close()
    assert summary(cache.get("a", "powertrain@2", POLICY).run(CLAIM, derive)) == ALL_FIRINGS
    cache.close()
    cache.close()
    assert len(freed) == 4
    with pytest.raises(RuleBaseError, match="powertrain@2 is asked of a closed cache; open a new one"):
        cache.get("a", "powertrain@2", POLICY)
