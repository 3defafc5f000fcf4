"""Items that a covered failure ruined: whichever coverage covers that failure, along the chain of causes."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from rules.line_views import LineView

Looks = Sequence[LineView]  # a line as one coverage sees it: one view, or one of each version that it falls back to
RANK = {"deny": 0, "refer": 1, "covered": 2}


def with_caused(looks: Mapping[str, Sequence[Looks]]) -> dict[str, list[LineView]]:
    """Return what each coverage makes of each line, with those let through that a covered failure ruined.

    The failure is the line that ``caused_by`` names, and it stands as the coverage that sees it best sees it: covered
    lets the ruined line through, held (refer) holds it, denied leaves it denied. A line that was let through is a
    covered failure for the next one of a chain. At first nothing is let through, and what is let through never makes a
    line stand worse: so this ends, with the same in whatever order the lines and the coverages come, and a circle of
    lines that are all refused unless a covered failure ruined them stays refused.
    """
    views = {line: [worst_of(look) for look in found] for line, found in looks.items()}
    spared = [view for found in looks.values() for look in found for view in look if _is_spared(view)]
    if not any(view.subject.line.caused_by for view in spared):
        return views
    before: dict[str, str] = {}
    standing = {line: standing_of(found) for line, found in views.items()}
    while standing != before:
        views = {
            line: [worst_of([_let_through(view, standing) for view in look]) for look in found]
            for line, found in looks.items()
        }
        before, standing = standing, {line: standing_of(found) for line, found in views.items()}
    return views


def worst_of(look: Looks) -> LineView:
    """Return the view that counts: of several versions that a line falls back to, the one that pays it least."""
    if len(look) == 1:
        return look[0]
    return min(look, key=lambda view: (view.estimate_in_claim_currency, view.payer.name))


def standing_of(views: Iterable[LineView]) -> str:
    """Return how a failure stands over all coverages: covered or held if one of them says so, else denied.

    >>> standing_of([])
    'deny'
    """
    return max((view.state for view in views), key=RANK.__getitem__, default="deny")


def _is_spared(view: LineView) -> bool:
    """Return whether a line is refused only unless a covered failure ruined it."""
    effects = {reason.effect for reason in view.reasons}
    return "deny_unless_caused" in effects and "deny" not in effects


def _let_through(view: LineView, standing: Mapping[str, str]) -> LineView:
    cause = standing.get(view.subject.line.caused_by or "", "deny")
    if cause == "deny" or not _is_spared(view):
        return view
    code, effect = ("caused_by_covered_failure", "note") if cause == "covered" else ("cause_undecided", "refer")
    reasons = [r for r in view.reasons if r.effect != "deny_unless_caused"]
    reasons += [replace(r, code=code, effect=effect) for r in view.reasons if r.effect == "deny_unless_caused"]
    state = "refer" if any(r.effect == "refer" for r in reasons) else "covered"
    return replace(view, state=state, reasons=tuple(reasons))
