"""The demo scenario as it ships: its files read, its claim files gathered and its claims decided, once a test run."""

from collections.abc import Mapping
from functools import cache
from typing import Any

from rules.adjudicate import Adjudicator
from rules.policy_book.book import PolicyBook
from schemas.claim_file import ClaimFile
from schemas.decision import Decision
from schemas.documents import parse_document
from service.command.demo import Scenario, read_scenario
from service.shipped import DEMO

Row = dict[str, Any]


def rows(name: str) -> list[Row]:
    """Return the records of one of the scenario's JSON files, as plain trees."""
    tree = parse_document((DEMO / name).read_text(encoding="utf-8"), name).tree
    assert isinstance(tree, list)
    return list(tree)  # type: ignore[arg-type]


@cache
def scenario() -> Scenario:
    return read_scenario(DEMO)


def book() -> PolicyBook:
    """Return the book of the scenario's policies."""
    return scenario().policies.book


@cache
def claim_files() -> Mapping[str, ClaimFile]:
    """Return every claim's file by claim number."""
    return {number: scenario().claim_file(claim) for number, claim in scenario().claims.items()}


@cache
def decisions() -> Mapping[str, Decision]:
    """Return the decision of every claim by claim number."""
    with Adjudicator(book()) as adjudicator:
        return {number: adjudicator.decide(file, remedies=False) for number, file in claim_files().items()}
