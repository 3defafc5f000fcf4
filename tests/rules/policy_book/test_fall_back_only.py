"""Versions that hold only as a fall-back: what the book takes and refuses of them, what is warned of, who decides."""

from typing import Any

import pytest

from rules.adjudicate import Adjudicator
from rules.policy_book.book import BookRefused
from schemas.policy.document import CoveragePolicy
from tests.rules.history.machine_lives import Life
from tests.rules.policy_book.examples import book, policy
from tests.rules.policy_book.warned import Change, falling, found

pytestmark = pytest.mark.fast

AT = "services.oil.missed.fall_back_to"


def in_force(first: str = "2026-01-01", last: str | None = None, **change: Any) -> Change:
    return {"in_force": {"from": first, "until": last, **change}}


def only(first: str = "2026-01-01", last: str | None = None) -> Change:
    return in_force(first, last, only_as_fall_back=True)


# --- fall_back_governs_too: from 1 January 2026 the sprayer's terms hold, for starts of term -------------------------

GOVERNS: list[tuple[str, list[Change]]] = [
    ("in force beside it, without end", [{"policy": "older"}]),
    ("until the sprayer's first day", [{"policy": "older", **in_force("2020-01-01", "2026-01-01")}]),
    ("from its last day on", [{"policy": "older", **in_force("2026-12-31")}]),
    # a machine may start its term in 2021 and fail in 2026
    ("for earlier machines, by another date", [{"policy": "older", **in_force("2020-01-01", "2021-12-31")}]),
    ("in another layer", [{"policy": "older", "layer": "drive"}]),
    (
        "beside a faulty version of its own",
        [{"policy": "older", "version": 2, "supersedes": [1]}, {"policy": "older"}],
    ),
]
SPRAYERS: dict[str, Change] = {
    "from its last day on": in_force("2026-01-01", "2026-12-31"),
    "for earlier machines, by another date": in_force(selected_by="failed_on"),
}


@pytest.mark.parametrize(("name", "others"), GOVERNS, ids=[name for name, _ in GOVERNS])
def test_a_fall_back_that_also_governs_by_itself_is_warned_of(name: str, others: list[Change]) -> None:
    version = others[0].get("version", 1)
    sprayer = policy(falling(f"older@{version}", **SPRAYERS.get(name, {})))
    (warning,) = found(book(sprayer, *map(policy, others)), "fall_back_governs_too")
    assert (warning.policy, warning.path) == ("sprayer@1", AT)
    assert warning.message.startswith(f"older@{version} is in force beside this version")
    assert "what this version excludes may be paid all the same" in warning.message
    assert f"Let older@{version} say in_force: {{only_as_fall_back: true}}" in warning.way_out


GOVERNS_NOT: list[tuple[str, Change, list[Change]]] = [
    ("only as a fall-back", {}, [{"policy": "older", **only()}]),
    ("from the day after", in_force("2026-01-01", "2026-12-31"), [{"policy": "older", **in_force("2027-01-01")}]),
    ("until the day before", {}, [{"policy": "older", **in_force("2020-01-01", "2025-12-31")}]),
    (
        "superseded by a version that does",
        {},
        [{"policy": "older"}, {"policy": "older", "version": 2, "supersedes": [1]}],
    ),
]


@pytest.mark.parametrize(("sprayer", "others"), [c[1:] for c in GOVERNS_NOT], ids=[c[0] for c in GOVERNS_NOT])
def test_a_fall_back_that_governs_no_machine_of_the_version_is_not(sprayer: Change, others: list[Change]) -> None:
    made = book(policy(falling("older@1", **sprayer)), *map(policy, others))
    assert found(made, "fall_back_governs_too") == []


def test_a_version_that_never_governs_itself_is_not_warned_of_one_that_does() -> None:
    first, second = policy(falling("second@1", policy="first")), policy(falling("older@1", policy="second", **only()))
    assert found(book(first, second, policy({"policy": "older"})), "fall_back_governs_too") == []


def test_a_faulty_version_is_not_warned_of_a_fall_back_that_governs_too() -> None:
    mended = policy(falling("older@1", version=2, supersedes=[1]))
    warned = found(book(policy(falling("older@1")), mended, policy({"policy": "older"})), "fall_back_governs_too")
    assert [warning.policy for warning in warned] == ["sprayer@2"]


def test_versions_of_one_name_never_govern_together_and_are_not_warned_of() -> None:
    older = policy(in_force("2020-01-01", "2025-12-31"))
    assert found(book(older, policy(falling("sprayer@1", version=2))), "fall_back_governs_too") == []


# --- fall_back_of_nothing -------------------------------------------------------------------------


def test_a_fall_back_that_no_version_falls_back_to_is_warned_of() -> None:
    older = policy({"policy": "older", **only()})
    (warning,) = found(book(policy(), older), "fall_back_of_nothing")
    assert (warning.policy, warning.path) == ("older@1", "in_force.only_as_fall_back")
    assert "none in this book does: it decides nothing" in warning.message
    assert "Let a version fall back to it, or take only_as_fall_back off" in warning.way_out
    assert found(book(policy(falling("older@1")), older), "fall_back_of_nothing") == []
    assert found(book(policy(), policy({"policy": "older"})), "fall_back_of_nothing") == []


def test_the_fall_back_of_another_version_is_not_the_one_of_this() -> None:
    versions = [policy({"policy": "older", "version": n, **only()}) for n in (1, 2)]
    warned = found(book(policy(falling("older@2")), *versions), "fall_back_of_nothing")
    assert [warning.policy for warning in warned] == ["older@1"]


def test_a_book_of_fall_backs_only_is_warned_of_and_decides_nothing() -> None:
    made = book(policy(falling("older@1", **only())), policy({"policy": "older", **only()}))
    assert [warning.policy for warning in found(made, "fall_back_of_nothing")] == ["sprayer@1"]
    claim_file = Life({}, failed=900, reading="400.00").claim_file()  # delivered on 1 January 2024
    sprayer = claim_file.machine.model_copy(update={"model": "QF40"})
    with Adjudicator(made) as adjudicator:
        (line,) = adjudicator.decide(claim_file.model_copy(update={"machine": sprayer})).lines
    assert (line.outcome, str(line.maker_pays), line.policy) == ("deny", "0.00", None)
    assert {reason.code for reason in line.reasons} == {"no_coverage_for_machine"}


# --- What a book takes and refuses ----------------------------------------------------------------


def versions(*changes: Change) -> list[CoveragePolicy]:
    return [policy({"version": number, **change}) for number, change in enumerate(changes, 1)]


TAKEN: list[tuple[str, list[CoveragePolicy]]] = [
    ("a fall-back beside the version in force", versions({}, only())),
    ("the version in force beside a fall-back", versions(only(), {})),
    ("two fall-backs", versions(only(), only())),
    ("a fall-back selected by another date", versions({}, in_force(only_as_fall_back=True, selected_by="failed_on"))),
    ("a version selected by another date", versions(only(), in_force(selected_by="failed_on"))),
    ("a fall-back that replaces a fall-back", versions(only(), {**only(), "supersedes": [1]})),
    ("a version that replaces a fall-back", versions(only(), {"supersedes": [1]})),
]


@pytest.mark.parametrize("taken", [c[1] for c in TAKEN], ids=[c[0] for c in TAKEN])
def test_fall_backs_stand_beside_other_versions(taken: list[CoveragePolicy]) -> None:
    assert len(book(*taken).by_name) == len(taken)


REFUSED: list[tuple[str, list[CoveragePolicy], str, str]] = [
    ("the same without the flag", versions({}, {}), "sprayer@2: in_force:", "both in force on 1 January 2026"),
    (
        "by another date without the flag",
        versions({}, in_force(selected_by="failed_on")),
        "sprayer@2: in_force.selected_by:",
        "to both, or to neither",
    ),
    (
        "a fall-back that replaces a version in force",
        versions({}, {**only(), "supersedes": [1]}),
        "sprayer@2: supersedes:",
        "itself only a fall-back: nothing would govern them. Take only_as_fall_back off, or take 1 off the list.",
    ),
]


@pytest.mark.parametrize(("given", "at", "words"), [c[1:] for c in REFUSED], ids=[c[0] for c in REFUSED])
def test_what_fall_backs_may_not_do_is_refused(given: list[CoveragePolicy], at: str, words: str) -> None:
    with pytest.raises(BookRefused) as refused:
        book(*given)
    (line,) = str(refused.value).splitlines()
    assert line.startswith(at)
    assert words in line


# --- Digests --------------------------------------------------------------------------------------


def digest_of(change: Change) -> str:
    return book(policy(change)).policy("sprayer@1").digest


def test_versions_published_before_the_flag_keep_their_digest() -> None:
    """The pinned digest is that of the version as it was published, before versions could be fall-backs only."""
    published = "sha256:ebdba9fa7574fc8239f8fdc4746ed32edbe435164bba2575fdd9140506414311"
    assert digest_of({}) == published
    assert digest_of(in_force(only_as_fall_back=False)) == published
    assert digest_of(only()) != published
