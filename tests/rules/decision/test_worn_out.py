"""A part worn past a limit: the decision shows its worn share, the limit and what it was measured from."""

import copy
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from rules.decision.catalogue import PRECEDENCE
from schemas.cases import CaseTable
from schemas.decision import Comparison
from tests.reference.checker import check

pytestmark = pytest.mark.fast

TERMS = {
    "term": {"ends": {"first_of": [{"wear": "1/2"}]}},
    "prorating": {
        "clause": "7",
        "axes": [{"by": "wear", "share": {"steps": [[0, 1]]}}],
        "wear_floor": 2,
        "items": ["parts"],
        "owner_pays_on": "allowed_amount",
        "borne_by": "owner",
    },
}


def _table() -> CaseTable:
    line = {"component": "tyre", "net": "1000.00", "wear": {"new": 46, "left": 13}}
    base = {
        "machine": {"model": "RM10", "retail_delivery": "2024-03-01"},
        "claim": {"failed_on": "2024-09-01", "reading": 30, "lines": {"tyre": line}},
    }
    case = {
        "name": "worn to three quarters",
        "terms": {"reference@1": TERMS},
        "expect": {"tyre": {"only_reasons": ["worn_out"]}},
    }
    return CaseTable.model_validate({"policies": ["reference@1"], "base": base, "cases": [case]})


def test_the_worn_share_stands_beside_the_limit_and_the_checker_works_it_again(runner: CaseRunner) -> None:
    """33 of the 44 from 46 new to 2 are gone, three quarters; the term ends at a half."""
    (result,) = runner.run(_table())
    assert not result.mismatches
    (reason,) = result.decision.lines[0].reasons
    assert reason.comparison == Comparison("worn share", "3/4", ">", "1/2", "share")
    assert reason.facts[-3:] == (("new", "46"), ("left", "13"), ("used up at", "2"))
    document: dict[str, Any] = result.decision.document
    assert check(document, PRECEDENCE) == []
    for path, value in (("left", "4/5"), ("quantity", "hours")):
        tampered = copy.deepcopy(document)
        tampered["lines"][0]["reasons"][0]["comparison"][path] = value
        assert any("worn" in text for text in check(tampered, PRECEDENCE))
