"""Untidiness: facts that are missing, readings that contradict one another, trouble noted before a late service."""

import random
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from schemas.policy.document import CoveragePolicy
from tests.generated_claims import components_of

KINDS = (
    "reading", "cause", "complete", "delivery", "meter", "spike", "dates", "alteration", "symptom", "slip", "question",
    "booking", "item", "wear", "fitting", "rate", "declared", "use", "region", "owner",
)  # fmt: skip


def spoil(
    rng: random.Random, policy: CoveragePolicy, machine: dict[str, Any], claim: dict[str, Any], failed_on: date
) -> None:
    """Spoil two things about a claim."""
    for kind in rng.sample(KINDS, 2):
        if kind in ("reading", "slip", "cause", "dates", "question", "symptom", "item", "wear", "rate", "declared"):
            _spoil_claim(rng, kind, claim, failed_on)
        else:
            _spoil_machine(rng, kind, policy, machine, failed_on)


def spoil_record(rng: random.Random, record: dict[str, Any]) -> None:
    """Take something away from a service record, or let other hands do it."""
    spoilt = rng.choice(("reading", "by", "evidence", "other_hands", "fluids", "inspected"))
    if spoilt == "other_hands":
        record["by"] = rng.choice(("owner", "independent"))
    else:
        record.pop(spoilt, None)


def _spoil_claim(rng: random.Random, kind: str, claim: dict[str, Any], failed_on: date) -> None:
    match kind:
        case "reading" | "cause":
            claim.pop(kind, None)
        case "slip":
            if "reading" in claim:
                claim["reading"] = str(min(Decimal(claim["reading"]) * 10, Decimal(900000)))
                if rng.random() < 0.5:
                    claim["repair_reading"] = claim["reading"]
        case "dates":
            claim.pop(rng.choice(("repair_ended_on", "submitted_on", "reported_on")), None)
        case "question":
            asked = (failed_on + timedelta(days=rng.randint(-20, 20))).isoformat()
            claim["questions"] = [{"about": "services", "asked_on": asked, "answered": rng.random() < 0.3}]
        case "symptom":
            claim["symptom"] = {"on": (failed_on - timedelta(days=rng.randint(0, 60))).isoformat()}
        case "declared":
            claim["services_declared_complete"] = True
        case _:
            _spoil_lines(rng, kind, claim)


def _spoil_lines(rng: random.Random, kind: str, claim: dict[str, Any]) -> None:
    line = rng.choice(claim["lines"])
    if kind == "wear":
        line.pop("wear", None)
        return
    line.pop("invoice", None)
    if line["item"] in ("travel", "diagnosis"):
        for typed in ("hours", "units", "unit"):
            line.pop(typed, None)
        line["amount"] = "88.00"
    elif kind == "rate":
        line.pop("rate", None)


def _spoil_machine(
    rng: random.Random, kind: str, policy: CoveragePolicy, machine: dict[str, Any], failed_on: date
) -> None:
    earlier = (failed_on - timedelta(days=rng.randint(1, 300))).isoformat()
    match kind:
        case "complete":
            machine["records_complete_from"] = rng.choice((None, (failed_on - timedelta(days=200)).isoformat()))
        case "delivery":
            machine["events"].pop("retail_delivery", None)
            if rng.random() < 0.3:  # a slip in the year
                built = date.fromisoformat(machine["built_on"])
                machine["events"]["retail_delivery"] = (built - timedelta(days=rng.randint(1, 400))).isoformat()
        case "meter":
            old = rng.choice((None, "500.0", "40.0"))
            machine["meter_changes"] = [{"id": "MC-1", "on": earlier, "old_reading": old, "new_reading": 0}]
        case "spike":
            machine["readings"].append({"id": "R-S", "on": earlier, "hours": "9000.0"})
        case "booking":
            tasks = sorted({t for duty in policy.services.values() for t in duty.tasks}) or ["inspection"]
            slot = (failed_on - timedelta(days=rng.randint(-20, 60))).isoformat()
            machine["bookings"] = [
                {"id": "B-1", "asked_on": earlier, "asked_at": rng.choice((None, "400", "75")), "tasks": tasks,
                 "earliest_slot_on": slot, "proven": rng.random() < 0.9}
            ]  # fmt: skip
        case "use":
            machine.pop("use", None)
        case "region":  # known only as its country, or not at all
            machine["region"] = rng.choice((machine["region"].split("-")[0], None))
        case "owner":
            machine["owners"] = _owners_in_doubt(rng, failed_on)
        case "fitting":
            for component in machine["components"]:
                component.pop("fitted_at", None)
        case _:
            machine["alterations"] = [
                {"id": "A-1", "component": rng.choice(components_of(policy)), "found_on": failed_on.isoformat(),
                 "kind": rng.choice(("altered", "other_make")), "caused_failure": rng.choice((True, False, None)),
                 "position": rng.choice(("none", "left", "right"))}
            ]  # fmt: skip


def _owners_in_doubt(rng: random.Random, failed_on: date) -> list[dict[str, Any]]:
    """Return owners between whom the day of the failure lies: on file for both, for none, or only the first, before."""
    first = {"order": 1, "since": (failed_on - timedelta(days=500)).isoformat()}
    ends, begins = rng.choice(((0, 0), (0, 1), (3, -3), (-3, 3), (-3, None), (-200, -199)))
    owners = [{**first, "until": (failed_on + timedelta(days=ends)).isoformat()}]
    if begins is not None:
        owners.append({"order": 2, "since": (failed_on + timedelta(days=begins)).isoformat()})
    return owners
