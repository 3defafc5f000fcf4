"""A policy's conditions as a ruleset: measures become findings, and findings on a line reasons with their effect on it.

Facts and their properties (integers and short words only; everything else is calculated before):

- ``over``  g, p, v   days (or units of wear) past calendar limit ``p`` of group ``g``; outside when v > 0
- ``used``  g, p, v   hundredths of an hour used against hour limit ``p``
- ``due``   g, d, s   a due point of service duty ``d`` in state ``s``: missed, late, wrong_fluid, …
- ``line``  l, g, item, comp, and one property ``to_<duty>`` = 1 where the duty can have to do with the component
- ``cause`` c         the cause of the failure
- ``altered`` l, a    an alteration that reaches the line
- ``item_over`` l, item     the line's own period is over
- ``share`` l, s      the paid share of the line: part or zero
- ``sign``  l, s, p   something a person must look at, with the clause it is about: serial_differs, symptom_first,
  before_term
- ``finding`` c, p, g, i   derived: code, clause path, group and number of the limit

A group is a set of lines with one term: a carve-out or a component fitted later has a group of its own.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from schemas.conventions import Conventions
from schemas.policy.clause import Limit, Limits
from schemas.policy.document import CoveragePolicy
from schemas.policy.exclusions import Alterations, Consumables, ExcludedCauses, WearItems
from schemas.policy.pays import NotPaid
from schemas.policy.services import FallBack, LowerShare, Refused, ServiceDuty
from schemas.quantities import centihours

Rule = dict[str, Any]
ITEMS = ("parts", "labour", "travel", "freight", "sublet", "diagnosis", "fluids", "supplies")

# What a state of a due point is called as a reason.
DUE_STATES = {
    "missed": "service_missed",
    "late": "service_late",
    "wrong_fluid": "service_fluid_not_approved",
    "wrong_hands": "service_by_other_hands",
    "not_activated": "coverage_not_activated",
}


def compile_ruleset(terms: CoveragePolicy, conventions: Conventions) -> dict[str, Any]:
    """Return the ruleset definition of a policy version; names say code and clause path."""
    rules: dict[str, Rule] = {}
    for number, (name, rule) in enumerate(_rules(terms, conventions)):
        assert name not in rules, name
        rules[name] = {**rule, "pri": number}
    return rules


def _rules(terms: CoveragePolicy, conventions: Conventions) -> Iterator[tuple[str, Rule]]:
    if terms.term.ends != "lifetime":
        yield from _limit_rules("term", terms.term.ends, conventions)
    for index, carve_out in enumerate(terms.carve_outs):
        path = f"carve_outs[{index}]"
        if carve_out.never:
            for component in carve_out.components:
                yield from _line_rule("component_never_covered", path, "deny", _all("line", comp=component), component)
        elif carve_out.ends is not None and carve_out.ends != "lifetime":
            yield from _limit_rules(path, carve_out.ends, conventions)
    for name, duty in terms.services.items():
        yield from _duty_rules(name, duty)
    yield from _exclusion_rules(terms)
    yield from _item_rules(terms)
    if terms.prorating is not None:
        for state, code in (("part", "prorated"), ("zero", "prorated_to_nothing")):
            yield from _line_rule(code, "prorating", "note", _all("share", s=state), state)
    for sign, path in _signs(terms):
        yield from _line_rule(sign, path, "refer", _all("sign", s=sign, p=path))


def _signs(terms: CoveragePolicy) -> Iterator[tuple[str, str]]:
    """Yield what a person must look at, each with the path of the clause that it is about."""
    yield "serial_differs", "applies_to"
    for name in terms.services:
        yield "symptom_first", f"services.{name}"
    yield "before_term", "term"
    for index, carve_out in enumerate(terms.carve_outs):
        if carve_out.starts is not None:
            yield "before_term", f"carve_outs[{index}]"


def _and(**equal: int | str) -> dict[str, Any]:
    return {"$and": [{key: value} for key, value in equal.items()]}


def _all(kind: str, **equal: int | str) -> dict[str, Any]:
    return _and(k=kind, **equal)


def _line_rule(
    code: str, path: str, effect: str, condition: dict[str, Any], mark: str = ""
) -> Iterator[tuple[str, Rule]]:
    """One condition on one fact that names a line: its reason follows at once."""
    name = f"{code} {path} {mark}".strip()
    yield name, {"all": [{"m": condition}], "run": f"reason|{code}|{path}|{effect}"}


def _limit_rules(path: str, limits: Limits, conventions: Conventions) -> Iterator[tuple[str, Rule]]:
    conditions = [_beyond(f"{path}.ends[{i}]", limit, conventions) for i, limit in enumerate(limits.all)]
    if limits.first_of is not None:
        for i, (limit, condition) in enumerate(zip(limits.all, conditions, strict=True)):
            code = _elapsed_code(limit)
            yield f"{code} {path}.ends[{i}]", {"all": [{"m": condition}], "run": f"finding|{code}|{path}|{i}"}
        codes = {_elapsed_code(limit) for limit in limits.all}
    else:
        joined = [{f"m{i}": condition if i == 0 else _same_group(condition)} for i, condition in enumerate(conditions)]
        codes = {"every_limit_passed"}
        yield f"every_limit_passed {path}", {"all": joined, "run": f"finding|every_limit_passed|{path}|0"}
    for code in sorted(codes):
        yield f"{code} {path} on the line", _reason_rule(code, path, "deny", _all("finding", c=code, p=path))


def _same_group(condition: dict[str, Any]) -> dict[str, Any]:
    """The same condition on the group of the first one; the equality stands before the inequality (an engine trap)."""
    *equal, beyond = condition["$and"]
    return {"$and": [*equal, beyond, {"g": {"m0": "g"}}]}


def _beyond(path: str, limit: Limit, conventions: Conventions) -> dict[str, Any]:
    hours = limit.hours
    if hours is None:
        return {"$and": [{"k": "over"}, {"p": path}, {"$gt": {"v": 0}}]}
    operator = "$gt" if conventions.hours_at_cap == "covered" else "$gte"
    return {"$and": [{"k": "used"}, {"p": path}, {operator: {"v": centihours(hours)}}]}


def _elapsed_code(limit: Limit) -> str:
    if limit.wear is not None:
        return "worn_out"
    if limit.machine_hours is not None or limit.component_hours is not None:
        return "hour_limit_passed"
    return "outer_limit_passed" if limit.from_ is not None else "term_elapsed"


def _reason_rule(
    code: str, path: str, effect: str, finding: dict[str, Any], line: Mapping[str, int | str] | None = None
) -> Rule:
    """A finding on a group reaches each line of the group (or those that ``line`` describes)."""
    about = [{key: value} for key, value in (line or {}).items()]
    return {
        "all": [{"f": finding}, {"l": {"$and": [{"k": "line"}, *about, {"g": {"f": "g"}}]}}],
        "run": f"reason|{code}|{path}|{effect}",
    }


def _duty_rules(name: str, duty: ServiceDuty) -> Iterator[tuple[str, Rule]]:
    path = f"services.{name}"
    for state, code in DUE_STATES.items():
        consequence = duty.consequence(of_wrong_fluid=state == "wrong_fluid")
        if state == "not_activated" and not duty.activates:
            continue
        yield f"{code} {path}", {"all": [{"m": _all("due", d=name, s=state)}], "run": f"finding|{code}|{path}|0"}
        finding = _all("finding", c=code, p=path)
        if state == "not_activated":
            yield f"{code} {path} on the line", _reason_rule(code, path, "deny", finding)
            continue
        match consequence:
            case Refused(deny=reach):
                effect, on = "deny", reach
            case LowerShare(reach=reach):
                effect, on = "lower_share", reach
            case FallBack(reach=reach):
                effect, on = "fall_back", reach
            case "refer" | "note_only":
                effect = "refer" if consequence == "refer" else "note"
                on = "linked_components" if duty.links else "everything"
        line: dict[str, int | str] = {f"to_{name}": 1} if on == "linked_components" else {}
        yield f"{code} {path} on the line", _reason_rule(code, path, effect, finding, line)


def _exclusion_rules(terms: CoveragePolicy) -> Iterator[tuple[str, Rule]]:
    for index, exclusion in enumerate(terms.exclusions):
        path = f"exclusions[{index}]"
        match exclusion:
            case WearItems(wear=components, unless=unless) | Consumables(consumables=components, unless=unless):
                code = "wear_item" if isinstance(exclusion, WearItems) else "consumable"
                effect = "deny_unless_caused" if unless == "caused_by_covered_failure" else "deny"
                for component in components:
                    yield from _line_rule(code, path, effect, _all("line", comp=component), component)
            case ExcludedCauses(causes=causes):
                for cause in causes:
                    yield (
                        f"excluded_cause {path} {cause}",
                        {
                            "all": [{"m": _all("cause", c=cause)}],
                            "run": f"finding|excluded_cause|{path}|0",
                        },
                    )
                rule = _reason_rule("excluded_cause", path, "deny", _all("finding", c="excluded_cause", p=path))
                yield f"excluded_cause {path} on the line", rule
            case Alterations(alterations=kinds):
                for kind in kinds:
                    code = "part_altered" if kind == "altered" else "part_of_other_make"
                    yield from _line_rule(code, path, "deny", _all("altered", a=kind, x=index), kind)


def _item_rules(terms: CoveragePolicy) -> Iterator[tuple[str, Rule]]:
    for item in ITEMS:
        rule = terms.pays.rule_for(item)  # type: ignore[arg-type]
        path = f"pays.{item}" if getattr(terms.pays, item) is not None else "pays.anything_else"
        if isinstance(rule, NotPaid):
            yield from _line_rule("item_not_paid", path, "deny", _all("line", item=item), item)
        elif rule.until is not None:
            yield from _line_rule("item_period_over", path, "deny", _all("item_over", item=item), item)
