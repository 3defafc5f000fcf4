"""Work without an operation code beside work that has one: engine and reference alike, and never more than with it."""

import random
from collections import Counter
from decimal import Decimal

import pytest

from rules.adjudicate import Adjudicator
from schemas.claim import Claim
from schemas.claim_file import ClaimFile
from schemas.decision import Decision
from tests.fixtures_scenario.scenario import scenario
from tests.reference.fixture_books import CONVENTIONS, POLICIES, Names, book_of, claims_for
from tests.rules.test_reference_differential import differences

pytestmark = pytest.mark.fast
BOOKS: tuple[Names, ...] = (("money@1",), ("quillfen-base@1",), ("quillfen-wheel-drive@1", "quillfen-wheel-drive@2"))


def test_both_drives_of_a_demo_claim_of_which_one_states_no_code() -> None:
    """Claim C-2006: 2.6 h × 62.00 = 161.20 for the left drive alone, and 1.9 h × 62.00 = 117.80 with the right one."""
    tree = scenario().claims["C-2006"].model_dump(mode="json", by_alias=True)
    tree["lines"][3]["operation"] = None
    with Adjudicator(scenario().policies.book) as adjudicator:
        decision = adjudicator.decide(scenario().claim_file(Claim.model_validate(tree)))
    left, right = decision.lines[2:]
    assert (left.outcome, left.maker_pays, left.open) == ("need_info", Decimal("117.80"), Decimal("43.40"))
    assert (right.outcome, right.maker_pays, right.open) == ("need_info", Decimal(0), Decimal("161.20"))
    assert [question.id for question in decision.questions] == ["operation:4"]
    assert decision.questions[0].lines == ("3", "4")


@pytest.mark.parametrize("names", BOOKS, ids="+".join)
def test_engine_and_reference_decide_it_alike_and_it_pays_no_more_than_with_its_code(names: Names) -> None:
    book = {name: (POLICIES[name], CONVENTIONS[str(POLICIES[name].conventions)]) for name in names}
    files, rng, seen, found, asked = claims_for(names, 17, 0), random.Random(5), Counter[str](), list[str](), 0
    with Adjudicator(book_of(names)) as adjudicator:
        for _ in range(110):
            tree = files.draw_tree(lines=4)
            codes = [line for line in tree["claim"]["lines"] if "operation" in line]
            if len(codes) < 2:
                continue
            whole = adjudicator.decide(ClaimFile.model_validate(tree), remedies=False)
            rng.choice(codes).pop("operation")
            claim_file = ClaimFile.model_validate(tree)
            decision = adjudicator.decide(claim_file, remedies=False)
            found += differences(book, claim_file, decision, seen)
            asked += any(question.about == "operation" for question in decision.questions)
            _pays_no_more(decision, whole)
    assert not found, "\n\n".join(sorted(found, key=len)[:2])
    assert asked


def _pays_no_more(without: Decision, whole: Decision) -> None:
    """A line whose code is missing may itself be paid by the hours worked; the others gain nothing by it."""
    if not any(question.about == "operation" for question in without.questions):
        return
    for less, more in zip(without.lines, whole.lines, strict=True):
        if more.outcome not in ("need_info", "refer") and less.currency == more.currency:
            assert less.maker_pays <= more.maker_pays, (less, more)
