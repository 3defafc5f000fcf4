"""Items that a covered failure ruined: along the chain of causes, line by line, to the failure that began it."""

from collections.abc import Mapping
from dataclasses import replace

from rules.line_views import LineView

CAUSED_STATES = ("covered", "refer")


def state_of_cause(
    line: str, causes: Mapping[str, str | None], states: Mapping[str, str], spared: frozenset[str]
) -> str:
    """Return whether the failure that ruined ``line`` is covered, for a person (refer), or not covered (deny).

    ``causes`` names the line that ruined each line, ``states`` how each line stands by itself, and ``spared`` the lines
    that are refused only unless a covered failure ruined them: through those the chain goes on. A line outside
    ``states`` is not decided under this coverage, and a circle of causes has no beginning: both are not covered.

    >>> state_of_cause("b", {"b": "a", "a": None}, {"a": "covered", "b": "deny"}, frozenset({"b"}))
    'covered'
    """
    seen = {line}
    cause = causes.get(line)
    while cause is not None and cause not in seen:
        state = states.get(cause, "deny")
        if state in CAUSED_STATES:
            return state
        if cause not in spared:
            return "deny"
        seen.add(cause)
        cause = causes.get(cause)
    return "deny"


def with_caused(views: list[LineView]) -> list[LineView]:
    """Let wear items and consumables through that a covered failure ruined, also at the end of a chain of causes."""
    if not any(reason.effect == "deny_unless_caused" for view in views for reason in view.reasons):
        return views
    causes = {v.subject.line.line: v.subject.line.caused_by for v in views}
    states = {v.subject.line.line: v.state for v in views}
    spared = frozenset(
        v.subject.line.line
        for v in views
        if any(r.effect == "deny_unless_caused" for r in v.reasons) and not any(r.effect == "deny" for r in v.reasons)
    )
    settled: list[LineView] = []
    for view in views:
        line = view.subject.line.line
        cause = state_of_cause(line, causes, states, spared) if line in spared else "deny"
        if cause == "deny":
            settled.append(view)
            continue
        reasons = [r for r in view.reasons if r.effect != "deny_unless_caused"]
        code, effect = ("caused_by_covered_failure", "note") if cause == "covered" else ("cause_undecided", "refer")
        reasons += [replace(r, code=code, effect=effect) for r in view.reasons if r.effect == "deny_unless_caused"]
        state = "refer" if any(r.effect == "refer" for r in reasons) else "covered"
        settled.append(replace(view, state=state, reasons=tuple(reasons)))
    return settled
