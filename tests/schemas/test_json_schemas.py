"""The JSON Schemas: in step with the models, taking every document that ships, refusing what is plainly wrong."""

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from iso4217 import Currency
from jsonschema import Draft202012Validator

from rules.cases.facts import claim_file_of
from rules.cases.run import CaseRunner
from schemas.cases import CaseTable
from schemas.documents import parse_document, validated
from schemas.json_schemas import DIALECT, DOCUMENTS, json_schema_of, schema_files
from schemas.record_words import RECORD_WORDS
from schemas.schema_words import WORDS
from service.policy_files import read_policy_source
from tests.rules.policy_book.examples import CONVENTIONS, FULL, SHORT, merged, tree_of

pytestmark = pytest.mark.fast

FIXTURES = Path(__file__).parents[2] / "fixtures"
SCHEMAS = Path(__file__).parents[2] / "schemas" / "json"
BY_FILE_NAME = {
    "machines.json": "machine",
    "services.json": "service-record",
    "claims.json": "claim",
    "dealers.json": "dealer",
    "payments.json": "payment",
}
BY_KEY = {"policy": "policy", "conventions": "conventions", "table": "reference-table", "cases": "case-table"}
WITHOUT_A_SCHEMA = {
    "hourmark.lock",
}  # read by the demo alone, checked where it reads


@cache
def validator(name: str) -> Draft202012Validator:
    return Draft202012Validator(json_schema_of(name))


def faults(name: str, tree: Any) -> list[str]:
    return [f"{error.json_path}: {error.message[:200]}" for error in validator(name).iter_errors(tree)]


def shipped() -> Iterator[tuple[Path, str]]:
    for file in sorted(FIXTURES.rglob("*")):
        if file.suffix not in (".yaml", ".json") or file.name in WITHOUT_A_SCHEMA:
            continue
        if file.name in BY_FILE_NAME:
            yield file, BY_FILE_NAME[file.name]
            continue
        keys = parse_document(file.read_text(encoding="utf-8"), file.name).tree
        assert isinstance(keys, dict), file
        yield file, next((name for key, name in BY_KEY.items() if key in keys), f"no schema for {sorted(keys)}")


SHIPPED = list(shipped())


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_schema_on_file_is_in_step_with_the_model(name: str) -> None:
    on_file = json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8"))
    assert on_file == json_schema_of(name), "the models changed: run hourmark schemas schemas/json --write"


def test_no_other_schema_is_on_file() -> None:
    assert {p.name: p.read_text(encoding="utf-8") for p in SCHEMAS.iterdir()} == schema_files()


INPUTS = tuple(name for name in DOCUMENTS if name != "decision")


def keys_of(name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every key that a kind of document has at any depth, as model.key, with its schema."""
    schema = json_schema_of(name)
    root = str(getattr(DOCUMENTS[name][0], "__name__", name))
    for model, body in ((root, schema), *schema.get("$defs", {}).items()):
        for one in (body, *body.get("anyOf", ())):
            for key, value in one.get("properties", {}).items():
                yield f"{model}.{key}", value


@pytest.mark.parametrize("name", INPUTS)
def test_every_key_of_an_input_says_what_it_is(name: str) -> None:
    keys = list(keys_of(name))
    assert keys
    assert [key for key, value in keys if not value.get("description")] == []


@pytest.mark.parametrize("name", INPUTS)
def test_an_example_of_a_key_is_one_that_it_takes(name: str) -> None:
    definitions = json_schema_of(name).get("$defs", {})
    for key, value in keys_of(name):
        for example in value.get("examples", ()):
            found = list(Draft202012Validator({**value, "$defs": definitions}).iter_errors(example))
            assert found == [], f"{key}: {example}"


def test_words_stand_for_keys_that_there_are() -> None:
    """A key renamed leaves words behind that nobody reads."""
    known = {key for name in DOCUMENTS for key, _ in keys_of(name)}
    assert sorted(set(RECORD_WORDS) - known) == []


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_schema_is_a_good_one_of_its_dialect(name: str) -> None:
    schema = json_schema_of(name)
    Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == DIALECT
    assert schema["$id"] == f"{name}.schema.json"


@pytest.mark.parametrize(("file", "name"), SHIPPED, ids=[str(f.relative_to(FIXTURES)) for f, _ in SHIPPED])
def test_every_document_that_ships_is_taken(file: Path, name: str) -> None:
    tree = parse_document(file.read_text(encoding="utf-8"), file.name).tree
    assert faults(name, tree) == []


def test_documents_of_every_main_kind_ship() -> None:
    assert {name for _, name in SHIPPED} >= {"policy", "conventions", "case-table"}


def test_a_policy_that_says_everything_is_taken() -> None:
    assert faults("policy", tree_of(FULL)) == []


WRONG: list[tuple[str, dict[str, Any], str]] = [
    ("an unknown key", {"servces": {}}, "$"),
    ("a missing key", {"term": None}, "$"),
    ("a choice that is none", {"layer": "engine"}, "$.layer"),
    ("a number for a share", {"pays": {"parts": {"handling": [1]}}}, "$.pays.parts"),
    ("a span without a unit", {"term": {"starts": {"otherwise": [{"event": "built", "plus": "6"}]}}}, "$.term.starts"),
    ("a version without a number", {"conventions": "counted"}, "$.conventions"),
    ("months below 1", {"term": {"ends": {"first_of": [{"months": 0}]}}}, "$.term.ends"),
    ("a date as a number", {"in_force": {"from": 2026}}, "$.in_force.from"),
]


@pytest.mark.parametrize(("change", "place"), [w[1:] for w in WRONG], ids=[w[0] for w in WRONG])
def test_an_editor_sees_what_is_plainly_wrong(change: dict[str, Any], place: str) -> None:
    found = faults("policy", merged(tree_of(SHORT), change))
    assert any(fault.startswith(place) for fault in found), found


@pytest.mark.parametrize("name", ["policy", "conventions"])
def test_an_editor_is_told_what_each_key_means(name: str) -> None:
    schema = json_schema_of(name)
    models = {"": schema, **schema["$defs"]}
    silent = []
    for model, definition in models.items():
        whole = definition if "properties" in definition else definition["anyOf"][1]
        for key, value in whole["properties"].items():
            if not value.get("description") and "$ref" not in value:
                silent.append(f"{model}.{key}")
    assert silent == []
    assert all(definition.get("description") for definition in models.values())


def test_no_words_are_kept_for_a_key_that_is_gone() -> None:
    keys = set()
    for name in ("policy", "conventions"):
        schema = json_schema_of(name)
        for model, definition in {DOCUMENTS[name][0].__name__: schema, **schema["$defs"]}.items():
            whole = definition if "properties" in definition else definition["anyOf"][1]
            keys |= set(whole["properties"]) | {f"{model}.{key}" for key in whole["properties"]}
    assert set(WORDS) - keys == set()


def test_conventions_and_their_faults() -> None:
    assert faults("conventions", tree_of(CONVENTIONS)) == []
    assert faults("conventions", merged(tree_of(CONVENTIONS), {"month_end": "some_day"}))[0].startswith("$.month_end")


def test_claim_files_and_decisions_of_the_worked_cases_are_taken() -> None:
    exponents = {c.code: c.exponent for c in Currency if c.exponent is not None}
    file = FIXTURES / "cases" / "tables" / "services-break-in.yaml"
    table = validated(CaseTable, parse_document(file.read_text(encoding="utf-8"), file.name))
    with CaseRunner(read_policy_source(FIXTURES / "cases", FIXTURES / "conventions"), exponents) as runner:
        for result in runner.run(table):
            claim_file = claim_file_of(table, result.case, "EUR", exponents)
            assert faults("claim-file", claim_file.model_dump(mode="json", by_alias=True)) == []
            document = result.decision.document
            assert faults("decision", document) == []
            line = document["lines"][0]
            assert faults("decision", {**document, "lines": [{**line, "outcome": "maybe"}]})
