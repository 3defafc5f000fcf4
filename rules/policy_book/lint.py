"""Terms that may be written but are seldom meant: what the loader tells the author of a policy.

A warning stops nothing. Each says where, what follows in numbers, and the way out. Bands of a step table can neither
leave gaps nor overlap here, because each step holds until the next; what remains of such slips shows as uneven steps.
"""

from collections.abc import Iterator

from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.lint_caps import cap_warnings
from rules.policy_book.lint_numbers import number_warnings
from rules.policy_book.lint_reach import reach_warnings
from rules.policy_book.lint_services import service_warnings
from rules.policy_book.lint_shares import share_warnings
from rules.policy_book.lint_terms import term_warnings
from rules.policy_book.lint_words import word_warnings
from rules.policy_book.warning import PolicyWarning

__all__ = ["PolicyWarning", "policy_warnings", "warnings_of", "warnings_text"]


def warnings_of(book: PolicyBook) -> tuple[PolicyWarning, ...]:
    """Return every warning of a book, by policy, path and code."""
    found = {warning for policy in book.by_name.values() for warning in policy_warnings(policy, book)}
    return tuple(sorted(found, key=lambda w: (w.policy, w.path, w.code, w.message)))


def policy_warnings(policy: CompiledPolicy, book: PolicyBook) -> Iterator[PolicyWarning]:
    """Yield the warnings of one policy version beside the others of its book."""
    yield from term_warnings(policy)
    yield from share_warnings(policy)
    yield from service_warnings(policy)
    yield from reach_warnings(policy, book)
    yield from number_warnings(policy, book)
    yield from word_warnings(policy)
    yield from cap_warnings(policy)


def warnings_text(warnings: tuple[PolicyWarning, ...]) -> str:
    """Return warnings as lines: name@version, path, code, message and way out."""
    return "".join(f"{warning}\n" for warning in warnings)
