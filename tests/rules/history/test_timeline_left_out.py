"""Readings that contradict one another, by hand: which of them are in doubt, and within which bounds.

The machine and its conventions are those of ``test_timeline_by_hand``.
"""

from typing import Any

import pytest

from tests.rules.history.test_timeline_by_hand import FALL, ONE, span, timeline_of

pytestmark = pytest.mark.fast

AT_FAILURE: tuple[tuple[str, dict[str, Any], tuple[int, int]], ...] = (
    # A record that one side alone contradicts may be right: 150 h in the claim, between 100 h and what stands later.
    (
        "150 h in the claim and 120 h two months later",
        {"failed": "04-01", "readings": {**ONE, "R-2": ("06-01", "120")}, "claim": {"reading": "150"}},
        (10000, 15000),
    ),
    (
        "… and 130 h after that",
        {
            "failed": "04-01",
            "readings": {**ONE, "R-2": ("06-01", "120"), "R-3": ("06-10", "130")},
            "claim": {"reading": "150"},
        },
        (10000, 15000),
    ),
    (
        "5,000 h in the claim, which 120 h later contradicts as 100 h before does",
        {"failed": "04-01", "readings": {**ONE, "R-2": ("06-01", "120")}, "claim": {"reading": "5000"}},
        (10000, 12000),
    ),
    (
        "of 100 and 90 h either may be right, and 400 h agree with both",
        {
            "failed": "06-01",
            "readings": {"R-0": ("02-01", "20"), **ONE, "R-2": ("03-10", "90"), "R-3": ("05-01", "400")},
            "claim": {"reading": "420"},
        },
        (42000, 42000),
    ),
)


@pytest.mark.parametrize(("facts", "expected"), [row[1:] for row in AT_FAILURE], ids=[row[0] for row in AT_FAILURE])
def test_hours_at_the_failure(facts: dict[str, Any], expected: tuple[int, int]) -> None:
    assert span(timeline_of(**facts).at_failure) == expected


OF_SERVICE: tuple[tuple[str, dict[str, Any], tuple[int, int]], ...] = (
    (
        "a reading that 50 and 60 h contradict, after 20 h in February",
        {
            "failed": "04-20",
            "services": {"S": ("03-01", "100")},
            "readings": {"R-0": ("02-01", "20"), **FALL},
            "claim": {"reading": "70"},
        },
        (2000, 10000),
    ),
    (
        "a claim of 90 h below it leaves it open as well",
        {"services": {"S": ("03-01", "100")}, "readings": {"R-0": ("02-01", "20")}, "claim": {"reading": "90"}},
        (2000, 10000),
    ),
    (
        "… and not one of 20 h that the claim agrees with",
        {"services": {"S": ("02-01", "20")}, "readings": ONE, "claim": {"reading": "90"}},
        (2000, 2000),
    ),
)


@pytest.mark.parametrize(("facts", "expected"), [row[1:] for row in OF_SERVICE], ids=[row[0] for row in OF_SERVICE])
def test_hours_of_a_service(facts: dict[str, Any], expected: tuple[int, int]) -> None:
    assert span(timeline_of(**{"failed": "03-11", **facts}).of_records["S"]) == expected


def words_of(**facts: Any) -> list[str]:
    return [note.words for note in timeline_of(**facts).notes]


def test_what_is_said_of_a_reading_that_is_set_aside() -> None:
    """Each says what speaks against it, and no more: of two either may be right."""
    between = {"readings": {**ONE, "R-2": ("06-01", "120")}, "claim": {"reading": "5000"}}
    both = "reading 5,000.0 h on 1 April 2024 is set aside: the readings before and after it contradict it"
    assert words_of(failed="04-01", **between) == [both]
    either = {"R-0": ("02-01", "20"), **ONE, "R-2": ("03-10", "90"), "R-3": ("05-01", "400")}
    assert words_of(failed="06-01", readings=either, claim={"reading": "420"}) == [
        (
            "reading 100.0 h on 1 March 2024 is set aside: 90.0 h on 10 March 2024 (R-2) contradicts it, and either"
            " may be right"
        ),
        (
            "reading 90.0 h on 10 March 2024 is set aside: 100.0 h on 1 March 2024 (R-1) contradicts it, and either"
            " may be right"
        ),
    ]
    alone = {"R-0": ("02-01", "20"), **ONE, **FALL}
    assert words_of(failed="04-20", readings=alone, claim={"reading": "70"}) == [
        (
            "reading 100.0 h on 1 March 2024 is set aside: 50.0 h on 1 April 2024 (R-2) contradicts it, and the other"
            " readings agree without it"
        )
    ]


def test_the_claims_reading_in_doubt_is_asked_about_and_not_set_aside() -> None:
    later = {**ONE, "R-2": ("06-01", "120")}
    timeline = timeline_of(failed="04-01", readings=later, claim={"reading": "150"})
    assert timeline.notes == ()
    assert timeline.at_failure is not None
    assert timeline.at_failure.fact is not None
    assert (timeline.at_failure.fact.key, timeline.at_failure.fact.asks) == ("reading:failure", "person")
    assert timeline.at_failure.fact.words == (
        "the meter reading of 150.0 h on 1 April 2024 (the claim), which 120.0 h on 1 June 2024 (R-2) contradicts"
    )
