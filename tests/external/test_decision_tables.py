"""Decision tables of the DMN Technology Compatibility Kit, run by the rule base and by the share curves.

Tables and expected values: DMN TCK, test cases of the OMG's Decision Model and Notation at the compliance levels named
beside each. A table becomes a ruleset with one rule for each row (one for each alternative of a cell) and the row's
number as priority. What is done with the hits is done in Python, as the settlement does: the rule base adds nothing up.
"""

from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from itertools import pairwise, product
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from rules.measures.prorating import share_at
from rules.rule_base.driver import Fact, Firing, RuleBase
from rules.rule_base.ruleset_check import check_ruleset
from schemas.documents import parse_document, validated
from schemas.policy.document import CoveragePolicy
from schemas.policy.prorating import Steps

pytestmark = pytest.mark.fast

FIXTURES = Path(__file__).parents[2] / "fixtures"

Test = Mapping[str, Any]


class Row(NamedTuple):
    """A row of a decision table: the alternatives under which it is met, each a list of tests, and its output."""

    alternatives: tuple[tuple[Test, ...], ...]
    output: str


def row(output: str, *alternatives: tuple[Test, ...]) -> Row:
    return Row(alternatives or ((),), output)


def ruleset(rows: tuple[Row, ...], table: str = "table") -> dict[str, Any]:
    """Return the rows as rules on a fact of kind ``table``; a row's alternatives are rules with one ``run``."""
    rules: dict[str, Any] = {}
    for number, (alternatives, output) in enumerate(rows, 1):
        for letter, tests in zip("abcdefgh", alternatives, strict=False):
            condition = {"$and": [{"k": table}, *tests]}
            action = f"{table}|{number}|{output}"
            rules[f"{table} row {number}{letter}"] = {"all": [{"m": condition}], "run": action, "pri": number}
    return rules


def hits(rule_base: RuleBase, fact: Mapping[str, int | str], table: str = "table") -> list[str]:
    """Return the outputs of the rows that the inputs meet, in the order of the rows, each row once."""
    trace = rule_base.run([{"k": table, **fact}], lambda _: ())
    rows = dict.fromkeys(firing.action for firing in trace)
    return [action.split("|")[2] for action in rows]


def over(years: int) -> tuple[Test, ...]:
    return ({"$gt": {"n": years}},)


# 0004-simpletable-U (level 2), hit policy UNIQUE.
APPROVAL = (
    row(
        "approved",
        ({"$gte": {"age": 18}}, {"risk": "medium"}, {"affordable": 1}),
        ({"$gte": {"age": 18}}, {"risk": "low"}, {"affordable": 1}),
    ),
    row(
        "declined",
        ({"$lt": {"age": 18}}, {"risk": "medium"}, {"affordable": 1}),
        ({"$lt": {"age": 18}}, {"risk": "low"}, {"affordable": 1}),
    ),
    row("declined", ({"risk": "high"}, {"affordable": 1})),
    row("declined", ({"affordable": 0},)),
)


@pytest.fixture(scope="module")
def approval() -> Iterator[RuleBase]:
    with RuleBase("approval", ruleset(APPROVAL)) as rule_base:
        yield rule_base


@pytest.mark.parametrize(
    ("age", "risk", "status"), [(18, "medium", "approved"), (17, "medium", "declined"), (18, "high", "declined")]
)
def test_unique_hit(approval: RuleBase, age: int, risk: str, status: str) -> None:
    assert hits(approval, {"age": age, "risk": risk, "affordable": 1}) == [status]


def test_a_unique_table_has_one_hit_for_every_input(approval: RuleBase) -> None:
    for age, risk, affordable in product((0, 17, 18, 19), ("low", "medium", "high"), (0, 1)):
        assert len(hits(approval, {"age": age, "risk": risk, "affordable": affordable})) == 1


# 0111-first-hitpolicy-singleoutputcol (level 2), hit policy FIRST: over 18, over 12, over 0, from the top.
FIRST = (row("cars", over(18)), row("videogames", over(12)), row("toys", over(0)))
ADVERTISEMENTS = [(19, "cars"), (13, "videogames"), (5, "toys")]


@pytest.mark.parametrize(("age", "advertisement"), ADVERTISEMENTS)
def test_first_hit_is_the_firing_of_the_lowest_priority(age: int, advertisement: str) -> None:
    with RuleBase("advertisement", ruleset(FIRST)) as rule_base:
        assert hits(rule_base, {"n": age})[0] == advertisement


# The same table as a share curve: read from the top, the first row that is met is the last step that is reached. Shares
# stand for the words; on whole years "over 18" is from 19 on.
SHARES = {"cars": Fraction(1, 4), "videogames": Fraction(1, 2), "toys": Fraction(3, 4)}


@pytest.mark.parametrize(("age", "advertisement"), ADVERTISEMENTS)
def test_steps_are_a_table_of_which_the_first_hit_counts(age: int, advertisement: str) -> None:
    steps = Steps.model_validate({"steps": [[0, 1], [1, "3/4"], [13, "1/2"], [19, "1/4"]]})
    assert share_at(steps, Fraction(age))[0] == SHARES[advertisement]


# 0112-ruleOrder-hitpolicy-singleinoutcol (level 2), hit policy RULE ORDER: every hit, in the order of the rows.
RULE_ORDER = (
    row("best", ({"$gte": {"n": 18}},)),
    row("standard", ({"$gte": {"n": 12}},)),
    row("standard", ({"$lt": {"n": 12}},)),
)


@pytest.mark.parametrize(("age", "outputs"), [(19, ["best", "standard"]), (13, ["standard"]), (10, ["standard"])])
def test_all_hits_come_in_the_order_of_the_rows(age: int, outputs: list[str]) -> None:
    with RuleBase("approval", ruleset(RULE_ORDER)) as rule_base:
        assert hits(rule_base, {"n": age}) == outputs


# 0114 (MIN), 0115 (SUM) and 0116 (COUNT), level 2, hit policy COLLECT. Amounts in hundredths: the rule base holds none.
INSURANCE = (row("9883", over(1)), row("15021", over(2)), row("20543", over(3)), row("6432", over(4)))
SALARY = (row("100", over(1)), row("200", over(2)), row("300", over(3)), row("500", over(5)))
Aggregate = Callable[[list[int]], int]


@pytest.mark.parametrize(
    ("rows", "aggregate", "years", "expected"),
    [
        (INSURANCE, min, 5, 6432),
        (INSURANCE, min, 3, 9883),
        (INSURANCE, min, 4, 9883),
        (SALARY, sum, 6, 1100),
        (SALARY, sum, 3, 300),
        (SALARY, sum, 2, 100),
        (SALARY, len, 6, 4),
        (SALARY, len, 2, 1),
        (SALARY, len, 3, 2),
    ],
)
def test_collected_hits(rows: tuple[Row, ...], aggregate: Aggregate, years: int, expected: int) -> None:
    with RuleBase("collected", ruleset(rows)) as rule_base:
        assert aggregate([int(output) for output in hits(rule_base, {"n": years})]) == expected


# 0020-vacation-days (level 3): three COLLECT tables with MAX and 0 where nothing is met, and a sum over them.
CASE_1 = (row("5", ({"$lt": {"age": 18}},), ({"$gte": {"age": 60}},)), row("5", ({"$gte": {"service": 30}},)))
CASE_2 = (row("3", ({"$gte": {"service": 30}},)), row("3", ({"$gte": {"age": 60}},)))
CASE_3 = (row("2", ({"$gte": {"service": 15}}, {"$lt": {"service": 30}})), row("2", ({"$gte": {"age": 45}},)))
BASE_DAYS = 22

VACATION: dict[str, Any] = {}
for _case, _rows in (("case_1", CASE_1), ("case_2", CASE_2), ("case_3", CASE_3)):
    for _name, _rule in ruleset(_rows, "person").items():
        VACATION[f"{_case} {_name}"] = {**_rule, "run": f"{_case}|{_rule['run'].split('|')[2]}"}
# The second layer: what a table grants is a derived fact, which a rule of its own takes up.
VACATION["granted"] = {"all": [{"e": {"$and": [{"k": "extra"}, {"$gt": {"days": 0}}]}}], "run": "granted", "pri": 9}


def grant(firing: Firing) -> Iterator[Fact]:
    if firing.action != "granted":
        case, days = firing.action.split("|")
        yield {"k": "extra", "case": case, "days": int(days)}


def vacation_days(rule_base: RuleBase, age: int, service: int) -> int:
    trace = rule_base.run([{"k": "person", "age": age, "service": service}], grant)
    granted = [firing.facts[0] for firing in trace if firing.action == "granted"]
    days = {str(fact["case"]): int(fact["days"]) for fact in granted}
    assert len(granted) == len(days)  # of two rows of one table that grant the same days, one fact is left
    return BASE_DAYS + max(days.get("case_1", 0), days.get("case_3", 0)) + days.get("case_2", 0)


@pytest.fixture(scope="module")
def vacation() -> Iterator[RuleBase]:
    with RuleBase("vacation", VACATION) as rule_base:
        yield rule_base


@pytest.mark.parametrize(
    ("age", "service", "days"),
    [(16, 1, 27), (25, 5, 22), (25, 20, 24), (44, 30, 30), (50, 20, 24), (50, 30, 30), (60, 20, 30)],
)
def test_vacation_days_of_the_compatibility_kit(vacation: RuleBase, age: int, service: int, days: int) -> None:
    assert vacation_days(vacation, age, service) == days


def test_vacation_days_over_the_whole_plane(vacation: RuleBase) -> None:
    """The same model in words: 5 days for the young, the old and the long in service, 3 more for these two, else 2."""
    for age, service in product((0, 17, 18, 44, 45, 59, 60, 99), (0, 14, 15, 29, 30, 50)):
        long_or_old = service >= 30 or age >= 60
        extra = 2 if service >= 15 or age >= 45 else 0
        if age < 18 or long_or_old:
            extra = 5
        assert vacation_days(vacation, age, service) == 22 + extra + (3 if long_or_old else 0), (age, service)


def test_a_sum_needs_the_row_in_the_fact() -> None:
    """Facts are a set: two rows that grant the same amount leave one fact, unless each says which row it is."""
    rows = (row("100", over(1)), row("100", over(2)))

    def amounts(with_row: bool) -> Callable[[Firing], Iterator[Fact]]:
        def derive(firing: Firing) -> Iterator[Fact]:
            if firing.action.startswith("table|"):
                _, number, amount = firing.action.split("|")
                yield {"k": "amount", "of": int(amount), **({"row": int(number)} if with_row else {})}

        return derive

    rules = ruleset(rows) | {"amount": {"all": [{"a": {"k": "amount"}}], "run": "amount", "pri": 9}}
    with RuleBase("sums", rules) as rule_base:
        for with_row, total in ((False, 100), (True, 200)):
            trace = rule_base.run([{"k": "table", "n": 3}], amounts(with_row))
            assert sum(int(firing.facts[0]["of"]) for firing in trace if firing.action == "amount") == total


def step_curves() -> Iterator[tuple[str, Steps]]:
    """Yield every step table among the policies under fixtures/."""
    for file in sorted(FIXTURES.rglob("*.yaml")):
        document = parse_document(file.read_text(encoding="utf-8"), file.name)
        if isinstance(document.tree, Mapping) and {"policy", "prorating"} <= document.tree.keys():
            prorating = validated(CoveragePolicy, document).prorating
            assert prorating is not None
            for axis in prorating.axes:
                if isinstance(axis.share, Steps):
                    yield f"{document.tree['policy']}@{document.tree['version']}", axis.share


CURVES = list(step_curves())


def test_there_are_step_tables_to_check() -> None:
    assert len(CURVES) >= 2


@pytest.mark.parametrize(("policy", "curve"), CURVES, ids=[policy for policy, _ in CURVES])
def test_a_published_step_table_is_a_complete_unique_table(policy: str, curve: Steps) -> None:
    """Written as intervals from each step to the next, every measure meets one row, and that row's share is paid."""
    edges = [int(step.at * 100) for step in curve.steps]
    rows = [
        row(str(step.value), ({"$gte": {"n": low}}, {"$lt": {"n": high}}))
        for step, (low, high) in zip(curve.steps, pairwise(edges), strict=False)
    ]
    table = (*rows, row(str(curve.steps[-1].value), ({"$gte": {"n": edges[-1]}},)))
    assert check_ruleset(policy, ruleset(table)) == ()
    with RuleBase(policy, ruleset(table)) as rule_base:
        for hundredths in sorted({max(edge + beside, 0) for edge in edges for beside in (-1, 0, 1, 999)}):
            (share,) = hits(rule_base, {"n": hundredths})
            assert share_at(curve, Fraction(hundredths, 100))[0] == Fraction(share), hundredths
