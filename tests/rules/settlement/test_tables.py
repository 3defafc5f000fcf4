"""Looking up dated rows: the last on or before a day, of two rows of a day the one in the higher table version."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from rules.settlement.tables import Tables, index_tables
from schemas.reference_tables import (
    ExchangeRateTable,
    FlatTimeTable,
    LabourRateTable,
    PartComponentTable,
    PriceTable,
    ReferenceTable,
)
from tests.rules.settlement.examples import claim_file

pytestmark = pytest.mark.fast

FIRST = date(2025, 1, 1)
LINE = {"a": {"component": "engine", "net": "1.00", "part_number": "P-1"}}


def tables(*found: dict[str, Any], lines: dict[str, Any] | None = None) -> Tables:
    file = claim_file({"claim": {"lines": lines or LINE}})
    rows = tuple(TypeAdapter(ReferenceTable).validate_python(table) for table in found)
    return index_tables(file.model_copy(update={"tables": rows}))


def prices(version: int, *rows: tuple[str, str]) -> dict[str, Any]:
    named = [{"part": "P-1", "from": day, "net": net} for day, net in rows]
    return {"table": "prices", "version": version, "kind": "prices", "currency": "EUR", "rows": named}


def rates(*rows: tuple[str, str, str, str]) -> dict[str, Any]:
    named = [{"one": one, "in": other, "from": day, "is_worth": worth} for one, other, day, worth in rows]
    return {"table": "rates", "version": 1, "kind": "exchange_rates", "rows": named}


@given(
    days=st.lists(st.integers(0, 400), unique=True, min_size=1, max_size=30),
    on=st.integers(-5, 410),
)
def test_the_last_row_on_or_before_the_day_holds(days: list[int], on: int) -> None:
    rows = [((FIRST + timedelta(days=day)).isoformat(), str(day)) for day in days]
    found = tables(prices(1, *rows)).price("P-1", FIRST + timedelta(days=on))
    before = [day for day in days if day <= on]
    if not before:
        assert found is None
        return
    assert found is not None
    assert found.dated.value.net == max(before)


def test_of_two_rows_of_a_day_the_higher_version_holds_as_a_number() -> None:
    both = tables(prices(9, ("2025-01-01", "9.00")), prices(10, ("2025-01-01", "10.00")))
    found = both.price("P-1", FIRST)
    assert found is not None
    assert (found.dated.value.net, found.dated.row) == (Decimal("10.00"), "prices@10 from 1 January 2025")


def test_a_newer_row_of_an_older_version_still_holds() -> None:
    both = tables(prices(1, ("2025-02-01", "2.00")), prices(2, ("2025-01-01", "1.00")))
    found = both.price("P-1", date(2025, 3, 1))
    assert found is not None
    assert found.dated.value.net == Decimal("2.00")


@pytest.mark.parametrize(
    ("on", "gap", "expected"),
    [
        ("2025-06-20", "need_info", "0.92"),
        ("2025-06-20", "previous_published", "0.92"),
        ("2025-06-22", "previous_published", "0.92"),
        ("2025-06-22", "need_info", None),
        ("2025-06-19", "previous_published", None),
    ],
)
def test_a_rate_on_its_day_and_in_a_gap(on: str, gap: str, expected: str | None) -> None:
    found = tables(rates(("USD", "EUR", "2025-06-20", "0.92"))).rate("USD", "EUR", date.fromisoformat(on), gap)
    assert (None if found is None else found.value) == (None if expected is None else Fraction(expected))
    if found is not None:
        assert found.on_the_day == (on == "2025-06-20")


def test_a_rate_and_its_inverse() -> None:
    both = tables(rates(("USD", "EUR", "2025-06-20", "0.8"), ("EUR", "USD", "2025-06-21", "1.3")))
    assert both.rate("USD", "EUR", date(2025, 6, 20), "need_info").value == Fraction("0.8")  # type: ignore[union-attr]
    assert both.rate("USD", "EUR", date(2025, 6, 21), "need_info").value == 1 / Fraction("1.3")  # type: ignore[union-attr]
    assert both.rate("EUR", "USD", date(2025, 6, 21), "need_info").value == Fraction("1.3")  # type: ignore[union-attr]
    assert both.rate("EUR", "EUR", date(2025, 1, 1), "need_info").value == 1  # type: ignore[union-attr]
    assert both.rate("EUR", "GBP", date(2025, 6, 21), "previous_published") is None


def test_the_combined_operations_that_a_visit_holds() -> None:
    sets = [["C", "D"], ["A", "B", "C"], ["B", "A"], ["A"], ["D"]]
    rows = [{"operations": together, "hours": "1.0", "from": "2025-01-01"} for together in sets]
    found = tables({"table": "times", "version": 1, "kind": "flat_times", "rows": rows})
    assert found.combined(frozenset("ABCD"), FIRST) == (frozenset("AB"), frozenset("ABC"), frozenset("CD"))
    assert found.combined(frozenset("ABD"), FIRST) == (frozenset("AB"),)
    assert found.combined(frozenset("CD"), date(2024, 12, 31)) == ()


def test_days_of_change_are_those_of_the_claims_own_keys() -> None:
    other = {**prices(1), "table": "other", "rows": [{"part": "P-9", "from": "2025-06-18", "net": "1.00"}]}
    found = tables(prices(1, ("2025-06-16", "1.00"), ("2025-06-20", "2.00"), ("2025-07-02", "3.00")), other)
    file = claim_file({"claim": {"lines": LINE}})
    assert found.days_of_change(file, date(2025, 6, 16), date(2025, 7, 1)) == (date(2025, 6, 20),)


@pytest.mark.parametrize(
    ("table", "rows", "words"),
    [
        (PriceTable, [{"part": "P-1", "from": "2025-01-01", "net": "1"}] * 2, "two rows for P-1 from 2025-01-01"),
        (PriceTable, [{"part": "P-1", "from": "2025-01-01"}], "either net, its price, or superseded_by"),
        (PriceTable, [{"part": "P-1", "from": "2025-01-01", "net": "1", "superseded_by": "P-2"}], "either net"),
        (PriceTable, [{"part": "P-1", "from": "2025-01-01", "superseded_by": "P-1"}], "cannot supersede itself"),
        (
            PriceTable,
            [{"part": "P-1", "from": "2025-01-01", "superseded_by": "P-2", "list_price": "2"}],
            "in the row of P-2",
        ),
        (FlatTimeTable, [{"operations": ["A", "A"], "hours": "1", "from": "2025-01-01"}], "each operation once"),
        (
            FlatTimeTable,
            [
                {"operations": ["A", "B"], "hours": "1", "from": "2025-01-01"},
                {"operations": ["B", "A"], "hours": "2", "from": "2025-01-01"},
            ],
            "two rows for A and B",
        ),
        (
            PartComponentTable,
            [{"part": "P-7", "component": c, "from": "2025-01-01"} for c in ("pump", "engine")],
            "two rows for P-7",
        ),
        (LabourRateTable, [{"dealer": "D-1", "rate": "95", "from": "2025-01-01"}] * 2, "two rows for D-1"),
        (ExchangeRateTable, [{"one": "USD", "in": "EUR", "is_worth": "0", "from": "2025-01-01"}], "greater than 0"),
        (ExchangeRateTable, [{"one": "USD", "in": "EUR", "is_worth": "-1", "from": "2025-01-01"}], "outside 0 to"),
    ],
)
def test_rows_that_cannot_be_read_two_ways_are_refused(table: type[Any], rows: list[Any], words: str) -> None:
    kind = table.model_fields["kind"].annotation.__args__[0]
    tree = {"table": "t", "version": 1, "kind": kind, "rows": rows}
    if "currency" in table.model_fields:
        tree["currency"] = "EUR"
    with pytest.raises(ValidationError, match=words):
        table.model_validate(tree)
