"""Days tried for a start of term that is not on file: each side of every day on which an answer turns, worked by hand.

Built on 1 January 2024, failed on 16 June 2025, so that the start lies between. Under the plain terms 24 months are
long enough from any of these days; labour has 12 months, which reach the failure from 17 June 2024 on.
"""

from collections.abc import Mapping
from datetime import date
from typing import Any

import pytest

from rules.cases.facts import merged
from rules.measures.starts import days_that_matter, start_of_term
from rules.open_facts import explore
from rules.policy_book.compiled import compile_policy
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from service.policy_files import read_policy_source
from service.shipped import FIXTURES

pytestmark = pytest.mark.fast

SOURCE = read_policy_source(FIXTURES)
ENDS = ("2024-01-01", "2025-06-16")
LABOUR = ("2024-06-16", "2024-06-17")
STEPS = {"clause": "3", "items": ["parts"], "owner_pays_on": "allowed_amount", "borne_by": "owner"}


def shares(by: str, *steps: tuple[int, str]) -> dict[str, Any]:
    return {"prorating": {**STEPS, "axes": [{"by": by, "share": {"steps": [[0, 1], *map(list, steps)]}}]}}


def days_tried(terms: Mapping[str, Any], machine: Mapping[str, Any], claim: Mapping[str, Any]) -> set[str]:
    """Return the days that the worlds of a claim take for the start."""
    plain = {"term": {"starts": {"earliest_of": ["retail_delivery"], "otherwise": []}}}
    tree = merged(merged(SOURCE.policies["term-plain@1"], plain), terms)
    conventions = Conventions.model_validate(SOURCE.conventions["common-civil@1"])
    policy = compile_policy(CoveragePolicy.model_validate(tree), conventions, {})
    line = {"line": "a", "item": "parts", "component": "pump", "net": "1.00"}
    claimed = {"claim": "C-1", "serial": "M-1", "dealer": "D-1", "currency": "EUR", "failed_on": "2025-06-16"}
    document = {
        "machine": {
            "serial": "M-1",
            "model": "RM10",
            "built_on": "2024-01-01",
            "use": "commercial",
            "region": "XX",
            **machine,
        },
        "services": [],
        "claim": {**claimed, "lines": [line], **claim},
        "dealer": {"dealer": "D-1", "region": "XX", "currency": "EUR"},
        "currency_exponents": {"EUR": 2},
        "decided_on": "2025-07-01",
    }
    claim_file = ClaimFile.model_validate(document)
    starts = policy.terms.term.starts
    found = explore(lambda world: start_of_term(policy, starts, claim_file, world), {})
    return {start.isoformat() for _, (start, _) in found.results}


ROWS: tuple[tuple[str, dict[str, Any], dict[str, Any], dict[str, Any], tuple[str, ...]], ...] = (
    ("12 months of labour", {}, {}, {}, LABOUR),
    ("in force from 1 March", {"in_force": {"from": "2024-03-01"}}, {}, {}, (*LABOUR, "2024-02-29", "2024-03-01")),
    (
        "in force until 30 September",
        {"in_force": {"until": "2024-09-30"}},
        {},
        {},
        (*LABOUR, "2024-09-30", "2024-10-01"),
    ),
    (
        # 8 March + 100 days = 16 June, which is covered
        "100 days of labour",
        {"pays": {"labour": {"until": {"first_of": [{"days": 100}]}}}},
        {},
        {},
        ("2025-03-07", "2025-03-08"),
    ),
    (
        "a limit that counts from another event turns nothing",
        {"pays": {"labour": {"until": {"first_of": [{"months": 9, "from": "shipped"}]}}}},
        {},
        {},
        (),
    ),
    (
        "parts or labour after 9 months",
        {
            "pays": {
                "either_or": {
                    "clause": "4",
                    "items": ["parts", "labour"],
                    "after": {"months": 9},
                    "picks": "higher",
                    "borne_by": "owner",
                }
            }
        },
        {},
        {},
        (*LABOUR, "2024-09-16", "2024-09-17"),
    ),
    (
        # six months are complete from 16 December on, and the seventh has begun from 15 December on; the first month
        # begins on the day after the start
        "a share that falls after 6 complete months",
        shares("complete_months", (6, "1/2")),
        {},
        {},
        (*LABOUR, "2024-12-15", "2024-12-16", "2024-12-17", "2025-06-15"),
    ),
    (
        # 18 March + 90 days = 16 June
        "a share that falls after 3 units of 30 days",
        shares("begun_30_day_units", (3, "1/2")),
        {},
        {},
        (*LABOUR, "2025-03-17", "2025-03-18", "2025-03-19", "2025-06-15"),
    ),
    ("a share by hours asks for no day", shares("machine_hours", (500, "1/2")), {}, {}, LABOUR),
    (
        "records complete from 1 August",
        {},
        {"records_complete_from": "2024-08-01"},
        {},
        (*LABOUR, "2024-07-31", "2024-08-01"),
    ),
    (
        "a reading of 5 May and a demonstration of 4 April",
        {},
        {
            "readings": [{"id": "R", "on": "2024-05-05", "hours": 10}],
            "demonstrations": [{"on": "2024-04-04", "hours": 5}],
        },
        {},
        (*LABOUR, "2024-05-04", "2024-05-05", "2024-04-03", "2024-04-04"),
    ),
    (
        # the 12 months reach the day of the report from 24 June 2024 on
        "reported on 23 June, which may be the tested day",
        {},
        {},
        {"reported_on": "2025-06-23"},
        (*LABOUR, "2024-06-23", "2024-06-24"),
    ),
)


@pytest.mark.parametrize(("terms", "machine", "claim", "days"), [r[1:] for r in ROWS], ids=[r[0] for r in ROWS])
def test_days_on_each_side_of_what_turns(
    terms: dict[str, Any], machine: dict[str, Any], claim: dict[str, Any], days: tuple[str, ...]
) -> None:
    assert days_tried(terms, machine, claim) == {*ENDS, *days}


def test_days_that_matter_stand_latest_first() -> None:
    low, high = date(2024, 1, 1).toordinal(), date(2024, 1, 31).toordinal()
    assert days_that_matter(low, high, [lambda d: d >= low + 10]) == (high, low + 10, low + 9, low)
    assert days_that_matter(low, high, [lambda d: d >= low, lambda d: d > high]) == (high, low)
    assert days_that_matter(low, high, [lambda d: d > low]) == (high, low + 1, low)
    assert days_that_matter(high, high, [lambda d: d >= high]) == (high,)
    assert days_that_matter(high, low, []) == (low,)
