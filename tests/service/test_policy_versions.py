"""`hourmark policy` beside earlier versions: cases before publication, copies, numbers that are taken, replacements."""

import shutil
from pathlib import Path

import pytest

from service.lock_file import LOCK_NAME
from tests.service.command_line import FILES, flat, run

pytestmark = pytest.mark.fast

CASES = """\
policies: [orchard-drive@2, orchard-drive@1]
base:
  machine: {model: QF60, retail_delivery: 2026-03-02, records_complete_from: 2026-03-02}
  claim: {failed_on: 2026-04-02, reading: 20, lines: {drive: {component: wheel_drive, net: "1000.00"}}}
cases:
  - name: before the first service the whole is paid
    expect: {drive: {outcome: OUTCOME}}
"""


@pytest.fixture
def terms(tmp_path: Path) -> Path:
    return Path(shutil.copytree(FILES / "terms", tmp_path / "terms"))


def changed(file: Path, before: str, after: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert text.count(before) == 1, before
    file.write_text(text.replace(before, after), encoding="utf-8")


def test_a_version_whose_case_fails_is_not_published(terms: Path) -> None:
    table = terms / "orchard-drive-2.cases.yaml"
    table.write_text(CASES.replace("OUTCOME", "deny"))
    code, out, err = run("policy", "publish", terms)
    assert (code, (terms / LOCK_NAME).exists()) == (1, False)
    assert "before the first service the whole is paid" in flat(out)
    assert "expected  deny" in out
    assert "1 of 1 worked case about these versions does not hold; nothing was published." in err
    assert "correct the terms where they are wrong, and what the case expects where the change is meant." in err
    table.write_text(CASES.replace("OUTCOME", "pay"))
    code, out, err = run("policy", "publish", terms)
    assert (code, err) == (0, "")
    assert "1 worked case about them: all hold." in out
    assert "No worked case is about" not in out
    assert "orchard-drive@2" in (terms / LOCK_NAME).read_text()


def test_a_case_that_cannot_be_decided_holds_publication_up_too(terms: Path) -> None:
    table = terms / "orchard-drive-2.cases.yaml"
    table.write_text(CASES.replace("OUTCOME", "pay").replace("model: QF60, ", ""))
    code, _, err = run("policy", "publish", terms)
    assert code == 1
    assert (terms / LOCK_NAME).exists() is False
    assert "orchard-drive-2.cases.yaml" in err


def test_cases_about_closed_versions_alone_play_no_part(terms: Path) -> None:
    run("policy", "publish", terms)
    (terms / "old.cases.yaml").write_text(CASES.replace("OUTCOME", "deny"))
    following = (terms / "orchard-drive-2.yaml").read_text().replace("version: 2\n", "version: 3\nsupersedes: [2]\n")
    (terms / "orchard-drive-3.yaml").write_text(following)
    code, out, _ = run("policy", "publish", terms)
    assert code == 0
    assert "No worked case is about orchard-drive@3: nothing was tried before closing." in flat(out)
    assert "published  orchard-drive@3" in out


def test_publication_says_that_conventions_are_closed_too(terms: Path) -> None:
    _, out, _ = run("policy", "publish", terms)
    assert "published  common-civil@1  sha256:" in out
    assert "these files, and the conventions that they pin, common-civil@1 among them, are refused" in flat(out)
    following = (terms / "orchard-drive-2.yaml").read_text().replace("version: 2\n", "version: 3\nsupersedes: [2]\n")
    (terms / "orchard-drive-3.yaml").write_text(following)
    _, out, _ = run("policy", "publish", terms)
    assert "published  common-civil@1" not in out  # they were closed with the first versions


def test_a_copy_that_was_not_changed_is_named(terms: Path) -> None:
    copy = terms / "orchard-drive-3.yaml"
    shutil.copy(terms / "orchard-drive-2.yaml", copy)
    words = (
        f"{copy} repeats orchard-drive@2 of {terms / 'orchard-drive-2.yaml'}, and changes nothing: give it a version"
    )
    for command in ("check", "publish", "publish"):
        code, out, _ = run("policy", command, terms)
        assert code == 0
        assert words.replace(" ", "") in "".join(out.split()), command  # a long path is broken over lines


def test_a_number_that_lies_beside_is_taken(terms: Path) -> None:
    run("policy", "publish", terms)
    following = (terms / "orchard-drive-2.yaml").read_text().replace("version: 2\n", "version: 3\nsupersedes: [2]\n")
    (terms / "orchard-drive-3.yaml").write_text(following)
    (terms / "broken.yaml").write_text("policy: [\n")
    changed(terms / "orchard-drive-1.yaml", "[2400, 0]", "[2500, 0]")
    # Looked at alone, version 1 does not see version 3, which is not published; its number is taken all the same.
    code, _, err = run("policy", "show", terms / "orchard-drive-1.yaml")
    assert code == 2
    (terms / "broken.yaml").unlink()
    code, _, err = run("policy", "show", terms / "orchard-drive-1.yaml")
    assert (code, "or publish the change as orchard-drive@4." in flat(err)) == (0, True)


def test_a_superseded_version_is_marked_and_asks_nothing_any_more(terms: Path) -> None:
    following = (terms / "orchard-drive-2.yaml").read_text().replace("version: 2\n", "version: 3\nsupersedes: [2]\n")
    (terms / "orchard-drive-3.yaml").write_text(following)
    code, out, _ = run("policy", "check", terms)
    text = flat(out)
    assert code == 0
    assert "orchard-drive@2 Wheel drive, proven service (not published, superseded by orchard-drive@3)" in text
    assert "orchard-drive@3 Wheel drive, proven service (not published)" in text
    assert "proven service (version 3) asks of owners" in text
    assert "proven service (version 2) asks of owners" not in text


@pytest.mark.parametrize("command", ["check", "show"])
@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("conventions: common-civil@1", "conventions: common-civil", "Did you mean common-civil@1?"),
        (
            "fall_back_to: orchard-drive@1",
            "fall_back_to: orchard-drive",
            "Did you mean orchard-drive@1 or orchard-drive@2?",
        ),
        ("fall_back_to: orchard-drive@1", "fall_back_to: orchard_drive@1", "Did you mean orchard-drive@1?"),
        ("fall_back_to: orchard-drive@1", "fall_back_to: unheard-of", "write name@version, for example"),
    ],
)
def test_a_version_written_without_its_number_is_guessed(
    terms: Path, command: str, before: str, after: str, words: str
) -> None:
    file = terms / "orchard-drive-2.yaml"
    changed(file, before, after)
    code, _, err = run("policy", command, terms if command == "check" else file)
    assert code == 2
    written = after.partition(": ")[2]
    assert f'"{written}" is not a version' in err
    assert words in err


def test_a_version_that_is_not_there_names_those_that_are(terms: Path) -> None:
    changed(terms / "orchard-drive-2.yaml", "fall_back_to: orchard-drive@1", "fall_back_to: orchard-drivs@1")
    code, _, err = run("policy", "check", terms)
    assert code == 2
    assert (
        "it falls back to orchard-drivs@1, which is not in this book. Add that version, or fall back to one that" in err
    )
    assert "Did you mean orchard-drive@1?" in err
