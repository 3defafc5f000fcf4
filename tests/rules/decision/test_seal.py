"""The bytes of a decision: RFC 8785 as the rfc8785 package writes it, with the digests over the parts they name."""

import hashlib
from datetime import date
from typing import Any

import pytest
import rfc8785

from rules.adjudicate import Adjudicator
from rules.decision.seal import DERIVATION, ENVELOPE, OUTCOME, decision_bytes
from schemas.canonical import check_canonical, part
from schemas.decision import Decision
from tests.reference.fixture_books import BOOKS, Names, book_of, claims_for

pytestmark = pytest.mark.fast


def sha256(value: Any) -> str:
    return "sha256:" + hashlib.sha256(rfc8785.dumps(value)).hexdigest()


def decisions(names: Names) -> list[Decision]:
    drawn = claims_for(names, 5, 0.3)
    with Adjudicator(book_of(names)) as adjudicator:
        return [adjudicator.decide(drawn.draw(lines=3)) for _ in range(2)]


@pytest.mark.parametrize("names", BOOKS[::4], ids="+".join)
def test_the_bytes_and_every_digest_are_those_of_the_oracle(names: Names) -> None:
    for decision in decisions(names):
        document = decision.document
        check_canonical(document)
        assert decision_bytes(decision) == rfc8785.dumps(document)
        digests = document["digests"]
        assert digests["outcome"] == decision.digests.outcome == sha256({key: document[key] for key in OUTCOME})
        assert digests["derivation"] == sha256({key: document[key] for key in DERIVATION})
        envelope = {key: document[key] for key in ENVELOPE} | {"claim_file": digests["claim_file"]}
        assert digests["envelope"] == sha256(envelope)
        assert set(document) == {*OUTCOME, *DERIVATION, *ENVELOPE, "digests"}


def test_the_document_says_what_the_decision_says() -> None:
    (decision, _) = decisions(BOOKS[0])
    line, shown = decision.lines[0], decision.document["lines"][0]
    assert shown["maker_pays"] == str(line.maker_pays)
    assert [reason["code"] for reason in shown["reasons"]] == [reason.code for reason in line.reasons]
    assert decision.document["deadlines"] == [list(deadline) for deadline in decision.deadlines]


def test_what_has_no_place_in_a_decision_is_refused() -> None:
    with pytest.raises(TypeError):
        part({"on": date(2026, 3, 2)})
