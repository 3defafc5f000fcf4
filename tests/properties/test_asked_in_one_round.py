"""A dealer is asked in one round: what a line asks about once its part is priced was asked while it was held for that.

The claims of the demo, with every part under a number on no price list, and then on one at the price that was typed.
Nothing else differs, so the questions of a line must not, either.
"""

from datetime import date

from rules.adjudicate import Adjudicator
from schemas.claim import ClaimLine
from schemas.claim_file import ClaimFile
from schemas.decision import Decision
from schemas.reference_tables import PartComponentTable, PriceRow, PriceTable
from tests.fixtures_scenario.scenario import book, claim_files

LONG_AGO = date(2000, 1, 1)
ELSE = PriceRow.model_validate({"part": "ELSE", "net": "1.00", "from": LONG_AGO})


def renumbered(claim_file: ClaimFile) -> ClaimFile:
    """Return the claim file with new part numbers, which the part tables know as they knew the old ones."""
    new = {line.line: f"NEW-{line.line}" for line in claim_file.claim.lines if line.net is not None}
    lines = tuple(
        line.model_copy(update={"part_number": new.get(line.line, line.part_number)}) for line in claim_file.claim.lines
    )
    known = {(new[line.line], line.part_number) for line in claim_file.claim.lines if line.line in new}
    tables = tuple(
        table.model_copy(
            update={
                "rows": (
                    *table.rows,
                    *(
                        row.model_copy(update={"part": to})
                        for row in table.rows
                        for to, part in known
                        if row.part == part
                    ),
                )
            }
        )
        if isinstance(table, PartComponentTable)
        else table
        for table in claim_file.tables
    )
    return claim_file.model_copy(
        update={"claim": claim_file.claim.model_copy(update={"lines": lines}), "tables": tables}
    )


def on_list(claim_file: ClaimFile, *rows: PriceRow) -> ClaimFile:
    """Return the claim file with a price list of its own, in the claim's currency."""
    table = PriceTable(table="new-parts", version=1, kind="prices", currency=claim_file.claim.currency, rows=rows)
    return claim_file.model_copy(update={"tables": (*claim_file.tables, table)})


def priced(line: ClaimLine) -> PriceRow:
    return PriceRow.model_validate(
        {"part": line.part_number, "net": line.net, "list_price": line.list_price, "from": LONG_AGO}
    )


def questions_of(decision: Decision, line: str) -> set[str]:
    return {q.id for q in decision.questions if q.asks == "dealer" and line in q.lines}


def test_a_line_held_for_its_price_asks_all_that_it_asks_once_it_is_priced() -> None:
    differences, held_lines, asking = [], 0, 0
    with Adjudicator(book()) as adjudicator:
        for number, claim_file in claim_files().items():
            new = renumbered(claim_file)
            rows = [priced(line) for line in new.claim.lines if line.net is not None]
            before = adjudicator.decide(on_list(new, ELSE), remedies=False)
            after = adjudicator.decide(on_list(new, ELSE, *rows), remedies=False)
            for line in before.lines:
                if "price_not_listed" not in {reason.code for reason in line.reasons}:
                    continue
                first, then = questions_of(before, line.line), questions_of(after, line.line)
                held_lines += 1
                asking += bool(first)
                if first != then:
                    differences.append((number, line.line, sorted(first), sorted(then)))
    assert not differences
    assert held_lines > 100
    assert asking > 10
