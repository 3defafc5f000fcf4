"""Words of the machine's own record that no policy knows, over the shipped scenario and the terms of files/terms.

Every machine of the scenario but one that is of another maker is known, so that nothing is told of them.
"""

from pathlib import Path

import pytest

from service.alike import meant, written_otherwise
from service.command.demo import read_scenario
from service.vocabulary import unknown_words, vocabulary_of
from tests.service.command_line import DECIDE, FILES, ROOT, flat, run

pytestmark = pytest.mark.fast

MACHINE = (FILES / "records/machine.yaml").read_text()
BASE_WITH_PATTERNS = ROOT / "fixtures/demo"  # names QF40 and QF60, and every model that begins with QF


def noted(tmp_path: Path, change: tuple[str, str], policies: Path = BASE_WITH_PATTERNS) -> str:
    """Return what is printed with one word of the machine's record changed."""
    assert MACHINE.count(change[0]) == 1
    machine = tmp_path / "machine.yaml"
    machine.write_text(MACHINE.replace(*change))
    given = list(DECIDE)
    given[given.index("--machine") + 1] = str(machine)
    given[given.index("--policies") + 1] = str(policies)
    code, out, err = run(*given)
    assert (code, err) == (0, "")
    return flat(out)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("use: commercial", "use: comercial"), 'names the use "comercial". Did you mean "commercial"?'),
        (("region: XX", "region: De"), 'names the region "De". Did you mean "DE"?'),
        # "QF*" takes it in, so that it is told only because it is QF60 with the letter O.
        (("model: QF60", "model: QF6O"), 'names the model "QF6O" itself. Did you mean "QF60"?'),
        (("model: QF60", "model: Q60"), 'names the model "Q60". Did you mean "QF60"?'),
        (("model: QF60", "model: XY-1"), 'names the model "XY-1".'),
    ],
)
def test_a_word_of_the_machine_that_looks_mistyped_is_noted(
    change: tuple[str, str], words: str, tmp_path: Path
) -> None:
    assert f"Note: machine QF60-771: no policy here {words}" in noted(tmp_path, change)


@pytest.mark.parametrize(
    "change",
    [
        ("use: commercial", "use: commercial  # as the policies name it"),
        ("region: XX", "region: DE-BY"),  # a part of DE
        ("region: XX", "region: NZ"),  # the wheel drive is covered in every region, and no region is like it
        ("model: QF60", "model: QF90"),  # a neighbour of QF60, taken in by QF*
    ],
)
def test_a_word_that_a_policy_takes_in_is_not_noted(change: tuple[str, str], tmp_path: Path) -> None:
    assert "Note: machine" not in noted(tmp_path, change)


def test_a_use_that_no_policy_names_is_noted_only_where_none_covers_every_use(tmp_path: Path) -> None:
    terms = tmp_path / "terms"
    terms.mkdir()
    for policy in (FILES / "terms").glob("*.yaml"):
        text = policy.read_text()
        assert text.count("owner: any,") == 1
        (terms / policy.name).write_text(text.replace("owner: any,", "owner: any, use: [rental], regions: [DE],"))
    out = noted(tmp_path, ("region: XX", "region: NZ"), terms)
    assert 'Note: machine QF60-771: no policy here names the use "commercial".' in out
    assert 'Note: machine QF60-771: no policy here names the region "NZ".' in out
    out = noted(tmp_path, ("region: XX", "region: NZ"), FILES / "terms")  # every use, every region
    assert "Note: machine" not in out


def test_of_the_scenario_only_the_machine_of_another_maker_is_noted() -> None:
    scenario = read_scenario()
    known = vocabulary_of(scenario.policies.book)
    told = {
        remark.words
        for claim in scenario.claims.values()
        for remark in unknown_words(scenario.claim_file(claim), known)
        if remark.words.startswith("machine")
    }
    assert told == {'machine QX99-0001: no policy here names the model "QX99".'}


def test_the_known_word_that_is_meant() -> None:
    assert meant("weel_drive", ["track", "wheel_drive"]) == "wheel_drive"
    assert meant("DK", ["AT", "DE"]) is None
    assert meant("日本", ["中国"]) is None
    assert written_otherwise("qf-060", ["QF40", "QF60"]) == "QF60"
    assert written_otherwise("QF61", ["QF40", "QF60"]) is None
    assert written_otherwise("--", ["__"]) is None
