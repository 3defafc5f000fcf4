"""What a claim whose days contradict one another comes to, line by line, and how a decision says so.

Where the day of the failure is in doubt nothing that rests on a day is decided: a line is denied on grounds that hold
on any day, or it waits with its whole amount open. Where only other days are in doubt they count as not on file, so a
line waits where one of them changes it, and is otherwise decided with a note.
"""

from collections.abc import Sequence
from dataclasses import replace

from rules.decision.catalogue import KINDS, PRECEDENCE
from rules.decision.merge import MergedLine, telling
from rules.history.at_start import START_HOURS
from rules.history.claim_dates import FAILURE, SYMPTOM, Contradiction
from rules.history.machine_dates import doubt_words, has_days_in_doubt
from rules.line_states import DENYING
from rules.line_views import LineResult, LineView, PolicyReason, WorldResult, clause_bearer
from rules.open_facts import Asks, Explored, OpenFact
from rules.plain import day_text
from rules.policy_book.book import PolicyBook
from rules.selection.standing import FREE_OF_DAYS, Standing, selected_without_the_claim
from rules.settlement.desk import DAY_WORDS
from rules.settlement.exact import GRAINS
from rules.settlement.money import LineMoney, unpaid
from schemas.claim_file import ClaimFile
from schemas.decision import Reason

FIELDS = {SYMPTOM: "symptom.on"}  # where a day does not stand under its own name in the claim
OF_ALTERATION = {"altered": "part_altered", "other_make": "part_of_other_make"}  # reason code by kind


def with_days_in_doubt(
    merged: Sequence[MergedLine],
    explored: Explored,
    found: tuple[Contradiction, ...],
    book: PolicyBook,
    claim_file: ClaimFile,
) -> Sequence[MergedLine]:
    """Return the lines as the contradictions leave them; ``claim_file`` is the one without the days in doubt."""
    if not found:
        return merged
    if not any(FAILURE in contradiction.fields for contradiction in found):
        return [_asked_for(line, found) for line in merged]
    standing = Standing.of(book, claim_file, merged[0].world.selected)
    lines = []
    for index, line in enumerate(merged):
        results = _telling_on_any_day([(world.lines[index], world) for _, world in explored.results])
        # Claimed in another currency, the amount that is denied may itself depend on a day.
        alike = len({(r.state, r.money.claimed, r.money.currency) for r in results}) == 1
        stands = alike and line.shown.state == "deny" and standing.denied(line.shown.subject.line.line)
        # The worlds may deny on grounds of their own; each must show one that no day plays a part in.
        stands = stands and all(_day_free(result, claim_file) for result in results)
        # Who bears a denied line must not turn on what is open either, unless there is nothing to bear.
        claims = line.shown.money.claimed != 0
        stands = stands and len({_denied_bearer(result, claim_file) for result in results if claims}) <= 1
        denied = _denied_on_any_day(line, found, claim_file) if stands else None
        lines.append(denied or _waiting(line, found, standing, claim_file))
    return lines


def _telling_on_any_day(every: list[tuple[LineResult, WorldResult]]) -> list[LineResult]:
    """Return the line in the worlds that tell it, and where no version is in force: another day may change that."""
    told = {id(result) for result, _ in telling(every)}
    return [r for r, _ in every if id(r) in told or any(reason.code == "no_version_in_force" for reason in r.reasons)]


def _asked_for(line: MergedLine, found: tuple[Contradiction, ...]) -> MergedLine:
    """Ask one question for all days of a contradiction where one of them changes the line."""
    asks = _asks(line, ())
    in_doubt = {f"date:{field}": contradiction for contradiction in found for field in contradiction.fields}
    facts: dict[str, OpenFact] = {}
    for fact in line.facts:
        contradiction = in_doubt.get(fact.key)
        asked = fact if contradiction is None else _question(contradiction, asks)
        facts.setdefault(asked.key, asked)
    outcome = line.outcome
    if outcome == "need_info" and any(fact.asks == "person" for fact in facts.values()):
        outcome = "refer"
    return replace(line, outcome=outcome, facts=tuple(facts.values()), contradictions=found)


def _waiting(
    line: MergedLine, found: tuple[Contradiction, ...], standing: Standing, claim_file: ClaimFile
) -> MergedLine:
    asks = _asks(line, tuple(p.conventions.facts.contradicts_itself for p in standing.policies))
    shown = _without_findings(line.shown)
    money = _nothing_paid(line.shown, claim_file, "open", "held until the days of the claim are corrected")
    shown = replace(shown, state="refer", reasons=(), refused=(), money=money)
    return MergedLine(
        "need_info" if asks == "dealer" else "refer",
        shown,
        _underived(line.world),
        0,
        0,
        0,
        0,
        money.open,
        tuple(_question(contradiction, asks) for contradiction in found),
        0,
        contradictions=found,
    )


def _day_free(line: LineResult, claim_file: ClaimFile) -> tuple[PolicyReason, ...]:
    """Return the reasons of a denied line that no day plays a part in."""
    denying = (reason for reason in line.reasons if reason.effect in DENYING)
    return tuple(reason for reason in denying if _holds_on_any_day(reason, line, claim_file))


def _denied_on_any_day(line: MergedLine, found: tuple[Contradiction, ...], claim_file: ClaimFile) -> MergedLine:
    """Return the line denied on the grounds that hold on any day alone."""
    reasons = _day_free(line.shown, claim_file)
    shown = replace(_without_findings(line.shown), reasons=reasons)
    if shown.view is not None:
        shown = replace(shown, money=_nothing_paid(line.shown, claim_file, _bearer(reasons), "not covered"))
    money = shown.money
    return MergedLine(
        "deny",
        shown,
        _underived(line.world),
        0,
        money.owner,
        money.dealer,
        money.other_payer,
        0,
        (),
        0,
        contradictions=found,
    )


def _holds_on_any_day(reason: PolicyReason, line: LineResult, claim_file: ClaimFile) -> bool:
    if reason.code == "no_version_in_force":
        return selected_without_the_claim(reason.policy, claim_file)
    if reason.code in OF_ALTERATION.values():
        return _caused_by_alteration(reason, line, claim_file)
    return reason.code in FREE_OF_DAYS


def _caused_by_alteration(reason: PolicyReason, line: LineResult, claim_file: ClaimFile) -> bool:
    """Return whether an alteration behind the reason was judged the cause: another may be later than the failure."""
    assert reason.measures is not None
    caused = {(a.id, OF_ALTERATION[a.kind]) for a in claim_file.machine.alterations if a.caused_failure}
    return any(
        (altered.record, reason.code) in caused and reason.path == f"exclusions[{altered.exclusion}]"
        for altered in reason.measures.altered
        if altered.line == line.subject.line.line
    )


def _bearer(reasons: Sequence[PolicyReason]) -> str:
    first = min(reasons, key=lambda r: (PRECEDENCE[r.code], r.path))
    return clause_bearer(first.policy, first.code, first.path)


def _denied_bearer(result: LineResult, claim_file: ClaimFile) -> str:
    """Return who bears a line that is denied on grounds that no day plays a part in."""
    return "owner" if result.view is None else _bearer(_day_free(result, claim_file))


def _nothing_paid(shown: LineResult, claim_file: ClaimFile, bearer: str, words: str) -> LineMoney:
    money = shown.money
    claimed = money.claimed * GRAINS // 10**money.exponent  # a grain is finer than any minor unit
    payer = None if shown.view is None else shown.view.payer
    return unpaid(payer, claim_file, claimed, bearer, words, None, money.currency)


def _without_findings(shown: LineResult) -> LineResult:
    """Return a line without what was found by the day stated: shares, and what other coverages would do."""
    view: LineView | None = shown.view
    if view is not None:
        view = replace(view, measures=replace(view.measures, prorations={}), reasons=(), lowered=())
    return replace(shown, view=view, others=())


def _underived(world: WorldResult) -> WorldResult:
    return replace(world, hours={}, measures=(), firings=())


def _asks(line: MergedLine, otherwise: tuple[str, ...]) -> Asks:
    """Return who is asked, as the conventions of the line's coverage say; without one, a person where any says so."""
    view = line.shown.view
    said = otherwise if view is None else (view.candidate.conventions.facts.contradicts_itself,)
    return "person" if "refer" in said else "dealer"


def _question(contradiction: Contradiction, asks: Asks) -> OpenFact:
    words = f"the right days of this claim: {contradiction.words}"
    return OpenFact(contradiction.key, "dates", asks, words)


def day_asked_for(line: MergedLine, which: str) -> OpenFact:
    """Return the question for a day of the claim that is not on file, or that was set aside as in doubt."""
    doubt = next((contradiction for contradiction in line.contradictions if which in contradiction.fields), None)
    if doubt is not None:
        return _question(doubt, _asks(line, ()))
    return OpenFact(f"date:{which}", "start", "dealer", DAY_WORDS[which])


def reasons_of_dates(line: MergedLine) -> list[Reason]:
    """Return why a line waits for days, with each day and the fields of the claim that may be wrong."""
    if not line.contradictions:
        return []
    keys = {fact.key for fact in line.facts}
    money = line.shown.money
    low, high = money.money(line.maker), money.money(line.most)
    amount = f" The maker pays {low:,f} {money.currency} now"
    amount += f" and up to {high:,f} {money.currency} once they are corrected." if high != low else "."
    return [
        _reason("dates_contradict", c, f"{_sentence(c.words)}{amount}", c.key)
        for c in line.contradictions
        if c.key in keys
    ]


def notes_of_dates(line: MergedLine, claim_file: ClaimFile) -> list[Reason]:
    """Return the contradictions that change nothing about a line: of the claim's days, and of the machine's."""
    keys = {fact.key for fact in line.facts}
    notes = [_reason("dates_set_aside", c, _sentence(c.words)) for c in line.contradictions if c.key not in keys]
    machine = claim_file.machine
    if has_days_in_doubt(machine) and not any(
        fact.about == "start" or fact.key.startswith(START_HOURS) for fact in line.facts
    ):
        days = (("machine", machine.serial), ("built", day_text(machine.built_on)))
        notes.append(_told("dates_set_aside", _sentence(doubt_words(machine)), days))
    return notes


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def _reason(code: str, contradiction: Contradiction, words: str, key: str | None = None) -> Reason:
    facts = [("fact", key)] if key is not None else []
    facts += [(name, day_text(day)) for name, day in contradiction.days]
    facts.append(("to correct", " or ".join(FIELDS.get(name, name) for name in contradiction.suspects)))
    return _told(code, words, tuple(facts))


def _told(code: str, words: str, facts: tuple[tuple[str, str], ...]) -> Reason:
    return Reason(
        code=code,
        policy=None,
        clause=None,
        clause_text=None,
        clause_quoted=False,
        words=f"{KINDS[code].text} {words}",
        facts=facts,
        records=(),
        comparison=None,
        bearer=None,
    )
