"""Rounding, minor units and fair splits, against published tables and other implementations."""

from decimal import Decimal
from fractions import Fraction

import elementpath
import pytest
from iso4217 import Currency

from rules.rounding import as_money, largest_remainder, minor_units
from rules.settlement.exact import grains, minor_of, times
from tests.rules.settlement.examples import EXPONENTS, claim_file, policy_of, settled

pytestmark = pytest.mark.fast

# General Decimal Arithmetic test cases (M. Cowlishaw): quantize.decTest 2.56, the cases that an amount can have
# (0 or more, 0 to 5 decimals), all rounded half up; as carried in the test suite of CPython. Copied by hand.
QUANTIZE = """
quax001 0 0 0 | quax002 1 0 1 | quax006 0.1 0 0 | quax007 0.1 1 0.1 | quax008 0.1 2 0.10 | quax009 0.1 3 0.100
quax012 0.9 0 1 | quax013 0.9 1 0.9 | quax014 0.9 2 0.90 | quax060 2.17 3 2.170 | quax061 2.17 2 2.17
quax062 2.17 1 2.2 | quax063 2.17 0 2 | quax071 217 1 217.0 | quax072 217 0 217 | quax093 1.2345 2 1.23
quax094 1.2355 2 1.24 | quax096 9.9999 2 10.00 | quax097 0.0001 2 0.00 | quax098 0.001 2 0.00 | quax099 0.009 2 0.01
quax120 1.04 3 1.040 | quax121 1.04 2 1.04 | quax122 1.04 1 1.0 | quax123 1.04 0 1 | quax126 1.05 1 1.1
quax131 1.05 0 1 | quax134 1.06 1 1.1 | quax145 1E-3 2 0.00 | quax146 1E-2 2 0.01 | quax153 1.0600 2 1.06
quax302 0.0078 3 0.008 | quax303 0.0078 2 0.01 | quax304 0.0078 1 0.0 | quax323 0.078 2 0.08 | quax324 0.078 1 0.1
quax344 0.78 1 0.8 | quax345 0.78 0 1 | quax365 7.8 0 8 | quax380 352364.506 2 352364.51
quax381 3523645.06 2 3523645.06
"""
# The same collection, rounding.decTest 2.59, cases radx100 to radx259: 12345 or 12346 plus a little, to whole units.
LITTLE = ("0.1", "0.4", "0.49999", "0.5", "0.50001", "0.6")
TO_WHOLE = {
    "down": {12345: (12345,) * 6, 12346: (12346,) * 6},
    "half_down": {12345: (12345, 12345, 12345, 12345, 12346, 12346), 12346: (12346, 12346, 12346, 12346, 12347, 12347)},
    "half_even": {12345: (12345, 12345, 12345, 12346, 12346, 12346), 12346: (12346, 12346, 12346, 12346, 12347, 12347)},
    "half_up": {12345: (12345, 12345, 12345, 12346, 12346, 12346), 12346: (12346, 12346, 12346, 12347, 12347, 12347)},
    "up": {12345: (12346,) * 6, 12346: (12347,) * 6},
}


@pytest.mark.parametrize("case", [case.split() for case in QUANTIZE.replace("\n", "|").split("|") if case.strip()])
def test_quantize_cases_of_the_decimal_arithmetic_collection(case: list[str]) -> None:
    _, number, decimals, expected = case
    got = as_money(minor_units(Fraction(number), int(decimals), "half_up"), int(decimals))
    assert (got, str(got)) == (Decimal(expected), expected)


@pytest.mark.parametrize("mode", TO_WHOLE)
def test_rounding_cases_of_the_decimal_arithmetic_collection(mode: str) -> None:
    for whole, expected in TO_WHOLE[mode].items():
        assert tuple(minor_units(whole + Fraction(little), 0, mode) for little in LITTLE) == expected


# ISO 4217, amendment tables, from memory: the decimals of the currencies that differ most from habit.
@pytest.mark.parametrize(("code", "decimals"), [("EUR", 2), ("USD", 2), ("JPY", 0), ("KRW", 0), ("KWD", 3), ("CLF", 4)])
def test_decimals_of_currencies(code: str, decimals: int) -> None:
    assert minor_of(claim_file(_one_line("1")), code, "half_up").exponent == decimals
    assert Currency(code).exponent == decimals


# Unicode CLDR shows these without decimals (IQD too, of three), while ISO 4217 gives them two: a display rule is no
# money rule. The list was computed with the libraries iso4217 and babel.
@pytest.mark.parametrize(
    ("code", "decimals"),
    [(code, 2) for code in ["AFN", "ALL", "IRR", "KPW", "LAK", "LBP", "MGA", "MMK", "RSD", "SOS", "SYP", "YER"]]
    + [("IQD", 3)],
)
def test_decimals_come_from_the_standard_and_not_from_display_rules(code: str, decimals: int) -> None:
    assert EXPONENTS[code] == decimals


# Regulation (EC) No 1103/97, articles 4 and 5: conversion rates have six significant figures and are not rounded or
# truncated; the result is rounded to the nearest cent, up where it is exactly half-way. Rate of the German mark:
# 1 EUR = 1.95583 DEM, Regulation (EC) No 2866/98 (both from memory).
@pytest.mark.parametrize(
    ("marks", "euros"),
    [("100.00", "51.13"), ("1.00", "0.51"), ("1.95583", "1.00"), ("0.97", "0.50"), ("1000000.00", "511291.88")],
)
def test_conversion_of_marks_into_euros(marks: str, euros: str) -> None:
    rate = Fraction("1.95583")
    exact = Fraction(marks) / rate
    assert as_money(minor_units(exact, 2, "half_up"), 2) == Decimal(euros)


def test_exactly_half_way_a_conversion_is_rounded_up() -> None:
    assert minor_units(Fraction("0.005"), 2, "half_up") == 1
    assert minor_units(Fraction("12.345"), 2, "half_up") == 1235


def test_a_rounded_inverse_rate_would_give_another_amount() -> None:
    """Article 4(3): inverse rates derived from the conversion rates are not used; 1 / 1.95583 rounded is 0.511292."""
    exact, by_inverse = Fraction("1000000") / Fraction("1.95583"), Fraction("1000000") * Fraction("0.511292")
    assert minor_units(exact, 2, "half_up") == 51129188
    assert minor_units(by_inverse, 2, "half_up") == 51129200


def test_amounts_are_rounded_and_not_prices_of_a_unit() -> None:
    """Court of Justice, C-19/03: the amount to pay is rounded, and no tariff for a unit before it is multiplied."""
    split = settled(policy_of({"pays": {"parts": {"handling": "1/3"}}}), claim_file(_one_line("0.01", "300")))["a"]
    assert split.claimed == 400  # 300 pieces of 0.01 with a third of handling are 4.00, not 300 times 0.01


# XPath and XQuery Functions and Operators, fn:round-half-to-even: the examples of its text, and elementpath.
@pytest.mark.parametrize(
    ("number", "decimals", "expected"),
    [("0.5", 0, "0"), ("1.5", 0, "2"), ("2.5", 0, "2"), ("3.567812", 2, "3.57"), ("4.7564E-3", 2, "0.00")],
)
def test_round_half_to_even_of_xpath(number: str, decimals: int, expected: str) -> None:
    plain = f"{Decimal(number):f}"
    by_xpath = _by_xpath(f"round-half-to-even({plain}, {decimals})")
    got = as_money(minor_units(Fraction(number), decimals, "half_even"), decimals)
    assert got == Decimal(expected) == by_xpath


def test_round_of_xpath_is_half_up_for_amounts() -> None:
    assert _by_xpath("round(2.5)") == 3
    assert minor_units(Fraction("2.5"), 0, "half_up") == 3


# DMN Technology Compatibility Kit, round half up, 1143: the cases with numbers of 0 or more.
@pytest.mark.parametrize(
    ("number", "decimals", "expected"), [("5.5", 0, "6"), ("1.121", 2, "1.12"), ("1.126", 2, "1.13")]
)
def test_round_half_up_of_dmn(number: str, decimals: int, expected: str) -> None:
    assert as_money(minor_units(Fraction(number), decimals, "half_up"), decimals) == Decimal(expected)


# The largest remainder is Hamilton's method of apportionment. Example of the Alabama paradox (textbook example of three
# states with populations 6, 6 and 2; from memory): 10 seats are 4, 4, 2 and 11 seats are 5, 5, 1.
@pytest.mark.parametrize(("seats", "expected"), [(10, [4, 4, 2]), (11, [5, 5, 1])])
def test_the_split_is_hamiltons_with_its_paradox(seats: int, expected: list[int]) -> None:
    assert largest_remainder(seats, [6, 6, 2]) == expected


def test_a_binary_float_would_pay_a_cent_less() -> None:
    """E-81: 66.69 at one half is 33.345; as a binary float it lies below the half and comes to 33.34."""
    assert round(66.69 * 0.5, 2) == 33.34
    split = settled(policy_of({"pays": {"parts": {"handling": 0, "share": "1/2"}}}), claim_file(_one_line("66.69")))
    assert split["a"].maker == 3335


def test_grains_hold_a_product_of_amount_hours_and_rate_exactly() -> None:
    exact = times(times(grains(Decimal("0.0001")), Fraction("0.01")), Fraction("0.000001"))
    assert exact == 1
    assert isinstance(exact, int)


def _by_xpath(expression: str) -> Decimal:
    return Decimal(str(elementpath.XPath2Parser().parse(expression).evaluate()))


def _one_line(net: str, quantity: str = "1") -> dict[str, object]:
    return {"claim": {"lines": {"a": {"component": "engine", "net": net, "quantity": quantity}}}}
