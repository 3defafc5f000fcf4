"""What a claim, a claim file and the small quantities refuse, each in words that name the place and the way out."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from schemas.claim import Claim, ClaimLine
from schemas.claim_file import ClaimFile
from schemas.machine import Machine
from schemas.policy.clause import DateRange
from schemas.policy.services import Due
from schemas.quantities import Hours, Markup, Share

pytestmark = pytest.mark.fast


def refusal(document: Any, tree: object) -> str:
    with pytest.raises(ValidationError) as raised:
        TypeAdapter(document).validate_python(tree)
    (error,) = raised.value.errors()
    return error["msg"].removeprefix("Value error, ")


# What each kind of line must say, and a line of that kind that says it.
LINES = [
    ("parts", {"net": "10.00"}, "line l: a parts line states net, the dealer's net price of one unit"),
    ("labour", {"hours": 2}, "line l: a labour line states hours, the time the work took"),
    ("fluids", {"net": "4.00", "quantity": 8}, "line l: a fluids line states net (with quantity) or amount"),
    ("fluids", {"amount": "32.00"}, "line l: a fluids line states net (with quantity) or amount"),
    ("freight", {"amount": "40.00"}, "line l: a freight line states amount"),
    ("sublet", {"amount": "40.00"}, "line l: a sublet line states amount"),
    ("supplies", {"amount": "4.00"}, "line l: a supplies line states amount"),
    ("travel", {"units": 120}, "line l: a travel line states hours, units or amount"),
    ("travel", {"hours": 2}, "line l: a travel line states hours, units or amount"),
    ("diagnosis", {"amount": "80.00"}, "line l: a diagnosis line states hours, units or amount"),
]


@pytest.mark.parametrize(("item", "said", "words"), LINES)
def test_a_line_says_what_its_kind_needs(item: str, said: dict[str, Any], words: str) -> None:
    assert ClaimLine.model_validate({"line": "l", "item": item, **said}).item == item
    assert refusal(ClaimLine, {"line": "l", "item": item}) == words


def test_a_diagnosis_of_no_hours_says_its_hours() -> None:
    assert ClaimLine.model_validate({"line": "l", "item": "diagnosis", "hours": 0}).hours == 0


CLAIM: dict[str, Any] = {
    "claim": "C-1",
    "serial": "M-1",
    "dealer": "D-1",
    "currency": "EUR",
    "failed_on": "2024-05-01",
    "lines": [
        {"line": "a", "item": "parts", "net": "10.00"},
        {"line": "b", "item": "parts", "net": "10.00", "caused_by": "a"},
    ],
}


def test_a_line_twice_and_a_cause_outside_the_claim_are_refused() -> None:
    assert Claim.model_validate(CLAIM).lines[1].caused_by == "a"
    twice = {**CLAIM, "lines": [CLAIM["lines"][0], CLAIM["lines"][0]]}
    assert refusal(Claim, twice) == "line a stands twice; give every line an id of its own"
    for cause in ("c", "b"):
        lines = [CLAIM["lines"][0], {**CLAIM["lines"][1], "caused_by": cause}]
        expected = f"line b is caused_by {cause}, which is no other line of this claim"
        assert refusal(Claim, {**CLAIM, "lines": lines}) == expected


FILE: dict[str, Any] = {
    "machine": {"serial": "M-1", "model": "QF60", "built_on": "2023-01-01", "use": "commercial", "region": "DE"},
    "claim": CLAIM,
    "dealer": {"dealer": "D-1", "region": "DE", "currency": "EUR"},
    "currency_exponents": {"EUR": 2},
    "decided_on": "2024-06-01",
}


def service(record: str, serial: str) -> dict[str, Any]:
    return {"record": record, "serial": serial, "on": "2024-02-01", "tasks": ["oil"], "by": "owner", "evidence": []}


PAYMENT = {
    "id": "P-1",
    "claim": "C-0",
    "paid_on": "2024-01-01",
    "policy": "p@1",
    "item": "parts",
    "amount": 1,
    "currency": "EUR",
}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"claim": {**CLAIM, "serial": "M-2"}}, "claim C-1 is about machine M-2, not M-1"),
        ({"claim": {**CLAIM, "dealer": "D-2"}}, "claim C-1 comes from dealer D-2, not D-1"),
        (
            {"services": [service("S-2", "M-3"), service("S-1", "M-2"), service("S-3", "M-1")]},
            "service records S-1, S-2 belong to another machine than M-1",
        ),
        (
            {"services": [service("S-1", "M-1")] * 2},
            "service record S-1 stands twice in the claim file; a record is given once, by its id",
        ),
        (
            {"earlier_payments": [PAYMENT, {**PAYMENT, "amount": 2}]},
            "earlier payment P-1 stands twice in the claim file; a record is given once, by its id",
        ),
        (
            {"tables": [{"table": "a", "version": 2, "kind": "fluids", "rows": []}] * 2},
            "table a version 2 of fluids stands twice in the claim file; a record is given once, by its id",
        ),
    ],
)
def test_a_claim_file_is_about_one_machine_and_one_dealer(change: dict[str, Any], words: str) -> None:
    assert ClaimFile.model_validate(FILE).claim.claim == "C-1"
    assert refusal(ClaimFile, {**FILE, **change}) == words


@pytest.mark.parametrize(
    ("field", "record"),
    [
        ("readings", {"on": "2024-03-01", "hours": 5}),
        ("meter_changes", {"on": "2024-03-01", "new_reading": 0}),
        ("components", {"component": "wheel_drive"}),
        ("storage", {"since": "2024-03-01", "until": "2024-04-01"}),
        ("alterations", {"component": "pump", "kind": "altered", "found_on": "2024-03-01"}),
        (
            "bookings",
            {"asked_on": "2024-03-01", "asked_at": 5, "tasks": ["a"], "earliest_slot_on": "2024-03-09", "proven": True},
        ),
    ],
)
def test_a_machine_holds_every_record_once(field: str, record: dict[str, Any]) -> None:
    """A record given twice would count twice; two with ids of their own are two."""
    once = Machine.model_validate({**FILE["machine"], field: [{**record, "id": i} for i in ("X-1", "X-2")]})
    assert len(getattr(once, field)) == 2
    twice = {**FILE["machine"], field: [{**record, "id": i} for i in ("X-1", "X-2", "X-1")]}
    assert refusal(Machine, twice) == f"{field}: X-1 stands twice; give every record an id of its own"


def test_the_order_of_the_lists_changes_no_digest() -> None:
    """Readings, lines, services, payments and tables are sorted by id before the digest is taken."""
    payment = {
        "claim": "C-0",
        "paid_on": "2024-01-01",
        "policy": "p@1",
        "item": "parts",
        "amount": 1,
        "currency": "EUR",
    }
    tables = [
        {"table": name, "version": version, "kind": "fluids", "rows": []} for name, version in (("a", 2), ("b", 1))
    ]
    full = {
        **FILE,
        "machine": {**FILE["machine"], "readings": [{"id": i, "on": "2024-03-01", "hours": 5} for i in ("r1", "r2")]},
        "services": [service("S-1", "M-1"), service("S-2", "M-1")],
        "earlier_payments": [{**payment, "id": "P-1"}, {**payment, "id": "P-2"}],
        "tables": tables,
    }
    turned = {
        **full,
        "machine": {**full["machine"], "readings": full["machine"]["readings"][::-1]},
        "claim": {**CLAIM, "lines": CLAIM["lines"][::-1]},
        "services": full["services"][::-1],
        "earlier_payments": full["earlier_payments"][::-1],
        "tables": tables[::-1],
    }
    digest = ClaimFile.model_validate(full).digest
    assert ClaimFile.model_validate(turned).digest == digest
    moved = {**full, "earlier_payments": [{**payment, "id": "P-1"}, {**payment, "id": "P-3"}]}
    assert ClaimFile.model_validate(moved).digest != digest


def test_a_range_of_days_that_ends_before_it_begins_is_refused() -> None:
    expected = "the range ends on 2024-01-01, before it begins on 2024-02-01; swap the two dates"
    assert refusal(DateRange, {"from": "2024-02-01", "until": "2024-01-01"}) == expected
    assert DateRange.model_validate({"from": "2024-02-01", "until": "2024-02-01"}).from_ is not None


@pytest.mark.parametrize("value", [0.5, True, None, [2], float("nan")])
def test_no_float_or_truth_value_is_a_number_of_hours(value: object) -> None:
    assert refusal(Hours, value) == f"{value!r} is not an exact number; write it as text or digits, for example 12.50"


@pytest.mark.parametrize("value", ["Infinity", "NaN", "-Infinity"])
def test_hours_are_finite(value: str) -> None:
    assert refusal(Hours, value) == f'"{value}" is not a finite number'


def test_shares_are_exact_whatever_they_are_written_as() -> None:
    for written in ("15%", "3/20", "0.15", Fraction(3, 20), Decimal("0.15")):
        assert TypeAdapter(Share).validate_python(written) == Fraction(3, 20)
    assert refusal(Share, "1/0") == '"1/0" divides by zero; write a share such as 1/2'
    assert refusal(Share, 0.15) == '"0.15" is not a share; write 1/2, 15% or 0.6'
    assert refusal(Share, "3/2") == "the share 3/2 is more than the whole; a share lies between 0 and 1"
    assert TypeAdapter(Markup).validate_python("150%") == Fraction(3, 2)


def test_one_off_points_may_be_written_as_plain_numbers_and_must_rise() -> None:
    due = Due.model_validate({"at_hours": [50, "250", {"at": 500}]})
    assert due.one_off_hundredths == (5_000, 25_000, 50_000)
    assert refusal(Due, {"at_hours": [250, 50]}) == "one-off points stand in rising order, each once"
    assert "valid tuple" in refusal(Due, {"at_hours": 50})
