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
    ("travel", {"units": 120, "unit": "km"}, "line l: a travel line states hours, units or amount"),
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


# Every list that a claim file can hold, with two entries each; written as a path, and one number respelled.
FULL: dict[str, Any] = {
    **FILE,
    "machine": {
        **FILE["machine"],
        "owners": [{"order": 1, "since": "2023-01-01"}, {"order": 2, "since": "2024-01-01"}],
        "readings": [{"id": i, "on": "2024-03-01", "hours": "1800"} for i in ("r1", "r2")],
        "meter_changes": [{"id": i, "on": "2024-03-01", "new_reading": 0} for i in ("m1", "m2")],
        "components": [
            {"id": i, "component": "wheel_drive", "kit_parts": ["wheel_drive", "parking_brake"]} for i in ("c1", "c2")
        ],
        "storage": [{"id": i, "since": "2023-11-01", "until": "2024-02-01"} for i in ("w1", "w2")],
        "alterations": [
            {"id": i, "component": "pump", "kind": "altered", "found_on": "2024-03-01"} for i in ("a1", "a2")
        ],
        "demonstrations": [{"on": "2023-01-02", "hours": 1}, {"on": "2023-01-03", "hours": 2}],
        "bookings": [
            {
                "id": i,
                "asked_on": "2024-03-01",
                "asked_at": 240,
                "tasks": ["oil", "filter"],
                "earliest_slot_on": "2024-03-09",
                "proven": True,
            }
            for i in ("b1", "b2")
        ],
    },
    "services": [
        {
            **service(i, "M-1"),
            "tasks": ["oil", "filter"],
            "evidence": ["dealer_invoice", "log_entry"],
            "fluids": [{"fluid": "oil_a", "litres": "1.5"}, {"fluid": "oil_b", "litres": 2}],
        }
        for i in ("S-1", "S-2")
    ],
    "claim": {
        **CLAIM,
        "questions": [{"about": "services", "asked_on": "2024-05-02"}, {"about": "wear", "asked_on": "2024-05-02"}],
    },
    "earlier_payments": [{**PAYMENT, "id": "P-1"}, {**PAYMENT, "id": "P-2"}],
    "tables": [
        {
            "table": "times",
            "version": 1,
            "kind": "flat_times",
            "rows": [
                {"operations": ["A", "B"], "hours": "1.5", "from": "2024-01-01"},
                {"operations": ["A"], "hours": "1", "from": "2024-01-01"},
            ],
        },
        {"table": "fluids", "version": 1, "kind": "fluids", "rows": []},
    ],
}


def lists_in(tree: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the place of every list with more than one entry."""
    found = [path] if isinstance(tree, list) and len(tree) > 1 else []
    entries = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    return found + [place for key, value in entries for place in lists_in(value, (*path, key))]


def turned(tree: Any, path: tuple[Any, ...]) -> Any:
    """Return the tree with the list at ``path`` turned round."""
    if not path:
        return tree[::-1]
    entries = dict(tree) if isinstance(tree, dict) else list(tree)
    entries[path[0]] = turned(tree[path[0]], path[1:])
    return entries


@pytest.mark.parametrize("path", lists_in(FULL), ids=lambda path: ".".join(map(str, path)))
def test_the_order_of_a_list_changes_no_digest(path: tuple[Any, ...]) -> None:
    assert ClaimFile.model_validate(turned(FULL, path)).digest == ClaimFile.model_validate(FULL).digest


def test_every_list_of_a_claim_file_was_turned() -> None:
    """The twenty kinds of list of the models; a list inside the entries of another counts once."""
    kinds = {tuple(key for key in path if isinstance(key, str)) for path in lists_in(FULL)}
    assert {".".join(kind) for kind in kinds} == {
        *(f"machine.{n}" for n in ("owners", "readings", "meter_changes", "components", "storage", "alterations")),
        *("machine.demonstrations", "machine.bookings", "machine.bookings.tasks", "machine.components.kit_parts"),
        *("services", "services.tasks", "services.evidence", "services.fluids"),
        *("claim.lines", "claim.questions", "earlier_payments", "tables", "tables.rows", "tables.rows.operations"),
    }


@pytest.mark.parametrize(
    ("written", "again"),
    [("1800", "1800.0"), ("1800", 1800), ("1800", Decimal("1800.00")), ("1800.5", "1800.50"), ("0", "0.00")],
)
def test_a_number_has_one_form_in_the_digest(written: object, again: object) -> None:
    def digest_with(hours: object) -> str:
        reading = {"id": "r1", "on": "2024-03-01", "hours": hours}
        return ClaimFile.model_validate({**FILE, "machine": {**FILE["machine"], "readings": [reading]}}).digest

    assert digest_with(written) == digest_with(again)
    assert digest_with(written) != digest_with("180")


def test_what_differs_has_another_digest() -> None:
    digest = ClaimFile.model_validate(FULL).digest
    for moved in (
        {**FULL, "earlier_payments": [{**PAYMENT, "id": "P-1"}, {**PAYMENT, "id": "P-3"}]},
        {**FULL, "services": FULL["services"][:1]},
        {**FULL, "decided_on": "2024-06-02"},
    ):
        assert ClaimFile.model_validate(moved).digest != digest


# A component, an owner and a time in storage, each with the days on which it begins and ends.
SPANS = [
    ("components", {"id": "F-1", "component": "pump", "fitted_as": "replacement"}, "fitted_on", "removed_on"),
    ("owners", {"order": 2}, "since", "until"),
    ("storage", {"id": "S-1"}, "since", "until"),
]


@pytest.mark.parametrize(("field", "record", "begins", "ends"), SPANS, ids=[field for field, *_ in SPANS])
def test_a_record_of_a_machine_ends_no_sooner_than_it_begins(
    field: str, record: dict[str, Any], begins: str, ends: str
) -> None:
    """The day itself is taken: a part may have been fitted and removed on one day."""
    machine = {"serial": "Q-1", "model": "QF60", "built_on": "2024-01-10", "use": "commercial", "region": "FR"}
    for last in ("2024-05-01", "2024-05-02"):
        Machine.model_validate({**machine, field: [{**record, begins: "2024-05-01", ends: last}]})
    words = refusal(Machine, {**machine, field: [{**record, begins: "2024-05-01", ends: "2024-04-30"}]})
    assert "2024-04-30, before it" in words
    assert "correct" in words


def test_a_range_of_days_that_ends_before_it_begins_is_refused() -> None:
    expected = "the range ends on 2024-01-01, before it begins on 2024-02-01. Swap the two dates."
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
    assert refusal(Due, {"at_hours": [250, 50]}) == (
        "one-off points stand in rising order, each once. Put 50 h in its place, or correct it."
    )
    assert "valid tuple" in refusal(Due, {"at_hours": 50})
