"""`hourmark schemas`: written, in step, out of step."""

import json
from pathlib import Path

import pytest

from tests.service.command_line import run

pytestmark = pytest.mark.fast


def test_written_schemas_are_in_step_until_one_changes(tmp_path: Path) -> None:
    directory = tmp_path / "schemas"
    code, out, err = run("schemas", directory, "--write")
    assert (code, err) == (0, "")
    assert f"written  {directory / 'policy.schema.json'}" in out
    assert json.loads((directory / "policy.schema.json").read_text())["$schema"].endswith("2020-12/schema")
    assert run("schemas", directory, "--check")[0] == 0
    (directory / "policy.schema.json").write_text("{}")
    (directory / "claim.schema.json").unlink()
    (directory / "other.schema.json").write_text("{}")
    code, out, err = run("schemas", directory)
    assert (code, out) == (1, "")
    assert f"{directory / 'policy.schema.json'}: this schema is not what the models say." in err
    assert f"{directory / 'claim.schema.json'}: this schema is not there." in err
    assert f"{directory / 'other.schema.json'}: this schema belongs to no document known here." in err
    code, out, err = run("schemas", directory, "--write")
    assert code == 0
    assert out.splitlines()[-1].startswith("2 of ")


def test_write_and_check_exclude_each_other(tmp_path: Path) -> None:
    assert run("schemas", tmp_path, "--write", "--check")[0] == 2
