import enum
import hashlib
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import UUID

import pytest

from schemas import canonical
from schemas.canonical import LARGEST_INTEGER, canonical_bytes, check_canonical, digest, digest_of_bytes

pytestmark = pytest.mark.fast


class Outcome(enum.StrEnum):
    PAY = "pay"


class Named(str):
    __slots__ = ()


def nested(levels: int) -> list[Any]:
    value: list[Any] = []
    for _ in range(levels - 1):
        value = [value]
    return value


def inside_itself() -> list[Any]:
    value: list[Any] = []
    value.append(value)
    return value


WRITTEN = [
    ({}, b"{}"),
    ([], b"[]"),
    ({"b": 1, "a": None, "B": True, "": False}, b'{"":false,"B":true,"a":null,"b":1}'),
    ({"lines": ({"z": 1, "y": ("690.00", "EUR")},)}, b'{"lines":[{"y":["690.00","EUR"],"z":1}]}'),
    ("1,150.00 × 3/5 − é 😀", '"1,150.00 × 3/5 − é 😀"'.encode()),
    ('"\\/\b\t\n\f\r\x00\x1f\x7f\u2028', b'"\\"\\\\/\\b\\t\\n\\f\\r\\u0000\\u001f\x7f\xe2\x80\xa8"'),
    (LARGEST_INTEGER, b"9007199254740991"),
    (-LARGEST_INTEGER, b"-9007199254740991"),
    (0, b"0"),
]


@pytest.mark.parametrize(("value", "expected"), WRITTEN)
def test_a_plain_value_is_written_with_sorted_keys_and_no_spaces(value: Any, expected: bytes) -> None:
    check_canonical(value)
    assert canonical_bytes(value) == expected


def test_the_order_in_which_keys_were_put_in_changes_nothing() -> None:
    assert digest({"a": 1, "b": {"c": 2, "d": 3}}) == digest({"b": {"d": 3, "c": 2}, "a": 1})


def test_a_digest_is_the_sha_256_of_the_canonical_bytes_with_its_name_before_it() -> None:
    expected = "sha256:" + hashlib.sha256(b'{"a":1}').hexdigest()
    assert digest({"a": 1}) == digest_of_bytes(b'{"a":1}') == expected
    assert len(expected) == len("sha256:") + 64


REFUSED = [
    (Decimal("1.50"), TypeError, ["$: Decimal", "Write it as text"]),
    ({"share": Fraction(1, 3)}, TypeError, ["$['share']: Fraction"]),
    ({"lines": [{"failed_on": date(2026, 1, 2)}]}, TypeError, ["$['lines'][0]['failed_on']: date"]),
    ([datetime(2026, 1, 2, tzinfo=UTC)], TypeError, ["$[0]: datetime"]),
    ({"tasks": {"a"}}, TypeError, ["$['tasks']: set"]),
    (b"bytes", TypeError, ["$: bytes"]),
    (Named("x"), TypeError, ["$: Named"]),
    ({1: "a"}, TypeError, ["$: the key 1 is int", "plain str"]),
    ({Outcome.PAY: "a"}, TypeError, ["$: the key", "is Outcome"]),
    (2**53, ValueError, ["$: a whole number past", "Write it as text"]),
    ({"a": -(2**53)}, ValueError, ["$['a']: a whole number past"]),
    (2**64, ValueError, ["a whole number past"]),
    (["ok", "a\ud800"], ValueError, ["$[1]: the text holds a lone surrogate (U+D800 at 1)", "Remove it"]),
    ("\ud83d\ude00", ValueError, ["U+D83D at 0"]),
    (nested(300), ValueError, ["nested deeper than 200 levels"]),
    (inside_itself(), ValueError, ["inside itself"]),
]


@pytest.mark.parametrize("refuse", [canonical_bytes, check_canonical])
@pytest.mark.parametrize(("value", "error", "said"), REFUSED)
def test_what_has_no_canonical_form_is_refused_with_its_place(
    refuse: Callable[[Any], object], value: Any, error: type[Exception], said: list[str]
) -> None:
    with pytest.raises(error) as raised:
        refuse(value)
    assert [words for words in said if words not in str(raised.value)] == []


UNSEEN_ON_THE_HOT_PATH = [
    ({"amount": 1.5}, TypeError, "$['amount']: float has no canonical form: no float may touch"),
    ([float("nan")], TypeError, "$[0]: float"),
    ({"é": 1}, ValueError, "$: the key 'é' is not ASCII"),
    ({"outcome": Outcome.PAY}, TypeError, "$['outcome']: Outcome"),
    (UUID(int=1), TypeError, "$: UUID"),
]


@pytest.mark.parametrize(("value", "error", "said"), UNSEEN_ON_THE_HOT_PATH)
def test_the_check_finds_what_the_encoding_lets_pass(value: Any, error: type[Exception], said: str) -> None:
    canonical_bytes(value)
    with pytest.raises(error) as raised:
        check_canonical(value)
    assert said in str(raised.value)


def test_a_refusal_that_the_check_cannot_name_is_passed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(canonical, "check_canonical", lambda _: None)
    with pytest.raises(TypeError, match="Decimal"):
        canonical_bytes([Decimal(1)])  # type: ignore[list-item]


def test_nesting_is_taken_down_to_200_levels() -> None:
    check_canonical(nested(200))
    assert canonical_bytes(nested(200)) == b"[" * 200 + b"]" * 200
    with pytest.raises(ValueError, match="deeper than 200"):
        check_canonical(nested(201))
