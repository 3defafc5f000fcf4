"""The whole adjudication once more, slow and plain, from the documents alone; it shares no line with ``rules``.

The rules it takes where the documents leave a choice, numbered so that a difference can be discussed:

 1. Every coverage looks at every line it names; of several the one pays that pays the customer most before deductible
    and caps, compared in the claim's currency; then the order of layers, the newer version, the name. A line held for
    a person counts as 0, a denied one below that.
 2. Of the versions in force on the date that selects them the newest governs, superseded ones left out whatever their
    own days; later versions that extend earlier machines stand beside it.
 3. A line's component is the one typed, else that of its part number on the day of the failure, else the claim's, else
    the one that the other lines name. Typed and by the part table: either. Where nothing tells it, and where the part
    table does not list the part: any that is named anywhere, or one that is not.
 4. Lines share the due points of a service when they share a term and a side of the machine; records that are missing
    for one duty are one question for all points and all versions with a duty of that name.
 5. A denied line is borne as its first reason in the published order says; where no coverage applies, by the owner.
 6. A wear item or consumable is let through where the line that ruined it is covered, by whichever coverage, and held
    where none covers that line and one holds it; so along a chain, and round a circle of causes nothing begins.
 7. Of several consequences of services on a line the worst alone counts: refusal, the lowest of lowered shares, falling
    back. A line that falls back, and no person must look at, is judged wholly by the older version, whatever else the
    newer says of it; of several older versions by the one that pays it least. The newer version's service reasons stay.
 8. Shares and cuts are taken from the exact amount; each step moves the difference of two rounded amounts.
 9. An amount that nobody can price (no rate, no list price) is held for a person; a missing bill, distance or number
    of hours is asked for.
10. A line is merged over all worlds: where state and amounts agree, decided; else the least of each bearer is certain,
    the rest open. It waits for a person where one of the facts that matter asks a person.
11. A line that nothing covers names the near misses: coverages that name its component and miss the machine or date;
    else that no coverage names the component, else that none names the machine.
12. A denied line names what denies it and the services that were missed; what would only hold it decides nothing.
13. While the day of the failure is in doubt a line is denied only on grounds that no day plays a part in, by every
    version that may come to decide it; else it waits, all of it open. Other days in doubt count as not on file.
14. Versions of one policy name that state the same of the whole claim share deductible and caps; others are settled
    from the oldest on: what older ones took of a deductible or were paid counts for the next.
15. A limit that cannot be measured (hours without a meter) plays no part; where nothing else tells whether a term or a
    free period is over, or what share is paid, a person looks at the line.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

from schemas.claim_file import ClaimFile
from schemas.policy.clause import Limits
from schemas.policy.document import CoveragePolicy
from schemas.policy.exclusions import Alterations, Consumables, ExcludedCauses, WearItems
from schemas.policy.pays import NotPaid
from schemas.policy.services import ServiceDuty
from tests.reference.allowed import allow, typed
from tests.reference.altered import altered
from tests.reference.components import components_in
from tests.reference.duties import Asking, Serviced, judge_duty
from tests.reference.edges import Edges
from tests.reference.machine_days import day_fitted
from tests.reference.meter import FAILURE, History, hours_of
from tests.reference.reached import Book, machine_reached, turned_out
from tests.reference.rounding import rounded
from tests.reference.settlement import Line, Settled
from tests.reference.shares import share_of
from tests.reference.tables import Counter
from tests.reference.terms import (
    LAYERS,
    Term,
    claim_day,
    component_reached,
    event_day,
    fitted_on_machine,
    period_over,
    sides_possible,
    start_of,
    starts_on,
    term_of,
    worn,
)
from tests.reference.unknown import Given
from tests.reference.unmetered import unmetered
from tests.reference.versions import settle_versions
from tests.reference.views import Subject, View, Why, consequence, first_bearer, let_through, share_wear
from tests.reference.visits import overlapping, side_of, with_codes
from tests.reference.waiting import waiting


def may_govern(book: Book) -> set[str]:
    """Return the versions that decide by themselves: no mere fall-backs, and none that another one supersedes."""
    replaced = {f"{policy.policy}@{number}" for policy, _ in book.values() for number in policy.supersedes}
    return {name for name, (policy, _) in book.items() if not policy.in_force.only_as_fall_back} - replaced


@dataclass
class Result:
    """A line in one world."""

    state: str
    policy: str | None
    money: Settled
    codes: frozenset[str]
    whys: tuple[Why, ...] = ()  # of a denied line, under the coverage that denies it


def _excluded(policy: CoveragePolicy) -> list[str]:
    return [c for e in policy.exclusions if isinstance(e, ExcludedCauses) for c in e.causes]


class Bench:
    """One claim before one book in one world."""

    def __init__(self, book: Book, claim_file: ClaimFile, history: History, edges: Edges, given: Given) -> None:
        self.book, self.claim_file, self.history, self.edges, self.given = book, claim_file, history, edges, given

    def asking(self, name: str) -> Asking:
        policy, conventions = self.book[name]
        return Asking(self.claim_file, policy, conventions, self.history, self.edges, self.given)

    def counter(self, name: str) -> Counter:
        policy, conventions = self.book[name]
        return Counter(policy, conventions, self.claim_file, self.given)

    def subjects(self) -> list[Subject]:
        self.claim_file, components = components_in(self.book, self.claim_file, self.given)
        claim, found = self.claim_file.claim, []
        for line in sorted(claim.lines, key=lambda each: each.line):
            component = components[line.line]
            side = line.position
            if side == "none" and component == claim.component:
                side = claim.position
            if side == "none":
                sides = sides_possible(self.claim_file, component, line.removed_serial)
                side = sides[self.given.ask(f"position:{component}:{line.removed_serial}", list(range(len(sides))))]
            fitted = fitted_on_machine(self.claim_file, component, side, line.removed_serial)
            found.append(Subject(line, component, day_fitted(fitted, self.claim_file, self.given), side))
        share_wear(found)
        return found

    def decide(self) -> dict[str, Result]:
        """Return every line's result."""
        subjects = self.subjects()
        policies, refused = self.governing()
        hours_of(FAILURE, self.history, self.given, self.edges)
        looks: dict[str, list[list[View]]] = {s.line.line: [] for s in subjects}
        codes = {s.line.line: [self.refusal(name, why, s) for name, why in refused] for s in subjects}
        for name in policies:
            inside = []
            for subject in subjects:
                why = component_reached(self.book[name][0], subject.component, subject.fitted)
                if why:
                    codes[subject.line.line].append(why)
                else:
                    inside.append(subject)
            for look in self.looks(name, inside) if inside else ():
                looks[look[0].subject.line.line].append(look)
        views = let_through(looks)
        chosen = {line: min(found, key=self.preference) for line, found in views.items() if found}
        money = self.settle(list(chosen.values()))
        results = {}
        for subject in subjects:
            line = subject.line.line
            if line in chosen:
                results[line] = self.result(chosen[line], money[line])
            else:
                found = set(codes[line])
                closer = found - {"component_not_named", "no_coverage_for_machine"}
                closer = closer or found - {"no_coverage_for_machine"} or found
                if closer == {"component_not_named"} and self.named_for_other_models(subject.component):
                    closer |= {"model_not_named"}
                currency = self.claim_file.claim.currency
                units = rounded(typed(subject.line), self.claim_file.currency_exponents[currency], "half_up")
                nothing = Settled(currency, units, owner=units)
                results[line] = Result("deny", None, nothing, frozenset(closer))
        return results

    def named_for_other_models(self, component: str | None) -> bool:
        """Return whether a policy that leaves the machine's model out names the component, and not whole machines."""
        for name in may_govern(self.book):
            own = [n for n in may_govern(self.book) if self.book[n][0].policy == self.book[name][0].policy]
            codes = {machine_reached(self.book[n][0], self.claim_file) for n in own}
            applies = self.book[name][0].applies_to
            named = () if applies.components == "whole_machine" else applies.components
            if codes == {"no_coverage_for_machine"} and component in named:
                return True
        return False

    def preference(self, view: View) -> tuple[Fraction, int, int, str]:
        policy = self.book[view.candidate][0]
        return -view.estimate, LAYERS.index(policy.layer), -policy.version, policy.policy

    def result(self, view: View, money: Settled) -> Result:
        state = "refer" if money.held else view.state
        whys = [*view.before, *view.whys]
        if state == "deny":
            codes = {w.code for w in whys if w.effect not in ("refer", "note")}
            return Result(state, view.payer, money, frozenset(codes), tuple(whys))
        silent = {"deny", "spare"} if view.state == "refer" else set()
        codes = {w.code for w in whys if (w.effect != "note" or w.code.startswith("pro")) and w.effect not in silent}
        codes |= {*view.allowed.held, *money.codes, *money.held}
        return Result(state, view.payer, money, frozenset(codes))

    def refusal(self, name: str, why: str, subject: Subject) -> str:
        """Return why a version that does not reach the machine misses a line: it need not even name the component."""
        if why == "no_coverage_for_machine":
            return why
        reached = component_reached(self.book[name][0], subject.component, subject.fitted)
        return reached if reached == "component_not_named" else why

    def governing(self) -> tuple[list[str], list[tuple[str, str]]]:
        """Return the versions that may decide, and those that may not with why."""
        chosen: list[str] = []
        refused: list[tuple[str, str]] = []
        named: dict[str, list[str]] = {}
        for name, (policy, _) in sorted(self.book.items(), key=lambda item: (item[1][0].policy, item[1][0].version)):
            if name in may_govern(self.book):
                named.setdefault(policy.policy, []).append(name)
        reach = {
            n
            for names in named.values()
            for n in names
            if machine_reached(self.book[n][0], self.claim_file) != "no_coverage_for_machine"
        }
        for _, names in sorted(named.items()):
            in_force = [n for n in names if n in reach and self.in_force(n)]
            if not in_force:
                refused += [(n, "no_version_in_force") for n in names if n in reach][-1:]
                continue
            governing = in_force[-1]
            beside = [n for n in names if self.extends(n, governing)]
            for name in [governing, *beside]:
                why = self.reached(name)
                refused += [(name, why)] if why else []
                chosen += [] if why else [name]
        if not reach:
            refused = [(n, "no_coverage_for_machine") for names in named.values() for n in names]
        return chosen, refused

    def reached(self, name: str) -> str:
        """Return why a version does not reach the machine, empty where it does; what is sure refuses it first."""
        policy = self.book[name][0]
        refused = machine_reached(policy, self.claim_file)
        return refused or machine_reached(
            policy, self.claim_file, turned_out(self.book, name, self.claim_file, self.given)
        )

    def in_force(self, name: str) -> bool:
        policy, conventions = self.book[name]
        selected_by = policy.in_force.selected_by
        if selected_by == "start_of_term":
            day = start_of(policy.term.starts, self.claim_file, conventions, self.given)
        elif hasattr(self.claim_file.claim, selected_by):
            day = claim_day(selected_by, self.claim_file, self.given)
        else:
            key = f"event:{selected_by}:{policy.policy}"
            day = event_day(selected_by, key, self.claim_file, conventions, self.given)
        return policy.in_force.holds(day)

    def extends(self, name: str, governing: str) -> bool:
        policy, conventions = self.book[name]
        if policy.extends_earlier is None or policy.version <= self.book[governing][0].version:
            return False
        start = start_of(policy.term.starts, self.claim_file, conventions, self.given)
        return start >= policy.extends_earlier.started_from

    def looks(self, name: str, subjects: list[Subject]) -> list[list[View]]:
        """Return what a version makes of these lines, those that fall back as each older version judges them."""
        asking, counter = self.asking(name), self.counter(name)
        work = with_codes(self.claim_file, counter)
        together = overlapping(subjects, work, counter)
        terms = {
            s.line.line: term_of(asking, s.line, s.component, s.fitted, side_of(s, self.claim_file)) for s in subjects
        }
        served: dict[tuple[str, str], Serviced] = {}
        views: list[View] = []
        labour: Fraction | None = Fraction(0)
        for subject in sorted(subjects, key=lambda s: (s.line.item != "labour", s.line.line)):
            term = terms[subject.line.line]
            whys = self.whys(asking, subject, term, served)
            allowed = allow(work.get(subject.line.line, subject.line), counter, together, labour)
            share = share_of(asking, subject.line, term)
            allowed.held += unmetered(asking, subject, subjects, term, share)
            if share is not None and share.paid != 1:
                whys.append(Why("prorated" if share.paid else "prorated_to_nothing", "note"))
            lowered = sorted((w.share, w.place, w.bearer) for w in whys if w.effect == "lower")[:1]
            lowered = [(share_left, bearer) for share_left, _, bearer in lowered]
            view = View(subject, name, name, whys, "", allowed, term, share, lowered)
            view.restate()
            if subject.line.item == "labour":
                labour = None if view.state == "refer" or labour is None else labour
                labour = labour + allowed.amount if labour is not None and view.state == "covered" else labour
            views.append(view)
        views.sort(key=lambda v: v.subject.line.line)
        looks = {view.subject.line.line: [view] for view in views}
        older: dict[tuple[str, ...], list[View]] = {}
        for view in views:
            targets = falls_to(view.whys)
            if targets:
                older.setdefault(targets, []).append(view)
        for targets, falling in sorted(older.items()):
            judged = [self.under(target, falling) for target in targets]
            for newer in falling:
                line = newer.subject.line.line
                looks[line] = [fallen(newer, view) for of_target in judged for view in of_target[line]]
        return list(looks.values())

    def under(self, target: str, falling: list[View]) -> dict[str, list[View]]:
        """Return the lines as the older version judges them; it bypasses its time in force and nothing else."""
        policy = self.book[target][0]
        refusal = self.reached(target)
        inside: list[Subject] = []
        judged: dict[str, list[View]] = {}
        for view in falling:
            why = refusal or component_reached(policy, view.subject.component, view.subject.fitted)
            if why:
                whys = [Why(why, "deny", "owner", "")]
                refused = replace(view, payer=target, whys=whys, state="deny", lowered=[], before=[])
                judged[view.subject.line.line] = [refused]
            else:
                inside.append(view.subject)
        for look in self.looks(target, inside) if inside else ():
            judged[look[0].subject.line.line] = look
        return judged

    def whys(self, asking: Asking, subject: Subject, term: Term, served: dict[tuple[str, str], Serviced]) -> list[Why]:
        """Return every reason a version has for a line, exclusions and services included."""
        policy = asking.policy
        whys = [Why("component_never_covered", "deny")] if term.never else []
        whys += [Why(code, "deny", "owner", term.path) for code in term.over]
        whys += self.exclusions(asking, subject)
        for name, duty in policy.services.items():
            if duty.advised_on is not None and duty.advised_on > term.start:
                continue
            key = (name, term.key)
            if key not in served:
                served[key] = self.serviced(asking, name, duty, subject, term)
            linked = subject.component in duty.links
            whys += [w for code in served[key].codes if (w := consequence(name, duty, code, linked)) is not None]
            if served[key].symptom_first and linked:
                whys.append(Why("symptom_first", "refer"))
        if term.tested < term.start:
            whys.append(Why("before_term", "refer"))
        removed, fitted = subject.line.removed_serial, subject.fitted
        if removed is not None and fitted is not None and fitted.serial not in (None, removed):
            whys.append(Why("serial_differs", "refer"))
        rule = policy.pays.rule_for(subject.line.item)
        if isinstance(rule, NotPaid):
            whys.append(Why("item_not_paid", "deny", rule.borne_by))
        elif rule.until is not None and period_over(asking, rule.until, term, worn(subject.line, policy)):
            whys.append(Why("item_period_over", "deny", str(rule.after_borne_by)))
        return whys

    def serviced(self, asking: Asking, name: str, duty: ServiceDuty, subject: Subject, term: Term) -> Serviced:
        own = term.begun_by is not None and duty.new_component == "own_schedule"
        found = starts_on(asking.policy.term.starts, self.claim_file, asking.conventions)
        schedule = term.schedule if own else (found or term.start, 0)
        side = side_of(subject, self.claim_file)
        return judge_duty(asking, name, schedule, term.begun_by if own else None, side, term.key)

    def exclusions(self, asking: Asking, subject: Subject) -> list[Why]:
        whys: list[Why] = []
        cause = self.claim_file.claim.cause
        causes = _excluded(asking.policy)
        if cause is None and causes:
            anywhere = [c for policy, _ in self.book.values() for c in _excluded(policy)]
            every = [None, *sorted(set(anywhere))]
            cause = every[self.given.ask("cause", list(range(len(every))))]
        for number, exclusion in enumerate(asking.policy.exclusions):
            bearer, place = exclusion.borne_by, f"exclusions[{number}]"
            side = side_of(subject, self.claim_file)
            if isinstance(exclusion, ExcludedCauses):
                whys += [Why("excluded_cause", "deny", bearer, place)] if cause in exclusion.causes else []
            elif isinstance(exclusion, Alterations):
                for alteration in self.claim_file.machine.alterations:
                    if altered(exclusion, alteration, subject, side, self.claim_file, self.given):
                        code = "part_altered" if alteration.kind == "altered" else "part_of_other_make"
                        whys.append(Why(code, "deny", bearer, place, any_day=bool(alteration.caused_failure)))
            else:
                assert isinstance(exclusion, WearItems | Consumables)
                named = exclusion.wear if isinstance(exclusion, WearItems) else exclusion.consumables
                if subject.component in named:
                    code = "wear_item" if isinstance(exclusion, WearItems) else "consumable"
                    spare = exclusion.unless == "caused_by_covered_failure"
                    whys.append(Why(code, "spare" if spare else "deny", bearer, place))
        return whys

    def settle(self, views: list[View]) -> dict[str, Settled]:
        money: dict[str, Settled] = {}
        by_name: dict[str, list[Line]] = {}
        for view in views:
            subject, name = view.subject, view.subject.line.line
            if view.state == "covered":
                line = Line(
                    name, subject.line.item, subject.component, Fraction(subject.line.quantity), view.allowed,
                    view.share, view.lowered, self.past_either_or(view), self.book[view.payer][0],
                    side_of(subject, self.claim_file),
                )  # fmt: skip
                by_name.setdefault(line.terms.policy, []).append(line)
                continue
            exponent = self.claim_file.currency_exponents[view.allowed.currency]
            units = rounded(view.allowed.claimed, exponent, self.book[view.payer][1].money.round)
            money[name] = Settled(view.allowed.currency, units)
            money[name].bear(first_bearer(view) if view.state == "deny" else "open", units)
        terms = {name: policy for name, (policy, _) in self.book.items()}

        def waits(payer: str) -> list[tuple[str, Fraction | None]]:
            return list(waiting(payer, views, terms, self.past_either_or))

        for _, lines in sorted(by_name.items()):
            money |= settle_versions(lines, self.counter, waits)
        return money

    def past_either_or(self, view: View) -> bool:
        rule = self.book[view.payer][0].pays.either_or
        if rule is None:
            return False
        asking = self.asking(view.payer)
        return period_over(asking, Limits(first_of=(rule.after,)), view.term, worn(view.subject.line, asking.policy))


def fallen(newer: View, older: View) -> View:
    """Return a line as an older version judges it, with the services that the newer one misses told before."""
    of_services = [w for w in newer.whys if w.place.startswith("services.")]
    return replace(older, candidate=newer.candidate, before=[*newer.before, *of_services, *older.before])


def falls_to(whys: list[Why]) -> tuple[str, ...]:
    """Return the versions a line falls back to, none where a service weighs more or a person must look."""
    of_services = [w for w in whys if w.place.startswith("services.")]
    if any(w.effect in ("deny", "lower") for w in of_services) or any(w.effect == "refer" for w in whys):
        return ()
    return tuple(sorted({w.older for w in of_services if w.effect == "fall_back"}))
