"""What the tests of warnings share: changes of the short policy, and how a warning is looked for."""

from typing import Any

from rules.policy_book.book import PolicyBook
from rules.policy_book.lint import PolicyWarning, warnings_of
from tests.rules.policy_book.examples import book, duty, merged, policy

Change = dict[str, Any]
Warned = tuple[str, Change, Change, str, str]  # code, terms, their near twin, path, words of the message

LINEAR = {"zero_at": 120, "credit": "whole_term", "free_until": 0}
LABOUR = {
    "clause": "4.2", "hours": "actual", "rate": "registered", "rate_on": "failed_on", "hours_in": "tenths",
    "without_flat_rate": "actual", "excess_borne_by": "dealer",
}  # fmt: skip
OR = {"clause": "4.9", "items": ["parts", "labour"], "after": {"months": 24}, "borne_by": "owner"}


def ends(*limits: Change) -> Change:
    return {"ends": {"first_of": list(limits)}}


def oil(**change: Any) -> Change:
    """A duty that warns of nothing: windows in hours, counted on the grid."""
    quiet = {"window": {"hours": {"early": 25, "late": 25}}, "next_due_from": "due_point", "early": "does_not_count"}
    return {"services": {"oil": duty(merged(quiet, change))}}


def prorating(share: Change, by: str = "complete_months", **change: Any) -> Change:
    axis = {"by": by, "share": share}
    whole = {"clause": "3.9", "axes": [axis], "items": ["parts"], "owner_pays_on": "allowed_amount"}
    return {"prorating": {**whole, "borne_by": "owner", **change}}


def carve_out(*components: str, **change: Any) -> Change:
    return {"clause": "2.1", "components": list(components), "ends": {"first_of": [{"months": 6}]}, **change}


def falling(target: str, **change: Any) -> Change:
    missed = {"deny": None, "fall_back_to": target, "reach": "linked_components"}
    return {**oil(missed=missed), **change}


def found(made: PolicyBook, code: str) -> list[PolicyWarning]:
    return [warning for warning in warnings_of(made) if warning.code == code]


def assert_warned(code: str, terms: Change, twin: Change, path: str, words: str) -> None:
    """The terms earn the one warning of this code, their twin earns none."""
    (warning,) = found(book(policy(terms)), code)
    assert (warning.policy, warning.path) == ("sprayer@1", path)
    assert words in f"{warning.message} {warning.way_out}"
    assert found(book(policy(twin)), code) == []


def ids_of(warned: list[Warned]) -> list[str]:
    return [f"{code}-{path}-{number}" for number, (code, _, _, path, _) in enumerate(warned)]
