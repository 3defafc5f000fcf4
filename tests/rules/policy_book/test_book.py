"""The policy book: what only shows beside other policies, and that nothing in it can be changed."""

from collections.abc import Callable
from typing import Any

import pytest

from rules.policy_book.book import BookRefused, PolicyBook, build_book
from rules.policy_book.book_checks import apart
from tests.rules.policy_book.examples import book, conventions, falling, full_book, merged, policy

pytestmark = pytest.mark.fast


def from_day(day: str, until: str | None = None, **change: Any) -> dict[str, Any]:
    return {"in_force": {"from": day, **({"until": until} if until else {})}, **change}


Versions = list[dict[str, Any]]
REFUSED: list[tuple[str, Versions, str, list[str]]] = [
    (
        "conventions that are not there",
        [{"conventions": "other@1"}],
        "sprayer@1: conventions:",
        ["the conventions other@1 are not in this book", "Known: counted@1"],
    ),
    (
        "a fall-back that is not there",
        [falling("older@2")],
        "sprayer@1: services.oil.missed.fall_back_to:",
        ["falls back to older@2, which is not in this book", "Add that version"],
    ),
    (
        "a version that falls back to itself",
        [falling("sprayer@1")],
        "sprayer@1: services.oil.missed.fall_back_to:",
        ["sprayer@1 to sprayer@1", "must end at a version that falls back no further"],
    ),
    (
        "a circle of three",
        [falling("b@1", policy="a"), falling("c@1", policy="b"), falling("a@1", policy="c")],
        "a@1: services.oil.missed.fall_back_to:",
        ["a@1 to b@1 to c@1 to a@1"],
    ),
    (
        "the same version twice",
        [{}, {"title": "Another"}],
        "sprayer@1: version:",
        ["2 documents say that they are this version", "next version number"],
    ),
    (
        "two versions in force at once",
        [from_day("2023-04-01"), from_day("2025-01-01", version=2)],
        "sprayer@2: in_force:",
        [
            'versions 1 and 2 of "sprayer" are both in force on 1 January 2025',
            "1 from 1 April 2023, no end; 2 from 1 January 2025, no end",
            "Each start of term must select one",
            "end version 1 before 1 January 2025 (until: 2024-12-31)",
            "publish a copy of version 1 with that end as a version of its own that supersedes it",
            "write in it supersedes: [1] and in_force: {from: 2023-04-01, …}, and it replaces version 1",
        ],
    ),
    (
        "two versions that share their last and first day",
        [from_day("2023-04-01", "2025-01-01"), from_day("2025-01-01", version=2)],
        "sprayer@2: in_force:",
        ["both in force on 1 January 2025"],
    ),
    (
        "two versions from the same day",
        [from_day("2025-01-01"), from_day("2025-01-01", version=2)],
        "sprayer@2: in_force:",
        ["let version 2 begin later and end version 1 before that day"],
    ),
    (
        "two currencies",
        [from_day("2023-01-01", "2023-12-31"), from_day("2024-01-01", version=2, currency="USD")],
        "sprayer@2: currency:",
        ["its amounts are in USD, those of version 1 in EUR", "share one currency"],
    ),
    (
        "a fall-back in another currency",
        [falling("older@1"), {"policy": "older", "currency": "USD"}],
        "sprayer@1: services.oil.missed.fall_back_to:",
        ["in EUR, those of older@1, which it falls back to, in USD"],
    ),
    (
        "two layers",
        [from_day("2023-01-01", "2023-12-31"), from_day("2024-01-01", version=2, layer="drive")],
        "sprayer@2: layer:",
        ["its layer is drive, that of version 1 is base"],
    ),
    (
        "two dates that select",
        [
            from_day("2023-01-01", "2023-12-31"),
            {"version": 2, "in_force": {"from": "2024-01-01", "selected_by": "failed_on"}},
        ],
        "sprayer@2: in_force.selected_by:",
        ["selected by failed on, version 1 by start of term", "to both, or to neither"],
    ),
    (
        "a superseded version that is not there",
        [{"version": 2, "supersedes": [1]}],
        "sprayer@2: supersedes:",
        ["supersedes version 1, which is not in this book", "so that its decisions can be replayed"],
    ),
    (
        "two versions that replace one on the same days",
        [
            from_day("2023-01-01"),
            from_day("2023-01-01", "2024-01-01", version=2, supersedes=[1]),
            from_day("2024-01-01", version=3, supersedes=[1]),
        ],
        "sprayer@3: in_force:",
        [
            "versions 2 and 3",
            "both in force on 1 January 2024",
            "supersedes: [1, 2] and in_force: {from: 2023-01-01, …}",
        ],
    ),
    (
        "a version that supersedes an earlier one and leaves its first days to none",
        [from_day("2023-01-01"), from_day("2024-01-01", version=2, supersedes=[1])],
        "sprayer@2: supersedes:",
        [
            "it supersedes version 1, which was in force from 1 January 2023 until 31 December 2023",
            "whose start of term lies there would lose its cover",
            "Let version 2 begin on 2023-01-01, if it is for them too; else take 1 off the list.",
        ],
    ),
    (
        "a version that supersedes the one that ended an earlier one",
        [
            from_day("2023-01-01"),
            from_day("2023-01-01", "2023-12-31", version=2, supersedes=[1]),
            from_day("2024-01-01", version=3, supersedes=[2]),
        ],
        "sprayer@3: supersedes:",
        ["it supersedes version 2, which was in force from 1 January 2023 until 31 December 2023"],
    ),
    (
        "a version that leaves days between two others to none",
        [
            from_day("2023-01-01", "2023-06-30"),
            from_day("2023-07-01", "2023-12-31", version=2),
            from_day("2024-01-01", version=3, supersedes=[2]),
        ],
        "sprayer@3: supersedes:",
        ["it supersedes version 2, which was in force from 1 July 2023 until 31 December 2023"],
    ),
    (
        "a fall-back about other models",
        [falling("older@1"), {"policy": "older", "applies_to": {"models": ["QF90"]}}],
        "sprayer@1: services.oil.missed.fall_back_to:",
        ["older@1, which never applies", "it is about models QF90, not QF40 and QF60"],
    ),
]


@pytest.mark.parametrize(("versions", "at", "words"), [c[1:] for c in REFUSED], ids=[c[0] for c in REFUSED])
def test_a_book_is_refused_with_place_reason_and_way_out(versions: Versions, at: str, words: list[str]) -> None:
    with pytest.raises(BookRefused) as refused:
        book(*(policy(change) for change in versions))
    line = next(line for line in str(refused.value).splitlines() if line.startswith(at))
    assert all(word in line for word in words), line
    assert all(fault.message and fault.way_out and fault.path for fault in refused.value.faults)


def test_every_fault_of_a_book_is_listed_at_once() -> None:
    with pytest.raises(BookRefused) as refused:
        book(policy({"conventions": "other@1"}), policy(falling("older@2", policy="b")))
    assert [str(fault.policy) for fault in refused.value.faults] == ["sprayer@1", "b@1"]


def test_the_same_conventions_twice_are_refused() -> None:
    with pytest.raises(BookRefused, match="counted@1: version: 2 documents"):
        build_book([policy()], [conventions(), conventions({"title": "Another"})])


TAKEN: list[tuple[str, Versions]] = [
    ("versions one after another", [from_day("2023-04-01", "2024-12-31"), from_day("2025-01-01", version=2)]),
    (
        "a version that replaces a faulty one",
        [from_day("2023-04-01"), from_day("2023-04-01", version=2, supersedes=[1])],
    ),
    (
        "a version that replaces two",
        [
            from_day("2023-01-01"),
            from_day("2023-01-01", version=2, supersedes=[1]),
            from_day("2023-01-01", version=3, supersedes=[1, 2]),
        ],
    ),
    (
        "a version that ends a published one, and the next",
        [
            from_day("2023-01-01"),
            from_day("2023-01-01", "2023-12-31", version=2, supersedes=[1]),
            from_day("2024-01-01", version=3),
        ],
    ),
    (
        "… that supersedes the first one, too",
        [
            from_day("2023-01-01"),
            from_day("2023-01-01", "2023-12-31", version=2, supersedes=[1]),
            from_day("2024-01-01", version=3, supersedes=[1]),
        ],
    ),
    (
        "the next, and then a version that ends the published one",
        [
            from_day("2023-01-01"),
            from_day("2024-01-01", version=2),
            from_day("2023-01-01", "2023-12-31", version=3, supersedes=[1]),
        ],
    ),
    (
        "a replaced version that another date selected",
        [
            {"version": 1, "in_force": {"from": "2023-01-01", "selected_by": "failed_on"}},
            from_day("2023-01-01", "2023-12-31", version=2, supersedes=[1]),
            from_day("2024-01-01", version=3),
        ],
    ),
    ("two policies in force together", [{}, {"policy": "other"}]),
    (
        "a fall-back to a policy of fewer models",
        [falling("older@1"), {"policy": "older", "applies_to": {"models": ["QF4*"]}}],
    ),
    ("two ways to one fall-back", [falling("c@1", policy="a"), falling("c@1", policy="b"), {"policy": "c"}]),
]


@pytest.mark.parametrize("versions", [c[1] for c in TAKEN], ids=[c[0] for c in TAKEN])
def test_a_book_is_taken(versions: Versions) -> None:
    assert len(book(*(policy(change) for change in versions)).by_name) == len(versions)


def test_superseded_versions_and_mere_fall_backs_govern_nothing() -> None:
    first = policy(from_day("2023-01-01"))
    ended = policy(from_day("2023-01-01", "2023-12-31", version=2, supersedes=[1]))
    following = policy(from_day("2024-01-01", version=3))
    made = book(first, ended, following)
    assert [p.name for p in made.versions["sprayer"]] == ["sprayer@1", "sprayer@2", "sprayer@3"]
    assert [p.name for p in made.governing["sprayer"]] == ["sprayer@2", "sprayer@3"]


def test_some_versions_of_more_may_leave_what_they_supersede_elsewhere() -> None:
    last = policy(from_day("2024-01-01", version=3, supersedes=[1, 2]))
    first = policy(from_day("2023-01-01"))
    for some in ([last], [last, first]):
        with pytest.raises(BookRefused, match="supersedes version"):
            build_book(some, [conventions()])
        assert len(build_book(some, [conventions()], whole=False).by_name) == len(some)


APART: list[tuple[dict[str, Any], dict[str, Any], str]] = [
    ({}, {}, ""),
    ({"models": ["QF4*"]}, {"models": ["QF40*"]}, ""),
    ({"models": ["QF40"]}, {"models": ["QF4*"]}, ""),
    ({"models": ["QF5*"]}, {"models": ["QF4*"]}, "models QF4*, not QF5*"),
    ({"components": ["pump"]}, {}, ""),
    ({"components": ["pump"]}, {"components": ["drive", "pump"]}, ""),
    ({"components": ["pump"]}, {"components": ["drive"]}, "the drive, not the pump"),
    ({"regions": ["DE"]}, {"regions": ["DE-BY"]}, ""),
    ({"regions": ["DE"]}, {"regions": ["FR"]}, "its regions are FR, not DE"),
    ({"use": ["rental"]}, {"use": ["residential"]}, "its use are residential, not rental"),
]


@pytest.mark.parametrize(("one", "other", "words"), APART)
def test_two_conditions_meet_or_say_why_not(one: dict[str, Any], other: dict[str, Any], words: str) -> None:
    ours, theirs = (policy({"applies_to": change}).applies_to for change in (one, other))
    found = apart(ours, theirs)
    assert words in found
    assert bool(words) == bool(found) == bool(apart(theirs, ours))


def test_an_absurdly_large_policy_does_not_load() -> None:
    causes = [{"clause": "6", "causes": [f"cause_{n}_{m}" for m in range(40)], "borne_by": "owner"} for n in range(30)]
    with pytest.raises(BookRefused) as refused:
        book(policy({"exclusions": causes}))
    text = str(refused.value)
    assert "sprayer@1: its rules would not be safe to run: it has" in text
    assert "a ruleset holds at most 1000" in text
    assert "Split the policy into several" in text


# --- Nothing in a book can be changed -------------------------------------------------------------

CHANGES: list[Callable[[PolicyBook], None]] = [
    lambda b: b.by_name.update(x=b.policy("full@3")),  # type: ignore[attr-defined]
    lambda b: b.versions.pop("full"),  # type: ignore[attr-defined]
    lambda b: b.policy("full@3").clauses.clear(),  # type: ignore[attr-defined]
    lambda b: b.policy("full@3").ruleset.clear(),  # type: ignore[attr-defined]
    lambda b: setattr(b, "by_name", {}),
    lambda b: setattr(b.policy("full@3"), "digest", ""),
    lambda b: setattr(b.policy("full@3").terms, "title", "Another"),
    lambda b: setattr(b.policy("full@3").terms.term, "clause", "9"),
]


@pytest.mark.parametrize("change", CHANGES)
def test_a_book_cannot_be_changed(change: Callable[[PolicyBook], None]) -> None:
    made = full_book()
    digest = made.policy("full@3").digest
    with pytest.raises((AttributeError, TypeError, ValueError)):
        change(made)
    assert made.policy("full@3").digest == digest


def test_the_fall_backs_of_a_policy_are_found_with_it() -> None:
    made = book(
        policy(falling("b@1", policy="a")), policy(falling("c@1", policy="b")), policy({"policy": "c"}), policy()
    )
    assert [p.name for p in made.with_fall_backs([made.policy("a@1")])] == ["a@1", "b@1", "c@1"]


def test_merging_examples_takes_keys_away() -> None:
    assert merged({"a": 1, "b": {"c": 2}}, {"a": None, "b": {"d": 3}}) == {"b": {"c": 2, "d": 3}}
