"""A clause in plain English, for reasons whose policy does not quote the maker's own words, and for showing terms.

Every kind of clause yields its sentences in a set order; the first two say what the clause is about and stand in a
reason. No sentence needs the conventions.
"""

from collections.abc import Iterator
from typing import Any

from rules.policy_book.pay_words import (
    cap_sentences,
    deductible_sentences,
    either_or_sentences,
    exclusion_sentences,
    item_sentences,
    prorating_sentences,
)
from rules.policy_book.service_words import service_sentences
from rules.policy_book.term_words import applies_to_sentences, carve_out_sentences, term_sentences
from schemas.policy.clause import Clause
from schemas.policy.document import CoveragePolicy

SENTENCES_IN_A_REASON = 2


def clause_words(path: str, clause: Clause, terms: CoveragePolicy) -> str:
    """Return the maker's own words, or what the clause says in one or two plain sentences."""
    return clause.text or " ".join(list(clause_sentences(path, clause, terms))[:SENTENCES_IN_A_REASON])


def clause_sentences(path: str, clause: Clause, terms: CoveragePolicy) -> Iterator[str]:
    """Yield everything a clause says, a sentence each; ``path`` is its clause path, such as services.drive_oil."""
    part, _, name = path.partition(".")
    found: Any = clause  # the path says which kind of clause it is
    match part.partition("[")[0]:
        case "applies_to":
            yield from applies_to_sentences(terms.applies_to)
        case "term":
            yield from term_sentences(found)
        case "carve_outs":
            yield from carve_out_sentences(found)
        case "services":
            yield from service_sentences(name, found)
        case "prorating":
            yield from prorating_sentences(found, terms.currency)
        case "pays" if name == "either_or":
            yield from either_or_sentences(found)
        case "pays":
            yield from item_sentences(name, found, terms.currency)
        case "exclusions":
            yield from exclusion_sentences(found)
        case "deductible":
            yield from deductible_sentences(found, terms.currency)
        case "caps":
            yield from cap_sentences(found, terms.currency)
        case other:
            raise AssertionError(f"no words for the clause path {other}")
