"""What the desk reads: a decision line by line, with every reason, the arithmetic, and what would change it."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from rules.decision.describe_limits import SUPPOSED
from rules.plain import going_on
from rules.policy_book.values import listed
from schemas.decision import Considered, Decision, LineDecision, Question, Reason, Remedy, Step
from service.rendering.layout import NARROWEST, Row, between, joined, sum_lines, wrapped
from service.rendering.words import (
    ASKED_CODES,
    BEARER_WORDS,
    OUTCOME_WORDS,
    STATE_WORDS,
    amount_text,
    asked_and_due,
    cited,
    comparison_text,
    day_text,
    inside_sentence,
    is_only_taken,
    item_text,
    of_other_coverage,
    plain,
    reason_words,
    sentence,
    status_words,
    taken_for_now,
    tidy,
    time_is_over,
    version_text,
)

_IN = "  "
_DEEP = "     "
_UNTOLD = frozenset(("fact", "counts when"))  # a key, and what the desk has in the terms; the letter tells it
_ASKS = re.compile(r"(?:(?<=^)|(?<= and ))(?=(?:whether|who|which|what|when|how) )")  # a question among things to send
_STEP_WORDS = {
    "exchange": "converted",
    "added": "granted above the claim",
    "allowance": "allowed",
    "deductible": "deductible",
    "caps": "cap",
    "open": "held",
    "not_covered": "not covered",
    "either_or": "one of two kinds of items",
}


def decision_text(decision: Decision, width: int = 100, remarks: Iterable[str] = ()) -> str:
    """Return the decision as the desk reads it, in lines of at most ``width`` cells (at least 40), without colour.

    ``remarks`` are said beside it and are no part of the decision.
    """
    width = max(width, NARROWEST)
    lines = list(_head(decision, width))
    for remark in remarks:
        lines += wrapped(f"Note: {remark}", width, _IN, _IN * 2)
    shown = _Shown()
    for line in decision.lines:
        lines += ["", *_line(line, decision, width, shown)]
    lines += _claim_level(decision, width)
    for caution in decision.cautions:
        lines += wrapped(caution, width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


@dataclass(slots=True)
class _Shown:
    """What was told already, with the line it was told for; the same thing is not told twice."""

    reasons: dict[Reason, str] = field(default_factory=dict)
    remedies: dict[str, str] = field(default_factory=dict)
    considered: dict[tuple[Considered, ...], str] = field(default_factory=dict)


def _head(decision: Decision, width: int) -> Iterator[str]:
    left = f"Claim {decision.claim}, machine {decision.serial}, dealer {decision.dealer}"
    yield from between(left, f"decided on {day_text(decision.decided_on)}", width)
    status, amount = status_words(decision).capitalize(), decision.payout.amount
    is_open = bool(decision.payout.held) or any(line.outcome in ("need_info", "refer") for line in decision.lines)
    payout = f"{amount_text(amount)} {decision.payout.currency}" if amount else f"nothing{' yet' if is_open else ''}"
    yield from wrapped(f"{status}: the maker pays the dealer {payout}.", width)
    if decision.payout.rates:
        yield from wrapped(f"Converted at {tidy('; '.join(decision.payout.rates))}.", width, _IN)
    for held in decision.payout.held:
        yield from wrapped(f"Held, and not in this sum: {tidy(held)}.", width, _IN)
    for question in decision.questions:
        if not question.lines:
            yield from _question(question, decision, width)


def _line(line: LineDecision, decision: Decision, width: int, shown: _Shown) -> Iterator[str]:
    yield from between(f"{line.line}   {item_text(line)}", OUTCOME_WORDS[line.outcome], width)
    yield from joined([*amounts_of(line), line.currency], width, _IN, "   ")
    yield from _waiting(line, decision, width)
    for reason in line.reasons:
        if reason.code not in ASKED_CODES:
            yield from _reason(reason, line, width, shown)
    for note in line.notes:
        if shown.reasons.setdefault(note, line.line) == line.line:
            yield from wrapped(f"Note: {_told(note)}", width, _IN, _IN * 2)
    yield from worked_out(line, width)
    yield from _remedies(line, decision, width, shown)
    yield from _considered(line, width, shown)


def _considered(line: LineDecision, width: int, shown: _Shown) -> Iterator[str]:
    """Yield the coverages that were looked at beside the governing one, those with the same answer together."""
    if not line.considered or shown.considered.setdefault(line.considered, line.line) != line.line:
        return
    answers: dict[str, list[str]] = {}
    for other in line.considered:
        codes = [inside_sentence(reason_words(code)) for code in other.why.split(", ")]
        answer = STATE_WORDS.get(other.outcome, plain(other.outcome))
        if other.why and other.why != other.outcome:
            answer += f" ({'; '.join(codes)})"
        answers.setdefault(answer, []).append(version_text(other.policy))
    for answer, names in answers.items():
        each = list(dict.fromkeys(names))
        told = answer.replace("does not apply", "do not apply", 1) if len(each) > 1 else answer
        yield from wrapped(f"Also looked at {listed(each)}: {told}.", width, _IN, _IN * 2)


def amounts_of(line: LineDecision) -> list[str]:
    """Return the line's amounts with their names: what was claimed and who bears it, without the nothings."""
    split = (
        ("granted above the claim", line.added),
        ("maker pays", line.maker_pays),
        ("owner owes", line.owner_owes),
        ("dealer bears", line.dealer_bears),
        ("another payer", line.other_payer),
        ("waiting" if line.outcome == "need_info" else "held", line.open),
    )
    named = [f"{name} {amount_text(amount)}" for name, amount in split if amount or name == "maker pays"]
    return [f"claimed {amount_text(line.claimed)}", *named]


def _waiting(line: LineDecision, decision: Decision, width: int) -> Iterator[str]:
    told = {reason.facts[0][1] for reason in line.reasons if reason.code in ASKED_CODES and reason.facts}
    for question in decision.questions:
        if line.line not in question.lines:
            continue
        told.discard(question.id)
        yield from _question(question, decision, width)
    for reason in line.reasons:
        if reason.code in ASKED_CODES and (not reason.facts or reason.facts[0][1] in told):
            yield from wrapped(sentence(reason.words), width, _IN, _IN * 2)


def _question(question: Question, decision: Decision, width: int) -> Iterator[str]:
    who = "Waiting for the dealer" if question.asks == "dealer" else "Held for a person"
    by = f", by {day_text(question.answer_by)}" if question.answer_by else ""
    if time_is_over(question, decision):
        by = f"; {asked_and_due(question)}: it stays open until it is answered"
    yield from wrapped(f"{who}: {tidy(question.words)}{by}.", width, _IN, _IN * 2)


def _reason(reason: Reason, line: LineDecision, width: int, shown: _Shown) -> Iterator[str]:
    first_told = shown.reasons.setdefault(reason, line.line)
    whose = version_text(reason.policy) if of_other_coverage(reason, line) else ""
    text = _told(reason, short=first_told != line.line, whose=whose)
    falls_back = reason.policy is not None and reason.policy != line.policy and line.policy is not None
    if falls_back:
        text = f"Decided under {version_text(line.policy)}, not {version_text(reason.policy)}: {inside_sentence(text)}"
    elif reason.bearer is not None and _bears(line, reason.bearer):
        text += f" Borne by {BEARER_WORDS[reason.bearer]}."
    if is_only_taken(reason, line):
        text = f"{taken_for_now(reason)}: {inside_sentence(text)}"
    if first_told != line.line:
        yield from wrapped(f"{text.removesuffix('.')}, as on line {first_told}.", width, _IN, _IN * 2)
        return
    yield from wrapped(text.removesuffix(".") + ".", width, _IN, _IN * 2)
    yield from joined([*facts_of(reason, line), *_comparison(reason)], width, _DEEP)


def _bears(line: LineDecision, bearer: str) -> bool:
    """Return whether a bearer bears anything of this line; of several reasons only one moves the money."""
    split = {"owner": line.owner_owes, "dealer": line.dealer_bears, "other_payer": line.other_payer}
    return bool(split.get(bearer, line.maker_pays))


def _told(reason: Reason, short: bool = False, whose: str = "") -> str:
    """Return the words of a reason with its clause; records are named where the facts do not."""
    words = sentence(reason.words)
    clause = cited(replace(reason, clause_text=None) if short else reason, whose)
    records = [
        record for record in reason.records if ":" not in record and all(record not in v for _, v in reason.facts)
    ]
    records = [record for record in records if record not in words]
    if clause:
        words = f"{words.removesuffix('.')} ({clause})."
    return f"{words.removesuffix('.')}: {', '.join(records)}." if records else words


def facts_of(reason: Reason, line: LineDecision) -> list[str]:
    """Return the facts of a reason that its line does not show already."""
    said = {("item", line.item), ("component", line.component or "not stated")}
    # The hours that a reason supposes stand before it, where it is told as not decided.
    untold = _UNTOLD | {SUPPOSED} if is_only_taken(reason, line) else _UNTOLD
    return [
        f"{name}: {tidy(value)}" for name, value in reason.facts if (name, value) not in said and name not in untold
    ]


def _comparison(reason: Reason) -> list[str]:
    """Return the comparison; that a share is below the whole is said by the share itself."""
    if reason.comparison is None or reason.comparison.quantity == "paid share":
        return []
    return [comparison_text(reason.comparison)]


def worked_out(line: LineDecision, width: int) -> Iterator[str]:
    """Yield the arithmetic. Of an open line only what is paid now is sure, so nobody is named for the rest."""
    if not line.maker_pays and (line.open or line.outcome == "deny"):
        return
    title = "How the part paid now was worked out" if line.open else "How it was worked out"
    yield from wrapped(title, width, _IN)
    yield from sum_lines([_step_row(step, bool(line.open)) for step in line.steps], width, _DEEP)


def _step_row(step: Step, is_open: bool) -> Row:
    words = step_words(step)
    moved = step.before - step.after
    if not moved:
        return Row(words, "", amount_text(step.after))
    who = "" if is_open or step.bearer is None else f" {BEARER_WORDS[step.bearer].removeprefix('the ')}"
    sign = "−" if moved > 0 else "+"
    return Row(words, f"{sign}{amount_text(abs(moved))}{who}", amount_text(step.after))


def step_words(step: Step) -> str:
    """Return what a step does, with its clause: deductible (clause 8): 100 a claim."""
    clause = f" (clause {step.clause})" if step.clause is not None else ""
    if step.step == "claimed":
        return f"claimed: {tidy(step.words)}" if step.words != "as claimed" else "as claimed"
    if step.step == "share":
        return f"× {step.factor or 'a fixed price'} share{clause}: {tidy(step.words)}"
    label = _STEP_WORDS[step.step]
    told = tidy(step.words.removeprefix(f"{label} ").removeprefix(label))
    return f"{label}{clause}: {told}" if told else f"{label}{clause}"


def _remedies(line: LineDecision, decision: Decision, width: int, shown: _Shown) -> Iterator[str]:
    for remedy in decision.remedies:
        if remedy.line == line.line:
            first = shown.remedies.setdefault(remedy.desk_words, line.line)
            what = _ASKS.sub("an answer on ", tidy(remedy.desk_words))
            what = what if first == line.line else f"the same as on line {first}"
            words = (
                f"What would change it (desk only): {going_on(what)} would bring {_brought(remedy, line, decision)}."
            )
            if remedy.outcome in ("need_info", "refer"):
                if {question.id for question in decision.questions}.issuperset(remedy.facts):
                    continue  # told as a question already
                words = f"What it waits for (desk only): {what.removesuffix(',')}."
            yield from wrapped(words, width, _IN, _IN * 2)


def _brought(remedy: Remedy, line: LineDecision, decision: Decision) -> str:
    """Return what a remedy brings to what: its line, any other that loses by it, and the payout where another changes.

    Of a line that gains by it too, its own remedy tells.
    """
    brought = [f"this line to {amount_text(remedy.maker_pays)} {line.currency} ({OUTCOME_WORDS[remedy.outcome]})"]
    now = {other.line: other for other in decision.lines}
    brought += [
        f"line {name} down to {amount_text(amount)} {now[name].currency}"
        for name, amount in remedy.also
        if amount < now[name].maker_pays
    ]
    if remedy.payout is not None:
        payout, held = remedy.payout, [sums.partition(":")[0] for sums in remedy.payout.held]
        besides = f", besides {listed(held)} held" if held else ""
        brought.append(f"the payout to {amount_text(payout.amount)} {payout.currency}{besides}")
    return listed(brought)


def _claim_level(decision: Decision, width: int) -> Iterator[str]:
    yield ""
    for proposal in decision.proposals:
        records = f" ({', '.join(proposal.records)})" if proposal.records else ""
        words = (
            f"Proposed to a person: {plain(proposal.kind)} from {proposal.from_whom}: {tidy(proposal.words)}{records}."
        )
        yield from wrapped(words, width, "", _IN)
    names = looked_at(decision)
    if names:
        yield from wrapped(f"Looked at: {listed([version_text(name) for name in names])}.", width, "", _IN)
    digests = (
        f"claim file {short_digest(decision.digests.claim_file)}, outcome {short_digest(decision.digests.outcome)}"
    )
    yield from wrapped(f"Decided by {decision.engine}; {digests}.", width, "", _IN)


def looked_at(decision: Decision) -> list[str]:
    """Return every version that stands anywhere in the decision, those that turned out not to apply included."""
    found: set[str | None] = {name for name, _ in decision.digests.policies}
    for line in decision.lines:
        found |= {line.policy, *(reason.policy for reason in (*line.reasons, *line.notes))}
        found |= {other.policy for other in line.considered}
    return sorted(name for name in found if name is not None)


def short_digest(digest: str) -> str:
    """Return the first twelve digits of a digest, enough to compare by eye."""
    return digest[: len("sha256:") + 12]
