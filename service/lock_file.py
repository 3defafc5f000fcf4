"""published.lock: the digest of every published version, so that a published file can never change unseen.

One line a version, sorted, for people and for merges: ``policy quillfen-wheel-drive@2 sha256:…``. A policy's digest
pins its conventions and its fall-backs; those of the conventions are kept beside it, to say which of them changed.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

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
_LINE = re.compile(r"(policy|conventions) +([a-z][a-z0-9-]{0,79}@[1-9]\d{0,5}) +(sha256:[0-9a-f]{64})")


@dataclass(frozen=True, slots=True)
class Published:
    """What a lock file holds: digests by name@version."""

    policies: Mapping[str, str]
    conventions: Mapping[str, str]


NOTHING_PUBLISHED = Published({}, {})


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
    found: dict[str, dict[str, str]] = {"policy": {}, "conventions": {}}
    faults = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.startswith("#"):
            continue
        match = _LINE.fullmatch(line.rstrip())
        if match is None:
            message = "this line is not `policy name@version sha256:…`, nor the same for conventions."
            faults.append(
                Fault(
                    str(file),
                    number,
                    None,
                    "",
                    message,
                    "Put back a copy from a backup or version control; never edit it.",
                )
            )
        elif found[match[1]].setdefault(match[2], match[3]) != match[3]:
            message = f"{match[2]} stands twice with different digests."
            faults.append(Fault(str(file), number, None, "", message, "Keep the line that was published first."))
    if faults:
        raise InputRefused(faults)
    return Published(found["policy"], found["conventions"])


def lock_text(published: Published) -> str:
    """Return the lock file's text, sorted by name and version number."""
    rows = [("policy", name, value) for name, value in published.policies.items()]
    rows += [("conventions", name, value) for name, value in published.conventions.items()]
    rows.sort(key=lambda row: (row[0] != "policy", parse_version_ref(row[1])))
    width = max((len(name) for _, name, _ in rows), default=0)
    return _HEADER + "".join(f"{kind:<11} {name:<{width}} {value}\n" for kind, name, value in rows)


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
    """Return ``own`` with the versions of the book that are in no lock file yet (``known``), and their names."""
    new = tuple(name for name in book.by_name if name not in known.policies)
    pinned = {conventions_ref(book.policy(name)): conventions_digest(book.policy(name)) for name in new}
    policies = {name: book.policy(name).digest for name in new}
    return Published({**own.policies, **policies}, {**own.conventions, **pinned}), new
