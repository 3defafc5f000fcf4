"""Numbers, spans, shares and names as the coverage terms print them: 1,000 h; 15 %; 6 months."""

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction

from rules.plain import sum_text
from schemas.quantities import Span, Tolerance

EVENTS = {
    "built": "the build date",
    "shipped": "the shipment",
    "dealer_invoice": "the dealer's invoice",
    "dispatched": "the dispatch to the dealer",
    "retail_invoice": "the retail invoice",
    "retail_delivery": "the retail delivery",
    "first_use": "the first use",
    "first_rental": "the first rental",
    "registered": "the registration",
    "installed": "the installation",
    "started_up": "the start-up",
}
CLAIM_DATES = {
    "failed_on": "the day of the failure",
    "reported_on": "the day on which the failure was reported",
    "part_received_on": "the day on which the failed part was received",
    "repair_began_on": "the day on which the repair began",
    "repair_ended_on": "the day on which the repair ended",
    "submitted_on": "the day on which the claim was submitted",
}
BEARERS = {"owner": "the owner", "dealer": "the dealer", "other_payer": "another payer"}

Told = tuple[str, str]  # what a sentence of a clause is about, such as late, and the sentence


def number_words(value: Decimal | Fraction | int) -> str:
    """Return an exact number with thousands marked and no idle zeros; a fraction where its decimals do not end.

    >>> number_words(Decimal("1500.0")), number_words(Fraction(1, 3)), number_words(Decimal("0.25"))
    ('1,500', '1/3', '0.25')
    """
    exact = Fraction(value)
    rest = exact.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    if rest != 1:
        return f"{exact.numerator:,}/{exact.denominator:,}"
    places = 0
    while (exact * 10**places).denominator != 1:
        places += 1
    sign, digits = ("-" if exact < 0 else ""), abs((exact * 10**places).numerator)
    whole, part = divmod(digits, 10**places)
    return f"{sign}{whole:,}.{part:0{places}d}" if places else f"{sign}{whole:,}"


def hours_words(hours: Decimal | Fraction) -> str:
    """Return hours (h, exact) as a reader writes them.

    >>> hours_words(Decimal("1000.00"))
    '1,000 h'
    """
    return f"{number_words(hours)} h"


def share_words(share: Fraction) -> str:
    """Return a share as a percentage where that is exact, else as a fraction.

    >>> share_words(Fraction(3, 20)), share_words(Fraction(2, 3))
    ('15 %', '2/3')
    """
    percent = number_words(share * 100)
    return number_words(share) if "/" in percent else f"{percent} %"


def amount_words(amount: Decimal, currency: str) -> str:
    """Return an amount of money, whole or with two decimals or more, and the currency."""
    return f"{sum_text(amount)} {currency}"


def span_words(span: Span) -> str:
    return str(span)


def tolerance_words(tolerance: Tolerance, unit: str) -> str:
    """Return a tolerance; ``unit`` is h or days and stands behind a plain number only."""
    if tolerance.share is not None:
        return share_words(tolerance.share)
    assert tolerance.amount is not None, "a tolerance is a share or an amount"
    return f"{number_words(tolerance.amount)} {unit}"


def plain(code: str) -> str:
    """Return a code of the policy as words: wheel_drive is wheel drive."""
    return code.replace("_", " ")


def listed(words: Iterable[str], joint: str = "and") -> str:
    """Return words as a list in a sentence; an empty list reads none.

    >>> listed(["a", "b", "c"]), listed(["a", "b"], "or")
    ('a, b and c', 'a or b')
    """
    *most, last = list(words) or ["none"]
    return f"{', '.join(most)} {joint} {last}" if most else last


def sentence(text: str) -> str:
    """Return text with a capital first letter and a full stop."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."


def told(about: str, text: str) -> Told:
    """Return a sentence of a clause with what it is about, by which a reason finds the sentence it rests on."""
    return about, sentence(text)
