"""Drawn claims with their lines, reference tables and earlier payments."""

import random
from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from schemas.policy.document import CoveragePolicy
from schemas.policy.exclusions import Consumables, ExcludedCauses, WearItems

ITEMS = (
    "parts", "parts", "parts", "labour", "labour", "travel", "freight", "diagnosis", "fluids", "supplies", "sublet",
)  # fmt: skip


def money(rng: random.Random, low: int, high: int) -> str:
    return str(Decimal(rng.randint(low * 100, high * 100)).scaleb(-2))


def hours(hundredths: int) -> str:
    return str(Decimal(max(hundredths, 0)).scaleb(-2))


def components_of(policy: CoveragePolicy) -> list[str]:
    """Return the components that a clause of the policy names, the covered ones twice."""
    applies = policy.applies_to
    found = ["pump", "wheel_drive"] if applies.components == "whole_machine" else list(applies.components) * 2
    found += [c for duty in policy.services.values() for c in duty.links] * 2
    found += [c for carve_out in policy.carve_outs for c in carve_out.components]
    for exclusion in policy.exclusions:
        if isinstance(exclusion, WearItems):
            found += exclusion.wear
        elif isinstance(exclusion, Consumables):
            found += exclusion.consumables
    return found


def drawn_claim(
    rng: random.Random,
    policy: CoveragePolicy,
    machine: dict[str, Any],
    failure: tuple[date, int],
    number: int,
    lines: int | None,
    items: Sequence[str] = ITEMS,
) -> dict[str, Any]:
    """Return a claim of ``lines`` lines (drawn where left out) about a failure on a day at hundredths of an hour."""
    failed_on, at_failure = failure
    causes = ["material_defect", *(c for e in policy.exclusions if isinstance(e, ExcludedCauses) for c in e.causes)]
    began = failed_on + timedelta(days=rng.randint(0, 5))
    ended = began + timedelta(days=rng.randint(0, 10))
    currency = policy.currency if rng.random() < 0.85 else rng.choice(("EUR", "USD", "JPY", "KWD"))
    count = lines if lines is not None else rng.randint(1, 5)
    claim: dict[str, Any] = {
        "claim": f"C-{number}", "serial": machine["serial"], "dealer": "D-1", "currency": currency,
        "failed_on": failed_on.isoformat(), "reading": hours(at_failure), "reported_on": began.isoformat(),
        "part_received_on": ended.isoformat(), "repair_began_on": began.isoformat(),
        "repair_reading": hours(at_failure), "repair_ended_on": ended.isoformat(),
        "submitted_on": (ended + timedelta(days=rng.randint(0, 20))).isoformat(),
        "cause": rng.choice(causes) if rng.random() < 0.2 else "material_defect",
        "lines": [_line(rng, policy, machine, i, items) for i in range(count)],
    }  # fmt: skip
    if rng.random() < 0.3:
        claim["component"] = rng.choice(components_of(policy))
        claim["position"] = rng.choice(("none", "left", "right"))
    return claim


def _line(
    rng: random.Random, policy: CoveragePolicy, machine: dict[str, Any], index: int, items: Sequence[str]
) -> dict[str, Any]:
    item = rng.choice(items)
    line: dict[str, Any] = {"line": f"l{index}", "item": item, "component": rng.choice(components_of(policy))}
    line |= _typed(rng, policy, item)
    fitted = machine["components"]
    if fitted and rng.random() < 0.5:
        line["component"] = fitted[0]["component"]
    if rng.random() < 0.08:
        line.pop("component")  # found by the part number, or by the claim
    if rng.random() < 0.2:
        line["position"] = rng.choice(("left", "right"))
    if index and rng.random() < 0.3:
        line["caused_by"] = f"l{rng.randint(0, index - 1)}"
    if rng.random() < 0.03:
        line["removed_serial"] = rng.choice(("K-1", "K-2"))
    if rng.random() < 0.1:
        line["text"] = "as found on the bench"
    return line


def _typed(rng: random.Random, policy: CoveragePolicy, item: str) -> dict[str, Any]:
    """Return what the dealer typed for an item."""
    match item:
        case "parts":
            typed: dict[str, Any] = {"part_number": f"P-{rng.randint(1, 6)}", "net": money(rng, 5, 900)}
            typed["quantity"] = rng.choice((1, 1, 2, "1.5"))
            if rng.random() < 0.8:
                typed |= {"list_price": money(rng, 300, 1300), "price_paid": money(rng, 400, 900)}
            if policy.prorating is not None and policy.prorating.wear_floor is not None:
                typed["wear"] = {"new": "46", "left": str(rng.randint(2, 46))}
            return typed
        case "labour":
            typed = {"operation": f"O-{rng.randint(1, 4)}", "hours": hours(rng.randint(30, 900))}
            return typed | ({"rate": money(rng, 70, 130)} if rng.random() < 0.4 else {})
        case "travel":
            far, near = {"units": "120", "unit": "km"}, {"units": "80", "unit": "mile"}
            return rng.choice(({"hours": "2.5", **far}, far, {**near, "amount": "95.00"}, near))
        case "diagnosis":
            return rng.choice(({"hours": "1.5"}, {"hours": "0.4", "amount": "80.00"}))
        case "fluids":
            return {"part_number": f"P-{rng.randint(1, 6)}", "net": money(rng, 5, 20), "quantity": "8.5"}
        case _:
            return {"amount": money(rng, 10, 300), "invoice": "INV-1"}


def drawn_tables(
    rng: random.Random, policy: CoveragePolicy, claim: dict[str, Any], failed_on: date
) -> list[dict[str, Any]]:
    """Return the tables of a claim; some rows begin near the days of the repair."""
    early = (failed_on - timedelta(days=400)).isoformat()
    late = (failed_on + timedelta(days=rng.randint(-3, 12))).isoformat()
    parts = sorted({line["part_number"] for line in claim["lines"] if "part_number" in line})
    operations = sorted({line["operation"] for line in claim["lines"] if "operation" in line})
    tables: list[dict[str, Any]] = []
    if parts:
        tables.append(_prices(rng, policy, parts, (early, late)))
        rows = [{"part": p, "component": rng.choice(components_of(policy)), "from": early} for p in parts]
        tables.append({"table": "components", "version": 1, "kind": "part_components", "rows": rows})
    if operations:
        flat = [{"operations": [o], "from": early, "hours": hours(rng.randint(5, 60) * 10)} for o in operations]
        if len(operations) > 1:
            flat.append({"operations": operations[:2], "from": early, "hours": hours(rng.randint(5, 80) * 10)})
        tables.append({"table": "times", "version": 1, "kind": "flat_times", "rows": flat})
    rates = [{"dealer": "D-1", "from": day, "rate": money(rng, 60, 120)} for day in (early, late)]
    tables.append(
        {"table": "rates", "version": 1, "kind": "labour_rates", "currency": claim["currency"], "rows": rates}
    )
    if claim["currency"] != policy.currency:
        pair = rng.choice(((claim["currency"], policy.currency), (policy.currency, claim["currency"])))
        fx = [
            {"one": pair[0], "in": pair[1], "from": day, "is_worth": str(Decimal(rng.randint(5000, 19999)).scaleb(-4))}
            for day in (early, late)
        ]
        tables.append({"table": "fx", "version": 1, "kind": "exchange_rates", "rows": fx})
    lists = sorted({d.fluid.fluids for d in policy.services.values() if d.fluid is not None})
    if lists:
        rows = [{"fluid": "oil_a", "on_list": name, "from": "2010-01-01"} for name in lists]
        until = (failed_on - timedelta(days=rng.randint(0, 300))).isoformat()
        rows += [{"fluid": "oil_b", "on_list": lists[0], "from": "2010-01-01", "until": until}] * (rng.random() < 0.5)
        tables.append({"table": "fluids", "version": 1, "kind": "fluids", "rows": rows})
    return tables


def _prices(rng: random.Random, policy: CoveragePolicy, parts: list[str], days: tuple[str, str]) -> dict[str, Any]:
    rows = [
        {"part": p, "from": day, "net": money(rng, 5, 900)}
        | ({"list_price": money(rng, 300, 1300)} if rng.random() < 0.95 else {})
        for p in parts
        if rng.random() < 0.97
        for day in days
    ]
    if rows and rng.random() < 0.1:
        newer = {**rows[-1], "part": "P-9", "from": days[0]}
        rows[-1] = {"part": rows[-1]["part"], "from": days[1], "superseded_by": "P-9"}
        rows.append(newer)
    return {"table": "prices", "version": 1, "kind": "prices", "currency": policy.currency, "rows": rows}


def drawn_payments(
    rng: random.Random, policy: CoveragePolicy, claim: dict[str, Any], failed_on: date
) -> list[dict[str, Any]]:
    """Return earlier payments where a cap over a lifetime counts them."""
    if not any(cap.over.endswith("lifetime") for cap in policy.caps) or rng.random() < 0.4:
        return []
    paid = (failed_on - timedelta(days=rng.randint(10, 300))).isoformat()
    return [
        {"id": f"E-{i}", "claim": rng.choice(("C-0", "C-0", claim["claim"])), "paid_on": paid,
         "policy": str(policy.ref),
         "component": rng.choice(components_of(policy)), "item": "parts", "amount": money(rng, 50, 20000),
         "currency": policy.currency}
        for i in range(rng.randint(1, 3))
    ]  # fmt: skip
