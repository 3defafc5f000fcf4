"""What is said beside a decision and is no part of it: drafts that decided, words that look mistyped, what was taken.

The rules know neither files nor lock files, so the Decision cannot say it; whoever reads the decision must.
"""

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass

from rules.policy_book.values import listed
from schemas.decision import Decision
from service.rendering.words import titled, version_text


@dataclass(frozen=True, slots=True)
class Remark:
    """A sentence for the desk; ``for_dealer`` where it stands in the letter, too, because the dealer can mend it."""

    words: str
    for_dealer: bool = False


def draft_remarks(decision: Decision, drafts: Set[str]) -> tuple[Remark, ...]:
    """Return a remark for the drafts that play a part in a decision; none where every version is published."""
    names = [version_text(name) for name in sorted(deciding(decision) & drafts)]
    if not names:
        return ()
    told = "is a draft: no lock file holds it" if len(names) == 1 else "are drafts: no lock file holds them"
    return (Remark(f"{listed(names)} {told}."),)


def draft_words_for_dealer(decision: Decision, drafts: Set[str], titles: Mapping[str, str]) -> str:
    """Return what a letter says of the drafts that it rests on; nothing where every version is published."""
    names = [titled(name, titles) for name in sorted(deciding(decision) & drafts)]
    if not names:
        return ""
    verb = "is a draft that is" if len(names) == 1 else "are drafts that are"
    return f"This letter is for trial only: {listed(names)} {verb} not published."


def deciding(decision: Decision) -> frozenset[str]:
    """Return the versions that decide a line or stand as the ground of a reason."""
    found: set[str | None] = set()
    for line in decision.lines:
        found |= {line.policy, *(reason.policy for reason in line.reasons)}
    return frozenset(name for name in found if name is not None)


def for_dealer(remarks: Iterable[Remark]) -> tuple[str, ...]:
    """Return the words of the remarks that the dealer can act on."""
    return tuple(remark.words for remark in remarks if remark.for_dealer)
