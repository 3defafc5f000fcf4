"""`hourmark policy`: check, show, compare and publish the versions in a directory."""

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import typer

from rules.policy_book.demands import demands_text
from rules.policy_book.diff import diff_text
from rules.policy_book.lint import warnings_of
from rules.policy_book.show import WIDTH, terms_in_plain_english
from rules.policy_book.values import listed
from rules.policy_book.version_days import superseded_by
from schemas.documents import Fault
from service.command.cases import cases_beside
from service.command.output import NOT_HELD, complain, say, say_at, to_width, width
from service.currencies import all_exponents
from service.lock_file import LOCK_NAME, Published, conventions_ref, read_lock, with_versions, write_lock
from service.policy_alone import load_alone
from service.policy_files import PolicyDirectory, load_policies, load_with_fall_backs, lock_files
from service.rendering.decision_text import short_digest
from service.rendering.layout import wrapped
from service.text_files import InputRefused, refused, shown_path


def run_check(directory: Path) -> None:
    """Print what is wrong, what is doubtful, and what the terms ask of owners; raises InputRefused with all faults."""
    found = _load(directory)
    published = _published(directory)
    documents = {policy.ref: policy.terms for policy in found.book.by_name.values()}
    names = list(found.book.by_name)
    say(f"{len(names)} {'version' if len(names) == 1 else 'versions'} in {shown_path(directory)}, no faults.")
    for name, policy in found.book.by_name.items():
        state = "published" if name in published.policies else "not published"
        replaced = superseded_by(policy.ref, documents)
        superseded = f", superseded by {listed(replaced)}" if replaced else ""
        _say_wrapped(f"{name}  {policy.terms.title} ({state}{superseded})")
    _say_passed_over(found)
    warnings = warnings_of(found.book)
    if warnings:
        say()
        count = f"{len(warnings)} {'warning' if len(warnings) == 1 else 'warnings'}"
        say(f"{count}, worth a second look:")
    for warning in warnings:
        _say_warning(found.fault(warning.policy, warning.path, warning.message, warning.way_out))
    for policy in found.book.by_name.values():
        if not superseded_by(policy.ref, documents):  # what is replaced asks nothing of owners any more
            say()
            say("\n".join(to_width(demands_text(policy))))


def run_show(file: Path) -> None:
    """Print a policy in plain English; raises InputRefused."""
    found, name = load_with_fall_backs(file)
    _warn_of_changes(found)
    say(terms_in_plain_english(found.book.policy(name), min(width(), WIDTH)))


def run_diff(before: Path, after: Path) -> None:
    """Print what changes from one policy file to another, clause by clause; raises InputRefused."""
    old, new = load_alone(before), load_alone(after)
    for file in (before, after):
        with suppress(InputRefused):  # a fault of what lies beside it is none of the two
            _warn_of_changes(load_with_fall_backs(file)[0])
    text = diff_text(old, new)
    say("\n".join(to_width(text)))


def run_publish(directory: Path) -> None:
    """Close every version in a directory that is not closed yet.

    Raises InputRefused where anything has a fault, and typer.Exit where a worked case about a new version fails.
    """
    if not directory.is_dir():
        raise refused(directory, "this is no directory.", "Name the directory that holds the policies.")
    found = _load(directory)
    before = _published(directory)
    lock = directory / LOCK_NAME
    after, new = with_versions(found.book, read_lock(lock), known=before)
    _say_passed_over(found)
    if not new:
        count = f"all {len(found.book.by_name)} versions in {shown_path(directory)}"
        say(f"Nothing to publish: {count} are published and unchanged.")
        return
    _hold_cases(directory, new)
    write_lock(lock, after)
    for name in new:
        say(f"published  {name}  {short_digest(found.book.policy(name).digest)}")
    pinned = sorted({conventions_ref(found.book.policy(name)) for name in new} - set(before.conventions))
    for name in pinned:
        say(f"published  {name}  {short_digest(after.conventions[name])} (conventions)")
    old = len(found.book.by_name) - len(new)
    unchanged = f" {old} {'was' if old == 1 else 'were'} published before and unchanged." if old else ""
    say(f"{len(new)} {'version is' if len(new) == 1 else 'versions are'} now closed in {shown_path(lock)}.{unchanged}")
    also = f", {listed(pinned)} among them" if pinned else ""
    say(
        f"From now on these files, and the conventions that they pin{also}, are refused when they change; a change is"
        " published as a new version."
    )


def _hold_cases(directory: Path, new: Sequence[str]) -> None:
    """Run the worked cases about the versions to be published; raises typer.Exit where one does not hold."""
    total, failed, without = cases_beside(directory, set(new))
    if failed:
        count = f"{failed} of {total} worked {'case' if total == 1 else 'cases'}"
        way_out = "correct the terms where they are wrong, and what the case expects where the change is meant."
        held = f"about these versions {'does' if failed == 1 else 'do'} not hold; nothing was published."
        complain([f"{count} {held} Work each again by hand: {way_out}"])
        raise typer.Exit(NOT_HELD)
    if total:
        say(f"{total} worked {'case' if total == 1 else 'cases'} about {'it' if len(new) == 1 else 'them'}: all hold.")
    if without:
        say(f"No worked case is about {listed(without)}: nothing was tried before closing.")


def _say_passed_over(found: PolicyDirectory) -> None:
    """Name the files that say nothing of their own: neither policies nor conventions, and copies."""
    for file in found.passed_over:
        say_at(str(shown_path(file)), "says neither policy nor conventions, and was passed over.")
    for document, name, first in found.repeats:
        say_at(document, f"repeats {name} of {first}, and changes nothing: give it a version of its own, or remove it.")


def _warn_of_changes(*found: PolicyDirectory) -> None:
    """Say of published versions that changed: they can be read, to see what changed, but nothing is decided by them."""
    changed = dict.fromkeys(fault for directory in found for fault in directory.changed)
    complain(f"Warning: {fault}" for fault in changed)


def _load(directory: Path) -> PolicyDirectory:
    """Return the policies of a directory; raises InputRefused, also where a currency is none of ISO 4217."""
    found = load_policies(directory)
    known = all_exponents()
    faults = [
        found.fault(
            name,
            "currency",
            f"{policy.terms.currency} is no currency of ISO 4217 with decimals of its own.",
            "Write its three-letter code, for example EUR.",
        )
        for name, policy in found.book.by_name.items()
        if policy.terms.currency not in known
    ]
    if faults:
        raise InputRefused(faults)
    return found


def _published(directory: Path) -> Published:
    """Return what is published by all lock files that speak about a directory."""
    return Published(tuple(line for lock in lock_files(directory) for line in read_lock(lock).lines))


def _say_warning(fault: Fault) -> None:
    place = f"{fault.file}:{fault.line}"
    column, words = str(fault).removeprefix(place).split(" ", 1)
    say_at(f"{place}{column}", words)


def _say_wrapped(text: str) -> None:
    say("\n".join(wrapped(text, width(), "  ", "    ")))
