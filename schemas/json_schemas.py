"""JSON Schemas (draft 2020-12) of the documents, made from the models, for editors and for other programs.

A schema says less than the loader: it knows keys, kinds of values and choices, not what two keys mean together. Put
`# yaml-language-server: $schema=…/policy.schema.json` on the first line of a policy, and an editor completes it.
Written to `schemas/json/` by `hourmark schemas schemas/json --write`; a test holds the files in step with the models.
"""

import json
from collections.abc import Mapping
from typing import Any, Final, Literal

from pydantic import TypeAdapter

from schemas.cases import CaseTable
from schemas.claim import Claim
from schemas.claim_file import ClaimFile, Dealer, PaymentOnMachine
from schemas.conventions import Conventions
from schemas.decision import Decision
from schemas.machine import Machine
from schemas.policy.document import CoveragePolicy
from schemas.reference_tables import ReferenceTable
from schemas.schema_words import described
from schemas.service_record import ServiceRecord

DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"
SUFFIX: Final = ".schema.json"
# A file may hold one of these, or a list of them.
RECORDS: Final = frozenset({"machine", "service-record", "claim", "dealer", "payment"})

DOCUMENTS: Final[Mapping[str, tuple[Any, str]]] = {
    "policy": (CoveragePolicy, "Coverage terms"),
    "conventions": (Conventions, "Conventions"),
    "reference-table": (ReferenceTable, "Reference table"),
    "machine": (Machine, "Machines"),
    "service-record": (ServiceRecord, "Service records"),
    "claim": (Claim, "Claims"),
    "dealer": (Dealer, "Dealers"),
    "payment": (PaymentOnMachine, "Earlier payments"),
    "case-table": (CaseTable, "Worked cases"),
    "claim-file": (ClaimFile, "Claim file"),
    "decision": (Decision, "Decision"),
}

_NUMBER: Final = {"anyOf": [{"type": "number", "minimum": 0}, {"type": "string"}]}
_SHORT_FORMS: Final[Mapping[str, dict[str, Any]]] = {  # what a model also takes in place of a mapping
    "SharePoint": {"type": "array", "prefixItems": [_NUMBER, _NUMBER], "minItems": 2, "maxItems": 2},
    "PricePoint": {"type": "array", "prefixItems": [_NUMBER, _NUMBER], "minItems": 2, "maxItems": 2},
    "OneOffPoint": _NUMBER,
}


def json_schema_of(name: str) -> dict[str, Any]:
    """Return the schema of a kind of document, by its name in DOCUMENTS."""
    model, title = DOCUMENTS[name]
    mode: Literal["validation", "serialization"] = "serialization" if name == "decision" else "validation"
    schema = TypeAdapter(model).json_schema(by_alias=True, mode=mode)
    if isinstance(model, type):
        schema = described(model.__name__, schema)
    definitions = {key: _with_short_form(key, described(key, value)) for key, value in schema.pop("$defs", {}).items()}
    if name == "decision":
        schema["properties"].pop("data")  # the bytes of this very form, kept beside it
    if name in RECORDS:
        definitions[model.__name__] = schema
        one = {"$ref": f"#/$defs/{model.__name__}"}
        schema = {"anyOf": [one, {"type": "array", "items": one}]}
    head = {"$schema": DIALECT, "$id": f"{name}{SUFFIX}"}
    body = {**schema, "title": title}
    return {**head, **body, **({"$defs": dict(sorted(definitions.items()))} if definitions else {})}


def _with_short_form(name: str, schema: dict[str, Any]) -> dict[str, Any]:
    if name not in _SHORT_FORMS:
        return schema
    return {"description": schema.get("description", ""), "anyOf": [_SHORT_FORMS[name], schema]}


def schema_files() -> dict[str, str]:
    """Return the text of every file below `schemas/json/`, by file name."""
    return {f"{name}{SUFFIX}": json.dumps(json_schema_of(name), indent=2) + "\n" for name in DOCUMENTS}
