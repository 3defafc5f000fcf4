"""What would matter to a held line once it is no longer held: asked for in the same round.

While a line lacks its price, or a person must look at it, all of it is open in every world, and the worlds do not tell
what service records, say, would do to it. So the claim is explored once more with all that settled (``rules.cleared``);
only where a line is held and the dealer could be asked for something that it does not wait for yet. What a person must
look at also keeps a line from the older version that a missed service leads to, and so from what that one asks for.
"""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace

from rules.cleared import cleared_reasons
from rules.decision.merge import MergedLine, facts_of, merge, signature
from rules.line_states import fall_backs_of
from rules.line_views import LineResult, LineView
from rules.open_facts import Details, Explored, OpenFact


def with_all_asked_for(
    merged: Sequence[MergedLine], explored: Explored, explore_cleared: Callable[[], Explored]
) -> Sequence[MergedLine]:
    """Return the lines, held ones with the dealer's facts that would matter to them once they are no longer held."""
    worlds = explored if explored.complete else explored.outline
    if worlds is None:
        return merged
    asked = {fact.question.key for path, _ in worlds.results for fact, _ in path if fact.asks == "dealer"}
    held = []
    for index, line in enumerate(merged):
        looked_at = [world.lines[index] for _, world in worlds.results if world.lines[index].state == "refer"]
        if looked_at and (not asked <= {fact.key for fact in line.facts} or any(map(_goes_on_to_fall_back, looked_at))):
            held.append(index)
    if not held:
        return merged
    cleared = explore_cleared()
    lines = list(merged)
    for index in held:
        known = {fact.key for fact in lines[index].facts}
        matter = facts_of(cleared, index, _signature)
        wanted = tuple(fact for fact in matter if fact.asks == "dealer" and fact.key not in known)
        if wanted:
            lines[index] = _asking(lines[index], wanted, merge(cleared, index).world.details)
    return lines


def _goes_on_to_fall_back(line: LineResult) -> bool:
    """Return whether a held line would be decided under a version that nothing was asked of yet."""
    return any(view is not None and _fall_back_waits(view) for view in (line.view, *line.others))


def _fall_back_waits(view: LineView) -> bool:
    own = [reason for reason in view.reasons if reason.policy is view.payer]
    return bool(fall_backs_of(view.payer, cleared_reasons(own)))


def _asking(line: MergedLine, wanted: tuple[OpenFact, ...], details: Details) -> MergedLine:
    """Return the line waiting for more; ``details`` are of the world that would show it, were it not held."""
    named = {fact.key: details[fact.key] for fact in wanted if fact.key in details}
    return replace(line, facts=line.facts + wanted, world=replace(line.world, details={**line.world.details, **named}))


def _signature(line: LineResult) -> tuple[Hashable, ...]:
    """Return what a cleared line comes to, and would come to were its sum another one.

    A limit on the claim may hide a share at one sum and not at another, so the amount before such steps counts as well.
    What is held even so (an unmeasured hour limit, the price behind a cap) comes to the same only under the same terms.
    """
    view = line.view
    if view is None:
        return signature(line)
    if line.state != "refer":
        return (*signature(line), view.estimate_in_claim_currency)
    proration = view.measures.prorations.get(line.subject.line.line)
    share = None if proration is None else (proration.share, proration.owner_price)
    return (*signature(line), view.payer.name, view.lowered, share)
