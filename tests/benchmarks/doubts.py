"""What one doubtful fact costs on a long history: each way of spoiling one thing about a claim that is fully known."""

import random
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from rules.adjudicate import Adjudicator
from rules.decision.seal import decision_bytes
from schemas.claim_file import ClaimFile
from schemas.policy.document import CoveragePolicy
from tests.benchmarks.measuring import counted_worlds
from tests.generated_known import OTHER_WORK, KnownClaimFiles

MOST_CLAIMS = 150  # of each doubt
Tree = dict[str, Any]
Spoil = Callable[[random.Random, Tree], bool]  # spoils one thing; false where the claim has no such thing


def _service(rng: random.Random, tree: Tree, *, of_duty: bool) -> Tree | None:
    """Return a service before the failure that carries a duty's tasks, or one that carries other work."""
    found = [s for s in tree["services"] if (s["tasks"][0] not in OTHER_WORK) == of_duty and "reading" in s]
    return rng.choice(found) if found else None


def _without(field: str, *, of_duty: bool = True) -> Spoil:
    def spoil(rng: random.Random, tree: Tree) -> bool:
        record = _service(rng, tree, of_duty=of_duty)
        return record is not None and record.pop(field, None) is not None

    return spoil


def _five_unread(rng: random.Random, tree: Tree) -> bool:
    found = [s for s in tree["services"] if s["tasks"][0] not in OTHER_WORK and "reading" in s]
    for record in rng.sample(found, min(len(found), 5)):
        del record["reading"]
    return len(found) >= 5


def _failure_unread(_: random.Random, tree: Tree) -> bool:
    tree["claim"].pop("repair_reading", None)
    return tree["claim"].pop("reading", None) is not None


def _failure_read_at_repair(_: random.Random, tree: Tree) -> bool:
    return tree["claim"].pop("reading", None) is not None


def _incomplete(_: random.Random, tree: Tree) -> bool:
    tree["machine"]["records_complete_from"] = None
    tree["claim"] |= {"services_declared_complete": False, "questions": []}
    return True


def _cause_unstated(_: random.Random, tree: Tree) -> bool:
    return tree["claim"].pop("cause", None) is not None


def _wear_unmeasured(_: random.Random, tree: Tree) -> bool:
    return [line.pop("wear", None) for line in tree["claim"]["lines"]] != [None] * len(tree["claim"]["lines"])


def _start_unknown(_: random.Random, tree: Tree) -> bool:
    tree["machine"]["events"] = {}
    tree["machine"].pop("demonstrations", None)
    return True


def _old_meter_unread(_: random.Random, tree: Tree) -> bool:
    changes = tree["machine"].get("meter_changes", [])
    for change in changes:
        change["old_reading"] = None
    return bool(changes)


def _meter_replaced_unread(rng: random.Random, tree: Tree) -> bool:
    """Replace the meter in the middle of the history; nobody noted what the old one showed."""
    claim, services = tree["claim"], sorted(tree["services"], key=lambda s: s["on"])
    if "reading" not in claim or tree["machine"].get("meter_changes"):
        return _old_meter_unread(rng, tree)
    middle = services[len(services) // 2]
    shown, day = Decimal(middle["reading"]), date.fromisoformat(middle["on"]) + timedelta(days=1)
    if day.isoformat() >= claim["failed_on"]:
        return False
    change = {"id": "MC-1", "on": day.isoformat(), "old_reading": None, "new_reading": 0}
    tree["machine"]["meter_changes"] = [change]
    rows = [(s, "reading") for s in services] + [(r, "hours") for r in tree["machine"]["readings"]]
    later = [(row, key) for row, key in rows if row["on"] >= day.isoformat() and Decimal(row[key]) >= shown]
    for row, key in (*later, (claim, "reading"), (claim, "repair_reading")):
        row[key] = str(Decimal(row[key]) - shown)
    return all(row["on"] < day.isoformat() for row, key in rows if (row, key) not in later)


def _contradicted(_: random.Random, tree: Tree) -> bool:
    """Let two readings in the middle stand far above those that follow."""
    found = sorted((s for s in tree["services"] if "reading" in s), key=lambda s: (s["on"], Decimal(s["reading"])))
    if len(found) < 5 or tree["machine"].get("meter_changes"):
        return False
    middle = len(found) // 2
    for record in found[middle : middle + 2]:
        record["reading"] = str(Decimal(record["reading"]) + 5000)
    return True


def _stood_still(_: random.Random, tree: Tree) -> bool:
    """Let the meter stand for 150 days in the middle of the history, and then go on."""
    found = sorted((s for s in tree["services"] if "reading" in s), key=lambda s: (s["on"], Decimal(s["reading"])))
    if not found or tree["machine"].get("meter_changes"):
        return False
    first = found[len(found) // 2]
    since, stood = date.fromisoformat(first["on"]), Decimal(first["reading"])
    until = (since + timedelta(days=150)).isoformat()
    rows = [(s, "reading") for s in found] + [(r, "hours") for r in tree["machine"]["readings"]]
    inside = [(row, key) for row, key in rows if first["on"] < row["on"] <= until]
    if len(inside) < 2 or tree["claim"]["failed_on"] <= until:
        return False
    lost = max(Decimal(row[key]) for row, key in inside) - stood
    for row, key in rows:
        if (row, key) in inside:
            row[key] = str(stood)
        elif row["on"] > until:
            row[key] = str(Decimal(row[key]) - lost)
    for key in ("reading", "repair_reading"):
        tree["claim"][key] = str(Decimal(tree["claim"][key]) - lost)
    return True


DOUBTS: Mapping[str, Spoil] = {
    "a service without a reading": _without("reading"),
    "other work without a reading": _without("reading", of_duty=False),
    "five services without a reading": _five_unread,
    "a service without its paper": _without("evidence"),
    "nobody named for a service": _without("by"),
    "no fluid named for a service": _without("fluids"),
    "no reading at the failure": _failure_unread,
    "a reading at the repair alone": _failure_read_at_repair,
    "records not known complete": _incomplete,
    "cause not stated": _cause_unstated,
    "wear not measured": _wear_unmeasured,
    "start of term not on file": _start_unknown,
    "old meter's reading unknown": _meter_replaced_unread,
    "two readings contradicted": _contradicted,
    "meter stood for 150 days": _stood_still,
}


@dataclass(frozen=True)
class Cost:
    """What a doubt costs: claims looked at, worlds a claim, the share given up, milliseconds a claim, and facts."""

    claims: int
    worlds: float
    most: int
    given_up: float
    milliseconds: float
    facts: tuple[tuple[str, int], ...]


def cost_of(
    spoil: Spoil | None, adjudicator: Adjudicator, policies: Sequence[CoveragePolicy], services: int, seconds: float
) -> Cost | None:
    """Return the cost of one doubt on histories of ``services`` records, of as many claims as ``seconds`` allow."""
    generator, rng = KnownClaimFiles(policies, seed=7), random.Random(11)
    counts, kinds, given_up = list[int](), Counter[str](), list[bool]()
    spent, begun = 0.0, time.process_time()
    while time.process_time() - begun < seconds and len(counts) < MOST_CLAIMS:
        tree = generator.draw_tree(lines=4, services=services)
        if spoil is not None and not spoil(rng, tree):
            continue
        file = ClaimFile.model_validate(tree)
        with counted_worlds(counts, kinds, given_up):
            started = time.process_time()
            decision_bytes(adjudicator.decide(file, remedies=False))
            spent += time.process_time() - started
    if not counts:
        return None
    mean, share = sum(counts) / len(counts), sum(given_up) / len(counts)
    return Cost(len(counts), mean, max(counts), share, spent / len(counts) * 1e3, tuple(kinds.most_common(3)))
