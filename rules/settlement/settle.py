"""From claimed to payable: allowance, share, deductible and caps in the policy's order, to the minor unit.

Amounts stay exact fractions; after each step the running amount is rounded once, and what a step moves is the
difference of two rounded amounts. So ``claimed + added`` always equals the sum of what all bearers bear.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from rules.measures.prorating import Proration, number_text
from rules.policy_book.compiled import CompiledPolicy
from rules.rounding import as_money, largest_remainder, minor_units
from rules.selection.select import Subject
from rules.settlement.allowance import Allowance, Cut, Desk, money_text
from schemas.claim_file import ClaimFile
from schemas.decision import Step
from schemas.policy.pays import Cap, CapAmount, Deductible

BEARERS = ("owner", "dealer", "other_payer")


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


@dataclass(frozen=True, slots=True)
class LineMoney:
    """The split of a line in minor units of the policy's currency, with every step."""

    currency: str
    exponent: int
    claimed: int
    added: int
    allowed: int
    maker: int
    owner: int
    dealer: int
    other_payer: int
    open: int
    steps: tuple[Step, ...]
    cuts: tuple[Cut, ...]

    def money(self, units: int) -> Decimal:
        return as_money(units, self.exponent)


@dataclass(slots=True)
class _Running:
    """One line on its way through the steps; private to one settlement."""

    payable: Payable
    exact: Fraction
    units: int
    split: dict[str, int]
    steps: list[Step] = field(default_factory=list)
    cuts: list[Cut] = field(default_factory=list)
    added: int = 0
    allowed: int = 0

    @property
    def line(self) -> str:
        return self.payable.subject.line.line


class Settlement:
    """The settlement of all lines that one policy pays; a value is returned, nothing outlives the call."""

    def __init__(self, policy: CompiledPolicy, claim_file: ClaimFile) -> None:
        self.policy = policy
        self.claim_file = claim_file
        self.currency = policy.terms.currency
        self.exponent = claim_file.currency_exponents.get(self.currency, 2)
        self.mode = policy.conventions.money.round
        self.each_step = policy.conventions.money.at == "step"

    def settle(
        self, payables: Sequence[Payable], over_limit: Callable[[Payable], bool], desk: Desk
    ) -> dict[str, LineMoney]:
        """Return each line's money; ``over_limit`` says whether the either-or point of the term has passed."""
        running = [self._claimed(p) for p in sorted(payables, key=lambda p: p.subject.line.line)]
        for step in self.policy.conventions.deduction_order:
            match step:
                case "allowance":
                    for line in running:
                        self._allowance(line)
                case "share":
                    for line in running:
                        self._share(line)
                    self._either_or(running, over_limit)
                case "deductible":
                    self._deductible(running)
                case "caps":
                    for index, cap in enumerate(self.policy.terms.caps):
                        self._cap(running, cap, f"caps[{index}]", desk)
        return {line.line: self._done(line) for line in running}

    def _units(self, exact: Fraction) -> int:
        return minor_units(exact, self.exponent, self.mode)

    def _claimed(self, payable: Payable) -> _Running:
        claimed = payable.allowance.claimed
        units = self._units(claimed)
        line = _Running(payable, claimed, units, dict.fromkeys(BEARERS, 0))
        line.steps.append(
            Step(
                "claimed", None, payable.allowance.words, as_money(units, self.exponent), as_money(units, self.exponent)
            )
        )
        return line

    def _move(
        self,
        line: _Running,
        step: str,
        exact: Fraction,
        bearer: str | None,
        clause: str | None,
        words: str,
        factor: str | None = None,
    ) -> int:
        """Bring the running amount to ``exact``; return the minor units that moved to ``bearer``."""
        before, after = line.units, self._units(exact)
        line.exact = Fraction(after, 10**self.exponent) if self.each_step else exact
        line.units = after
        if bearer is None:
            line.added += after - before
        else:
            line.split[bearer] += before - after
        line.steps.append(
            Step(step, clause, words, as_money(before, self.exponent), as_money(after, self.exponent), bearer, factor)  # type: ignore[arg-type]
        )
        return before - after

    def _number(self, path: str) -> str:
        return self.policy.clauses[path].number

    def _allowance(self, line: _Running) -> None:
        allowance = line.payable.allowance
        if allowance.added:
            path = f"pays.{line.payable.subject.line.item}"
            clause = self.policy.clauses[path].number if path in self.policy.clauses else None
            self._move(line, "added", line.exact + allowance.added, None, clause, allowance.added_words)
        for cut in allowance.cuts:
            self._move(line, "allowance", line.exact - cut.amount, cut.bearer, self._number(cut.path), cut.words)
            line.cuts.append(cut)
        line.allowed = line.units

    def _share(self, line: _Running) -> None:
        proration = line.payable.proration
        prorating = self.policy.terms.prorating
        if proration is not None and prorating is not None:
            number = self._number("prorating")
            if proration.owner_price is not None:
                price = min(Fraction(proration.owner_price), line.exact)
                if price:
                    words = f"the owner pays a fixed price of {proration.owner_price}"
                    self._move(line, "share", line.exact - price, prorating.borne_by, number, words)
                    line.cuts.append(Cut("prorated", "prorating", words, price, prorating.borne_by))
            elif proration.share != 1:
                words = "; ".join(axis.words for axis in proration.axes)
                before = line.exact
                moved = self._move(
                    line, "share", line.exact * proration.share, prorating.borne_by, number, words, str(proration.share)
                )
                code = "prorated" if proration.share else "prorated_to_nothing"
                line.cuts.append(Cut(code, "prorating", words, before - line.exact, prorating.borne_by))
                if prorating.owner_pays_on == "list_price":
                    self._owner_on_list(line, 1 - proration.share, moved, number)
        for lowered in line.payable.lowered:
            words = f"{lowered.share} is paid after a missed service"
            before = line.exact
            self._move(
                line,
                "share",
                line.exact * lowered.share,
                lowered.bearer,
                self._number(lowered.path),
                words,
                str(lowered.share),
            )
            line.cuts.append(Cut("service_lowers_share", lowered.path, words, before - line.exact, lowered.bearer))

    def _owner_on_list(self, line: _Running, owner_share: Fraction, moved: int, number: str) -> None:
        """The owner's part is a share of the list price; the dealer keeps what that is above the claim."""
        total = line.payable.allowance.list_total
        if total is None:
            return
        uplift = self._units(total * owner_share) - moved
        if uplift > 0:
            line.added += uplift
            line.split["owner"] += uplift
            now = as_money(line.units, self.exponent)
            words = f"the owner's part is {number_text(owner_share * 100)} % of the list price {money_text(total)}: {as_money(uplift, self.exponent)} more than of the claim, kept by the dealer"
            line.steps.append(Step("added", number, words, now, now))

    def _either_or(self, running: list[_Running], over_limit: Callable[[Payable], bool]) -> None:
        rule = self.policy.terms.pays.either_or
        if rule is None or not any(over_limit(line.payable) for line in running):
            return
        sums = {item: sum(r.units for r in running if r.payable.subject.line.item == item) for item in rule.items}
        first, second = rule.items
        higher = first if sums[first] >= sums[second] else second
        picked = higher if rule.picks == "higher" else (second if higher == first else first)
        for line in running:
            item = line.payable.subject.line.item
            if item in rule.items and item != picked and line.units:
                words = f"{first} or {second} is paid, the {rule.picks}: {picked}"
                before = line.exact
                self._move(line, "either_or", Fraction(0), rule.borne_by, self._number("pays.either_or"), words)
                line.cuts.append(Cut("either_or", "pays.either_or", words, before, rule.borne_by))

    def _deductible(self, running: list[_Running]) -> None:
        deductible: Deductible | None = self.policy.terms.deductible
        if deductible is None:
            return
        payable = sum(line.units for line in running)
        units = min(self._units(Fraction(deductible.amount)), payable)
        self._spread(
            running,
            units,
            "deductible",
            "deductible",
            "deductible",
            deductible.borne_by,
            f"deductible {deductible.amount} a claim",
        )

    def _spread(
        self, running: list[_Running], units: int, step: str, code: str, path: str, bearer: str, words: str
    ) -> None:
        if units <= 0:
            return
        parts = largest_remainder(units, [line.units for line in running])
        for line, part in zip(running, parts, strict=True):
            if part:
                amount = Fraction(part, 10**self.exponent)
                self._move(
                    line, step, Fraction(line.units - part, 10**self.exponent), bearer, self._number(path), words
                )
                line.cuts.append(Cut(code, path, words, amount, bearer))

    def _cap(self, running: list[_Running], cap: Cap, path: str, desk: Desk) -> None:
        inside = [
            line
            for line in running
            if (cap.items == "all" or line.payable.subject.line.item in cap.items)
            and (cap.components == "all" or line.payable.subject.component in cap.components)
        ]
        if cap.over == "line":
            for line in inside:
                self._cap_sum([line], cap, path, desk, 0)
        elif cap.over == "component_lifetime":
            for component in sorted({line.payable.subject.component or "" for line in inside}):
                of_it = [line for line in inside if (line.payable.subject.component or "") == component]
                self._cap_sum(of_it, cap, path, desk, self._paid_before(cap, component))
        elif inside:
            before = self._paid_before(cap, None) if cap.over == "machine_lifetime" else 0
            self._cap_sum(inside, cap, path, desk, before)

    def _cap_sum(self, lines: list[_Running], cap: Cap, path: str, desk: Desk, paid_before: int) -> None:
        most = self._cap_amount(cap, lines, desk)
        if most is None:
            return
        left = max(self._units(most) - paid_before, 0)
        excess = sum(line.units for line in lines) - left
        words = f"at most {money_text(most)}" + (
            f", of which {as_money(paid_before, self.exponent)} was paid before" if paid_before else ""
        )
        self._spread(lines, excess, "caps", "cap_reached", path, cap.excess_borne_by, words)

    def _cap_amount(self, cap: Cap, lines: list[_Running], desk: Desk) -> Fraction | None:
        if isinstance(cap.at, CapAmount):
            return Fraction(cap.at.amount)
        if cap.at.of == "machine_price":
            machine = self.claim_file.machine
            if machine.price is None:
                return None
            into = desk.into_policy_currency(machine.currency or self.currency)
            return None if into is None else Fraction(machine.price) * into[0]
        prices = [
            price * line.payable.allowance.quantity
            for line in lines
            if (
                price := line.payable.allowance.part_list
                if cap.at.of == "part_list_price"
                else line.payable.allowance.part_net
            )
            is not None
        ]
        return sum(prices, Fraction(0)) if prices else None

    def _paid_before(self, cap: Cap, component: str | None) -> int:
        name = self.policy.ref.name
        return sum(
            self._units(Fraction(p.amount))
            for p in self.claim_file.earlier_payments
            if p.policy.split("@")[0] == name
            and p.currency == self.currency
            and (component is None or p.component == component)
            and (cap.items == "all" or p.item in cap.items)
        )

    def _done(self, line: _Running) -> LineMoney:
        claimed = self._units(line.payable.allowance.claimed)
        return LineMoney(
            self.currency,
            self.exponent,
            claimed,
            line.added,
            line.allowed,
            line.units,
            line.split["owner"],
            line.split["dealer"],
            line.split["other_payer"],
            0,
            tuple(line.steps),
            tuple(line.cuts),
        )


def unpaid(
    policy: CompiledPolicy | None,
    claim_file: ClaimFile,
    claimed: Fraction,
    bearer: str,
    words: str,
    clause: str | None,
    currency: str,
) -> LineMoney:
    """Return the money of a line of which nothing is paid: all of it on one bearer, or open."""
    exponent = claim_file.currency_exponents.get(currency, 2)
    mode = policy.conventions.money.round if policy is not None else "half_up"
    units = minor_units(claimed, exponent, mode)
    split = {**dict.fromkeys((*BEARERS, "open"), 0), bearer: units}
    zero, whole = as_money(0, exponent), as_money(units, exponent)
    steps = (
        Step("claimed", None, "as claimed", whole, whole),
        Step("open" if bearer == "open" else "not_covered", clause, words, whole, zero, bearer),  # type: ignore[arg-type]
    )
    return LineMoney(
        currency,
        exponent,
        units,
        0,
        0,
        0,
        split["owner"],
        split["dealer"],
        split["other_payer"],
        split["open"],
        steps,
        (),
    )
