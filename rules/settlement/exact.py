"""Exact amounts on their way through a settlement, counted in grains so that most of them are plain integers.

A grain is 10^-12 of the currency's unit. Amounts have at most four decimals, hours two and usual shares a few, so their
products are whole numbers of grains; only a true fraction (a third, an inverse exchange rate) makes a ``Fraction`` of
grains. Both kinds mix freely and neither ever rounds.
"""

from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Final

from rules.rounding import rounded_ratio
from schemas.claim_file import ClaimFile

Exact = int | Fraction  # grains
Factor = int | Fraction  # a bare number: a quantity, hours, a share, an exchange rate

DECIMALS: Final = 12
GRAINS: Final = 10**DECIMALS


@lru_cache(maxsize=65536)
def grains(amount: Decimal) -> Exact:
    """Return an amount in grains.

    >>> grains(Decimal("33.345"))
    33345000000000
    """
    return times(GRAINS, factor(amount))


@lru_cache(maxsize=65536)
def factor(number: Decimal) -> Factor:
    """Return a bare number exactly: an int where it is whole, else a fraction.

    >>> factor(Decimal("2.00")), factor(Decimal("2.6"))
    (2, Fraction(13, 5))
    """
    numerator, denominator = number.as_integer_ratio()
    return numerator if denominator == 1 else Fraction(numerator, denominator)


def times(amount: Exact, by: Factor) -> Exact:
    """Return ``amount`` times ``by``, whole grains staying a plain integer.

    >>> times(10, Fraction(1, 2)), times(10, Fraction(1, 3))
    (5, Fraction(10, 3))
    """
    if type(by) is int:
        return amount * by
    if type(amount) is int:
        product, denominator = amount * by.numerator, by.denominator
        whole, rest = divmod(product, denominator)
        return Fraction(product, denominator) if rest else whole
    return amount * by


@lru_cache(maxsize=8192)
def exact_text(amount: Exact) -> str:
    """Return the amount in currency units without rounding: 33.345, or n/d where the decimals do not end.

    >>> exact_text(33_345_000_000_000), exact_text(Fraction(GRAINS, 3))
    ('33.345', '1/3')
    """
    if type(amount) is int:
        units, grain = divmod(amount, GRAINS)
        return f"{units}.{grain:0{DECIMALS}d}".rstrip("0") if grain else str(units)
    value = Fraction(amount) / GRAINS
    digits, rest = 0, value.denominator
    for prime in (2, 5):
        power = 0
        while rest % prime == 0:
            rest //= prime
            power += 1
        digits = max(digits, power)
    if rest != 1:
        return str(value)
    whole = value.numerator * 10**digits // value.denominator
    text = f"{whole // 10**digits}"
    return f"{text}.{whole % 10**digits:0{digits}d}" if digits else text


def money_text(amount: Exact) -> str:
    """Return the amount for words: thousands marks, two to four decimals, and an ellipsis where more follow.

    It is cut and not rounded, for a sum that is made of it goes on with the whole amount.

    >>> money_text(grains(Decimal("1150"))), money_text(times(grains(Decimal("100000")), Fraction(1, 170)))
    ('1,150.00', '588.2352…')
    """
    units, rest = divmod(amount, 10 ** (DECIMALS - 4))
    text = f"{units // 10_000:,}.{units % 10_000:04d}"
    if rest:
        return f"{text}…"
    return text[:-2] if text.endswith("00") else text.rstrip("0")


class Minor:
    """A currency's minor units: how exact amounts become whole ones, and how those read as money."""

    __slots__ = ("exponent", "grains", "mode")

    def __init__(self, exponent: int, mode: str) -> None:
        self.exponent = exponent
        self.mode = mode
        self.grains: int = 10 ** (DECIMALS - exponent)

    def units(self, amount: Exact) -> int:
        """Return an amount (0 or more) in whole minor units, rounded as the conventions say."""
        return rounded_ratio(amount.numerator, amount.denominator * self.grains, self.mode)

    def exact(self, units: int) -> Exact:
        """Return whole minor units in grains."""
        return units * self.grains


def minor_of(claim_file: ClaimFile, currency: str, mode: str) -> Minor:
    """Return the currency's minor units; raises ValueError where the claim file does not state its decimals."""
    exponent = claim_file.currency_exponents.get(currency)
    if exponent is None:
        raise ValueError(
            f"claim {claim_file.claim.claim}: currency_exponents states no ISO 4217 decimals for {currency}; state them"
            " for every currency of the claim, its dealer, its tables and the policies that may pay it"
        )
    return Minor(exponent, mode)
