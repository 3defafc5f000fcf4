"""One line over several worlds: what is undisputed, what is open, which world it is shown by. Sums worked by hand."""

from collections.abc import Sequence
from typing import Any

import pytest

from rules.decision.merge import MergedLine, merge
from rules.line_views import LineResult, WorldResult
from rules.open_facts import Explored, OpenFact
from rules.settlement.money import LineMoney

pytestmark = pytest.mark.fast

ASKED = OpenFact("reading", "reading", "dealer", "the meter reading at the failure")
LOOKED_AT = OpenFact("part_altered", "alteration", "person", "whether the part had been altered")


def line(
    state: str, maker: int = 0, owner: int = 0, dealer: int = 0, other_payer: int = 0, left: int = 0, **change: Any
) -> LineResult:
    """Return a line in one world that claims 1,000 minor units, and what is added to them."""
    added = maker + owner + dealer + other_payer + left - 1000
    sums = (maker, owner, dealer, other_payer, left)
    money = LineMoney(change.get("currency", "EUR"), 2, 1000, added, 1000, *sums, (), ())
    return LineResult(None, state, None, (), (), money, ())  # type: ignore[arg-type]


def merged(
    lines: Sequence[LineResult], complete: bool = True, fact: OpenFact = ASKED, unnamed: bool = False
) -> MergedLine:
    """Return the line merged over one world for each value of a fact."""
    worlds = [
        (((fact, choice),), WorldResult((one,), None, {}, (), (), None))  # type: ignore[arg-type]
        for choice, one in enumerate(lines)
    ]
    return merge(Explored(tuple(worlds), complete), 0, unnamed)


def merged_over_two(lines: Sequence[LineResult], complete: bool = True) -> MergedLine:
    """Return the line merged over four worlds: two values of what is asked, and for each two of what is looked at."""
    values = [(0, 0), (0, 1), (1, 0), (1, 1)]
    worlds = [
        (((ASKED, one), (LOOKED_AT, other)), WorldResult((found,), None, {}, (), (), None))  # type: ignore[arg-type]
        for (one, other), found in zip(values, lines, strict=True)
    ]
    return merge(Explored(tuple(worlds), complete), 0)


def split(found: MergedLine) -> tuple[int, int, int, int, int]:
    return found.maker, found.owner, found.dealer, found.other_payer, found.open


PAID, HALF = line("covered", 1000), line("covered", 500, 500)
AGREED: list[tuple[LineResult, str]] = [
    (PAID, "pay"),
    (HALF, "pay_part"),
    (line("covered", 900, dealer=100), "pay_part"),
    (line("covered", 900, other_payer=100), "pay_part"),
    (line("covered", 900, left=100), "pay_part"),
    (line("covered", 1100, dealer=100), "pay_part"),  # 200 added and 100 cut: a cut stays a cut
    (line("covered", 1200), "pay"),
    (line("covered", 0, 1000), "pay_zero"),
    (line("deny", 0, 1000), "deny"),
    (line("refer", left=1000), "refer"),
]


@pytest.mark.parametrize(("one", "outcome"), AGREED)
def test_worlds_that_agree_decide(one: LineResult, outcome: str) -> None:
    found = merged([one, one])
    money = one.money
    assert (found.outcome, found.facts, found.most, found.complete) == (outcome, (), money.maker, True)
    assert split(found) == (money.maker, money.owner, money.dealer, money.other_payer, money.open)


def test_worlds_that_agree_are_shown_by_the_first() -> None:
    lines = [line("covered", 1000), line("covered", 1000)]
    found = merged(lines)
    assert found.shown is lines[0]
    assert found.world.lines[0] is lines[0]


def test_of_each_bearer_the_least_is_undisputed_and_the_rest_is_open() -> None:
    """The maker pays 400, 700 or 600; the owner owes 100, 200 or 300; the dealer bears 500, 100 or 100."""
    found = merged([line("covered", 400, 100, 500), line("covered", 700, 200, 100), line("covered", 600, 300, 100)])
    assert split(found) == (400, 100, 100, 0, 400)
    assert (found.outcome, found.most, found.facts) == ("need_info", 700, (ASKED,))


def test_another_payer_s_least_is_undisputed_too() -> None:
    found = merged([line("covered", 600, other_payer=400), line("covered", 700, other_payer=300)])
    assert split(found) == (600, 0, 0, 300, 100)


def test_worlds_that_differ_by_the_state_alone_are_not_one() -> None:
    found = merged([line("covered", 0, 1000), line("deny", 0, 1000)])
    assert (found.outcome, split(found)) == ("need_info", (0, 1000, 0, 0, 0))


@pytest.mark.parametrize(
    ("lines", "shown"),
    [
        ([PAID, HALF], 1),
        ([HALF, PAID], 0),
        ([line("covered", 0, 1000), line("refer", left=1000), line("deny", 0, 1000)], 2),
        ([line("covered", 0, 1000), line("refer", left=1000)], 1),
        ([line("deny", 0, 1000), line("covered", 0, 900, 100)], 0),
    ],
)
def test_a_line_is_shown_by_the_world_that_pays_least_a_denied_one_first(lines: list[LineResult], shown: int) -> None:
    found = merged(lines)
    assert found.shown is lines[shown]
    assert found.world.lines == (lines[shown],)


def test_what_a_person_must_look_at_is_held_for_a_person() -> None:
    assert merged([PAID, HALF], fact=LOOKED_AT).outcome == "refer"


def test_one_question_for_a_person_holds_the_line_for_a_person() -> None:
    found = merged_over_two([PAID, HALF, HALF, HALF])
    assert (found.outcome, found.facts) == ("refer", (ASKED, LOOKED_AT))


@pytest.mark.parametrize(
    ("lines", "facts"),
    [
        ([PAID, PAID, HALF, HALF], (ASKED,)),
        ([PAID, HALF, PAID, HALF], (LOOKED_AT,)),
        ([PAID, PAID, PAID, PAID], (ASKED, LOOKED_AT)),  # none of the worlds looked at differs: any may matter
    ],
)
def test_where_too_many_worlds_are_left_what_matters_in_the_others_is_asked(
    lines: list[LineResult], facts: tuple[OpenFact, ...]
) -> None:
    found = merged_over_two(lines, complete=False)
    assert (found.outcome, found.facts) == ("refer", facts)


def test_where_all_worlds_are_known_only_what_matters_is_asked() -> None:
    found = merged_over_two([PAID, PAID, HALF, HALF])
    assert (found.outcome, found.facts) == ("need_info", (ASKED,))


@pytest.mark.parametrize("lines", [[PAID, HALF], [PAID, PAID]])
def test_worlds_that_were_not_looked_at_leave_everything_open(lines: list[LineResult]) -> None:
    found = merged(lines, complete=False)
    assert (found.outcome, split(found), found.complete) == ("refer", (0, 0, 0, 0, 1000), False)
    assert found.facts == (ASKED,)


def test_a_line_that_no_coverage_names_is_decided_without_them() -> None:
    denied = line("deny", 0, 1000)
    assert merged([denied, denied], complete=False, unnamed=True).outcome == "deny"
    assert merged([denied, PAID], complete=False, unnamed=True).outcome == "refer"


def test_amounts_of_two_currencies_have_no_least() -> None:
    found = merged([PAID, line("covered", 800, 200, currency="USD")])
    assert (found.outcome, split(found)) == ("need_info", (0, 0, 0, 0, 1000))


def test_what_is_added_is_open_with_the_rest() -> None:
    """1,200 where a flat time is paid, 1,000 where not: the claim and what is added are those of the world shown."""
    assert split(merged([line("covered", 1200), line("covered", 700, 300)])) == (700, 0, 0, 0, 300)
    assert split(merged([line("covered", 900, 300), line("covered", 1000)])) == (900, 0, 0, 0, 300)
