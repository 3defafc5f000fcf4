"""Chains of causes: a covered failure is at the beginning, or none is."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.settlement.ruined import state_of_cause

pytestmark = pytest.mark.fast

LINES = "abcdef"


@pytest.mark.parametrize(
    ("causes", "states", "spared", "expected"),
    [
        ({"a": None}, {"a": "deny"}, "a", "deny"),  # no cause at all
        ({"a": "b", "b": None}, {"b": "covered"}, "a", "covered"),
        ({"a": "b", "b": None}, {"b": "refer"}, "a", "refer"),
        ({"a": "b", "b": None}, {"b": "deny"}, "a", "deny"),
        ({"a": "b", "b": "c", "c": None}, {"b": "deny", "c": "covered"}, "ab", "covered"),
        ({"a": "b", "b": "c", "c": None}, {"b": "deny", "c": "covered"}, "a", "deny"),  # the chain ends at b
        ({"a": "b", "b": "a"}, {"a": "deny", "b": "deny"}, "ab", "deny"),  # a circle
        ({"a": "b", "b": "c", "c": "b"}, {"b": "deny", "c": "deny"}, "abc", "deny"),  # into a circle
        ({"a": "z"}, {}, "a", "deny"),  # a line under no coverage here
    ],
)
def test_a_chain_of_causes(causes: dict[str, str | None], states: dict[str, str], spared: str, expected: str) -> None:
    assert state_of_cause("a", causes, states, frozenset(spared)) == expected


@given(
    causes=st.dictionaries(st.sampled_from(LINES), st.sampled_from([*LINES, None])),
    states=st.dictionaries(st.sampled_from(LINES), st.sampled_from(["covered", "refer", "deny"])),
    spared=st.frozensets(st.sampled_from(LINES)),
    line=st.sampled_from(LINES),
)
def test_it_ends_and_never_covers_without_a_covered_line(
    causes: dict[str, str | None], states: dict[str, str], spared: frozenset[str], line: str
) -> None:
    found = state_of_cause(line, causes, states, spared)
    others = {state for name, state in states.items() if name != line}
    assert found == "deny" or found in others
