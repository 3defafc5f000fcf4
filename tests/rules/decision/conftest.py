"""What the tests of decisions share: the runner of worked cases over every policy that ships."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from rules.cases.run import CaseRunner
from service.policy_files import read_policy_source

FIXTURES = Path(__file__).parents[3] / "fixtures"


@pytest.fixture(scope="module")
def runner() -> Iterator[CaseRunner]:
    with CaseRunner(read_policy_source(FIXTURES), {"EUR": 2}) as runner:
        yield runner
