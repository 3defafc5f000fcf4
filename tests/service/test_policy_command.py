"""`hourmark policy`: faults with file, line, clause and way out; published files that may never change."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from service.lock_file import LOCK_NAME, read_lock
from service.policy_files import load_policies, path_steps
from service.text_files import InputRefused, shown_path
from tests.service.command_line import DECIDE, FILES, ROOT, flat, process, run

pytestmark = pytest.mark.fast

CIVIL = ROOT / "fixtures/conventions/common-civil-1.yaml"


@pytest.fixture
def terms(tmp_path: Path) -> Path:
    """A copy of the terms of the tests, to change."""
    return Path(shutil.copytree(FILES / "terms", tmp_path / "terms"))


def change(file: Path, before: str, after: str) -> int:
    """Replace text in a file; return the line it stands on, from 1."""
    text = file.read_text(encoding="utf-8")
    assert text.count(before) == 1, before
    file.write_text(text.replace(before, after), encoding="utf-8")
    return text[: text.index(before)].count("\n") + 1


def test_check_of_good_terms_names_every_version(terms: Path) -> None:
    code, out, err = run("policy", "check", terms)
    assert (code, err) == (0, "")
    assert f"2 versions in {terms}, no faults." in out
    assert "orchard-drive@2 Wheel drive, proven service (not published)" in flat(out)


def test_check_ends_with_what_the_terms_ask_of_owners() -> None:
    code, out, _ = run("policy", "check", FILES / "terms")
    text = flat(out)
    assert code == 0
    # 42 months at 400 h a year are 1,400 h: the services at 80, 480 and 960 h; at 40 h a year 140 h: the one at 80 h.
    assert "at 400 h a year: 3 services, 80, 480 and 960 h" in text
    assert "at 40 h a year: one service, 80 h" in text


def test_warnings_are_told_with_their_place_and_stop_nothing(terms: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "300")  # no path is broken over two lines, however long the directory's name is
    # A step of the share beyond the term of 42 months is never reached.
    line = change(
        terms / "orchard-drive-1.yaml",
        "{by: machine_hours, share: {points: [[0, 1], [900, 1], [2400, 0]], between: linear}}",
        "{by: complete_months, share: {steps: [[0, 1], [24, 1/2], [48, 1/4]]}}",
    )
    code, out, err = run("policy", "check", terms)
    assert (code, err) == (0, "")
    text = flat(out)
    assert ", worth a second look:" in text
    assert f"orchard-drive-1.yaml:{line}: prorating" in text
    assert "(clause 4.3)" in text


def test_check_tells_file_line_clause_and_way_out(terms: Path) -> None:
    file = terms / "orchard-drive-2.yaml"
    line = change(file, "late: cures_from_its_date", "late: cures_form_its_date")
    other = change(file, "borne_by: owner\npays:", "borne_by: owner\npays_for: {}\npays:")
    code, out, err = run("policy", "check", terms)
    assert (code, out) == (2, "")
    assert f'{file}:{line}: services.drive_oil.late (clause 5.2): "cures_form_its_date" is not a choice here.' in err
    assert 'Did you mean "cures_from_its_date"?' in err
    assert f'{file}:{other + 1}:1: "pays_for" is not a key here.' in err
    assert "2 faults; nothing was done." in err


def test_faults_between_policies_are_located(terms: Path) -> None:
    newer, older = terms / "orchard-drive-2.yaml", terms / "orchard-drive-1.yaml"
    line = change(newer, "missed: {fall_back_to: orchard-drive@1,", "missed: {fall_back_to: orchard-drive@7,")
    change(older, "until: 2019-12-31, ", "")
    code, _, err = run("policy", "check", terms)
    assert code == 2
    told = [text for text in err.splitlines() if text.startswith(str(newer))]
    assert any("(clause 5.2)" in text and "orchard-drive@7" in text for text in told)
    assert any(int(text.split(":")[1]) <= line and "orchard-drive@7" in text for text in told)
    assert any((": in_force:" in text and "2020-01-01" in text) or "1 January 2020" in text for text in told)


def test_all_files_are_checked_before_anything_is_refused(terms: Path) -> None:
    (terms / "broken.yaml").write_text("policy: x\n  version: 1\n")
    (terms / "binary.yaml").write_bytes(b"policy: \xff\n")
    change(terms / "orchard-drive-1.yaml", "layer: drive", "layer: drives")
    _, _, err = run("policy", "check", terms)
    for name in ("broken.yaml:2", "binary.yaml:1: byte 0xff is not UTF-8.", "orchard-drive-1.yaml:6: layer"):
        assert name in err


def test_a_misspelt_name_does_not_make_a_policy_vanish(terms: Path) -> None:
    change(terms / "orchard-drive-1.yaml", "policy: orchard-drive", "polcy: orchard-drive")
    code, _, err = run("policy", "check", terms)
    assert code == 2
    assert '"polcy" is not a key here. Did you mean "policy"?' in err


def test_the_same_version_twice_is_refused_unless_it_says_the_same(terms: Path) -> None:
    copy = terms / "copy.yaml"
    shutil.copy(terms / "orchard-drive-1.yaml", copy)
    assert run("policy", "check", terms)[0] == 0
    change(copy, "title: Wheel drive, prorated", "title: Another promise")
    code, _, err = run("policy", "check", terms)
    assert code == 2
    assert f"orchard-drive@1 stands in {copy} too, and says something else there." in err


def test_a_file_that_is_neither_policy_nor_conventions_is_named(terms: Path) -> None:
    (terms / "notes.yaml").write_text("remember: to ask\n")
    code, out, _ = run("policy", "check", terms)
    assert code == 0
    assert "notes.yaml says neither policy nor conventions, and was passed over." in flat(out)


def test_show_prints_the_terms_in_plain_english() -> None:
    done = process("policy", "show", FILES / "terms/orchard-drive-2.yaml")
    text = flat(done.stdout)
    assert (done.returncode, done.stderr) == (0, "")
    assert "Wheel drive, proven service" in text
    assert "480 h" in text
    assert "42 months" in text


def test_diff_tells_the_changed_clause_before_and_after(terms: Path) -> None:
    other = terms.parent / "changed" / "orchard-drive-1.yaml"
    other.parent.mkdir()
    shutil.copy(terms / "orchard-drive-1.yaml", other)
    change(other, "ends: {first_of: [{months: 42}]}", "ends: {first_of: [{months: 48}]}")
    code, out, err = run("policy", "diff", terms / "orchard-drive-1.yaml", other)
    text = flat(out)
    assert (code, err) == (0, "")
    assert "clause 4.1" in text
    assert text.index("42 months") < text.index("48 months")
    assert "4.3" not in text
    code, out, _ = run("policy", "diff", terms / "orchard-drive-1.yaml", terms / "orchard-drive-1.yaml")
    assert (code, "clause" in out) == (0, False)


def test_show_of_something_else_is_refused() -> None:
    code, _, err = run("policy", "show", CIVIL)
    assert code == 2
    assert err.startswith(
        f"{shown_path(CIVIL)}:1: these are conventions, and coverage terms are read here. Check which"
    )


def test_publish_writes_digests_that_pin_the_terms(terms: Path) -> None:
    code, out, err = run("policy", "publish", terms)
    assert (code, err) == (0, "")
    book = load_policies(terms).book
    text = (terms / LOCK_NAME).read_text()
    rows = [line.split() for line in text.splitlines() if not line.startswith("#")]
    assert rows[:2] == [
        ["1", "policy", "orchard-drive@1", book.policy("orchard-drive@1").digest],
        ["2", "policy", "orchard-drive@2", book.policy("orchard-drive@2").digest],
    ]
    assert [row[:3] for row in rows[2:]] == [["3", "conventions", "common-civil@1"], ["end", "3"]]
    assert "published  orchard-drive@1  sha256:" in out
    assert "2 versions are now closed in" in out
    assert [file.name for file in terms.iterdir() if file.name.startswith(".")] == []
    code, out, _ = run("policy", "publish", terms)
    assert (code, (terms / LOCK_NAME).read_text()) == (0, text)
    assert "Nothing to publish: all 2 versions" in out
    assert "(published)" in run("policy", "check", terms)[1]


def test_formatting_may_change_after_publication_but_not_the_terms(terms: Path) -> None:
    run("policy", "publish", terms)
    file = terms / "orchard-drive-1.yaml"
    file.write_text("# another remark\n" + file.read_text())
    assert run("policy", "check", terms)[0] == 0
    line = change(file, "[2400, 0]", "[2500, 0]")
    assert line > 1
    refused = "orchard-drive@1 is published, and its terms have changed since."
    code, out, err = run("policy", "check", terms)
    assert (code, out) == (2, "")
    assert (
        f"{file}:5: version: {refused} Put back the file as it was published (from a backup or version control;"
        f" {terms / LOCK_NAME} holds its digest)" in err
    )
    # Version 2 is there already, and closed.
    assert "or publish the change as orchard-drive@3." in err
    assert "orchard-drive@2 is published, and orchard-drive@1, which it falls back to, has changed since." in err
    for command in (
        ("policy", "publish", terms),
        [str(terms) if part == str(FILES / "terms") else part for part in DECIDE],
    ):
        code, out, err = run(*command)
        assert (code, out) == (2, "")
        assert refused in err, command


def test_two_drafts_are_compared_wherever_they_lie_and_without_what_they_fall_back_to(
    terms: Path, tmp_path: Path
) -> None:
    drafts = tmp_path / "drafts"
    drafts.mkdir()
    one, other = (Path(shutil.copy(terms / "orchard-drive-2.yaml", drafts / f"{name}.yaml")) for name in ("a", "b"))
    change(other, "then_every: 480", "then_every: 400")  # the same version twice in one folder, without version 1
    code, out, err = run("policy", "diff", one, other)
    assert (code, err) == (0, "")
    assert "orchard-drive@2 and orchard-drive@2: 1 difference" in out
    code, out, err = run("policy", "diff", terms / "orchard-drive-2.yaml", other)
    assert (code, err, "1 difference" in out) == (0, "", True)


def test_a_draft_whose_conventions_are_nowhere_is_not_compared(terms: Path) -> None:
    change(terms / "orchard-drive-2.yaml", "conventions: common-civil@1", "conventions: our-own@1")
    code, _, err = run("policy", "diff", terms / "orchard-drive-1.yaml", terms / "orchard-drive-2.yaml")
    assert code == 2
    assert "conventions: the conventions our-own@1 are not found. Put them beside the policy" in flat(err)
    (terms / "own.yaml").write_text(CIVIL.read_text().replace("conventions: common-civil", "conventions: our-own"))
    code, out, _ = run("policy", "diff", terms / "orchard-drive-1.yaml", terms / "orchard-drive-2.yaml")
    assert (code, "conventions.conventions" in out) == (0, True)


def test_a_published_file_that_changed_is_shown_with_a_warning(terms: Path, tmp_path: Path) -> None:
    run("policy", "publish", terms)
    (tmp_path / "kept").mkdir()
    kept = Path(shutil.copy(terms / "orchard-drive-1.yaml", tmp_path / "kept"))
    change(terms / "orchard-drive-1.yaml", "[2400, 0]", "[2500, 0]")
    warning = "orchard-drive@1 is published, and its terms have changed since."
    code, out, err = run("policy", "show", terms / "orchard-drive-1.yaml")
    assert (code, "2,500 h" in flat(out)) == (0, True)
    assert err.startswith("Warning: ")
    assert warning in flat(err)
    code, out, err = run("policy", "diff", kept, terms / "orchard-drive-1.yaml")
    assert (code, warning in flat(err)) == (0, True)
    assert "2,400 h" in flat(out)
    assert "2,500 h" in flat(out)


def test_conventions_that_are_not_there_are_answered_with_those_that_are(terms: Path) -> None:
    change(terms / "orchard-drive-1.yaml", "conventions: common-civil@1", "conventions: common-civil@9")
    code, _, err = run("policy", "check", terms)
    assert code == 2
    assert "common-civil@9 are not in this book. Add them, or pin others. Known: common-civil@1" in flat(err)


def test_changed_conventions_are_named_as_the_cause(terms: Path) -> None:
    shutil.copy(CIVIL, terms / "civil.yaml")
    run("policy", "publish", terms)
    change(terms / "civil.yaml", "hours_at_cap: covered", "hours_at_cap: not_covered")
    code, _, err = run("policy", "check", terms)
    assert code == 2
    text = flat(err)
    assert "orchard-drive@1 and orchard-drive@2 are published, and the conventions common-civil@1 have changed" in text
    assert "or write the change as common-civil@2, and pin it in a new version" in text
    assert "1 fault; nothing was done." in text


def test_a_published_file_may_not_vanish(terms: Path) -> None:
    run("policy", "publish", terms)
    change(
        terms / "orchard-drive-2.yaml",
        "missed: {fall_back_to: orchard-drive@1, reach: linked_components}",
        "missed: refer",
    )
    (terms / "orchard-drive-1.yaml").unlink()
    code, _, err = run("policy", "check", terms)
    assert code == 2
    assert f"{terms / LOCK_NAME}:3: orchard-drive@1 is published, but its file is no longer here." in err


def test_a_new_version_is_added_to_what_is_published(terms: Path) -> None:
    change(
        terms / "orchard-drive-2.yaml",
        "missed: {fall_back_to: orchard-drive@1, reach: linked_components}",
        "missed: refer",
    )
    kept = shutil.move(terms / "orchard-drive-2.yaml", terms.parent / "kept.yaml")
    run("policy", "publish", terms)
    first = read_lock(terms / LOCK_NAME)
    shutil.move(kept, terms / "orchard-drive-2.yaml")
    code, out, _ = run("policy", "publish", terms)
    second = read_lock(terms / LOCK_NAME)
    assert code == 0
    assert "1 version is now closed" in out
    assert "1 was published before and unchanged." in out
    assert [line.name for line in first.lines] == ["orchard-drive@1", "common-civil@1"]
    assert second.lines[:2] == first.lines
    assert [line.name for line in second.lines[2:]] == ["orchard-drive@2"]


@pytest.mark.parametrize("command", ["check", "publish"])
@pytest.mark.parametrize("currency", ["EUX", "XAU"])  # none of the list; gold, which has no decimals of its own
def test_a_currency_that_is_none_is_refused(terms: Path, command: str, currency: str) -> None:
    for file in ("orchard-drive-1.yaml", "orchard-drive-2.yaml"):
        change(terms / file, "currency: EUR", f"currency: {currency}")
    code, out, err = run("policy", command, terms)
    assert (code, out) == (2, "")
    assert f"orchard-drive-1.yaml:8: currency: {currency} is no currency of ISO 4217" in flat(err)
    assert not (terms / LOCK_NAME).exists()


def test_publishing_refuses_faults_and_writes_nothing(terms: Path) -> None:
    change(terms / "orchard-drive-1.yaml", "currency: EUR", "currency: euro")
    code, _, err = run("policy", "publish", terms)
    assert code == 2
    assert "orchard-drive-1.yaml:8: currency" in err
    assert not (terms / LOCK_NAME).exists()


def test_a_lock_above_the_directory_counts(terms: Path) -> None:
    run("policy", "publish", terms.parent)
    change(terms / "orchard-drive-1.yaml", "[2400, 0]", "[2500, 0]")
    code, _, err = run("policy", "check", terms)
    assert code == 2
    assert "orchard-drive@1 is published, and its terms have changed since." in err


def without(*numbers: int) -> Callable[[list[str]], list[str]]:
    return lambda lines: [line for number, line in enumerate(lines, 1) if number not in numbers]


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        # As published: two lines of comment, then positions 1 to 3 on lines 3 to 5, and the end on line 6.
        (lambda _: [], ":1: this lock file does not begin as"),
        (lambda lines: lines[2:], ":1: this lock file does not begin as"),
        (without(3), ":3: the line at position 1 is missing: this one is at position 2."),
        (without(4), ":4: the line at position 2 is missing: this one is at position 3."),
        (without(5), ":5: 3 lines were written, and 2 are here."),
        (without(3, 4, 5), ":3: 3 lines were written, and 0 are here."),
        (without(6), ":5: the file was cut short: it ends after position 3"),
        (without(3, 4, 5, 6), ":2: the file was cut short: it ends after position 0"),
        (lambda lines: [*lines[:3], "<<<<<<< ours", *lines[3:]], ":4: this line is not `1 policy"),
        (lambda lines: [*lines[:3], lines[3][:-1], *lines[4:]], ":4: this line is not `1 policy"),
        (lambda lines: [*lines[:3], lines[2].replace("1 ", "2 ", 1), *lines[3:]], ":4: orchard-drive@1 stands twice."),
        (lambda lines: [*lines, "4 policy a@1 sha256:" + "0" * 64], ":7: this line stands after the end"),
    ],
)
@pytest.mark.parametrize("command", ["check", "publish"])
def test_a_damaged_lock_file_is_refused(
    terms: Path, command: str, damage: Callable[[list[str]], list[str]], message: str
) -> None:
    run("policy", "publish", terms)
    lock = terms / LOCK_NAME
    damaged = "".join(f"{line}\n" for line in damage(lock.read_text().splitlines()))
    lock.write_text(damaged)
    code, out, err = run("policy", command, terms)
    assert (code, out) == (2, "")
    assert f"{lock}{message}" in err
    assert "Put back a copy from a backup or version control" in flat(err)
    assert lock.read_text() == damaged


def test_paths_are_read_as_they_are_written() -> None:
    assert path_steps('term.ends.first_of[0]["5.1"]') == ("term", "ends", "first_of", 0, "5.1")
    assert path_steps("") == ()


def test_conventions_are_found_in_a_folder_beside_the_policies(tmp_path: Path) -> None:
    terms = Path(shutil.copytree(FILES / "terms", tmp_path / "policies"))
    (tmp_path / "conventions").mkdir()
    own = tmp_path / "conventions/own.yaml"
    own.write_text(CIVIL.read_text().replace("conventions: common-civil", "conventions: own-civil"))
    for file in terms.iterdir():
        change(file, "conventions: common-civil@1", "conventions: own-civil@1")
    assert set(load_policies(terms).book.by_name) == {"orchard-drive@1", "orchard-drive@2"}
    own.unlink()
    with pytest.raises(InputRefused, match="own-civil@1"):
        load_policies(terms)
