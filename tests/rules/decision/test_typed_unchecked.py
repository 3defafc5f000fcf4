"""A price, rate or time that no table could be held against is paid as typed where the terms say so, and noted."""

from collections.abc import Mapping
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/money-1.yaml, parts at dealer net with 15 % handling, labour the lesser of actual and
# flat-rate time, where an operation without one counts as worked. Diagnosis is paid up to half an hour.
PRICES = {"kind": "prices", "currency": "EUR", "rows": [{"part": "P-1", "net": "120.00", "from": "2024-01-01"}]}
RATES = {"kind": "labour_rates", "currency": "EUR", "rows": [{"dealer": "D-1", "rate": "95.00", "from": "2024-01-01"}]}
TIMES = {"kind": "flat_times", "rows": [{"operations": ["O-1"], "hours": "2.6", "from": "2024-01-01"}]}
PART = {"item": "parts", "component": "wheel_drive", "part_number": "P-1", "net": "100.00"}
WORK = {"item": "labour", "component": "wheel_drive", "operation": "O-1", "hours": "2.0", "rate": "90.00"}
LOOK = {"item": "diagnosis", "component": "wheel_drive", "hours": "0.5", "rate": "90.00"}
NO_PRICES = "A price, rate, time or fluid was taken as typed. No price list is on file."
NO_RATES = "A price, rate, time or fluid was taken as typed. No table of labour rates is on file."
NO_TIMES = "A price, rate, time or fluid was taken as typed. No table of flat-rate times is on file."
NO_TIME_OF_O2 = "A price, rate, time or fluid was taken as typed. Operation O-2 has no flat-rate time on the day."


def noted(runner: CaseRunner, line: Mapping[str, Any], tables: Mapping[str, Any], **claim: Any) -> list[str]:
    """Return what the line's notes say was taken as typed."""
    table = CaseTable.model_validate(
        {
            "policies": ["money@1"],
            "base": {
                "machine": {"model": "RM10", "retail_delivery": "2025-01-10", "records_complete_from": "2025-01-10"},
                "claim": {
                    "dealer": "D-1",
                    "failed_on": "2025-06-16",
                    "repair_ended_on": "2025-06-20",
                    "submitted_on": "2025-07-01",
                    "lines": {"a": line},
                    **claim,
                },
                "tables": dict(tables),
            },
            "cases": [{"name": "typed and held against", "expect": {"a": {"added": "0.00"}}}],
        }
    )
    (result,) = runner.run(table)
    assert not result.mismatches
    return [note.words for note in result.decision.lines[0].notes if note.code == "typed_unchecked"]


@pytest.mark.parametrize(
    ("line", "tables", "words"),
    [
        (PART, {}, [NO_PRICES]),
        (PART, {"prices": PRICES}, []),
        (WORK, {"rates": RATES}, [NO_TIMES]),
        (WORK, {"times": TIMES}, [NO_RATES]),
        (WORK, {}, [NO_TIMES, NO_RATES]),
        (WORK, {"times": TIMES, "rates": RATES}, []),
        ({**WORK, "operation": "O-2"}, {"times": TIMES, "rates": RATES}, [NO_TIME_OF_O2]),
        (LOOK, {}, [NO_RATES]),
        (LOOK, {"rates": RATES}, []),
    ],
)
def test_what_no_table_could_be_held_against_is_noted(
    runner: CaseRunner, line: Mapping[str, Any], tables: Mapping[str, Any], words: list[str]
) -> None:
    assert sorted(noted(runner, line, tables)) == sorted(words)


def test_of_a_line_that_is_not_covered_nothing_was_taken(runner: CaseRunner) -> None:
    """The term of 60 months ended on 9 January 2030."""
    late = {"failed_on": "2030-06-16", "repair_ended_on": "2030-06-20", "submitted_on": "2030-07-01"}
    assert noted(runner, PART, {}, **late) == []
