"""From claimed to payable: allowance, share, deductible and caps in the policy's order, to the minor unit.

Amounts stay exact; after each step the running amount is rounded once, and what a step moves is the difference of two
rounded amounts. So ``claimed + added`` always equals the sum of what all bearers bear and what is open.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from rules.measures.prorating import Proration, number_text
from rules.plain import sum_text
from rules.policy_book.compiled import CompiledPolicy
from rules.policy_book.values import listed
from rules.rounding import as_money, largest_remainder
from rules.selection.select import Subject
from rules.settlement.allowance import Allowance, Cut
from rules.settlement.caps import PaidHere, Pool, is_inside, left_under, pools_of
from rules.settlement.desk import Desk, Held
from rules.settlement.either_or import ANY_SUM, Sums, Waiting, verdict_on
from rules.settlement.exact import Exact, Factor, Minor, factor, grains, minor_of, money_text, times
from rules.settlement.money import BEARERS, LineMoney, Move
from schemas.claim_file import ClaimFile
from schemas.policy.pays import Cap


@dataclass(frozen=True, slots=True)
class LowerShare:
    """A share lowered by a missed service."""

    share: Fraction
    path: str
    bearer: str


@dataclass(frozen=True, slots=True)
class Payable:
    """A covered line as it comes to settlement."""

    subject: Subject
    allowance: Allowance
    proration: Proration | None
    lowered: tuple[LowerShare, ...]
    policy: CompiledPolicy  # the version that pays it


@dataclass(slots=True)
class _Running:
    """One line on its way through the steps; private to one settlement."""

    payable: Payable
    exact: Exact
    units: int
    claimed: int
    split: dict[str, int]
    moves: list[Move]
    cuts: list[Cut] = field(default_factory=list)
    held: list[Held] = field(default_factory=list)
    added: int = 0
    allowed: int = 0

    @property
    def line(self) -> str:
        return self.payable.subject.line.line

    @property
    def item(self) -> str:
        return self.payable.subject.line.item

    @property
    def component(self) -> str:
        return self.payable.subject.component or ""

    def number(self, path: str) -> str | None:
        clause = self.payable.policy.clauses.get(path)
        return None if clause is None else clause.number


class Settlement:
    """The settlement of all lines that one policy pays; a value is returned, nothing outlives the call.

    Lines of other versions may be settled with those of ``policy`` where all of them state what it states of the whole
    claim (``versions``). ``here`` is what was settled of the claim before, under versions that state something else.
    """

    def __init__(self, policy: CompiledPolicy, claim_file: ClaimFile, here: Sequence[PaidHere] = ()) -> None:
        self.policy = policy
        self.here = here
        self.minor: Minor = minor_of(claim_file, policy.terms.currency, policy.conventions.money.round)
        self.each_step = policy.conventions.money.at == "step"

    def settle(
        self,
        payables: Sequence[Payable],
        over_limit: Callable[[Payable], bool],
        desk: Desk,
        waiting_for: Callable[[CompiledPolicy], Sequence[Waiting]] = lambda _: (),
    ) -> dict[str, LineMoney]:
        """Return each line's money.

        ``over_limit`` says whether a line is past the either-or point of its term; ``waiting_for`` gives the lines past
        that of a version that are not decided.
        """
        running = [self._claimed(p) for p in sorted(payables, key=lambda p: p.subject.line.line)]
        for step in self.policy.conventions.deduction_order:
            match step:
                case "allowance":
                    for line in running:
                        self._allowance(line)
                case "share":
                    for line in running:
                        self._share(line)
                    for policy in {line.payable.policy.name: line.payable.policy for line in running}.values():
                        self._either_or(policy, running, over_limit, waiting_for)
                case "deductible":
                    self._deductible(running)
                case "caps":
                    for index, cap in enumerate(self.policy.terms.caps):
                        self._cap(running, cap, f"caps[{index}]", desk)
        return {line.line: self._done(line) for line in running}

    def _claimed(self, payable: Payable) -> _Running:
        exact = payable.allowance.claimed
        units = self.minor.units(exact)
        if self.each_step:
            exact = self.minor.exact(units)
        move = Move("claimed", None, payable.allowance.words, units, units, exact)
        return _Running(payable, exact, units, units, dict.fromkeys(BEARERS, 0), [move])

    def _move(
        self,
        line: _Running,
        step: str,
        exact: Exact,
        bearer: str | None,
        path: str,
        words: str,
        *,
        share: Fraction | None = None,
        amount: Exact | None = None,
    ) -> int:
        """Bring the running amount to ``exact``; return the minor units that moved to ``bearer`` (None: were added)."""
        before, after = line.units, self.minor.units(exact)
        line.exact = self.minor.exact(after) if self.each_step else exact
        line.units = after
        if bearer is None:
            line.added += after - before
        else:
            line.split[bearer] += before - after
        move = Move(step, line.number(path), words, before, after, line.exact, bearer, share, amount)
        line.moves.append(move)
        return before - after

    def _take_units(self, line: _Running, step: str, units: int, bearer: str, path: str, words: str) -> None:
        """Move whole minor units; the part of the exact amount below them stays with the line."""
        amount = self.minor.exact(units)
        line.exact = max(line.exact - amount, 0)
        line.units -= units
        line.split[bearer] += units
        before = line.units + units
        line.moves.append(Move(step, line.number(path), words, before, line.units, line.exact, bearer, amount=amount))

    def _hold(self, line: _Running, held: Held) -> None:
        """Leave the rest of the line open until a person has looked at it."""
        line.held.append(held)
        self._take_units(line, "open", line.units, "open", held.path, held.words)
        line.exact = 0

    def _allowance(self, line: _Running) -> None:
        allowance = line.payable.allowance
        if allowance.added:
            words, path = allowance.added_words, f"pays.{line.item}"
            self._move(line, "added", line.exact + allowance.added, None, path, words, amount=allowance.added)
        for cut in allowance.cuts:
            # Where a deductible, a share or a cap comes first, a cut can exceed what is left of the line.
            exact = max(line.exact - cut.amount, 0)
            self._move(line, "allowance", exact, cut.bearer, cut.path, cut.words, amount=cut.amount)
            line.cuts.append(cut)
        line.allowed = line.units

    def _share(self, line: _Running) -> None:
        proration = line.payable.proration
        if proration is not None and line.units:
            self._prorate(line, proration)
        for lowered in line.payable.lowered if line.units else ():
            words, before = f"{lowered.share} is what the clause then pays", line.exact
            exact = times(line.exact, lowered.share)
            self._move(line, "share", exact, lowered.bearer, lowered.path, words, share=lowered.share)
            line.cuts.append(Cut("service_lowers_share", lowered.path, words, before - line.exact, lowered.bearer))

    def _prorate(self, line: _Running, proration: Proration) -> None:
        prorating = line.payable.policy.terms.prorating
        assert prorating is not None
        bearer = prorating.borne_by
        if proration.owner_price is not None:
            price = min(times(grains(proration.owner_price), proration_quantity(line.payable.subject)), line.exact)
            if price:
                # No reason of the rules tells of a price, as one tells of a share.
                words = f"the owner pays a fixed price of {sum_text(proration.owner_price)}"
                self._move(line, "share", line.exact - price, bearer, "prorating", words, amount=price)
                line.cuts.append(Cut("prorated", "prorating", words, price, bearer))
            return
        if proration.share == 1:
            return
        words = "; ".join(axis.words for axis in proration.axes)
        if prorating.owner_pays_on == "list_price":
            self._share_on_list(line, proration.share, words)
        else:
            exact = times(line.exact, proration.share)
            self._move(line, "share", exact, bearer, "prorating", words, share=proration.share)

    def _share_on_list(self, line: _Running, share: Fraction, words: str) -> None:
        """The maker pays the share of the allowed amount, the owner the rest of the list price.

        Where that is more than the claim leaves, the dealer keeps the difference (it is added to the claim); where it
        is less, the dealer bears it, for nobody owes it.
        """
        total = line.payable.allowance.list_total
        if total is None:
            text = (
                f"the list price of the part of line {line.line} is not on file, and the owner's part is a share of it"
            )
            self._hold(line, Held("price_not_listed", "prorating", text))
            return
        of_list = f"the owner's part is {number_text((1 - share) * 100)} % of the list price {money_text(total)}"
        owner, rest = times(total, 1 - share), times(line.exact, 1 - share)
        if owner < rest:
            paid = times(line.exact, share)
            self._move(line, "share", line.exact - owner, "owner", "prorating", f"{words}; {of_list}", amount=owner)
            short = f"{of_list}, {money_text(rest - owner)} less than of the claim; nobody owes the dealer that"
            self._move(line, "share", paid, "dealer", "prorating", short, amount=rest - owner)
            return
        moved = self._move(line, "share", times(line.exact, share), "owner", "prorating", words, share=share)
        above = self.minor.units(owner) - moved
        if above > 0:
            line.added += above
            line.split["owner"] += above
            text = f"{of_list}: {as_money(above, self.minor.exponent)} more than of the claim, kept by the dealer"
            number, amount = line.number("prorating"), self.minor.exact(above)
            line.moves.append(Move("added", number, text, line.units, line.units, line.exact, "owner", amount=amount))

    def _either_or(
        self,
        policy: CompiledPolicy,
        running: list[_Running],
        over_limit: Callable[[Payable], bool],
        waiting_for: Callable[[CompiledPolicy], Sequence[Waiting]],
    ) -> None:
        """Pay one of two kinds of a version's lines that are past the point, each in its own term.

        A line before the point keeps both; where only one kind is claimed past it, there is nothing to choose between.
        Where lines that are not decided may turn the choice, a person looks at those that it may cut.
        """
        rule = policy.terms.pays.either_or
        if rule is None:
            return
        own = [r for r in running if r.payable.policy is policy and r.item in rule.items]
        of_kinds = [r for r in own if (r.units or r.held) and over_limit(r.payable)]
        past = [r for r in of_kinds if r.units]
        open_ = [w for w in waiting_for(policy) if w.item in rule.items]
        open_ += [Waiting(r.line, r.item, r.split["open"]) for r in of_kinds if r.held]
        sums: dict[str, Sums] = {item: self._sums(item, past, open_) for item in rule.items}
        first, second = rule.items
        for item, other in ((first, second), (second, first)):
            verdict = verdict_on(item, rule, sums)
            for line in past if verdict != "kept" else ():
                if line.item != item:
                    continue
                if verdict == "undecided":
                    lines = listed(sorted(w.line for w in open_), "and")
                    words = f"{first} or {second} is paid, the {rule.picks}, and line {lines} is not decided"
                    self._hold(line, Held("choice_undecided", "pays.either_or", words))
                    continue
                words = f"{first} or {second} is paid, the {rule.picks}: {other}"
                cut = Cut("either_or", "pays.either_or", words, line.exact, rule.borne_by)
                self._move(line, "either_or", 0, cut.bearer, cut.path, words, amount=line.exact)
                line.cuts.append(cut)

    def _sums(self, item: str, past: Sequence[_Running], waiting: Sequence[Waiting]) -> Sums:
        """Return what a kind of items comes to without and with the lines that wait.

        A deductible or a cap that comes first takes the less of a line the more lines there are: then nobody can say.
        """
        low = sum(line.units for line in past if line.item == item)
        order, terms = self.policy.conventions.deduction_order, self.policy.terms
        before = order[: order.index("share")]
        moved = ("deductible" in before and terms.deductible is not None) or ("caps" in before and bool(terms.caps))
        most = [w.most for w in waiting if w.item == item]
        if None in most or (waiting and moved and low):
            return Sums(low, ANY_SUM)
        return Sums(low, low + sum(units for units in most if units is not None))

    def _deductible(self, running: list[_Running]) -> None:
        """Take what other versions of the coverage have not taken on the same claim."""
        deductible = self.policy.terms.deductible
        if deductible is None:
            return
        words = f"deductible {sum_text(deductible.amount)} a claim"
        taken = sum(p.deductible for p in self.here)
        if taken:
            about = ", ".join(p.subject.line.line for p in self.here if p.deductible)
            words += f", of which {money_text(self.minor.exact(taken))} is taken on line {about}"
        units = min(self.minor.units(grains(deductible.amount)) - taken, sum(line.units for line in running))
        self._spread(running, units, "deductible", "deductible", "deductible", deductible.borne_by, words)

    def _spread(
        self, running: list[_Running], units: int, step: str, code: str, path: str, bearer: str, words: str
    ) -> None:
        """Take a sum from several lines in proportion to their amounts, by largest remainder, ties by line."""
        if units <= 0:
            return
        weights = [line.units for line in running]
        for line, part in zip(running, largest_remainder(units, weights), strict=True):
            if part:
                told = f"{words}{self._split_words(units, line.units, weights)}"
                self._take_units(line, step, part, bearer, path, told)
                line.cuts.append(Cut(code, path, words, self.minor.exact(part), bearer))

    def _split_words(self, units: int, weight: int, weights: Sequence[int]) -> str:
        """Return how a sum over several lines comes to one line's part; nothing where one line takes it all."""
        total = sum(weights)
        if weight == total:
            return ""
        whole, own, all_lines = (money_text(self.minor.exact(number)) for number in (units, weight, total))
        ends = "" if units * weight % total == 0 else ", to the minor unit by largest remainder"
        return f"; of {whole} in all: {whole} × {own} ÷ {all_lines}{ends}"

    def _cap(self, running: list[_Running], cap: Cap, path: str, desk: Desk) -> None:
        inside = [line for line in running if is_inside(cap, line.item, line.component)]
        pools: dict[Pool, list[_Running]] = {}
        subjects = [line.payable.subject for line in inside]
        for line, pool in zip(inside, pools_of(cap, subjects, desk, self.here), strict=True):
            pools.setdefault(pool, []).append(line)
        for pool, lines in pools.items():
            claimed = sum(line.units for line in lines)
            if not claimed:
                continue
            about = [(line.payable.subject, line.payable.allowance) for line in lines]
            left = left_under(cap, path, about, pool, claimed, desk, self.minor, self.here)
            if isinstance(left, Held):
                for line in lines:
                    self._hold(line, left)
                continue
            excess = claimed - left.units
            self._spread(lines, excess, "caps", "cap_reached", path, cap.excess_borne_by, left.words)

    def _done(self, line: _Running) -> LineMoney:
        owner, dealer, other_payer, left_open = (line.split[who] for who in BEARERS)
        return LineMoney(
            self.policy.terms.currency,
            self.minor.exponent,
            line.claimed,
            line.added,
            line.allowed,
            line.units,
            owner,
            dealer,
            other_payer,
            left_open,
            tuple(line.moves),
            tuple(line.cuts),
            tuple(line.held),
        )


def proration_quantity(subject: Subject) -> Factor:
    """Return how many units a fixed price for the owner stands for: the pieces of a part, one for anything else."""
    return factor(subject.line.quantity) if subject.line.item == "parts" else 1
