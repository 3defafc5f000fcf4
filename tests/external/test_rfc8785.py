"""RFC 8785 (JSON Canonicalization Scheme): its printed examples, and the `rfc8785` package as an oracle.

Our bytes are promised to be the RFC's under two conditions, ASCII keys and no floats. The oracle takes what lies
outside them too, so that each printed example is first held against the oracle and then, as far as it reaches, against
us.
"""

import hashlib
import json
import struct
from importlib.metadata import version
from typing import Any

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.canonical import canonical_bytes, check_canonical

pytestmark = pytest.mark.fast

# RFC 8785, section 3.2.2: the sample input, and section 3.2.4: the UTF-8 it becomes.
SAMPLE_INPUT = r"""{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
SAMPLE_OUTPUT = (
    r'{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    r'"string":"€$\u000f\nA' + "'" + r'B\"\\\\\"/"}'
).encode()


def test_the_oracle_is_the_version_that_was_checked() -> None:
    assert version("rfc8785") == "0.1.4"


def test_the_oracle_writes_the_sample_of_section_3_2_4() -> None:
    assert rfc8785.dumps(json.loads(SAMPLE_INPUT)) == SAMPLE_OUTPUT


def test_our_bytes_are_the_sample_of_section_3_2_4_but_for_its_fractions() -> None:
    sample = json.loads(SAMPLE_INPUT) | {"numbers": []}
    expected = SAMPLE_OUTPUT.replace(b"[333333333.3333333,1e+30,4.5,0.002,1e-27]", b"[]")
    check_canonical(sample)
    assert canonical_bytes(sample) == expected


# RFC 8785, appendix B: the bits of an IEEE 754 double, and how JSON writes it.
NUMBER_LINES = [
    ("0000000000000000", b"0"),
    ("8000000000000000", b"0"),
    ("4340000000000001", b"9007199254740994"),
    ("444b1ae4d6e2ef50", b"1e+21"),
    ("3eb0c6f7a0b5ed8d", b"0.000001"),
    ("3eb0c6f7a0b5ed8c", b"9.999999999999997e-7"),
]


@pytest.mark.parametrize(("bits", "expected"), NUMBER_LINES)
def test_the_oracle_writes_the_number_lines_of_appendix_b(bits: str, expected: bytes) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert rfc8785.dumps(number) == expected


def test_a_double_past_2_to_the_53_cannot_tell_neighbours_apart_so_we_refuse_such_numbers() -> None:
    # The line 4340000000000001 of appendix B: 9007199254740993 has no double of its own and would come back changed.
    assert int(struct.unpack(">d", bytes.fromhex("4340000000000001"))[0]) == 9007199254740994 == int(float(2**53 + 2))
    assert int(float(2**53 + 1)) == 2**53
    with pytest.raises(ValueError, match="loses digits"):
        canonical_bytes(2**53 + 1)


# RFC 8785, section 3.2.3: properties in the order of their UTF-16 code units.
SORTED_PROPERTIES = {
    "\r": "Carriage Return",
    "1": "One",
    "\u0080": "Control",
    "ö": "Latin Small Letter O With Diaeresis",
    "€": "Euro Sign",
    "😀": "Emoji: Grinning Face",
    "\ufb33": "Hebrew Letter Dalet With Dagesh",
}


def test_the_order_of_section_3_2_3_is_ours_for_ascii_keys() -> None:
    backwards = dict(reversed(SORTED_PROPERTIES.items()))
    assert list(json.loads(rfc8785.dumps(backwards))) == list(SORTED_PROPERTIES)
    ascii_only = {key: name for key, name in backwards.items() if key.isascii()}
    assert list(json.loads(canonical_bytes(ascii_only))) == ["\r", "1"]


def test_outside_ascii_our_order_would_not_be_that_of_section_3_2_3_so_the_check_refuses_such_keys() -> None:
    assert list(json.loads(canonical_bytes(SORTED_PROPERTIES))) != list(SORTED_PROPERTIES)
    with pytest.raises(ValueError, match="not ASCII"):
        check_canonical(SORTED_PROPERTIES)


# The reference vectors that RFC 8785, appendix G, points to: input, and the beginning of the SHA-256 of the output.
REFERENCE_VECTORS = [
    ('[56, {"d": true, "10": null, "1": []}]', "099601b171cafed9"),
    (
        r'{"1":{"f":{"f":"hi","F":5},"\n":56.0},"10":{},"":"empty","a":{},"111":[{"e":"yes","E":"no"}],"A":{}}',
        "605f65004ec2db76",
    ),
    (r'{"Unnormalized Unicode": "A\u030a"}', "0d99aad92a125196"),
]


@pytest.mark.parametrize(("text", "sha256_start"), REFERENCE_VECTORS)
def test_our_bytes_have_the_hash_of_the_reference_vectors(text: str, sha256_start: str) -> None:
    value = json.loads(text, parse_float=lambda digits: int(digits.removesuffix(".0")))  # 56.0 is the double 56
    assert hashlib.sha256(canonical_bytes(value)).hexdigest().startswith(sha256_start)
    assert hashlib.sha256(rfc8785.dumps(value)).hexdigest().startswith(sha256_start)


# Two more vectors of the same collection have keys outside ASCII, which we refuse: the oracle alone is held to them.
OUTSIDE_ASCII = [
    (
        (
            '{"peach":"This sorting order","p\u00e9ch\u00e9":"is wrong according to French",'
            '"p\u00eache":"but canonicalization MUST","sin":"ignore locale"}'
        ),
        "d99d0ebdcb0033cb",
    ),
    (
        (
            r'{"\u20ac":"Euro Sign","\r":"Carriage Return","\u000a":"Newline","1":"One","\u0080":"Control\u007f",'
            r'"\ud83d\ude02":"Smiley","\u00f6":"Latin Small Letter O With Diaeresis",'
            r'"\ufb33":"Hebrew Letter Dalet With Dagesh","</script>":"Browser Challenge"}'
        ),
        "6af595a9aa80110b",
    ),
]


@pytest.mark.parametrize(("text", "sha256_start"), OUTSIDE_ASCII)
def test_vectors_with_keys_outside_ascii_are_the_oracles_and_refused_by_us(text: str, sha256_start: str) -> None:
    value = json.loads(text)
    assert hashlib.sha256(rfc8785.dumps(value)).hexdigest().startswith(sha256_start)
    with pytest.raises(ValueError, match="not ASCII"):
        check_canonical(value)
    ascii_only = {key: name for key, name in value.items() if key.isascii()}
    assert canonical_bytes(ascii_only) == rfc8785.dumps(ascii_only)


# The sixth vector of the collection is the sample of section 3.2.2, above.


def documents() -> st.SearchStrategy[Any]:
    """Documents under our two conditions: ASCII keys, no floats."""
    text = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
    keys = st.text(st.characters(max_codepoint=0x7F), max_size=8)
    scalars = st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | text
    return st.recursive(
        scalars,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(keys, inner, max_size=5),
        max_leaves=25,
    )


@settings(max_examples=500, deadline=None)
@given(documents())
def test_under_our_two_conditions_our_bytes_are_those_of_rfc8785_0_1_4(document: Any) -> None:
    check_canonical(document)
    written = canonical_bytes(document)
    assert written == rfc8785.dumps(document)
    assert json.loads(written) == document
