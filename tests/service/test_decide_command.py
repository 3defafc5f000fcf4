"""`hourmark decide` over real files. Common practice, no source: the terms are those of files/terms, worked by hand.

The drive: 1,000.00 net × 1.15 = 1,150.00. No drive-oil service is on file for 480, 960 and 1,440 h, and the records are
complete, so version 1 decides: (2,400 − 1,500) ÷ (2,400 − 900) = 3/5, 690.00, and the owner owes 460.00.
The work: 3.9 h × 95.00 = 370.50; 2.6 h of flat-rate time × 95.00 = 247.00; the dealer bears 123.50.
The trip: version 1 pays nothing else; the dealer bears 60.00. The payout: 690.00 + 247.00 = 937.00.
"""

import json
import re
import shutil
from pathlib import Path

import pytest

from tests.service.command_line import CLAIM, DECIDE, FILES, flat, process, run

pytestmark = pytest.mark.fast

# The terms of files/terms are not published, and what is sent on says so beside it.
DRAFTS = "Note: orchard-drive 1 and orchard-drive 2 are drafts: no lock file holds them.\n"
WORKED = (
    "Paid in part: the maker pays the dealer 937.00 EUR.",
    "claimed 1,150.00 maker pays 690.00 owner owes 460.00 EUR",
    "Decided under orchard-drive 1, not orchard-drive 2: a required service is missing",
    "The drive oil and its filter are changed by a dealer at 80 h, at 480 h and then every 480 h.",
    "(2,400 − 1,500) ÷ (2,400 − 900)",
    "−460.00 owner 690.00",
    "claimed 370.50 maker pays 247.00 dealer bears 123.50 EUR",
    "−123.50 dealer 247.00",
    "claimed 60.00 maker pays 0.00 dealer bears 60.00 EUR",
    "would bring this line to 1,150.00 EUR (paid in full)",
    "This is not legal advice.",
)


def test_decision_is_told_in_full_by_the_real_command() -> None:
    done = process(*DECIDE)
    assert (done.returncode, done.stderr) == (0, "")
    text = flat(done.stdout)
    for words in WORKED:
        assert words in text, words
    assert "\x1b" not in done.stdout


def test_json_is_the_decision_document() -> None:
    code, out, err = run(*DECIDE, "--json")
    document = json.loads(out)
    assert (code, err) == (0, DRAFTS)
    assert document["status"] == "paid_in_part"
    # 480 h, 10 % of the hours between two due points early or late: units stand in the words of the document, too.
    measures = {measure["name"]: measure["value"] for measure in document["measures"]}
    assert measures["drive_oil point 2"] == "missed window 432.0 to 528.0 h"
    assert {line["line"]: (line["outcome"], line["maker_pays"]) for line in document["lines"]} == {
        "drive": ("pay_part", "690.00"),
        "trip": ("deny", "0.00"),
        "work": ("pay_part", "247.00"),
    }
    assert (document["payout"]["currency"], document["payout"]["amount"]) == ("EUR", "937.00")
    assert document["digests"]["outcome"].startswith("sha256:")


def test_explain_says_what_governs_and_what_fired() -> None:
    code, out, _ = run(*DECIDE, "--explain")
    text = flat(out)
    assert code == 0
    assert "orchard-drive 2: start of term 2 March 2026 (retail delivery) lies in its time in force" in text
    assert "machine hours at the failure: 1,500.0 h" in text
    assert "drive oil, due point 2: missed, window 432.0 to 528.0 h" in text
    assert "under orchard-drive 2 a required service is missing, clause 5.2 service due: drive oil, missed" in text
    assert "line 1" not in text  # the lines of this claim have names
    assert "line drive, parts, wheel drive, linked to drive oil" in text


def test_letter_asks_for_records_without_windows() -> None:
    code, out, _ = run(*DECIDE, "--letter")
    text = flat(out)
    assert code == 0
    # 20 February 2027 and 30 days to answer: 22 March 2027. Cover counts again from a late service: the last is enough.
    assert "If the drive oil service due at 1,440 h was done in time, send its record by 22 March" in text
    for bound in ("432", "528", "912", "1,008", "1,392", "1,488", "S-118"):
        assert bound not in text, bound


def test_the_same_input_gives_the_same_bytes_whatever_the_order(tmp_path: Path) -> None:
    turned = tmp_path / "services.json"
    turned.write_text(json.dumps(json.loads((FILES / "records/services.json").read_text())[::-1]))
    other = [str(turned) if part.endswith("services.json") else part for part in DECIDE]
    assert run(*DECIDE, "--json") == run(*other, "--json")


def test_one_claim_of_a_list_is_chosen_by_its_id(tmp_path: Path) -> None:
    code, out, _ = run(*DECIDE, "--json")
    claim = (
        '{"claim": "C-1", "serial": "QF60-771", "dealer": "D-04", "currency": "EUR", "failed_on": "2026-06-01",'
        ' "reading": "90", "lines": [{"line": "a", "item": "parts", "part_number": "P-200", "component": "wheel_drive",'
        ' "net": "20.00"}]}'
    )
    listed = tmp_path / "claims.json"
    listed.write_text(f"[{claim}, {claim.replace('C-1', 'C-2')}]")
    arguments = ["decide", listed, *DECIDE[2:]]
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert f"{listed}:1: this file holds 2 claims. Say which claim with --claim: C-1, C-2." in err
    code, out, err = run(*arguments, "--claim", "C-2", "--json")
    # 20.00 × 1.15 = 23.00; at 90 h the window of the 80 h service (72 to 88 h) is met at 79 h.
    assert (code, json.loads(out)["claim"], json.loads(out)["payout"]["amount"]) == (0, "C-2", "23.00")
    code, out, err = run(*arguments, "--claim", "C-9")
    assert (code, out) == (2, "")
    assert "claim C-9 is not in this file. It holds C-1, C-2." in err


def test_without_a_dealer_file_what_is_taken_for_granted_is_said() -> None:
    at = DECIDE.index("--dealer")
    code, out, _ = run(*DECIDE[:at], *DECIDE[at + 2 :])
    assert code == 0
    assert "No --dealer was given: dealer D-04 was taken to be in the machine's region (XX) and paid in" in flat(out)
    for form in ("--letter", "--json"):  # what is sent on holds nothing but the document itself
        code, sent, err = run(*DECIDE[:at], *DECIDE[at + 2 :], form)
        assert code == 0
        assert "--dealer" not in sent
        assert "Note: No --dealer was given: dealer D-04 was taken to be in the machine's region" in flat(err)


def test_without_a_file_of_services_it_is_said_that_none_was_taken_to_be_on_file() -> None:
    at = DECIDE.index("--services")
    words = "Note: No --services was given: no service was taken to be on file."
    code, out, err = run(*DECIDE[:at], *DECIDE[at + 2 :])
    assert (code, err) == (0, "")
    assert words in flat(out)
    code, out, err = run(*DECIDE[:at], *DECIDE[at + 2 :], "--letter")
    assert code == 0
    assert "--services" not in out
    assert words in err.splitlines()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("--decided-on", "2027-13-01"), '--decided-on: "2027-13-01" is not a day. Write it as year-month-day'),
        (("--decided-on", "2027-W40-1"), '--decided-on: "2027-W40-1" is not a day. Write it as year-month-day'),
        (("--decided-on", "20270301"), '--decided-on: "20270301" is not a day. Write it as year-month-day'),
        (("--decided-on", "2027-02-09"), "claim C-2207 goes on until 2027-02-10, and cannot be decided on 2027-02-09."),
        (("--machine", FILES / "nowhere.yaml"), "there is no such file. Check the path."),
        (("--machine", FILES), "this is a directory. Name a file in it."),
        (
            ("--tables", CLAIM),
            "claim.yaml:1: this is a claim, and a reference table is read here. Check which file stands",
        ),
        (("--machine", CLAIM), "claim.yaml:1: this is a claim, and a machine is read here. Check which file stands"),
        (("--services", CLAIM), "claim.yaml:1: this is a claim, and a service record is read here. Check which"),
        (("--policies", FILES / "tables"), "no policy is found here. A policy begins with `policy: name`"),
        (("--dealer", CLAIM), "claim.yaml:1: this is a claim, and a dealer is read here. Check which file stands"),
    ],
)
def test_refused_input_is_told_with_the_way_out(change: tuple[object, object], message: str) -> None:
    arguments = list(DECIDE)
    arguments[arguments.index(str(change[0])) + 1] = str(change[1])
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert message in flat(err)


def test_a_claim_with_faults_lists_each_with_its_line(tmp_path: Path) -> None:
    broken = tmp_path / "claim.yaml"
    broken.write_text(
        CLAIM.read_text().replace("failed_on: 2027-02-01", "failed_on: 2027-02-31").replace("cause:", "cuase:")
    )
    code, _, err = run("decide", broken, *DECIDE[2:])
    assert code == 2
    assert f"{broken}:5: failed_on:" in err
    assert f'{broken}:9:1: "cuase" is not a key here. Did you mean "cause"?' in err
    assert "2 faults; nothing was done." in err


def test_another_machine_and_another_dealer_are_refused(tmp_path: Path) -> None:
    claim = tmp_path / "claim.yaml"
    claim.write_text(CLAIM.read_text().replace("QF60-771", "QF60-772").replace("D-04", "D-09"))
    code, _, err = run("decide", claim, *DECIDE[2:])
    assert code == 2
    assert "claim C-2207 names machine QF60-772, which is not in this file; it holds QF60-771." in flat(err)


def test_words_that_no_policy_knows_are_noted_and_never_refused(tmp_path: Path) -> None:
    claim = tmp_path / "claim.yaml"
    text = CLAIM.read_text()
    assert text.count("{line: drive, item: parts, component: wheel_drive") == 1
    claim.write_text(text.replace("parts, component: wheel_drive", "parts, component: weel_drive"))
    services = tmp_path / "services.json"
    services.write_text((FILES / "records/services.json").read_text().replace("drain_and_fill", "drain_and_fil"))
    given = [str(services) if part.endswith("services.json") else part for part in DECIDE[2:]]
    task = 'no policy here asks for the task "drain_and_fil". Did you mean "drain_and_fill"?'
    component = 'no policy here names the component "weel_drive". Did you mean "wheel_drive"?'
    code, out, err = run("decide", claim, *given)
    assert (code, err) == (0, "")
    assert f"Note: service record S-118: {task}" in flat(out)
    assert f"Note: claim C-2207, line drive: {component}" in flat(out)
    code, out, err = run("decide", claim, *given, "--letter")
    assert code == 0
    assert f"Please check what is written Service record S-118: {task} Claim C-2207, line drive: {component}" in flat(
        out
    )
    code, out, err = run("decide", claim, *given, "--json")
    assert (code, json.loads(out)["claim"]) == (0, "C-2207")
    assert err.splitlines()[1:] == [
        f"Note: service record S-118: {task}",
        f"Note: claim C-2207, line drive: {component}",
    ]


def test_a_mistyped_cause_is_told_in_the_text_and_in_the_letter(tmp_path: Path) -> None:
    terms, claim = tmp_path / "terms", tmp_path / "claim.yaml"
    shutil.copytree(FILES / "terms", terms)
    for policy in terms.glob("*.yaml"):
        before = policy.read_text()
        excluded = "\nexclusions:\n  - {clause: 9.1, causes: [frost], borne_by: owner}\n"
        assert "\nexclusions:" not in before
        policy.write_text(before + excluded.replace("9.1", '"9.1"'))
    text = CLAIM.read_text()
    assert text.count("\ncause: ") == 1
    claim.write_text(re.sub(r"\ncause: .*", "\ncause: frots", text))
    given = [str(terms) if part == str(FILES / "terms") else part for part in DECIDE[2:]]
    for form in ((), ("--letter",), ("--explain",)):
        code, out, _ = run("decide", claim, *given, *form)
        assert code == 0
        assert 'laim C-2207: no policy here names the cause "frots". Did you mean "frost"?' in flat(out)


def test_what_the_policies_ask_for_is_listed_for_the_desk_and_not_in_the_letter(tmp_path: Path) -> None:
    services = tmp_path / "services.json"
    records = json.loads((FILES / "records/services.json").read_text())
    services.write_text(json.dumps([{**record, "tasks": ["wash"]} for record in records]))
    given = [str(services) if part.endswith("services.json") else part for part in DECIDE]
    words = "service record carries a task that a policy here asks for; they ask for drain_and_fill"
    assert words in flat(run(*given)[1])
    _, letter, err = run(*given, "--letter")
    assert words not in flat(letter)
    assert words in flat(err)


def test_a_draft_that_decides_is_named_and_a_published_version_is_not(tmp_path: Path) -> None:
    terms = tmp_path / "terms"
    shutil.copytree(FILES / "terms", terms)
    given = [str(terms) if part == str(FILES / "terms") else part for part in DECIDE]
    both = "orchard-drive 1 and orchard-drive 2 are drafts: no lock file holds them."
    for form in ((), ("--explain",)):
        assert f"Note: {both}" in flat(run(*given, *form)[1])
    code, letter, err = run(*given, "--letter")
    assert (code, err) == (0, DRAFTS)
    assert "This letter is for trial only: " in flat(letter)
    assert "version 2 are drafts that are not published." in flat(letter)
    # Version 1 alone is published: version 2 is still a draft.
    second = (terms / "orchard-drive-2.yaml").rename(tmp_path / "orchard-drive-2.yaml")
    assert run("policy", "publish", terms)[0] == 0
    second.rename(terms / "orchard-drive-2.yaml")
    assert "Note: orchard-drive 2 is a draft: no lock file holds it." in flat(run(*given)[1])
    assert run("policy", "publish", terms)[0] == 0
    for form in ((), ("--letter",), ("--json",)):
        _, out, err = run(*given, *form)
        assert "draft" not in out
        assert err == ""


def test_service_records_of_other_machines_are_told_where_they_may_be_meant_for_this_one(tmp_path: Path) -> None:
    services = tmp_path / "services.json"
    text = (FILES / "records/services.json").read_text()
    given = [str(services) if part.endswith("services.json") else part for part in DECIDE]
    # S-118 with a leading zero more: the same serial written otherwise. S-900 is plainly of another machine.
    services.write_text(text.replace("QF60-771", "QF60-0771"))
    words = "1 service record is of another machine (QF60-0771) and plays no part; did you mean QF60-771?"
    assert f"Note: {words}" in flat(run(*given)[1])
    assert f"Note: {words}" in flat(run(*given, "--json")[2])
    # Another machine altogether.
    services.write_text(text.replace("QF60-771", "XW-3"))
    words = "2 service records are of other machines (QF60-900, XW-3) and play no part: none is of QF60-771."
    assert f"Note: {words}" in flat(run(*given)[1])
    # A file of the fleet that has this machine's records says nothing.
    services.write_text(text)
    assert "no part" not in flat(run(*given)[1])


def test_an_unknown_claim_of_one_is_refused() -> None:
    code, out, err = run(*DECIDE, "--claim", "C-1")
    assert (code, out) == (2, "")
    assert "claim C-1 is not in this file. It holds C-2207." in err


def test_unknown_currency_is_refused(tmp_path: Path) -> None:
    claim = tmp_path / "claim.yaml"
    claim.write_text(CLAIM.read_text().replace("currency: EUR", "currency: XAU"))
    code, _, err = run("decide", claim, *DECIDE[2:])
    assert code == 2
    assert "XAU is no currency of ISO 4217 with decimals of its own." in err


def test_forms_that_exclude_each_other_are_refused() -> None:
    code, _, err = run(*DECIDE, "--json", "--explain")
    assert (code, err) == (2, "--json, --explain and --letter print different things: choose one of them.\n")


def test_missing_options_are_a_usage_error() -> None:
    done = process("decide", CLAIM)
    assert done.returncode == 2
    assert "--policies" in done.stderr
    assert "Traceback" not in done.stderr


def test_output_survives_a_terminal_without_the_signs() -> None:
    done = process(*DECIDE, PYTHONIOENCODING="ascii", NO_COLOR="1")
    assert (done.returncode, done.stderr) == (0, "")
    assert "paid in part" in done.stdout


def test_json_stays_json_whatever_the_encoding_of_the_terminal() -> None:
    done = process(*DECIDE, "--json", PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    facts = [reason["facts"] for line in json.loads(done.stdout)["lines"] for reason in line["reasons"]]
    assert "(432.0–528.0 h)" in str(facts)


@pytest.mark.parametrize("columns", ["40", "72"])
def test_output_keeps_to_the_width_of_the_terminal(columns: str) -> None:
    done = process(*DECIDE, COLUMNS=columns)
    assert done.returncode == 0
    assert max(len(line) for line in done.stdout.splitlines()) <= int(columns)


def test_a_sheet_is_refused_with_what_is_read_instead(tmp_path: Path) -> None:
    sheet = tmp_path / "claim.csv"
    sheet.write_text("claim,serial\nC-1,QF60-771\n")
    code, out, err = run("decide", sheet, *DECIDE[2:])
    assert (code, out) == (2, "")
    assert "claim.csv:1: CSV is not read here. Write its rows as a list in YAML or JSON." in flat(err)


def test_a_directory_without_a_table_is_refused(tmp_path: Path) -> None:
    given = [str(tmp_path) if part == str(FILES / "tables") else part for part in DECIDE]
    code, out, err = run(*given)
    assert (code, out) == (2, "")
    assert "no table found here. A table begins with `table: name` and `version: 1`" in flat(err)
    (tmp_path / "prices.csv").write_text("part,net\n")
    code, out, err = run(*given)
    assert (code, out) == (2, "")
    assert "no table found here. prices.csv is not YAML or JSON: write the rows as a table" in flat(err)
