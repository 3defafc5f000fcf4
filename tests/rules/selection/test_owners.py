"""Whether the first owner has a machine on a day; worked by hand from the records of its owners, for 1 June 2024."""

from datetime import date
from typing import Any

import pytest

from rules.selection.owners import first_owner_fact, first_owner_has, owner_words
from schemas.machine import Machine

pytestmark = pytest.mark.fast

ON = date(2024, 6, 1)
Owners = tuple[tuple[int, str, str | None], ...]  # order, since, until
IN_DOUBT = "not known"


def machine(owners: Owners) -> Machine:
    tree: dict[str, Any] = {"serial": "M-1", "model": "QF60", "built_on": "2023-01-01"}
    tree["owners"] = [{"order": order, "since": since, "until": until} for order, since, until in owners]
    return Machine.model_validate(tree)


OWNERS: list[tuple[Owners, str]] = [
    ((), "1"),  # of a machine without owners on file nobody says that it was sold on
    (((1, "2023-03-15", None),), "1"),
    (((1, "2024-07-01", None),), "1"),  # not yet sold
    (((1, "2023-03-15", "2024-06-01"),), "1"),  # the last day of an ownership is inside
    (((1, "2023-03-15", "2024-05-31"),), IN_DOUBT),  # sold to somebody unknown
    (((1, "2023-03-15", "2024-05-31"), (2, "2024-06-02", None)), IN_DOUBT),  # between the two
    (((1, "2023-03-15", "2024-05-31"), (2, "2024-06-01", None)), "2"),
    (((1, "2023-03-15", "2024-06-01"), (2, "2024-06-01", None)), IN_DOUBT),  # the day of the change is both's
    (((1, "2023-03-15", None), (2, "2024-06-01", None)), "2"),  # whose first day it is
    (((1, "2023-03-15", None), (2, "2024-06-02", None)), "1"),
    (((1, "2023-03-15", "2024-06-02"), (2, "2024-05-31", None)), IN_DOUBT),  # both for days
    (((1, "2023-03-15", "2024-05-31"), (2, "2024-05-30", None)), "2"),  # … which have passed
    (((2, "2024-03-01", None),), "2"),
    (((2, "2024-03-01", "2024-04-01"),), "2"),  # the first owner had passed it on before
    (((1, "2023-03-15", None), (2, "2022-12-01", None)), IN_DOUBT),  # before it was built
    (((1, "2023-03-15", None), (2, "2023-03-01", None)), IN_DOUBT),  # before the first owner
    (((1, "2023-03-15", "2024-01-01"), (2, "2024-01-02", None), (3, "2024-05-01", None)), "3"),
]


@pytest.mark.parametrize(("owners", "who"), OWNERS)
def test_the_owner_on_a_day(owners: Owners, who: str) -> None:
    for order in (owners, owners[::-1]):
        owned = machine(order)
        assert owner_words(owned, ON) == who
        assert first_owner_has(owned, ON) is (None if who == IN_DOUBT else who == "1")


ASKED = [
    (((1, "2023-03-15", "2024-05-31"),), "dealer", "owner 1 is on file until 31 May 2024, and nobody for that day"),
    (
        ((1, "2023-03-15", "2024-06-01"), (2, "2024-06-01", None)),
        "dealer",
        "owner 1 is on file until 1 June 2024, owner 2 since 1 June 2024",
    ),
    # Both cannot have had it from 31 May to 2 June.
    (
        ((1, "2023-03-15", "2024-06-02"), (2, "2024-05-31", None)),
        "person",
        "owner 1 is on file until 2 June 2024, owner 2 since 31 May 2024",
    ),
    (
        ((1, "2023-03-15", None), (2, "2022-12-01", None)),
        "person",
        "owner 2 since 1 December 2022, before it was built",
    ),
]


@pytest.mark.parametrize(("owners", "asks", "words"), ASKED)
def test_who_is_asked_for_the_owner(owners: Owners, asks: str, words: str) -> None:
    fact = first_owner_fact(machine(owners), ON, "person")
    assert (fact.asks, fact.about) == (asks, "owner")
    assert words in fact.words
    assert first_owner_fact(machine(owners), ON, "dealer").asks == "dealer"
