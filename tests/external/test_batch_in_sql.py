"""A batch of claims recalculated in SQL: intervals, dated tables, DECIMAL and whole-number arithmetic in duckdb 2.

The query is written from the policy's text and shares nothing with the engine. Its source is the terms below: 36
months or 2,000 h, parts at dealer net and 15 % handling, labour in full tenths up to the flat-rate time at the
registered rate, both prorated from 900 h to nothing at 2,400 h, 100.00 deducted from a claim, at most 1,000.00 paid.
"""

import random
from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

import duckdb
import pytest

from rules.adjudicate import Adjudicator
from rules.cases.facts import merged
from rules.policy_book.book import build_book
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.decision import Decision
from schemas.documents import parse_document
from schemas.policy.document import CoveragePolicy

pytestmark = pytest.mark.fast

FIXTURES = Path(__file__).parents[2] / "fixtures"
CLAIMS = 300
DEALERS = ("D-1", "D-2", "D-3")
PARTS = ("P-1", "P-2", "P-3", "P-4")
OPERATIONS = ("O-1", "O-2", "O-3", "O-4")

TERMS: dict[str, Any] = {
    "term": {"ends": {"first_of": [{"months": 36}, {"machine_hours": 2000}]}},
    "prorating": {"items": ["parts", "labour"]},
    "pays": {
        "parts": {"handling": "15%"},
        "labour": {"hours": "lesser_of_actual_and_flat_rate", "rate": "registered", "hours_in": "tenths"},
    },
    "deductible": {"clause": "5", "amount": "100.00", "borne_by": "owner"},
    "caps": [{"clause": "6", "over": "claim", "at": {"amount": "1000.00"}, "items": "all", "excess_borne_by": "owner"}],
}


class Line(NamedTuple):
    """A line as SQL sees it; money in cents, hours and quantities in hundredths."""

    claim: str
    line: str
    item: str
    part: str | None
    net_cents: int | None
    quantity: int | None
    operation: str | None
    hours: int | None
    rate_cents: int | None  # None: not typed


class Claim(NamedTuple):
    claim: str
    dealer: str
    delivered: date
    failed_on: date
    repair_ended_on: date
    hours: int


class Dated(NamedTuple):
    """A row of a dated table: it holds from its day until the next one of its key."""

    key: str
    from_: date
    value: int  # cents, or hundredths of an hour


class Batch(NamedTuple):
    claims: list[Claim]
    lines: list[Line]
    prices: list[Dated]
    times: list[Dated]
    rates: list[Dated]


def drawn_batch(seed: int) -> Batch:
    """Draw claims near the ends of the term, near the hours that matter, and near the days of the tables."""
    rng = random.Random(seed)
    days = [date(2019, 1, 1), date(2021, 7, 1), date(2023, 1, 1), date(2024, 2, 29)]
    prices = [Dated(part, day, rng.randint(2_000, 60_000)) for part in PARTS for day in days]
    times = [Dated(operation, day, 5 * rng.randint(4, 120)) for operation in OPERATIONS for day in days]
    rates = [Dated(dealer, day, rng.randint(7_000, 12_000)) for dealer in DEALERS for day in days]
    claims, lines = [], []
    for number in range(CLAIMS):
        delivered = rng.choice(
            (date(2020, 2, 29), date(2021, 8, 31), date(2021, 3, 30), date(2021, 1, 1) + timedelta(rng.randint(0, 700)))
        )
        ends = date(delivered.year + 3, delivered.month, min(delivered.day, 28))
        beside = ends + timedelta(rng.randint(-3, 4))
        failed_on = beside if rng.random() < 0.25 else delivered + timedelta(rng.randint(120, 1150))
        hours = rng.choice((90_000, 90_001, 199_999, 200_000, 200_001, rng.randint(0, 240_500)))
        hours = min(hours, (failed_on - delivered).days * 2_000)
        claim = Claim(f"C-{number:03}", rng.choice(DEALERS), delivered, failed_on, failed_on + timedelta(5), hours)
        claims.append(claim)
        lines += [_drawn_line(rng, claim, f"l{index}") for index in range(rng.randint(1, 4))]
    return Batch(claims, lines, prices, times, rates)


def _drawn_line(rng: random.Random, claim: Claim, line: str) -> Line:
    if rng.random() < 0.6:
        quantity = rng.choice((100, 100, 200, 150, 33))
        part, net = rng.choice(PARTS), rng.randint(2_000, 60_000)
        return Line(claim.claim, line, "parts", part, net, quantity, None, None, None)
    rate = rng.choice((None, rng.randint(7_000, 12_000)))
    # An operation of its own for each of up to four lines: what several take together is not this table's matter.
    return Line(claim.claim, line, "labour", None, None, None, f"O-{int(line[1:]) + 1}", rng.randint(5, 700), rate)


# --- In SQL

TABLES = """
CREATE TABLE claims (claim VARCHAR, dealer VARCHAR, delivered DATE, failed_on DATE, repair_ended_on DATE, hours BIGINT);
CREATE TABLE lines (claim VARCHAR, line VARCHAR, item VARCHAR, part VARCHAR, net DECIMAL(12,2), quantity DECIMAL(6,2),
                    operation VARCHAR, hours BIGINT, rate DECIMAL(12,2));
CREATE TABLE prices (key VARCHAR, from_ DATE, value DECIMAL(12,2));
CREATE TABLE times (key VARCHAR, from_ DATE, value BIGINT);
CREATE TABLE rates (key VARCHAR, from_ DATE, value DECIMAL(12,2));
"""

# Cents from an exact amount in DECIMAL(38,6), half up; amounts are never negative.
MACROS = """
CREATE MACRO cents(amount) AS ((CAST(amount * 1000000 AS HUGEINT) * 2 + 10000) // 20000);
CREATE MACRO prorated(amount, hours) AS
    CASE WHEN hours <= 90000 THEN cents(amount)
         WHEN hours >= 240000 THEN 0
         ELSE (CAST(amount * 1000000 AS HUGEINT) * (240000 - hours) * 2 + 10000 * CAST(150000 AS HUGEINT))
              // (20000 * CAST(150000 AS HUGEINT)) END;
"""

ALLOWED = """
CREATE TABLE allowed AS
WITH dated AS (
    SELECT l.*, c.hours AS run, c.repair_ended_on, c.dealer,
           c.failed_on >= c.delivered + INTERVAL 36 MONTH AS elapsed, c.hours > 200000 AS hours_passed
    FROM lines l JOIN claims c USING (claim)),
priced AS (SELECT d.*, p.value AS listed FROM dated d ASOF LEFT JOIN prices p
           ON d.part = p.key AND d.repair_ended_on >= p.from_),
timed AS (SELECT d.*, t.value AS flat FROM priced d ASOF LEFT JOIN times t
          ON d.operation = t.key AND d.repair_ended_on >= t.from_),
rated AS (SELECT d.*, r.value AS registered FROM timed d ASOF LEFT JOIN rates r
          ON d.dealer = r.key AND d.repair_ended_on >= r.from_),
exact AS (
    SELECT *,
        CASE item WHEN 'parts' THEN CAST(net * quantity * 1.15 AS DECIMAL(38,6))
             ELSE CAST(CAST(hours AS DECIMAL(12,2)) * 0.01 * coalesce(rate, registered) AS DECIMAL(38,6)) END
             AS claimed,
        CASE item WHEN 'parts' THEN CAST(least(net, listed) * quantity * 1.15 AS DECIMAL(38,6))
             ELSE CAST(CAST(least(hours - hours % 10, flat) AS DECIMAL(12,2)) * 0.01
                       * least(coalesce(rate, registered), registered) AS DECIMAL(38,6)) END
             AS allowed
    FROM rated)
SELECT claim, line, dealer, elapsed, hours_passed, cents(claimed) AS claimed, cents(allowed) AS allowed,
       CASE WHEN elapsed OR hours_passed THEN 0 ELSE prorated(allowed, run) END AS shared
FROM exact;
"""


def spread(source: str, total: str, weight: str, into: str) -> str:
    """Return the query that takes ``total`` from the lines of a claim, in proportion, by largest remainder."""
    return f"""
CREATE TABLE {into} AS
WITH sums AS (SELECT *, sum({weight}) OVER (PARTITION BY claim) AS whole FROM {source}),
taken AS (SELECT *, {total} AS total FROM sums),
parts AS (SELECT *, CASE WHEN whole = 0 THEN 0 ELSE total * {weight} // whole END AS part,
                 CASE WHEN whole = 0 THEN 0 ELSE total * {weight} % whole END AS remainder FROM taken),
ranked AS (SELECT *, row_number() OVER (PARTITION BY claim ORDER BY remainder DESC, line) AS place,
                  total - sum(part) OVER (PARTITION BY claim) AS short FROM parts)
SELECT * EXCLUDE (whole, total, part, remainder, place, short),
       {weight} - part - CASE WHEN place <= short THEN 1 ELSE 0 END AS after_{into} FROM ranked;
"""


RESULT = """
SELECT claim, line, elapsed, hours_passed, claimed,
       CASE WHEN elapsed OR hours_passed THEN 0 ELSE after_capped END AS maker,
       CASE WHEN elapsed OR hours_passed THEN 0 ELSE claimed - allowed END AS dealer,
       CASE WHEN elapsed OR hours_passed THEN claimed ELSE allowed - after_capped END AS owner
FROM capped ORDER BY claim, line;
"""


class Recalculated(NamedTuple):
    claim: str
    line: str
    elapsed: bool
    hours_passed: bool
    claimed: int
    maker: int
    dealer: int
    owner: int


def euros(cents: int | None) -> Decimal | None:
    return None if cents is None else Decimal(cents).scaleb(-2)


def in_sql(batch: Batch) -> tuple[list[Recalculated], dict[str, int]]:
    """Return every line as SQL calculates it, and the sum that each dealer is paid."""
    with duckdb.connect() as base:
        base.execute(TABLES + MACROS)
        base.executemany("INSERT INTO claims VALUES (?, ?, ?, ?, ?, ?)", batch.claims)
        base.executemany(
            "INSERT INTO lines VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [(*line[:4], euros(line[4]), euros(line[5]), *line[6:8], euros(line[8])) for line in batch.lines],
        )
        for name, rows in (("prices", batch.prices), ("rates", batch.rates)):
            base.executemany(f"INSERT INTO {name} VALUES (?, ?, ?)", [(r.key, r.from_, euros(r.value)) for r in rows])
        base.executemany("INSERT INTO times VALUES (?, ?, ?)", batch.times)
        base.execute(ALLOWED)
        base.execute(spread("allowed", "least(10000, whole)", "shared", "deducted"))
        base.execute(spread("deducted", "greatest(whole - 100000, 0)", "after_deducted", "capped"))
        lines = [Recalculated(*row[:4], *map(int, row[4:])) for row in base.execute(RESULT).fetchall()]
        by_dealer = base.execute(
            f"SELECT c.dealer, sum(maker) FROM ({RESULT.strip().rstrip(';')}) JOIN claims c USING (claim) GROUP BY ALL"
        ).fetchall()
    return lines, {dealer: int(cents) for dealer, cents in by_dealer}


# --- In the engine


def tree(name: str) -> dict[str, Any]:
    found = parse_document((FIXTURES / name).read_text(encoding="utf-8"), name).tree
    assert isinstance(found, dict)
    return found


def _rows(dated: list[Dated], key: str, value: str) -> list[dict[str, Any]]:
    listed = key == "operations"
    return [{key: [r.key] if listed else r.key, "from": r.from_, value: euros(r.value)} for r in dated]


def _line(line: Line) -> dict[str, Any]:
    typed = {
        "line": line.line,
        "item": line.item,
        "component": "gearbox",
        "part_number": line.part,
        "net": euros(line.net_cents),
        "quantity": euros(line.quantity),
        "operation": line.operation,
        "hours": euros(line.hours),
        "rate": euros(line.rate_cents),
    }
    return {key: value for key, value in typed.items() if value is not None}


def claim_file_of(claim: Claim, lines: list[Line], tables: list[Mapping[str, Any]]) -> ClaimFile:
    return ClaimFile.model_validate(
        {
            "machine": {
                "serial": claim.claim,
                "model": "QF60",
                "built_on": claim.delivered,
                "events": {"retail_delivery": claim.delivered},
                "use": "commercial",
                "region": "DE",
            },
            "claim": {
                "claim": claim.claim,
                "serial": claim.claim,
                "dealer": claim.dealer,
                "currency": "EUR",
                "failed_on": claim.failed_on,
                "reading": euros(claim.hours),
                "repair_ended_on": claim.repair_ended_on,
                "cause": "material_defect",
                "lines": [_line(line) for line in lines],
            },
            "dealer": {"dealer": claim.dealer, "region": "DE", "currency": "EUR"},
            "tables": tables,
            "currency_exponents": {"EUR": 2},
            "decided_on": claim.repair_ended_on + timedelta(30),
        }
    )


def in_the_engine(batch: Batch) -> dict[str, Decision]:
    """Return the decision of each claim under the policy."""
    tables: list[Mapping[str, Any]] = [
        {
            "table": "prices",
            "version": 1,
            "kind": "prices",
            "currency": "EUR",
            "rows": _rows(batch.prices, "part", "net"),
        },
        {"table": "times", "version": 1, "kind": "flat_times", "rows": _rows(batch.times, "operations", "hours")},
        {
            "table": "rates",
            "version": 1,
            "kind": "labour_rates",
            "currency": "EUR",
            "rows": _rows(batch.rates, "dealer", "rate"),
        },
    ]
    policy = CoveragePolicy.model_validate(merged(tree("cases/policies/money-prorated-1.yaml"), TERMS))
    book = build_book([policy], [Conventions.model_validate(tree("conventions/common-civil-1.yaml"))])
    with Adjudicator(book) as adjudicator:
        return {
            claim.claim: adjudicator.decide(
                claim_file_of(claim, [line for line in batch.lines if line.claim == claim.claim], tables),
                remedies=False,
            )
            for claim in batch.claims
        }


@pytest.fixture(scope="module")
def batch() -> Batch:
    return drawn_batch(20261125)


@pytest.fixture(scope="module")
def recalculated(batch: Batch) -> tuple[list[Recalculated], dict[str, int]]:
    return in_sql(batch)


@pytest.fixture(scope="module")
def decided(batch: Batch) -> dict[str, Decision]:
    return in_the_engine(batch)


def test_every_line_comes_to_the_same_in_sql(
    recalculated: tuple[list[Recalculated], dict[str, int]], decided: dict[str, Decision]
) -> None:
    lines, _ = recalculated
    assert len(lines) == sum(len(decision.lines) for decision in decided.values())
    for sql in lines:
        line = next(line for line in decided[sql.claim].lines if line.line == sql.line)
        engine = [int(amount * 100) for amount in (line.claimed, line.maker_pays, line.dealer_bears, line.owner_owes)]
        assert engine == [sql.claimed, sql.maker, sql.dealer, sql.owner], sql
        codes = {reason.code for reason in line.reasons} & {"term_elapsed", "hour_limit_passed"}
        passed = {
            code for code, is_so in (("term_elapsed", sql.elapsed), ("hour_limit_passed", sql.hours_passed)) if is_so
        }
        assert codes == passed, sql
        assert (line.outcome == "deny") == bool(passed), sql


def test_every_dealer_is_paid_the_same_sum(
    batch: Batch, recalculated: tuple[list[Recalculated], dict[str, int]], decided: dict[str, Decision]
) -> None:
    _, by_dealer = recalculated
    paid = dict.fromkeys(DEALERS, Decimal(0))
    for claim in batch.claims:
        paid[claim.dealer] += decided[claim.claim].payout.amount
    assert {dealer: euros(cents) for dealer, cents in by_dealer.items()} == paid


def test_the_batch_meets_every_part_of_the_policy(
    batch: Batch, recalculated: tuple[list[Recalculated], dict[str, int]], decided: dict[str, Decision]
) -> None:
    """So that the agreement above says something: both ends of the term, the slope, the cuts, the cap and the ties."""
    lines, _ = recalculated
    codes = [reason.code for d in decided.values() for line in d.lines for reason in (*line.reasons, *line.notes)]
    for code in ("term_elapsed", "hour_limit_passed", "prorated", "deductible", "cap_reached", "time_above_flat_rate"):
        assert codes.count(code) >= 10, code
    assert sum(sql.maker > 0 for sql in lines) > 100
    assert sum(sql.dealer > 0 for sql in lines) > 50
    last_days = {(c.failed_on, c.delivered) for c in batch.claims if c.delivered == date(2020, 2, 29)}
    assert {date(2023, 2, 27), date(2023, 2, 28)} <= {failed for failed, _ in last_days}
