"""Taking a fact away never makes a denial of what was not denied, and never promises more than the fact did."""

import copy
import random
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.adjudicate import Adjudicator
from schemas.claim_file import ClaimFile
from schemas.decision import Decision
from tests.generated_claims import components_of
from tests.reference.fixture_books import BOOKS, POLICIES, book_of, claims_for

pytestmark = pytest.mark.fast

Tree = dict[str, Any]


def _without(*path: str) -> Callable[[Tree, random.Random], None]:
    def take(tree: Tree, rng: random.Random) -> None:
        node: Any = tree
        for step in path[:-1]:
            node = node[step]
            if isinstance(node, list):
                if not node:
                    return
                node = rng.choice(node)
        node.pop(path[-1], None)

    return take


TAKEN_AWAY = {
    "/".join(path): _without(*path)
    for path in (
        ("claim", "reading"),
        ("claim", "cause"),
        ("claim", "reported_on"),
        ("claim", "part_received_on"),
        ("claim", "repair_ended_on"),
        ("machine", "records_complete_from"),
        ("services", "reading"),
        ("services", "by"),
        ("services", "evidence"),
        ("services", "fluids"),
        ("services", "inspected"),
        ("claim", "lines", "invoice"),
        ("claim", "lines", "wear"),
        ("machine", "components", "fitted_at"),
        ("machine", "use"),
        ("machine", "region"),
    )
}


@settings(max_examples=200, deadline=None)
@given(
    names=st.sampled_from([names for names in BOOKS if len(names) < 5]),
    seed=st.integers(0, 10**6),
    what=st.sampled_from(sorted(TAKEN_AWAY)),
)
def test_a_fact_taken_away_never_denies(names: tuple[str, ...], seed: int, what: str) -> None:
    tree = claims_for(names, seed, 0).draw_tree(lines=2)
    tree["machine"].pop("meter_changes", None)
    wider = copy.deepcopy(tree)
    TAKEN_AWAY[what](wider, random.Random(seed))
    with Adjudicator(book_of(names)) as adjudicator:
        known = adjudicator.decide(ClaimFile.model_validate(tree), remedies=False)
        unknown = adjudicator.decide(ClaimFile.model_validate(wider), remedies=False)
    _never_adverse(known, unknown)


@settings(max_examples=100, deadline=None)
@given(
    names=st.sampled_from([names for names in BOOKS if len(names) < 5]),
    seed=st.integers(0, 10**6),
    failed=st.integers(0, 10**6),
)
def test_a_component_that_nothing_tells_never_denies(names: tuple[str, ...], seed: int, failed: int) -> None:
    tree = claims_for(names, seed, 0).draw_tree(lines=2)
    tree["machine"].pop("meter_changes", None)
    for line in tree["claim"]["lines"]:
        line.pop("component", None)
        line.pop("part_number", None)
    named = [c for name in names for c in components_of(POLICIES[name])]
    tree["claim"]["component"] = named[failed % len(named)]
    wider = copy.deepcopy(tree)
    wider["claim"].pop("component")
    with Adjudicator(book_of(names)) as adjudicator:
        known = adjudicator.decide(ClaimFile.model_validate(tree), remedies=False)
        unknown = adjudicator.decide(ClaimFile.model_validate(wider), remedies=False)
    _never_adverse(known, unknown)
    told = {line.component for line in unknown.lines}
    assert told == {None}, "a component that is true of one world alone is told to nobody"


def _never_adverse(known: Decision, unknown: Decision) -> None:
    for before, after in zip(known.lines, unknown.lines, strict=True):
        if before.outcome != "deny":
            assert after.outcome != "deny", (before, after)
        if before.outcome not in ("need_info", "refer") and before.currency == after.currency:
            assert after.maker_pays <= before.maker_pays, (before, after)
            assert after.owner_owes <= before.owner_owes, (before, after)
            assert after.dealer_bears <= before.dealer_bears, (before, after)
