"""Parts and fluids by number: the typed price held against the dated price list, and handling on the lower one."""

from collections.abc import Callable
from dataclasses import dataclass

from rules.measures.prorating import number_text
from rules.plain import sum_text
from rules.settlement.allowance import Allowance, Cut, handled, typed_grains
from rules.settlement.desk import Desk, Held
from rules.settlement.exact import Exact, Factor, factor, grains, money_text, times
from schemas.claim import ClaimLine
from schemas.policy.pays import PartsPaid

NO_PRICES = (("typed_unchecked", "No price list is on file."),)


@dataclass(frozen=True, slots=True)
class Listed:
    """One unit on the price list, in the policy's currency; ``row`` is its record, None where no row was found."""

    net: Exact | None = None
    list_price: Exact | None = None
    row: Callable[[], str] | None = None
    held: tuple[Held, ...] = ()
    notes: tuple[tuple[str, str], ...] = ()


def parts(line: ClaimLine, rule: PartsPaid, path: str, desk: Desk, rate: Factor) -> Allowance:
    """Return parts by the clause's basis: the typed price, at most that on the list, and its handling."""
    quantity: Factor = factor(line.quantity) if line.net is not None else 1
    listed = listed_price(line, rule, path, desk)
    typed, most, held = _basis(line, rule, path, desk, rate, listed)
    cuts: list[Cut] = []
    base = typed
    if most is not None and typed > most:
        base = most
        row = listed.row() if listed.row is not None else ""
        words = f"{money_text(typed)} claimed, {money_text(most)} on the price list ({row})"
        words += _price_words(quantity, most, rule)
        excess = handled(times(typed - most, quantity), rule.handling)
        cuts.append(Cut("price_above_list", path, words, excess, rule.excess_borne_by, (row,)))
    if rule.handling_at_most is not None:
        excess = times(times(base, quantity), rule.handling) - grains(rule.handling_at_most)
        if excess > 0:
            words = f"handling at most {sum_text(rule.handling_at_most)}"
            cuts.append(Cut("handling_capped", path, words, excess, rule.excess_borne_by))
    net, list_price = listed.net, listed.list_price
    if net is None and line.net is not None:
        net = times(grains(line.net), rate)
    if list_price is None and line.list_price is not None:
        list_price = times(grains(line.list_price), rate)

    def words_of_claim() -> str:
        return _priced(quantity, f"{money_text(typed)} {rule.basis.replace('_', ' ')}", rule)

    return Allowance(
        desk.policy.terms.currency,
        handled(times(typed, quantity), rule.handling),
        cuts=tuple(cuts),
        held=(*listed.held, *held),
        notes=listed.notes,
        words=words_of_claim,
        list_total=None if list_price is None else times(list_price, quantity),
        net_total=None if net is None else times(net, quantity),
    )


def _priced(quantity: Factor, unit: str, rule: PartsPaid) -> str:
    """Return a unit's price with its quantity and handling: 2 × 412.37 dealer net × 1.15 handling."""
    text = f"{number_text(quantity)} × {unit}" if quantity != 1 else unit
    return f"{text} × {number_text(1 + rule.handling)} handling" if rule.handling else text


def _price_words(quantity: Factor, most: Exact, rule: PartsPaid) -> str:
    """Return what the list price comes to with quantity and handling; nothing where it is the price itself."""
    if quantity == 1 and not rule.handling:
        return ""
    total = handled(times(most, quantity), rule.handling)
    return f"; {_priced(quantity, money_text(most), rule)} = {money_text(total)}"


def listed_price(line: ClaimLine, rule: PartsPaid, path: str, desk: Desk) -> Listed:
    """Return the row that prices the part on the clause's day, converted; a part on no list is held."""
    part, tables = line.part_number, desk.tables
    found = tables.price(part, desk.on(rule.price_on)) if part is not None and part in tables.prices else None
    if found is None:
        if rule.basis == "price_paid":
            return Listed()
        if not tables.has_prices:
            return Listed(notes=NO_PRICES)
        words = f"part {part or 'without a number'} of line {line.line} is on no price list in force"
        return Listed(held=(Held("price_not_listed", path, words),))
    row, dated = found.dated.value, found.dated
    into = desk.into_policy_currency(dated.currency)
    if into is None:
        return Listed(row=lambda: dated.row, held=(desk.no_rate(dated.currency, path),))
    assert row.net is not None
    notes: tuple[tuple[str, str], ...] = ()
    if found.superseded:
        notes = (("part_superseded", f"{' and '.join(found.superseded)}: now {row.part} ({dated.row})"),)
    if into.words:
        notes = (*notes, ("converted", into.words))
    return Listed(
        net=times(grains(row.net), into.factor),
        list_price=None if row.list_price is None else times(grains(row.list_price), into.factor),
        row=lambda: dated.row,
        notes=notes,
    )


def _basis(
    line: ClaimLine, rule: PartsPaid, path: str, desk: Desk, rate: Factor, listed: Listed
) -> tuple[Exact, Exact | None, tuple[Held, ...]]:
    """Return what was typed for one unit on the clause's basis, the most it may be, and what must be held."""
    if line.net is None:
        total = times(typed_grains(line), rate)
        words = f"line {line.line} states a sum, and not the net price of one unit that the price list is held against"
        return total, None, (Held("price_not_listed", path, words),) if desk.tables.has_prices else ()
    net = times(grains(line.net), rate)
    match rule.basis:
        case "dealer_net":
            return net, listed.net, ()
        case "list_price":
            typed = listed.list_price if line.list_price is None else times(grains(line.list_price), rate)
            if typed is None or (listed.row is not None and listed.list_price is None and not listed.held):
                part = f"part {line.part_number or 'without a number'} of line {line.line}"
                words = f"the list price of {part} is not on file"
                return net if typed is None else typed, None, (Held("price_not_listed", path, words),)
            return typed, listed.list_price, ()
        case _:
            if line.price_paid is None:
                words = f"what the owner paid for the part of line {line.line} is not on file"
                return net, None, (Held("price_paid_missing", path, words),)
            return times(grains(line.price_paid), rate), None, ()
