"""One claim in one world: every open fact has a value, each line gets its coverage, reasons and money.

Branching lives here and in ``adjudicate``; the stages below it calculate and return.
"""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from rules.cleared import cleared_allowance, cleared_findings
from rules.history.timeline import Timeline, build_timeline
from rules.line_states import DENYING, bearer_of, consequence_of, fall_backs_of, state_of
from rules.line_views import LineResult, LineView, PolicyReason, WorldResult
from rules.measures.hours import Hours, resolve_hours
from rules.measures.measure import Measures, limits_passed, measure, what_may_be
from rules.open_facts import World
from rules.policy_book.book import PolicyBook
from rules.policy_book.compiled import CompiledPolicy
from rules.rule_base.driver import Derive, Firing
from rules.rule_base.findings import Fact, Fire, RuleReason, find
from rules.selection.components import subjects_in
from rules.selection.near_misses import nearest_refusals, of_other_models
from rules.selection.reach import refusal_in
from rules.selection.select import (
    LAYER_ORDER,
    Selected,
    Subject,
    component_refusal,
    select,
    with_wear,
)
from rules.settlement.allowance import Allowance, typed_grains
from rules.settlement.desk import Desk
from rules.settlement.either_or import Waiting
from rules.settlement.exact import Exact
from rules.settlement.items import allow
from rules.settlement.labour import Time
from rules.settlement.money import LineMoney, unpaid
from rules.settlement.operations import operations_told, with_operation
from rules.settlement.ruined import Looks, with_caused
from rules.settlement.settle import LowerShare, Payable
from rules.settlement.tables import Tables
from rules.settlement.unmetered import metered
from rules.settlement.versions import settled_versions
from rules.settlement.visits import overlapping_times
from rules.settlement.waiting import lines_waiting
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.policy.clause import Limits
from schemas.policy.services import LowerShare as LowerShareClause


@dataclass(frozen=True, slots=True)
class Evaluation:
    """What stays the same over all worlds of one claim."""

    book: PolicyBook
    claim_file: ClaimFile
    tables: Tables
    fire: Fire
    timelines: dict[str, Timeline] = field(default_factory=dict)  # by conventions; the same in every world
    shared: dict[Hashable, Any] = field(default_factory=dict)  # what else is the same in every world
    cleared: bool = False  # what lines are held for is taken as settled (``rules.cleared``)

    def timeline(self, conventions: Conventions) -> Timeline:
        """Return the machine's timeline as the conventions of one policy read its meters."""
        key = f"{conventions.conventions}@{conventions.version}"
        if key not in self.timelines:
            self.timelines[key] = build_timeline(self.claim_file, conventions.meter, conventions.facts)
        return self.timelines[key]

    def evaluate(self, world: World) -> WorldResult:
        """Return the result of the claim in ``world``."""
        claim_file, subjects = subjects_in(self.claim_file, self.tables, self.book, world)
        selected = select(self.book, claim_file, world)
        evaluation = self if claim_file is self.claim_file else replace(self, claim_file=claim_file)
        run = _Run(evaluation, world, self.book.with_fall_backs(selected.policies))
        if run.unstated.worn_by_line:
            subjects = with_wear(subjects, claim_file.claim)
        looks: dict[str, list[Looks]] = {s.line.line: [] for s in subjects}
        refusals: dict[str, list[tuple[CompiledPolicy, str]]] = {s.line.line: [] for s in subjects}
        for policy in selected.policies:
            inside = []
            for subject in subjects:
                code = component_refusal(policy.terms, subject)
                if code is None:
                    inside.append(subject)
                else:
                    refusals[subject.line.line].append((policy, code))
            if inside:
                for line, look in run.looks(policy, inside).items():
                    looks[line].append(look)
        views = with_caused(looks)
        chosen = _chosen(subjects, views)
        money = run.settle(list(chosen.values()))
        lines = tuple(
            self._line(
                subject,
                chosen.get(subject.line.line),
                views[subject.line.line],
                (*_refused(selected, subject), *refusals[subject.line.line]),
                money,
            )
            for subject in subjects
        )
        return WorldResult(lines, selected, run.hours, tuple(run.measures), tuple(run.firings), world.details)

    def _line(
        self,
        subject: Subject,
        view: LineView | None,
        views: list[LineView],
        refused: tuple[tuple[CompiledPolicy, str], ...],
        money: dict[str, LineMoney],
    ) -> LineResult:
        if view is not None:
            others = tuple(v for v in views if v is not view)
            split = money[subject.line.line]
            held = tuple(
                PolicyReason(view.payer, view.measures, h.code, h.path, "refer", 0, h.words) for h in split.held
            )
            state = "refer" if held else view.state
            return LineResult(subject, state, view, (*view.reasons, *held), refused, split, others)
        refused = (*refused, *of_other_models(self.book, self.claim_file, subject, refused))
        reasons = tuple(PolicyReason(policy, None, code, "applies_to") for policy, code in nearest_refusals(refused))
        currency = self.claim_file.claim.currency
        nothing = unpaid(
            None, self.claim_file, typed_grains(subject.line), "owner", "no coverage applies", None, currency
        )
        return LineResult(subject, "deny", None, reasons, refused, nothing, ())


def _refused(selected: Selected, subject: Subject) -> Iterator[tuple[CompiledPolicy, str]]:
    """Yield why policies do not reach a line; one that does not name the component is no near miss."""
    for policy, code in selected.refused:
        near = code == "no_coverage_for_machine" or component_refusal(policy.terms, subject) != "component_not_named"
        yield policy, code if near else "component_not_named"


def _chosen(subjects: Sequence[Subject], views: dict[str, list[LineView]]) -> dict[str, LineView]:
    """Return for each line the coverage that pays the customer most, ties by the published order of layers.

    A held line wins over a denial: what a person may still allow is not refused by another coverage.
    """
    chosen: dict[str, LineView] = {}
    for subject in subjects:
        candidates = views[subject.line.line]
        if len(candidates) == 1:
            chosen[subject.line.line] = candidates[0]
        elif candidates:
            chosen[subject.line.line] = min(
                candidates,
                key=lambda v: (
                    -v.estimate_in_claim_currency,
                    LAYER_ORDER.index(v.candidate.terms.layer),
                    -v.candidate.ref.version,
                    v.candidate.ref.name,
                ),
            )
    return chosen


class _Run:
    """The coverages of one world, each measured and fired once; private to one evaluation."""

    def __init__(self, evaluation: Evaluation, world: World, policies: tuple[CompiledPolicy, ...]) -> None:
        self.evaluation = evaluation
        self.world = world
        self.policies = policies  # every one that may come to decide a line
        self.unstated = what_may_be(policies)
        self.hours: dict[str, Hours] = {}
        self.measures: list[Measures] = []
        self.firings: list[tuple[str, Firing]] = []
        self.desks: dict[str, Desk] = {}

    def desk(self, policy: CompiledPolicy) -> Desk:
        if policy.name not in self.desks:
            evaluation = self.evaluation
            self.desks[policy.name] = Desk(policy, evaluation.claim_file, evaluation.tables, self.world)
        return self.desks[policy.name]

    def hours_under(self, policy: CompiledPolicy) -> Hours:
        """Return the machine hours of this world as the policy's conventions read them."""
        if policy.name not in self.hours:
            timeline = self.evaluation.timeline(policy.conventions)
            known = next((h for h in self.hours.values() if h.timeline is timeline), None)
            self.hours[policy.name] = known or resolve_hours(
                timeline, self.policies, self.evaluation.claim_file, self.world
            )
        return self.hours[policy.name]

    def _fire(self, policy: CompiledPolicy, facts: list[Fact], derive: Derive) -> tuple[Firing, ...]:
        """Return what the policy's rules make of the facts; in all worlds of a claim the same facts are fired once."""
        if not self.world.taken and not self.world.assumed:
            return self.evaluation.fire(policy, facts, derive)  # there may be no other world
        key = ("fired", policy, tuple([tuple(fact.items()) for fact in facts]))
        return self.world.once(key, lambda: self.evaluation.fire(policy, facts, derive))

    def looks(self, policy: CompiledPolicy, subjects: Sequence[Subject]) -> dict[str, Looks]:
        """Return what ``policy`` makes of these lines, fall-backs followed; of several, the view of each version.

        Which of these is the worst may depend on whether a covered failure ruined the line, which all coverages say.
        """
        claim_file = self.evaluation.claim_file
        measures = measure(policy, subjects, claim_file, self.hours_under(policy), self.unstated, self.world)
        found = find(measures, self._fire)
        if self.evaluation.cleared:
            found = cleared_findings(found)
        self.measures.append(measures)
        self.firings += [(policy.name, firing) for firing in found.firings]
        allowances = self._allowances(measures, found.reasons)
        looks: dict[str, Looks] = {}
        falling: dict[tuple[str, ...], list[LineView]] = {}
        for subject in subjects:
            line = subject.line.line
            reasons = found.reasons.get(line, ())
            view = self._view(subject, policy, measures, reasons, allowances[line])
            looks[line] = (view,)
            targets = fall_backs_of(policy, reasons) if reasons else ()
            if targets:
                falling.setdefault(targets, []).append(view)
        for targets, lines in sorted(falling.items()):
            looks |= self._fallen(targets, lines)
        return looks

    def _allowances(self, measures: Measures, reasons: Mapping[str, Sequence[RuleReason]]) -> dict[str, Allowance]:
        """Return what is allowed of each line; labour comes first, since supplies may be a share of it."""
        desk = self.desk(measures.policy)
        told = operations_told(desk)
        combined: Mapping[str, Time] = overlapping_times(desk, measures.subjects, told)
        allowances: dict[str, Allowance] = {}
        labour: Exact | None = 0
        work = [subject for subject in measures.subjects if subject.line.item == "labour"]
        for subject in (*work, *(subject for subject in measures.subjects if subject.line.item != "labour")):
            line = with_operation(subject.line, told)
            allowance = allow(line, desk, combined, labour)
            if self.evaluation.cleared:
                allowance = cleared_allowance(allowance)
            allowance = allowances[line.line] = metered(allowance, measures, subject, desk)
            if line.item == "labour":
                state = state_of(reasons.get(line.line, ()), allowance)
                if state == "refer":
                    labour = None
                elif state == "covered" and labour is not None:
                    labour += allowance.allowed
        return allowances

    def _fallen(self, targets: tuple[str, ...], views: list[LineView]) -> dict[str, Looks]:
        """Return lines as each version that they fall back to decides them.

        The machine keeps that older promise whole: of the newer version only the service reasons still speak.
        """
        decided = [self._under(self.evaluation.book.policy(target), views) for target in targets]
        looks: dict[str, Looks] = {}
        for view in views:
            line = view.subject.line.line
            of_services = tuple(r for r in view.reasons if r.path.startswith("services."))
            looks[line] = [
                replace(older, candidate=view.candidate, reasons=(*of_services, *older.reasons))
                for under in decided
                for older in under[line]
            ]
        return looks

    def _under(self, older: CompiledPolicy, views: list[LineView]) -> dict[str, Looks]:
        """Return the lines as an older version decides them; it bypasses ``in_force`` and nothing else."""
        refusal = refusal_in(self.world, older, self.evaluation.claim_file, self.evaluation.book)
        inside: list[Subject] = []
        decided: dict[str, Looks] = {}
        for view in views:
            code = refusal or component_refusal(older.terms, view.subject)
            if code is None:
                inside.append(view.subject)
            else:
                reasons = (PolicyReason(older, None, code, "applies_to"),)
                line = view.subject.line.line
                decided[line] = (replace(view, payer=older, state="deny", reasons=reasons, lowered=(), bearer="owner"),)
        if inside:
            decided |= self.looks(older, inside)
        return decided

    def _view(
        self,
        subject: Subject,
        policy: CompiledPolicy,
        measures: Measures,
        found: tuple[RuleReason, ...],
        allowance: Allowance,
    ) -> LineView:
        if not found and not allowance.held:
            return LineView(subject, policy, policy, measures, "covered", (), (), allowance, "owner")
        state = state_of(found, allowance)
        if state == "refer":  # what denies under this version says nothing where another may decide
            found = tuple(r for r in found if r.effect not in DENYING)
        reasons = [PolicyReason(policy, measures, r.code, r.path, r.effect, r.limit) for r in found]
        held = [PolicyReason(policy, measures, held.code, held.path, "refer", 0, held.words) for held in allowance.held]
        lowered = [
            LowerShare(clause.share, r.path, policy.terms.duty_at(r.path).borne_by)
            for r in found
            if r.effect == "lower_share" and isinstance(clause := consequence_of(policy, r), LowerShareClause)
        ]
        worst = (min(lowered, key=lambda low: (low.share, low.path)),) if lowered else ()
        return LineView(
            subject, policy, policy, measures, state, (*reasons, *held), worst, allowance, bearer_of(policy, found)
        )

    def settle(self, views: list[LineView]) -> dict[str, LineMoney]:
        """Return the money of each line, settled coverage by coverage."""
        claim_file = self.evaluation.claim_file
        money: dict[str, LineMoney] = {}
        covered: dict[str, list[LineView]] = {}

        def waiting(policy: CompiledPolicy) -> list[Waiting]:
            return list(lines_waiting(policy, views, self._past_either_or, claim_file))

        for view in views:
            line = view.subject.line.line
            if view.state == "covered":
                covered.setdefault(view.payer.ref.name, []).append(view)
            else:
                bearer = view.bearer if view.state == "deny" else "open"
                money[line] = unpaid(
                    view.payer,
                    claim_file,
                    view.allowance.claimed,
                    bearer,
                    "not covered" if bearer != "open" else "held for a person",
                    None,
                    view.allowance.currency,
                )
        for name in sorted(covered):
            by_line = {v.subject.line.line: v for v in covered[name]}
            payables = [
                Payable(v.subject, v.allowance, v.measures.prorations.get(line), v.lowered, v.payer)
                for line, v in by_line.items()
            ]

            def over(payable: Payable, by_line: dict[str, LineView] = by_line) -> bool:
                return self._past_either_or(by_line[payable.subject.line.line])

            money |= settled_versions(payables, over, waiting, self.desk, claim_file)
        return money

    def _past_either_or(self, view: LineView) -> bool:
        policy = view.payer
        rule = policy.terms.pays.either_or
        if rule is None:
            return False
        group = view.measures.group_of_line[view.subject.line.line]
        limits = Limits.model_construct(first_of=(rule.after,))
        return limits_passed(limits, policy, group, view.subject, self.evaluation.claim_file, self.unstated, self.world)
