"""How coverages meet on a claim: what a policy that is beside the point may not change."""

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from iso4217 import Currency

from rules.adjudicate import Adjudicator
from rules.cases.facts import claim_file_of
from rules.policy_book.book import build_book
from schemas.cases import CaseTable
from schemas.conventions import Conventions
from schemas.documents import parse_document, validated
from schemas.policy.document import CoveragePolicy
from service.policy_files import read_policy_source

pytestmark = pytest.mark.fast

FIXTURES = Path(__file__).parents[2] / "fixtures"
EXPONENTS = {c.code: c.exponent for c in Currency if c.exponent is not None}


def test_the_conventions_of_a_policy_for_other_machines_change_nothing() -> None:
    """Each policy reads the meters by the conventions it pins, not by those of a stranger in the same book."""
    source = read_policy_source(FIXTURES / "cases", FIXTURES / "conventions")
    policies = [CoveragePolicy.model_validate(source.policies[n]) for n in ("drive-proven@2", "drive-prorated@1")]
    own = Conventions.model_validate(source.conventions["common-civil@1"])
    # Two hours a day at the most would make every reading of this machine doubtful.
    strict = own.model_copy(
        update={
            "conventions": "zz-strict",
            "meter": own.meter.model_copy(update={"most_hours_a_day": Decimal(2)}),
        }
    )
    tree = {**source.policies["drive-prorated@1"], "policy": "stranger", "conventions": "zz-strict@1"}
    tree["applies_to"] = {**tree["applies_to"], "models": ["OTHER"]}
    tree["in_force"] = {"from": date(2015, 1, 1), "selected_by": "start_of_term"}
    stranger = CoveragePolicy.model_validate(tree)
    file = FIXTURES / "cases/tables/services-drive-facts.yaml"
    table = validated(CaseTable, parse_document(file.read_text(encoding="utf-8"), file.name))
    claim_file = claim_file_of(table, table.cases[0], "EUR", EXPONENTS)
    with (
        Adjudicator(build_book(policies, [own])) as alone,
        Adjudicator(build_book([*policies, stranger], [own, strict])) as beside,
    ):
        first, second = alone.decide(claim_file), beside.decide(claim_file)
    assert first.lines[0].maker_pays == Decimal("1150.00")
    assert [(line.outcome, line.maker_pays, line.reasons) for line in second.lines] == [
        (line.outcome, line.maker_pays, line.reasons) for line in first.lines
    ]
