"""A remedy keeps its promise: with the services that it names on file as real records, its line comes to what it says.

The services are read from the words of the remedy, as the desk reads them, and done somewhere in their windows; on days
on which the machine ran as evenly as what was seen of it allows. What is compared is the line and the claim's payout.
Random claims are drawn under every policy with services, and random histories under every way in which services can
follow one another: there no named service may be left out either.
"""

import random
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from rules.adjudicate import Adjudicator
from rules.cases.run import CaseRunner
from rules.plain import MONTHS
from schemas.cases import CaseTable
from schemas.claim_file import ClaimFile
from schemas.decision import Decision, Remedy
from schemas.policy.services import ServiceDuty
from schemas.service_record import ServiceRecord
from service.policy_files import read_policy_source
from tests.reference.fixture_books import BOOKS, POLICIES, Names, book_of, claims_for

SERVED = [names for names in BOOKS if any(POLICIES[name].services for name in names)]
OF_EACH = 30
HOURS = re.compile(r"([\d,.]+) h(?: \(([\d,.]+)–([\d,.]+) h\))?")
DAY = r"(\d{1,2}) (\w+) (\d{4})"
DAYS = re.compile(rf"{DAY}(?: \({DAY} to {DAY}\))?")
NAMED = re.compile(r"records of the (.+?) services(?: of the (left|right) side)? due at (.+?)(?:, done by .+)?$")
Curve = list[tuple[int, Decimal]]


def to_day(parts: tuple[str, ...]) -> date:
    return date(int(parts[2]), MONTHS.index(parts[1]) + 1, int(parts[0]))


def ran(claim_file: ClaimFile) -> Curve:
    """Return what was seen of the machine's hours, day by day up to the failure; what falls is left out."""
    claim, machine = claim_file.claim, claim_file.machine
    seen = [(machine.built_on.toordinal(), Decimal(0)), (claim.failed_on.toordinal(), claim.reading or Decimal(0))]
    records = [(s.on, s.reading) for s in claim_file.services] + [(r.on, r.hours) for r in machine.readings]
    seen += [(on.toordinal(), at) for on, at in records if at is not None and on < claim.failed_on]
    rising: Curve = []
    for day, at in sorted(seen):
        if not rising or at >= rising[-1][1]:
            rising.append((day, at))
    return rising


def day_of(curve: Curve, hours: Decimal) -> date | None:
    for (day, at), (after, later) in pairwise(curve):
        if at <= hours <= later and later > at:
            return date.fromordinal(day + int((hours - at) * (after - day) / (later - at)))
    return None


def hours_of(curve: Curve, on: date) -> Decimal | None:
    for (day, at), (after, later) in pairwise(curve):
        if day <= on.toordinal() <= after:
            return round(at + (later - at) * (on.toordinal() - day) / max(after - day, 1), 2)
    return None


def place(named: str, curve: Curve, has_meter: bool, at: int) -> tuple[date, Decimal | None] | None:
    """Return a day and hours inside the window of a due point as its words give it; None: no such day is certain.

    ``at``: 0 where the window opens, 1 where the service is due, 2 where the window closes.
    """
    hours, days = HOURS.search(named), DAYS.search(named)
    if hours is not None:
        due, low, high = (Decimal((text or hours[1]).replace(",", "")) for text in hours.groups())
        reading = (low, due, high)[at]
        day = day_of(curve, reading)
        if day is None:
            return None
        if days is None or day <= to_day(days.groups()[6:] if days[4] else days.groups()[:3]):
            return day, reading
    assert days is not None, named
    groups = days.groups()
    window = [to_day(groups[i : i + 3]) if groups[i] else to_day(groups[:3]) for i in (3, 0, 6)]
    return window[at], hours_of(curve, window[at]) if has_meter else None


def duties(names: Names, fact: str, duty: str) -> Iterator[ServiceDuty]:
    policy = fact.split(":")[1]
    for name in names:
        if POLICIES[name].policy == policy and duty in POLICIES[name].services:
            yield POLICIES[name].services[duty]


def record_of(duty: ServiceDuty, claim_file: ClaimFile, on: date, side: str | None) -> dict[str, Any]:
    """Return a service as the duty asks for it: whole, by hands that count, proven, with a fluid of its list."""
    record: dict[str, Any] = {
        "tasks": duty.tasks, "by": duty.performed_by[0], "dealer": claim_file.machine.selling_dealer,
        "evidence": duty.proof[0].all, "position": side or "none", "serial": claim_file.machine.serial, "on": on,
    }  # fmt: skip
    rows = [row for table in claim_file.tables if table.kind == "fluids" for row in table.rows]
    if duty.fluid is not None:
        fit = [r for r in rows if r.on_list == duty.fluid.fluids and (r.until is None or on <= r.until)]
        record["fluids"] = [{"fluid": row.fluid, "litres": 99} for row in fit[:1]]
    return record


def with_records(names: Names, claim_file: ClaimFile, remedy: Remedy, rng: random.Random) -> ClaimFile | None:
    """Return the claim file with the services that a remedy names; None where it names anything else."""
    if not all(fact.startswith("services:") for fact in remedy.facts):
        return None
    curve, records = ran(claim_file), list(claim_file.services)
    parts = re.split(r" and (?=records of)", remedy.desk_words)
    for part in parts:
        match = NAMED.match(part)
        assert match is not None, remedy.desk_words
        name = match[1].replace(" ", "_")
        fact = next(f for f in remedy.facts if f.split(":")[2] == name)
        duty = next(duties(names, fact, name))
        for named in match[3].split("; "):
            done = place(named, curve, claim_file.machine.has_meter, rng.randrange(3))
            if done is None or not claim_file.machine.built_on < done[0] < claim_file.claim.failed_on:
                return None
            record = record_of(duty, claim_file, done[0], match[2])
            records.append(ServiceRecord(record=f"ZZ-{len(records)}", reading=done[1], **record))
    ordered = tuple(sorted(records, key=lambda r: r.record))
    return claim_file.model_copy(update={"services": ordered})


@cache
def broken(names: Names, seed: int, claims: int) -> tuple[list[str], int]:
    """Return the promises that are not kept, with how many were tried."""
    files, rng, found, tried = claims_for(names, seed, 0), random.Random(seed), list[str](), 0
    with Adjudicator(book_of(names)) as adjudicator:
        for _ in range(claims):
            claim_file = files.draw(lines=2)
            decision = adjudicator.decide(claim_file)
            for remedy in decision.remedies:
                again = with_records(names, claim_file, remedy, rng)
                if again is None:
                    continue
                tried += 1
                found += differs(remedy, decision, adjudicator.decide(again, remedies=False), again)
    return found, tried


def differs(remedy: Remedy, before: Decision, after: Decision, claim_file: ClaimFile) -> Iterator[str]:
    line = next(x for x in after.lines if x.line == remedy.line)
    payout = after.payout.amount
    said = before.payout.amount if remedy.payout is None else remedy.payout.amount
    kept = (line.outcome, line.maker_pays) == (remedy.outcome, remedy.maker_pays)
    if not kept or (remedy.payout is not None and payout != said):
        added = [(str(s.on), str(s.reading)) for s in claim_file.services if s.record.startswith("ZZ-")]
        reasons = [(r.code, r.words, r.facts[:1]) for r in line.reasons]
        yield f"{remedy}\n {added}\n {line.outcome} {line.maker_pays} {reasons}\n {claim_file.model_dump_json()}"


@pytest.mark.parametrize("names", SERVED, ids="+".join)
def test_with_the_services_named_on_file_the_line_comes_to_what_was_promised(names: Names) -> None:
    found, _ = broken(names, 41, OF_EACH)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])


def test_remedies_are_put_to_the_test() -> None:
    assert sum(broken(names, 41, OF_EACH)[1] for names in SERVED) >= 30


@pytest.mark.long
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("names", SERVED, ids="+".join)
def test_many_remedies_keep_their_promise(names: Names, seed: int) -> None:
    found, _ = broken(names, 1041 + seed, 60)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])


# Random histories of one machine under fixtures/cases/policies/reference-1.yaml, its recurring service varied.
DELIVERED = date(2024, 3, 2)
FIXTURES = Path(__file__).parents[2] / "fixtures"
DONE: Mapping[str, Any] = {"by": "authorised_dealer", "evidence": ["dealer_invoice"], "tasks": ["recurring"]}
Case = dict[str, Any]


def history(rng: random.Random, number: int) -> tuple[Case, Curve]:
    """Return a case with visits at random hours, and the machine's hours by day."""
    recurring: dict[str, Any] = {
        "next_due_from": rng.choice(["due_point", "actual", "due_point_inside_window"]),
        "late": rng.choice(["cures_from_its_date", "cures_from_its_date", "never_cures", "cures_if_inspected"]),
        "judged": rng.choice(["every_closed_window", "every_closed_window", "last_closed_window"]),
        "early": rng.choice(["counts", "does_not_count"]),
    }
    if rng.random() < 0.5:
        recurring |= {"due": {"calendar": None}, "window": {"calendar": None}}
    per_day = rng.choice(["0.4", "0.7", "1.2", "3"])
    visits = [50, *sorted(rng.sample(range(200, 1500, 10), rng.randint(0, 4)))]
    failed = rng.randrange(visits[-1] + 5, visits[-1] + 600)
    days = {at: DELIVERED + timedelta(days=int(at / Decimal(per_day))) for at in (*visits, failed)}
    services = {f"v{at}": {**DONE, "on": days[at].isoformat(), "reading": at} for at in visits}
    services["v50"]["tasks"] = ["break_in"]
    case = {
        "name": f"history number {number}",
        "terms": {
            "reference@1": {"term": {"ends": {"first_of": [{"months": 120}]}}, "services": {"recurring": recurring}}
        },
        "machine": {"records_complete_from": DELIVERED.isoformat() if rng.random() < 0.7 else None},
        "services": services,
        "claim": {"failed_on": days[failed].isoformat(), "reading": failed},
        "expect": {"pump": {"outcome": "pay"}},
        "remedy": {"pump": "0.00"},
    }
    return case, [(DELIVERED.toordinal(), Decimal(0)), *((day.toordinal(), Decimal(at)) for at, day in days.items())]


def decide_all(cases: Sequence[Case]) -> list[Decision]:
    line = {"component": "hydrostatic_pump", "net": "1000.00"}
    base = {
        "machine": {"model": "LT10", "built_on": "2024-02-01", "retail_delivery": DELIVERED.isoformat()},
        "claim": {"failed_on": "2024-06-01", "reading": 1, "lines": {"pump": line}},
    }
    table = CaseTable.model_validate({"policies": ["reference@1"], "base": base, "cases": list(cases)})
    with CaseRunner(read_policy_source(FIXTURES), {"EUR": 2}) as runner:
        return [result.decision for result in runner.run(table)]


def with_services(case: Case, points: Sequence[str], curve: Curve, at: Sequence[int]) -> Case | None:
    """Return the case with a service at each due point, at these places in its window; None: a day is uncertain."""
    added = {}
    for number, named in enumerate(points):
        done = place(named, curve, True, at[number])
        if done is None:
            return None
        added[f"z{number}"] = {**DONE, "on": done[0].isoformat(), "reading": str(done[1])}
    return {**case, "services": {**case["services"], **added}}


def put_to_the_test(seed: int, histories: int) -> tuple[list[str], int]:
    """Return promises that are not kept, or kept with one service less, with how many were tried."""
    rng, trials, found = random.Random(seed), list[tuple[Case, Remedy, bool]](), list[str]()
    drawn = [history(rng, number) for number in range(histories)]
    for (case, curve), decision in zip(drawn, decide_all([case for case, _ in drawn]), strict=True):
        for remedy in decision.remedies:
            if remedy.facts != ("services:reference:recurring:machine",):
                continue
            points = remedy.desk_words.partition(" due at ")[2].split("; ")
            due = [1] * len(points)
            trials += _trial(with_services(case, points, curve, [rng.randrange(3) for _ in points]), remedy, True)
            for left_out in range(len(points)):
                fewer = points[:left_out] + points[left_out + 1 :]
                trials += _trial(with_services(case, fewer, curve, due), remedy, False)
    for (case, remedy, enough), decision in zip(trials, decide_all([case for case, _, _ in trials]), strict=True):
        (line,) = decision.lines
        kept = (line.outcome, line.maker_pays) == (remedy.outcome, remedy.maker_pays)
        if kept != enough:
            found.append(f"{'broken' if enough else 'not needed'}: {remedy.desk_words}\n {case}\n {line.outcome}")
    return found, len(trials)


def _trial(case: Case | None, remedy: Remedy, enough: bool) -> Iterator[tuple[Case, Remedy, bool]]:
    if case is not None:
        yield case, remedy, enough


@pytest.mark.fast
def test_the_services_named_are_enough_and_none_is_spare() -> None:
    found, tried = put_to_the_test(2, 80)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])
    assert tried > 100


@pytest.mark.long
@pytest.mark.parametrize("seed", range(3, 7))
def test_the_services_named_in_many_histories_are_enough_and_none_is_spare(seed: int) -> None:
    found, _ = put_to_the_test(seed, 600)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])
