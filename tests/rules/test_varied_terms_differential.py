"""Engine and reference decide alike under terms and conventions that no fixture states, and differences are seen."""

import random
from collections import Counter

import pytest

from rules.adjudicate import Adjudicator
from rules.policy_book.book import build_book
from schemas.policy.document import CoveragePolicy
from tests.generation import ClaimFiles
from tests.reference.adjudication import Book
from tests.reference.fixture_books import BOOKS, CONVENTIONS, POLICIES
from tests.reference.varied_terms import varied_conventions, varied_policy
from tests.rules.test_reference_differential import differences

SMALL = [names for names in BOOKS if len(names) < 5]


def run(seed: int, books: int, claims: int) -> tuple[list[str], Counter[str], int]:
    """Return the differences over drawn books, what was seen, and how many policies were varied."""
    rng = random.Random(seed)
    found, seen, varied = list[str](), Counter[str](), 0
    for _ in range(books):
        names = rng.choice(SMALL)
        conventions = {name: varied_conventions(each, rng) for name, each in CONVENTIONS.items()}
        terms = {name: varied_policy(POLICIES[name], rng) for name in names}
        varied += sum(terms[name] != POLICIES[name] for name in names)
        book: Book = {name: (policy, conventions[str(policy.conventions)]) for name, policy in terms.items()}
        files = ClaimFiles(list(terms.values()), rng.randint(0, 10**9), rng.choice((0.0, 0.0, 0.2)))
        with Adjudicator(build_book(list(terms.values()), conventions.values())) as adjudicator:
            for _ in range(claims):
                claim_file = files.draw()
                found += differences(book, claim_file, adjudicator.decide(claim_file, remedies=False), seen)
    return found, seen, varied


@pytest.mark.parametrize("seed", range(6))
def test_engine_and_reference_decide_alike_under_drawn_terms(seed: int) -> None:
    found, seen, varied = run(seed, 20, 5)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])
    assert varied > 10
    assert seen["pay"] > 0
    assert seen["pay_part"] > 0


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 160))
def test_engine_and_reference_decide_alike_under_many_drawn_terms(seed: int) -> None:
    found, _, _ = run(seed, 30, 8)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])


# What the reference is told differently from the engine: every one must show.
WRONG = {
    "handling": {"pays": {"parts": {"handling": "16%"}}},
    "bearer": {"pays": {"parts": {"excess_borne_by": "owner"}}},
    "months": {"term": {"ends": {"first_of": [{"months": 23}, {"machine_hours": "1000"}]}}},
    "hours": {"term": {"ends": {"first_of": [{"months": 24}, {"machine_hours": "999"}]}}},
    "late": {"services": {"recurring": {"late": "never_cures"}}},
    "early": {"services": {"recurring": {"early": "does_not_count"}}},
    "anchor": {"services": {"recurring": {"next_due_from": "due_point"}}},
    "judged": {"services": {"recurring": {"judged": "last_closed_window"}}},
    "window": {"services": {"recurring": {"window": {"hours": {"early": "25", "late": "24"}}}}},
    "break_in": {"services": {"break_in": {"late": "never_cures"}}},
    "repairs": {"services": {"recurring": {"repairs_count": False}}},
    "links": {"services": {"recurring": {"links": ["transmission"]}}},
    "labour": {"pays": {"labour": {"hours_in": "hundredths"}}},
    "labour_period": {"pays": {"labour": {"until": {"first_of": [{"months": 11}]}}}},
}


def merged(tree: dict[str, object], change: dict[str, object]) -> dict[str, object]:
    both = dict(tree)
    for key, value in change.items():
        old = both.get(key)
        both[key] = merged(old, value) if isinstance(old, dict) and isinstance(value, dict) else value
    return both


@pytest.mark.fast
@pytest.mark.parametrize("what", sorted(WRONG))
def test_a_reference_told_other_terms_differs(what: str) -> None:
    told = POLICIES["reference@1"]
    other = CoveragePolicy.model_validate(
        merged(told.model_dump(mode="json", by_alias=True, exclude_none=True), WRONG[what])
    )
    book: Book = {"reference@1": (other, CONVENTIONS[str(other.conventions)])}
    files = ClaimFiles([told], 5, 0.0)
    with Adjudicator(build_book([told], CONVENTIONS.values())) as adjudicator:
        for _ in range(600):
            claim_file = files.draw()
            if differences(book, claim_file, adjudicator.decide(claim_file, remedies=False), Counter()):
                return
    pytest.fail(f"600 claims did not show a difference in {what}")
