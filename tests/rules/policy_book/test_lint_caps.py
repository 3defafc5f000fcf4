"""Warnings about caps and sums: each code with terms that earn it and a near twin that does not."""

from typing import Any

import pytest

from tests.rules.policy_book.warned import LABOUR, OR, Change, Warned, assert_warned, ids_of

pytestmark = pytest.mark.fast


def caps(*each: Change) -> Change:
    base = {"over": "claim", "at": {"amount": 500}, "items": "all", "excess_borne_by": "owner"}
    return {"caps": [{"clause": f"7.{number}", **base, **one} for number, one in enumerate(each, 1)]}


def pays(**rules: Any) -> Change:
    return {"pays": rules}


FIXED = {"clause": "4.3", "fixed": 40, "excess_borne_by": "dealer"}
DISTANCE = {"clause": "4.3", "per_unit": "0.50", "unit": "km", "excess_borne_by": "dealer"}
DEDUCTIBLE = {"clause": "8", "amount": 100, "borne_by": "owner"}
WARNED: list[Warned] = [
    # code, terms, their near twin, path, words of the message
    (
        "item_never_paid",
        caps({"items": ["labour"]}),
        {**caps({"items": ["labour"]}), **pays(labour=LABOUR)},
        "caps[0].items",
        "nothing is ever paid of labour (pays.anything_else): this clause changes nothing. Take the clause off",
    ),
    (  # parts are paid, and capped
        "item_never_paid",
        caps({"items": ["parts", "travel", "freight"]}),
        caps({"items": ["parts"]}),
        "caps[0].items",
        "paid of travel or freight (pays.anything_else): there, this clause changes nothing. Take travel and freight",
    ),
    (
        "item_never_paid",
        pays(either_or={**OR, "picks": "lower"}),
        pays(either_or={**OR, "picks": "lower"}, labour=LABOUR),
        "pays.either_or.items",
        "nothing is ever paid of labour",
    ),
    (
        "cap_of_nothing",
        caps({"over": "line", "at": {"amount": "0.00"}, "items": ["parts"], "components": ["pump"]}),
        caps({"over": "line", "at": {"amount": "0.01"}, "items": ["parts"], "components": ["pump"]}),
        "caps[0].at",
        "at most 0 is ever paid of parts for the pump: every such line comes to nothing. Leave the cap out",
    ),
    (
        "cap_of_nothing",
        caps({"at": {"amount": 0}}),
        caps({"at": {"of": "machine_price"}}),
        "caps[0].at",
        "at most 0 is ever paid of any item: every",
    ),
    (
        "paid_at_nothing",
        pays(travel={**FIXED, "fixed": 0}),
        pays(travel=FIXED),
        "pays.travel.fixed",
        "fixed is 0, so that nothing of it is ever paid. Correct the number",
    ),
    ("paid_at_nothing", pays(parts={"share": 0}), pays(parts={"share": "1%"}), "pays.parts.share", "share is 0"),
    (
        "paid_at_nothing",
        pays(travel={**DISTANCE, "per_unit": 0}),
        pays(travel=DISTANCE),
        "pays.travel.per_unit",
        "per_unit is 0",
    ),
    (
        "paid_at_nothing",
        pays(labour={**LABOUR, "rate": 0}),
        pays(labour={**LABOUR, "rate": 60}),
        "pays.labour.rate",
        "rate is 0",
    ),
    (
        "deductible_of_nothing",
        {"deductible": {**DEDUCTIBLE, "amount": 0}},
        {"deductible": DEDUCTIBLE},
        "deductible.amount",
        "it takes nothing off any claim. Leave it out.",
    ),
    (  # what all items come to is 400.00 at most, so parts never come to 500.00
        "cap_in_shadow",
        caps({"items": ["parts"]}, {"at": {"amount": 400}}),
        caps({"items": ["parts"]}, {"at": {"amount": 501}}),
        "caps[0]",
        "caps[1] holds all that this one does to 400 EUR, so that 500 EUR are never reached. Take it off",
    ),
    (  # all items may come to more than parts alone
        "cap_in_shadow",
        caps({"items": ["parts"], "at": {"amount": 400}}, {"items": ["parts"]}),
        caps({"items": ["parts"], "at": {"amount": 400}}, {}),
        "caps[1]",
        "caps[0] holds all",
    ),
    (  # the same twice: the earlier one holds; one claim and a whole life are two spans
        "cap_in_shadow",
        caps({}, {}),
        caps({}, {"over": "machine_lifetime"}),
        "caps[1]",
        "to 500 EUR, so that 500 EUR",
    ),
    (  # a cap on the pump says nothing of other components
        "cap_in_shadow",
        caps({"components": ["pump"]}, {"at": {"amount": 400}, "components": ["pump", "engine"]}),
        caps({"components": ["pump"]}, {"at": {"amount": 400}, "components": ["engine"]}),
        "caps[0]",
        "caps[1] holds all",
    ),
]


@pytest.mark.parametrize(("code", "terms", "twin", "path", "words"), WARNED, ids=ids_of(WARNED))
def test_each_warning_has_terms_that_earn_it_and_a_twin_that_does_not(
    code: str, terms: Change, twin: Change, path: str, words: str
) -> None:
    assert_warned(code, terms, twin, path, words)
