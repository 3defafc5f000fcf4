"""Decimals of the currencies of ISO 4217, from the iso4217 package."""

from collections.abc import Iterable
from functools import cache


class UnknownCurrency(ValueError):
    """A code that is no currency of ISO 4217, or one without decimals of its own, such as a precious metal."""


@cache
def all_exponents() -> dict[str, int]:
    """Return the number of decimals of every currency that has one, by code; EUR 2, JPY 0, KWD 3."""
    from iso4217 import Currency  # reads a table; only a command that decides needs it

    return {currency.code: currency.exponent for currency in Currency if currency.exponent is not None}


def exponents_of(codes: Iterable[str]) -> dict[str, int]:
    """Return the decimals of these currencies in the order of their codes; raises UnknownCurrency."""
    known = all_exponents()
    wanted = sorted(set(codes))
    unknown = [code for code in wanted if code not in known]
    if unknown:
        raise UnknownCurrency(
            f"{', '.join(unknown)} is no currency of ISO 4217 with decimals of its own. Write its three-letter code,"
            " for example EUR."
        )
    return {code: known[code] for code in wanted}
