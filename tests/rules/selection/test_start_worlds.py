"""A start of term that is not on file never turns an answer into a denial that some possible start would not give."""

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.adjudicate import Adjudicator
from rules.policy_book.book import build_book
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.decision import LineDecision
from schemas.policy.document import CoveragePolicy
from service.policy_files import read_policy_source

pytestmark = pytest.mark.fast

SOURCE = read_policy_source(Path(__file__).parents[3] / "fixtures")
CIVIL = Conventions.model_validate(SOURCE.conventions["common-civil@1"])
BUILT = date(2021, 6, 1)
DAYS = st.integers(0, 1500)


@pytest.fixture(scope="module", params=["reference", "term-versions"])
def adjudicator(request: pytest.FixtureRequest) -> Iterator[Adjudicator]:
    policies = []
    for name, tree in SOURCE.policies.items():
        if name.startswith(f"{request.param}@"):
            term = {**dict(tree["term"]), "starts": {"earliest_of": ["retail_delivery"]}}
            policies.append(CoveragePolicy.model_validate({**tree, "term": term}))
    with Adjudicator(build_book(policies, [CIVIL])) as made:
        yield made


def decided(adjudicator: Adjudicator, failed: int, served: list[int], start: date | None) -> tuple[LineDecision, ...]:
    machine: dict[str, Any] = {
        "serial": "M-1",
        "model": "RM10",
        "built_on": BUILT.isoformat(),
        "events": {} if start is None else {"retail_delivery": start.isoformat()},
        "use": "commercial",
        "region": "XX",
        "records_complete_from": BUILT.isoformat(),
    }
    services = [
        {
            "record": f"S-{day}",
            "serial": "M-1",
            "on": (BUILT + timedelta(days=day)).isoformat(),
            "reading": 50,
            "tasks": ["break_in", "recurring"],
            "by": "authorised_dealer",
            "evidence": ["dealer_invoice"],
        }
        for day in sorted(set(served))
        if 3 <= day <= failed
    ]
    claim = {
        "claim": "C-1",
        "serial": "M-1",
        "dealer": "D-1",
        "currency": "EUR",
        "failed_on": (BUILT + timedelta(days=failed)).isoformat(),
        "reading": 55,
        "lines": [
            {"line": "a", "item": "parts", "component": "hydrostatic_pump", "net": "1000.00"},
            {"line": "b", "item": "parts", "component": "lamp", "net": "100.00"},
            {"line": "c", "item": "labour", "component": "hydrostatic_pump", "hours": 2, "rate": "95.00"},
        ],
    }
    claim_file = ClaimFile.model_validate(
        {
            "machine": machine,
            "services": services,
            "claim": claim,
            "dealer": {"dealer": "D-1", "region": "XX", "currency": "EUR"},
            "currency_exponents": {"EUR": 2},
            "decided_on": (BUILT + timedelta(days=failed + 10)).isoformat(),
        }
    )
    return adjudicator.decide(claim_file, remedies=False).lines


@settings(max_examples=12, deadline=None)
@given(failed=st.integers(10, 1500), served=st.lists(DAYS, max_size=2), started=DAYS)
def test_an_unknown_start_is_never_adverse(
    adjudicator: Adjudicator, failed: int, served: list[int], started: int
) -> None:
    hidden = decided(adjudicator, failed, served, None)
    known = decided(adjudicator, failed, served, BUILT + timedelta(days=min(started, failed)))
    for without, with_start in zip(hidden, known, strict=True):
        if without.outcome in ("need_info", "refer"):
            assert without.maker_pays <= with_start.maker_pays
        else:
            assert (without.outcome, without.maker_pays) == (with_start.outcome, with_start.maker_pays)
