"""The letter to the dealer: what is paid, why not more, and what to send.

What the dealer is asked for comes first, and what a person at the warranty desk looks at is said next. Coverages go
by their titles. Due points are named, and never the windows round them, nor records of other visits: exact ranges would
be a recipe for an invoice that was never written. The maker's own clauses are quoted as they were published.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from schemas.decision import Decision, LineDecision, Question, Reason, Remedy
from service.rendering.decision_text import worked_out
from service.rendering.layout import NARROWEST, between, wrapped
from service.rendering.words import (
    OUTCOME_WORDS,
    SERVICE_CODES,
    STATUS_WORDS,
    TAKEN_FOR_NOW,
    amount_text,
    cited,
    comparison_text,
    day_text,
    hours_listed,
    inside_sentence,
    is_only_taken,
    item_text,
    listed,
    sentence,
    tidy,
    version_text,
)

_IN = "  "
_HOUR_RANGE = re.compile(r"\s*\([\d,.]+ ?(?: h)?\s*(?:–|-|to)\s*[\d,.]+ h\)")
_DAY_RANGE = re.compile(r"\s*\(\d{1,2} \w+ \d{4} (?:to|–) \d{1,2} \w+ \d{4}\)")
_SERVICES = re.compile(
    r"(?P<start>.*?)(?P<what>the .+? services) due at (?P<points>.+?) were done (?P<how>in time|by .+?), their records$"
)
_QUESTION = re.compile(r"records of (?P<what>the .+? services)(?: due at (?P<points>.+))?$")
_DESK_ONLY = frozenset(("window_open", "service_early", "records_open", "papers_came_later", "reading_inferred"))
_LETTER_OUTCOMES = {**OUTCOME_WORDS, "need_info": "waiting for your answer", "refer": "held for the warranty desk"}
_OPENINGS = {
    "denied": "is not covered",
    "nothing_due": "is settled with nothing due",
    "waiting_for_dealer": "is waiting for your answer",
    "held_for_person": "is held for the warranty desk",
}
_TOLD_FACTS = frozenset(("records complete from",))


@dataclass(slots=True)
class _Letter:
    """What a letter says everywhere alike, and what it has told already with the line it was told for."""

    titles: Mapping[str, str]
    reply_by: str | None
    told: dict[str, str] = field(default_factory=dict)  # a reason told in full is not told again for another line
    quoted: dict[tuple[str | None, str | None], str] = field(default_factory=dict)  # by policy and clause

    def title(self, name: str | None) -> str:
        """Return a coverage by its title and version; one without a title by its name."""
        if name is None or name not in self.titles:
            return version_text(name)
        return f"“{self.titles[name]}”, version {name.rpartition('@')[2]}"


def letter_text(
    decision: Decision, width: int = 78, reply_by: str | None = None, titles: Mapping[str, str] | None = None
) -> str:
    """Return the letter to the claim's dealer, in lines of at most ``width`` cells (at least 40).

    ``reply_by`` is the ISO day until which records that would change a line may be sent; None leaves the day out.
    ``titles`` are the titles of the coverages by name@version.
    """
    width = max(width, NARROWEST)
    lines = [*between(f"To dealer {decision.dealer}", day_text(decision.decided_on), width), ""]
    lines += wrapped(f"Claim {decision.claim}, machine {decision.serial}", width)
    lines += ["", *_opening(decision, width)]
    lines += _questions(decision, width)
    letter = _Letter(titles or {}, reply_by)
    for line in decision.lines:
        lines += ["", *_line(line, decision, width, letter)]
    lines.append("")
    for caution in decision.cautions:
        lines += wrapped(caution, width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def without_windows(text: str) -> str:
    """Return words of the engine without the exact ranges in them.

    >>> without_windows("due at 480.0 h (432.0–528.0 h); 960.0 h (912.0–1,008.0 h)")
    'due at 480.0 h; 960.0 h'
    """
    return tidy(_DAY_RANGE.sub("", _HOUR_RANGE.sub("", text)))


def points_text(points: str) -> str:
    """Return due points without their windows as one list: 480, 960 and 1,440 h."""
    plain_points = without_windows(points)
    return hours_listed(plain_points) or listed([point.strip() for point in plain_points.split("; ")])


def _opening(decision: Decision, width: int) -> Iterator[str]:
    status = _OPENINGS.get(decision.status, f"is {STATUS_WORDS[decision.status]}")
    amount = decision.payout.amount
    is_open = bool(decision.payout.held) or any(line.outcome in ("need_info", "refer") for line in decision.lines)
    pays = f"We pay you {amount_text(amount)} {decision.payout.currency}" if amount else "We pay nothing"
    more = ("" if not is_open else " for now" if amount else " yet") if amount or is_open else ""
    yield from wrapped(f"Your claim {status}. {pays}{more}.", width)
    if decision.payout.rates:
        yield from wrapped(f"Converted at {tidy('; '.join(decision.payout.rates))}.", width)
    for held in decision.payout.held:
        yield from wrapped(f"Not yet paid: {tidy(held)}.", width)


def _line(line: LineDecision, decision: Decision, width: int, letter: _Letter) -> Iterator[str]:
    yield from wrapped(f"Line {line.line}, {item_text(line)}: {_LETTER_OUTCOMES[line.outcome]}.", width)
    yield from wrapped(_money(line), width, _IN)
    for reason in line.reasons:
        if reason.code == "fact_open":
            continue
        text = _reason(reason, line, letter, cited(reason))
        first = letter.told.setdefault(text, line.line)
        quoted = letter.quoted.setdefault((reason.policy, reason.clause), line.line)
        if reason.clause_text and quoted != line.line:
            text = _reason(reason, line, letter, f"clause {reason.clause}, as on line {quoted}")
        if first != line.line:
            words = f"{sentence(reason.words).removesuffix('.')}, as on line {first}."
            text = f"{TAKEN_FOR_NOW}: {inside_sentence(words)}." if is_only_taken(reason, line) else words
        yield from wrapped(text, width, _IN, _IN * 2)
    for note in line.notes:
        if note.code not in _DESK_ONLY:
            yield from wrapped(f"Note: {sentence(without_windows(note.words))}", width, _IN, _IN * 2)
    yield from worked_out(line, width)
    asked = any(question.asks == "dealer" and line.line in question.lines for question in decision.questions)
    for remedy in decision.remedies:
        if remedy.line == line.line and remedy.letter_words and not asked:
            text = remedy_sentence(remedy, letter.reply_by)
            first = letter.told.setdefault(text, line.line)
            yield from wrapped(
                text if first == line.line else f"What may be sent for line {first} counts for this line, too.",
                width,
                _IN,
            )


def _money(line: LineDecision) -> str:
    parts = [f"We pay {amount_text(line.maker_pays)} of {amount_text(line.claimed)} {line.currency} claimed"]
    if line.added:
        parts.append(f"this includes {amount_text(line.added)} that the terms grant above the claim")
    if line.owner_owes:
        parts.append(f"the owner owes you {amount_text(line.owner_owes)}")
    if line.dealer_bears:
        parts.append(f"{amount_text(line.dealer_bears)} is yours to bear and may not be billed to the owner")
    if line.other_payer:
        parts.append(f"{amount_text(line.other_payer)} is for another payer")
    if line.open:
        parts.append(f"{amount_text(line.open)} is open and may not be billed to the owner until it is decided")
    return "; ".join(parts) + "."


def _reason(reason: Reason, line: LineDecision, letter: _Letter, clause: str) -> str:
    if reason.code in SERVICE_CODES:
        facts = dict(reason.facts)
        words = sentence(reason.words).removesuffix(".")
        if "due" in facts:
            words += f", due at {points_text(facts['due'])}"
        told = [f"{name}: {tidy(value)}" for name, value in reason.facts if name in _TOLD_FACTS]
    else:
        words = without_windows(sentence(reason.words)).removesuffix(".")
        said = {"item", "component", "fact"}
        told = [f"{name}: {without_windows(value)}" for name, value in reason.facts if name not in said]
        if reason.comparison is not None and reason.comparison.quantity != "paid share":
            told.append(comparison_text(reason.comparison))
    text = f"{words} ({clause})" if clause else words
    if reason.policy not in (None, line.policy) and line.policy is not None:
        text = f"Decided under {letter.title(line.policy)}, not {letter.title(reason.policy)}: {inside_sentence(text)}"
    if is_only_taken(reason, line):
        text = f"{TAKEN_FOR_NOW}: {inside_sentence(text)}"
    return f"{text}. {'; '.join(sentence(fact).removesuffix('.') for fact in told)}{'.' if told else ''}".rstrip()


def remedy_sentence(remedy: Remedy, reply_by: str | None) -> str:
    """Return what a dealer may send to have a line decided again, as a question about services, never as an order."""
    by = f" by {day_text(reply_by)}" if reply_by else ""
    words = without_windows(remedy.letter_words)
    match = _SERVICES.match(words)
    if match is not None:
        start = match["start"].strip()
        what = f"{match['what']} due at {points_text(match['points'])}"
        if start in ("", "if"):
            return f"If {what} were done {match['how']}, send their records{by}: the line would then be decided again."
    return f"If there is such evidence, send it{by}: {words}. The line would then be decided again."


def _questions(decision: Decision, width: int) -> Iterator[str]:
    """Yield what the dealer is asked for, and what a person looks at without him; nothing where neither is so."""
    asked = [question for question in decision.questions if question.asks == "dealer"]
    if asked:
        yield from ("", "What we need from you")
        for question in asked:
            yield from wrapped(question_sentence(question), width, _IN, _IN * 2)
    held = [line.line for line in decision.lines if line.outcome == "refer"]
    held += [line for q in decision.questions if q.asks == "person" for line in q.lines if line not in held]
    if held:
        lines = f"{'Line' if len(held) == 1 else 'Lines'} {listed(held)}"
        helped = any(remedy.line in held and remedy.letter_words for remedy in decision.remedies)
        nothing_now = "" if helped else " You need do nothing now."
        yield ""
        yield from wrapped(f"{lines}: a person at the warranty desk looks at it.{nothing_now}", width)


def question_sentence(question: Question) -> str:
    """Return a question to the dealer without windows, with the day to answer by and the lines that wait."""
    match = _QUESTION.match(without_windows(question.words))
    if question.about == "services" and match is not None:
        what = match["what"] + (f" due at {points_text(match['points'])}" if match["points"] else "")
        words = f"If {what} were done, send their records; if they were not, say so"
    else:
        words = sentence(f"please tell us: {without_windows(question.words)}").removesuffix(".")
    by = f", by {day_text(question.answer_by)}" if question.answer_by else ""
    lines = "line" if len(question.lines) == 1 else "lines"
    return f"{words}{by} ({lines} {listed(list(question.lines))})."
