"""The order in which lines, records, rows and policies are handed in plays no part in a decision."""

import random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.adjudicate import Adjudicator
from rules.policy_book.book import build_book
from schemas.claim_file import ClaimFile
from tests.reference.fixture_books import BOOKS, CONVENTIONS, POLICIES, claims_for

pytestmark = pytest.mark.fast

LISTS = ("readings", "meter_changes", "components", "storage", "alterations", "demonstrations", "bookings", "owners")


def shuffled(tree: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    """Return a claim file's tree with every list in another order."""
    mixed = {**tree, "machine": dict(tree["machine"]), "claim": dict(tree["claim"])}
    mixed["tables"] = [{**table, "rows": rng.sample(table["rows"], len(table["rows"]))} for table in tree["tables"]]
    for holder, names in (
        (mixed, ("services", "tables", "earlier_payments")),
        (mixed["machine"], LISTS),
        (mixed["claim"], ("lines", "questions")),
    ):
        for name in names:
            if name in holder:
                holder[name] = rng.sample(holder[name], len(holder[name]))
    mixed["services"] = [
        {**record, **{k: rng.sample(record[k], len(record[k])) for k in ("tasks", "evidence", "fluids") if k in record}}
        for record in mixed["services"]
    ]
    return mixed


@settings(max_examples=50, deadline=None)
@given(names=st.sampled_from(BOOKS), seed=st.integers(0, 10**6), mess=st.sampled_from([0.0, 0.0, 0.3]))
def test_input_order_changes_nothing(names: tuple[str, ...], seed: int, mess: float) -> None:
    rng = random.Random(seed)
    tree = claims_for(names, seed, mess).draw_tree()
    terms = [POLICIES[name] for name in names]
    again = rng.sample(terms, len(terms))
    conventions = list(CONVENTIONS.values())
    with Adjudicator(build_book(terms, conventions)) as one, Adjudicator(build_book(again, conventions[::-1])) as other:
        first = one.decide(ClaimFile.model_validate(tree), remedies=False)
        second = other.decide(ClaimFile.model_validate(shuffled(tree, rng)), remedies=False)
    assert first.document["lines"] == second.document["lines"]
    assert first.digests.outcome == second.digests.outcome
    assert first.digests.claim_file == second.digests.claim_file
