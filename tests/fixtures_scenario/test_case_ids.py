"""Every case of the trade that reaches the clause families built so far has its table, or says what it waits for.

Ids and expectations are those of the trade's case list: common practice, no source. The gaps in the numbers are meant.
"""

import re
from collections.abc import Iterator, Mapping

import pytest

from schemas.cases import CaseTable
from schemas.documents import parse_document, validated
from service.shipped import FIXTURES

pytestmark = pytest.mark.fast

GUIDE = FIXTURES / "cases" / "README.md"
NUMBERS = {
    "E": "1 2 4 5 6 7 8 9 10 12 13 15 17 18 20 21 22 23 25 26 28 29 30 31 32 33 35 36 37 39 41 42 43 45 47 48 50 51 52"
    " 54 55 56 66 67 69 71 72 73 74 75 77 79 80 81 83 84 85 87 88 90 91 92",
    "T": "1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 26",
}
WANTED = [f"{letter}-{int(number):02}" for letter, numbers in NUMBERS.items() for number in numbers.split()]


def listed() -> dict[str, str]:
    """Return what the guide says of each id: its tables, or what it waits for."""
    rows = re.findall(r"^\| ([A-Z]+-\d+) \| (.+?) \|$", GUIDE.read_text(encoding="utf-8"), re.MULTILINE)
    assert len(rows) == len(dict(rows)), "an id stands twice in the guide"
    return dict(rows)


def ids_of_tables() -> Iterator[tuple[str, str]]:
    files = sorted((FIXTURES / "cases" / "tables").glob("*.yaml")) + sorted(FIXTURES.rglob("*.cases.yaml"))
    for file in files:
        table = validated(CaseTable, parse_document(file.read_text(encoding="utf-8"), file.name))
        yield from ((case.id, file.name) for case in table.cases if case.id is not None)


def tables_of_ids() -> Mapping[str, str]:
    found: dict[str, set[str]] = {}
    for case, table in ids_of_tables():
        found.setdefault(case, set()).add(f"`{table.removesuffix('.yaml')}`")
    return {case: ", ".join(sorted(tables)) for case, tables in found.items()}


@pytest.mark.parametrize("case", WANTED)
def test_a_case_of_the_trade_has_its_table_or_waits(case: str) -> None:
    assert case in listed(), f"{GUIDE.name} says neither which table holds {case} nor what it waits for"


def test_the_guide_names_the_tables_as_they_are() -> None:
    tables = tables_of_ids()
    said = {case: where.split("; waits: ")[0] for case, where in listed().items() if not where.startswith("waits: ")}
    assert said == tables, "write the guide anew where a table came or went"


def test_what_waits_has_no_table_yet() -> None:
    waiting = {case for case, where in listed().items() if where.startswith("waits: ")}
    assert waiting, "the list of what waits is empty"
    assert not waiting & set(tables_of_ids()), "a case with a table waits for nothing"
