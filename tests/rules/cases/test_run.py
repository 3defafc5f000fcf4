"""What the case runner says about a case whose expectations are wrong, each kind by itself, and what it refuses."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from rules.cases.facts import CaseFault, WrongExpectation
from rules.cases.run import CaseRunner, untouched_clauses
from schemas.cases import CaseTable
from service.policy_files import load_policies, read_policy_source

pytestmark = pytest.mark.fast

FIXTURES = Path(__file__).parents[3] / "fixtures"
EXPONENTS = {"EUR": 2}

# Terms: fixtures/cases/policies/term-plain-1.yaml. A pump at 1,000.00 net and 15 % handling comes to 1,150.00; 2 h of
# labour at 95.00 come to 190.00, the maker's within the first 12 months. In month 13 the labour is the owner's.
BASE: Mapping[str, Any] = {
    "machine": {"model": "RM10", "retail_delivery": "2024-03-01", "records_complete_from": "2024-03-01"},
    "claim": {
        "failed_on": "2025-03-10",
        "reading": 240,
        "lines": {
            "pump": {"component": "hydrostatic_pump", "net": "1000.00"},
            "work": {"component": "hydrostatic_pump", "hours": 2},
        },
    },
}
RIGHT: Mapping[str, Any] = {
    "pump": {
        "outcome": "pay",
        "policy": "term-plain@1",
        "maker_pays": "1150.00",
        "owner_owes": "0.00",
        "dealer_bears": "0.00",
        "other_payer": "0.00",
        "open": "0.00",
        "claimed": "1150.00",
        "added": "0.00",
        "allowed": "1150.00",
        "share": 1,
        "only_reasons": [],
        "no_reasons": ["term_elapsed"],
    },
    "work": {
        "outcome": "deny",
        "owner_owes": "190.00",
        "only_reasons": ["item_period_over"],
        "says": ["item: labour"],
    },
}


@pytest.fixture(scope="module")
def runner() -> Iterator[CaseRunner]:
    with CaseRunner(read_policy_source(FIXTURES), EXPONENTS) as runner:
        yield runner


def mismatches(runner: CaseRunner, expect: Mapping[str, Any], **case: Any) -> list[str]:
    """Return what the runner says about one case with these expectations."""
    table = CaseTable.model_validate(
        {
            "policies": ["term-plain@1"],
            "base": BASE,
            "cases": [{"name": "a case of thirteen months", "expect": expect, **case}],
        }
    )
    (result,) = runner.run(table)
    return [str(mismatch) for mismatch in result.mismatches]


def test_a_case_that_holds_says_nothing(runner: CaseRunner) -> None:
    assert mismatches(runner, RIGHT, payout="1150.00", proposals=0, questions=[]) == []


@pytest.mark.parametrize(
    ("line", "what", "wrong", "said"),
    [
        ("pump", "outcome", "deny", "pump: outcome expected deny, got pay (no reasons)"),
        ("work", "outcome", "pay", "work: outcome expected pay, got deny (item_period_over)"),
        ("pump", "policy", "term-plain@2", "pump: policy expected term-plain@2, got term-plain@1"),
        ("pump", "maker_pays", "1150.01", "pump: maker_pays expected 1150.01, got 1150.00"),
        ("work", "owner_owes", "0.00", "work: owner_owes expected 0.00, got 190.00"),
        ("pump", "share", "1/2", "pump: share expected 1/2, got 1"),
        ("work", "only_reasons", [], "work: reasons expected none, got item_period_over"),
        ("pump", "only_reasons", ["term_elapsed"], "pump: reasons expected term_elapsed, got none"),
        ("pump", "reasons", ["term_elapsed"], "pump: reasons expected term_elapsed, got none"),
        (
            "work",
            "no_reasons",
            ["item_period_over"],
            "work: reasons expected not item_period_over, got item_period_over",
        ),
        ("pump", "notes", ["service_cured"], "pump: notes expected service_cured, got typed_unchecked"),
        ("work", "says", ["carriage"], 'work: words expected "carriage", got "'),
    ],
)
def test_each_wrong_expectation_of_a_line_is_told(
    runner: CaseRunner, line: str, what: str, wrong: object, said: str
) -> None:
    (told,) = mismatches(runner, {line: {what: wrong}})
    assert told.startswith(said)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"payout": "1340.00"}, "claim: payout expected 1340.00, got 1150.00"),
        ({"proposals": 1}, "claim: proposals expected 1, got 0"),
        ({"questions": ["reading"]}, "claim: questions expected reading, got none"),
        ({"remedy": {"work": "190.00"}}, "work: remedy expected 190.00, got none"),
    ],
)
def test_each_wrong_expectation_of_the_claim_is_told(runner: CaseRunner, wrong: Mapping[str, Any], said: str) -> None:
    assert mismatches(runner, {"pump": {"outcome": "pay"}}, **wrong) == [said]


def test_a_line_that_the_claim_does_not_have_is_told(runner: CaseRunner) -> None:
    assert mismatches(runner, {"pumps": {"outcome": "pay"}}) == ["pumps: line expected a line of this claim, got none"]


def test_terms_of_a_policy_outside_the_table_are_refused(runner: CaseRunner) -> None:
    with pytest.raises(CaseFault, match="the table does not name reference@1 under policies") as raised:
        mismatches(runner, {"pump": {"outcome": "pay"}}, terms={"reference@1": {"title": "Another"}})
    assert raised.value.at == ("terms", "reference@1")


def test_a_case_that_fails_for_want_of_a_fact_says_which(runner: CaseRunner) -> None:
    """Without a reading at the failure nobody knows whether the hours were passed; the question is told in words."""
    unread = {"claim": {"reading": None}}
    (found,) = mismatches(runner, {"pump": {"outcome": "pay"}}, **unread)
    assert found.startswith("pump: outcome expected pay, got need_info (hour_limit_passed, fact_open); it waits for ")
    assert "the meter reading at the failure" in found


def test_words_that_are_not_found_show_the_nearest_sentences_alone(runner: CaseRunner) -> None:
    (found,) = mismatches(runner, {"work": {"says": ["item: labor"]}})
    got = found.partition(", got ")[2]
    assert got.startswith('"item: labour" / ')
    assert got.count('" / "') == 1
    assert got.endswith(" (the nearest of 3 sentences)")


def test_a_claim_without_a_day_is_refused_in_the_words_of_a_case(runner: CaseRunner) -> None:
    with pytest.raises(CaseFault, match="the claim states no day; write failed_on"):
        mismatches(runner, {"pump": {"outcome": "pay"}}, claim={"failed_on": None})


@pytest.mark.parametrize("part", ["base", "case"])
def test_a_fact_stated_as_null_is_not_stated(runner: CaseRunner, part: str) -> None:
    """Neither the end of the repair nor the first hire is on file; decided on the tenth day after 10 March."""
    nulls = {"claim": {"repair_ended_on": None, "cause": None}, "machine": {"first_rental": None}}
    base = {**BASE, **{key: {**BASE[key], **nulls[key]} for key in nulls}} if part == "base" else dict(BASE)
    case: dict[str, Any] = {"name": "a case with nulls in it", "expect": {"pump": {"outcome": "pay"}}}
    table = CaseTable.model_validate(
        {"policies": ["term-plain@1"], "base": base, "cases": [case if part == "base" else {**case, **nulls}]}
    )
    (result,) = runner.run(table)
    assert not result.mismatches
    assert result.decision.decided_on == "2025-03-20"


@pytest.mark.parametrize("day", ["soon", "2025-13-01", "16.06.2025"])
def test_a_day_that_is_none_is_refused_with_its_place(runner: CaseRunner, day: str) -> None:
    with pytest.raises(CaseFault) as raised:
        mismatches(runner, {"pump": {"outcome": "pay"}}, claim={"repair_ended_on": day})
    assert str(raised.value) == f'claim.repair_ended_on: "{day}" is no day; write one such as 2025-06-16'


def test_a_service_like_none_of_the_case_is_refused(runner: CaseRunner) -> None:
    with pytest.raises(CaseFault, match='service "b" is like "a", which is not another service of this case'):
        mismatches(runner, {"pump": {"outcome": "pay"}}, services={"b": {"like": "a", "on": "2024-05-01"}})


def test_events_may_stand_under_events_or_directly_under_the_machine(runner: CaseRunner) -> None:
    """Delivered in February 2023 by either spelling, the 24 months have passed in March 2025."""
    for machine in (
        {"events": {"retail_delivery": "2023-02-01"}, "retail_delivery": None},
        {"retail_delivery": "2023-02-01"},
    ):
        told = mismatches(runner, {"pump": {"only_reasons": ["term_elapsed"]}}, machine=machine)
        assert told == []


def test_only_the_clauses_of_what_was_decided_count_as_touched(runner: CaseRunner) -> None:
    """A pump that is paid touches the reach, the term and the pay of parts, and no other clause."""
    table = CaseTable.model_validate(
        {
            "policies": ["term-plain@1"],
            "base": {**BASE, "claim": {**BASE["claim"], "lines": {"pump": BASE["claim"]["lines"]["pump"]}}},
            "cases": [{"name": "the pump alone is paid", "expect": {"pump": {"outcome": "pay"}}}],
        }
    )
    results = list(runner.run(table))
    book = load_policies(FIXTURES, only={"term-plain@1"}).book
    assert untouched_clauses(results, book) == [
        ("term-plain@1", "pays.labour"),
        ("term-plain@1", "pays.anything_else"),
    ]


def test_a_paid_component_touches_its_own_carve_out(runner: CaseRunner) -> None:
    """Of an implement's carve-outs the rotor housing is named in the second; ten years after the sale it is paid."""
    table = CaseTable.model_validate(
        {
            "policies": ["quillfen-implement@1"],
            "base": {
                "machine": {"model": "QM15", "has_meter": False, "retail_delivery": "2024-04-08", "region": "FR"},
                "claim": {
                    "failed_on": "2034-10-01",
                    "lines": {"part": {"component": "rotor_housing", "net": "300.00"}},
                },
            },
            "cases": [{"name": "covered for life", "expect": {"part": {"outcome": "pay"}}}],
        }
    )
    book = load_policies(FIXTURES, only={"quillfen-implement@1"}).book
    missing = [path for _, path in untouched_clauses(list(runner.run(table)), book)]
    assert "carve_outs[0]" in missing
    assert "carve_outs[1]" not in missing


def test_no_case_is_asked_for_a_rule_that_no_line_can_reach() -> None:
    """The machine coverage names all eight kinds of items, so nothing is left for its rule for anything else."""
    book = load_policies(FIXTURES, only={"quillfen-base@1"}).book
    missing = [path for _, path in untouched_clauses([], book)]
    assert "pays.supplies" in missing
    assert "pays.anything_else" not in missing


def test_records_may_be_written_as_lists_with_their_ids(runner: CaseRunner) -> None:
    """The same claim with its line as a list, and a reading of 1,001 h on file, which is past the cap of 1,000 h."""
    line = {"line": "pump", "component": "hydrostatic_pump", "net": "1000.00"}
    told = mismatches(
        runner,
        {"pump": {"outcome": "deny", "only_reasons": ["hour_limit_passed"]}},
        machine={"readings": [{"id": "r1", "on": "2025-03-01", "hours": 1001}]},
        claim={"lines": [line], "reading": 1002},
    )
    assert told == []


@pytest.mark.parametrize(
    ("field", "code", "words", "way_out"),
    [
        ("no_reasons", "term_elapsd", "is the code of no reason or note", "Did you mean term_elapsed?"),
        ("reasons", "zzz", "is the code of no reason or note", "The table in DEVELOPERS.md lists them all."),
        ("only_reasons", "service_cured", "is the code of a note", "Write it under notes."),
        ("no_reasons", "service_cured", "is the code of a note", "Write it under notes."),
        ("notes", "term_elapsed", "is the code of a reason", "Write it under reasons."),
        ("notes", "service_curd", "is the code of no reason or note", "Did you mean service_cured?"),
    ],
)
def test_a_code_that_could_never_be_found_is_refused(
    runner: CaseRunner, field: str, code: str, words: str, way_out: str
) -> None:
    with pytest.raises(WrongExpectation) as raised:
        mismatches(runner, {"pump": {field: [code]}})
    assert str(raised.value) == f"{code} {words}"
    assert (raised.value.way_out, raised.value.at) == (way_out, ("expect", "pump", field))


@pytest.mark.parametrize(
    ("changes", "place", "has"),
    [
        ({"services": {"s9": None}}, ("services", "s9"), "It has none."),
        ({"claim": {"lines": {"pmup": None}}}, ("claim", "lines", "pmup"), "It has pump, work."),
        ({"machine": {"readings": {"r9": None}}}, ("machine", "readings", "r9"), "It has none."),
        ({"tables": {"prices": None}}, ("tables", "prices"), "It has none."),
        ({"earlier_payments": {"P-9": None}}, ("earlier_payments", "P-9"), "It has none."),
    ],
)
def test_a_record_that_the_base_does_not_have_is_not_taken_away(
    runner: CaseRunner, changes: dict[str, Any], place: tuple[str, ...], has: str
) -> None:
    with pytest.raises(CaseFault) as raised:
        mismatches(runner, {"pump": {"outcome": "pay"}}, **changes)
    assert str(raised.value) == f'"{place[-1]}" is taken away, and the base has none of that name'
    assert (raised.value.way_out, raised.value.at) == (has, place)


@pytest.mark.parametrize(
    ("expect", "case", "words"),
    [
        ({"pump": {}}, {}, "nothing is expected of this line, so it always holds"),
        ({"pump": {"outcome": "pay"}, "work": {}}, {}, "nothing is expected of this line, so it always holds"),
        ({}, {}, "at least 1 item"),
        ({"pump": {"reasons": []}}, {}, "at least 1 item"),
        ({"pump": {"no_reasons": []}}, {}, "at least 1 item"),
        ({"pump": {"notes": []}}, {}, "at least 1 item"),
        ({"pump": {"says": []}}, {}, "at least 1 item"),
        ({"pump": {"says": [""]}}, {}, "at least 1 character"),
        ({"pump": {"outcome": "pay"}}, {"remedy": {}}, "at least 1 item"),
    ],
)
def test_a_case_that_expects_nothing_is_refused(
    runner: CaseRunner, expect: Mapping[str, Any], case: Mapping[str, Any], words: str
) -> None:
    with pytest.raises(ValidationError, match=words):
        mismatches(runner, expect, **case)


def test_no_reason_at_all_and_no_question_are_expectations(runner: CaseRunner) -> None:
    """An empty list under only_reasons and questions is compared exactly, and can fail."""
    assert mismatches(runner, {"pump": {"only_reasons": []}}, questions=[]) == []
    assert mismatches(runner, {"work": {"only_reasons": []}}) == ["work: reasons expected none, got item_period_over"]
