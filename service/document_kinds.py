"""Which kind of document a file holds, where one of another kind was expected: one fault says more than one a key."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, Final, get_args

from pydantic import BaseModel

from schemas.cases import CaseTable
from schemas.claim import Claim
from schemas.claim_file import ClaimFile, Dealer, PaymentOnMachine
from schemas.conventions import Conventions
from schemas.decision import Decision
from schemas.documents import Fault, ParsedDocument
from schemas.machine import Machine
from schemas.policy.document import CoveragePolicy
from schemas.reference_tables import ReferenceTable
from schemas.service_record import ServiceRecord
from service.text_files import InputRefused

_MODELS: Final[Mapping[str, tuple[Any, ...]]] = {
    "coverage terms": (CoveragePolicy,),
    "conventions": (Conventions,),
    "a case table": (CaseTable,),
    "a reference table": get_args(get_args(ReferenceTable)[0]),
    "a service record": (ServiceRecord,),
    "an earlier payment": (PaymentOnMachine,),
    "a claim": (Claim,),
    "a claim file": (ClaimFile,),
    "a machine": (Machine,),
    "a dealer": (Dealer,),
    "a decision": (Decision,),
}
_PLURAL: Final = ("coverage terms", "conventions")


def _keys_of(model: type[BaseModel] | type[Decision]) -> frozenset[str]:
    if is_dataclass(model):
        return frozenset(field.name for field in fields(model))
    return frozenset(field.alias or name for name, field in model.model_fields.items())


_KEYS: Final = {kind: frozenset[str]().union(*map(_keys_of, models)) for kind, models in _MODELS.items()}


def kind_of(document: ParsedDocument, expected: str = "") -> str | None:
    """Return the kind whose keys a document, or the first one of a list, has most of; None where no key is known.

    Where it has as many keys of the ``expected`` kind as of another, it is taken for what is expected.
    """
    first = document.tree[0] if isinstance(document.tree, list) and document.tree else document.tree
    if not isinstance(first, dict):
        return None
    shared = {kind: len(keys & first.keys()) for kind, keys in _KEYS.items()}
    most = max(shared, key=lambda kind: (shared[kind], kind == expected))
    return most if shared[most] else None


def expect(kind: str, document: ParsedDocument) -> None:
    """Raise InputRefused where a document is of another kind; one of no known kind is left to its model."""
    found = kind_of(document, kind)
    if found is not None and found != kind:
        this = "these are" if found in _PLURAL else "this is"
        message = f"{this} {found}, and {kind} {'are' if kind in _PLURAL else 'is'} read here."
        raise InputRefused([Fault(document.name, 1, None, "", message, "Check which file stands in which place.")])
