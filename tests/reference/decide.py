"""A claim decided by the reference: every line over all worlds of its open facts."""

from dataclasses import dataclass

from schemas.claim_file import ClaimFile
from tests.reference.adjudication import Bench, Book, Result
from tests.reference.claim_days import AnyDay, days_in_doubt, refused_anyway, waiting, with_sure_days
from tests.reference.edges import Edges
from tests.reference.meter import History, read_history
from tests.reference.unknown import Given, Worlds, every_world

BEARERS = ("maker", "owner", "dealer", "other_payer")


@dataclass
class Verdict:
    """What a line came to in each world; ``exact``: these are all the results that there can be."""

    results: list[Result]
    asks: set[str]
    exact: bool
    waits_for: str = ""  # whoever must correct the day of the failure, before which nothing is decided

    @property
    def agreed(self) -> bool:
        return len({_seen(r) for r in self.results}) == 1

    def certain(self) -> dict[str, int]:
        """Return the least of each bearer, in minor units; nothing where currencies differ."""
        if len({r.money.currency for r in self.results}) > 1:
            return dict.fromkeys(BEARERS, 0)
        return {who: min(getattr(r.money, who) for r in self.results) for who in BEARERS}

    def shown(self) -> list[Result]:
        """Return the results that the line may be shown by: what is open must hold all that may still be paid.

        They claim the most and let the maker pay least, in the currency in which it may pay least of all.
        """
        least = min(r.money.maker for r in self.results)
        currencies = {r.money.currency for r in self.results if r.money.maker == least}
        found: list[Result] = []
        for currency in currencies:
            alike = [r for r in self.results if r.money.currency == currency]
            whole = [r for r in alike if r.money.claimed == max(other.money.claimed for other in alike)]
            found += [r for r in whole if r.money.maker == min(other.money.maker for other in whole)]
        return found

    def outcomes(self) -> set[str]:
        """Return the outcomes that the line may be given."""
        if self.waits_for:
            return {"need_info" if self.waits_for == "dealer" else "refer"}
        if self.agreed:
            return {outcome_of(self.results[0])}
        return {"need_info" if who == "dealer" else "refer" for who in self.asks} or {"refer"}


@dataclass
class Decided:
    """All lines of a claim; ``unclear``: the history of the meter is beyond this reference."""

    lines: dict[str, Verdict]
    unclear: bool
    worlds: int


def _seen(result: Result) -> tuple[object, ...]:
    money = result.money
    return result.state, money.currency, *(getattr(money, who) for who in BEARERS)


def outcome_of(result: Result) -> str:
    """Return the published outcome of a line in one world."""
    if result.state in ("deny", "refer"):
        return result.state
    if result.money.maker == 0:
        return "pay_zero"
    return "pay" if result.money.maker == result.money.claimed + result.money.added else "pay_part"


def decide(book: Book, claim_file: ClaimFile, most: int = 200, samples: int = 30, seed: int = 0) -> Decided:
    """Return every line's results under the policies of ``book``; above ``most`` worlds, those of drawn ones."""
    doubtful = days_in_doubt(claim_file)
    claim_file = with_sure_days(claim_file, doubtful) if doubtful else claim_file
    conventions = [c for _, c in book.values()]
    history = read_history(claim_file, conventions[0])
    # Policies whose conventions read a meter differently are beyond this reference; the engine's own tests hold them.
    if history.unclear or any((c.meter, c.facts) != (conventions[0].meter, conventions[0].facts) for c in conventions):
        return Decided({}, True, 0)
    edges = Edges(book, history)
    worlds = every_world(lambda given: Bench(book, claim_file, history, edges, given).decide(), most, samples, seed)
    exact = worlds.all_of_them and _told_apart(worlds, history)
    asks = set(worlds.asks.values())
    if (
        doubtful
        and conventions[0].facts.contradicts_itself == "refer"
        and any(k.startswith("date:") for k in worlds.asks)
    ):
        asks.add("person")
    names = [line.line for line in claim_file.claim.lines]
    lines = {name: Verdict(_told([result[name] for _, result in worlds.results]), asks, exact) for name in names}
    if "failed_on" in doubtful:
        any_day = AnyDay(book, claim_file, history, edges)
        asked = "person" if conventions[0].facts.contradicts_itself == "refer" else "dealer"
        for line in claim_file.claim.lines:
            lines[line.line] = _on_any_day(lines[line.line], any_day, any_day.refuses(line), asked)
    return Decided(lines, False, len(worlds.results))


def _told(results: list[Result]) -> list[Result]:
    """Return the results that tell a line: where the owner bears it in any case, of coverages that reach it."""
    to_owner = all(r.state == "deny" and r.money.owner == r.money.claimed for r in results)
    reached = [r for r in results if r.policy is not None]
    return reached if reached and to_owner and len({r.money.currency for r in results}) == 1 else results


def _on_any_day(verdict: Verdict, any_day: AnyDay, refused: bool, asked: str) -> Verdict:
    """Return a line while the day of the failure is in doubt: refused without looking at a day, or waiting."""
    denied = [refused_anyway(result, any_day.none_in_force) for result in verdict.results if result.state == "deny"]
    kept = [result for result in denied if result is not None]
    amounts = {(r.money.currency, r.money.claimed, *(getattr(r.money, who) for who in BEARERS)) for r in kept}
    if refused and len(kept) == len(verdict.results) and len(amounts) == 1:
        return Verdict(kept, set(), verdict.exact)
    return Verdict([waiting(result) for result in verdict.results], {asked}, verdict.exact, asked)


def _told_apart(worlds: Worlds, history: History) -> bool:
    """Return whether the values tried tell all results apart: with two sums of hours open, their grids need not."""
    hours = [key for key in worlds.asks if key.startswith(("reading:", "fitting:"))]
    return len(hours) <= 1 and not history.old_meters


__all__ = ["BEARERS", "Book", "Decided", "Given", "Verdict", "decide", "outcome_of"]
