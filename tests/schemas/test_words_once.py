"""A word named twice in a list is refused at the list, in every list of words that a policy has."""

from typing import Any

import pytest
from pydantic import ValidationError

from schemas.policy.document import CoveragePolicy
from tests.rules.policy_book.examples import FULL, tree_of

pytestmark = pytest.mark.fast

LISTS: dict[str, list[Any]] = {
    "supersedes": [2, 2],
    "applies_to.models": ["QF40", "QF60", "QF40"],
    "applies_to.use": ["residential", "residential"],
    "applies_to.regions": ["DE", "DE"],
    "applies_to.components": ["pump", "pump"],
    "applies_to.except_components": ["battery", "battery"],
    "applies_to.fitted": ["factory", "retrofit_kit", "replacement", "factory"],
    "carve_outs.1.components": ["shear_bolt", "shear_bolt"],
    "services.break_in.tasks": ["change_oil", "change_oil"],
    "services.break_in.performed_by": ["owner", "owner"],
    "services.break_in.proof.0.all": ["photo", "photo"],
    "services.break_in.links": ["pump", "pump"],
    "caps.0.items": ["parts", "parts"],
    "caps.0.components": ["pump", "pump"],
}
EXCLUDED: dict[str, list[str]] = {
    "wear": ["seal", "belt", "seal"],
    "consumables": ["oil", "oil"],
    "causes": ["accident", "accident"],
    "alterations": ["altered", "altered"],
}


def put(tree: Any, path: str, value: Any) -> None:
    *way, last = [int(step) if step.isdigit() else step for step in path.split(".")]
    for step in way:
        tree = tree[step]
    tree[last] = value


def refusal(tree: Any) -> tuple[str, str]:
    with pytest.raises(ValidationError) as refused:
        CoveragePolicy.model_validate(tree)
    (fault,) = refused.value.errors()
    return ".".join(map(str, fault["loc"])), fault["msg"]


@pytest.mark.parametrize("path", LISTS)
def test_a_word_said_twice_is_named_and_placed(path: str) -> None:
    tree = tree_of(FULL)
    put(tree, path, LISTS[path])
    at, message = refusal(tree)
    assert at == path
    assert f'"{LISTS[path][0]}" stands twice in this list; name it once' in message


@pytest.mark.parametrize("kind", EXCLUDED)
def test_what_is_excluded_is_named_once(kind: str) -> None:
    """A rule is made of each word; two of one name would be two rules that nothing tells apart."""
    tree = tree_of(FULL)
    more = {"wear": "never", "consumables": "never"}.get(kind)
    own: dict[str, Any] = {"clause": "6", kind: EXCLUDED[kind], "borne_by": "owner"}
    own |= {"unless": more} if more else {"reach": "everything"} if kind == "alterations" else {}
    tree["exclusions"] = [own]
    at, message = refusal(tree)
    assert at.startswith("exclusions.0")
    assert f'"{EXCLUDED[kind][0]}" stands twice in this list; name it once' in message


def test_each_word_once_is_taken() -> None:
    tree = tree_of(FULL)
    put(tree, "carve_outs.1.components", ["shear_bolt", "fuse"])
    assert CoveragePolicy.model_validate(tree).carve_outs[1].components == ("shear_bolt", "fuse")
