"""Reading policy directories: every YAML or JSON document below them, by what it says it is."""

from collections.abc import Iterator
from pathlib import Path

from rules.cases.run import PolicySource
from schemas.documents import ParsedDocument, parse_document

SUFFIXES = (".yaml", ".yml", ".json")


def documents_in(*places: Path) -> Iterator[tuple[Path, ParsedDocument]]:
    """Yield every document in these files and directories, in the order of their paths; raises DocumentRefused."""
    for place in places:
        files = [place] if place.is_file() else sorted(p for p in place.rglob("*") if p.suffix in SUFFIXES)
        for file in files:
            yield file, parse_document(file.read_text(encoding="utf-8"), str(file))


def read_policy_source(*places: Path) -> PolicySource:
    """Return the policies and conventions found there, as plain trees by name@version."""
    policies = {}
    conventions = {}
    for _, document in documents_in(*places):
        tree = document.tree
        if not isinstance(tree, dict) or "version" not in tree:
            continue
        if "policy" in tree:
            policies[f"{tree['policy']}@{tree['version']}"] = tree
        elif "conventions" in tree:
            conventions[f"{tree['conventions']}@{tree['version']}"] = tree
    return PolicySource(policies, conventions)
