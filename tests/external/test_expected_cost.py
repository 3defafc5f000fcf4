"""The expected cost of a coverage, by deciding a claim in every cell of the lifetime, against closed forms.

Every cell (a day of age or a few hours of use) is one claim that goes through the whole engine; the cells are weighed
with the exact probability that the part fails in them, so nothing here is random. Closed forms: W. R. Blischke and
D. N. P. Murthy, Warranty Cost Analysis (Marcel Dekker 1994), from memory, unless a test names another source. Printed
examples that pay nothing, such as the variance of the age at which a machine is replaced, have no policy to hold here.
"""

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from math import exp, isclose, log
from typing import Any

import pytest

from rules.adjudicate import Adjudicator
from rules.cases.facts import claim_file_of, merged
from rules.policy_book.book import build_book
from schemas.cases import CaseTable
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from tests.rules.settlement.examples import BASE, CONVENTIONS, EXPONENTS, tree

TERMS = tree("cases/policies/money-prorated-1.yaml")
DELIVERED = date(2021, 3, 1)  # 24 months without a 29 February: 365 and 730 days
YEAR = 365
Cumulative = Callable[[float], float]


def exponential(mean: float) -> Cumulative:
    return lambda x: 1 - exp(-x / mean)


class Engine:
    """A policy, and what it pays for a part of ``price`` that fails at an age or a use."""

    def __init__(self, price: str, change: dict[str, Any]) -> None:
        terms = merged(TERMS, {"policy": "money", **change})
        book = build_book([CoveragePolicy.model_validate(terms)], [Conventions.model_validate(CONVENTIONS)])
        self.adjudicator = Adjudicator(book)
        base = {"machine": {"retail_delivery": DELIVERED.isoformat(), "records_complete_from": DELIVERED.isoformat()}}
        self.table = CaseTable.model_validate(merged(BASE, {"base": base}))
        self.price = price

    def pays(self, *, day: int = 700, hours: str = "0") -> float:
        """Return what the maker pays for a failure so many days after delivery, at that meter reading."""
        on = (DELIVERED + timedelta(days=day)).isoformat()
        claim = {
            "failed_on": on,
            "repair_ended_on": on,
            "submitted_on": on,
            "reading": hours,
            "lines": {"part": {"component": "battery", "net": self.price}},
        }
        table = self.table.model_copy(update={"base": self.table.base.model_copy(update={"claim": claim})})
        file = claim_file_of(table, table.cases[0], "EUR", EXPONENTS)
        line = self.adjudicator.decide(file, remedies=False).lines[0]
        assert line.outcome in ("pay", "pay_part", "pay_zero", "deny"), line
        return float(line.maker_pays)

    def by_day(self, fails_by: Cumulative, days: int) -> float:
        """Return the expected payment for a part whose life in days has this distribution."""
        cells = ((self.pays(day=day), fails_by(day + 1) - fails_by(day)) for day in range(days))
        return sum(paid * chance for paid, chance in cells)

    def by_hours(self, fails_by: Cumulative, hours: int, cell: int) -> float:
        """Return the expected payment for a part whose life in hours of use has this distribution."""
        total = 0.0
        for low in range(0, hours, cell):
            middle = f"{low + cell / 2:.2f}"
            total += self.pays(hours=middle) * (fails_by(low + cell) - fails_by(low))
        return total


@pytest.fixture
def engine() -> Iterator[Callable[[str, dict[str, Any]], Engine]]:
    made: list[Engine] = []

    def make(price: str, change: dict[str, Any]) -> Engine:
        made.append(Engine(price, change))
        return made[-1]

    yield make
    for one in made:
        one.adjudicator.close()


Make = Callable[[str, dict[str, Any]], Engine]
MONTHS = {"by": "complete_months"}
HOURS = {"by": "machine_hours"}


def axes(*found: dict[str, Any], combine: str | None = None) -> dict[str, Any]:
    return {"prorating": {"axes": list(found), "combine": combine}}


def test_half_of_the_price_in_the_second_year(engine: Make) -> None:
    """Society of Actuaries, Exam P: price 200, mean life 2 years, all back in year 1 and half in year 2, 100 units."""
    two_steps = engine("200.00", axes({**MONTHS, "share": {"steps": [[0, 1], [12, "1/2"], [24, 0]]}}))
    expected = 100 * two_steps.by_day(exponential(2 * YEAR), 2 * YEAR + 10)
    assert round(expected) == 10_256
    assert isclose(expected, 100 * (200 * (1 - exp(-0.5)) + 100 * (exp(-0.5) - exp(-1))), rel_tol=1e-9)


def test_the_sum_that_makes_a_step_refund_cost_1000(engine: Make) -> None:
    """Society of Actuaries, Exam P (answer from memory): x in year 1, x/2 in years 2 and 3, mean 10 years: 5,644."""
    three = engine("5644.00", axes({**MONTHS, "share": {"steps": [[0, 1], [12, "1/2"], [36, 0]]}}))
    # 36 months from 1 March 2021 hold a 29 February: the year of the distribution is a third of them.
    expected = three.by_day(_years_of_months(exponential(10)), 3 * YEAR + 1)
    assert abs(expected - 1000) < 0.1


def _years_of_months(fails_by: Cumulative) -> Cumulative:
    """Stretch each of the policy's years, 365, 365 and 366 days, to one year of the distribution."""
    return lambda day: fails_by(day / 365 if day <= 730 else 2 + (day - 730) / 366)


def test_linear_rebate_with_exponential_life(engine: Make) -> None:
    """c [1 - (m/W)(1 - e^(-W/m))]: 4,000 over 2,000 h, 0.15 failures in 1,000 h; common practice, no source: 544."""
    linear = engine("4000.00", axes({**HOURS, "share": {"zero_at": 2000, "free_until": 0, "credit": "whole_term"}}))
    mean, end = 1000 / 0.15, 2000.0
    expected = linear.by_hours(exponential(mean), 2000, 5)
    closed = 4000 * (1 - mean / end * (1 - exp(-end / mean)))
    assert round(expected) == 544
    assert isclose(expected, closed, rel_tol=1e-5)


def test_a_price_that_holds_its_own_discounted_refund(engine: Make) -> None:
    """Linear over 4 years, force of failure 1 / (10 - t), discounted at 5 %; price = 55 + its refund: 67.68.

    Common practice, no source. Failures are spread evenly over 10 years, so that a discounted one weighs
    e^(-0.05 t) / 10; the refund is 0.187308 of the price. A year is written as 1,000 h.
    """
    linear = engine("1000.00", axes({**HOURS, "share": {"zero_at": 4000, "free_until": 0, "credit": "whole_term"}}))

    def discounted_by(hours: float) -> float:
        return (1 - exp(-0.05 * hours / 1000)) / (10 * 0.05)

    refund = linear.by_hours(discounted_by, 4000, 5) / 1000
    assert abs(refund - 0.187308) < 1e-5
    assert round(55 / (1 - refund), 2) == 67.68


def test_free_replacement_of_the_first_failure(engine: Make) -> None:
    """The free form of the same example: 2,800 over two years, c F(W); common practice, no source: 726."""
    free = engine("2800.00", {"prorating": None, "term": {"ends": {"first_of": [{"months": 24}]}}})
    expected = free.by_day(exponential(YEAR / 0.15), 2 * YEAR + 40)
    assert round(expected) == 726
    assert isclose(expected, 2800 * (1 - exp(-0.3)), rel_tol=1e-9)


@pytest.mark.parametrize(("scale", "printed"), [(6, 484), (8, 289)])
def test_free_replacement_with_minimal_repair(engine: Make, scale: int, printed: int) -> None:
    """c (W/eta)^beta, Weibull intensity with beta 1.8, W 2 years, c 3,500; common practice, no source."""
    free = engine("3500.00", {"prorating": None, "term": {"ends": {"first_of": [{"months": 24}]}}})

    def repairs_by(day: float) -> float:
        return float((day / (scale * YEAR)) ** 1.8)

    expected = free.by_day(repairs_by, 2 * YEAR + 40)
    assert round(expected) == printed
    assert isclose(expected, 3500 * (2 / scale) ** 1.8, rel_tol=1e-9)


@pytest.mark.parametrize("credit", ["tail_only", "whole_term"])
def test_free_period_before_a_linear_rebate(engine: Make, credit: str) -> None:
    """Free to W1 = 900 h and linear to W = 2,400 h, mean 3,000 h; the closed forms are worked out in the code."""
    both = engine("1000.00", axes({**HOURS, "share": {"zero_at": 2400, "free_until": 900, "credit": credit}}))
    mean, free, end = 3000.0, 900.0, 2400.0
    expected = both.by_hours(exponential(mean), 2400, 5)
    at_free, at_end = exp(-free / mean), exp(-end / mean)
    if credit == "tail_only":
        closed = 1 - mean / (end - free) * (at_free - at_end)
    else:
        closed = 1 - at_free + (1 - free / end) * at_free - mean / end * (at_free - at_end)
    assert isclose(expected, 1000 * closed, rel_tol=1e-5)


def test_product_of_two_linear_axes(engine: Make) -> None:
    """(1 - t/W)(1 - x/U) for a component as old as its machine, t/W = x/U: c (1 - x/W)^2 on the average."""
    share = {"zero_at": 2000, "free_until": 0, "credit": "whole_term"}
    two = engine(
        "1000.00", axes({**HOURS, "share": share}, {"by": "component_hours", "share": share}, combine="product_of")
    )
    rate, end = 1 / 1500, 2000.0
    expected = two.by_hours(exponential(1 / rate), 2000, 5)
    closed = 1 - 2 / (rate * end) + 2 * (1 - exp(-rate * end)) / (rate * end) ** 2
    assert isclose(expected, 1000 * closed, rel_tol=1e-5)


def _curve(value: Callable[[float], float], hours: int, step: int) -> dict[str, Any]:
    whole = value(0)
    points = [[at, f"{min(max(value(at) / whole, 0), 1):.9f}"] for at in range(0, hours + 1, step)]
    return {"points": points, "between": "linear"}


@pytest.mark.parametrize(
    ("price", "value", "hours", "mean", "printed"),
    [
        # Hogg and Tanis, Probability and Statistical Inference, 9th edition, exercise 3.2-20: answer 121.734.
        pytest.param("700.00", lambda x: 100 * (2 ** (3 - x / 1000) - 1), 3000, 5000, 121.734, id="hogg and tanis"),
        # Common practice, no source: e^(7 - 0.2 t) for 7 years, mean 10: 320.78.
        pytest.param(f"{exp(7):.4f}", lambda x: exp(7 - 0.2 * x / 1000), 7000, 10_000, 320.78, id="decay"),
        # Common practice, no source, worked out by integration: 12.5 (3^(4-t) - 1) for 4 years, mean 10: 79.6526.
        pytest.param(
            "1000.00", lambda x: 12.5 * (3 ** (4 - x / 1000) - 1), 4000, 10_000, 79.6526, id="powers of three"
        ),
    ],
)
def test_curves_drawn_with_points(
    engine: Make, price: str, value: Cumulative, hours: int, mean: int, printed: float
) -> None:
    """A year is written as 1,000 h; the straight lines between points 10 h apart lie above the curve by very little."""
    drawn = engine(
        price,
        {
            "term": {"ends": {"first_of": [{"machine_hours": hours}]}},
            **axes({**HOURS, "share": _curve(value, hours, 10)}),
        },
    )
    assert abs(drawn.by_hours(exponential(mean), hours, 10) - printed) < 0.02


def test_a_curve_that_ends_above_nothing_is_cut_by_the_term(engine: Make) -> None:
    """The decay above is worth e^5.6 at 7 years, and nothing a tenth of an hour later."""
    drawn = engine(
        f"{exp(7):.4f}",
        {
            "term": {"ends": {"first_of": [{"machine_hours": 7000}]}},
            **axes({**HOURS, "share": _curve(lambda x: exp(7 - 0.2 * x / 1000), 7000, 10)}),
        },
    )
    assert abs(drawn.pays(hours="7000") - exp(5.6)) < 0.01
    assert drawn.pays(hours="7000.1") == 0


def test_stratified_lives_agree_with_the_cells(engine: Make) -> None:
    """Lives at the middle of a thousand equal strata (inverse transform of an exponential life of 3,000 h)."""
    linear = engine("1000.00", axes({**HOURS, "share": {"zero_at": 2400, "free_until": 0, "credit": "whole_term"}}))
    mean, end, strata = 3000.0, 2400.0, 1000
    lives = [-mean * log(1 - (n + 0.5) / strata) for n in range(strata)]
    paid = [linear.pays(hours=f"{life:.2f}") for life in lives if life <= end]
    closed = 1000 * (1 - mean / end * (1 - exp(-end / mean)))
    assert isclose(sum(paid) / strata, closed, rel_tol=1e-4)
