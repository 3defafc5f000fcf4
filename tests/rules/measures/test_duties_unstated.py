"""A service clause that leaves something open does not load, and the message says what to write."""

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from schemas.conventions import Conventions
from schemas.documents import parse_document
from schemas.policy.document import CoveragePolicy
from tests.rules.measures.duty_building import FIXTURES, conventions, duty

pytestmark = pytest.mark.fast

POLICIES = FIXTURES / "cases" / "policies"


def _policy(name: str) -> dict[str, Any]:
    file = Path(POLICIES / name)
    return dict(parse_document(file.read_text(encoding="utf-8"), file.name).tree)


@pytest.mark.parametrize(
    "knob",
    [
        "tasks",
        "due",
        "window",
        "early",
        "late",
        "next_due_from",
        "judged",
        "performed_by",
        "proof",
        "repairs_count",
        "bookings_count",
        "new_component",
        "missed",
        "done_wrong_by_dealer",
        "borne_by",
    ],
)
def test_every_choice_of_a_service_clause_must_be_stated(knob: str) -> None:
    tree = _policy("full-cover-1.yaml")
    del tree["services"]["drive_oil"][knob]
    with pytest.raises(ValidationError) as refused:
        CoveragePolicy.model_validate(tree)
    assert [(e["type"], e["loc"]) for e in refused.value.errors()] == [("missing", ("services", "drive_oil", knob))]


@pytest.mark.parametrize("knob", ["holds_from", "in_storage", "every"])
def test_the_calendar_says_from_when_it_holds_and_what_storage_does(knob: str) -> None:
    """T-04: whether the calendar covers the first points is never guessed."""
    tree = _policy("reference-1.yaml")
    del tree["services"]["recurring"]["due"]["calendar"][knob]
    with pytest.raises(ValidationError) as refused:
        CoveragePolicy.model_validate(tree)
    assert refused.value.errors()[0]["loc"] == ("services", "recurring", "due", "calendar", knob)


@pytest.mark.parametrize("knob", ["percent_window", "calendar_percent", "one_off_points", "same_day_service"])
def test_the_conventions_say_what_a_percentage_is_taken_of(knob: str) -> None:
    """T-03: ten per cent of the interval and of the due value differ; unstated, nothing loads."""
    tree = conventions().model_dump(mode="json", by_alias=True)
    del tree[knob]
    with pytest.raises(ValidationError) as refused:
        Conventions.model_validate(tree)
    assert [(e["type"], e["loc"]) for e in refused.value.errors()] == [("missing", (knob,))]


def test_a_retrofit_kit_without_its_term_and_schedule_does_not_load() -> None:
    """T-26: a fitting that silently gives a worn drive a full new term is the expensive mistake."""
    tree = _policy("full-cover-1.yaml")
    tree["applies_to"]["fitted"] = ["factory", "replacement", "retrofit_kit"]
    with pytest.raises(ValidationError, match="retrofit_kit"):
        CoveragePolicy.model_validate(tree)
    for term in ("of_the_machine", "new_from_fitting", "kit_only"):
        tree["term"]["retrofit_kit"] = {"term": term, "schedule": "of_the_machine"}
        assert CoveragePolicy.model_validate(tree).term.retrofit_kit is not None


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"window": {}}, "window.hours is not stated"),
        (
            {"due": {"calendar": {"every": "12 months", "holds_from": "start_of_term", "in_storage": "runs"}}},
            "the calendar limb has no window",
        ),
        (
            {"due": {"calendar": {"every": "0 months", "holds_from": "start_of_term", "in_storage": "runs"}}},
            "never comes round",
        ),
        (
            {"due": {"calendar": {"every": "12 months", "holds_from": "last_one_off", "in_storage": "runs"}}},
            "needs a one-off point",
        ),
        ({"due": {}}, "nothing falls due"),
        ({"due": {"then_every": "4.9"}}, "shorter than 5 h"),
        ({"due": {"at_hours": [100, 50]}}, "rising order"),
        ({"due": {"at_hours": [{"at": 50, "early": 5}]}}, "both sides of the window"),
        ({"due": {"at_hours": [{"at": 50, "from_hours": 55, "until_hours": 60}]}}, "outside its own window"),
        (
            {"due": {"at_hours": [{"at": 50, "early": 5, "late": 5, "from_hours": 40, "until_hours": 60}]}},
            "not both",
        ),
        ({"links": []}, "links names none"),
    ],
)
def test_clauses_that_contradict_themselves_are_refused_with_the_way_out(changed: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        duty(**changed)
