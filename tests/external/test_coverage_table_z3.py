"""Coverage tables before an SMT solver (z3 5): complete, without overlap, and decided alike at every boundary.

The solver proves what it can about each policy's own text (``coverage_in_z3``) and chooses claims on both sides of each
boundary, from starts on which calendars trip; the engine must decide them as the solver calculates them.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
import z3

from rules.adjudicate import Adjudicator
from rules.cases.facts import merged
from rules.policy_book.book import build_book
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.decision import Decision
from schemas.documents import parse_document
from schemas.policy.document import CoveragePolicy
from tests.external.coverage_in_z3 import (
    Encoded,
    Facts,
    Point,
    facts_of,
    full_then_prorated,
    hire_machine,
    track,
    traction_battery,
    wheel_drive,
)

pytestmark = pytest.mark.fast

FIXTURES = Path(__file__).parents[2] / "fixtures"

# --- The table of trade, as a table: full while m <= 24 and h <= 2000, prorated 24 < m <= 36 and h <= 3000, else out.

M, H = z3.Reals("m h")
COUNTED = z3.And(M >= 0, H >= 0)
TABLE = {
    "full": z3.And(M <= 24, H <= 2000),
    "prorated": z3.And(M > 24, M <= 36, H <= 3000),
    "out": z3.Or(M > 36, H > 3000),
}


def models_of(*constraints: Any) -> z3.ModelRef | None:
    """Return a model of the constraints, None where there is none; the solver must not give up."""
    solver = z3.Solver()
    solver.set("timeout", 30_000)
    solver.add(*constraints)
    answer = solver.check()
    assert answer != z3.unknown, solver.reason_unknown()
    return solver.model() if answer == z3.sat else None


def never(*constraints: Any) -> bool:
    return models_of(*constraints) is None


def test_the_table_has_a_gap_and_the_gap_is_exactly_the_early_hours_above_the_first_cap() -> None:
    gap = z3.And(COUNTED, z3.Not(z3.Or(*TABLE.values())))
    assert models_of(gap) is not None
    assert models_of(gap, M == 0, H == 2001) is not None
    early_hours = z3.And(M >= 0, M <= 24, H > 2000, H <= 3000)
    assert never(gap != early_hours)


def test_no_two_rows_of_the_table_overlap() -> None:
    assert all(never(COUNTED, TABLE[one], TABLE[other]) for one, other in combinations(TABLE, 2))


def test_a_row_moved_by_an_hour_overlaps_and_the_solver_says_where() -> None:
    """The other way round, so that the proofs above can fail: out from 3,000 h on shares its border with prorated."""
    model = models_of(COUNTED, TABLE["prorated"], z3.Or(M > 36, H >= 3000))
    assert model is not None
    assert model.eval(H) == 3000


# --- Policies: their text in z3, and the same policies in the engine.


@dataclass(frozen=True)
class Case:
    """A policy in both forms, the lines that are claimed under it, and when a model is worth looking at."""

    encoded: Encoded
    policy: Mapping[str, Any]
    conventions: Mapping[str, Any]
    machine: Mapping[str, Any]
    start_event: str
    lines: tuple[Mapping[str, Any], ...]
    measured: tuple[str, ...]  # hours, left: what the policy looks at besides the days


def tree(name: str) -> dict[str, Any]:
    found = parse_document((FIXTURES / name).read_text(encoding="utf-8"), name).tree
    assert isinstance(found, dict)
    return found


DEMO = "demo/conventions/quillfen-2026-1.yaml"


def _demo(
    encoded: Encoded, name: str, model: str, start_event: str, lines: tuple[Mapping[str, Any], ...], *measured: str
) -> Case:
    machine = {"model": model, "use": "rental"}
    return Case(encoded, tree(f"demo/policies/{name}.yaml"), tree(DEMO), machine, start_event, lines, measured)


def _part(component: str, **typed: str) -> dict[str, Any]:
    return {"line": "part", "item": "parts", "component": component, "part_number": "P-1", **typed}


@cache
def cases() -> dict[str, Case]:
    """Return the policies by name."""
    drive = _part("wheel_drive", net="1000.00")
    battery = _part("traction_battery", net="800.00", list_price="999.99")
    a_track = _part("track", net="500.00", price_paid="777.77")
    hire = (
        _part("gearbox", net="80.05"),
        {"line": "work", "item": "labour", "component": "gearbox", "hours": "1.37"},
    )
    gapless = merged(
        tree("cases/policies/money-prorated-1.yaml"),
        {
            "term": {"ends": {"first_of": [{"months": 36}, {"machine_hours": 3000}]}},
            "prorating": {
                "axes": [{"by": "machine_hours", "share": {"zero_at": 3000, "credit": "whole_term", "free_until": 0}}],
                "free_while": {"first_of": [{"months": 24}, {"machine_hours": 2000}]},
            },
        },
    )
    return {
        "wheel drive": _demo(wheel_drive(), "quillfen-wheel-drive-1", "QF60", "retail_delivery", (drive,), "hours"),
        "traction battery": _demo(
            traction_battery(), "quillfen-traction-battery-1", "QT20", "retail_delivery", (battery,)
        ),
        "track": _demo(track(), "quillfen-track-1", "QV30", "retail_delivery", (a_track,), "left"),
        "hire machine": _demo(hire_machine(), "quillfen-rental-1", "QF40", "first_rental", hire, "hours"),
        "full then prorated": Case(
            full_then_prorated(),
            gapless,
            tree("conventions/common-civil-1.yaml"),
            {"model": "QF60", "use": "rental"},
            "retail_delivery",
            (_part("gearbox", net="40000.00"),),
            ("hours",),
        ),
    }


NAMES = ("wheel drive", "traction battery", "track", "hire machine", "full then prorated")


@pytest.fixture(scope="module")
def adjudicators() -> Iterator[dict[str, Adjudicator]]:
    made = {}
    for name, case in cases().items():
        policy = CoveragePolicy.model_validate(case.policy)
        made[name] = Adjudicator(build_book([policy], [Conventions.model_validate(case.conventions)]))
    yield made
    for adjudicator in made.values():
        adjudicator.close()


def claim_file_of(case: Case, facts: Facts) -> ClaimFile:
    """Return the claim file of a point that z3 chose."""
    left = {"wear": {"new": "46.0", "left": str(Decimal(facts["left"]) / 10)}} if "left" in case.measured else {}
    lines = [{**line, **left} if line["item"] == "parts" else line for line in case.lines]
    reading = {"reading": str(Decimal(facts["hours"]) / 100)}
    return ClaimFile.model_validate(
        {
            "machine": {
                "serial": "M-1",
                "built_on": facts["built"],
                "region": "DE",
                "events": {case.start_event: facts["start"]},
                **case.machine,
            },
            "claim": {
                "claim": "C-1",
                "serial": "M-1",
                "dealer": "D-1",
                "currency": "EUR",
                "failed_on": facts["failed"],
                "repair_ended_on": facts["failed"],
                "submitted_on": facts["failed"],
                "cause": "material_defect",
                "lines": lines,
                **reading,
            },
            "dealer": {"dealer": "D-1", "region": "DE", "currency": "EUR"},
            "currency_exponents": {"EUR": 2},
            "decided_on": "2036-01-01",
        }
    )


# Where calendars trip: leap days and the last days of long months, and an ordinary start beside them.
def starts(point: Point) -> dict[str, Any]:
    start = point.start
    return {
        "29 February": z3.And(start.month == 2, start.day == 29),
        "the 31st": start.day == 31,
        "30 or 31 August": z3.And(start.month == 8, start.day >= 30),
        "the first": start.day == 1,
        "a day in between": z3.And(start.day > 3, start.day < 27),
    }


def measured_only(case: Case, point: Point) -> Any:
    """Hold still what the policy does not look at; a machine that runs at most 12 h a day has no reading in doubt."""
    still = [getattr(point, name) == 0 for name in ("hours",) if name not in case.measured]
    still += [point.left == 0] if "left" not in case.measured else [point.left <= 460]
    days = point.failed.number - point.built.number
    return z3.And(*still, point.hours <= 1200 * days)


def chosen(name: str) -> Iterator[tuple[Facts, str, int]]:
    """Yield claims on both sides of every boundary, each with its region and the cents paid."""
    case = cases()[name]
    before, after = Point.named("before"), Point.named("after")
    domain = z3.And(before.is_one, after.is_one, measured_only(case, before), measured_only(case, after))
    regions, beyond = case.encoded.regions(before), case.encoded.regions(after)
    for one, other in combinations(regions, 2):  # what is worse is never paid more, so that nothing leads back
        across = z3.And(domain, before.one_step_worse(after), regions[one], beyond[other])
        for start in starts(before).values():
            model = models_of(across, start)
            if model is not None:
                for point, region in ((before, one), (after, other)):
                    cents = model.eval(case.encoded.paid(point), model_completion=True).as_long()
                    yield facts_of(model, point), region, cents


def outcome_and_cents(decision: Decision) -> tuple[set[str], int]:
    return {line.outcome for line in decision.lines}, int(sum(line.maker_pays for line in decision.lines) * 100)


@pytest.mark.parametrize("name", NAMES)
def test_the_regions_of_a_policy_are_complete_and_do_not_overlap(name: str) -> None:
    point = Point.named("any")
    regions = list(cases()[name].encoded.regions(point).values())
    assert never(point.is_one, z3.Not(z3.Or(*regions)))
    assert all(never(point.is_one, one, other) for one, other in combinations(regions, 2))


@pytest.mark.parametrize("name", NAMES)
def test_a_later_more_used_or_more_worn_claim_is_never_paid_more(name: str) -> None:
    case = cases()[name]
    before, after = Point.named("before"), Point.named("after")
    worse = z3.And(before.is_one, after.is_one, before.one_step_worse(after))
    assert never(worse, case.encoded.paid(after) > case.encoded.paid(before))


@pytest.mark.parametrize("name", NAMES)
def test_the_engine_decides_on_both_sides_of_every_boundary_as_the_solver_calculates(
    name: str, adjudicators: dict[str, Adjudicator]
) -> None:
    case = cases()[name]
    seen: dict[str, int] = {}
    for facts, region, cents in chosen(name):
        seen[region] = seen.get(region, 0) + 1
        decision = adjudicators[name].decide(claim_file_of(case, facts), remedies=False)
        outcomes, paid = outcome_and_cents(decision)
        assert paid == cents, (region, facts)
        if not region.startswith("with"):  # several lines: the outcome is each line's own
            assert outcomes == {region.split()[0]}, (region, facts)
    assert seen.keys() == case.encoded.regions(Point.named("any")).keys()
    assert min(seen.values()) >= 4, seen


def test_the_engine_rounds_an_exact_half_cent_up(adjudicators: dict[str, Adjudicator]) -> None:
    """23 (240,000 - hundredths) / 30 cents end in a half at every thirtieth hundredth; the solver names some."""
    case, point, whole = cases()["wheel drive"], Point.named("half"), z3.Int("whole")
    half = z3.And(2 * case.encoded.exact_cents(point, "pay_part") == 2 * z3.ToReal(whole) + 1, whole >= 0)
    found: list[int] = []
    for bound in (95_000, 150_000, 239_000):
        model = models_of(half, point.hours >= bound, point.hours < 240_000)
        assert model is not None
        found.append(model.eval(point.hours).as_long())
        assert found[-1] % 30 == 15
        facts = {"built": "2021-01-01", "start": "2021-06-01", "failed": "2024-06-01", "hours": found[-1], "left": 0}
        decision = adjudicators["wheel drive"].decide(claim_file_of(case, facts), remedies=False)
        assert outcome_and_cents(decision)[1] == model.eval(whole).as_long() + 1


def test_what_the_table_leaves_out_the_policy_language_prorates(adjudicators: dict[str, Adjudicator]) -> None:
    """At 0 months and 2,001 h the table says nothing; a free period in a term pays 999/3000 of 40,000.00: 13,320.00.

    The hours were run in demonstrations before the delivery, and count from zero.
    """
    facts = {"built": "2023-06-01", "start": "2024-03-01", "failed": "2024-03-31", "hours": 200_100, "left": 0}
    decision = adjudicators["full then prorated"].decide(claim_file_of(cases()["full then prorated"], facts))
    assert outcome_and_cents(decision) == ({"pay_part"}, 1_332_000)
