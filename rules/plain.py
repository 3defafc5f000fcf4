"""Days and hours as a reader writes them, in reasons, notes and measures."""

from datetime import date
from functools import lru_cache

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip  # not strftime: it is slow, and follows the machine's locale


@lru_cache(maxsize=8192)
def day_text(day: date) -> str:
    """Return a day as a reader writes it.

    >>> day_text(date(2026, 3, 2))
    '2 March 2026'
    """
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def hours_text(hundredths: int) -> str:
    """Return hundredths of an hour as a reader writes them, at least one decimal.

    >>> hours_text(150000), hours_text(6005), hours_text(-250)
    ('1,500.0 h', '60.05 h', '-2.5 h')
    """
    whole, rest = divmod(abs(hundredths), 100)
    text = f"{'-' if hundredths < 0 else ''}{whole:,}.{rest:02d}"
    return f"{text[:-1] if text.endswith('0') else text} h"


def hours_plain(hundredths: int) -> str:
    """Return hundredths of an hour for a comparison that a checker reads: 1500.00."""
    sign = "-" if hundredths < 0 else ""
    return f"{sign}{abs(hundredths) // 100}.{abs(hundredths) % 100:02d}"
