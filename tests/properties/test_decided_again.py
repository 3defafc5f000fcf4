"""The same claim file gives the same bytes: by another engine, after other claims, and in a process of its own."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from rules.adjudicate import Adjudicator
from rules.decision.seal import decision_bytes
from schemas.claim_file import ClaimFile
from tests.reference.fixture_books import BOOKS, Names, book_of, claims_for

pytestmark = pytest.mark.fast

ROOT = Path(__file__).parents[2]
PROGRAM = """
import json, sys
from rules.adjudicate import Adjudicator
from rules.decision.seal import decision_bytes
from schemas.claim_file import ClaimFile
from tests.reference.fixture_books import book_of

for names, files in json.load(sys.stdin):
    with Adjudicator(book_of(tuple(names))) as adjudicator:
        for text in files:
            sys.stdout.buffer.write(decision_bytes(adjudicator.decide(ClaimFile.model_validate_json(text))) + b"\\n")
"""


def files_of(names: Names) -> list[ClaimFile]:
    drawn = claims_for(names, 31, 0.3)
    return [drawn.draw(lines=2) for _ in range(3)]


def decided(names: Names, files: list[ClaimFile]) -> list[bytes]:
    with Adjudicator(book_of(names)) as adjudicator:
        return [decision_bytes(adjudicator.decide(file)) for file in files]


@pytest.mark.parametrize("names", BOOKS[::6], ids="+".join)
def test_another_engine_after_other_claims_gives_the_same_bytes(names: Names) -> None:
    files = files_of(names)
    assert decided(names, files) == decided(names, files[::-1])[::-1]
    assert decided(names, files[:1]) == decided(names, [*files, files[0]])[-1:]


def test_a_fresh_process_gives_the_same_bytes() -> None:
    chosen = BOOKS[1::9]
    given = [(names, [file.model_dump_json(by_alias=True) for file in files_of(names)]) for names in chosen]
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], input=json.dumps(given).encode(), capture_output=True, cwd=ROOT, check=True
    )
    here = [data for names in chosen for data in decided(names, files_of(names))]
    assert done.stdout.splitlines() == here
