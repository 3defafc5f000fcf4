"""Policies and conventions with some of their stated choices drawn anew: knobs that no fixture happens to turn."""

import random
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError

from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy

UNVARIED = frozenset(("layer", "kind", "format", "owner_class", "without_flat_rate", "fitted", "performed_by", "all"))


def _literals(annotation: object) -> tuple[str, ...]:
    """Return the words that a field may hold, where it holds nothing but one of some words."""
    return get_args(annotation) if get_origin(annotation) is Literal else ()


def _choices(node: Any) -> list[tuple[BaseModel, str, tuple[Any, ...]]]:
    """Return every field below ``node`` that holds one of some stated words."""
    found: list[tuple[BaseModel, str, tuple[Any, ...]]] = []
    if isinstance(node, BaseModel):
        for name, info in type(node).model_fields.items():
            words = _literals(info.annotation)
            if len(words) > 1 and name not in UNVARIED and isinstance(getattr(node, name), str):
                found.append((node, name, words))
            found += _choices(getattr(node, name))
        switches = [n for n in type(node).model_fields if n in ("repairs_count", "bookings_count", "activates")]
        found += [(node, name, (True, False)) for name in switches]
    elif isinstance(node, tuple):
        found += [choice for inner in node for choice in _choices(inner)]
    elif isinstance(node, dict):
        found += [choice for inner in node.values() for choice in _choices(inner)]
    return found


def varied_conventions(conventions: Conventions, rng: random.Random) -> Conventions:
    """Return the conventions with some choices drawn anew."""
    tree = conventions.model_dump(mode="json", by_alias=True)
    fields = Conventions.model_fields
    for name, info in fields.items():
        words = _literals(info.annotation)
        if len(words) > 1 and rng.random() < 0.4:
            tree[name] = rng.choice(words)
    tree["money"] = {
        "round": rng.choice(("half_up", "half_even", "half_down", "up", "down")),
        "at": rng.choice(("line", "step")),
    }
    tree["share"] = rng.choice(("exact", {"places": rng.choice((2, 4)), "round": "half_up"}))
    rest = ["share", "deductible", "caps"]
    rng.shuffle(rest)
    tree["deduction_order"] = ["allowance", *rest]
    tree["absent_service_record"]["counts_as"] = rng.choice(("ask_first", "not_done"))
    tree["exchange_rate_on"] = rng.choice(("repair_ended_on", "submitted_on", "failed_on"))
    return Conventions.model_validate(tree)


def varied_policy(policy: CoveragePolicy, rng: random.Random, changes: int = 5) -> CoveragePolicy:
    """Return the policy with some choices drawn anew, and sometimes a cap or a deductible added."""
    varied = policy.model_copy(deep=True)
    choices = _choices(varied)
    for node, name, words in rng.sample(choices, min(changes, len(choices))):
        object.__setattr__(node, "__dict__", {**node.__dict__, name: rng.choice(words)})
    tree = varied.model_dump(mode="json", by_alias=True, exclude_none=True)
    if rng.random() < 0.4:
        tree["deductible"] = {"clause": "D", "amount": rng.choice(("25.00", "400.00")), "borne_by": "owner"}
    if rng.random() < 0.4:
        cap = {"clause": "C", "over": rng.choice(("claim", "line", "machine_lifetime", "component_lifetime"))}
        of = rng.choice(({"amount": "150.00"}, {"amount": "900.55"}, {"of": "machine_price"}))
        tree["caps"] = [*tree.get("caps", []), {**cap, "at": of, "items": "all", "excess_borne_by": "dealer"}]
    if rng.random() < 0.4:
        tree["prorating"] = drawn_prorating(rng, tree["pays"])
    if rng.random() < 0.4:
        draw_periods(rng, tree["pays"])
    try:
        return CoveragePolicy.model_validate(tree)
    except ValidationError:
        return policy  # the drawn choices contradict one another, which the schema refuses


def draw_periods(rng: random.Random, pays: dict[str, Any]) -> None:
    """Give labour a shorter period, or a point from which parts or labour is paid, by age, by hours or by both."""
    paid = [item for item in ("parts", "labour") if "nothing" not in pays.get(item, {"nothing": True})]
    if "labour" in paid and rng.random() < 0.5:
        limits = rng.choice(([{"machine_hours": 150}], [{"months": 5}, {"machine_hours": 150}]))
        pays["labour"] |= {"until": {rng.choice(("first_of", "last_of")): limits}, "after_borne_by": "owner"}
    if len(paid) == 2 and rng.random() < 0.7:
        after = rng.choice(({"months": 4}, {"machine_hours": 100}, {"component_hours": 60}))
        choice = {"items": paid, "after": after, "picks": rng.choice(("higher", "lower"))}
        pays["either_or"] = {"clause": "E", "borne_by": rng.choice(("owner", "dealer")), **choice}


def drawn_prorating(rng: random.Random, pays: dict[str, Any]) -> dict[str, Any]:
    """Return a prorating clause: one axis or two, of any measure but wear, or the owner's fixed prices."""
    paid = [item for item in ("parts", "labour", "fluids") if "nothing" not in pays.get(item, {"nothing": True})]
    clause: dict[str, Any] = {
        "clause": "P",
        "items": paid or ["parts"],
        "borne_by": rng.choice(("owner", "other_payer")),
    }
    measures = ["complete_months", "begun_months", "complete_30_day_units", "begun_30_day_units", "machine_hours"]
    chosen = rng.sample([*measures, "component_hours"], rng.choice((1, 1, 2)))
    curves = []
    for by in chosen:
        scale = 1 if by.endswith(("months", "units")) else 40
        curves.append(
            rng.choice(
                (
                    {"steps": [[0, 1], [6 * scale, "2/3"], [18 * scale, "1/4"], [40 * scale, 0]]},
                    {"points": [[0, 1], [5 * scale, 1], [33 * scale, "1/7"]], "between": "linear"},
                    {"zero_at": 36 * scale, "credit": rng.choice(("whole_term", "tail_only")), "free_until": 3 * scale},
                )
            )
        )
    clause["axes"] = [{"by": by, "share": curve} for by, curve in zip(chosen, curves, strict=True)]
    clause["owner_pays_on"] = "allowed_amount"
    if len(chosen) == 2:
        clause["combine"] = rng.choice(("worse_of", "better_of", "product_of"))
    elif paid == ["parts"] and rng.random() < 0.5:
        clause["axes"][0]["share"] = {"owner_prices": [[0, "0.00"], [4, "55.50"], [20, "310.10"]]}
        clause["borne_by"] = "owner"
    if rng.random() < 0.4:
        limits = [{"months": 4}, {"machine_hours": 150}]
        clause["free_while"] = {rng.choice(("first_of", "last_of")): limits}
    if set(clause["items"]) <= {"parts", "fluids"} and rng.random() < 0.5:
        clause["owner_pays_on"], clause["borne_by"] = "list_price", "owner"
    return clause
