"""From allowed to payable, step by step, in whole minor units; what each step takes goes to a bearer."""

from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import product

from schemas.claim_file import EarlierPayment
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from schemas.policy.pays import Cap, CapAmount, EitherOr
from tests.reference.allowed import Allowed
from tests.reference.rounding import rounded
from tests.reference.shares import Share
from tests.reference.tables import Counter
from tests.reference.visits import SIDES, side_among


@dataclass
class Settled:
    """A line's money in whole minor units of ``currency``."""

    currency: str
    claimed: int
    added: int = 0
    allowed: int = 0
    maker: int = 0
    owner: int = 0
    dealer: int = 0
    other_payer: int = 0
    open: int = 0
    codes: list[str] = field(default_factory=list)
    held: list[str] = field(default_factory=list)

    def bear(self, bearer: str, units: int) -> None:
        setattr(self, bearer, getattr(self, bearer) + units)


@dataclass
class Line:
    """A covered line before settlement."""

    name: str
    item: str
    component: str | None
    quantity: Fraction
    allowed: Allowed
    share: Share | None
    lowered: list[tuple[Fraction, str]]
    past_either_or: bool
    terms: CoveragePolicy
    side: str = "none"


@dataclass
class Spent:
    """What an older version paid of a line of the same claim, and what its deductible took of it."""

    line: Line
    paid: int
    deductible: int


class Till:
    """The running amounts of all lines of the versions that state of the whole claim what ``counter.policy`` states."""

    def __init__(
        self,
        lines: list[Line],
        counter: Counter,
        spent: list[Spent],
        waits: Callable[[str], list[tuple[str, Fraction | None]]],
    ) -> None:
        self.waits = waits
        self.spent = spent
        self.taken: dict[str, int] = {}  # by the deductible
        self.lines = sorted(lines, key=lambda each: each.name)
        self.counter = counter
        self.policy: CoveragePolicy = counter.policy
        self.conventions: Conventions = counter.conventions
        self.exponent = counter.claim_file.currency_exponents[self.policy.currency]
        self.exact: dict[str, Fraction] = {}
        self.units: dict[str, int] = {}
        self.result: dict[str, Settled] = {}
        for line in self.lines:
            units = self.round(line.allowed.claimed)
            self.result[line.name] = Settled(self.policy.currency, units)
            self.units[line.name] = units
            self.exact[line.name] = self.kept(line.allowed.claimed, units)

    def round(self, amount: Fraction) -> int:
        return rounded(amount, self.exponent, self.conventions.money.round)

    def kept(self, exact: Fraction, units: int) -> Fraction:
        return Fraction(units, 10**self.exponent) if self.conventions.money.at == "step" else exact

    def bring(self, name: str, exact: Fraction, bearer: str) -> int:
        """Bring a line's running amount to ``exact``; the difference of the rounded amounts goes to ``bearer``."""
        units = self.round(exact)
        moved = self.units[name] - units
        if bearer == "added":
            self.result[name].added -= moved
        else:
            self.result[name].bear(bearer, moved)
        self.units[name], self.exact[name] = units, self.kept(exact, units)
        return moved

    def take(self, name: str, units: int, bearer: str) -> None:
        self.units[name] -= units
        self.exact[name] = max(self.exact[name] - Fraction(units, 10**self.exponent), Fraction(0))
        self.result[name].bear(bearer, units)

    def hold(self, name: str, code: str) -> None:
        self.result[name].held.append(code)
        self.take(name, self.units[name], "open")
        self.exact[name] = Fraction(0)

    def settle(self) -> dict[str, Settled]:
        for step in self.conventions.deduction_order:
            if step == "allowance":
                self.allowance()
            elif step == "share":
                self.share()
                for version in sorted({line.terms.version for line in self.lines}):
                    self.either_or([line for line in self.lines if line.terms.version == version])
            elif step == "deductible":
                self.deductible()
            else:
                for cap in self.policy.caps:
                    self.cap(cap)
        for name, settled in self.result.items():
            settled.maker = self.units[name]
        return self.result

    def allowance(self) -> None:
        for line in self.lines:
            if line.allowed.added:
                self.bring(line.name, self.exact[line.name] + line.allowed.added, "added")
            for code, amount, bearer in line.allowed.cuts:
                self.bring(line.name, max(self.exact[line.name] - amount, Fraction(0)), bearer)
                self.result[line.name].codes.append(code)
            self.result[line.name].allowed = self.units[line.name]

    def share(self) -> None:
        for line in self.lines:
            if line.share is not None and self.units[line.name]:
                self.prorate(line, line.share)
            for share, bearer in line.lowered if self.units[line.name] else ():
                self.bring(line.name, self.exact[line.name] * share, bearer)
                self.result[line.name].codes.append("service_lowers_share")

    def prorate(self, line: Line, share: Share) -> None:
        prorating = line.terms.prorating
        assert prorating is not None
        name, now = line.name, self.exact[line.name]
        if share.price is not None:
            price = min(share.price * (line.quantity if line.item == "parts" else 1), now)
            if price:
                self.bring(name, now - price, prorating.borne_by)
                self.result[name].codes.append("prorated")
        elif share.paid == 1:
            return
        elif prorating.owner_pays_on == "allowed_amount":
            self.bring(name, now * share.paid, prorating.borne_by)
        elif line.allowed.list_total is None:
            self.hold(name, "price_not_listed")
        else:
            of_list, of_claim = line.allowed.list_total * (1 - share.paid), now * (1 - share.paid)
            if of_list < of_claim:
                self.bring(name, now - of_list, "owner")
                self.bring(name, now * share.paid, "dealer")
                return
            moved = self.bring(name, now * share.paid, "owner")
            above = self.round(of_list) - moved
            if above > 0:
                self.result[name].added += above
                self.result[name].bear("owner", above)

    def either_or(self, lines: list[Line]) -> None:
        rule = lines[0].terms.pays.either_or
        if rule is None:
            return
        version = f"{lines[0].terms.policy}@{lines[0].terms.version}"
        past = [x for x in lines if x.past_either_or and x.item in rule.items and self.units[x.name]]
        held = [(item, most) for item, most in self.waits(version) if item in rule.items]
        held += [
            (x.item, Fraction(self.result[x.name].open, 10**self.exponent))
            for x in lines
            if x.past_either_or and x.item in rule.items and self.result[x.name].held
        ]
        paid = {item: self.paid_of(rule, item, past, held) for item in rule.items}
        for line in past:
            if paid[line.item] == {False}:
                self.bring(line.name, Fraction(0), rule.borne_by)
                self.result[line.name].codes.append("either_or")
            elif False in paid[line.item]:
                self.hold(line.name, "choice_undecided")

    def paid_of(
        self, rule: EitherOr, item: str, past: list[Line], held: list[tuple[str, Fraction | None]]
    ) -> set[bool]:
        """Return whether a kind is paid, in each outcome of the lines that wait; the outcomes at the ends tell all."""
        one, other = rule.items
        order = self.conventions.deduction_order
        earlier = set(order[: order.index("share")])
        shifting = (bool(self.policy.deductible) and "deductible" in earlier) or (
            bool(self.policy.caps) and "caps" in earlier
        )
        ends: dict[str, set[int]] = {}
        for kind in rule.items:
            least = sum(self.units[x.name] for x in past if x.item == kind)
            ends[kind] = {least}
            maximum = [most for which, most in held if which == kind]
            if None in maximum or (held and shifting and least):
                ends[kind] |= {least or 1, 10**30}
            elif extra := sum(self.round(most) for most in maximum if most is not None):
                ends[kind] |= {least or 1, least + extra}
        found = set()
        for of_one, of_other in product(ends[one], ends[other]):
            if (of_one if item == one else of_other) == 0:
                continue
            dearer, cheaper = (one, other) if of_one >= of_other else (other, one)
            chosen = dearer if rule.picks == "higher" else cheaper
            found.add(not (of_one and of_other) or chosen == item)
        return found

    def deductible(self) -> None:
        rule = self.policy.deductible
        if rule is None:
            return
        left = self.round(Fraction(rule.amount)) - sum(each.deductible for each in self.spent)
        before = dict(self.units)
        names = [line.name for line in self.lines]
        self.spread(names, min(left, sum(before.values())), rule.borne_by, "deductible")
        self.taken = {name: before[name] - self.units[name] for name in names}

    def spread(self, names: list[str], units: int, bearer: str, code: str) -> None:
        """Take units from several lines in proportion to their amounts; what is left over goes to the largest rests."""
        total = sum(self.units[n] for n in names)
        if units <= 0 or not total:
            return
        exact = {n: Fraction(units * self.units[n], total) for n in names}
        parts = {n: int(exact[n]) for n in names}
        rests = sorted(names, key=lambda n: (parts[n] - exact[n], names.index(n)))
        for name in rests[: units - sum(parts.values())]:
            parts[name] += 1
        for name in names:
            if parts[name]:
                self.take(name, parts[name], bearer)
                self.result[name].codes.append(code)

    def cap(self, cap: Cap) -> None:
        inside = [x for x in self.lines if within(cap, x)]
        elsewhere = [x.line for x in self.spent if within(cap, x.line)]
        pools: dict[tuple[str, ...], list[Line]] = {}
        for line in inside:
            pool: tuple[str, ...] = (line.name,) if cap.over == "line" else ()
            if cap.over == "component_lifetime":
                pool = (line.component or "", self.side_of(line, inside + elsewhere))
            pools.setdefault(pool, []).append(line)
        for pool, lines in pools.items():
            names = [x.name for x in lines]
            if not any(self.units[n] for n in names):
                continue
            own = pool if cap.over == "component_lifetime" else ()
            beside = [x for x in inside + elsewhere if x.component == lines[0].component]
            left = self.left(cap, lines, own, {x.side for x in beside} - {"none"})
            if isinstance(left, str):
                for name in names:
                    self.hold(name, left)
                continue
            self.spread(names, sum(self.units[n] for n in names) - left, cap.excess_borne_by, "cap_reached")

    def side_of(self, line: Line, inside: list[Line]) -> str:
        """Return the side a line is about; one that states none is of a side that others of its component state."""
        return side_among(
            line.name, line.side, {x.side for x in inside if x.component == line.component}, self.counter.given
        )

    def was_for(self, payment: EarlierPayment, side: str, sides: set[str]) -> bool:
        """Return whether an earlier payment counts against a side; which one it was for may not be on file."""
        if side == "none" or payment.position != "none":
            return side in ("none", payment.position)
        possible = sorted(sides) if len(sides) > 1 else [*sides, "none"]
        picked = self.counter.given.ask(f"position:payment:{payment.id}", [SIDES.index(s) for s in possible], "person")
        return SIDES[picked] == side

    def left(self, cap: Cap, lines: list[Line], pool: tuple[str, ...], sides: set[str]) -> int | str:
        """Return what a cap leaves in minor units, or the code of what is missing for it.

        ``pool`` is the component and side over whose life it counts, empty for any other cap.
        """
        most = self.most(cap, lines)
        if isinstance(most, str):
            return most
        paid = 0
        for payment in self.counter.claim_file.earlier_payments:
            if (
                cap.over not in ("machine_lifetime", "component_lifetime")
                or payment.policy.split("@")[0] != self.policy.policy
                or payment.claim == self.counter.claim_file.claim.claim
                or payment.paid_on > self.counter.claim_file.decided_on
                or (pool and payment.component != pool[0])
                or (pool and pool[1] != "none" and payment.position not in (pool[1], "none"))
                or (cap.components != "all" and payment.component not in cap.components)
                or (cap.items != "all" and payment.item not in cap.items)
            ):
                continue
            rate = self.counter.into(payment.currency, payment.paid_on)
            if rate is None:
                return "exchange_rate_missing"
            if not pool or self.was_for(payment, pool[1], sides):
                paid += self.round(Fraction(payment.amount) * rate)
        for each in self.spent if cap.over != "line" else ():
            line = each.line
            if not within(cap, line) or (pool and (line.component or "") != pool[0]):
                continue
            if pool and pool[1] not in ("none", side_among(line.name, line.side, sides, self.counter.given)):
                continue
            paid += each.paid
        return max(self.round(most) - paid, 0)

    def most(self, cap: Cap, lines: list[Line]) -> Fraction | str:
        if isinstance(cap.at, CapAmount):
            return Fraction(cap.at.amount)
        if cap.at.of == "machine_price":
            machine = self.counter.claim_file.machine
            if machine.price is None:
                return "cap_price_missing"
            rate = self.counter.into(machine.currency or self.policy.currency)
            return "exchange_rate_missing" if rate is None else Fraction(machine.price) * rate
        priced = [x.allowed for x in lines if x.item in ("parts", "fluids")]
        totals = [a.list_total if cap.at.of == "part_list_price" else a.net_total for a in priced]
        if not totals or None in totals:
            return "cap_price_missing"
        return sum((t for t in totals if t is not None), Fraction(0))


def within(cap: Cap, line: Line) -> bool:
    """Return whether a cap counts a line."""
    of_items = cap.items == "all" or line.item in cap.items
    return of_items and (cap.components == "all" or (line.component or "") in cap.components)
