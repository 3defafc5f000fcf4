"""Gathering a claim file by key: only rows that can matter, every currency with its ISO 4217 decimals."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from schemas.claim import Claim, ClaimLine
from schemas.claim_file import ClaimFile, Dealer, EarlierPayment
from schemas.machine import Machine
from schemas.reference_tables import ReferenceTable
from schemas.service_record import ServiceRecord
from service.claim_files import NotOnFile, OnFile, by_serial, gather
from service.currencies import UnknownCurrency, all_exponents, exponents_of

pytestmark = pytest.mark.fast

TABLES: TypeAdapter[tuple[ReferenceTable, ...]] = TypeAdapter(tuple[ReferenceTable, ...])
MACHINE = Machine.model_validate(
    {"serial": "M-1", "model": "QF60", "built_on": "2025-01-01", "use": "commercial", "region": "XX"}
)
CLAIM = Claim.model_validate(
    {
        "claim": "C-1",
        "serial": "M-1",
        "dealer": "D-1",
        "currency": "JPY",
        "failed_on": "2026-05-01",
        "lines": [
            {"line": "a", "item": "parts", "net": "10", "part_number": "P-1"},
            {"line": "b", "item": "labour", "hours": "1", "operation": "O-1"},
            {"line": "c", "item": "labour", "hours": "1", "operation": "O-2"},
        ],
    }
)
SERVICE = {"serial": "M-1", "on": "2026-01-01", "fluids": [{"fluid": "oil_a"}]}
ON_FILE = OnFile(
    machines={"M-1": MACHINE},
    services=by_serial(
        [
            ServiceRecord.model_validate({"record": "S-2", **SERVICE}),
            ServiceRecord.model_validate({"record": "S-1", **SERVICE}),
            ServiceRecord.model_validate({"record": "S-3", **SERVICE, "serial": "M-2", "fluids": [{"fluid": "oil_b"}]}),
        ]
    ),
    dealers={"D-1": Dealer(dealer="D-1", region="XX", currency="KWD")},
    payments={
        "M-1": tuple(
            EarlierPayment.model_validate(
                {"id": i, "claim": c, "paid_on": on, "policy": "p@1", "item": "parts", "amount": "1", "currency": "USD"}
            )
            for i, c, on in (("P-2", "C-0", "2026-04-01"), ("P-1", "C-0", "2026-06-02"), ("P-3", "C-1", "2026-04-01"))
        )
    },
    tables=TABLES.validate_python(
        [
            {
                "table": "prices",
                "version": 1,
                "kind": "prices",
                "currency": "CHF",
                "rows": [
                    {"from": "2020-01-01", "part": "P-1", "net": "9"},
                    {"from": "2027-01-01", "part": "P-1", "net": "11"},
                    {"from": "2020-01-01", "part": "P-2", "net": "9"},
                ],
            },
            {
                "table": "times",
                "version": 1,
                "kind": "flat_times",
                "rows": [
                    {"from": "2020-01-01", "operations": ["O-1"], "hours": "1"},
                    {"from": "2020-01-01", "operations": ["O-1", "O-2"], "hours": "2"},
                    {"from": "2020-01-01", "operations": ["O-1", "O-3"], "hours": "3"},
                ],
            },
            {
                "table": "labour",
                "version": 1,
                "kind": "labour_rates",
                "currency": "JPY",
                "rows": [
                    {"from": "2020-01-01", "dealer": "D-1", "rate": "9"},
                    {"from": "2020-01-01", "dealer": "D-2", "rate": "9"},
                ],
            },
            {
                "table": "rates",
                "version": 1,
                "kind": "exchange_rates",
                "rows": [
                    {"from": "2020-01-01", "one": "EUR", "is_worth": "160", "in": "JPY"},
                    {"from": "2020-01-01", "one": "KWD", "is_worth": "3", "in": "EUR"},
                    {"from": "2020-01-01", "one": "GBP", "is_worth": "1.2", "in": "EUR"},
                ],
            },
            {
                "table": "fluids",
                "version": 1,
                "kind": "fluids",
                "rows": [
                    {"from": "2020-01-01", "fluid": "oil_a", "on_list": "oils"},
                    {"from": "2020-01-01", "fluid": "oil_b", "on_list": "oils"},
                ],
            },
            {
                "table": "parts",
                "version": 1,
                "kind": "part_components",
                "rows": [{"from": "2020-01-01", "part": "P-2", "component": "seat"}],
            },
        ]
    ),
)


def _gathered(on_file: OnFile = ON_FILE) -> ClaimFile:
    return gather(CLAIM, on_file, {"EUR"}, date(2026, 6, 1))


def test_rows_that_can_matter_of_every_date_are_kept_and_no_others() -> None:
    rows = {table.table: table.model_dump(mode="json", by_alias=True)["rows"] for table in _gathered().tables}
    assert [(row["part"], row["net"]) for row in rows["prices"]] == [("P-1", "9"), ("P-1", "11")]
    assert [row["operations"] for row in rows["times"]] == [["O-1"], ["O-1", "O-2"]]
    assert [row["dealer"] for row in rows["labour"]] == ["D-1"]
    assert [(row["one"], row["in"]) for row in rows["rates"]] == [("EUR", "JPY"), ("KWD", "EUR")]
    assert [row["fluid"] for row in rows["fluids"]] == ["oil_a"]


def test_a_table_without_a_row_that_matters_stays_because_its_silence_is_a_fact() -> None:
    found = {table.table: len(table.rows) for table in _gathered().tables}
    assert found["parts"] == 0


def test_only_services_of_the_machine_and_earlier_payments_are_taken_in_order() -> None:
    claim_file = _gathered()
    assert [record.record for record in claim_file.services] == ["S-1", "S-2"]
    # P-1 was paid after the day of decision, P-3 belongs to this very claim.
    assert [payment.id for payment in claim_file.earlier_payments] == ["P-2"]


def test_every_currency_in_the_file_has_its_decimals() -> None:
    # ISO 4217: JPY 0, KWD 3, the others 2; CHF from the price table, USD from the payment.
    assert _gathered().currency_exponents == {"CHF": 2, "EUR": 2, "JPY": 0, "KWD": 3, "USD": 2}


def test_a_missing_machine_or_dealer_is_named() -> None:
    with pytest.raises(NotOnFile, match="claim C-1 is about machine M-1, which is not on file"):
        _gathered(OnFile(dealers=ON_FILE.dealers))
    with pytest.raises(NotOnFile, match="claim C-1 comes from dealer D-1, who is not on file"):
        _gathered(OnFile(machines=ON_FILE.machines))


def test_records_that_do_not_belong_together_are_refused() -> None:
    strange = OnFile(machines={"M-1": MACHINE.model_copy(update={"serial": "M-9"})}, dealers=ON_FILE.dealers)
    with pytest.raises(ValidationError, match="claim C-1 is about machine M-1, not M-9"):
        _gathered(strange)


def test_a_metal_is_no_currency_with_decimals() -> None:
    with pytest.raises(UnknownCurrency, match="XAU is no currency of ISO 4217 with decimals"):
        exponents_of({"EUR", "XAU"})
    assert all_exponents()["JPY"] == 0


@given(st.permutations(ON_FILE.services["M-1"]), st.permutations(ON_FILE.payments["M-1"]))
def test_order_on_file_changes_no_digest(services: list[ServiceRecord], payments: list[EarlierPayment]) -> None:
    turned = OnFile(
        ON_FILE.machines, {"M-1": tuple(services)}, ON_FILE.dealers, {"M-1": tuple(payments)}, ON_FILE.tables
    )
    assert _gathered(turned).digest == _gathered().digest


def test_times_that_work_without_a_code_may_share_with_a_claimed_operation_are_kept() -> None:
    """Beside O-1 one code missing may be O-2; two may be O-2 and O-3, which have a time with it only together."""
    times = [["O-1"], ["O-2"], ["O-3"], ["O-4"], ["O-1", "O-2"], ["O-1", "O-2", "O-3"], ["O-4", "O-5"]]
    rows = [{"from": "2020-01-01", "operations": operations, "hours": "1"} for operations in times]
    table = TABLES.validate_python([{"table": "times", "version": 1, "kind": "flat_times", "rows": rows}])
    on_file = replace(ON_FILE, tables=table)
    part, coded, other = CLAIM.lines
    nameless = other.model_copy(update={"operation": None})
    also = nameless.model_copy(update={"line": "d"})

    def kept(*lines: ClaimLine) -> list[list[str]]:
        claim = CLAIM.model_copy(update={"lines": (part, *lines)})
        (gathered,) = gather(claim, on_file, {"EUR"}, date(2026, 6, 1)).tables
        return sorted(row["operations"] for row in gathered.model_dump(mode="json", by_alias=True)["rows"])

    assert kept(coded) == [["O-1"]]
    assert kept(coded, nameless) == [["O-1"], ["O-1", "O-2"], ["O-2"]]
    assert kept(coded, nameless, also) == [["O-1"], ["O-1", "O-2"], ["O-1", "O-2", "O-3"], ["O-2"], ["O-3"]]
    assert kept(nameless) == []
