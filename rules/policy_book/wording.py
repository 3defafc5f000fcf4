"""A clause in plain English, for showing terms, and for reasons whose policy does not quote the maker's own words.

Every kind of clause yields its sentences in a set order, each with what it is about; the first says what the clause is,
and ``RESTS_ON`` names the others that a reason of a code rests on. No sentence needs the conventions.
"""

from collections.abc import Iterator, Mapping
from types import MappingProxyType
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
from rules.policy_book.term_words import (
    applies_to_sentences,
    carve_out_sentences,
    in_force_words,
    term_sentences,
)
from rules.policy_book.values import Told, told
from schemas.policy.clause import Clause
from schemas.policy.document import CoveragePolicy

_TERM = ("tested", "fitted_later")
_AMOUNT = ("excess",)

# What the sentences are about that a reason rests on, beside the first one of its clause; by code. The window of a
# service is not among them: a reason shows it with its due point, and a letter, which quotes the clause, leaves it out.
RESTS_ON: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "no_version_in_force": ("in_force",),
        "serial_out_of_range": ("serials",),
        "built_out_of_range": ("built",),
        "use_not_covered": ("use",),
        "region_not_covered": ("regions",),
        "later_owner": ("owner",),
        "outer_limit_passed": _TERM,
        "term_elapsed": _TERM,
        "hour_limit_passed": ("hours", *_TERM),
        "worn_out": _TERM,
        "every_limit_passed": ("hours", *_TERM),
        "before_term": ("tested",),
        "coverage_not_activated": ("activates", "borne"),
        "service_missed": ("missed", "borne"),
        "service_late": ("missed", "late", "borne"),
        "service_fluid_not_approved": ("missed", "fluid", "wrong_fluid", "borne"),
        "service_by_other_hands": ("missed", "hands", "borne"),
        "service_lowers_share": ("missed", "late", "wrong_fluid", "borne"),
        "symptom_first": ("late",),
        "excluded_cause": ("borne",),
        "part_altered": ("borne",),
        "part_of_other_make": ("borne",),
        "wear_item": ("borne",),
        "consumable": ("borne",),
        "price_not_listed": ("dated",),
        "exchange_rate_missing": ("dated",),
        "labour_rate_missing": ("dated",),
        "no_flat_rate_time": ("no_flat_rate",),
        "item_period_over": ("until",),
        "invoice_missing": _AMOUNT,
        "either_or": _AMOUNT,
        "price_above_list": ("dated", *_AMOUNT),
        "handling_capped": ("handling", *_AMOUNT),
        "operations_overlap": _AMOUNT,
        "time_above_flat_rate": _AMOUNT,
        "hours_in_tenths": ("hours_in", *_AMOUNT),
        "rate_above_registered": ("dated", *_AMOUNT),
        "fixed_share": _AMOUNT,
        "above_allowance": ("at_most", *_AMOUNT),
        "prorated": ("rest", "free", "floor"),
        "prorated_to_nothing": ("rest", "free", "floor"),
    }
)


def reason_sentences(code: str, sentences: tuple[Told, ...]) -> str:
    """Return the sentence that says what a clause is, and those that a reason of ``code`` rests on."""
    wanted = RESTS_ON.get(code, ())
    return " ".join(words for place, (about, words) in enumerate(sentences) if not place or about in wanted)


def cited_sentences(path: str, clause: Clause, terms: CoveragePolicy) -> tuple[Told, ...]:
    """Return everything that a reason may cite of a clause; which versions are in force is told with the machines."""
    sentences = tuple(told_of(path, clause, terms))
    return (*sentences, told("in_force", in_force_words(terms.in_force))) if path == "applies_to" else sentences


def clause_sentences(path: str, clause: Clause, terms: CoveragePolicy) -> Iterator[str]:
    """Yield everything a clause says, a sentence each; ``path`` is its clause path, such as services.drive_oil."""
    return (words for _, words in told_of(path, clause, terms))


def told_of(path: str, clause: Clause, terms: CoveragePolicy) -> Iterator[Told]:
    """Yield everything a clause says, each sentence with what it is about."""
    part, _, name = path.partition(".")
    found: Any = clause  # the path says which kind of clause it is
    match part.partition("[")[0]:
        case "applies_to":
            yield from applies_to_sentences(terms.applies_to)
        case "term":
            yield from term_sentences(found, terms.services)
        case "carve_outs":
            yield from carve_out_sentences(found)
        case "services":
            yield from service_sentences(name, found, terms.term)
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
