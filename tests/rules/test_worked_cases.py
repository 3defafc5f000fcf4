"""Every table of worked cases under fixtures/, run through the code that policy owners use."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from iso4217 import Currency

from rules.cases.run import CaseRunner
from schemas.cases import CaseTable, WorkedCase
from schemas.documents import parse_document, validated
from service.policy_files import read_policy_source

pytestmark = pytest.mark.fast

FIXTURES = Path(__file__).parents[2] / "fixtures"
TABLES = sorted(p for p in FIXTURES.rglob("*.yaml") if p.parent.name == "tables" and p.parent.parent.name == "cases")
TABLES += sorted(FIXTURES.rglob("*.cases.yaml"))


def _cases() -> Iterator[tuple[CaseTable, WorkedCase, str]]:
    for file in TABLES:
        table = validated(CaseTable, parse_document(file.read_text(encoding="utf-8"), file.name))
        for case in table.cases:
            yield table, case, f"{file.stem}: {case.id or ''} {case.name}"


CASES = list(_cases())


@pytest.fixture(scope="module")
def runner() -> Iterator[CaseRunner]:
    exponents = {c.code: c.exponent for c in Currency if c.exponent is not None}
    with CaseRunner(read_policy_source(FIXTURES), exponents) as runner:
        yield runner


@pytest.mark.parametrize(("table", "case"), [(t, c) for t, c, _ in CASES], ids=[name for _, _, name in CASES])
def test_worked_case(runner: CaseRunner, table: CaseTable, case: WorkedCase) -> None:
    result = runner.run_case(table, case)
    assert not result.mismatches, "\n".join(str(m) for m in result.mismatches)
    for line in result.decision.lines:
        borne = line.maker_pays + line.owner_owes + line.dealer_bears + line.other_payer + line.open
        assert line.claimed + line.added == borne, line
