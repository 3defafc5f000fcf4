"""Duties and conventions for tests, stated as a policy author writes them."""

from functools import lru_cache
from pathlib import Path
from typing import Any

from rules.measures.schedule import Absence, DuePoint
from schemas.conventions import Conventions
from schemas.documents import parse_document
from schemas.policy.services import ServiceDuty

FIXTURES = Path(__file__).parents[3] / "fixtures"


def duty(**changed: Any) -> ServiceDuty:
    """Return a duty of 250 h, 25 h either side, on the reference terms, with these changes."""
    terms: dict[str, Any] = {
        "clause": "3.1",
        "tasks": ["oil"],
        "due": {"then_every": 250},
        "window": {"hours": {"early": 25, "late": 25}},
        "early": "counts",
        "late": "cures_from_its_date",
        "next_due_from": "due_point_inside_window",
        "judged": "every_closed_window",
        "performed_by": ["authorised_dealer"],
        "proof": [{"grade": "A", "all": ["dealer_invoice"]}],
        "repairs_count": True,
        "bookings_count": False,
        "new_component": "keeps_schedule",
        "links": ["wheel_drive"],
        "missed": {"deny": "linked_components"},
        "done_wrong_by_dealer": "owner_kept_whole",
        "borne_by": "owner",
    }
    return ServiceDuty.model_validate(terms | changed)


def conventions(**changed: str) -> Conventions:
    """Return the ready-made civil conventions with these changes."""
    return Conventions.model_validate(dict(_civil()) | changed)


@lru_cache(maxsize=1)
def _civil() -> dict[str, Any]:
    text = (FIXTURES / "conventions" / "common-civil-1.yaml").read_text(encoding="utf-8")
    return dict(parse_document(text, "common-civil-1.yaml").tree)


def not_done(_point: DuePoint, _day: int, _hours: int | None) -> Absence:
    return "not_done"


def done(_point: DuePoint, _day: int, _hours: int | None) -> Absence:
    return "done"
