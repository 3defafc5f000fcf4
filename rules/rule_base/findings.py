"""Stage 4: measures become facts, the rule base fires, and its reasons come back line by line."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from rules.measures.measure import Measures
from rules.policy_book.compiled import CompiledPolicy
from rules.rule_base.driver import Derive, Firing
from schemas.frozen import quickly_made
from schemas.policy.document import CoveragePolicy
from schemas.policy.pays import NotPaid

Fact = dict[str, int | str]
Fire = Callable[[CompiledPolicy, list[Fact], Derive], tuple[Firing, ...]]
RuleEffect = Literal["deny", "deny_unless_caused", "refer", "lower_share", "fall_back", "note"]


@quickly_made
@dataclass(frozen=True, slots=True)
class RuleReason:
    """A reason the rule base found for a line: code, clause path, what it does, and the facts behind it."""

    code: str
    path: str
    effect: RuleEffect
    line: str
    limit: int  # number of the limit among the clause's ends, 0 where there is none
    rule: str


@dataclass(frozen=True, slots=True)
class Findings:
    reasons: dict[str, tuple[RuleReason, ...]]  # by line id
    firings: tuple[Firing, ...]


def find(measures: Measures, fire: Fire) -> Findings:
    """Return the reasons that the policy's rules find in the measures."""
    firings = fire(measures.policy, facts_of(measures), _derive)
    lines = [s.line.line for s in measures.subjects]
    reasons: dict[str, list[RuleReason]] = {}
    for firing in firings:
        kind, code, path, effect = _parts(firing.action)
        if kind != "reason":
            continue
        about = firing.facts[-1]
        line = lines[int(about["l"])]
        limit = firing.facts[0].get("i", 0)
        reason = RuleReason(code, path, effect, line, int(limit), firing.rule)  # type: ignore[arg-type]
        known = reasons.setdefault(line, [])
        if reason not in known:
            known.append(reason)
    return Findings({line: tuple(found) for line, found in reasons.items()}, firings)


@lru_cache(maxsize=4096)
def _parts(action: str) -> tuple[str, str, str, str]:
    """Return the parts of an action's name: kind, code, clause path, and effect or number of the limit."""
    kind, *rest = action.split("|")
    padded = (*rest, "", "", "")
    return kind, padded[0], padded[1], padded[2]


def _derive(firing: Firing) -> Iterator[Fact]:
    kind, code, path, last = _parts(firing.action)
    if kind == "finding":
        yield {"k": "finding", "c": code, "p": path, "g": firing.facts[0]["g"], "i": int(last)}


def facts_of(measures: Measures) -> list[Fact]:
    """Return the facts of the measures: integers and short words only."""
    facts: list[Fact] = []
    terms = measures.policy.terms
    for group in measures.groups:
        spared = group.span_last_day is not None and group.tested_day <= group.span_last_day
        for state in group.limits:
            if spared:
                break  # still inside the span from fitting: the machine's own limits do not count
            kind = "used" if state.last_day is None and state.limit.wear is None else "over"
            facts.append({"k": kind, "g": group.number, "p": state.path, "v": state.value})
        if measures.cause is not None:
            facts.append({"k": "cause", "g": group.number, "c": measures.cause})
    for duty in measures.duties:
        for breach in sorted({breach for breach, _ in duty.breaches}):
            facts.append({"k": "due", "g": duty.group, "d": duty.duty, "s": breach})
    for number, subject in enumerate(measures.subjects):
        line, group = subject.line, measures.group_of_line[subject.line.line]
        fact: Fact = {
            "k": "line",
            "l": number,
            "g": group.number,
            "item": line.item,
            "comp": subject.component or "none",
        }
        for name, duty_terms in terms.services.items():
            if subject.component in duty_terms.links:
                fact[f"to_{name}"] = 1
        facts.append(fact)
        if line.line in measures.item_over and not isinstance(terms.pays.rule_for(line.item), NotPaid):
            facts.append({"k": "item_over", "l": number, "item": line.item})
        proration = measures.prorations.get(line.line)
        if proration is not None and proration.share != 1:
            facts.append({"k": "share", "l": number, "s": "zero" if proration.share == 0 else "part"})
        if line.line in measures.differing_serials:
            facts.append({"k": "sign", "l": number, "s": "serial_differs", "p": "applies_to"})
        if group.tested_day < group.start:
            facts.append({"k": "sign", "l": number, "s": "before_term", "p": start_clause(terms, group.path)})
        facts += [
            {"k": "sign", "l": number, "s": "symptom_first", "p": f"services.{duty.duty}"}
            for duty in measures.duties
            if duty.symptom_first is not None and duty.group == group.number and f"to_{duty.duty}" in fact
        ]
        facts += [
            {"k": "altered", "l": number, "a": a.kind, "x": a.exclusion}
            for a in measures.altered
            if a.line == line.line
        ]
    return facts


def start_clause(terms: CoveragePolicy, path: str) -> str:
    """Return the path of the clause that says when a group's term starts: its carve-out where that says so."""
    own = next((c for i, c in enumerate(terms.carve_outs) if path == f"carve_outs[{i}]"), None)
    return path if own is not None and own.starts is not None else "term"
