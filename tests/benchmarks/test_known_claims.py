"""What the benchmark rests on: claims in which every fact is known, and engines that decide alike."""

import random
from collections import Counter
from itertools import pairwise

import pytest

from rules.adjudicate import Adjudicator
from rules.policy_book.book import build_book
from schemas.claim_file import ClaimFile
from tests.benchmarks.adjudicate import FIXTURES, policies
from tests.benchmarks.doubts import DOUBTS, cost_of
from tests.benchmarks.engines import HostAdjudicator, PlainAdjudicator
from tests.benchmarks.measuring import counted_worlds
from tests.generated_known import KnownClaimFiles
from tests.reference.fixture_books import BOOKS, POLICIES, Names, book_of

pytestmark = pytest.mark.fast

DOCUMENTS, CONVENTIONS = policies(FIXTURES / "demo")
BOOK = build_book(DOCUMENTS, CONVENTIONS)


@pytest.mark.parametrize("services", [0, 10, 60])
def test_a_known_claim_has_one_world_and_any_outcome(services: int) -> None:
    generator, counts, kinds, outcomes = KnownClaimFiles(DOCUMENTS, 5), list[int](), Counter[str](), Counter[str]()
    with Adjudicator(BOOK) as adjudicator, counted_worlds(counts, kinds):
        for _ in range(120):
            decision = adjudicator.decide(generator.draw(services=services), remedies=False)
            outcomes.update(line.outcome for line in decision.lines)
    assert counts == [1] * 120, kinds
    assert set(outcomes) == {"pay", "pay_part", "pay_zero", "deny", "refer"}


@pytest.mark.parametrize("names", BOOKS, ids="+".join)
def test_a_known_claim_has_one_world_under_every_policy(names: Names) -> None:
    generator, counts, kinds = KnownClaimFiles([POLICIES[name] for name in names], 26), list[int](), Counter[str]()
    with Adjudicator(book_of(names)) as adjudicator, counted_worlds(counts, kinds):
        for _ in range(10):
            adjudicator.decide(generator.draw(), remedies=False)
    assert counts == [1] * 10, kinds


def test_a_longer_history_changes_nothing_else() -> None:
    short, long = KnownClaimFiles(DOCUMENTS, 7), KnownClaimFiles(DOCUMENTS, 7)
    for _ in range(40):
        few, many = short.draw(lines=4, services=10), long.draw(lines=4, services=100)
        assert (len(few.services), len(many.services)) == (10, 100)
        assert few.claim.lines == many.claim.lines
        assert (few.claim.failed_on, few.tables, few.decided_on) == (many.claim.failed_on, many.tables, many.decided_on)
        assert few.machine.components == many.machine.components


def test_readings_of_a_known_claim_never_fall_on_one_meter() -> None:
    generator = KnownClaimFiles(DOCUMENTS, 8, readings=20)
    for file in (generator.draw(services=30) for _ in range(40)):
        changed = [change.on for change in file.machine.meter_changes]
        rows = [(s.on, s.reading) for s in file.services] + [(r.on, r.hours) for r in file.machine.readings]
        rows.append((file.claim.failed_on, file.claim.reading))
        read = sorted(row for row in rows if row[1] is not None)
        assert all(
            earlier[1] <= later[1] or any(earlier[0] < on <= later[0] for on in changed)
            for earlier, later in pairwise(read)
        )


def test_other_engines_in_the_drivers_place_decide_alike() -> None:
    generator = KnownClaimFiles(DOCUMENTS, 9)
    files = [generator.draw(services=10) for _ in range(60)]
    with Adjudicator(BOOK) as driver, HostAdjudicator(BOOK) as host, PlainAdjudicator(BOOK) as plain:
        for file in files:
            expected = driver.decide(file, remedies=False).digests
            assert host.decide(file, remedies=False).digests == expected
            assert plain.decide(file, remedies=False).digests == expected


@pytest.mark.parametrize("name", ["a service without a reading", "no reading at the failure", "cause not stated"])
def test_a_doubt_opens_a_fact(name: str) -> None:
    with Adjudicator(BOOK) as adjudicator:
        cost = cost_of(DOUBTS[name], adjudicator, DOCUMENTS, services=10, seconds=0.5)
    assert cost is not None
    assert cost.worlds > 1


def test_every_doubt_leaves_a_valid_claim_file() -> None:
    """Each spoils one claim in some hundred at least, and what it leaves is still a claim file."""
    for name, spoil in DOUBTS.items():
        generator, rng = KnownClaimFiles(DOCUMENTS, 7), random.Random(11)
        spoilt = [tree for tree in (generator.draw_tree(lines=4, services=20) for _ in range(60)) if spoil(rng, tree)]
        assert spoilt, name
        for tree in spoilt:
            ClaimFile.model_validate(tree)
