"""Of several services that a line lacks, each is asked for by what it lacks itself: its time, or the right hands."""

from collections.abc import Mapping
from typing import Any

import pytest

from rules.cases.run import CaseRunner
from tests.rules.decision.test_remedies import remedies

pytestmark = pytest.mark.fast

# Terms: fixtures/cases/policies/two-services-1.yaml, at 300 h and 15 months. The oil is due at 250 h (225 to 275 h),
# the inspection on 2 March 2021 (31 January to 1 April); only an authorised dealer's work counts.
OIL = "the oil services due at 250.0 h"
YEARLY = "the yearly services due at 2 March 2021"


def done(task: str, on: str, reading: int) -> Mapping[str, Any]:
    """Return a service by an independent workshop, proven, inside its window."""
    return {"on": on, "reading": reading, "tasks": [task], "by": "independent", "evidence": ["dealer_invoice"]}


@pytest.mark.parametrize(
    ("services", "oil", "yearly"),
    [
        ({}, "in time", "in time"),
        ({"s1": done("oil_change", "2021-02-01", 250)}, "by an authorised dealer", "in time"),
        ({"s1": done("inspection", "2021-03-02", 240)}, "in time", "by an authorised dealer"),
        (
            {"s1": done("oil_change", "2021-02-01", 250), "s2": done("inspection", "2021-03-02", 260)},
            "by an authorised dealer",
            "by an authorised dealer",
        ),
    ],
)
def test_the_letter_asks_for_each_service_by_what_it_lacks(
    runner: CaseRunner, services: Mapping[str, Any], oil: str, yearly: str
) -> None:
    (remedy,) = remedies(runner, {}, services=services)
    wanted = [f"if {OIL} were done {oil}, their records", f"if {YEARLY} were done {yearly}, their records"]
    assert sorted(remedy.letter_words.split(" and ")) == wanted
    assert remedy.outcome == "pay"
