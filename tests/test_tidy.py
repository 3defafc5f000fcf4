"""Rules of the house that no linter knows, each with what to do instead."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from rules.decision.catalogue import KINDS

pytestmark = pytest.mark.fast

ROOT = Path(__file__).parents[1]
SOURCES = sorted(f for package in ("schemas", "rules", "service") for f in (ROOT / package).rglob("*.py"))
CORE = [f for f in SOURCES if f.relative_to(ROOT).parts[0] in ("schemas", "rules")]


def name_of(file: Path) -> str:
    return str(file.relative_to(ROOT))


def nodes(file: Path) -> Iterator[ast.AST]:
    yield from ast.walk(ast.parse(file.read_text(encoding="utf-8")))


@pytest.mark.parametrize("file", SOURCES, ids=name_of)
def test_a_file_holds_one_noun(file: Path) -> None:
    lines = len(file.read_text(encoding="utf-8").splitlines())
    assert lines <= 400, f"{name_of(file)} has {lines} lines; split it where its second noun begins"


@pytest.mark.parametrize("file", SOURCES, ids=name_of)
def test_a_function_can_be_read_at_once(file: Path) -> None:
    for node in nodes(file):
        if isinstance(node, ast.FunctionDef):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            assert lines <= 50, f"{name_of(file)}:{node.lineno}: {node.name} has {lines} lines; name its parts"


@pytest.mark.parametrize("file", CORE, ids=name_of)
def test_no_float_comes_near_a_date_an_hour_or_an_amount(file: Path) -> None:
    for node in nodes(file):
        literal = isinstance(node, ast.Constant) and isinstance(node.value, float)
        call = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "float"
        found = literal or call
        assert not found, f"{name_of(file)}:{node.lineno}: write an int, a Decimal or a Fraction"  # type: ignore[attr-defined]


@pytest.mark.parametrize("file", [f for f in CORE if f.relative_to(ROOT).parts[0] == "rules"], ids=name_of)
def test_the_core_asks_no_clock(file: Path) -> None:
    for node in nodes(file):
        asked = isinstance(node, ast.Attribute) and node.attr in ("today", "now", "utcnow", "environ")
        assert not asked, f"{name_of(file)}:{node.lineno}: hand the value in with the claim file"  # type: ignore[attr-defined]


def test_every_reason_code_is_used() -> None:
    catalogue = ROOT / "rules" / "decision" / "catalogue.py"
    text = "\n".join(f.read_text(encoding="utf-8") for f in SOURCES if f != catalogue)
    unused = [code for code in KINDS if f'"{code}"' not in text]
    assert not unused, f"{', '.join(unused)}: no code finds this reason; delete it from the catalogue"


def test_every_reason_code_is_documented() -> None:
    """DEVELOPERS.md lists each code with what it does, who bears it and its remedy, in the order of precedence."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([a-z_]+)` \| (\w+) \| ([a-z ]+) \| ([a-z ]+) \| (.+) \|$", guide, re.MULTILINE)
    expected = [
        (
            kind.code,
            kind.effect,
            kind.bearer or "by clause" if kind.effect in ("deny", "cut") else "nobody",
            (kind.remedy or "none").replace("_", " "),
            kind.text,
        )
        for kind in KINDS.values()
    ]
    assert rows == expected
