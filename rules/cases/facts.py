"""A case's facts as a claim file: the base, what differs, and the few things that a case need not say."""

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any, TypeVar, get_args

from pydantic import BaseModel

from schemas.cases import CaseBase, CaseTable, WorkedCase
from schemas.claim_file import ClaimFile
from schemas.documents import DocumentRefused, ParsedDocument, TreePath, validated
from schemas.documents.tree import Places
from schemas.policy.clause import Event
from schemas.quantities import LAST_DAY

SUPPOSED = {"use": "commercial", "region": "XX"}  # of a machine, where a case says nothing of them
MOST_TOLD = 5  # faults of one case; they stand in one sentence
DECIDED_AFTER = timedelta(days=10)  # after the last day of a case, where it says nothing else

EVENTS = frozenset(get_args(Event)) - {"built"}
BY_ID = {
    "readings": "id",
    "meter_changes": "id",
    "components": "id",
    "storage": "id",
    "alterations": "id",
    "bookings": "id",
}


Model = TypeVar("Model", bound=BaseModel)


class CaseFault(ValueError):
    """A case that cannot be decided: why, the way out, and where in the case it stands."""

    def __init__(self, message: str, way_out: str = "Correct its facts or terms.", at: TreePath = ()) -> None:
        super().__init__(message)
        self.way_out = way_out
        self.at = at


class WrongExpectation(CaseFault):
    """What a case expects could never come out, whatever its facts."""


def taken(model: type[Model], tree: Any) -> Model:
    """Return a changed tree as a document; raises CaseFault in the words that the document itself is refused in."""
    try:
        return validated(model, ParsedDocument("", tree, Places))
    except DocumentRefused as refusal:
        told = (f"{fault.path}: {fault.message} {fault.way_out}".strip(": ") for fault in refusal.faults[:MOST_TOLD])
        raise CaseFault(" ".join(told)) from refusal


def merged(base: Any, change: Any) -> Any:
    """Return ``base`` changed by ``change``: mappings merge, null takes away, anything else replaces."""
    if not isinstance(base, Mapping) or not isinstance(change, Mapping):
        return change
    result = dict(base)
    for key, value in change.items():
        if value is None:
            result.pop(key, None)
        else:
            result[key] = merged(result[key], value) if key in result else _without_nulls(value)
    return result


def _without_nulls(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _without_nulls(inner) for key, inner in value.items() if inner is not None}
    return value


def claim_file_of(table: CaseTable, case: WorkedCase, currency: str, exponents: Mapping[str, int]) -> ClaimFile:
    """Return the claim file of a case; ``currency`` is that of its first policy.

    A day that the base states as null is not on file, as in the documents themselves; so are use and region, also
    where the case does.
    """
    base = table.base
    assert base is not None, "a case of a claim on file is gathered from its records"
    _check_taken_away(base, case)
    unknown = {key: None for key in SUPPOSED if key in case.machine and case.machine[key] is None}
    machine = _machine({**merged(base.machine, case.machine), **unknown})
    claim = _claim(merged(base.claim, case.claim), machine["serial"], currency)
    services = _services(merged(base.services, case.services), case.services, machine["serial"])
    dealer = {
        "dealer": claim["dealer"],
        "region": machine["region"],
        "currency": claim["currency"],
        **merged(base.dealer, case.dealer),
    }
    tables = [{"table": name, "version": 1, **rows} for name, rows in merged(base.tables, case.tables).items()]
    payments = _by_id(merged(base.earlier_payments, case.earlier_payments), "id")
    payments = [{"claim": "C-0", "item": "parts", "currency": currency, **p} for p in payments]
    decided = case.decided_on or base.decided_on or _late_enough(claim, machine, services)
    return taken(
        ClaimFile,
        {
            "machine": machine,
            "services": services,
            "claim": claim,
            "dealer": dealer,
            "tables": tables,
            "earlier_payments": payments,
            "currency_exponents": dict(exponents),
            "decided_on": decided,
        },
    )


def _check_taken_away(base: CaseBase, case: WorkedCase) -> None:
    """Refuse to take away a record that the base does not have: the case would show something else than it says."""
    places: list[tuple[TreePath, Any, Any]] = [
        ((part,), getattr(base, part), getattr(case, part)) for part in ("services", "tables", "earlier_payments")
    ]
    places.append((("claim", "lines"), base.claim.get("lines"), case.claim.get("lines")))
    places += [(("machine", part), base.machine.get(part), case.machine.get(part)) for part in BY_ID]
    for place, known, changes in places:
        if not isinstance(changes, Mapping):
            continue
        names = sorted(map(str, known)) if isinstance(known, Mapping) else []
        for name, change in changes.items():
            if change is None and name not in names:
                has = f"It has {', '.join(names)}." if names else "It has none."
                raise CaseFault(f'"{name}" is taken away, and the base has none of that name', has, (*place, name))


def _late_enough(claim: Mapping[str, Any], machine: Mapping[str, Any], services: Iterable[Mapping[str, Any]]) -> str:
    """Return a day of decision on which all that the case states is known."""
    stated = [(f"claim.{key}", value) for key, value in claim.items() if key.endswith("_on") and value is not None]
    if not stated:
        raise CaseFault("the claim states no day; write failed_on")
    stated += [(f"readings.{row['id']}.on", row.get("on")) for row in machine.get("readings", ())]
    stated += [(f"meter_changes.{row['id']}.on", row.get("on")) for row in machine.get("meter_changes", ())]
    stated += [(f"services.{row['record']}.on", row.get("on")) for row in services]
    days = []
    for where, value in stated:
        if value is not None:
            try:
                days.append(date.fromisoformat(str(value)))
            except ValueError:
                raise CaseFault(f'{where}: "{value}" is no day; write one such as 2025-06-16') from None
    return (min(max(days), LAST_DAY - DECIDED_AFTER) + DECIDED_AFTER).isoformat()


def _by_id(records: Mapping[str, Any] | Iterable[Any], key: str) -> list[Any]:
    if not isinstance(records, Mapping):
        return list(records)
    return [{key: name, **record} for name, record in records.items()]


def _machine(facts: Mapping[str, Any]) -> dict[str, Any]:
    machine: dict[str, Any] = {"serial": "M-1", **SUPPOSED}
    events = dict(facts.get("events", {}))
    for key, value in facts.items():
        if key in EVENTS:
            events[key] = value
        elif key in BY_ID:
            machine[key] = _by_id(value, BY_ID[key])
        elif key != "events":
            machine[key] = value
    machine["events"] = events = {event: day for event, day in events.items() if day is not None}
    first = min((str(day) for day in events.values()), default="2020-01-01")
    shown = [
        str(each["on"]) for each in machine.get("demonstrations") or () if isinstance(each, Mapping) and "on" in each
    ]
    machine.setdefault("built_on", min(first, *shown) if shown else first)  # nothing was shown of it before
    return machine


def _claim(facts: Mapping[str, Any], serial: str, currency: str) -> dict[str, Any]:
    claim = {"claim": "C-1", "serial": serial, "dealer": "D-1", "currency": currency, **facts}
    lines = []
    for line in _by_id(claim["lines"], "line"):
        item = "labour" if "hours" in line else "parts"
        lines.append({"item": item, **line})
    claim["lines"] = lines
    return claim


def _services(records: Mapping[str, Any], changes: Mapping[str, Any], serial: str) -> list[dict[str, Any]]:
    done = []
    for name, record in records.items():
        facts = dict(record)
        seen = {name}
        while "like" in facts:
            source = facts.pop("like")
            if source in seen or source not in records:
                raise CaseFault(f'service "{name}" is like "{source}", which is not another service of this case')
            seen.add(source)
            facts = merged(records[source], facts)
        own = changes.get(name) or {}
        facts = merged(facts, {key: value for key, value in own.items() if key != "like"})  # null takes away at last
        done.append({"record": name, "serial": serial, **facts})
    return done
