"""The words an office uses, and numbers and days as a reader writes them."""

import re
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Final

from rules.decision.catalogue import KINDS
from rules.decision.describe_limits import SUPPOSED
from rules.policy_book.values import listed
from schemas.decision import Comparison, Decision, LineDecision, Outcome, Question, Reason, Status

OUTCOME_WORDS: Final[dict[Outcome, str]] = {
    "pay": "paid in full",
    "pay_part": "paid in part",
    "pay_zero": "covered, nothing due",
    "deny": "not covered",
    "need_info": "waiting for an answer",
    "refer": "held for a person",
}
STATUS_WORDS: Final[dict[Status, str]] = {
    "paid_in_full": "paid in full",
    "paid_in_part": "paid in part",
    "nothing_due": "nothing due",
    "denied": "not covered",
    "waiting_for_dealer": "waiting for the dealer's answer",
    "held_for_person": "held for a person",
    "partly_decided": "partly decided",
}
# Of a payout that waits for its conversion: decided, and not yet paid.
_UNPAID_STATUS: Final[dict[Status, str]] = {"paid_in_full": "to be paid in full", "paid_in_part": "to be paid in part"}
STATE_WORDS: Final = {
    "covered": "covered",
    "deny": "not covered",
    "refer": "held for a person",
    "does_not_apply": "does not apply",
}
BEARER_WORDS: Final = {
    "maker": "the maker",
    "owner": "the owner",
    "dealer": "the dealer",
    "other_payer": "another payer",
    "open": "open",
}
SERVICE_CODES: Final = frozenset(
    ("service_missed", "service_late", "service_fluid_not_approved", "service_by_other_hands", "coverage_not_activated")
)

# Reasons that are told as the question they wait for.
ASKED_CODES: Final = frozenset(("fact_open", "dates_contradict"))

TAKEN_FOR_NOW: Final = "Not decided yet, and only taken for now"

_LEADING_ZERO = re.compile(
    r"\b0(\d (?:January|February|March|April|May|June|July|August|September|October|November|December) )"
)
_NEW_SENTENCE = re.compile(r"(?<=[a-z]\. )[a-z]")
_SIGNS = {"<=": "is at most", "<": "is below", ">": "is above", ">=": "is at least", "==": "is", "!=": "is not"}
_DAY_SIGNS = {
    "<=": "is not after",
    "<": "is before",
    ">": "is after",
    ">=": "is not before",
    "==": "is",
    "!=": "is not",
}
_SAID_BY_UNIT = frozenset(("day", "hours"))  # quantities that the unit names already
_HOURS = re.compile(r"\d[\d,]*(?:\.\d+)? h")


def plain(code: str) -> str:
    """Return a code word as words: wheel_drive as wheel drive."""
    return code.replace("_", " ")


def amount_text(amount: Decimal) -> str:
    """Return an amount with thousands marks and its own decimals: 1,150.00."""
    return f"{amount:,f}"


def day_text(day: date | str) -> str:
    """Return a day as a reader writes it, 2 March 2026; text that is no ISO date is returned as it is."""
    try:
        found = day if isinstance(day, date) else date.fromisoformat(day)
    except ValueError:
        return str(day)
    return f"{found.day} {found:%B %Y}"


def tidy(text: str) -> str:
    """Return words of the engine with days written alike, 2 March 2026, and a capital after each full stop."""
    return _NEW_SENTENCE.sub(lambda match: match[0].upper(), _LEADING_ZERO.sub(r"\1", text))


def version_text(name: str | None) -> str:
    """Return name@version as a reader says it: quillfen-wheel-drive 2."""
    return "no coverage" if name is None else name.replace("@", " ")


def titled(name: str | None, titles: Mapping[str, str]) -> str:
    """Return a coverage by its title and version; one without a title by its name."""
    if name is None or name not in titles:
        return version_text(name)
    return f"“{titles[name]}”, version {name.rpartition('@')[2]}"


def reason_words(code: str) -> str:
    """Return the sentence of a reason code; a code without one as words."""
    return KINDS[code].text if code in KINDS else plain(code)


def sentence(words: str) -> str:
    """Return words with a capital and a full stop."""
    words = tidy(words).strip()
    if not words:
        return ""
    return words[0].upper() + words[1:] + ("" if words[-1] in ".!?…" else ".")


def inside_sentence(words: str) -> str:
    """Return a sentence as a part of another one: without its capital and its full stop."""
    words = tidy(words).strip().removesuffix(".")
    return words[:1].lower() + words[1:] if words[1:2].islower() or words[1:2] == " " else words


def comparison_text(comparison: Comparison) -> str:
    """Return a comparison in words that can be checked: 1,500.0 h is above 528.0 h (hours at failure …)."""
    signs = _DAY_SIGNS if comparison.unit == "day" else _SIGNS
    left, right = (_value(text, comparison.unit) for text in (comparison.left, comparison.right))
    what = "" if comparison.quantity in _SAID_BY_UNIT else f" ({comparison.quantity})"
    return f"{left} {signs[comparison.operator]} {right}{what}"


def _value(text: str, unit: str) -> str:
    if unit == "day":
        return day_text(text)
    if unit == "h":
        hours = f"{Decimal(text):,.2f}"
        return f"{hours[:-1] if hours.endswith('0') else hours} h"
    return f"{text} months" if unit == "months" else text


def taken_for_now(reason: Reason) -> str:
    """Return how a reason that is not decided yet begins: with the hours that it supposes, if any."""
    hours = dict(reason.facts).get(SUPPOSED)
    return TAKEN_FOR_NOW if hours is None else f"{TAKEN_FOR_NOW}, {SUPPOSED} {hours}"


def status_words(decision: Decision) -> str:
    """Return the status of a claim; one whose whole payout waits for an exchange rate is not said to be paid."""
    waits = bool(decision.payout.held) and not decision.payout.amount
    return _UNPAID_STATUS.get(decision.status, "") * waits or STATUS_WORDS[decision.status]


def is_only_taken(reason: Reason, line: LineDecision) -> bool:
    """Return whether a reason of an open line holds only until the fact is known; it must not read as a finding."""
    if not line.open or line.outcome not in ("need_info", "refer"):
        return False
    if reason.code.startswith("prorated") or reason.code == "service_lowers_share":
        return True
    return reason.code in KINDS and KINDS[reason.code].effect == "deny"


def item_text(line: LineDecision) -> str:
    """Return what a line is about: the dealer's own words, the kind of item, the component and its side."""
    component = "" if line.component is None else plain(line.component)
    side = "" if line.position == "none" else line.position
    about = " ".join(part for part in (side, component) if part)
    kind = f"{line.item}, {about}" if about else line.item
    return f"{line.text} ({kind})" if line.text else kind


def cited(reason: Reason, whose: str = "") -> str:
    """Return the clause of a reason, quoted where the words are the maker's own: clause 5.2: “…”.

    ``whose`` names the coverage that the clause stands in, where the line does not.
    """
    if reason.clause is None:
        return whose
    text = (reason.clause_text or "").strip()
    named = f"clause {reason.clause} of {whose}" if whose else f"clause {reason.clause}"
    if not text:
        return named
    if reason.clause_quoted:
        return f"{named}: “{text}”"
    return f"{named}, in plain words: {text.removesuffix('.')}"


def of_other_coverage(reason: Reason, line: LineDecision) -> bool:
    """Return whether a reason rests on a coverage that the line does not name: one of those that do not apply to it."""
    return line.policy is None and reason.policy is not None


def hours_listed(points: str) -> str | None:
    """Return due points as one list, "480, 960 and 1,440 h"; None when they are not all hours.

    >>> hours_listed("480.0 h; 960.0 h; 1,440.0 h")
    '480, 960 and 1,440 h'
    """
    each = [point.strip() for point in re.split(r"; |, (?=\d[\d,]*\.\d)", points)]
    if not each or not all(_HOURS.fullmatch(point) for point in each):
        return None
    return f"{listed([point.removesuffix(' h').removesuffix('.0') for point in each])} h"


def lines_named(lines: Sequence[str]) -> str:
    """Return lines of a claim by name: line 1; lines 1 and 2."""
    return f"{'line' if len(lines) == 1 else 'lines'} {listed(lines)}"


def time_is_over(question: Question, decision: Decision) -> bool:
    """Return whether the last day to answer a question lies before that of the decision: no new time is given."""
    return question.answer_by is not None and question.answer_by < decision.decided_on


def asked_and_due(question: Question) -> str:
    """Return when a question was asked whose time to answer is over, and until when it was to be answered."""
    asked = f"asked on {day_text(question.asked_on)}, " if question.asked_on else ""
    return f"{asked}due by {day_text(question.answer_by or '')}, and not answered"
