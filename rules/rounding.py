"""The one place where an exact amount becomes money, and the one way a sum is split over lines."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache


def minor_units(amount: int | Fraction, exponent: int, mode: str) -> int:
    """Return ``amount`` (0 or more) as whole minor units (10^-exponent), rounded by ``mode``.

    >>> minor_units(Fraction("33.345"), 2, "half_up"), minor_units(Fraction("33.345"), 2, "half_even")
    (3335, 3334)
    """
    return rounded_ratio(amount.numerator * 10**exponent, amount.denominator, mode)


def rounded_ratio(numerator: int, denominator: int, mode: str) -> int:
    """Return ``numerator / denominator`` (0 or more) as a whole number; ``mode`` as in the conventions.

    half_up, half_even and half_down differ only exactly half-way; up and down take any rest away from or towards zero.
    """
    units, rest = divmod(numerator, denominator)
    if not rest or mode == "down":
        return units
    if mode == "up":
        return units + 1
    twice = 2 * rest
    if twice != denominator:
        return units + (twice > denominator)
    if mode == "half_up":
        return units + 1
    return units + (units & 1) if mode == "half_even" else units


@lru_cache(maxsize=4096)
def as_money(units: int, exponent: int) -> Decimal:
    """Return minor units as a Decimal with the currency's decimals, exact whatever the size (no context rounds it).

    >>> as_money(115_000, 2), as_money(10**40 + 1, 3)
    (Decimal('1150.00'), Decimal('10000000000000000000000000000000000000.001'))
    """
    return Decimal(f"{units}E-{exponent}")


def largest_remainder(total: int, weights: Sequence[int]) -> list[int]:
    """Split ``total`` units in proportion to ``weights``; the sum is exact, ties go to the earlier weight.

    >>> largest_remainder(10000, [1, 1, 1])
    [3334, 3333, 3333]
    """
    whole = sum(weights)
    if not whole:
        return [0] * len(weights)
    divided = [divmod(total * weight, whole) for weight in weights]
    split = [units for units, _ in divided]
    left = total - sum(split)
    by_remainder = sorted(range(len(weights)), key=lambda i: (-divided[i][1], i))
    for i in by_remainder[:left]:
        split[i] += 1
    return split


def rounded_share(share: Fraction, places: int, mode: str) -> Fraction:
    """Return a share rounded to ``places`` decimals, for conventions that round it before money."""
    return Fraction(minor_units(share, places, mode), 10**places)
