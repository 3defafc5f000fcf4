"""A claim with more open facts than can be looked at: what does not hang on them is decided all the same."""

from typing import Any

import pytest

from rules.adjudicate import Adjudicator
from schemas.claim import Claim
from schemas.decision import Decision
from tests.fixtures_scenario.scenario import scenario

pytestmark = pytest.mark.fast


def decided_with(*lines: dict[str, Any]) -> Decision:
    """Decide claim C-3074 of the demo, of whose engine too much is open, with more lines."""
    claim = scenario().claims["C-3074"]
    tree = claim.model_dump(mode="json", by_alias=True)
    changed = Claim.model_validate({**tree, "lines": [*tree["lines"], *lines]})
    with Adjudicator(scenario().policies.book) as adjudicator:
        return adjudicator.decide(scenario().claim_file(changed))


def test_a_line_that_no_coverage_names_is_not_held() -> None:
    """The base coverage leaves the traction battery out, and the battery's own is for other models: both are told."""
    decision = decided_with({"line": "9", "item": "parts", "component": "traction_battery", "net": "80.00"})
    held, refused = (next(line for line in decision.lines if line.line == number) for number in ("1", "9"))
    assert "too_many_open_facts" in {reason.code for reason in held.reasons}
    assert held.outcome == "refer"
    assert refused.outcome == "deny"
    assert refused.owner_owes == refused.claimed
    assert {reason.code for reason in refused.reasons} == {"component_not_named", "model_not_named"}


def test_a_line_that_a_coverage_names_is_held_with_the_others() -> None:
    decision = decided_with({"line": "9", "item": "parts", "component": "engine", "net": "80.00"})
    (held,) = (line for line in decision.lines if line.line == "9")
    assert (held.outcome, held.maker_pays) == ("refer", 0)
    assert "too_many_open_facts" in {reason.code for reason in held.reasons}
