"""The reference decides every worked case of the fixtures and finds what the engine finds, also where no case says it.

In the tables on which readings of a clause were settled one by one, both know every possible result.
"""

from collections import Counter
from pathlib import Path

import pytest
from iso4217 import Currency

from rules.adjudicate import Adjudicator
from rules.cases.facts import claim_file_of, merged
from rules.cases.run import with_superseded
from rules.policy_book.book import build_book
from schemas.cases import CaseTable, WorkedCase
from schemas.conventions import Conventions
from schemas.documents import parse_document, validated
from schemas.policy.document import CoveragePolicy
from service.policy_files import read_policy_source
from service.shipped import FIXTURES
from tests.reference.adjudication import Book
from tests.rules.test_reference_differential import differences

TABLES = sorted((FIXTURES / "cases" / "tables").glob("*.yaml")) + sorted(FIXTURES.rglob("*.cases.yaml"))
SETTLED = ("caps-of-each-side", "meter-none", "money-either-or", "money-flat-times", "money-overlaps")
SOURCE = read_policy_source(FIXTURES)
EXPONENTS = {c.code: c.exponent for c in Currency if c.exponent is not None}


def book_of(table: CaseTable, case: WorkedCase) -> Book:
    """Return the policies of a case with the changes that it makes to them."""
    book: Book = {}
    for name in with_superseded(table, SOURCE):
        policy = CoveragePolicy.model_validate(merged(SOURCE.policies[name], case.terms.get(name, {})))
        pinned = SOURCE.conventions[str(policy.conventions)]
        book[name] = policy, Conventions.model_validate(merged(pinned, case.conventions))
    return book


@pytest.mark.parametrize("file", TABLES, ids=lambda file: file.stem)
def test_reference_and_engine_decide_the_worked_cases_alike(file: Path) -> None:
    table = validated(CaseTable, parse_document(file.read_text(encoding="utf-8"), file.name))
    seen, found = Counter[str](), list[str]()
    for case in table.cases:
        book = book_of(table, case)
        claim_file = claim_file_of(table, case, book[str(table.policies[0])][0].currency, EXPONENTS)
        pinned = {(c.conventions, c.version): c for _, c in book.values()}
        policies = [policy for policy, _ in book.values()]
        with Adjudicator(build_book(policies, list(pinned.values()), whole=False)) as adjudicator:
            decision = adjudicator.decide(claim_file, remedies=False)
        found += [f"{case.name}: {story}" for story in differences(book, claim_file, decision, seen)]
    assert not found, "\n\n".join(found)
    assert file.stem not in SETTLED or set(seen) & {"sound", "gave up", "unclear"} == set()
