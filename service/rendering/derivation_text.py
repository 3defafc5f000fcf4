"""How a decision was derived: which version governs and why, the measures, the rules that fired with their facts."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rules.history.readings import CLAIM_READING, REPAIR_READING
from schemas.decision import Decision, Firing, LineDecision, Measure
from service.rendering.decision_text import looked_at, step_words
from service.rendering.layout import NARROWEST, wrapped
from service.rendering.words import (
    BEARER_WORDS,
    amount_text,
    day_text,
    inside_sentence,
    lines_named,
    plain,
    reason_words,
    tidy,
    version_text,
)

_IN = "  "
_GOVERNS = "governs because"
_ISO_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
_POINT = re.compile(r"(?:(?P<group>.+): )?(?P<duty>\w+) point (?P<number>\d+)")
_SCHEDULE = re.compile(r"(?:(?P<group>.+): )?(?P<duty>\w+): schedule starts")
_LIMIT = re.compile(r"(.+)\.ends\[(\d+)\]")
_GROUP_AND_LIMIT = re.compile(r"(.+): (\S+\.ends\[\d+\])")
_GROUP = re.compile(r"(?P<what>[^/:]+)(?:/(?P<side>(?!carve_outs)\w+))?(?:/(?P<path>carve_outs\[\d+\]))?")
_JOINS = frozenset(("g", "i", "x"))  # numbers that only join facts to each other
# Where a rule holds, as its name ends.
_WHERE_WORDS = {"part": "a part is paid", "zero": "nothing is paid"}
_RECORD_WORDS = {CLAIM_READING: "read at the failure", REPAIR_READING: "read at the repair"}
_COVERED = (
    "The claim file is all that the decision may use: machine, service records and readings, claim, dealer, the table"
    " rows that can matter, earlier payments, decimals of the currencies, and the day of the decision."
)
_KIND_WORDS = {
    "over": "limit",
    "used": "hours used",
    "due": "service due",
    "share": "share paid",
    "altered": "alteration",
}


def derivation_text(
    decision: Decision,
    width: int = 100,
    clauses: Mapping[str, Mapping[str, str]] | None = None,
    digests: Mapping[str, str] | None = None,
) -> str:
    """Return the derivation of a decision as text, in lines of at most ``width`` cells (at least 40).

    ``clauses`` are the clause numbers by clause path, for each policy by name@version; a path without a number is told
    in words. ``digests`` are those of the policies by name@version, for the versions that were looked at and turned out
    not to apply.
    """
    width = max(width, NARROWEST)
    reading = _Reading(decision.lines, clauses or {}, _duties(decision, "unanswered") - _duties(decision, "missed"))
    lines = [*_governing(decision, width), "", *_measures(decision, width, reading)]
    lines += ["", *_firings(decision, width, reading)]
    for section in (_settlement(decision, width), _open_facts(decision, width)):
        lines += ["", *section] if section else []
    lines += ["", *_digests(decision, width, digests or {})]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _duties(decision: Decision, state: str) -> frozenset[tuple[str | None, str]]:
    """Return policy and name of each duty that has a due point in a state."""
    found = [(m.policy, _POINT.fullmatch(m.name)) for m in decision.measures if m.value.startswith(f"{state} window")]
    return frozenset((policy, point["duty"]) for policy, point in found if point is not None)


def _governing(decision: Decision, width: int) -> Iterator[str]:
    yield from wrapped("Which version governs, and why", width)
    found = [measure for measure in decision.measures if measure.name == _GOVERNS]
    for measure in found:
        words = f"{version_text(measure.policy)}: {tidy(measure.value)}."
        yield from wrapped(words, width, _IN, _IN * 2)
    if not found:
        yield from wrapped("No version governs this machine.", width, _IN)


def _measures(decision: Decision, width: int, reading: "_Reading") -> Iterator[str]:
    yield "Measures"
    policy: str | None = None
    for measure in decision.measures:
        if measure.name == _GOVERNS:
            continue
        if measure.policy != policy:
            policy = measure.policy
            yield from wrapped(f"under {version_text(policy)}", width, _IN)
        yield from wrapped(_measure(measure, reading), width, _IN * 2, _IN * 3)


def _measure(measure: Measure, reading: "_Reading") -> str:
    point = _POINT.fullmatch(measure.name)
    limit, schedule = _GROUP_AND_LIMIT.fullmatch(measure.name), _SCHEDULE.fullmatch(measure.name)
    name = plain(measure.name)
    of_duty = point or schedule
    if of_duty is not None:
        whose = f"{reading.group(measure.policy or '', of_duty['group'])}: " if of_duty["group"] else ""
        what = f", due point {point['number']}" if point is not None else ": schedule starts"
        name = f"{whose}{plain(of_duty['duty'])}{what}"
    elif limit is not None and measure.policy is not None:
        name = f"{reading.group(measure.policy, limit[1])}: {reading.clause(measure.policy, limit[2])}"
    elif measure.name.endswith(": start of term") and measure.policy is not None:
        name = f"{reading.group(measure.policy, measure.name.removesuffix(': start of term'))}: start of term"
    named = [_RECORD_WORDS.get(record, record) for record in measure.records]
    named = [record for record in named if f"({record})" not in measure.value]  # a sum names its records itself
    records = f" ({', '.join(named)})" if named else ""
    return f"{name}: {measure_words(measure.value)}{records}"


def measure_words(value: str) -> str:
    """Return a measure's value as a reader writes it.

    >>> measure_words("missed window 432.0 to 528.0 h")
    'missed, window 432.0 to 528.0 h'
    """
    value = re.sub(r"^(\w[\w: ]*?) window(?= )", r"\1, window", value).removesuffix(" window")
    value = re.sub(r"^unanswered\b", "no record on file, and asked for", value)
    return tidy(_ISO_DAY.sub(lambda m: day_text(m[0]), value))


def _hours(hundredths: str) -> str:
    text = f"{int(hundredths) // 100:,}.{int(hundredths) % 100:02d}"
    return text[:-1] if text.endswith("0") else text


def _firings(decision: Decision, width: int, reading: "_Reading") -> Iterator[str]:
    is_open = bool(decision.questions) or any(m.value.partition(":")[0] == "open" for m in decision.measures)
    taken = " where the open facts are as the lines take them" if is_open else ""
    yield from wrapped(f"Rules that fired{taken}, with the facts they matched", width)
    if not decision.firings:
        yield from wrapped("none: no rule refuses, holds or shortens a line.", width, _IN)
    policy: str | None = None
    for firing in decision.firings:
        if firing.policy != policy:
            policy = firing.policy
            yield from wrapped(f"under {version_text(policy)}", width, _IN)
        yield from _firing(firing, width, reading)


def _settlement(decision: Decision, width: int) -> list[str]:
    """Return each step of the settlement that moved money; nothing where none did."""
    found: list[str] = []
    for line in decision.lines:
        for step in line.steps:
            if step.before != step.after and step.step not in ("not_covered", "open"):
                sign = "−" if step.before > step.after else "+"
                moved = f"{sign}{amount_text(abs(step.before - step.after))}"
                if step.bearer is not None and not line.open:
                    moved += f", borne by {BEARER_WORDS[step.bearer]}"
                words = f"line {line.line}: {step_words(step)}: {moved}; {amount_text(step.after)} {line.currency} left"
                found += wrapped(f"{words}.", width, _IN, _IN * 2)
    return [*wrapped("What the settlement moved", width), *found] if found else []


def _open_facts(decision: Decision, width: int) -> list[str]:
    """Return the facts that are open, with the lines that wait for them; nothing where none is."""
    found: list[str] = []
    for question in decision.questions:
        lines = lines_named(question.lines) if question.lines else "the payout"
        who = "asked of the dealer" if question.asks == "dealer" else "for a person to say"
        found += wrapped(f"{lines}: {tidy(question.words)}, {who}.", width, _IN, _IN * 2)
    return [*wrapped("Facts that are open, and would change what is paid", width), *found] if found else []


def _firing(firing: Firing, width: int, reading: "_Reading") -> Iterator[str]:
    yield from wrapped(reading.rule(firing), width, _IN * 2, _IN * 3)
    for fact in firing.facts:
        yield from wrapped(reading.fact(fact, firing.policy), width, _IN * 4, _IN * 5)


@dataclass(frozen=True, slots=True)
class _Reading:
    """What the keys and numbers of facts stand for: lines in the engine's order, clause numbers by policy and path."""

    lines: tuple[LineDecision, ...]
    clauses: Mapping[str, Mapping[str, str]]
    asked: frozenset[tuple[str | None, str]]  # policy and duty of services that are missed only until an answer

    def rule(self, firing: Firing) -> str:
        """Return a rule's name in words: what it finds, and the clause it comes from."""
        code, _, rest = firing.rule.partition(" ")
        path, _, where = rest.partition(" ")
        words = inside_sentence(reason_words(code))
        clause = self.clause(firing.policy, path) if path else ""
        if where in _WHERE_WORDS:
            return ", ".join(part for part in (words, clause, _WHERE_WORDS[where]) if part)
        return " ".join(part for part in (f"{words},", clause, where) if part).removesuffix(",")

    def fact(self, fact: Mapping[str, int | str], policy: str) -> str:
        """Return a fact in words: `line 1, labour, wheel drive`."""
        kind = str(fact["k"])
        line = self.line(fact["l"]) if "l" in fact else ""
        values = [self.value(key, value, kind, policy) for key, value in fact.items() if key not in ("k", "l")]
        if kind == "due" and fact["s"] == "missed" and (policy, fact["d"]) in self.asked:
            values[-1] = "taken as missed until it is answered"
        told = ", ".join(part for part in (line, *values) if part)
        if kind == "line":
            return told
        return f"{_KIND_WORDS.get(kind, plain(kind))}: {told}"

    def value(self, key: str, value: int | str, kind: str, policy: str) -> str:
        """Return one value of a fact; the numbers that only join facts are left out."""
        if key in _JOINS:
            return ""
        if key == "p":
            return self.clause(policy, str(value))
        if key == "v":
            return f"{_hours(str(value))} h" if kind == "used" else ("passed" if int(value) > 0 else "not passed")
        if key == "c" and kind in ("finding", "reason"):
            return inside_sentence(reason_words(str(value)))
        if key.startswith("to_"):
            return f"linked to {plain(key.removeprefix('to_'))}"
        return plain(str(value))

    def line(self, number: int | str) -> str:
        """Return a line of the claim by its place in the engine's order."""
        place = int(number)
        return f"line {self.lines[place].line}" if place < len(self.lines) else f"line number {place + 1}"

    def group(self, policy: str, key: str) -> str:
        """Return what a term is of: the machine, one side of it, a fitting, or the components of a carve-out."""
        match = _GROUP.fullmatch(key)
        if match is None:
            return plain(key)
        side = f", {plain(match['side'])} side" if match["side"] else ""
        own = f", {self.clause(policy, match['path'])}" if match["path"] else ""
        return f"{match['what']}{side}{own}"

    def clause(self, policy: str, path: str) -> str:
        """Return the number of a clause, of one of its limits with the limit's place; a path without one as words."""
        numbers = self.clauses.get(policy, {})
        if path in numbers:
            return f"clause {numbers[path]}"
        limit = _LIMIT.fullmatch(path)
        if limit is not None and limit[1] in numbers:
            return f"clause {numbers[limit[1]]}, limit {int(limit[2]) + 1}"
        return plain(path.replace(".", " "))


def _digests(decision: Decision, width: int, known: Mapping[str, str]) -> Iterator[str]:
    policies = {name: known[name] for name in looked_at(decision) if name in known} | dict(decision.digests.policies)
    yield "Digests"
    for name, value in (
        ("claim file", decision.digests.claim_file),
        *((version_text(policy), value) for policy, value in sorted(policies.items())),
        ("outcome", decision.digests.outcome),
        ("derivation", decision.digests.derivation),
        ("envelope", decision.digests.envelope),
    ):
        yield from wrapped(f"{name} {value}", width, _IN, _IN * 2)
    yield from wrapped(_COVERED, width, _IN)
