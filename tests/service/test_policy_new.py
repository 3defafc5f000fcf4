"""`hourmark policy new`: eleven answers make policies and cases that hold; wrong ones are told and asked again."""

from pathlib import Path

import pytest

from service.new_policy import ASSUMED
from service.new_policy_answers import QUESTIONS
from service.text_files import read_document
from tests.service.command_line import flat, process, run

pytestmark = pytest.mark.fast

GIVEN = {
    "maker": 'Quillfen: "orchard" $machines',
    "name": "wheel-drive",
    "models": "QF40, QF6*",
    "component": "wheel_drive",
    "months": "48",
    "hours": "none",
    "first_services": "75, 400",
    "then_every": "400",
    "free_until": "900",
    "zero_at": "2400",
    "currency": "eur",
}


def options(**changes: str | None) -> list[str]:
    """Return the answers as options, with changes; None leaves one out."""
    answers = {**GIVEN, **changes}
    return [
        part for key, value in answers.items() if value is not None for part in (f"--{key.replace('_', '-')}", value)
    ]


def test_ten_options_make_a_policy_whose_cases_hold(tmp_path: Path) -> None:
    directory = tmp_path / "mine"
    done = process("policy", "new", directory, *options(), "--from", "2026-03-20")
    assert (done.returncode, done.stderr) == (0, "")
    assert sorted(file.name for file in directory.iterdir()) == [
        "wheel-drive-1.yaml",
        "wheel-drive-prorated-1.yaml",
        "wheel-drive.cases.yaml",
    ]
    assert "8 cases in 1 table: 8 hold, 0 fail" in done.stdout
    terms = (directory / "wheel-drive-1.yaml").read_text()
    assert "in_force: {from: 2026-03-20, selected_by: start_of_term}" in terms
    assert 'title: "Quillfen: \\"orchard\\" $machines: wheel drive, proven service"' in terms
    cases = (directory / "wheel-drive.cases.yaml").read_text()
    # Half-way between 900 and 2,400 h: 1,650 h, where half of 1,000 × 1.15 = 1,150.00 is paid: 575.00.
    assert "reading: 1650," in cases
    assert 'maker_pays: "575.00", owner_owes: "575.00"' in cases
    # Delivered on 15 April 2026, 48 months: the last covered day is 14 April 2030.
    assert "failed_on: 2030-04-14" in cases


def test_a_service_before_its_window_is_not_taken_for_the_one_that_falls_due(tmp_path: Path) -> None:
    """First closed at 82.5 h, the second opens at 367.5 h: half-way 225 h; it closes at 432.5 h, before 433 h."""
    directory = tmp_path / "mine"
    run("policy", "new", directory, *options(), "--from", "2026-03-20")
    cases = (directory / "wheel-drive.cases.yaml").read_text()
    assert "a service at 225 h, before the window of the one due at 400 h, is not that one" in cases
    assert "reading: 433}\n    expect: {part: {policy: wheel-drive-prorated@1, reasons: [service_missed]}}" in cases
    # 390 h may be done until 429 h, when the window of 400 h has opened: no service lies between the two.
    _, out, _ = run("policy", "new", tmp_path / "close", *options(first_services="390, 400"))
    assert "7 cases in 1 table: 7 hold, 0 fail" in out


def test_the_whole_machine_is_covered_by_the_plain_word(tmp_path: Path) -> None:
    directory = tmp_path / "mine"
    done = run("policy", "new", directory, *options(component="whole_machine"))
    assert (done[0], "8 hold, 0 fail" in done[1], done[2]) == (0, True, "")
    for file in ("wheel-drive-1.yaml", "wheel-drive-prorated-1.yaml"):
        assert "components: whole_machine, fitted" in (directory / file).read_text()
    assert "warning" not in run("policy", "check", directory)[1]


def test_what_it_names_next_works(tmp_path: Path) -> None:
    _, out, _ = run("policy", "new", tmp_path / "mine", *options())
    commands = [line.split()[1:] for line in out.splitlines() if line.startswith("  hourmark ")]
    assert [command[1] for command in commands if command[0] == "policy"] == ["show", "check", "publish"]
    for command in commands:
        code, _, err = run(*command)
        assert (code, err) == (0, ""), command


def test_what_it_writes_earns_no_warning_and_the_lesser_promise_is_only_a_fall_back(tmp_path: Path) -> None:
    run("policy", "new", tmp_path / "mine", *options())
    _, out, _ = run("policy", "check", tmp_path / "mine")
    assert "no faults" in out
    assert "warning" not in out
    _, shown, _ = run("policy", "show", tmp_path / "mine" / "wheel-drive-prorated-1.yaml")
    assert "it never governs by itself, but only where another version falls back to it" in flat(shown)


@pytest.mark.parametrize("currency", ["JPY", "KWD"])
def test_currencies_with_other_decimals_hold_too(tmp_path: Path, currency: str) -> None:
    code, out, _ = run("policy", "new", tmp_path / "mine", *options(currency=currency, months="24", zero_at="1500"))
    assert (code, "8 hold, 0 fail" in out) == (0, True)


def test_questions_are_asked_until_they_can_be_taken(tmp_path: Path) -> None:
    answers = ["Quillfen", "Wheel Drive", "wheel-drive", "QF60", "wheel drive", "wheel_drive", "many", "48", "no",
               "none", "400, 75", "75", "four", "400", "900", "2400", "XXY", "EUR"]  # fmt: skip
    code, out, err = run("policy", "new", tmp_path / "mine", answers="\n".join(answers) + "\n")
    assert (code, err) == (0, "")
    assert out.count("That cannot be taken") == 7
    assert all(question.words in out for question in QUESTIONS)
    assert len(QUESTIONS) == 11
    assert "8 hold, 0 fail" in out


def test_two_answers_that_do_not_fit_are_asked_again_and_the_others_kept(tmp_path: Path) -> None:
    answers = ["Quillfen", "wheel-drive", "QF60", "wheel_drive", "48", "none", "75", "400", "2000", "500", "EUR",
               "900", "2400"]  # fmt: skip
    code, out, err = run("policy", "new", tmp_path / "mine", answers="\n".join(answers) + "\n")
    assert (code, err) == (0, "")
    assert flat(out).count("the whole is paid up to 2000 h, but nothing from 500 h: write more for the second.") == 1
    assert [out.count(asked.words) for asked in QUESTIONS] == [1, 1, 1, 1, 1, 1, 1, 1, 2, 2, 1]
    assert "points: [[0, 1], [900, 1], [2400, 0]]" in (tmp_path / "mine/wheel-drive-prorated-1.yaml").read_text()


def test_an_answer_given_as_an_option_is_not_asked_again(tmp_path: Path) -> None:
    given = options(free_until="2000", zero_at=None)
    code, out, _ = run("policy", "new", tmp_path / "mine", *given, answers="500\n2400\n")
    assert code == 0
    assert [out.count(asked.words) for asked in QUESTIONS] == [0, 0, 0, 0, 0, 0, 0, 0, 0, 2, 0]
    code, _, err = run("policy", "new", tmp_path / "other", *given, answers="500\n")
    assert (code, "Nobody answered. Give --zero-at, for example 2400." in err) == (2, True)
    assert not (tmp_path / "other").exists()


def test_with_nobody_to_ask_the_missing_option_is_named(tmp_path: Path) -> None:
    code, _, err = run("policy", "new", tmp_path / "mine", *options(months=None), answers="")
    assert (code, "Nobody answered. Give --months, for example 48." in err) == (2, True)
    assert not (tmp_path / "mine").exists()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"zero_at": "800"}, "the whole is paid up to 900 h, but nothing from 800 h"),
        ({"first_services": "900"}, "the first service may be done until 990 h, but the share falls from 900 h on"),
        ({"months": "3", "zero_at": "2400"}, "a machine does not reach 2400 h in 3 months"),
        (
            {"hours": "1200"},
            "cover ends at 1200 h, but the share falls until 2400 h: let nothing be paid from 1200 h or",
        ),
        (
            {"hours": "14401"},
            "a machine does not reach 14401 h in 48 months (more than 300 h a month): let fewer hours",
        ),
        ({"hours": "no"}, '--hours: "no" cannot be taken'),
        ({"then_every": "2"}, "a service every 2 h is more than a machine is given"),
        ({"free_until": "900.25"}, "write the hours of the share with one decimal at most"),
        ({"currency": "XAU"}, '--currency: "XAU" cannot be taken: XAU is no currency of ISO 4217'),
        ({"models": " , "}, '--models: " , " cannot be taken: name at least one model'),
        ({"component": "all"}, '--component: "all" cannot be taken: name one component, for example wheel_drive'),
        ({"name": "Drive"}, '--name: "Drive" cannot be taken: write small letters'),
        ({"months": "0"}, '--months: "0" cannot be taken: write a whole number of months'),
        ({"first_services": "75 400"}, "cannot be taken: write the hours with commas, for example 75, 400"),
        ({"then_every": "-5"}, '--then-every: "-5" cannot be taken'),
    ],
)
def test_answers_that_do_not_fit_are_refused_and_nothing_is_written(
    tmp_path: Path, changes: dict[str, str], message: str
) -> None:
    code, _, err = run("policy", "new", tmp_path / "mine", *options(**changes))
    assert code == 2
    assert message in flat(err)
    assert "Nothing was written." in err
    assert not (tmp_path / "mine").exists()


def test_everything_that_is_wrong_with_the_answers_is_told_at_once(tmp_path: Path) -> None:
    code, _, err = run("policy", "new", tmp_path / "mine", *options(name="Drive", months="0", currency="XAU"))
    assert code == 2
    assert [line.split(":")[0] for line in err.splitlines()] == [
        "--name",
        "--months",
        "--currency",
        "Nothing was written.",
    ]
    code, _, err = run("policy", "new", tmp_path / "mine", *options(zero_at="800", then_every="2", hours="700"))
    assert code == 2
    assert err.count("These answers do not fit together") == 3
    assert not (tmp_path / "mine").exists()


def test_of_months_or_hours_the_one_that_comes_first_ends_the_cover(tmp_path: Path) -> None:
    """24 months or 1,200 h; services at 50 h, then every 300 h: 350, 650, 950 h."""
    given = options(months="24", hours="1200", first_services="50", then_every="300", free_until="600", zero_at="1200")
    code, out, err = run("policy", "new", tmp_path, *given, "--from", "2026-01-01")
    assert (code, err) == (0, "")
    assert "10 cases in 1 table: 10 hold, 0 fail" in out
    assert "services fall due at 50, 350, 650, 950 and so on (h): on a fixed grid" in flat(out)
    for name in ("wheel-drive-1.yaml", "wheel-drive-prorated-1.yaml"):
        terms = (tmp_path / name).read_text()
        assert "ends: {first_of: [{months: 24}, {machine_hours: 1200}]}" in terms
        assert "whichever comes first, and ends at 1,200 machine hours where these come sooner." in terms
    cases = (tmp_path / "wheel-drive.cases.yaml").read_text()
    assert cases.count("reading: 1201}") == 1
    assert cases.count("reading: 950, tasks: [service]") == 2  # at the limit and past it; half-way is 900 h
    assert "warning" not in run("policy", "check", tmp_path)[1]


def test_files_that_are_there_are_never_overwritten(tmp_path: Path) -> None:
    run("policy", "new", tmp_path, *options())
    (tmp_path / "wheel-drive-1.yaml").write_text("mine\n")
    code, _, err = run("policy", "new", tmp_path, *options())
    assert code == 2
    assert "wheel-drive-1.yaml:1: this file is there already. Choose another name." in err
    assert (tmp_path / "wheel-drive-1.yaml").read_text() == "mine\n"


def test_what_nobody_was_asked_about_is_told_with_its_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    _, out, _ = run("policy", "new", *options(), "--from", "2026-01-01")
    told = flat(out)
    assert (
        "in force from 1 January 2026, without an end; where you know the last day, for example until: 2026-12-31,"
        in told
    )
    terms = (tmp_path / "policies/wheel-drive-1.yaml").read_text().splitlines()
    for path, words in ASSUMED:
        key = f"{path[-1]}:"
        begins = [number for number, text in enumerate(terms, 1) if text.strip().startswith(key)]
        (line,) = begins or [number for number, text in enumerate(terms, 1) if f" {key} " in text]
        # 75 and 400 h, then every 400 h: 800, 1,200, 1,600 h.
        words = words.replace("{due}", "75, 400, 800, 1,200, 1,600 and so on")
        assert flat(f"policies/wheel-drive-1.yaml:{line} {words}") in told, path
    _, out, _ = run("policy", "new", "undated", *options())
    assert "(today, for --from was not given), without an end" in flat(out)


def test_every_choice_of_the_template_is_an_answer_or_told_as_assumed(tmp_path: Path) -> None:
    """Values that no answer reaches are the same for two makers whose answers differ in everything."""
    other = {
        "maker": "Sorrelby", "name": "press", "models": "PR1", "component": "press_head", "months": "24",
        "hours": "1500",
        "first_services": "50", "then_every": "250", "free_until": "300", "zero_at": "1200", "currency": "USD",
    }  # fmt: skip
    run("policy", "new", tmp_path, *options(), "--from", "2026-01-01")
    run("policy", "new", tmp_path, *options(**other), "--from", "2027-01-01")
    one, two = (read_document(tmp_path / f"{name}-1.yaml").tree for name in ("wheel-drive", "press"))
    # What only says how the answers are meant, or what no maker would be surprised by.
    settled = {("version",), ("layer",), ("term", "tested_on"), ("term", "hours_count_from")}
    duty = ("tasks", "judged", "repairs_count", "new_component", "borne_by")
    settled |= {("services", "scheduled", key) for key in duty} | {("services", "scheduled", "missed", "reach")}
    same = {path for path, value in _choices(one).items() if _choices(two).get(path) == value}
    by_answer = {("services", "scheduled", "window")}  # a tenth, of the interval that was answered
    assert same - settled == {path for path, _ in ASSUMED} - by_answer


def _choices(tree: object, path: tuple[str, ...] = ()) -> dict[tuple[str, ...], object]:
    if not isinstance(tree, dict) or path in {p for p, _ in ASSUMED}:
        return {path: tree}
    found: dict[tuple[str, ...], object] = {}
    for key, value in tree.items():
        if key not in ("clause", "text", "in_force", "source"):
            found |= _choices(value, (*path, key))
    return found
