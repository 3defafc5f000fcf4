"""What a ruleset may hold: one fault at a time, both sides of each limit, and the words that the message must hold."""

from typing import Any

import pytest

from rules.rule_base.driver import RuleBase, UnsafeRuleset
from rules.rule_base.ruleset_check import RulesetFault, check_ruleset
from rules.rule_base.ruleset_form import key_of, native_conditions

pytestmark = pytest.mark.fast

LINE = {"k": "line"}
FINDING = {"$and": [{"k": "finding"}, {"code": "late"}]}


def rule(*conditions: dict[str, Any], **settings: Any) -> dict[str, Any]:
    return {"all": list(conditions), "run": "act", **settings}


def where(*tests: object) -> dict[str, Any]:
    return rule({"m": {"$and": [LINE, *tests]}})


def joined(*tests: object) -> dict[str, Any]:
    return rule({"f": FINDING}, {"l": {"$and": [LINE, *tests]}})


def faults_of(**rules: object) -> tuple[RulesetFault, ...]:
    return check_ruleset("powertrain@2", rules)


@pytest.mark.parametrize(
    "accepted",
    [
        rule({"m": LINE}),
        rule({"m": {"$and": [{"k": "hours"}, {"$gt": {"v": 100_000}}]}}, pri=32_767),
        where({"code": "late"}, {"$neq": {"item": "parts"}}, {"$ex": {"to_engine_oil": 1}}),
        where({"$gte": {"v": -(2**53) + 1}}, {"$lt": {"v": 2**53 - 1}}, {"$lte": {"w": 0}}, {"$gt": {"w": 0}}),
        joined({"g": {"f": "g"}}),
        joined({"$ex": {"to_engine_oil": 1}}, {"g": {"f": "g"}}, {"item": {"f": "code"}}),
        rule({"r": LINE}, {"l": LINE | {}}, pri=0) | {"all": [{"r": LINE}, {"l": {"$and": [LINE, {"g": {"r": "g"}}]}}]},
        {**rule({"m": LINE}), "run": "reason|term_elapsed|carve_outs[0].ends[1]|deny"},
    ],
)
def test_what_a_policy_compiles_to_is_accepted_and_loads(accepted: dict[str, Any]) -> None:
    assert faults_of(accepted=accepted) == ()
    RuleBase("powertrain@2", {"accepted": accepted}).close()


CASES = [
    # settings
    (rule({"m": LINE}, count=2), "'count'", "count beforehand"),
    (rule({"m": LINE}, cap=2), "'cap'", "count beforehand"),
    (rule({"m": LINE}, dist=0), "'dist'", "leave it out"),
    (rule({"m": LINE}, to="x"), "'to'", "leave it out"),
    ({"any": [{"m": LINE}], "run": "act"}, "'any'", "one rule for each alternative"),
    (rule({"m": LINE}) | {"none": [{"m": LINE}]}, "'none'", "compute the absence"),
    (rule({"m": LINE}, pri=-1), '"pri" is -1', "0 to 32767"),
    (rule({"m": LINE}, pri=32_768), '"pri" is 32768', "0 to 32767"),
    (rule({"m": LINE}, pri=True), '"pri" is True', "0 to 32767"),
    (rule({"m": LINE}, pri=1.0), '"pri" is 1.0', "0 to 32767"),
    ({"all": [{"m": LINE}]}, '"run" does not name an action', "give a name"),
    (rule({"m": LINE}, run='a"b'), '"run" does not name an action', "give a name"),
    (rule(), 'no list "all"', "put its conditions"),
    ({"run": "act"}, 'no list "all"', "put its conditions"),
    (rule({"m": LINE}) | {"all": "m"}, 'no list "all"', "put its conditions"),
    ([], "not an object", 'write {"all"'),
    # conditions
    (rule({"m": LINE, "n": LINE}), "condition 1 is not {alias: condition}", "one alias"),
    (rule({}), "condition 1 is not {alias: condition}", "one alias"),
    (rule({"m$not": LINE}), "'m$not'", "compute the absence"),
    (rule({"m$any": [{"n": LINE}]}), "'m$any'", "one rule for each alternative"),
    (rule({"m$all": [{"n": LINE}]}), "'m$all'", "one rule for each alternative"),
    (rule({"M": LINE}), "'M'", "choose an alias"),
    (rule({"f": FINDING}, {"f": {"$and": [LINE, {"g": {"f": "g"}}]}}), "alias f is taken", "another alias"),
    (rule({"a": FINDING}, {"b": FINDING}), "condition b repeats condition a", "tell the two facts apart"),
    (rule({"a": FINDING}, {"b": {"$and": FINDING["$and"][::-1]}}), "does not begin with the kind", "first"),
    (rule({"a": LINE}, {"b": {"k": "hours"}}, {"c": {"k": "note"}}), "3 of its conditions are tied", "join them"),
    (rule({"m": []}), "not an object of tests", 'write {"$and"'),
    (rule({"m": {"$and": []}}), "not an object of tests", 'write {"$and"'),
    (rule({"m": {"$and": "line"}}), "not an object of tests", 'write {"$and"'),
    (rule({"m": {"code": "late"}}), "does not begin with the kind", 'put {"k": kind} first'),
    (rule({"m": {"$ex": {"v": 1}}}), "does not begin with the kind", "own facts"),
    (rule({"m": {"k": 5}}), "does not begin with the kind", 'put {"k": kind} first'),
    (rule({"m": {"k": "_warm_up_"}}), "does not begin with the kind", 'put {"k": kind} first'),
    (where(*({"$gt": {"v": number}} for number in range(16))), "has 17 tests", "split it"),
    # tests
    (where({"$or": [{"v": 1}, {"w": 1}]}), "uses '$or'", "fires twice"),
    (where({"$nex": {"v": 1}}), "uses '$nex'", "compute the absence"),
    (where({"$and": [{"v": 1}]}), "uses '$and'", "outer $and"),
    (where({"$mt": {"code": "l.*"}}), "uses '$mt'", "compute it beforehand"),
    (where({"$imt": {"code": "l.*"}}), "uses '$imt'", "compute it beforehand"),
    (where({"$iany": {"v": {"$i": 1}}}), "uses '$iany'", "one fact for each item"),
    (where({"$iall": {"v": {"$i": 1}}}), "uses '$iall'", "one fact for each item"),
    (where({"$eq": {"v": 1}}), "uses '$eq'", "write {property: constant}"),
    (where({"$s": 1}), "uses '$s'", "compute it beforehand"),
    (where({"v": 1, "w": 1}), "not an object with one name", "object of its own"),
    (where({1: 1}), "not an object with one name", "object of its own"),
    (where("v"), "not an object with one name", "object of its own"),
    (where({"$gt": 5}), "does not read {$gt:", "name one property"),
    (where({"$gt": {"v": 5, "w": 5}}), "does not read {$gt:", "name one property"),
    (where({"$ex": {"v": 2}}), "does not read {$ex:", "write 1"),
    (where({"$ex": {"v": True}}), "does not read {$ex:", "write 1"),
    (where({"$lt": {"code": "late"}}), "orders codes with $lt", "one rule for each code"),
    (where({"v": 1.0}), "compares with 1.0", "whole number"),
    (where({"v": float("nan")}), "compares with nan", "whole number"),
    (where({"v": True}), "compares with True", "whole number"),
    (where({"v": None}), "compares with None", "whole number"),
    (where({"v": [1]}), "compares with a list", "whole number"),
    (where({"$gt": {"v": None}}), "compares with None", "whole number"),
    (where({"$neq": {"v": 2**53}}), "an integer past 2^53 - 1", "another unit"),
    (where({"v": -(2**63)}), "an integer past 2^53 - 1", "another unit"),
    (where({"code": "x" * 121}), "compares with 'xxx", "at most 120"),
    (where({"code": 'a"b'}), "compares with 'a\"b'", "without quote"),
    (where({"code": "a\\b"}), "compares with", "backslash"),
    (where({"code": "é"}), "compares with 'é'", "ASCII"),
    (where({"code": "a\n"}), "compares with", "printable"),
    (where({"id": 1}), "names the property 'id'", "belong to the rule base"),
    (where({"$ex": {"sid": 1}}), "names the property 'sid'", "belong to the rule base"),
    (where({"Code": "late"}), "names the property 'Code'", "rename"),
    (where({"a.b": 1}), "names the property 'a.b'", "rename"),
    (where({"_never_": 1}), "names the property '_never_'", "rename"),
    (where({"x" * 65: 1}), "names the property", "rename"),
    # joins
    (joined({"$gt": {"v": {"f": "v"}}}), "compares two facts, or calculates, with $gt", "compute it beforehand"),
    (joined({"$neq": {"v": {"f": "v"}}}), "compares two facts, or calculates, with $neq", "compute it beforehand"),
    (joined({"v": {"$div": {"$l": {"f": "v"}, "$r": {"f": "w"}}}}), "calculates with '$div'", "compute it beforehand"),
    (joined({"v": {"$add": {"$l": {"f": "v"}, "$r": 1}}}), "calculates with '$add'", "compute it beforehand"),
    (joined({"v": {"$m": "w"}}), "calculates with '$m'", "compute it beforehand"),
    (joined({"v": {"l": "w"}}), "'l', no alias of an earlier condition", "looks back"),
    (joined({"v": {"f": "id"}}), "names the property 'id'", "rename"),
    (joined({"v": {"f": 1}}), "names the property 1", "rename"),
    (joined({"v": {"name": "v", "id": 1}}), "does not read {property: {alias: property}}", "join to one property"),
]


@pytest.mark.parametrize(("refused", "what", "way_out"), CASES, ids=[f"{number}" for number in range(len(CASES))])
def test_each_fault_is_found_and_says_where_what_and_the_way_out(refused: object, what: str, way_out: str) -> None:
    found = faults_of(sound=where({"g": 1}), faulty=refused)
    assert len(found) == 1, found
    assert found[0].rule == "faulty"
    assert str(found[0]).startswith("powertrain@2, rule faulty: ")
    assert what in str(found[0])
    assert way_out in str(found[0])


def test_all_faults_are_listed_and_the_rule_base_refuses_with_them() -> None:
    definition = {"one": where({"$nex": {"v": 1}}, {"v": 1.5}), "two": rule({"m": LINE}, count=3, pri=-1)}
    with pytest.raises(UnsafeRuleset) as refusal:
        RuleBase("powertrain@2", definition)
    assert [fault.rule for fault in refusal.value.faults] == ["one", "one", "two", "two"]
    assert str(refusal.value).count("Way out:") == 4


@pytest.mark.parametrize("name", ["_warm_up_", "", "a" * 201, 'a"b', "a\\b", "ä"])
def test_a_name_that_the_engine_would_misread_is_refused(name: str) -> None:
    assert [fault.what for fault in check_ruleset("policy", {name: where({"v": 1})})] == ["its name cannot be used"]
    assert [fault.what for fault in check_ruleset(name, {"rule": where({"v": 1})})] == ["it has no usable name"]


@pytest.mark.parametrize(
    ("definition", "what"),
    [
        ({"a": where({"x": 1}), "b": where({"x": "late"})}, "x: compared with integers and with codes"),
        ({"a": where({"x": 1}), "b": joined({"x": {"f": "code"}})}, "code, x: compared with integers and with codes"),
        ({"a": joined({"x": {"f": "y"}}), "b": joined({"y": {"f": "z"}}), "c": where({"$gt": {"z": 1}}, {"x": "late"})},
         "x, y, z: compared with integers and with codes"),
        ({"a": where({"glbvs": 1}, {"yacxa": 1})}, "the properties glbvs and yacxa have the same hash"),
        ({}, "it has no rules"),
        ([], "it has no rules"),
    ],
)  # fmt: skip
def test_a_fault_of_the_whole_is_found(definition: object, what: str) -> None:
    assert [fault.what for fault in check_ruleset("powertrain@2", definition)] == [what]


def test_a_hostile_definition_is_a_fault_and_no_exception() -> None:
    deep: Any = 1
    for _ in range(100_000):
        deep = {"$and": [deep]}
    for hostile in (deep, [deep], {"v": deep}, {"$gt": {"v": deep}}, {"v": {"f": deep}}, 10**5000, b"line", "\ud800"):
        for definition in (hostile, {"r": hostile}, {"r": rule({"m": hostile})}, {"r": where(hostile)}):
            assert check_ruleset("hostile", definition)
            assert all(len(str(fault)) < 1000 for fault in check_ruleset("hostile", definition))


def thresholds(count: int, kind: str = "hours") -> dict[str, Any]:
    return {f"t{i}": rule({"m": {"$and": [{"k": kind}, {"$gt": {"v": i}}]}}) for i in range(count)}


def nested(outer: int, inner: int) -> dict[str, Any]:
    tests = [({"$gt": {"v": i}}, {"$lt": {"w": 100 + j}}) for i in range(outer) for j in range(inner)]
    return {f"t{i}": rule({"m": {"$and": [{"k": "hours"}, *pair]}}) for i, pair in enumerate(tests)}


def equals(count: int) -> dict[str, Any]:
    return {f"e{i}": rule({"m": {"$and": [{"k": "hours"}, {"v": i}]}}) for i in range(count)}


def on_lines(count: int) -> dict[str, Any]:
    finding = [{"$and": [{"k": "finding"}, {"code": f"c{i}"}]} for i in range(count)]
    return {f"j{i}": rule({"f": finding[i]}, {"l": {"$and": [LINE, {"g": {"f": "g"}}]}}) for i in range(count)}


def same(count: int) -> dict[str, Any]:
    return {f"s{i}": rule({"m": {"$and": [{"k": "hours"}, {"v": 1}]}}) for i in range(count)}


HOURS: dict[str, int | str] = {"k": "hours", "v": 99, "w": 0}
MANY_FINDINGS: list[dict[str, int | str]] = [{"k": "finding", "code": f"c{i}", "g": 1} for i in range(250)]


@pytest.mark.parametrize(
    ("at_limit", "facts", "firings", "beyond", "what"),
    [
        (thresholds(59), [HOURS], 59, thresholds(60), "let one fact meet 61 tests at once"),
        (nested(30, 30), [HOURS], 900, nested(31, 30), "let one fact meet 61 tests at once"),
        (equals(400), [HOURS], 1, equals(401), "put 401 tests side by side"),
        (on_lines(250), [*MANY_FINDINGS, {"k": "line", "g": 1}], 250, on_lines(251), "are the same 251 times"),
        (same(250), [HOURS | {"v": 1}], 250, same(251), "are the same 251 times"),
    ],
    ids=["thresholds", "nested", "equals", "on_lines", "same"],
)
def test_at_the_limit_everything_fires_and_beyond_it_nothing_loads(
    at_limit: dict[str, Any], facts: list[dict[str, int | str]], firings: int, beyond: dict[str, Any], what: str
) -> None:
    with RuleBase("at_limit", at_limit) as rule_base:
        for _ in range(2):
            assert len(rule_base.run(facts, lambda _: ())) == firings
    assert [what in fault.what for fault in check_ruleset("beyond", beyond)] == [True]


def test_fifteen_facts_are_joined_and_sixteen_refused() -> None:
    def chain(length: int) -> dict[str, Any]:
        first = {"a0": {"$and": [{"k": "step"}, {"n": 0}]}}
        others = [{f"a{i}": {"$and": [{"k": "step"}, {"n": i}, {"g": {f"a{i - 1}": "g"}}]}} for i in range(1, length)]
        return {"chain": rule(first, *others)}

    with RuleBase("chain", chain(15)) as rule_base:
        trace = rule_base.run([{"k": "step", "n": n, "g": 7} for n in range(16)], lambda _: ())
    assert [fact["n"] for firing in trace for fact in firing.facts] == list(range(15))
    assert "it has 16 conditions" in str(check_ruleset("chain", chain(16))[0])


def test_a_thousand_kinds_or_rules_are_too_many() -> None:
    many = {f"r{i}": rule({"m": {"$and": [{"k": f"kind{i}"}, {"v": 1}]}}) for i in range(1_001)}
    assert [fault.what for fault in check_ruleset("many", many)] == [
        "it has 1001 rules",
        "it tests for 1001 kinds of fact",
    ]


def test_the_engine_gets_the_joins_at_the_condition_with_more_constants_and_the_last_one_twice() -> None:
    conditions = dict(native_conditions(joined({"g": {"f": "g"}})))
    assert list(conditions) == ["l", "f"]
    assert list(map(key_of, conditions["l"])) == [("k", "line"), ("$ex", "g", 1)]
    assert list(map(key_of, conditions["f"])) == [("k", "finding"), ("code", "late"), *2 * [("g", "l", "g")]]
