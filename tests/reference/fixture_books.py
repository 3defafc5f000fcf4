"""Every policy of the fixtures, in the books that the tests decide by, and claims drawn for them."""

from collections.abc import Iterator
from pathlib import Path

from rules.policy_book.book import PolicyBook, build_book
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from schemas.policy.services import FallBack
from service.policy_files import read_policy_source
from tests.generation import ClaimFiles

FIXTURES = Path(__file__).parents[2] / "fixtures"
SOURCE = read_policy_source(FIXTURES)
CONVENTIONS = {name: Conventions.model_validate(tree) for name, tree in SOURCE.conventions.items()}
POLICIES = {name: CoveragePolicy.model_validate(tree) for name, tree in SOURCE.policies.items()}
Names = tuple[str, ...]


def with_fall_backs(names: set[str]) -> Names:
    """Return these versions and those they fall back to."""
    while True:
        older = {
            str(consequence.fall_back_to)
            for name in names
            for duty in POLICIES[name].services.values()
            for consequence in (duty.missed, duty.wrong_fluid)
            if isinstance(consequence, FallBack)
        }
        if older <= names:
            return tuple(sorted(names))
        names = names | older


def _books() -> Iterator[Names]:
    for policy in sorted({policy.policy for policy in POLICIES.values()}):
        yield with_fall_backs({name for name in POLICIES if POLICIES[name].policy == policy})
    yield tuple(sorted(name for name in POLICIES if name.startswith("quillfen-")))


BOOKS = sorted(set(_books()))


def book_of(names: Names) -> PolicyBook:
    return build_book([POLICIES[name] for name in names], CONVENTIONS.values())


def claims_for(names: Names, seed: int, mess: float) -> ClaimFiles:
    return ClaimFiles([POLICIES[name] for name in names], seed, mess)
