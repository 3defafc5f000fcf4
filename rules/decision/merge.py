"""One line over all worlds: decided where they agree, otherwise what is undisputed and which fact is open."""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

from rules.history.claim_dates import Contradiction
from rules.line_views import LineResult, WorldResult
from rules.open_facts import OUTLINE, Explored, OpenFact, facts_that_matter
from rules.settlement.allowance import OF_LINES, OUTLINE_OF_LINES
from schemas.decision import Outcome
from schemas.frozen import quickly_made


@quickly_made
@dataclass(frozen=True, slots=True)
class MergedLine:
    """A line's outcome, the world it is shown by, the split of its money (minor units) and its open facts."""

    outcome: Outcome
    shown: LineResult
    world: WorldResult
    maker: int
    owner: int
    dealer: int
    other_payer: int
    open: int
    facts: tuple[OpenFact, ...]
    most: int  # the most the maker may come to pay, for the range
    complete: bool = True  # False: there were too many worlds to look at
    contradictions: tuple[Contradiction, ...] = ()  # of the claim's days, whether they change the line or not


def merge(explored: Explored, index: int, unnamed: bool = False) -> MergedLine:
    """Return line number ``index`` of the claim, merged over all worlds.

    A line that is ``unnamed`` by every coverage comes out alike in the worlds that were not looked at, too.
    """
    results = telling([(r.lines[index], r) for _, r in explored.results])
    signatures = {signature(line) for line, _ in results}
    if len(signatures) == 1 and (explored.complete or unnamed):
        return _agreed(results)
    shown, world = _shown(results)
    every, complete = [line for line, _ in results], explored.complete
    if explored.outline is not None:
        every = [r.lines[index] for _, r in explored.outline.results]
        # What is open must hold all that may still be paid: an amount that no world looked at claims is not told.
        complete = shown.money.claimed == max(line.money.claimed for line in every)
        if complete and len({signature(line) for line in every}) == 1:
            return _agreed(results)
    facts = facts_of(explored, index, signature)
    maker = min(line.money.maker for line in every)
    owner = min(line.money.owner for line in every)
    dealer = min(line.money.dealer for line in every)
    other_payer = min(line.money.other_payer for line in every)
    # Worlds that were not looked at may leave any bearer less, and amounts of several currencies have no least one.
    if not complete or len({line.money.currency for line in every}) > 1:
        maker = owner = dealer = other_payer = 0
    rest = shown.money.claimed + shown.money.added - maker - owner - dealer - other_payer
    held = any(fact.asks == "person" for fact in facts) or not complete
    return MergedLine(
        "refer" if held else "need_info",
        shown,
        world,
        maker,
        owner,
        dealer,
        other_payer,
        rest,
        facts,
        max(line.money.maker for line in every),
        complete,
    )


def telling(results: list[tuple[LineResult, WorldResult]]) -> list[tuple[LineResult, WorldResult]]:
    """Return the worlds that tell a line: where all deny it to the owner, those in which a coverage reaches it.

    Of a line that none reaches the amount stands as typed, without what a coverage adds (handling): no other result.
    """
    if len(results) == 1 or any(line.state != "deny" for line, _ in results):
        return results
    if len({line.money.currency for line, _ in results}) > 1 or any(
        line.money.dealer or line.money.other_payer for line, _ in results
    ):
        return results
    return [pair for pair in results if pair[0].view is not None] or results


def _agreed(results: Sequence[tuple[LineResult, WorldResult]]) -> MergedLine:
    """Return a line on which all worlds agree.

    Where nobody pays yet the amount that waits may differ: then the most that may be claimed is open. Of worlds that
    claim alike the one tells the line that says least of it: what only others say is not sure.
    """
    shown, world = max(results, key=lambda pair: _told_best(pair[0])) if len(results) > 1 else results[0]
    money = shown.money
    return MergedLine(
        _outcome(shown),
        shown,
        world,
        money.maker,
        money.owner,
        money.dealer,
        money.other_payer,
        money.open,
        (),
        money.maker,
    )


def _told_best(line: LineResult) -> tuple[int, int]:
    return line.money.claimed, -len(line.reasons)


def _shown(results: Sequence[tuple[LineResult, WorldResult]]) -> tuple[LineResult, WorldResult]:
    """Return the world that a line is shown by: of those that claim the most, the one in which the maker pays least.

    The worlds claim different amounts where a price or a rate that nobody typed is not settled; what is open must hold
    all that may still be paid. Amounts of different currencies are not compared.
    """

    def least(pair: tuple[LineResult, WorldResult]) -> tuple[int, int]:
        return pair[0].money.maker, _rank(pair[0].state)

    currency = min(results, key=least)[0].money.currency
    alike = [pair for pair in results if pair[0].money.currency == currency]
    most = max(line.money.claimed for line, _ in alike)
    return min((pair for pair in alike if pair[0].money.claimed == most), key=least)


def facts_of(
    explored: Explored, index: int, signature: Callable[[LineResult], tuple[Hashable, ...]]
) -> tuple[OpenFact, ...]:
    """Return the facts that change the ``signature`` of a line; of too many worlds at least those of the first one."""

    def signature_of(result: WorldResult) -> tuple[Hashable, ...]:
        return signature(result.lines[index])

    if explored.outline is not None:
        return _facts_of_outline(explored, explored.outline, index, signature_of)
    matter = facts_that_matter(explored, signature_of)
    return matter if matter or explored.complete else tuple(_on_first_way(explored).values())


def _facts_of_outline(
    explored: Explored, outline: Explored, index: int, signature_of: Callable[[WorldResult], tuple[Hashable, ...]]
) -> tuple[OpenFact, ...]:
    """Return what else matters, and what is open behind the outline where that matters.

    Of what the lines lack a line waits for its own; where it lacks nothing but shares a limit with them, for theirs.
    """
    matter = facts_that_matter(outline, signature_of)
    others = tuple(fact for fact in matter if not fact.key.startswith(OUTLINE))
    behind = {fact.key for fact in matter} - {fact.key for fact in others}
    if not behind:
        return others
    met = {fact.question.key for path, _ in outline.results for fact, _ in path}
    unmet = {key: fact for key, fact in _on_first_way(explored).items() if key not in met}
    of_lines = {key: fact for key, fact in unmet.items() if key.startswith(OF_LINES)}
    found = {key: fact for key, fact in unmet.items() if key not in of_lines and behind != {OUTLINE_OF_LINES}}
    if OUTLINE_OF_LINES in behind:
        line = explored.results[0][1].lines[index].subject.line.line
        own = {key: fact for key, fact in of_lines.items() if key.partition(":")[2] == line}
        found |= own or of_lines
    return (*others, *found.values())


def _on_first_way(explored: Explored) -> dict[str, OpenFact]:
    """Return the questions of the first world."""
    first: Sequence[tuple[OpenFact, int]] = explored.results[0][0]
    return {fact.question.key: fact.question for fact, _ in first}


def signature(line: LineResult) -> tuple[Hashable, ...]:
    """Return what a line comes to in one world: worlds that differ in it differ in the line's result."""
    money = line.money
    return line.state, money.maker, money.owner, money.dealer, money.other_payer, money.currency


def _rank(state: str) -> int:
    return ("deny", "refer", "covered").index(state)


def _outcome(line: LineResult) -> Outcome:
    """Return the outcome in one world; a covered line that claims nothing is ``pay_zero``: covered, nothing due.

    ``pay`` says that nothing was cut: a cut stays a cut where the policy adds as much elsewhere.
    """
    if line.state != "covered":
        return "deny" if line.state == "deny" else "refer"
    money = line.money
    if money.maker == 0:
        return "pay_zero"
    return "pay_part" if money.owner or money.dealer or money.other_payer or money.open else "pay"
