"""Running a table of cases: each decided by the engine, compared with what it must come to."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from typing import Any, get_args

import orjson

from rules.adjudicate import Adjudicator
from rules.cases.facts import CaseFault, WrongExpectation, claim_file_of, merged, taken
from rules.decision.catalogue import KINDS
from rules.policy_book.book import PolicyBook, build_book
from rules.policy_book.compiled import each_clause
from schemas.cases import CaseTable, ExpectedLine, WorkedCase
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.decision import Decision, LineDecision
from schemas.policy.document import CoveragePolicy
from schemas.policy.prorating import Item


@dataclass(frozen=True, slots=True)
class Mismatch:
    """One value that did not come out as the case says."""

    line: str
    what: str
    expected: str
    got: str

    def __str__(self) -> str:
        return f"{self.line}: {self.what} expected {self.expected}, got {self.got}"


@dataclass(frozen=True, slots=True)
class CaseResult:
    """A case with its decision and every mismatch (none: the case holds)."""

    case: WorkedCase
    decision: Decision
    mismatches: tuple[Mismatch, ...]
    touched: frozenset[tuple[str, str]]  # policy, clause path


@dataclass(frozen=True, slots=True)
class PolicySource:
    """The documents a table's cases are decided under, as plain trees so that a case can change them."""

    policies: Mapping[str, Mapping[str, Any]]  # by name@version
    conventions: Mapping[str, Mapping[str, Any]]  # by name@version


_SENTENCES_SHOWN = 2


class CaseRunner:
    """Runs tables against one source; books changed by a case are built once each.

    ``on_file`` gathers the claim file of a claim by its number, for tables with a scenario.
    """

    def __init__(
        self, source: PolicySource, exponents: Mapping[str, int], on_file: Callable[[str], ClaimFile] | None = None
    ) -> None:
        self.source = source
        self.exponents = exponents
        self.on_file = on_file
        self._adjudicators: dict[bytes, Adjudicator] = {}

    def __enter__(self) -> "CaseRunner":
        return self

    def __exit__(self, *_: object) -> None:
        for adjudicator in self._adjudicators.values():
            adjudicator.close()
        self._adjudicators.clear()

    def run(self, table: CaseTable) -> Iterator[CaseResult]:
        """Yield the result of each case, in order."""
        for case in table.cases:
            yield self.run_case(table, case)

    def run_case(self, table: CaseTable, case: WorkedCase) -> CaseResult:
        """Return the result of one case; raises CaseFault where it names a code that no line can show there."""
        check_codes(case)
        adjudicator = self._adjudicator(table, case)
        first = adjudicator.book.policy(str(table.policies[0]))
        if case.claim_on_file is None:
            claim_file = claim_file_of(table, case, first.terms.currency, self.exponents)
        elif self.on_file is None:
            raise CaseFault(f"claim {case.claim_on_file} is to be gathered from records, and none are at hand")
        else:
            claim_file = self.on_file(case.claim_on_file)
        decision = adjudicator.decide(claim_file, remedies=case.remedy is not None)
        return CaseResult(
            case, decision, tuple(_mismatches(case, decision)), touched_clauses(decision, adjudicator.book)
        )

    def _adjudicator(self, table: CaseTable, case: WorkedCase) -> Adjudicator:
        key = orjson.dumps(
            [[str(p) for p in table.policies], case.terms, case.conventions], default=str, option=orjson.OPT_SORT_KEYS
        )
        if key not in self._adjudicators:
            self._adjudicators[key] = Adjudicator(self._book(table, case))
        return self._adjudicators[key]

    def _book(self, table: CaseTable, case: WorkedCase) -> PolicyBook:
        trees = {name: self.source.policies[name] for name in with_superseded(table, self.source)}
        stray = sorted(set(case.terms) - set(trees))
        if stray:
            raise CaseFault(
                f"the table does not name {', '.join(stray)} under policies",
                "Name it there, or correct it.",
                ("terms", stray[0]),
            )
        policies = [taken(CoveragePolicy, merged(tree, case.terms.get(name, {}))) for name, tree in trees.items()]
        pinned = {str(p.conventions) for p in policies}
        conventions = [
            taken(Conventions, merged(self.source.conventions[name], case.conventions))
            for name in sorted(pinned & set(self.source.conventions))
        ]
        return build_book(policies, conventions, whole=False)


def with_superseded(table: CaseTable, source: PolicySource) -> tuple[str, ...]:
    """Return the versions that a table names, as name@version, and after them those they replace, as far as found."""
    names = [str(ref) for ref in table.policies]
    for name in names:
        policy, tree = name.rpartition("@")[0], source.policies.get(name, {})
        replaced = [f"{policy}@{number}" for number in tree.get("supersedes") or ()]
        names += [one for one in replaced if one not in names and one in source.policies]
    return tuple(names)


def check_codes(case: WorkedCase) -> None:
    """Refuse codes that are not in the catalogue or stand in the wrong list: not to find them would prove nothing."""
    for line, expected in case.expect.items():
        for field in ("reasons", "no_reasons", "only_reasons", "notes"):
            for code in getattr(expected, field) or ():
                place = ("expect", line, field)
                if code not in KINDS:
                    near = get_close_matches(code, KINDS, 1)
                    way_out = f"Did you mean {near[0]}?" if near else "The table in DEVELOPERS.md lists them all."
                    raise WrongExpectation(f"{code} is the code of no reason or note", way_out, place)
                if (KINDS[code].effect == "note") != (field == "notes"):
                    kind, right = ("reason", "reasons") if field == "notes" else ("note", "notes")
                    raise WrongExpectation(f"{code} is the code of a {kind}", f"Write it under {right}.", place)


def _mismatches(case: WorkedCase, decision: Decision) -> Iterator[Mismatch]:
    lines = {line.line: line for line in decision.lines}
    for name, expected in case.expect.items():
        if name not in lines:
            yield Mismatch(name, "line", "a line of this claim", "none")
            continue
        yield from _line_mismatches(expected, lines[name], _waits_for(decision, name))
    if case.payout is not None and case.payout != decision.payout.amount:
        paid = decision.payout.amount
        yield Mismatch("claim", "payout", _as_shown(case.payout, paid), str(paid))
    if case.proposals is not None and case.proposals != len(decision.proposals):
        yield Mismatch("claim", "proposals", str(case.proposals), str(len(decision.proposals)))
    if case.questions is not None and sorted(case.questions) != sorted(q.about for q in decision.questions):
        asked = "; ".join(f"{q.about} ({q.words})" for q in decision.questions) or "none"
        yield Mismatch("claim", "questions", ", ".join(case.questions) or "none", asked)
    for name, amount in (case.remedy or {}).items():
        found = next((r for r in decision.remedies if r.line == name), None)
        if found is None or found.maker_pays != amount:
            like = lines[name].maker_pays if name in lines else amount
            got = "none" if found is None else str(found.maker_pays)
            yield Mismatch(name, "remedy", _as_shown(amount, like), got)


def _as_shown(expected: Decimal, like: Decimal) -> str:
    """Return an expected amount with the decimals of the one it is compared with, as far as they hold it."""
    shown = expected.quantize(like)
    return str(shown if shown == expected else expected)


def _waits_for(decision: Decision, line: str) -> str:
    """Return the words of the questions that a line waits for: what the facts of the case leave open."""
    return "; ".join(question.words for question in decision.questions if line in question.lines)


def _nearest_sentences(words: str, said: Sequence[str]) -> str:
    """Return the sentences that come nearest to the words that were expected; of few all of them."""
    near = get_close_matches(words, said, n=_SENTENCES_SHOWN, cutoff=0)
    more = len(said) - len(near)
    shown = " / ".join(f'"{sentence}"' for sentence in near) or "nothing"
    return f"{shown} (the nearest of {len(said)} sentences)" if more else shown


def _line_mismatches(expected: ExpectedLine, line: LineDecision, waits_for: str) -> Iterator[Mismatch]:
    codes = [reason.code for reason in line.reasons]
    if expected.outcome is not None and expected.outcome != line.outcome:
        got = f"{line.outcome} ({', '.join(codes) or 'no reasons'})"
        if waits_for:
            got += f"; it waits for {waits_for}"
        yield Mismatch(line.line, "outcome", expected.outcome, got)
    for what in ("maker_pays", "owner_owes", "dealer_bears", "other_payer", "open", "claimed", "added", "allowed"):
        amount = getattr(expected, what)
        if amount is not None and amount != getattr(line, what):
            got = getattr(line, what)
            yield Mismatch(line.line, what, _as_shown(amount, got), str(got))
    if expected.policy is not None and str(expected.policy) != line.policy:
        yield Mismatch(line.line, "policy", str(expected.policy), line.policy or "none")
    if expected.share is not None and str(expected.share) != (line.share or "1"):
        yield Mismatch(line.line, "share", str(expected.share), line.share or "1")
    if expected.only_reasons is not None and list(expected.only_reasons) != codes:
        yield Mismatch(line.line, "reasons", ", ".join(expected.only_reasons) or "none", ", ".join(codes) or "none")
    lacking = [code for code in expected.reasons or () if code not in codes]
    if lacking:
        yield Mismatch(line.line, "reasons", ", ".join(lacking), ", ".join(codes) or "none")
    unwanted = [code for code in expected.no_reasons or () if code in codes]
    if unwanted:
        yield Mismatch(line.line, "reasons", f"not {', '.join(unwanted)}", ", ".join(codes))
    notes = [note.code for note in line.notes]
    lacking = [code for code in expected.notes or () if code not in notes]
    if lacking:
        yield Mismatch(line.line, "notes", ", ".join(lacking), ", ".join(notes) or "none")
    if expected.says:
        said = [part for r in (*line.reasons, *line.notes) for part in (r.words, *map(": ".join, r.facts))]
        text = " ".join(said)
        for words in expected.says:
            if words not in text:
                yield Mismatch(line.line, "words", f'"{words}"', _nearest_sentences(words, said))


def touched_clauses(decision: Decision, book: PolicyBook) -> frozenset[tuple[str, str]]:
    """Return the clauses that decided or calculated something in this decision, as policy and clause path."""
    numbers: set[tuple[str, str]] = set()
    paths: set[tuple[str, str]] = set()
    for line in decision.lines:
        for reason in (*line.reasons, *line.notes):
            if reason.policy is not None and reason.clause is not None:
                numbers.add((reason.policy, reason.clause))
        if line.policy is None:
            continue
        numbers |= {(line.policy, step.clause) for step in line.steps if step.clause is not None}
        if line.outcome != "deny":
            paths.add((line.policy, f"pays.{line.item}"))
            paths |= {(line.policy, "applies_to"), (line.policy, "term")}
            carve_outs = enumerate(book.by_name[line.policy].terms.carve_outs)
            paths |= {
                (line.policy, f"carve_outs[{n}]") for n, found in carve_outs if line.component in found.components
            }
            if line.share is not None:
                paths.add((line.policy, "prorating"))
    for measured in decision.measures:
        duty, _, point = measured.name.partition(" point ")
        if point and not measured.value.startswith("open") and measured.policy is not None:
            paths.add((measured.policy, f"services.{duty}"))
    for name, policy in book.by_name.items():
        paths |= {(name, path) for path, clause in each_clause(policy.terms) if (name, clause.clause) in numbers}
    return frozenset(paths)


def untouched_clauses(results: Sequence[CaseResult], book: PolicyBook) -> list[tuple[str, str]]:
    """Return the clauses of the book's policies that no case touches, in order.

    Where every kind of item has a rule of its own, no case can touch the one for anything else.
    """
    touched = frozenset[tuple[str, str]]().union(*(result.touched for result in results))
    return [
        (name, path)
        for name, policy in sorted(book.by_name.items())
        for path, _ in each_clause(policy.terms)
        if (name, path) not in touched
        and not (path == "pays.anything_else" and all(getattr(policy.terms.pays, item) for item in get_args(Item)))
    ]
