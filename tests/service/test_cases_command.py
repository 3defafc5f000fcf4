"""`hourmark cases`: what holds, what fails with expected and got, and which clauses no case touches."""

import shutil
from pathlib import Path

import pytest

from tests.service.command_line import FILES, ROOT, flat, process, run

pytestmark = pytest.mark.fast

BREAK_IN = ROOT / "fixtures/cases/tables/services-break-in.yaml"
# The drive at 1,500 h without services: 1,150.00 × 3/5 = 690.00 (common practice, no source).
TABLE = """\
policies: [orchard-drive@2, orchard-drive@1]
base:
  machine: {model: QF60, retail_delivery: 2026-03-02, records_complete_from: 2026-03-02}
  claim: {failed_on: 2027-02-01, reading: 1500, lines: {drive: {component: wheel_drive, net: "1000.00"}}}
cases:
  - id: T-1
    name: without any service the drive is prorated
    expect: {drive: {outcome: pay_part, maker_pays: "690.00", owner_owes: "460.00"}}
"""


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A case table beside its policies."""
    shutil.copytree(FILES / "terms", tmp_path / "policies")
    file = tmp_path / "tables" / "drive.yaml"
    file.parent.mkdir()
    file.write_text(TABLE)
    return file


def test_cases_that_hold_are_counted_and_untouched_clauses_named(table: Path) -> None:
    code, out, err = run("cases", table)
    assert (code, err) == (0, "")
    assert out.splitlines()[-1] == "1 case in 1 table: 1 hold, 0 fail"
    text = flat(out)
    assert "Clauses that no case touches:" in text
    # Nobody claims labour or anything else, under either version.
    assert "orchard-drive@1: pays.labour, pays.anything_else" in text
    assert "orchard-drive@2: " in text


def test_a_failure_is_told_as_expected_and_got(table: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")  # no path is broken over two lines, however narrow the terminal is
    table.write_text(TABLE.replace('"690.00"', '"700.00"'))
    code, out, _ = run("cases", table)
    assert code == 1
    assert f"fails  {table}:6:" in out
    assert f"fails {table}:6: T-1: without any service the drive is prorated" in flat(out)
    assert f"line drive of the claim, maker_pays ({table}:8)" in out
    lines = [line.strip() for line in out.splitlines()]
    at = lines.index("expected  700.00")
    assert lines[at + 1] == "got       690.00"
    assert lines[-1] == "1 case in 1 table: 0 hold, 1 fail"


def test_shipped_tables_find_their_policies_by_themselves() -> None:
    done = process("cases", BREAK_IN, "--verbose")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("holds  E-01: ") >= 1
    assert " hold, 0 fail" in done.stdout.splitlines()[-1]


def test_a_directory_of_tables_is_run(table: Path) -> None:
    shutil.copy(table, table.with_name("again.yaml"))
    (table.parent / "notes.yaml").write_text("remember: something\n")
    code, out, _ = run("cases", table.parent, "--policies", table.parents[1] / "policies")
    assert (code, out.splitlines()[-1]) == (0, "2 cases in 2 tables: 2 hold, 0 fail")


def test_an_unknown_policy_is_refused_at_its_line(table: Path) -> None:
    table.write_text(TABLE.replace("orchard-drive@1]", "orchard-drive@9]"))
    code, _, err = run("cases", table)
    assert code == 2
    assert f"{table}:1: policies: orchard-drive@9 is not among the policies found: " in err
    assert "or say where with --policies." in err


@pytest.mark.parametrize(
    ("before", "after", "message"),
    [
        ("failed_on: 2027-02-01, ", "", "the claim states no day; write failed_on"),
        (
            "    expect:",
            "    terms: {orchard-drive@2: {layer: drives}}\n    expect:",
            'layer: "drives" is not a choice here. Did you mean "drive"?',
        ),
        (
            "    expect:",
            "    conventions: {share: [1]}\n    expect:",
            "share: a list is not",
        ),
        ("    expect:", "    claim: {part: A-1}\n    expect:", 'claim: "part" is not a key here.'),
        (
            "    expect:",
            "    machine: {has_meter: perhaps}\n    expect:",
            'machine.has_meter: "perhaps" is not true or false. Write true or false.',
        ),
        (
            "    expect:",
            "    services: {a: {on: 2026-05-01, tasks: [service], by: [owner]}}\n    expect:",
            "services[0].by: a list is not a choice here.",
        ),
        ("    expect:", "    terms: {orchard-drive@3: {layer: drive}}\n    expect:", "orchard-drive@3"),
        ("    expect:", "    services: {a: {like: b}}\n    expect:", 'service "a" is like "b"'),
        ("reading: 1500", "reading: many", "many"),
        ("failed_on: 2027-02-01", "failed_on: soon", 'claim.failed_on: "soon" is no day; write one such as 2025-06-16'),
    ],
)
def test_a_case_that_cannot_be_decided_is_refused_with_its_line(
    table: Path, before: str, after: str, message: str
) -> None:
    assert TABLE.count(before) == 1
    table.write_text(TABLE.replace(before, after))
    code, out, err = run("cases", table)
    assert code == 2
    assert f"{table}:" in err
    assert "cannot be decided" in err
    assert message in flat(err)
    assert "Input should" not in err
    assert "1 refused" in out


@pytest.mark.parametrize(
    ("added", "place", "message"),
    [
        (
            "    services: {s9: null}\n",
            "cases[0].services.s9",
            'is prorated" cannot be decided: "s9" is taken away, and the base has none of that name. It has none.',
        ),
        (
            "    terms: {orchard-drive@3: {layer: base}}\n",
            'cases[0].terms["orchard-drive@3"]',
            "the table does not name orchard-drive@3 under policies. Name it there, or correct it.",
        ),
        (
            "    expect: {drive: {outcome: pay_part, reasons: [proratd]}}\n",
            "cases[0].expect.drive.reasons",
            'the drive is prorated": proratd is the code of no reason or note. Did you mean prorated?',
        ),
    ],
)
def test_what_is_wrong_with_a_case_is_told_once_at_its_place(table: Path, added: str, place: str, message: str) -> None:
    kept = TABLE if "expect" not in added else TABLE[: TABLE.index("    expect:")]
    table.write_text(kept + added)
    code, _, err = run("cases", table)
    assert code == 2
    at = len((kept + added).splitlines())  # what was added is the last line
    assert err.startswith(f"{table}:{at}:")
    assert f"{place}: " in flat(err)
    assert message in flat(err)
    assert err.count("T-1: without any service") == 1


def test_a_name_that_is_too_short_is_told_why(table: Path) -> None:
    table.write_text(TABLE.replace("without any service the drive is prorated", "day after"))
    code, _, err = run("cases", table)
    assert code == 2
    assert '"day after" says too little: a case that fails is known by its name; write a sentence of at least' in err


def test_faults_of_the_policies_stop_the_run(table: Path) -> None:
    policy = table.parents[1] / "policies/orchard-drive-1.yaml"
    policy.write_text(policy.read_text().replace("layer: drive", "layer: drives"))
    code, out, err = run("cases", table)
    assert (code, out) == (2, "")
    assert f"{policy}:6: layer:" in err


def test_no_table_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.yaml").write_text("remember: something\n")
    code, _, err = run("cases", tmp_path)
    assert code == 2
    assert "no case table is found here." in err


def test_another_document_named_as_a_table_is_told_in_one_fault(table: Path) -> None:
    policy = table.parents[1] / "policies/orchard-drive-2.yaml"
    code, _, err = run("cases", policy)
    assert code == 2
    assert "these are coverage terms, and a case table is read here. Check which file stands in which place." in err
    assert "1 fault; nothing was done." in err


# --- Cases about claims on file --------------------------------------------------------------------


def on_file(tmp_path: Path, number: str) -> Path:
    """A table in a directory of its own about one claim of the demo scenario, a copy of which lies beside it."""
    shutil.copytree(ROOT / "fixtures/demo", tmp_path / "scenario")
    file = tmp_path / "tables/mine.yaml"
    file.parent.mkdir()
    file.write_text(
        "policies: [quillfen-base@1]\nscenario: ../scenario\ncases:\n  - name: the last day of 24 months is covered\n"
        f"    claim_on_file: {number}\n"
        '    expect: {"1": {outcome: pay, maker_pays: "460.00"}}\n'
    )
    return file


def test_a_case_names_a_claim_on_file(tmp_path: Path) -> None:
    """C-2022: 400.00 x 1.15 = 460.00."""
    table = on_file(tmp_path, "C-2022")
    code, out, err = run("cases", table, "--policies", tmp_path / "scenario", "--verbose")
    assert (code, err) == (0, "")
    assert "holds  C-2022: the last day of 24 months is covered" in out
    table.write_text(table.read_text().replace("460.00", "461.00"))
    code, out, _ = run("cases", table, "--policies", tmp_path / "scenario")
    assert code == 1
    assert "expected  461.00" in out


def test_a_claim_that_is_not_on_file_is_refused(tmp_path: Path) -> None:
    code, _, err = run("cases", on_file(tmp_path, "C-9"), "--policies", tmp_path / "scenario")
    assert code == 2
    assert f"no claim C-9 is on file in {tmp_path / 'scenario'}" in flat(err)


def test_a_scenario_that_is_not_there_is_refused(tmp_path: Path) -> None:
    table = on_file(tmp_path, "C-2022")
    table.write_text(table.read_text().replace("../scenario", "../elsewhere"))
    code, _, err = run("cases", table, "--policies", tmp_path / "scenario")
    assert code == 2
    assert "elsewhere" in err
