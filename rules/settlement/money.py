"""The split of a line's money over its bearers, in minor units, with every move that led to it."""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from rules.policy_book.compiled import CompiledPolicy
from rules.rounding import as_money
from rules.settlement.allowance import Cut
from rules.settlement.desk import Held
from rules.settlement.exact import Exact, exact_text, minor_of
from schemas.claim_file import ClaimFile
from schemas.decision import Step
from schemas.frozen import quickly_made

BEARERS = ("owner", "dealer", "other_payer", "open")


class Move(NamedTuple):
    """One step of the arithmetic in minor units, with the exact running amount after it and what made it.

    ``share`` multiplies the exact amount, ``amount`` is taken from it (or, in the step ``added``, added to it).
    """

    step: str
    clause: str | None
    words: str | Callable[[], str]
    before: int
    after: int
    exact: Exact
    bearer: str | None = None
    share: Fraction | None = None
    amount: Exact | None = None


@quickly_made
@dataclass(frozen=True, slots=True)
class LineMoney:
    """A line's money: ``claimed + added = maker + owner + dealer + other_payer + open``, in minor units."""

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
    moves: tuple[Move, ...]
    cuts: tuple[Cut, ...]
    held: tuple[Held, ...] = ()

    def money(self, units: int) -> Decimal:
        return as_money(units, self.exponent)

    @property
    def steps(self) -> tuple[Step, ...]:
        """The moves as a decision shows them."""
        return tuple(
            [
                Step(
                    move.step,  # type: ignore[arg-type]
                    move.clause,
                    move.words if isinstance(move.words, str) else move.words(),
                    self.money(move.before),
                    self.money(move.after),
                    move.bearer,  # type: ignore[arg-type]
                    None if move.share is None else str(move.share),
                    None if move.amount is None else exact_text(move.amount),
                    exact_text(move.exact),
                )
                for move in self.moves
            ]
        )


def unpaid(
    policy: CompiledPolicy | None,
    claim_file: ClaimFile,
    claimed: Exact,
    bearer: str,
    words: str,
    clause: str | None,
    currency: str,
) -> LineMoney:
    """Return the money of a line of which nothing is paid: all of it on one bearer, or open.

    ``claimed`` is in ``currency``. Without a policy the amount is rounded half up.
    """
    minor = minor_of(claim_file, currency, policy.conventions.money.round if policy is not None else "half_up")
    units = minor.units(claimed)
    owner, dealer, other_payer, left_open = (units if bearer == who else 0 for who in BEARERS)
    step = "open" if bearer == "open" else "not_covered"
    moves = (
        Move("claimed", None, "as claimed", units, units, claimed),
        Move(step, clause, words, units, 0, 0, bearer, amount=claimed),
    )
    return LineMoney(currency, minor.exponent, units, 0, 0, 0, owner, dealer, other_payer, left_open, moves, ())
