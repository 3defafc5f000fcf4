"""Stage 6: the merged lines become the parts of the Decision, with questions, payout and trace."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import get_args

from rules.decision.catalogue import KINDS, PRECEDENCE
from rules.decision.dates import day_asked_for, notes_of_dates, reasons_of_dates
from rules.decision.describe import describe, describe_cut
from rules.decision.merge import MergedLine
from rules.decision.notes import Notebook
from rules.line_views import LineResult, LineView, PolicyReason, WorldResult
from rules.open_facts import Details, OpenFact, told
from rules.plain import day_text
from rules.policy_book.compiled import CompiledPolicy
from rules.rounding import as_money
from rules.selection.select import typed_position
from rules.settlement.desk import DAY_WORDS, possible_days
from rules.settlement.exact import DECIMALS, Exact, factor, minor_of, times
from rules.settlement.labour import distance_text
from rules.settlement.money import LineMoney
from rules.settlement.tables import Found, Tables
from schemas.claim import ClaimLine
from schemas.claim_file import ClaimFile
from schemas.decision import (
    Considered,
    Firing,
    LineDecision,
    Outcome,
    Payout,
    Proposal,
    Question,
    Reason,
    Status,
)

DAYS_TO_ANSWER = 30  # of a line that no coverage names, and so no conventions either


def line_decision(merged: MergedLine, claim_file: ClaimFile, notebook: Notebook) -> LineDecision:
    """Return a merged line as the decision shows it."""
    shown, money = merged.shown, merged.shown.money
    line = shown.subject.line
    reasons: list[Reason] = []
    notes: list[Reason] = []
    for reason in shown.reasons:
        if _decides(reason, shown.state):
            kept = notes if KINDS[reason.code].effect == "note" else reasons
            kept.append(describe(reason, shown, claim_file, merged.world))
    if money.cuts:
        # An owner's fixed price is told by its cut alone.
        codes = {r.code for r in (*reasons, *notes) if r.code.startswith("prorated")}
        assert shown.view is not None
        reasons += [describe_cut(cut, shown.view.payer) for cut in money.cuts if cut.code not in codes]
    reasons += [_open_reason(merged, fact, money) for fact in merged.facts if fact.about != "dates"]
    reasons += reasons_of_dates(merged)
    if not merged.complete:
        reasons.append(_plain_reason("too_many_open_facts", ""))
    proration = None if shown.view is None else shown.view.measures.prorations.get(line.line)
    if proration is not None and (
        proration.owner_price is not None or any(fact.about == "wear" for fact in merged.facts)
    ):
        proration = None  # a fixed price is no share, and of wear that is open the share is as open
    return LineDecision(
        line=line.line,
        item=line.item,
        component=shown.subject.told,
        position=typed_position(line, claim_file.claim, shown.subject.told),
        text=_line_words(line, bool(money.claimed)),
        outcome=merged.outcome,
        policy=None if shown.view is None else shown.view.payer.name,
        currency=money.currency,
        claimed=money.money(money.claimed),
        added=money.money(money.added),
        allowed=money.money(money.allowed),
        share=None if proration is None else str(proration.share),
        maker_pays=money.money(merged.maker),
        owner_owes=money.money(merged.owner),
        dealer_bears=money.money(merged.dealer),
        other_payer=money.money(merged.other_payer),
        open=money.money(merged.open),
        reasons=_in_order(reasons),
        notes=_in_order([*notes, *notes_of_dates(merged, claim_file), *notebook.notes_of(merged)], as_found=True),
        steps=money.steps,
        considered=_considered(shown, claim_file),
    )


def _line_words(line: ClaimLine, is_priced: bool) -> str | None:
    """Return the dealer's own words; a distance that no amount shows is told beside them."""
    if line.units is None or line.unit is None or is_priced:
        return line.text
    return f"{f'{line.text}, ' if line.text else ''}{distance_text(factor(line.units), line.unit)}"


def _decides(reason: PolicyReason, state: str) -> bool:
    """Return whether a reason plays a part: what would cut or hold a line says nothing of one that is denied.

    What became of a service that the policy only notes is a note beside the line (``rules.decision.notes``).
    """
    if reason.effect == "note" and reason.path.startswith("services."):
        return False
    return state != "deny" or reason.effect not in ("refer", "note") or KINDS[reason.code].effect == "note"


def _in_order(reasons: Sequence[Reason], *, as_found: bool = False) -> tuple[Reason, ...]:
    """Return reasons in the order of precedence, each once; those of one clause by their words, or ``as_found``.

    Notes are found in the order of due points and readings, which words are not: 400.0 h comes before 1,200.0 h.
    """
    if len(reasons) < 2:
        return tuple(reasons)
    # Two open facts may read alike (the services of the left and the right side); each is a question of its own.
    unique = {
        (r.code, r.policy, r.clause, r.words, r.records, r.facts if r.code == "fact_open" else ()): r for r in reasons
    }
    places = sorted(unique, key=lambda k: (PRECEDENCE[k[0]], k[1] or "", k[2] or "", *(() if as_found else k[3:])))
    return tuple(unique[place] for place in places)


def _plain_reason(code: str, words: str, records: tuple[str, ...] = ()) -> Reason:
    return Reason(code, None, None, None, False, f"{KINDS[code].text} {words}".strip(), (), records, None, None)


def _open_reason(merged: MergedLine, fact: OpenFact, money: LineMoney) -> Reason:
    low, high = money.money(merged.maker), money.money(merged.most)
    amount = f"the maker pays {low:,f} {money.currency} now"
    if high != low:
        amount += f" and up to {high:,f} {money.currency} once it is known"
    return Reason(
        "fact_open",
        None,
        None,
        None,
        False,
        f"Open: {question_words(fact, merged.world.details)}; {amount}.",
        (("fact", fact.key),),
        (),
        None,
        None,
    )


def question_words(fact: OpenFact, details: Details) -> str:
    """Return the words of a question; a joint question names every due point behind it, each once."""
    points = told(details, fact.key) if fact.about == "services" else ()
    return f"{fact.words} due at {'; '.join(points)}" if points else fact.words


def _considered(shown: LineResult, claim_file: ClaimFile) -> tuple[Considered, ...]:
    """Return the coverages that lost or do not apply, with what they would pay before claim-level steps."""
    others = [
        Considered(
            view.payer.name,
            view.state,
            _estimated(view, claim_file) if view.state == "covered" else None,
            _no_more(view, shown) if view.state == "covered" else ", ".join(r.code for r in view.reasons),
        )
        for view in shown.others
    ]
    others += [_not_applying(policy.name, code) for policy, code in shown.refused]
    return tuple(sorted(others, key=lambda c: (c.policy, c.why)))


def _no_more(view: LineView, shown: LineResult) -> str:
    """Return why a coverage that covers the line lost: they are compared before the steps over the whole claim.

    After those steps of one or the other, the one that pays may come to less.
    """
    assert shown.view is not None
    terms = (view.payer.terms, shown.view.payer.terms)
    stated = {
        "the deductible": any(t.deductible is not None for t in terms),
        "the caps": any(t.caps for t in terms),
        "the choice of parts or labour": any(t.pays.either_or is not None for t in terms),
    }
    steps = " and ".join(step for step, is_stated in stated.items() if is_stated)
    return f"it pays the customer no more before {steps}" if steps else "it pays the customer no more"


def named_by(merged: Sequence[MergedLine]) -> Iterator[CompiledPolicy]:
    """Yield the versions that lines name: whoever decides again needs them all, also those that do not apply."""
    for line in merged:
        view = line.shown.view
        if view is not None:
            yield view.payer
        yield from (other.payer for other in line.shown.others)
        yield from (policy for policy, _ in line.shown.refused)


@lru_cache(maxsize=4096)
def _not_applying(policy: str, code: str) -> Considered:
    return Considered(policy, "does_not_apply", None, KINDS[code].text)


def _estimated(view: LineView, claim_file: ClaimFile) -> Decimal:
    """Return what a coverage would pay, in the currency in which it counts the line."""
    minor = minor_of(claim_file, view.allowance.currency, "half_up")
    return as_money(minor.units(view.estimate), minor.exponent)


# The published table of states: the first row whose ``only`` holds every outcome of the claim, and whose ``some`` holds
# at least one, gives the status. A covered line that claims nothing says nothing about the others. Where a person looks
# at a line and nothing else is decided, the dealer's answers to the rest are waited for beside it.
STATUS_TABLE: tuple[tuple[Status, frozenset[Outcome], frozenset[Outcome]], ...] = tuple(
    (status, frozenset(only), frozenset(some))  # type: ignore[misc]
    for status, only, some in (
        ("paid_in_full", ("pay",), ("pay",)),
        ("denied", ("deny",), ("deny",)),
        ("nothing_due", ("pay_zero", "deny"), ("pay_zero",)),
        ("held_for_person", ("refer", "need_info", "deny"), ("refer",)),
        ("waiting_for_dealer", ("need_info", "deny"), ("need_info",)),
        ("paid_in_part", ("pay", "pay_part", "pay_zero", "deny"), ("pay", "pay_part")),
        ("partly_decided", get_args(Outcome), get_args(Outcome)),
    )
)


def status_of(lines: Sequence[LineDecision]) -> Status:
    """Return the claim's status by the published table."""
    outcomes = {line.outcome for line in lines if line.outcome != "pay_zero" or line.claimed}
    outcomes = outcomes or {"pay_zero"}
    return next(status for status, only, some in STATUS_TABLE if outcomes <= only and outcomes & some)


def questions_of(merged: Sequence[MergedLine], claim_file: ClaimFile, tables: Tables) -> tuple[Question, ...]:
    """Return each open fact once, with the lines that wait for it and the day to answer by.

    A day that only the payout waits for, to be converted, is asked for without a line.
    The days to answer run from the day on which the subject was first asked about and is still unanswered: deciding
    again gives no new time.
    """
    found: dict[str, tuple[OpenFact, list[str], str | None, str]] = {}
    for line in merged:
        for fact in line.facts:
            words = question_words(fact, line.world.details)
            by = answer_by(line, fact.about, claim_file).isoformat() if fact.asks == "dealer" else None
            known = found.setdefault(fact.key, (fact, [], by, words))
            known[1].append(line.shown.subject.line.line)
    for line in merged:
        day = _day_to_convert(line, claim_file, tables)
        if day is not None and day.key not in found:
            by = answer_by(line, day.about, claim_file).isoformat() if day.asks == "dealer" else None
            found[day.key] = (day, [], by, day.words)
    questions = []
    for key, (fact, lines, by, words) in sorted(found.items()):
        asked = None if by is None else asked_before(fact.about, claim_file)
        on = None if asked is None else asked.isoformat()
        questions.append(Question(key, fact.about, fact.asks, words, tuple(sorted(lines)), by, on))
    return tuple(questions)


def _day_to_convert(line: MergedLine, claim_file: ClaimFile, tables: Tables) -> OpenFact | None:
    """Return the day that is asked for because what a line pays is converted at its rate; no line waits for it."""
    view = line.shown.view
    if view is None or not line.maker or view.payer.terms.currency == claim_file.dealer.currency:
        return None
    which = view.payer.conventions.exchange_rate_on
    known = getattr(claim_file.claim, which) is not None or _rate_of_every_day(view.payer, claim_file, tables)
    return None if known else day_asked_for(line, which)


def asked_before(about: str, claim_file: ClaimFile) -> date | None:
    """Return the first earlier day on which a subject was asked about that is still not answered."""
    days = [q.asked_on for q in claim_file.claim.questions if q.about == about and not q.answered]
    return min((day for day in days if day < claim_file.decided_on), default=None)


def answer_by(line: MergedLine, about: str, claim_file: ClaimFile) -> date:
    """Return the last day to answer a question about a subject, of a line, counted from the first time it was asked."""
    policy = line.shown.view.candidate if line.shown.view is not None else None
    days = policy.conventions.absent_service_record.answer_within.days if policy is not None else DAYS_TO_ANSWER
    return (asked_before(about, claim_file) or claim_file.decided_on) + timedelta(days=days)


def payout_of(merged: Sequence[MergedLine], claim_file: ClaimFile, tables: Tables) -> Payout:
    """Return what the dealer gets: sums of each payer's currency, converted last, rounded once.

    A sum without an exchange rate is held, with why, and is not part of the amount.
    """
    target = claim_file.dealer.currency
    sums: dict[tuple[str, str, str], tuple[int, CompiledPolicy, LineMoney]] = {}
    for line in merged:
        view = line.shown.view
        if view is None or not line.maker:
            continue
        conventions = view.payer.conventions
        key = (view.payer.terms.currency, conventions.exchange_rate_on, conventions.rate_gap)
        known = sums.get(key)
        sums[key] = ((known[0] if known else 0) + line.maker, view.payer, line.shown.money)
    total: Exact = 0
    mode = "half_up"
    rates: list[str] = []
    held: list[str] = []
    for (currency, which, gap), (units, payer, money) in sorted(sums.items(), key=lambda item: item[0]):
        mode = payer.conventions.money.round
        day, amount = getattr(claim_file.claim, which), f"{money.money(units):,f} {currency}"
        if currency == target:
            total += units * 10 ** (DECIMALS - money.exponent)
        elif day is None and (found := _rate_of_every_day(payer, claim_file, tables)) is not None:
            rates.append(found.row)
            total += times(units * 10 ** (DECIMALS - money.exponent), found.value)
        elif day is None:
            held.append(f"{amount}: {DAY_WORDS[which]}, whose rate converts it, is not on file")
        elif (found := tables.rate(currency, target, day, gap)) is None:
            held.append(f"{amount}: no exchange rate to {target} is on file for {day_text(day)}")
        else:
            rates.append(found.row)
            total += times(units * 10 ** (DECIMALS - money.exponent), found.value)
    minor = minor_of(claim_file, target, mode)
    return Payout(target, as_money(minor.units(total), minor.exponent), tuple(rates), tuple(held))


def _rate_of_every_day(payer: CompiledPolicy, claim_file: ClaimFile, tables: Tables) -> Found | None:
    """Return the rate that converts a payout on whichever day the missing one is; None where it depends on the day."""
    which, gap = payer.conventions.exchange_rate_on, payer.conventions.rate_gap
    days = possible_days(claim_file, tables, which, gaps=gap == "need_info")
    found = [tables.rate(payer.terms.currency, claim_file.dealer.currency, day, gap) for day in days]
    first = found[0]
    alike = first is not None and all(rate is not None and rate.row == first.row for rate in found)
    return first if alike else None


def proposals_of(worlds: Sequence[WorldResult]) -> tuple[Proposal, ...]:
    """Return what is proposed to a person: recovering from a dealer who, by the record, did a service wrongly."""
    found = {
        (r.dealer or "the dealer", r.words, r.visit.record)
        for world in worlds
        for m in world.measures
        for d in m.duties
        for r in d.recover_from
        if r.is_told
    }
    return tuple(
        Proposal("recovery", dealer, f"{words}; the owner is kept whole", (record,))
        for dealer, words, record in sorted(found)
    )


def firings_of(world: WorldResult) -> tuple[Firing, ...]:
    """Return the rules that fired, with the facts they matched."""
    return tuple(Firing(name, firing.rule, firing.facts) for name, firing in world.firings)
