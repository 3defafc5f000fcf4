"""A clause in plain English, for reasons whose policy does not quote the maker's own words."""

from schemas.policy.clause import Clause
from schemas.policy.document import CoveragePolicy


def clause_words(path: str, clause: Clause, terms: CoveragePolicy) -> str:
    """Return the maker's own words, or the terms in plain English."""
    return clause.text or f"{terms.title}: {path}"
