"""The versions that a decision names with their digests are enough to decide it again (architecture: exact replay)."""

from rules.adjudicate import Adjudicator
from rules.policy_book.book import build_book
from tests.fixtures_scenario.scenario import book, claim_files


def test_with_the_versions_that_a_decision_names_it_ends_in_the_same_outcome() -> None:
    """The coverages that a line lists as not applying are part of its outcome, so they are named too."""
    again: dict[tuple[str, ...], Adjudicator] = {}
    with Adjudicator(book()) as adjudicator:
        for claim_file in list(claim_files().values())[::3]:
            decision = adjudicator.decide(claim_file, remedies=False)
            names = tuple(name for name, _ in decision.digests.policies)
            if names not in again:
                versions = [book().policy(name) for name in names]
                conventions = {id(version.conventions): version.conventions for version in versions}
                part = build_book([version.terms for version in versions], conventions.values(), whole=False)
                again[names] = Adjudicator(part)
            assert again[names].decide(claim_file, remedies=False).digests.outcome == decision.digests.outcome
            named = {c.policy for line in decision.lines for c in line.considered}
            assert named <= set(names)
    for adjudicator in again.values():
        adjudicator.close()
    assert len(again) > 3
