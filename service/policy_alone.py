"""A policy read for itself, to be compared: what it falls back to plays no part, and may lie elsewhere."""

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from service.policy_files import conventions_beside, read_policy
from service.text_files import InputRefused, checked, document_files, read_document


@dataclass(frozen=True, slots=True)
class PolicyAlone:
    """A version with its conventions."""

    terms: CoveragePolicy
    conventions: Conventions

    @property
    def name(self) -> str:
        return str(self.terms.ref)


def load_alone(file: Path) -> PolicyAlone:
    """Return a policy with the conventions that lie beside it or are ready-made; raises InputRefused."""
    document, policy = read_policy(file)
    for place in (file.resolve().parent, *conventions_beside([file])):
        for other in document_files(place):
            with suppress(InputRefused):  # what cannot be read is of no use here
                found = read_document(other)
                tree = found.tree if isinstance(found.tree, dict) else {}
                if (
                    f"{tree.get('conventions')}@{tree.get('version')}" == str(policy.conventions)
                    and "policy" not in tree
                ):
                    return PolicyAlone(policy, checked(Conventions, found))
    message = f"the conventions {policy.conventions} are not found."
    way_out = "Put them beside the policy, or into a folder named conventions there or one above."
    raise InputRefused([document.fault(("conventions",), message, way_out)])
