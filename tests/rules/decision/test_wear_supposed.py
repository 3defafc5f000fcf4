"""Wear that nobody measured is told as supposed, never with the share that the engine tried."""

from typing import Any

import pytest

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.decision import LineDecision

pytestmark = pytest.mark.fast

BY_WEAR = {
    "clause": "3",
    "axes": [{"by": "wear", "share": {"zero_at": 1, "credit": "whole_term", "free_until": 0}}],
    "wear_floor": 2,
    "items": ["parts"],
    "owner_pays_on": "allowed_amount",
    "borne_by": "owner",
}
TO_THREE_QUARTERS = {"ends": {"first_of": [{"months": 24}, {"wear": "3/4"}]}}


def decided(runner: CaseRunner, wear: dict[str, int] | None, **terms: Any) -> LineDecision:
    line = {"component": "hydrostatic_pump", "net": "1000.00", **({"wear": wear} if wear else {})}
    table = CaseTable.model_validate(
        {
            "policies": ["term-plain@1"],
            "base": {
                "machine": {"model": "RM10", "retail_delivery": "2024-03-01", "built_on": "2024-01-01"},
                "claim": {"failed_on": "2024-06-01", "reading": 300, "lines": {"pump": line}},
            },
            "cases": [
                {
                    "name": "a pump whose share falls with its wear",
                    "terms": {"term-plain@1": {"prorating": BY_WEAR, **terms}},
                    "expect": {"pump": {"claimed": "1150.00"}},
                }
            ],
        }
    )
    (result,) = runner.run(table)
    (found,) = result.decision.lines
    return found


def test_a_limit_of_wear_that_nobody_measured_is_supposed_to_be_passed(runner: CaseRunner) -> None:
    line = decided(runner, None, term=TO_THREE_QUARTERS)
    assert line.outcome == "need_info"
    assert line.share is None
    (reason,) = (reason for reason in line.reasons if reason.code == "worn_out")
    assert ("supposed wear", "beyond 3/4, for none was measured") in reason.facts
    assert reason.comparison is None


def test_a_share_by_wear_that_nobody_measured_is_open(runner: CaseRunner) -> None:
    line = decided(runner, None)
    assert line.outcome == "need_info"
    assert line.share is None
    for reason in line.reasons:
        assert "000000" not in str(reason.facts), reason.code


def test_a_measured_wear_is_told_with_its_share(runner: CaseRunner) -> None:
    """46 new and 24 left of a pump used up at 2 is half worn: half of 1,150.00 is paid."""
    line = decided(runner, {"new": 46, "left": 24}, term=TO_THREE_QUARTERS)
    assert (line.outcome, line.share, str(line.maker_pays)) == ("pay_part", "1/2", "575.00")
    assert not any(name == "supposed wear" for reason in line.reasons for name, _ in reason.facts)
