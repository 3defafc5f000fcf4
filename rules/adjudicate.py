"""Deciding a claim: the stages in order, over every world its open facts allow.

>>> # with Adjudicator(book) as adjudicator: decision = adjudicator.decide(claim_file)
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from rules.coverage import Evaluation
from rules.decision.assemble import (
    firings_of,
    line_decision,
    named_by,
    payout_of,
    proposals_of,
    questions_of,
    status_of,
)
from rules.decision.dates import with_days_in_doubt
from rules.decision.derived import measures_of
from rules.decision.held import with_all_asked_for
from rules.decision.merge import MergedLine, merge
from rules.decision.notes import Notebook
from rules.decision.remedies import remedies_of
from rules.decision.seal import sealed
from rules.history.claim_dates import Contradiction, contradictions, without_days_in_doubt
from rules.line_views import WorldResult
from rules.open_facts import Explored, explore
from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy
from rules.rule_base.cache import RuleBaseCache
from rules.rule_base.driver import Derive, Firing
from rules.rule_base.fact_check import Fact
from rules.selection.components import with_component_told
from rules.selection.select import Subject, named_by_none
from rules.settlement.tables import index_tables
from schemas.claim_file import ClaimFile
from schemas.decision import Decision

MOST_HANDLES = 64


class Adjudicator:
    """Owns the native rule-base handles of one policy book and nothing else; close it, or use it in a with block."""

    def __init__(self, book: PolicyBook) -> None:
        self.book = book
        self._handles = RuleBaseCache(MOST_HANDLES)

    def __enter__(self) -> "Adjudicator":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        self._handles.close()

    def decide(self, claim_file: ClaimFile, *, remedies: bool = True) -> Decision:
        """Return the decision of a claim file; the same file and book always give the same bytes."""
        found = contradictions(claim_file)
        stated, tables = claim_file, index_tables(claim_file)
        claim_file = with_component_told(without_days_in_doubt(claim_file, found), tables)
        evaluation = Evaluation(self.book, claim_file, tables, self.fire)
        explored, merged = self._merged(evaluation, {}, found, asking=True)
        first = explored.results[0][1]
        changes = (
            remedies_of(
                merged,
                claim_file,
                lambda assumed: self._merged(evaluation, assumed, found, in_outline=not explored.complete)[1],
                lambda lines: payout_of(lines, claim_file, tables),
            )
            if remedies
            else ()
        )
        every = [world for _, world in explored.results]
        # Days in doubt leave a world of their own, in which nothing is derived.
        alike = every if merged[0].world.hours else [merged[0].world]
        worlds = {id(line.world): line.world for line in merged}
        others = alike if explored.complete else None
        notebooks = {key: Notebook(world, claim_file, others) for key, world in worlds.items()}
        lines = tuple(line_decision(line, claim_file, notebooks[id(line.world)]) for line in merged)
        looked_at = self.book.with_fall_backs((*first.selected.policies, *named_by(merged)))
        questions = questions_of(merged, claim_file, evaluation.tables)
        return sealed(
            stated,
            looked_at,
            claim=claim_file.claim.claim,
            serial=claim_file.machine.serial,
            dealer=claim_file.claim.dealer,
            decided_on=claim_file.decided_on.isoformat(),
            status=status_of(lines),
            lines=lines,
            payout=payout_of(merged, claim_file, evaluation.tables),
            questions=questions,
            proposals=proposals_of(list(worlds.values())),
            deadlines=tuple(("answer_question", q.id, q.answer_by) for q in questions if q.answer_by is not None),
            measures=measures_of(merged[0].world, alike, claim_file, complete=explored.complete),
            firings=firings_of(merged[0].world),
            remedies=changes,
        )

    def fire(self, policy: CompiledPolicy, facts: Sequence[Fact], derive: Derive) -> tuple[Firing, ...]:
        """Return what the policy's rules make of the facts; the benchmark puts other engines in this place."""
        return self._handles.get(policy.digest, policy.name, policy.ruleset).run(facts, derive)

    def _merged(
        self,
        evaluation: Evaluation,
        assumed: Mapping[str, int],
        found: tuple[Contradiction, ...],
        *,
        asking: bool = False,
        in_outline: bool = False,
    ) -> tuple[Explored, Sequence[MergedLine]]:
        explored = explore(evaluation.evaluate, assumed, evaluation.shared, in_outline=in_outline)
        first: WorldResult = explored.results[0][1]
        merged: Sequence[MergedLine] = [
            merge(explored, i, not explored.complete and self._is_unnamed(evaluation, line.subject))
            for i, line in enumerate(first.lines)
        ]
        if asking:
            # The worlds of a cleared claim share nothing with those of the claim itself: they come other ways.
            merged = with_all_asked_for(
                merged, explored, lambda: explore(replace(evaluation, cleared=True).evaluate, assumed)
            )
        return explored, with_days_in_doubt(merged, explored, found, self.book, evaluation.claim_file)

    def _is_unnamed(self, evaluation: Evaluation, subject: Subject) -> bool:
        return subject.named and named_by_none(self.book.by_name.values(), evaluation.claim_file, subject)


def adjudicate(book: PolicyBook, claim_file: ClaimFile) -> Decision:
    """Decide one claim file; to decide many, keep an ``Adjudicator``."""
    with Adjudicator(book) as adjudicator:
        return adjudicator.decide(claim_file)
