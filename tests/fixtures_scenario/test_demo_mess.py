"""The demo scenario is as untidy as an office's records are, and plausible all the same."""

from collections import defaultdict
from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest

from schemas.reference_tables import FluidTable
from tests.fixtures_scenario.scenario import rows, scenario

pytestmark = pytest.mark.fast

Row = dict[str, Any]
MOST_SLIPS = 12  # readings that fall below the one before them, of some four hundred


def _machines() -> dict[str, Row]:
    return {row["serial"]: row for row in rows("machines.json")}


def _having(records: list[Row], key: str) -> int:
    return sum(bool(record.get(key)) for record in records)


def test_claims_lack_what_claims_lack() -> None:
    claims, machines = rows("claims.json"), _machines()
    with_meter = [claim for claim in claims if machines[claim["serial"]].get("has_meter", True)]
    for key, least in (("cause", 5), ("submitted_on", 1), ("repair_ended_on", 1), ("reported_on", 1)):
        assert len(claims) - _having(claims, key) >= least, key
    assert len(with_meter) - _having(with_meter, "reading") >= 5
    bills = [line for claim in claims for line in claim["lines"] if line["item"] in ("freight", "sublet")]
    assert 0 < _having(bills, "invoice") < len(bills)
    assert _having(claims, "symptom")
    assert _having(claims, "services_declared_complete")


def test_service_records_lack_readings_proof_or_names_and_some_papers_came_late() -> None:
    services = rows("services.json")
    for key in ("evidence", "by"):
        assert len(services) - _having(services, key) >= 5, key
    visits = [record for record in services if _machines()[record["serial"]].get("has_meter", True)]
    assert len(visits) - _having(visits, "reading") >= 10
    assert _having(services, "provided_on") >= 3
    assert {"authorised_dealer", "independent", "owner"} <= {record.get("by") for record in services}


def test_some_services_used_a_fluid_of_no_list() -> None:
    listed = {row.fluid for table in scenario().on_file.tables if isinstance(table, FluidTable) for row in table.rows}
    used = {fluid["fluid"] for record in rows("services.json") for fluid in record.get("fluids", ())}
    assert used & listed
    assert used - listed


@pytest.mark.parametrize("key", ["storage", "alterations", "meter_changes", "demonstrations", "bookings", "readings"])
def test_machines_have_a_past(key: str) -> None:
    assert _having(rows("machines.json"), key)


def test_machines_differ_in_owners_use_and_completeness_of_records() -> None:
    machines = rows("machines.json")
    assert sum(len(machine["owners"]) > 1 for machine in machines) >= 3
    assert {"commercial", "residential", "rental", "public"} <= {machine["use"] for machine in machines}
    assert 3 <= len(machines) - _having(machines, "records_complete_from") < len(machines) / 2
    assert any(
        machine["records_complete_from"] > machine["owners"][0]["since"]
        for machine in machines
        if "records_complete_from" in machine
    )


def test_services_lie_in_the_life_of_their_machine_and_hours_grow() -> None:
    machines = _machines()
    by_serial: dict[str, list[Row]] = defaultdict(list)
    for record in rows("services.json"):
        assert machines[record["serial"]]["built_on"] <= record["on"], record["record"]
        by_serial[record["serial"]].append(record)
    slips = 0
    for records in by_serial.values():
        ordered = sorted((date.fromisoformat(r["on"]), Decimal(r["reading"])) for r in records if "reading" in r)
        slips += sum(later[1] < earlier[1] for earlier, later in pairwise(ordered))
    assert 0 < slips <= MOST_SLIPS


def test_records_are_numbered_in_the_order_of_their_dates() -> None:
    numbered = [(record["record"], record["on"]) for record in rows("services.json")]
    assert [on for _, on in sorted(numbered)] == sorted(on for _, on in numbered)


def test_most_work_is_done_in_the_season() -> None:
    months = [date.fromisoformat(claim["failed_on"]).month for claim in rows("claims.json")]
    assert sum(3 <= month <= 10 for month in months) > len(months) * 3 / 4
