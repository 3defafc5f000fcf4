"""From a parsed document to a model, or to faults in plain words at the places where they stand."""

from collections.abc import Collection, Iterator, Sequence
from typing import Any, NamedTuple, TypeVar, overload

from pydantic import BaseModel, TypeAdapter, ValidationError

from schemas.documents import wording
from schemas.documents.faults import MOST_FAULTS, DocumentRefused, Fault, TreePath, path_text
from schemas.documents.model_map import ModelMap, Spot
from schemas.documents.tree import ParsedDocument, Tree
from schemas.fault_at import KeyPath, faults_of

Model = TypeVar("Model", bound=BaseModel)
Value = TypeVar("Value")

_MOST_ERRORS = 2_000  # looked at; each takes a walk through the model


@overload
def validated(model: type[Model], document: ParsedDocument) -> Model: ...
@overload
def validated(model: TypeAdapter[Value], document: ParsedDocument) -> Value: ...
def validated(model: Any, document: ParsedDocument) -> Any:
    """Return the document as an instance of `model`; text becomes dates, amounts and the like in pydantic's lax mode.

    Raises DocumentRefused with one fault for each error; where no member of a union takes a value, with the faults of
    the members that come closest. The message of a ValueError from a validator of ours stands as it is, and a FaultAt
    is told at its key.
    """
    try:
        if isinstance(model, TypeAdapter):
            return model.validate_python(document.tree)
        return model.model_validate(document.tree)
    except ValidationError as error:
        schema = model.core_schema if isinstance(model, TypeAdapter) else model.__pydantic_core_schema__
        raise DocumentRefused(_faults(error, ModelMap(schema), document)) from error


class _Found(NamedTuple):
    detail: Any  # of pydantic, see ErrorDetails there
    spot: Spot


def _faults(error: ValidationError, model_map: ModelMap, document: ParsedDocument) -> list[Fault]:
    found = []
    details = error.errors(include_url=False)[:_MOST_ERRORS]
    with_faults_inside = {detail["loc"][:end] for detail in details for end in range(len(detail["loc"]))}
    for detail in details:
        trail = detail["loc"][:-1] if detail["type"] in wording.ABOUT_A_KEY else detail["loc"]
        spot = model_map.find(trail, document.tree)
        # Pydantic counts the good items only: a list may seem too short because some of its items are wrong.
        is_long_enough = isinstance(spot.node, list) and len(spot.node) >= detail.get("ctx", {}).get("min_length", 0)
        if not (detail["type"] == "too_short" and is_long_enough and detail["loc"] in with_faults_inside):
            found.append(_Found(detail, spot))
    faults: dict[Fault, None] = {}  # members of a union may find the same fault
    wrong_values: dict[TreePath, list[Any]] = {}
    for detail, spot in _closest(found):
        if detail["type"] in wording.ABOUT_A_VALUE:
            wrong_values.setdefault(spot.path, []).append(detail)
            continue
        if placed := faults_of(detail.get("ctx", {}).get("error")):
            for one in placed:
                inside = (*spot.path, *_as_far_as_there(one.key, spot.node))
                faults[document.fault(inside, one.message, one.way_out)] = None
            continue
        message, way_out = wording.words(detail, spot)
        # A wrong key is pointed at, yet named as a fault of the mapping that it stands in.
        at = (*spot.path, *detail["loc"][-1:]) if detail["type"] in wording.ABOUT_A_KEY else spot.path
        faults[Fault(document.name, *document.position(at), path_text(spot.path), message, way_out)] = None
    for path, details in wrong_values.items():
        faults[document.fault(path, *wording.wrong_value(details))] = None
    ordered = sorted(faults, key=lambda fault: (fault.line, fault.column or 0))
    if len(ordered) > MOST_FAULTS:
        end = ordered[MOST_FAULTS - 1]
        more = Fault(document.name, end.line, end.column, "", "more faults are not listed.", "Correct these first.")
        return [*ordered[:MOST_FAULTS], more]
    return ordered


def _as_far_as_there(key: KeyPath, node: Tree) -> Iterator[str | int]:
    """Yield the steps of a key that the document has, below the node of the model that found the fault."""
    for step in key:
        steps: Collection[str | int] = (
            node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
        )
        if step not in steps:
            return
        node = node[step]  # type: ignore[index]  # just looked up
        yield step


def _closest(found: Sequence[_Found], depth: int = 0) -> list[_Found]:
    """Leave out what members of untagged unions say that come less close to the value than others.

    A mapping comes close to the members that are mappings, a list to those that are lists; of these, those that know
    most of its keys, then those with the fewest faults. If there are none, and for a scalar, every member has its say.
    """
    kept = [one for one in found if len(one.spot.members) <= depth]
    unions: dict[TreePath, dict[str, list[_Found]]] = {}
    for one in found:
        if len(one.spot.members) > depth:
            member = one.spot.members[depth]
            unions.setdefault(member.path, {}).setdefault(member.label, []).append(one)
    for members in unions.values():
        judged = {label: _closest(said, depth + 1) for label, said in members.items()}
        fitting = [said for said in judged.values() if said[0].spot.members[depth].fits]
        fewest = min((_distance(said) for said in fitting), default=None)
        for said in judged.values() if fewest is None else fitting:
            if fewest is None or _distance(said) == fewest:
                kept += said
    return kept


def _distance(said: Sequence[_Found]) -> tuple[int, int]:
    return sum(one.detail["type"] == "extra_forbidden" for one in said), len(said)
