"""A file that stands in the place of another kind is told in one sentence, for every pair of kinds."""

import itertools
from pathlib import Path

import pytest

from schemas.documents import parse_document
from service.document_kinds import expect, kind_of
from service.text_files import InputRefused, read_document
from tests.service.command_line import DECIDE, FILES, ROOT, run

pytestmark = pytest.mark.fast

DEMO = ROOT / "fixtures/demo"
PLURAL = ("coverage terms", "conventions")
FILES_OF = {
    "coverage terms": DEMO / "policies/quillfen-wheel-drive-2.yaml",
    "conventions": DEMO / "conventions/quillfen-2026-1.yaml",
    "a case table": DEMO / "decisions.yaml",
    "a reference table": DEMO / "tables/part-components.yaml",
    "a service record": DEMO / "services.json",
    "an earlier payment": DEMO / "payments.json",
    "a claim": DEMO / "claims.json",
    "a machine": DEMO / "machines.json",
    "a dealer": DEMO / "dealers.json",
}


@pytest.fixture(scope="module")
def documents(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return a file of each kind; the claim file and the decision are made here."""
    made = tmp_path_factory.mktemp("made")
    code, decision, _ = run(*DECIDE, "--json", "--keep-claim-file", made / "kept.json")
    assert code == 0
    (made / "decision.json").write_text(decision)
    return {**FILES_OF, "a claim file": made / "kept.json", "a decision": made / "decision.json"}


def test_every_kind_is_told_from_every_other(documents: dict[str, Path]) -> None:
    read = {kind: read_document(file) for kind, file in documents.items()}
    for kind, document in read.items():
        assert kind_of(document) == kind
        expect(kind, document)
    for kind, other in itertools.permutations(read, 2):
        verb = "are" if other in PLURAL else "is"
        this = "these are" if kind in PLURAL else "this is"
        with pytest.raises(InputRefused) as refused:
            expect(other, read[kind])
        (fault,) = refused.value.faults
        assert fault.message == f"{this} {kind}, and {other} {verb} read here."


@pytest.mark.parametrize("file", sorted((DEMO / "tables").glob("*.yaml")), ids=lambda file: file.stem)
def test_every_reference_table_is_one(file: Path) -> None:
    assert kind_of(read_document(file)) == "a reference table"


def test_the_commands_say_which_file_stands_in_the_wrong_place(documents: dict[str, Path]) -> None:
    for option, expected in (
        ("--machine", "a machine"),
        ("--services", "a service record"),
        ("--dealer", "a dealer"),
        ("--tables", "a reference table"),
    ):
        given = list(DECIDE)
        for kind in ("a machine", "a decision", "a dealer"):
            given[given.index(option) + 1] = str(documents[kind])
            if kind != expected:
                code, out, err = run(*given)
                assert (code, out) == (2, "")
                assert f"this is {kind}, and {expected} is read here." in err
                assert "1 fault; nothing was done." in err
    for arguments in (("decide", documents["a decision"], *DECIDE[2:]), ("decide", FILES / "records/machine.yaml")):
        code, _, err = run(*arguments, *(DECIDE[2:] if len(arguments) == 2 else ()))
        assert (code, "and a claim is read here." in err) == (2, True)
    code, _, err = run("policy", "show", documents["a claim"])
    assert (code, "this is a claim, and coverage terms are read here." in err) == (2, True)
    code, _, err = run("cases", documents["a decision"])
    assert (code, "this is a decision, and a case table is read here." in err) == (2, True)


def test_a_document_with_a_key_too_many_is_left_to_its_model() -> None:
    machine = parse_document("serial: M-1\nmodel: QF60\nbuilt_on: 2025-01-01\nrecord: S-1\n", "machine.yaml")
    expect("a machine", machine)
    expect("a machine", parse_document("srial: M-1\n", "machine.yaml"))
    # As many keys of the one kind as of the other: it is what is expected.
    expect("a machine", parse_document("serial: M-1\n", "machine.yaml"))
    expect("a claim", parse_document("serial: M-1\n", "claim.yaml"))
