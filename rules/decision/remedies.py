"""What would change a line: the facts that, were they proven, would bring it a better result.

Only reasons with a remedy are tried, in precedence order and together, until the line improves and the claim as a whole
comes to more (at most five); then each is left out again where it was not needed, and so is each of several services
(``needed_services``): with those that are named on file, the claim comes to what is promised. What a line only takes
from another under a cap or a deductible of both is no remedy. Exact ranges are for the desk: a letter asks "if this
service was done". Where a line waits for something whose value nobody can assume (a price, an amount, the cause), a
remedy says in words what is to be supplied, with the outcome and the amount unchanged.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from rules.decision.assemble import answer_by
from rules.decision.catalogue import KINDS, PRECEDENCE
from rules.decision.merge import MergedLine
from rules.decision.needed_services import Needed, NeededServices
from rules.decision.supplies import supplies_of
from rules.line_views import PolicyReason
from rules.measures.duties import OTHER_TROUBLE, DutyState, rejected_for, services_key, services_words
from rules.measures.measure import serial_key
from rules.open_facts import OUTLINE
from rules.plain import day_text, going_on, without_windows
from rules.policy_book.service_words import PERFORMERS
from rules.policy_book.values import listed
from schemas.claim_file import ClaimFile
from schemas.decision import Payout, Remedy

MOST_REMEDIES = 5
UNDECIDED = ("need_info", "refer")
ASSUMED = ("services", "evidence", "inspection")  # open facts whose favourable answer is that they are proven

Decide = Callable[[Mapping[str, int]], Sequence[MergedLine]]
PayOut = Callable[[Sequence[MergedLine]], Payout]
Candidate = tuple[int, str, str, str]  # precedence, key, words for the desk, words for the letter
POINTS = "{points}"  # in such words: the due points of the services that turn out to be needed


@dataclass(frozen=True, slots=True)
class _Claim:
    """All lines of a claim as they are decided, and what the dealer gets in all."""

    lines: Sequence[MergedLine]
    payout: Payout

    def exceeds(self, other: "_Claim") -> bool:
        """Return whether the claim comes to more; where sums wait for an exchange rate, in no currency to less."""
        if not self.payout.held and not other.payout.held:
            return self.payout.amount > other.payout.amount
        mine, its = self._sums(), other._sums()
        return mine != its and all(mine.get(currency, 0) >= amount for currency, amount in its.items())

    def _sums(self) -> dict[str, int]:
        sums: dict[str, int] = {}
        for line in self.lines:
            if line.maker:
                currency = line.shown.money.currency
                sums[currency] = sums.get(currency, 0) + line.maker
        return sums


def remedies_of(
    merged: Sequence[MergedLine], claim_file: ClaimFile, decide: Decide, pay_out: PayOut
) -> tuple[Remedy, ...]:
    """Return the remedies of every line that is not paid in full; ``decide`` decides again under assumed facts.

    A line has at most two: what is known to improve it, and, while it is not decided by that, what it waits for.
    ``pay_out`` says what the dealer gets in all for lines that are decided so.
    """
    found: list[Remedy] = []
    cache: dict[tuple[str, ...], _Claim] = {}

    def decided(keys: tuple[str, ...]) -> _Claim:
        if keys not in cache:
            lines = decide(dict.fromkeys(keys, 1)) if keys else merged
            cache[keys] = _Claim(lines, pay_out(lines))
        return cache[keys]

    for index, line in enumerate(merged):
        if line.outcome == "pay":
            continue
        remedy = _remedy(index, line, decided, claim_file)
        if remedy is not None:
            found.append(remedy)
        if line.outcome in UNDECIDED and (remedy is None or remedy.outcome in UNDECIDED):
            found += supplies_of(line, claim_file, ASSUMED)
    return tuple(found)


def _candidates(line: MergedLine, claim_file: ClaimFile) -> dict[str, tuple[str, str]]:
    """Return assumable facts by key with desk and letter words, in the order of precedence of their reasons."""
    found: list[Candidate] = []
    for reason in line.shown.reasons:
        kind = KINDS[reason.code].remedy
        if reason.measures is None:
            continue
        if kind == "service_records":
            found += _service_candidates(reason, line, claim_file)
        elif kind == "statement":
            found += _statement_candidates(reason, line, claim_file)
    first: dict[str, tuple[str, str]] = {}
    for _, key, desk, letter in sorted(found):
        first.setdefault(key, (desk, letter))
    return first | _asked_for(line)


def _asked_for(line: MergedLine) -> dict[str, tuple[str, str]]:
    """Return what a line waits for and may turn out proven, by key with desk and letter words."""
    found: dict[str, tuple[str, str]] = {}
    for fact in sorted(line.facts, key=lambda fact: fact.key):
        if fact.about in ASSUMED and not fact.key.startswith(OUTLINE):
            words = f"{fact.words} due at {POINTS}" if fact.about == "services" else fact.words
            found[fact.key] = (words, words)
    return found


def _service_candidates(reason: PolicyReason, line: MergedLine, claim_file: ClaimFile) -> list[Candidate]:
    assert reason.measures is not None
    found: list[Candidate] = []
    place = PRECEDENCE[reason.code]
    name = reason.path.removeprefix("services.")
    duty = reason.policy.terms.services[name]
    group = reason.measures.group_of_line[line.shown.subject.line.line]
    state: DutyState = next(d for d in reason.measures.duties if d.duty == name and d.group == group.number)
    plain = name.replace("_", " ")
    for point in [p for breach, p in state.breaches if breach == "late" and p.record is not None]:
        words = f"an inspection at the late {plain} service {point.record} that found the machine sound"
        if duty.late == "cures_if_inspected":
            letter = f"the result of an inspection at the late {plain} service {point.record}"
            found.append((place, f"inspection:{point.record}", words, letter))
    for refused in (r for _, p in state.breaches for r in rejected_for(state, p, duty) if r.lacks):
        words = f"what service {refused.visit.record} lacks ({refused.words})"
        found.append((place, refused.lacks, words, words))
    key = services_key(reason.policy, name, group)
    if key in line.world.details and not _due_is_open(reason, line, state, claim_file):
        called = services_words(name, group)
        desk, letter = f"records of {called} due at {POINTS}", "in time"
        if any(breach == "wrong_hands" for breach, _ in state.breaches):
            letter = f"by {listed((PERFORMERS[p] for p in duty.performed_by), 'or')}"
            desk += f", done {letter}"
        words = f"if {called} due at {POINTS} were done {letter}, their records"
        found.append((place, key, desk, words))
    return found


def _due_is_open(reason: PolicyReason, line: MergedLine, state: DutyState, claim_file: ClaimFile) -> bool:
    """Return whether nobody knows which services were due, and when.

    So it is where the hours of the fitting that they count from are open, or where the reading at the failure is
    doubtful or leaves room for one more.
    """
    if state.schedule.begins_open is not None:
        return True
    readings = {fact.key for fact in line.facts if fact.about == "reading"}
    if not readings:
        return False
    if "reading:failure" in readings and claim_file.claim.reading is not None:
        return True
    bounds, last = line.world.hours[reason.policy.name].timeline.at_failure, state.points[-1]
    closes = None if last.high_hours is None else last.high_hours + state.schedule.start_hours
    return bounds is not None and closes is not None and bounds.high > closes


def _statement_candidates(reason: PolicyReason, line: MergedLine, claim_file: ClaimFile) -> list[Candidate]:
    """Return what a statement could clear up by itself; a person still judges it.

    The letter asks what is known, and never names the answer that would bring the money: the desk knows that one.
    """
    assert reason.measures is not None
    place, own = PRECEDENCE[reason.code], line.shown.subject.line.line
    symptom = claim_file.claim.symptom
    if reason.code == "serial_differs":
        removed, fitted, _ = reason.measures.differing_serials[own]
        words = f"a statement which part was removed, {removed} as claimed or {fitted} as on file"
        letter = "a photo of the plate of the removed part, or what was noted of its serial number and when"
        return [(place, serial_key(own), words, letter)]
    if reason.code == "symptom_first" and symptom is not None:
        words = f"a statement that the trouble noted on {day_text(symptom.on)} was not the one that led to this failure"
        letter = f"what was found about the trouble noted on {day_text(symptom.on)}, by whom and when"
        return [(place, OTHER_TROUBLE, words, letter)]
    return []


def _remedy(
    index: int,
    line: MergedLine,
    decided: Callable[[tuple[str, ...]], _Claim],
    claim_file: ClaimFile,
) -> Remedy | None:
    keys, tried = _candidates(line, claim_file), list[str]()
    if not keys:
        return None
    best = as_is = decided(())

    def improves(claim: _Claim) -> bool:
        return _better(claim.lines[index], line) and claim.exceeds(as_is)

    while not improves(best):
        untried = [key for key in keys if key not in tried]
        if not untried or len(tried) == MOST_REMEDIES:
            return None
        tried.append(untried[0])
        best = decided(tuple(tried))
        # With the first proven, something else may come to decide the line that nobody had to ask for before.
        keys |= {key: words for key, words in _asked_for(best.lines[index]).items() if key not in keys}
    for key in tuple(tried[:-1]):
        without = tuple(k for k in tried if k != key)
        again = decided(without)
        if improves(again) and again.lines[index].maker >= best.lines[index].maker:
            tried = list(without)
            best = again
    asked = [key for key in tried if POINTS in keys[key][0]]
    points = _points_needed(asked, Needed(tuple(tried), best, ""), index, decided, improves)
    if points is None:
        return None
    best = points[asked[-1]].claim if asked else best
    after = best.lines[index]
    others = tuple(
        _changed(before, now) for before, now in zip(as_is.lines, best.lines, strict=True) if now is not after
    )
    also = tuple(change for change in others if change is not None)
    return Remedy(
        line=line.shown.subject.line.line,
        desk_words=" and ".join(_told(keys[k][0], points.get(k)) for k in tried),
        letter_words=" and ".join(without_windows(_told(keys[k][1], points.get(k))) for k in tried),
        facts=tuple(tried),
        outcome=after.outcome,
        maker_pays=after.shown.money.money(after.maker),
        answer_by=min(answer_by(line, _about(k, line), claim_file) for k in tried).isoformat(),
        also=also,
        payout=best.payout if also else None,
    )


def _points_needed(
    asked: Sequence[str],
    found: Needed[_Claim],
    index: int,
    decided: Callable[[tuple[str, ...]], _Claim],
    improves: Callable[[_Claim], bool],
) -> dict[str, Needed[_Claim]] | None:
    """Return the services that are needed by question, those of one found beside the others; None: none help."""
    points: dict[str, Needed[_Claim]] = {}
    for key in asked:
        rest = tuple(fact for fact in found.facts if fact != key)
        needed = NeededServices(key, rest, index, decided, improves).find()
        if needed is None:
            return None
        points[key] = found = needed
    return points


def _told(words: str, needed: Needed[_Claim] | None) -> str:
    """Return the words of a candidate, those about services with the due points that are needed."""
    if needed is None:
        return words
    before, _, after = words.partition(POINTS)
    return f"{before}{going_on(needed.words) if after.startswith(' ') else needed.words}{after}"


def _changed(before: MergedLine, now: MergedLine) -> tuple[str, Decimal] | None:
    """Return a line with what the maker pays on it now, None where that is what it was."""
    money = now.shown.money
    if (now.maker, money.currency) == (before.maker, before.shown.money.currency):
        return None
    return now.shown.subject.line.line, money.money(now.maker)


def _about(key: str, line: MergedLine) -> str:
    """Return what a fact is about, as an earlier question says it; the key of one that is not open begins with that."""
    return next((fact.about for fact in line.facts if fact.key == key), key.partition(":")[0])


def _better(after: MergedLine, before: MergedLine) -> bool:
    """Return whether a line improved: the maker pays more, or an undecided line is decided no worse."""
    if after.maker > before.maker:
        return True
    decided = after.outcome in ("pay", "pay_part", "pay_zero")
    return decided and before.outcome not in ("pay", "pay_part", "pay_zero") and after.maker >= before.maker
