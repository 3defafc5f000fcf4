"""The engine's traps: what it does when it is used as it comes, and what keeps the rule base out of each.

The first half runs the bare engine in a process of its own. When an upgrade of the engine mends one of these, its test
fails and says so; the guard can then go, or stay, by decision. The second half shows the guards.
"""

import signal
import subprocess
import sys
from collections.abc import Callable
from itertools import permutations
from typing import Any

import pytest

from rules.rule_base import driver
from rules.rule_base.driver import Fact, Firing, RuleBase, UnsafeFact, UnsafeRuleset, engine
from rules.rule_base.ruleset_check import check_ruleset

pytestmark = pytest.mark.fast

PRELUDE = """
import json
import rules.rule_base.engine_symbols
import durable_rules_engine as engine

def load(**rules):
    return engine.create_ruleset("bare", json.dumps(rules))

def when(*conditions, **settings):
    return {"all": list(conditions), **settings}

def fire(handle, session):
    fired, started = [], engine.start_action_for_state(handle, session)
    message = started and started[1]
    while message:
        ((rule, facts),) = json.loads(message).items()
        fired.append(sorted(fact["id"] for fact in facts.values()) if isinstance(facts, dict) else len(facts))
        message = engine.complete_and_start_action(handle, session)
    return sorted(fired)

def run(handle, *facts):
    numbered = [{"id": number, **fact} for number, fact in enumerate(facts, 1)]
    code, session = engine.assert_facts(handle, json.dumps(numbered))
    return code, fire(handle, session)

A, B = {"k": "a"}, {"k": "b"}
def a(**properties): return {"k": "a", **properties}
def b(**properties): return {"k": "b", **properties}
"""


def bare(script: str, timeout: float = 30) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", PRELUDE + script], capture_output=True, text=True, timeout=timeout, check=False
    )


# What the script prints. run gives the engine's return code and, for each firing, the ids of the matched facts.
ANSWERS = {
    "a fact without a rule changes the code of its batch": (
        "print(run(load(r=when({'m': A})), a(), b()))",
        "(1, [[1]])",
    ),
    "a number written 1e-07 drops the rest of the batch, code 0": (
        "print(run(load(r=when({'m': A})), a(), a(v=1e-07), a()))",
        "(0, [[1]])",
    ),
    "infinity drops the rest of the batch, code 0": (
        "print(run(load(r=when({'m': A})), a(), a(v=float('inf')), a()))",
        "(0, [[1]])",
    ),
    "255 properties drop the rest of the batch, code 0": (
        "print(run(load(r=when({'m': A})), a(), a(**{f'p{i}': 1 for i in range(255)}), a()))",
        "(0, [[1]])",
    ),
    "none looks only at what came first": (
        "none = when({'m': A}, {'n$not': B}); print(run(load(r=none), a(), b()), run(load(r=none), b(), a()))",
        "(0, [[1]]) (0, [])",
    ),
    "an absence meets the engine's own facts": (
        "print(run(load(r={'all': [{'m': {'$nex': {'v': 1}}}]}), a(v=1))[1])",
        "[['sid-0']]",
    ),
    "two real session ids are one session": (
        """
h = load(r=when({'m': A}))
print([engine.assert_fact(h, json.dumps(a(id=i, sid=sid)))[1] for i, sid in enumerate(['glbvs', 'yacxa'])])
""",
        "[1, 1]",
    ),
    "two real fact ids are one fact, and a fact without a rule hides the code that says so": (
        "h = load(r=when({'m': A})); print(run(h, a(id='glbvs'), a(id='yacxa'), b()))",
        "(1, [['glbvs']])",
    ),
    "two real properties are one property": (
        "print(run(load(r=when({'m': {'$and': [A, {'glbvs': 1}]}})), a(yacxa=1)))",
        "(0, [[1]])",
    ),
    "large integers saturate": (
        "print(run(load(r=when({'m': {'$and': [A, {'v': 2**63 - 1}]}})), a(v=2**64)))",
        "(0, [[1]])",
    ),
    "true is 1": ("print(run(load(r=when({'m': {'$and': [A, {'v': 1}]}})), a(v=True)))", "(0, [[1]])"),
    "5 is '5'": ("print(run(load(r=when({'m': {'$and': [A, {'v': '5'}]}})), a(v=5)))", "(0, [[1]])"),
    "'ab' is not before 'ab c'": (
        "print(run(load(r=when({'m': {'$and': [A, {'$lt': {'v': 'ab c'}}]}})), a(v='ab')))",
        "(1, [])",
    ),
    "1 does not join 1.0": (
        "print(run(load(r=when({'m': A}, {'n': {'$and': [B, {'v': {'m': 'v'}}]}})), a(v=1), b(v=1.0)))",
        "(0, [])",
    ),
    "$or fires twice": (
        "print(run(load(r=when({'m': {'$and': [A, {'$or': [{'v': 1}, {'w': 1}]}]}})), a(v=1, w=1)))",
        "(0, [[1], [1]])",
    ),
    "any fires twice": (
        "print(run(load(r={'any': [{'m': A}, {'n': {'$and': [A, {'v': 1}]}}]}), a(v=1)))",
        "(0, [[1], [1]])",
    ),
    "two identical conditions fire for both orders": (
        "print(run(load(r=when({'m': A}, {'n': A})), a(), a()))",
        "(0, [[1, 2], [1, 2]])",
    ),
    "count drops the remainder": ("print(run(load(r=when({'m': A}, count=2)), a(), a(), a()))", "(0, [2])"),
    "a priority wraps round at 65,536": (
        """
h = load(late=when({'m': A}, pri=65_536), early=when({'m': A}, pri=1))
_, session = engine.assert_fact(h, json.dumps(a()))
print(list(json.loads(engine.start_action_for_state(h, session)[1])))
""",
        "['late']",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("script", "answer"), ANSWERS.values(), ids=list(ANSWERS))
def test_the_bare_engine_still_answers_wrongly(script: str, answer: str) -> None:
    ended = bare(script)
    assert (ended.stdout.strip(), ended.returncode) == (answer, 0), ended.stderr


ERRORS = {
    "an absent property in a join": (
        "run(load(r=when({'m': A}, {'n': {'v': {'m': 'v'}}})), a(), b(v=1))",
        "Could not assert facts, error code: 311",
    ),
    "two equal arrays in a join": (
        "run(load(r=when({'m': A}, {'n': {'$and': [B, {'v': {'m': 'v'}}]}})), a(v=[1]), b(v=[1]))",
        "Could not assert facts, error code: 312",
    ),
    "a fact that meets 65 tests": (
        "run(load(**{f'r{i}': when({'m': {'$and': [A, {'$gt': {'v': i}}]}}) for i in range(65)}), a(v=99))",
        "Could not assert facts, error code: 303",
    ),
    "a join of 17 facts": (
        "run(load(r=when(*({f'm{i}': {'$and': [A, {'v': i}]}} for i in range(17)))), *(a(v=i) for i in range(17)))",
        "Could not assert facts, error code: 304",
    ),
    "1,025 live sessions": (
        """
h = load(r=when({'m': A}))
for i in range(1_025): engine.assert_fact(h, json.dumps(a(id=1, sid=str(i))))
""",
        "MemoryError",
    ),
}


@pytest.mark.parametrize(("script", "message"), ERRORS.values(), ids=list(ERRORS))
def test_the_bare_engine_still_fails(script: str, message: str) -> None:
    ended = bare(script)
    assert ended.returncode == 1
    assert ended.stderr.strip().endswith(message)


# A false last test sends the engine past its list; whether the memory there ends the process is a matter of luck, so
# rulesets of several sizes are tried.
OF_SEVERAL_SIZES = """
for size in range(0, 60, 3):
    filler = {f'f{i}': when({'m': {'$and': [B, {'$gt': {'w': i}}]}}) for i in range(size)}
    run(load(**filler, r=when({'m': A}, {'n': {'$and': [B, JOIN]}})), a(v=LEFT), b(v=RIGHT))
"""
ENDS = {
    "a false order between two facts": (
        OF_SEVERAL_SIZES.replace("JOIN", "{'$gt': {'v': {'m': 'v'}}}").replace("LEFT", "5").replace("RIGHT", "4"),
        signal.SIGSEGV,
    ),
    "a join of two unequal values with the same hash": (
        OF_SEVERAL_SIZES.replace("JOIN", "{'v': {'m': 'v'}}").replace("LEFT", "'glbvs'").replace("RIGHT", "'yacxa'"),
        signal.SIGSEGV,
    ),
    "a division by zero": (
        """
quotient = {'$div': {'$l': {'m': 'v'}, '$r': {'m': 'w'}}}
run(load(r=when({'m': A}, {'n': {'$and': [B, {'v': quotient}]}})), a(v=5, w=0), b(v=4))
""",
        signal.SIGFPE,
    ),
    "a deep fact": (
        """
fact = '{"id":1,"k":"a","v":' + '[' * 200_000 + ']' * 200_000 + '}'
engine.assert_fact(load(r=when({'m': A})), fact)
""",
        signal.SIGSEGV,
    ),
    "a deep ruleset": (
        """
deep = '{"$and":[' * 100_000 + '{"k":"a"}' + ']}' * 100_000
engine.create_ruleset('deep', '{"r":{"all":[{"m":' + deep + '}]}}')
""",
        signal.SIGSEGV,
    ),
    "an id of 10 MB": (
        "engine.assert_fact(load(r=when({'m': A})), json.dumps(a(id='x' * 10_000_000)))",
        signal.SIGSEGV,
    ),
    "256 rules on one condition": (
        "for count in (256, 257, 300): run(load(**{f'r{i}': when({'m': A}) for i in range(count)}), a())",
        signal.SIGSEGV,
    ),
    "the deletion of a session that never fired": (
        """
used = [b'x' * size * 100 for size in range(1, 300)]
del used  # leaves memory that is not zero
h = load(r=when({'m': A}))
engine.assert_fact(h, json.dumps(a(id=1)))
engine.delete_state(h, '0')
""",
        signal.SIGSEGV,
    ),
}  # fmt: skip


@pytest.mark.parametrize(("script", "end"), ENDS.values(), ids=list(ENDS))
def test_the_bare_engine_still_ends_the_process(script: str, end: signal.Signals) -> None:
    assert bare(script).returncode == -end


KEPT = """
from pathlib import Path
def pages(): return int(Path("/proc/self/statm").read_text().split()[1])
for count in range(600):
    h = load(r=when({'m': A}))
    run(h, a())
    DELETED
    engine.delete_ruleset(h)
    if count == 100: before = pages()
print((pages() - before) * 4 // 500)
"""


def test_the_bare_engine_keeps_a_session_whose_ruleset_goes_first() -> None:
    kept = [bare(KEPT.replace("DELETED", step)).stdout for step in ("pass", "engine.delete_state(h, '0')")]
    with_its_session, without = map(int, kept)
    assert with_its_session >= 50  # KiB for each
    assert without <= 5


HOST = """
import os
from durable.engine import Host
ran = []
def fails(c):
    ran.append("first")
    raise LookupError("no such clause")
rules = {"first": when({"m": A}, run=fails, pri=1), "second": when({"m": A}, run=lambda c: ran.append("second"), pri=2)}
state = Host({"r": rules}).assert_fact("r", A)
print(ran, state["exception"].partition(", traceback")[0], flush=True)
os._exit(0)  # its timers would go on
"""


def test_the_host_of_the_engine_still_goes_on_after_an_action_that_failed() -> None:
    assert bare(HOST).stdout.strip() == "['first', 'second'] exception caught no such clause"


def test_the_bare_engine_never_returns_from_512_tests_on_one_property() -> None:
    script = "run(load(**{f'r{i}': when({'m': {'$and': [A, {'v': i}]}}) for i in range(512)}), a(v=1))"
    with pytest.raises(subprocess.TimeoutExpired):
        bare(script, timeout=1.5)


# The guards; test_ruleset_check and test_driver list what is refused, construct by construct and value by value.

LINE, FINDING = {"k": "line"}, {"$and": [{"k": "finding"}, {"code": "late"}]}


def rule(*conditions: dict[str, Any], **settings: Any) -> dict[str, Any]:
    return {"all": list(conditions), "run": "act", **settings}


def nothing(_: Firing) -> tuple[Fact, ...]:
    return ()


JOINED = {"r": rule({"f": FINDING}, {"l": {"$and": [LINE, {"g": {"f": "g"}}]}})}


@pytest.mark.parametrize(
    "trap",
    [
        rule({"m": LINE}, {"n$not": {"k": "note"}}),
        rule({"m": {"$nex": {"v": 1}}}),
        rule({"f": FINDING}, {"l": {"$and": [LINE, {"$gt": {"v": {"f": "v"}}}]}}),
        rule({"f": FINDING}, {"l": {"$and": [LINE, {"v": {"$div": {"$l": {"f": "v"}, "$r": {"f": "w"}}}}]}}),
        rule({"m": {"$and": [LINE, {"$or": [{"v": 1}, {"w": 1}]}]}}),
        {"any": [{"m": LINE}, {"n": LINE}], "run": "act"},
        rule({"m": LINE}, {"n": LINE}),
        rule({"m": LINE}, count=2),
        rule({"m": LINE}, pri=65_536),
        rule({"m": {"$and": [LINE, {"$lt": {"code": "ab c"}}]}}),
        rule({"m": {"$and": [LINE, {"v": 1.0}]}}),
        rule(*({f"m{i}": {"$and": [LINE, {"v": i}]}} for i in range(17))),
    ],
)
def test_a_ruleset_with_a_trap_is_refused_before_the_engine_sees_it(
    monkeypatch: pytest.MonkeyPatch, trap: dict[str, Any]
) -> None:
    monkeypatch.setattr(driver, "engine", None)
    with pytest.raises(UnsafeRuleset):
        RuleBase("trap", {"r": trap})


@pytest.mark.parametrize(
    ("crowd", "test"),
    [(65, lambda number: {"$gt": {"v": number}}), (256, lambda _: {"v": 1}), (512, lambda number: {"v": number})],
)
def test_a_crowded_ruleset_is_refused(crowd: int, test: Callable[[int], dict[str, Any]]) -> None:
    assert check_ruleset("crowd", {f"r{i}": rule({"m": {"$and": [LINE, test(i)]}}) for i in range(crowd)})


@pytest.mark.parametrize("value", [1e-07, float("inf"), 2**64, True, None, [1]])
def test_a_value_that_the_engine_misreads_is_refused_and_the_batch_is_whole(value: Any) -> None:
    with RuleBase("values", {"r": rule({"m": LINE})}) as rule_base:
        with pytest.raises(UnsafeFact):
            rule_base.run([{"k": "line", "v": 1}, {"k": "line", "v": value}], nothing)
        assert len(rule_base.run([{"k": "line", "v": 1}, {"k": "line", "v": 2}], nothing)) == 2


def test_facts_that_meet_no_rule_leave_the_others_alone() -> None:
    with RuleBase("joined", JOINED) as rule_base:
        facts: list[Fact] = [
            {"k": "finding", "code": "late", "g": 1},
            {"k": "finding", "code": "early", "g": 1},
            {"k": "line", "g": 1},
            {"k": "line", "g": 2},
            {"k": "note", "g": 1},
        ]
        assert [firing.facts for firing in rule_base.run(facts, nothing)] == [(facts[0], facts[2])]


def test_a_join_survives_unequal_values_with_the_same_hash() -> None:
    facts: list[Fact] = [{"k": "finding", "code": "late", "g": g} for g in ("glbvs", "yacxb")]
    facts += [{"k": "line", "g": g} for g in ("yacxa", "glbvs", "glbvp")]
    for size in range(0, 60, 3):
        filler = {f"f{i}": rule({"m": {"$and": [LINE, {"$gt": {"w": i}}]}}) for i in range(size)}
        with RuleBase("joined", filler | JOINED) as rule_base:
            trace = rule_base.run(facts, nothing)
        assert [firing.facts for firing in trace] == [(facts[0], facts[3])]


def test_a_fact_without_the_joined_property_joins_nothing_and_stops_nothing() -> None:
    facts: list[Fact] = [{"k": "finding", "code": "late"}, {"k": "finding", "code": "late", "g": 1}]
    facts += [{"k": "line"}, {"k": "line", "g": 1}]
    with RuleBase("joined", JOINED) as rule_base:
        for order in permutations(facts):
            assert [firing.facts for firing in rule_base.run(order, nothing)] == [(facts[1], facts[3])]


def test_a_session_that_never_fired_is_safe_to_delete() -> None:
    for _ in range(20):
        used = [b"x" * size * 100 for size in range(1, 300)]
        del used
        RuleBase("cold", JOINED).close()


def test_deriving_may_take_its_time() -> None:
    # The engine's own host ends a run silently when an action takes more than ten seconds. Here the engine has fired to
    # its rest, and no action is open, while facts are derived.
    open_actions: list[object] = []

    def derive(firing: Firing) -> tuple[Fact, ...]:
        open_actions.append(engine.start_action_for_state(rule_base._handle, rule_base._session))
        return ({"k": "finding", "code": "late", "g": 2},) if firing.facts[0]["g"] == 1 else ()

    facts: list[Fact] = [{"k": "finding", "code": "late", "g": 1}, {"k": "line", "g": 1}, {"k": "line", "g": 2}]
    with RuleBase("joined", JOINED) as rule_base:
        assert len(rule_base.run(facts, derive)) == 2
    assert open_actions == [None, None]
