"""published.lock: the digest of every published version, so that a published file can never change unseen.

One line a version, in the order of publication: ``3 policy quillfen-wheel-drive@2 sha256:…``. Publishing appends, and
every line carries its position and the last one their number: a file that was emptied, cut short or has lost a line
is seen, and refused. A policy's digest pins its conventions and its fall-backs; those of the conventions are kept
beside it, to say which of them changed.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy
from schemas.canonical import digest
from schemas.documents import Fault
from schemas.quantities import VersionRef, parse_version_ref
from service.text_files import InputRefused, refused, write_whole

LOCK_NAME = "published.lock"
_HEADER = (
    "# Published versions and the digest of what they say. Written by `hourmark policy publish`; keep it under\n"
    "# version control and never edit it. A version in it is closed: a change is published as a new version.\n"
)
_LINE = re.compile(r"(\d{1,9}) +(policy|conventions) +([a-z][a-z0-9-]{0,79}@[1-9]\d{0,5}) +(sha256:[0-9a-f]{64})")
_END = re.compile(r"end +(\d{1,9})")
_BACK = (
    "Put back a copy from a backup or version control, and never edit it; where two people have published side by"
    " side, keep the file of one and publish the versions of the other again."
)


@dataclass(frozen=True, slots=True)
class Line:
    """One published version of a policy, or of conventions that one pins."""

    kind: Literal["policy", "conventions"]
    name: str  # name@version
    digest: str


@dataclass(frozen=True, slots=True)
class Published:
    """What a lock file holds, in the order of publication."""

    lines: tuple[Line, ...] = ()

    @property
    def policies(self) -> Mapping[str, str]:
        """The digests of policies by name@version."""
        return {line.name: line.digest for line in self.lines if line.kind == "policy"}

    @property
    def conventions(self) -> Mapping[str, str]:
        """The digests of conventions by name@version."""
        return {line.name: line.digest for line in self.lines if line.kind == "conventions"}


NOTHING_PUBLISHED = Published()


def read_lock(file: Path) -> Published:
    """Return what is published by a lock file, nothing where there is none; raises InputRefused for a damaged one."""
    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return NOTHING_PUBLISHED
    except (OSError, UnicodeDecodeError) as error:
        raise refused(
            file, f"the lock file cannot be read: {error}.", "Put back a copy from a backup or version control."
        ) from None
    lines: list[Line] = []
    faults = [Fault(str(file), number, None, "", message, _BACK) for number, message in _damage(text, lines)]
    if faults:
        raise InputRefused(faults)
    return Published(tuple(lines))


def _damage(text: str, lines: list[Line]) -> Iterator[tuple[int, str]]:
    """Yield the number of each line that is damaged, and how; ``lines`` takes the good ones.

    What follows a damaged line is not looked at: its positions would only say the same again.
    """
    rows = [row.rstrip() for row in text.splitlines()]
    if rows[: len(_HEADER.splitlines())] != _HEADER.splitlines():
        yield 1, "this lock file does not begin as `hourmark policy publish` writes it: it was emptied or edited."
        return
    ended = False
    for number, row in enumerate(rows, 1):
        if not row or row.startswith("#"):
            continue
        end, match = _END.fullmatch(row), _LINE.fullmatch(row)
        if ended:
            yield number, "this line stands after the end of the file."
            return
        if end is not None:
            ended = True
            if int(end[1]) != len(lines):
                yield number, f"{end[1]} lines were written, and {len(lines)} are here."
                return
        elif match is None:
            yield number, "this line is not `1 policy name@version sha256:…`, nor the same for conventions."
            return
        elif int(match[1]) != len(lines) + 1:
            yield number, f"the line at position {len(lines) + 1} is missing: this one is at position {match[1]}."
            return
        elif any((line.kind, line.name) == (match[2], match[3]) for line in lines):
            yield number, f"{match[3]} stands twice."
            return
        else:
            lines.append(Line("policy" if match[2] == "policy" else "conventions", match[3], match[4]))
    if not ended:
        yield max(len(rows), 1), f"the file was cut short: it ends after position {len(lines)}, without its last line."


def lock_text(published: Published) -> str:
    """Return the lock file's text, line by line as it was published."""
    rows = (f"{position} {line.kind} {line.name} {line.digest}\n" for position, line in enumerate(published.lines, 1))
    return _HEADER + "".join(rows) + f"end {len(published.lines)}\n"


def write_lock(file: Path, published: Published) -> None:
    """Write the lock file in one step; raises OSError."""
    write_whole(file, lock_text(published))


def conventions_ref(policy: CompiledPolicy) -> str:
    return str(VersionRef(policy.conventions.conventions, policy.conventions.version))


def conventions_digest(policy: CompiledPolicy) -> str:
    """Return the digest of the conventions alone that a version pins."""
    return digest(policy.conventions.model_dump(mode="json", by_alias=True))


def changed_since_publication(book: PolicyBook, published: Published) -> dict[str, str]:
    """Return each published version that is no longer what was published, with what changed, in a sentence."""
    changed = {
        name
        for name, policy in book.by_name.items()
        if name in published.policies and policy.digest != published.policies[name]
    }
    return {name: _what_changed(book.by_name[name], changed, published) for name in sorted(changed)}


def conventions_changed(policy: CompiledPolicy, published: Published) -> bool:
    """Return whether the conventions that a version pins are published and no longer what was published."""
    digested = conventions_digest(policy)
    return published.conventions.get(conventions_ref(policy), digested) != digested


def next_free(name: str, taken: Iterable[str]) -> str:
    """Return the version after the last of one name among names written name@version.

    >>> next_free("drive", ["drive@1", "drive@2", "base@7"])
    'drive@3'
    """
    refs = map(parse_version_ref, taken)
    return f"{name}@{1 + max((ref.version for ref in refs if ref.name == name), default=0)}"


def _what_changed(policy: CompiledPolicy, changed: set[str], published: Published) -> str:
    if conventions_changed(policy, published):
        return f"{policy.name} is published, and its conventions {conventions_ref(policy)} have changed since."
    behind = [str(ref) for ref in policy.falls_back_to if str(ref) in changed]
    if behind:
        return f"{policy.name} is published, and {', '.join(behind)}, which it falls back to, has changed since."
    return f"{policy.name} is published, and its terms have changed since."


def with_versions(book: PolicyBook, own: Published, known: Published) -> tuple[Published, tuple[str, ...]]:
    """Return ``own`` and, after it, the versions of the book that are in no lock file yet (``known``); their names."""
    new = tuple(name for name in book.by_name if name not in known.policies)
    pinned = {conventions_ref(book.policy(name)): conventions_digest(book.policy(name)) for name in new}
    added = [Line("policy", name, book.policy(name).digest) for name in new]
    added += [Line("conventions", name, value) for name, value in pinned.items() if name not in own.conventions]
    return Published((*own.lines, *added)), new
