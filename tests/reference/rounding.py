"""An exact amount in whole minor units, or a share in whole parts."""

from fractions import Fraction


def rounded(amount: Fraction, exponent: int, mode: str) -> int:
    """Return an amount in whole minor units."""
    scaled = amount * 10**exponent
    whole = scaled.numerator // scaled.denominator
    rest = scaled - whole
    if not rest or mode == "down":
        return whole
    if mode == "up" or rest > Fraction(1, 2):
        return whole + 1
    if rest < Fraction(1, 2) or mode == "half_down":
        return whole
    return whole + 1 if mode == "half_up" else whole + whole % 2
