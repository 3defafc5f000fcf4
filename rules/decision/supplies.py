"""What an undecided line waits for, in words: who must supply what, where no favourable value can be assumed."""

from collections.abc import Callable, Sequence

from rules.decision.assemble import answer_by, question_words
from rules.decision.catalogue import KINDS
from rules.decision.merge import MergedLine
from rules.line_views import PolicyReason
from schemas.claim import ClaimLine
from schemas.claim_file import ClaimFile
from schemas.decision import Remedy
from schemas.policy.pays import CapOf

Words = tuple[str, str]  # for the desk, for the letter; a letter is silent about what the desk itself keeps
Supply = Callable[[PolicyReason, ClaimLine, ClaimFile], Words]


def supplies_of(line: MergedLine, claim_file: ClaimFile, assumed: Sequence[str]) -> list[Remedy]:
    """Return one remedy with all that the line waits for, the outcome and the undisputed amount unchanged; or none.

    ``assumed`` are the kinds of open facts that are tried by assuming them proven, and so are not named here.
    """
    found: dict[str, Words] = {}
    for reason in line.shown.reasons:
        supply = SUPPLIES.get(reason.code)
        if supply is not None and KINDS[reason.code].remedy in ("table_row", "statement"):
            found.setdefault(reason.code, supply(reason, line.shown.subject.line, claim_file))
    for fact in line.facts:
        # A day of the failure or the repair is no remedy, nor is a reading that contradicts others: both are questions.
        known = fact.key.startswith("date:") or (fact.about == "reading" and not _is_lacking(fact.key, claim_file))
        if fact.asks == "dealer" and fact.about not in assumed and not known:
            words = f"{'a statement of ' if fact.about == 'dates' else ''}{question_words(fact, line.world.details)}"
            found.setdefault(fact.key, (words, words))
    if not found:
        return []
    abouts = {fact.about for fact in line.facts if fact.key in found} or {"price", "evidence"}
    money = line.shown.money
    low, high = money.money(line.maker), money.money(line.most)
    most = f" (up to {high:,f} {money.currency}, by what comes of it)" if high != low else ""
    return [
        Remedy(
            line=line.shown.subject.line.line,
            desk_words=" and ".join(desk for desk, _ in found.values()) + most,
            letter_words=" and ".join(letter for _, letter in found.values() if letter),
            facts=tuple(found),
            outcome=line.outcome,
            maker_pays=low,
            answer_by=min(answer_by(line, about, claim_file) for about in abouts).isoformat(),
        )
    ]


def _is_lacking(key: str, claim_file: ClaimFile) -> bool:
    return key == "reading:failure" and claim_file.claim.reading is None


def _price(reason: PolicyReason, line: ClaimLine, claim_file: ClaimFile) -> Words:
    del claim_file
    if line.net is None:
        words = f"the net price of one unit on line {line.line}"
        return words, words
    if line.part_number is None:
        words = f"the part number of line {line.line}"
        return words, words
    what = "with its list price" if "list price" in reason.words else "that holds on the day"
    return f"a price list row for part {line.part_number} {what}", ""


def _exchange_rate(reason: PolicyReason, line: ClaimLine, claim_file: ClaimFile) -> Words:
    del line, claim_file
    return f"a row in a table of exchange rates ({reason.words})", ""


def _labour_rate(reason: PolicyReason, line: ClaimLine, claim_file: ClaimFile) -> Words:
    del reason
    row = f"a labour rate row for dealer {claim_file.claim.dealer}"
    if any(table.kind == "labour_rates" for table in claim_file.tables):
        return row, ""
    typed = f"the rate per hour of line {line.line}"
    return f"{row}, or {typed}", typed


def _flat_time(reason: PolicyReason, line: ClaimLine, claim_file: ClaimFile) -> Words:
    del reason, claim_file
    if line.operation is None:
        words = f"the operation code of line {line.line}"
        return words, words
    return f"a flat-rate time for operation {line.operation}", ""


def _cap_price(reason: PolicyReason, line: ClaimLine, claim_file: ClaimFile) -> Words:
    at = reason.policy.terms.caps[int(reason.path[len("caps[") : -1])].at
    assert isinstance(at, CapOf), "a fixed sum is always on file"
    if at.of == "machine_price":
        return f"the price of machine {claim_file.machine.serial}", ""
    price = "list price" if at.of == "part_list_price" else "dealer net price"
    words = f"the {price} of the part that caps line {line.line}"
    return f"{words}, in the price list or on a parts line", words


def _amount(reason: PolicyReason, line: ClaimLine, claim_file: ClaimFile) -> Words:
    del reason, claim_file
    words = f"the amount of line {line.line}, with its bill"
    return words, words


def _price_paid(reason: PolicyReason, line: ClaimLine, claim_file: ClaimFile) -> Words:
    del reason, claim_file
    words = f"what the owner paid for the part of line {line.line}, with the receipt"
    return words, words


SUPPLIES: dict[str, Supply] = {
    "price_not_listed": _price,
    "exchange_rate_missing": _exchange_rate,
    "labour_rate_missing": _labour_rate,
    "no_flat_rate_time": _flat_time,
    "cap_price_missing": _cap_price,
    "amount_missing": _amount,
    "price_paid_missing": _price_paid,
}
