"""The letter to the dealer: what is paid, why not more, and what to send.

What the dealer is asked for comes first, and what a person at the warranty desk looks at is said next. Coverages go
by their titles. Due points are named, and never the windows round them, nor records of other visits: exact ranges would
be a recipe for an invoice that was never written. Only a record that was refused is named, with why: it has been
written. For the same reason it names no serial number that is on file, and no reading that would fit. The maker's own
clauses are quoted as they were published.
"""

import re
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace

from rules.decision.describe_limits import SUPPOSED
from rules.plain import going_on
from rules.plain import without_windows as bare_points
from rules.policy_book.values import listed
from schemas.decision import Decision, LineDecision, Question, Reason, Remedy
from service.rendering.decision_text import worked_out
from service.rendering.layout import NARROWEST, between, wrapped
from service.rendering.remarks import draft_words_for_dealer
from service.rendering.words import (
    ASKED_CODES,
    OUTCOME_WORDS,
    SERVICE_CODES,
    amount_text,
    asked_and_due,
    cited,
    comparison_text,
    day_text,
    hours_listed,
    inside_sentence,
    is_only_taken,
    item_text,
    lines_named,
    of_other_coverage,
    sentence,
    status_words,
    taken_for_now,
    tidy,
    time_is_over,
    titled,
)

_IN = "  "
_SERVICES = re.compile(
    r"(?:if )?(?P<what>the .+? services(?: of the \w+ side)?) due at (?P<points>.+?) were done (?P<how>in time|by .+?),"
    r" their records"
)
_QUESTION = re.compile(r"records of (?P<what>the .+? services(?: of the \w+ side)?)(?: due at (?P<points>.+))?$")
_DESK_ONLY = frozenset(
    ("window_open", "service_early", "records_open", "papers_came_later", "reading_inferred", "typed_unchecked")
)
_LETTER_OUTCOMES = {**OUTCOME_WORDS, "need_info": "waiting for your answer", "refer": "held for the warranty desk"}
_OPENINGS = {
    "denied": "is not covered",
    "nothing_due": "is settled with nothing due",
    "waiting_for_dealer": "is waiting for your answer",
    "held_for_person": "is held for the warranty desk",
}
_REFUSED_RECORDS = ("records in its window", "records before its window")
_FITTING_ANSWERS = re.compile(r"\s*\(between [\d,.]+ h and [\d,.]+ h\)|;\s*was [\d,.]+ h meant\?")
_CONTRADICTED = re.compile(r", which (?:is below )?[\d,.]+ h on (\d{1,2} \w+ \d{4}) \(([^)]*)\)(?: contradicts)?")
_SHOW = {
    "reading": "If a reading was noted wrongly or the meter was changed, send the record that shows it.",
    "start": "If a day was noted wrongly, send the record that shows it.",
}
_DESK_FACTS = frozenset(("item", "component", "fact", "on file as fitted"))


@dataclass(slots=True)
class _Letter:
    """What a letter says everywhere alike, and what it has told already with the line it was told for."""

    titles: Mapping[str, str]
    told: dict[str, str] = field(default_factory=dict)  # a reason told in full is not told again for another line
    cited: dict[tuple[str | None, ...], str] = field(default_factory=dict)  # by policy, clause and its words

    def title(self, name: str | None) -> str:
        """Return a coverage by its title and version; one without a title by its name."""
        return titled(name, self.titles)


def letter_text(
    decision: Decision,
    width: int = 78,
    titles: Mapping[str, str] | None = None,
    *,
    to_check: Sequence[str] = (),
    drafts: Set[str] = frozenset(),
) -> str:
    """Return the letter to the claim's dealer, in lines of at most ``width`` cells (at least 40).

    ``titles`` are the titles of the coverages by name@version, ``drafts`` those that are not published, ``to_check``
    what looks mistyped in the claim.
    """
    width = max(width, NARROWEST)
    lines = [*between(f"To dealer {decision.dealer}", day_text(decision.decided_on), width), ""]
    lines += wrapped(f"Claim {decision.claim}, machine {decision.serial}", width)
    lines += ["", *_opening(decision, width)]
    trial = draft_words_for_dealer(decision, drafts, titles or {})
    lines += wrapped(trial, width) if trial else []
    lines += _questions(decision, width)
    if to_check:
        lines += ["", "Please check what is written"]
        lines += [row for words in to_check for row in wrapped(sentence(words), width, _IN, _IN * 2)]
    letter = _Letter(titles or {})
    for line in decision.lines:
        lines += ["", *_line(line, decision, width, letter)]
    lines += ["", *wrapped(_how_to_answer(decision), width), ""]
    for caution in decision.cautions:
        lines += wrapped(caution, width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _how_to_answer(decision: Decision) -> str:
    """Return where an answer or an objection goes; the sender's address stands on the letter, not in the decision."""
    asked = any(question.asks == "dealer" for question in decision.questions)
    asked = asked or any(remedy.letter_words for remedy in decision.remedies)
    answer = f"Send {'your answer' if asked else 'what you have to say'} to the warranty desk, whose letter this is"
    return (
        f"{answer}, naming claim {decision.claim}. If you do not agree with the decision, write to the desk in the same"
        " way which line you mean and why: a person looks at it again."
    )


def without_windows(text: str) -> str:
    """Return words of the engine without the exact ranges in them, nor the readings that would fit.

    >>> without_windows("due at 480.0 h (432.0–528.0 h); 960.0 h (912.0–1,008.0 h)")
    'due at 480.0 h; 960.0 h'
    """
    text = _CONTRADICTED.sub(r", which does not agree with that of \1 (\2)", text)
    return tidy(_FITTING_ANSWERS.sub("", bare_points(text)))


def points_text(points: str) -> str:
    """Return due points without their windows as one list: 480, 960 and 1,440 h."""
    bare = without_windows(points)
    return hours_listed(bare) or listed([point.strip() for point in bare.split("; ")])


def _opening(decision: Decision, width: int) -> Iterator[str]:
    status = _OPENINGS.get(decision.status, f"is {status_words(decision)}")
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
        if reason.code in ASKED_CODES:
            continue
        whose = letter.title(reason.policy) if of_other_coverage(reason, line) else ""
        text = _reason(reason, line, letter, cited(reason, whose))
        first = letter.told.setdefault(text, line.line)
        before = letter.cited.setdefault((reason.policy, reason.clause, reason.clause_text), line.line)
        if reason.clause_text and before != line.line:
            clause = f"{cited(replace(reason, clause_text=None), whose)}, as on line {before}"
            text = _reason(reason, line, letter, clause)
        if first != line.line:
            words = f"{sentence(reason.words).removesuffix('.')}, as on line {first}."
            text = f"{taken_for_now(reason)}: {inside_sentence(words)}." if is_only_taken(reason, line) else words
        yield from wrapped(text, width, _IN, _IN * 2)
    for note in line.notes:
        if note.code not in _DESK_ONLY:
            yield from wrapped(f"Note: {sentence(without_windows(note.words))}", width, _IN, _IN * 2)
    yield from worked_out(line, width)
    asked = {q.id for q in decision.questions if q.asks == "dealer" and line.line in q.lines}
    for remedy in decision.remedies:
        # What a held line lacks besides (a price, a photo) is no question above.
        more = not asked or (line.outcome == "refer" and not asked.issuperset(remedy.facts))
        if remedy.line == line.line and remedy.letter_words and more:
            text = remedy_sentence(remedy, decision.decided_on)
            first = letter.told.setdefault(text, line.line)
            yield from wrapped(
                text if first == line.line else f"What may be sent for line {first} counts for this line, too.",
                width,
                _IN,
            )


def _money(line: LineDecision) -> str:
    parts = [f"We pay {amount_text(line.maker_pays)} of {amount_text(line.claimed)} {line.currency} claimed"]
    if not line.claimed:
        parts = [f"We pay {amount_text(line.maker_pays)} {line.currency}; no sum is claimed for this line"]
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
        told = list(_records_told(facts))
    else:
        words = without_windows(sentence(reason.words)).removesuffix(".")
        untold = _DESK_FACTS | {SUPPOSED} if is_only_taken(reason, line) else _DESK_FACTS
        told = [f"{name}: {without_windows(value)}" for name, value in reason.facts if name not in untold]
        if reason.comparison is not None and reason.comparison.quantity not in ("paid share", "serial"):
            told.append(comparison_text(reason.comparison))
    text = f"{words} ({clause})" if clause else words
    if reason.policy not in (None, line.policy) and line.policy is not None:
        text = f"Decided under {letter.title(line.policy)}, not {letter.title(reason.policy)}: {inside_sentence(text)}"
    if is_only_taken(reason, line):
        text = f"{taken_for_now(reason)}: {inside_sentence(text)}"
    elif line.outcome == "pay":  # a ground against the claim would read as a refusal of what is paid
        text = f"For your information, as nothing is cut for it: {inside_sentence(text)}"
    return f"{text}. {sentence('; '.join(told))}".rstrip()


def _records_told(facts: Mapping[str, str]) -> Iterator[str]:
    """Yield what is on file and does not count, with why, whose services count, and since when records are complete."""
    refused = [facts[name] for name in _REFUSED_RECORDS if facts.get(name, "none") != "none"]
    if refused:
        yield f"on file, and not counted: {without_windows('; '.join(refused))}"
    if "booking not counted" in facts:
        yield f"not counted: booking {facts['booking not counted']}"
    if "counts when" in facts:
        yield f"a service counts when it is {facts['counts when']}"
    since = facts.get("records complete from")
    if since is not None and since != "not known":
        yield f"we hold the whole record of this machine from {tidy(since)} on"
    elif since is not None:
        yield "we do not know whether we hold all records of this machine"
    if "declared by the dealer" in facts:
        yield f"you declared that {facts['declared by the dealer']}"
    if "asked on" in facts:
        yield f"the services that are not on file were asked for on {facts['asked on']}"
    if "by the terms" in facts:
        yield facts["by the terms"]


def remedy_sentence(remedy: Remedy, decided_on: str) -> str:
    """Return what a dealer may send to have a line decided again, as a question about services, never as an order.

    Deciding again gives no new time: on a later ISO day ``decided_on`` it says when the time to answer ended.
    """
    ended = remedy.answer_by < decided_on
    by = "" if ended else f" by {day_text(remedy.answer_by)}"
    late = f" The time to answer ended on {day_text(remedy.answer_by)}." if ended else ""
    words = without_windows(remedy.letter_words)
    services = [_SERVICES.fullmatch(part) for part in words.split(" and if ")]
    if all(services):
        done = [f"{_done(m['what'], m['points'])} {m['how']}" for m in services if m]
        whose = "its record" if len(done) == 1 and " was done " in done[0] else "their records"
        return f"If {listed(done)}, send {whose}{by}: the line would then be decided again.{late}"
    return f"If there is such evidence, send it{by}: {words}. The line would then be decided again.{late}"


def _done(what: str, points: str | None) -> str:
    """Return that the services of a kind were done, or the one service where only one due point is named."""
    if not points:
        return f"{what} were done"
    one = ";" not in points
    called = what.replace(" services", " service", 1) if one else what
    return f"{called} due at {going_on(points_text(points.removesuffix(',')))} {'was' if one else 'were'} done"


def _questions(decision: Decision, width: int) -> Iterator[str]:
    """Yield what the dealer is asked for, and what a person looks at without him; nothing where neither is so."""
    asked = [question for question in decision.questions if question.asks == "dealer"]
    if asked:
        yield from ("", "What we need from you")
        for question in asked:
            over = f" {_time_over(question)}" if time_is_over(question, decision) else ""
            yield from wrapped(f"{question_sentence(question, ended=bool(over))}{over}", width, _IN, _IN * 2)
    held = [line.line for line in decision.lines if line.outcome == "refer"]
    held += [line for q in decision.questions if q.asks == "person" for line in q.lines if line not in held]
    if held:
        lines = f"{'Line' if len(held) == 1 else 'Lines'} {listed(held)}"
        helped = any(remedy.line in held and remedy.letter_words for remedy in decision.remedies)
        asked_too = any(line in held for question in asked for line in question.lines)
        by_you = "What you may send to help is said at the line." if helped else "You need do nothing now."
        doubts = list(_doubts(decision))
        if doubts:
            by_you = " ".join(doubts)
        elif asked_too and not helped:
            by_you = ""
        yield ""
        yield from wrapped(f"{lines}: a person at the warranty desk looks at it. {by_you}".rstrip(), width)


def _doubts(decision: Decision) -> Iterator[str]:
    """Yield what a person looks at that the dealer's own papers may clear up: readings and days that cannot be."""
    for about, way_out in _SHOW.items():
        of_it = [q for q in decision.questions if q.asks == "person" and q.about == about]
        if of_it:
            yield f"In doubt is {listed([without_windows(q.words) for q in of_it])}. {way_out}"


def _time_over(question: Question) -> str:
    """Return what is so once the time to answer is over; what came to be decided by that is asked no more."""
    return f"This was {asked_and_due(question)}: what is open is not paid before you answer."


def question_sentence(question: Question, *, ended: bool = False) -> str:
    """Return a question to the dealer without windows, with the day to answer by and the lines that wait.

    A day that has ``ended`` is not named as one to answer by.
    """
    match = _QUESTION.match(without_windows(question.words))
    if question.about == "services" and match is not None:
        done = _done(match["what"], match["points"])
        answer = "its record; if it was not" if done.endswith(" was done") else "their records; if they were not"
        words = f"If {done}, send {answer}, say so"
    else:
        words = sentence(f"please tell us: {without_windows(question.words)}").removesuffix(".")
    by = f", by {day_text(question.answer_by)}" if question.answer_by and not ended else ""
    return f"{words}{by} ({_waiting_for(question)})."


def _waiting_for(question: Question) -> str:
    if not question.lines:
        return "what we pay is converted by it"
    return lines_named(question.lines)
