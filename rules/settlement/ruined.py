"""Items that a covered failure ruined: along the chain of causes, line by line, to the failure that began it."""

from collections.abc import Mapping

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
