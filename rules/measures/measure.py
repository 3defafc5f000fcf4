"""All measures of one policy for the lines it may pay, in one world."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

from rules.measures.alterations import AlteredLine, altered_lines
from rules.measures.duties import DutyState, duty_state, schedule_for, services_key
from rules.measures.groups import Group, build_group, group_of, limit_state, only_hours_tell
from rules.measures.hours import Hours
from rules.measures.prorating import Proration, prorate
from rules.measures.wear import WearShares, wear_shares, worn_of
from rules.open_facts import OpenFact, World
from rules.policy_book.compiled import CompiledPolicy
from rules.selection.select import Subject
from schemas.claim_file import ClaimFile
from schemas.frozen import quickly_made
from schemas.policy.clause import Limits
from schemas.policy.exclusions import ExcludedCauses
from schemas.policy.pays import NotPaid


@quickly_made
@dataclass(frozen=True, slots=True)
class Measures:
    """What the rule base and the settlement of one policy work on."""

    policy: CompiledPolicy
    subjects: tuple[Subject, ...]
    groups: tuple[Group, ...]
    group_of_line: dict[str, Group]
    duties: tuple[DutyState, ...]
    prorations: dict[str, Proration]
    item_over: frozenset[str]
    item_untold: dict[str, str]  # line -> clause path of a period that only an hour meter could tell of
    altered: tuple[AlteredLine, ...]
    cause: str | None
    differing_serials: dict[str, tuple[str, str, str]]  # line -> removed, fitted, record
    hours_at_failure: int | None


@dataclass(frozen=True, slots=True)
class Unstated:
    """What facts that are not stated may be, looked up once over all policies that may come to decide a claim."""

    causes: tuple[str, ...]
    wear: WearShares
    worn_by_line: frozenset[str]  # digests of the policies whose terms count wear


@lru_cache(maxsize=1024)
def what_may_be(policies: tuple[CompiledPolicy, ...]) -> Unstated:
    """Return the causes and worn shares that may make a difference under these policies."""
    by_line = frozenset(policy.digest for policy in policies if policy.counts_wear)
    return Unstated(excluded_causes(policies), wear_shares(policies), by_line)


def measure(
    policy: CompiledPolicy,
    subjects: Sequence[Subject],
    claim_file: ClaimFile,
    hours: Hours,
    unstated: Unstated,
    world: World,
) -> Measures:
    """Return the measures of ``policy`` for these lines."""
    groups: dict[str, Group] = {}
    group_of_line: dict[str, Group] = {}
    by_line = policy.digest in unstated.worn_by_line
    for subject in subjects:
        group = group_of(policy, subject.component, subject.fitted, subject.side)
        worn = worn_of(policy, subject.line, subject.wear, unstated.wear, world)
        key = f"{group[0]}/{subject.line.line}" if by_line else group[0]
        if key not in groups:
            groups[key] = build_group(
                len(groups), policy, group, subject.fitted, subject.side, claim_file, hours, worn, world
            )
        group_of_line[subject.line.line] = groups[key]
    return Measures(
        policy=policy,
        subjects=tuple(subjects),
        groups=tuple(groups.values()),
        group_of_line=group_of_line,
        duties=_duties(policy, tuple(groups.values()), claim_file, hours, world),
        prorations=_prorations(policy, subjects, group_of_line, claim_file, unstated, world),
        item_over=_items_over(policy, subjects, group_of_line, claim_file, unstated, world),
        item_untold={}
        if claim_file.machine.has_meter
        else _items_untold(policy, subjects, group_of_line, claim_file, unstated, world),
        altered=altered_lines(policy, subjects, claim_file, world),
        cause=_cause(policy, unstated.causes, claim_file, world),
        differing_serials=_differing_serials(subjects, world),
        hours_at_failure=hours.at_failure,
    )


def _duties(
    policy: CompiledPolicy, groups: tuple[Group, ...], claim_file: ClaimFile, hours: Hours, world: World
) -> tuple[DutyState, ...]:
    """Return every duty's state in every group; groups with one schedule and side (carve-outs) share it."""
    states: list[DutyState] = []
    for name, duty in policy.terms.services.items():
        judged: dict[tuple[date, int, str, str], DutyState | None] = {}
        for group in groups:
            schedule = schedule_for(duty, group, policy, claim_file, hours.timeline, world)
            key = (schedule.start, schedule.start_hours, services_key(policy, name, group), group.side)
            if key not in judged:
                judged[key] = duty_state(
                    name,
                    duty,
                    group,
                    schedule,
                    policy,
                    claim_file,
                    hours.timeline,
                    hours.at_failure,
                    hours.of_record,
                    world,
                )
            state = judged[key]
            if state is not None:
                states.append(state if state.group == group.number else replace(state, group=group.number))
    return tuple(states)


def _prorations(
    policy: CompiledPolicy,
    subjects: Sequence[Subject],
    group_of_line: dict[str, Group],
    claim_file: ClaimFile,
    unstated: Unstated,
    world: World,
) -> dict[str, Proration]:
    prorating = policy.terms.prorating
    if prorating is None:
        return {}
    found: dict[str, Proration] = {}
    by_group: dict[tuple[int, str | None], Proration] = {}
    for subject in subjects:
        line = subject.line
        if line.item not in prorating.items:
            continue
        group = group_of_line[line.line]
        key = (group.number, subject.fitted.id if subject.fitted is not None else None)
        if key not in by_group:
            worn = worn_of(policy, line, subject.wear, unstated.wear, world)
            by_group[key] = prorate(policy, group, claim_file, group.component_used, worn, world)
        found[line.line] = by_group[key]
    return found


def _items_over(
    policy: CompiledPolicy,
    subjects: Sequence[Subject],
    group_of_line: dict[str, Group],
    claim_file: ClaimFile,
    unstated: Unstated,
    world: World,
) -> frozenset[str]:
    over: set[str] = set()
    for subject in subjects:
        rule = policy.terms.pays.rule_for(subject.line.item)
        if isinstance(rule, NotPaid) or rule.until is None:
            continue
        group = group_of_line[subject.line.line]
        if limits_passed(rule.until, policy, group, subject, claim_file, unstated, world):
            over.add(subject.line.line)
    return frozenset(over)


def _items_untold(
    policy: CompiledPolicy,
    subjects: Sequence[Subject],
    group_of_line: dict[str, Group],
    claim_file: ClaimFile,
    unstated: Unstated,
    world: World,
) -> dict[str, str]:
    """Return the lines whose shorter period only hours could tell of, or the point from which one of two is paid."""
    pays = policy.terms.pays
    untold: dict[str, str] = {}
    claimed = {s.line.item for s in subjects if not isinstance(pays.rule_for(s.line.item), NotPaid)}
    for subject in subjects:
        item, group = subject.line.item, group_of_line[subject.line.line]
        rule, choice = pays.rule_for(item), pays.either_or
        if isinstance(rule, NotPaid):
            continue
        if rule.until is not None:
            passed = passed_limits(rule.until, policy, group, subject, claim_file, unstated, world)
            if only_hours_tell(rule.until, passed):
                untold[subject.line.line] = f"pays.{item}"
                continue
        if (
            choice is not None
            and choice.after.hours is not None
            and item in choice.items
            and claimed.issuperset(choice.items)
        ):
            untold[subject.line.line] = "pays.either_or"
    return untold


def limits_passed(
    limits: Limits,
    policy: CompiledPolicy,
    group: Group,
    subject: Subject,
    claim_file: ClaimFile,
    unstated: Unstated,
    world: World,
) -> bool:
    """Return whether a period inside the term is over: one limit passed (first_of), or all (last_of).

    One of hours, on a machine that has no hour meter, is passed by nobody's measure.
    """
    passed = passed_limits(limits, policy, group, subject, claim_file, unstated, world)
    return True in passed if limits.first_of is not None else all(passed)


def passed_limits(
    limits: Limits,
    policy: CompiledPolicy,
    group: Group,
    subject: Subject,
    claim_file: ClaimFile,
    unstated: Unstated,
    world: World,
) -> list[bool | None]:
    """Return for each limit whether it is passed, None where the machine has no hour meter that could tell."""
    passed: list[bool | None] = []
    for index, limit in enumerate(limits.all):
        state = limit_state(
            f"until[{index}]",
            limit,
            group.start,
            group.tested_day,
            group.hours_used,
            group.component_used,
            worn_of(policy, subject.line, subject.wear, unstated.wear, world),
            policy,
            claim_file,
            world,
        )
        passed.append(None if state is None else state.passed(policy.conventions))
    return passed


def excluded_causes(policies: Sequence[CompiledPolicy]) -> tuple[str, ...]:
    """Return the causes that some policy excludes, one for each way in which the policies treat a cause."""
    excluded = [
        exclusion.causes
        for policy in policies
        for exclusion in policy.terms.exclusions
        if isinstance(exclusion, ExcludedCauses)
    ]
    alike: dict[tuple[bool, ...], str] = {}
    for causes in excluded:
        for cause in causes:
            alike.setdefault(tuple(cause in others for others in excluded), cause)
    return tuple(alike.values())


def _cause(policy: CompiledPolicy, causes: Sequence[str], claim_file: ClaimFile, world: World) -> str | None:
    """Return the cause of the failure; one that is not stated is an open fact only where a cause is excluded.

    ``causes`` are those excluded by any policy of the claim, so that the fact means one cause under all of them.
    """
    if claim_file.claim.cause is not None:
        return claim_file.claim.cause
    if not any(isinstance(exclusion, ExcludedCauses) for exclusion in policy.terms.exclusions):
        return None
    fact = OpenFact("cause", "cause", "dealer", "the cause of the failure")
    picked = world.pick(fact, tuple(range(len(causes) + 1)))
    return causes[picked - 1] if picked else None


def serial_key(line: str) -> str:
    """Return the key under which a remedy assumes that the removed part is the one on file as fitted."""
    return f"serial:{line}"


def _differing_serials(subjects: Sequence[Subject], world: World) -> dict[str, tuple[str, str, str]]:
    differing: dict[str, tuple[str, str, str]] = {}
    for subject in subjects:
        removed, fitted = subject.line.removed_serial, subject.fitted
        if world.known(serial_key(subject.line.line), False):
            continue
        if removed is not None and fitted is not None and fitted.serial is not None and removed != fitted.serial:
            differing[subject.line.line] = (removed, fitted.serial, fitted.id)
    return differing
