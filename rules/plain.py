"""Days and hours as a reader writes them, in reasons, notes and measures."""

import re
from datetime import date
from decimal import Decimal
from functools import lru_cache

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip  # not strftime: it is slow, and follows the machine's locale
WHICHEVER_FIRST = ", whichever comes first"
_HOUR_RANGE = re.compile(r"\s*\([\d,.]+ ?(?: h)?\s*(?:–|-|to)\s*[\d,.]+ h\)")
_DAY_RANGE = re.compile(r"\s*\(\d{1,2} \w+ \d{4} (?:to|–) \d{1,2} \w+ \d{4}\)")


@lru_cache(maxsize=8192)
def day_text(day: date) -> str:
    """Return a day as a reader writes it.

    >>> day_text(date(2026, 3, 2))
    '2 March 2026'
    """
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def sum_text(amount: Decimal) -> str:
    """Return an amount of a policy as a reader writes it: whole, or with two decimals or more.

    >>> sum_text(Decimal("1225")), sum_text(Decimal("0.6")), sum_text(Decimal("0.125"))
    ('1,225', '0.60', '0.125')
    """
    whole, point, decimals = f"{amount:,f}".partition(".")
    return f"{whole}.{decimals:0<2}" if point else whole


@lru_cache(maxsize=8192)
def hours_text(hundredths: int) -> str:
    """Return hundredths of an hour as a reader writes them, at least one decimal.

    >>> hours_text(150000), hours_text(6005), hours_text(-250)
    ('1,500.0 h', '60.05 h', '-2.5 h')
    """
    whole, rest = divmod(abs(hundredths), 100)
    text = f"{'-' if hundredths < 0 else ''}{whole:,}.{rest:02d}"
    return f"{text[:-1] if text.endswith('0') else text} h"


def hours_range(low: int, high: int) -> str:
    """Return a range of hundredths of an hour as a reader writes it.

    >>> hours_range(120000, 124010)
    '1,200.0 to 1,240.1 h'
    """
    return f"{hours_text(low).removesuffix(' h')} to {hours_text(high)}"


def without_windows(text: str) -> str:
    """Return words about due points without the exact ranges behind them, the points themselves whole.

    >>> without_windows("480.0 h (432.0–528.0 h) or 2 May 2027 (2 April 2027 to 1 June 2027); 960.0 h (912.0–988.0 h)")
    '480.0 h or 2 May 2027; 960.0 h'
    """
    return _DAY_RANGE.sub("", _HOUR_RANGE.sub("", text))


def going_on(text: str) -> str:
    """Return words about due points with the comma that they need where a sentence goes on after them.

    >>> going_on("480.0 h or 2 May 2027, whichever comes first"), going_on("480.0 h")
    ('480.0 h or 2 May 2027, whichever comes first,', '480.0 h')
    """
    return f"{text}," if text.endswith(WHICHEVER_FIRST) else text


def hours_plain(hundredths: int) -> str:
    """Return hundredths of an hour for a comparison that a checker reads: 1500.00."""
    sign = "-" if hundredths < 0 else ""
    return f"{sign}{abs(hundredths) // 100}.{abs(hundredths) % 100:02d}"
