"""Every limit of the coverage structures is felt by their cases from both sides: moved by its least step, a case fails.

The least step of a period is a month or a day, of hours a tenth. Common practice, no source.
"""

import copy
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

import pytest
from iso4217 import Currency

from rules.cases.run import CaseRunner, PolicySource
from schemas.cases import CaseTable
from schemas.documents import parse_document, validated
from service.policy_files import read_policy_source
from service.shipped import FIXTURES

SOURCE = read_policy_source(FIXTURES)
STRUCTURES = sorted(name for name in SOURCE.policies if name.startswith("cs-"))
EXPONENTS = {c.code: c.exponent for c in Currency if c.exponent is not None}
STEPS = {"months": Decimal(1), "days": Decimal(1), "machine_hours": Decimal("0.1"), "component_hours": Decimal("0.1")}
Path = tuple[str | int, ...]


def limits(node: Any, path: Path = ()) -> Iterator[tuple[Path, Decimal]]:
    """Yield every number of a period below ``node``, with the step to move it by."""
    if isinstance(node, Mapping):
        for key, value in node.items():
            if key in STEPS and not isinstance(value, Mapping | list):
                yield (*path, key), STEPS[key]
            else:
                yield from limits(value, (*path, key))
    elif isinstance(node, list | tuple):
        for place, value in enumerate(node):
            yield from limits(value, (*path, place))


def moved(tree: Mapping[str, Any], path: Path, by: Decimal) -> dict[str, Any]:
    """Return the policy with one number moved."""
    changed = copy.deepcopy(dict(tree))
    node: Any = changed
    for part in path[:-1]:
        node = node[part]
    value = Decimal(str(node[path[-1]])) + by
    node[path[-1]] = int(value) if value == int(value) else str(value)
    return changed


def table_of(name: str) -> CaseTable:
    file = FIXTURES / "cases" / "tables" / f"structures-cs-{name[3:5]}.yaml"
    return validated(CaseTable, parse_document(file.read_text(encoding="utf-8"), file.name))


def is_felt(name: str, tree: dict[str, Any]) -> bool:
    """Return whether a case of the structure's table fails once its policy reads so."""
    source = PolicySource({**SOURCE.policies, name: tree}, SOURCE.conventions)
    with CaseRunner(source, EXPONENTS) as runner:
        return any(result.mismatches for result in runner.run(table_of(name)))


@pytest.mark.parametrize("name", STRUCTURES)
def test_a_limit_moved_either_way_fails_a_case(name: str) -> None:
    tree = SOURCE.policies[name]
    assert list(limits(tree))
    unfelt = [
        f"{'.'.join(map(str, path))} {'later' if by > 0 else 'earlier'}"
        for path, step in limits(tree)
        for by in (-step, step)
        if not is_felt(name, moved(tree, path, by))
    ]
    assert not unfelt, f"no case of {name} stands at these edges: {', '.join(unfelt)}"
