"""No input of a user ends in a traceback: files are broken in many ways and every command still answers in words."""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
import typer
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.command.demo import _Console
from service.command.output import refusing
from tests.service.command_line import CLAIM, DECIDE, FILES, ROOT, process, run

pytestmark = pytest.mark.fast

SOURCES = (
    CLAIM,
    FILES / "records/machine.yaml",
    FILES / "records/services.json",
    FILES / "records/dealers.json",
    FILES / "tables/prices.yaml",
    FILES / "terms/orchard-drive-2.yaml",
    ROOT / "fixtures/cases/tables/services-break-in.yaml",
)
PIECES = st.sampled_from(
    ["", "null", "[]", "{}", "-1", "99999999", "1e9", '"', "'", "\t", ":", "- ", "\n", "&a", "*a", "!!int",
     "0001-01-01", "9999-12-31", "é", "[x]", "\x00", "true", "0", "0.005"]
)  # fmt: skip


@st.composite
def broken_texts(draw: st.DrawFn) -> tuple[int, bytes]:
    """A source file, by number, with a few of its pieces cut, doubled or replaced."""
    number = draw(st.integers(0, len(SOURCES) - 1))
    text = SOURCES[number].read_text(encoding="utf-8")
    for _ in range(draw(st.integers(1, 3))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 12)))
        text = text[:start] + draw(PIECES | st.just(text[start:end] * 2)) + text[end:]
    return number, text.encode() if draw(st.booleans()) or len(text) < 9 else text.encode()[:-3] + b"\xc3"


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(broken=broken_texts())
def test_broken_files_are_refused_or_decided_in_words(broken: tuple[int, bytes]) -> None:
    number, data = broken
    with tempfile.TemporaryDirectory() as directory:
        root = Path(shutil.copytree(FILES, Path(directory) / "files"))
        if number < len(SOURCES) - 1:
            (root / SOURCES[number].relative_to(FILES)).write_bytes(data)
            arguments = [str(part).replace(str(FILES), str(root)) for part in DECIDE]
        else:
            file = root / "table.yaml"
            file.write_bytes(data)
            arguments = ["cases", str(file), "--policies", str(ROOT / "fixtures/cases/policies")]
        code, out, err = run(*arguments)
        assert code in (0, 1, 2), err
        assert "Traceback" not in out + err
        faults = [line for line in err.splitlines() if not line.startswith("Note: ")]
        assert (code == 2) == bool(faults)
        if "terms" in str(SOURCES[number]):
            for command in ("check", "publish"):
                code, _, err = run("policy", command, root / "terms")
                assert code in (0, 2), err


@pytest.mark.parametrize("command", [("decide", "x"), ("policy",), ("policy", "check"), ("nothing",), ("--nothing",)])
def test_wrong_usage_is_answered_with_usage(command: tuple[str, ...]) -> None:
    done = process(*command)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert "Usage" in done.stdout + done.stderr


def test_places_that_cannot_be_read_or_written_are_named(tmp_path: Path) -> None:
    code, _, err = run("policy", "check", tmp_path / "nowhere")
    assert (code, "there is no such file or directory. Check the path." in err) == (2, True)
    code, _, err = run("policy", "publish", FILES / "terms/orchard-drive-1.yaml")
    assert (code, "this is no directory." in err) == (2, True)
    (tmp_path / "file").write_text("")
    code, _, err = run("schemas", tmp_path / "file", "--write")
    assert code == 2
    assert str(tmp_path / "file") in err


def test_a_fault_of_the_program_is_told_apart_from_faults_of_files(capsys: pytest.CaptureFixture[str]) -> None:
    @refusing
    def divide(by: int) -> int:
        return 1 // by

    assert divide(1) == 1
    with pytest.raises(typer.Exit) as left:
        divide(0)
    assert left.value.exit_code == 3
    assert "This is a fault in hourmark, not in your files: ZeroDivisionError" in capsys.readouterr().err


def test_the_command_works_from_any_directory(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "service.command", "policy", "check", str(FILES / "terms")],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    # The conventions that the terms pin ship with the project and are found wherever it lies.
    assert (done.returncode, done.stderr) == (0, "")


def test_a_pipe_that_closes_early_is_no_fault() -> None:
    command = [sys.executable, "-m", "service.command", *DECIDE, "--explain"]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        assert "Traceback" not in running.stderr.read()


def test_exit_codes_are_documented() -> None:
    done = process("--help")
    assert done.returncode == 0
    assert "Exit codes: 0 done; 1 a check did not hold; 2 the input was refused" in " ".join(done.stdout.split())


# --- The edges of the command ----------------------------------------------------------------------


def test_a_reader_that_stops_reading_is_no_failed_check() -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "service.command", "policy", "check", str(ROOT / "fixtures/cases/policies")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT,
    ) as checking:  # fmt: skip
        assert checking.stdout is not None
        assert checking.stderr is not None
        assert b"no faults" in checking.stdout.readline()
        checking.stdout.close()
        assert checking.stderr.read() == b""
    assert checking.returncode == 141


def test_a_table_that_nobody_reads_on_is_no_failed_check() -> None:
    """The tables of the summary are written by another way than its words."""
    with pytest.raises(BrokenPipeError):
        _Console().on_broken_pipe()


def test_a_claim_id_of_a_megabyte_is_told_short() -> None:
    code, _, err = run("demo", "--claim", "C" * 1_000_000)
    assert code == 2
    assert "is not in this file" in err
    assert len(err) < 1000


@pytest.mark.parametrize("value", ["C" * 1_000_000, "line\\nbreak"])
def test_a_value_that_is_wrong_is_told_short_and_on_one_line(tmp_path: Path, value: str) -> None:
    policy = tmp_path / "policy.yaml"
    good = (FILES / "terms/orchard-drive-1.yaml").read_text()
    assert good.count("policy: orchard-drive\n") == 1
    policy.write_text(good.replace("policy: orchard-drive\n", f'policy: "{value}"\n'))
    code, _, err = run("policy", "check", policy)
    assert code == 2
    assert "is not in the right form" in err
    assert len(err.splitlines()) == 2  # the fault, and how many there are
    assert len(err) < 1000


def test_a_pipe_is_skipped_in_a_directory_and_refused_by_name(tmp_path: Path) -> None:
    terms = Path(shutil.copytree(FILES / "terms", tmp_path / "terms"))
    os.mkfifo(terms / "x.yaml")
    done = process("policy", "check", terms)
    assert (done.returncode, "no faults" in done.stdout) == (0, True)
    done = process("policy", "show", terms / "x.yaml")
    assert (done.returncode, "this is a pipe" in done.stderr) == (2, True)


def test_a_suffix_in_capitals_is_read_too(tmp_path: Path) -> None:
    terms = Path(shutil.copytree(FILES / "terms", tmp_path / "terms"))
    (terms / "orchard-drive-1.yaml").rename(terms / "orchard-drive-1.YAML")
    code, out, _ = run("policy", "check", terms)
    assert (code, "2 versions" in out) == (0, True)


def test_the_letter_and_the_derivation_are_refused_together() -> None:
    code, out, err = run("demo", "--claim", "C-2001", "--explain", "--letter")
    assert (code, out) == (2, "")
    assert "--explain and --letter print different things: choose one of them." in err
