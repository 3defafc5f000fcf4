"""The coverage terms as a dealer can read them: every clause and every convention as plain sentences."""

import textwrap
from collections.abc import Iterable, Iterator

from rules.plain import day_text
from rules.policy_book.compiled import CompiledPolicy, each_clause
from rules.policy_book.convention_words import convention_sentences
from rules.policy_book.term_words import in_force_words
from rules.policy_book.values import listed, sentence
from rules.policy_book.wording import clause_sentences
from schemas.policy.document import CoveragePolicy

WIDTH = 110  # characters a line, at most
NARROWEST = 40
NUMBER_WIDTH = 8

HEADINGS = (  # the first part of a clause path, and the heading it stands under
    ("applies_to", "Which machines and parts"),
    ("term", "How long"),
    ("carve_outs", "Parts with a period of their own"),
    ("services", "Services"),
    ("prorating", "Share paid"),
    ("pays", "What is paid"),
    ("exclusions", "What is not covered"),
    ("deductible", "Deductible"),
    ("caps", "The most that is paid"),
)
LAYERS = {
    "base": "base coverage of the machine",
    "drive": "coverage of the drive or another main component",
    "emission": "emission coverage",
    "part": "coverage of a part",
    "retrofit": "coverage of a retrofit",
    "campaign": "campaign",
    "contract": "service contract",
}


def terms_in_plain_english(policy: CompiledPolicy, width: int = WIDTH) -> str:
    """Return a policy version's terms and conventions as text: headings, clause numbers, a sentence for each knob.

    No line is longer than ``width`` characters (at least 40), unless a single word is.
    """
    width = max(width, NARROWEST)
    terms = policy.terms
    title = textwrap.wrap(terms.title, width)
    lines = [*title, "=" * max(map(len, title)), "", *_wrapped(" ".join(_about(terms)), "", width)]
    for part, heading in HEADINGS:
        clauses = [(path, clause) for path, clause in each_clause(terms) if _part(path) == part]
        if not clauses:
            continue
        lines += ["", heading, "-" * len(heading)]
        for path, clause in clauses:
            words = list(clause_sentences(path, clause, terms))
            if clause.text is not None:
                words.append(f'In the maker\'s words: "{clause.text}"')
            lines += _wrapped(" ".join(words), clause.clause, width)
    return "\n".join([*lines, *_conventions(policy, width), ""])


def _part(path: str) -> str:
    return path.partition(".")[0].partition("[")[0]


def _about(terms: CoveragePolicy) -> Iterator[str]:
    yield f"Coverage terms {terms.policy}, version {terms.version}: {LAYERS[terms.layer]}, amounts in {terms.currency}."
    yield sentence(in_force_words(terms.in_force))
    yield sentence(f"put into terms from: {terms.source.document}, edition {terms.source.edition}")
    yield f"It is counted by the conventions {terms.conventions.name}, version {terms.conventions.version}."
    if terms.owner_class is not None:
        yield f"The promise is made to {terms.owner_class} owners."
    if terms.supersedes:
        replaced = listed(f"version {number}" for number in terms.supersedes)
        yield f"It replaces {replaced} for new decisions, on the days on which it is in force itself."
    if terms.extends_earlier is not None:
        started = day_text(terms.extends_earlier.started_from)
        yield (
            f"Machines of earlier versions whose term started on or after {started} get the better of the two versions."
        )


def _conventions(policy: CompiledPolicy, width: int) -> Iterable[str]:
    conventions = policy.conventions
    heading = "How it is counted"
    name = f"Conventions {conventions.conventions}, version {conventions.version}: {conventions.title}."
    yield from ("", heading, "-" * len(heading), *_wrapped(name, "", width))
    for words in convention_sentences(conventions):
        yield from _wrapped(words, "-", width)


def _wrapped(text: str, number: str, width: int) -> list[str]:
    if not number:
        return textwrap.wrap(text, width, break_on_hyphens=False, break_long_words=False)
    gap = " " * NUMBER_WIDTH if number != "-" else "  "
    first = f"{number:<{len(gap) - 1}} "
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=gap, break_on_hyphens=False, break_long_words=False
    )
