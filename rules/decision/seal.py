"""The last step: the decision's canonical bytes, and the digests over its outcome, its derivation and its envelope."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, Final

from rules.policy_book.compiled import CompiledPolicy
from schemas.canonical import Written, digest_of_bytes, object_of_parts, part
from schemas.claim_file import ClaimFile
from schemas.decision import CAUTIONS, FORMAT_VERSION, Decision, Digests

ENGINE: Final = "hourmark 0.1.0"

OUTCOME: Final = ("claim", "serial", "dealer", "status", "lines", "payout", "questions", "proposals", "deadlines")
DERIVATION: Final = ("measures", "firings")
ENVELOPE: Final = ("engine", "format", "cautions", "decided_on", "remedies")


def sealed(claim_file: ClaimFile, policies: Sequence[CompiledPolicy], **parts: Any) -> Decision:
    """Return the decision of these parts with its bytes and its digests: outcome, derivation and envelope apart.

    Each part is written once; the digests and the whole are put together from what was written.
    """
    parts |= {"engine": ENGINE, "format": FORMAT_VERSION, "cautions": CAUTIONS}
    written: dict[str, Written] = {}
    for name in (*OUTCOME, *DERIVATION, *ENVELOPE):
        value = parts[name]
        written[name] = value if type(value) is str or type(value) is int else part(value, _plain)
    envelope = {name: written[name] for name in ENVELOPE} | {"claim_file": claim_file.digest}
    digests = Digests(
        claim_file.digest,
        tuple((policy.name, policy.digest) for policy in policies),
        digest_of_bytes(object_of_parts({name: written[name] for name in OUTCOME})),
        digest_of_bytes(object_of_parts({name: written[name] for name in DERIVATION})),
        digest_of_bytes(object_of_parts(envelope)),
    )
    return Decision(**parts, digests=digests, data=object_of_parts(written | {"digests": part(digests, _plain)}))


def _plain(value: Any) -> Any:
    if type(value) is Decimal:
        return str(value)
    raise TypeError(f"{type(value).__name__} has no place in a decision")


def decision_bytes(decision: Decision) -> bytes:
    """Return the canonical bytes (RFC 8785) of a decision, digests included: what is stored."""
    return decision.data
