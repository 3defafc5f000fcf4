"""One published version of a coverage policy."""

from datetime import date
from typing import Literal

from pydantic import Field, model_validator

from schemas.policy.clause import Layer
from schemas.policy.exclusions import Exclusion
from schemas.policy.pays import Cap, Deductible, NotPaid, Pays
from schemas.policy.prorating import Prorating
from schemas.policy.services import ServiceDuty
from schemas.policy.term import AppliesTo, CarveOut, InForce, Term
from schemas.quantities import Currency, Document, Name, PublishedVersion, VersionRef, Word


class Source(Document):
    """The maker's own document that the policy puts into terms a machine can read."""

    document: str
    edition: str | int


class ExtendsEarlier(Document):
    """Machines of earlier versions get the better of the two, from a start of term on."""

    started_from: date


class CoveragePolicy(Document):
    """The promise of one coverage, closed once it is published."""

    policy: Name
    version: int = Field(ge=1)
    title: str
    layer: Layer
    conventions: PublishedVersion
    currency: Currency
    in_force: InForce
    supersedes: tuple[int, ...] = Field(
        default=(), description="Faulty versions that this one replaces for new decisions."
    )
    extends_earlier: ExtendsEarlier | None = None
    source: Source
    applies_to: AppliesTo
    term: Term
    carve_outs: tuple[CarveOut, ...] = ()
    services: dict[Word, ServiceDuty] = Field(default_factory=dict)
    prorating: Prorating | None = None
    pays: Pays
    exclusions: tuple[Exclusion, ...] = ()
    deductible: Deductible | None = None
    caps: tuple[Cap, ...] = ()
    owner_class: Literal["consumer", "commercial"] | None = Field(
        default=None, description="For the loader's warnings: whether the promise is made to consumers."
    )

    @property
    def ref(self) -> VersionRef:
        return VersionRef(self.policy, self.version)

    @model_validator(mode="after")
    def _fits_together(self) -> "CoveragePolicy":
        for fitting, name in (("retrofit_kit", "retrofit_kit"), ("replacement", "replacement")):
            stated = getattr(self.term, name) is not None
            if (fitting in self.applies_to.fitted) != stated:
                raise ValueError(
                    f"applies_to.fitted {'names' if not stated else 'does not name'} {fitting}, but term.{name}"
                    f" {'does not say' if not stated else 'says'} which term and schedule such a component gets;"
                    f" a fitting must not renew a worn component's term unsaid: state both or neither"
                )
        if any(self.version <= version for version in self.supersedes):
            raise ValueError("a version supersedes earlier versions only")
        if self.prorating is not None:
            unpaid = [i for i in self.prorating.items if isinstance(self.pays.rule_for(i), NotPaid)]
            if unpaid:
                raise ValueError(f"prorating.items names {', '.join(unpaid)}, which pays does not pay")
        return self
