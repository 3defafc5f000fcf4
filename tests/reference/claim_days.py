"""Days of a claim in the wrong order, worked again: which are in doubt, and which refusals need no day at all."""

from collections.abc import Iterator
from datetime import date

from schemas.claim import ClaimLine
from schemas.claim_file import ClaimFile
from schemas.machine import Alteration
from schemas.policy.document import CoveragePolicy
from schemas.policy.exclusions import Alterations, ExcludedCauses
from schemas.policy.pays import NotPaid
from schemas.reference_tables import PartComponentTable
from tests.reference.adjudication import Bench, Book, Result, may_govern
from tests.reference.components import named_anywhere, named_by_lines, unlisted
from tests.reference.edges import Edges
from tests.reference.machine_days import in_doubt
from tests.reference.meter import History
from tests.reference.reached import machine_reached
from tests.reference.settlement import Settled
from tests.reference.terms import brought, component_reached, starts_on
from tests.reference.unknown import Given
from tests.reference.views import REFUSALS
from tests.reference.waiting import falls_back_to

# What each day of a claim may not lie before.
AFTER = {
    "failed_on": ("symptom",),
    "reported_on": ("failed_on",),
    "part_received_on": ("failed_on",),
    "repair_began_on": ("failed_on",),
    "repair_ended_on": ("failed_on", "repair_began_on"),
    "submitted_on": ("failed_on", "reported_on", "repair_began_on", "repair_ended_on"),
}
DATELESS = {
    "no_coverage_for_machine", "serial_out_of_range", "built_out_of_range", "use_not_covered", "region_not_covered",
    "component_not_named", "model_not_named", "component_never_covered", "excluded_cause", "part_altered",
    "part_of_other_make",
    "wear_item", "consumable", "item_not_paid",
}  # fmt: skip


def days_in_doubt(claim_file: ClaimFile) -> set[str]:
    """Return the fields of the claim that stand on the wrong side of another one, or after the decision."""
    claim = claim_file.claim
    days: dict[str, date] = {field: day for field in AFTER if (day := getattr(claim, field)) is not None}
    if claim.symptom is not None:
        days["symptom"] = claim.symptom.on
    doubtful = {field for field in AFTER if field in days and days[field] > claim_file.decided_on}
    for field, befores in AFTER.items():
        for before in befores:
            if field in days and before in days and days[field] < days[before]:
                doubtful |= {field, before}
    return doubtful


def with_sure_days(claim_file: ClaimFile, doubtful: set[str]) -> ClaimFile:
    tree = claim_file.model_dump(mode="json", by_alias=True)
    for field in doubtful - {"failed_on"}:
        tree["claim"][field] = None
    return ClaimFile.model_validate(tree)


def waiting(result: Result) -> Result:
    """Return a line with its whole amount open."""
    money = result.money
    return Result("waits", result.policy, Settled(money.currency, money.claimed, open=money.claimed), frozenset())


def refused_anyway(result: Result, none_in_force: bool) -> Result | None:
    """Return a denied line on the grounds alone that no day plays a part in; None where it shows none of them.

    ``none_in_force``: events on file alone say that no version of some policy was.
    """
    grounds = [w for w in result.whys if w.code in DATELESS and w.any_day and w.effect in ("deny", "spare")]
    codes = {w.code for w in grounds}
    if not result.whys:
        codes = {c for c in result.codes if c in DATELESS or (c == "no_version_in_force" and none_in_force)}
        return Result("deny", None, result.money, frozenset(codes)) if codes else None
    if not codes:
        return None
    bearer = min(grounds, key=lambda w: (REFUSALS.index(w.code) if w.code in REFUSALS else -1, w.place)).bearer
    money = Settled(result.money.currency, result.money.claimed)
    money.bear(bearer, money.claimed)
    return Result("deny", result.policy, money, frozenset(codes))


class AnyDay:
    """The versions that may come to decide a claim on some day of failure."""

    def __init__(self, book: Book, claim_file: ClaimFile, history: History, edges: Edges) -> None:
        self.book, self.claim_file = book, claim_file
        self.without_claim = {name for name in book if self._selected_by_machine(name)}
        settled = {n: book[n] for n in book if self._whole_policy_settled(n)}
        # What is open of the machine itself plays no part: a version counts here whether it reaches it or not.
        machine = {"use": 0, "region": 0, "first owner": 1, **{f"built in range:{n}": 1 for n in settled}}
        bench = Bench(settled, claim_file, history, edges, Given(machine))
        governing, refused = bench.governing() if settled else ([], [])
        self.none_in_force = any(why == "no_version_in_force" for _, why in refused)
        names = {*governing, *(n for n, why in refused if why != "no_version_in_force")}
        names |= {n for n in book if n not in settled and n in may_govern(book)}
        names = {n for n in names if machine_reached(book[n][0], claim_file) != "no_coverage_for_machine"}
        while True:
            older = {target for n in names for target in falls_back_to(book[n][0])}
            if older <= names:
                break
            names |= older
        self.names = names

    def _selected_by_machine(self, name: str) -> bool:
        policy, conventions = self.book[name]
        by, machine = policy.in_force.selected_by, self.claim_file.machine
        known = starts_on(policy.term.starts, self.claim_file, conventions) is not None
        if by == "start_of_term":
            return known
        told = (by == "built" or by in machine.events) and not in_doubt(machine)
        return told and (known or policy.extends_earlier is None)

    def _whole_policy_settled(self, name: str) -> bool:
        own = [n for n in self.book if self.book[n][0].policy == self.book[name][0].policy]
        reached = [n for n in own if machine_reached(self.book[n][0], self.claim_file) != "no_coverage_for_machine"]
        governing = [n for n in reached if n in may_govern(self.book)]
        return all(n in self.without_claim for n in governing)

    def refuses(self, line: ClaimLine, seen: tuple[str, ...] = ()) -> bool:
        """Return whether every version refuses the line without looking at a day."""
        return all(
            any(self._grounds(self.book[name][0], line, component, seen))
            for name in self.names
            for component in self._about(line)
        )

    def _about(self, line: ClaimLine) -> list[str | None]:
        tables = [t for t in self.claim_file.tables if isinstance(t, PartComponentTable)]
        named: set[str | None] = {r.component for t in tables for r in t.rows if r.part == line.part_number}
        named |= {line.component} if line.component is not None else set()
        failed = self.claim_file.claim.component
        if not named and not unlisted(line, self.claim_file):
            named = {failed} if failed is not None else {*named_by_lines(self.claim_file)}
        return list(named or named_anywhere(self.book, self.claim_file))

    def _grounds(
        self, policy: CoveragePolicy, line: ClaimLine, component: str | None, seen: tuple[str, ...]
    ) -> Iterator[bool]:
        yield machine_reached(policy, self.claim_file) in DATELESS  # what is open may be such as reaches the machine
        yield component_reached(policy, component, None) == "component_not_named"
        yield isinstance(policy.pays.rule_for(line.item), NotPaid)
        first = [carve for carve in policy.carve_outs if component in carve.components][:1]
        yield any(carve.never for carve in first)
        for exclusion in policy.exclusions:
            if isinstance(exclusion, ExcludedCauses):
                yield self.claim_file.claim.cause in exclusion.causes
            elif isinstance(exclusion, Alterations):
                for altered in self.claim_file.machine.alterations:
                    if altered.kind in exclusion.alterations and altered.caused_failure is True:
                        yield exclusion.reach != "altered_component" or _one_part(
                            altered, line, component, self.claim_file
                        )
            else:
                named = getattr(exclusion, "wear", None) or getattr(exclusion, "consumables", ())
                yield component in named and (
                    exclusion.unless == "never" or self._ruined_by_nothing_covered(line, seen)
                )

    def _ruined_by_nothing_covered(self, line: ClaimLine, seen: tuple[str, ...]) -> bool:
        if line.caused_by is None or line.caused_by in seen:
            return True
        cause = next(each for each in self.claim_file.claim.lines if each.line == line.caused_by)
        return self.refuses(cause, (*seen, line.line))


def _one_part(altered: Alteration, line: ClaimLine, component: str | None, claim_file: ClaimFile) -> bool:
    """Return whether a line is about the altered part on any day: none of the kind came or went, no side is another."""
    if altered.component != component:
        return False
    claim = claim_file.claim
    side = claim.position if line.position == "none" and component == claim.component else line.position
    parts = [f for f in claim_file.machine.components if altered.component in brought(f)]
    stayed = all(f.fitted_on is None and f.removed_on is None for f in parts)
    return stayed and ("none" in (side, altered.position) or side == altered.position)
