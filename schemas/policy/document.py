"""One published version of a coverage policy."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from schemas import upcast
from schemas.fault_at import FaultAt, raise_all
from schemas.policy.clause import Layer
from schemas.policy.exclusions import Exclusion
from schemas.policy.pays import Cap, Deductible, NotPaid, Pays
from schemas.policy.prorating import Prorating
from schemas.policy.services import ServiceDuty
from schemas.policy.term import AppliesTo, CarveOut, InForce, LaterFitting, Term
from schemas.quantities import EACH_ONCE, Currency, Day, Document, Name, PublishedVersion, VersionRef, Word


class Source(Document):
    """The maker's own document that the policy puts into terms a machine can read."""

    document: str = Field(description="Title of the maker's document.")
    edition: str | int = Field(description="Edition or date of issue, as printed.")


class ExtendsEarlier(Document):
    """Machines of earlier versions get the better of the two, from a start of term on."""

    started_from: Day = Field(description="Machines whose term started on this day or later get the better version.")


class CoveragePolicy(Document):
    """The promise of one coverage, closed once it is published."""

    format: int = Field(default=upcast.POLICY.current, description="Format of this document; left out, the first.")
    policy: Name = Field(description="Name of the policy, the same in all its versions.")
    version: int = Field(ge=1, le=999_999, description="Number of this version; a published version is never edited.")
    title: str = Field(min_length=1, max_length=200, description="What people call this coverage.")
    layer: Layer = Field(
        description="Which payer this is; of several that pay a line alike, the layer's order decides."
    )
    conventions: PublishedVersion = Field(description="The conventions it is counted by, written name@version.")
    currency: Currency = Field(description="ISO 4217 code of every amount in this document.")
    in_force: InForce
    supersedes: Annotated[tuple[int, ...], EACH_ONCE] = Field(
        default=(),
        description="Earlier versions that this one replaces for new decisions, a faulty one or one to be ended: their"
        " own in_force counts no more, this one's does.",
    )
    extends_earlier: ExtendsEarlier | None = Field(
        default=None, description="Whether machines of earlier versions get the better of the two."
    )
    source: Source
    applies_to: AppliesTo
    term: Term
    carve_outs: tuple[CarveOut, ...] = Field(
        default=(), description="Components with a period of their own, or none; the first that names one holds."
    )
    services: dict[Word, ServiceDuty] = Field(
        default_factory=dict, description="The services the owner must have done, each by a short name of its own."
    )
    prorating: Prorating | None = Field(default=None, description="How the paid share falls; left out, it does not.")
    pays: Pays
    exclusions: tuple[Exclusion, ...] = Field(
        default=(), description="Wear, consumables, causes and alterations that are not covered."
    )
    deductible: Deductible | None = Field(
        default=None, description="A sum that is not paid of each claim, and who bears it."
    )
    caps: tuple[Cap, ...] = Field(default=(), description="The most that is paid.")
    owner_class: Literal["consumer", "commercial"] | None = Field(
        default=None, description="For the loader's warnings: whether the promise is made to consumers."
    )

    @property
    def ref(self) -> VersionRef:
        return VersionRef(self.policy, self.version)

    def duty_at(self, path: str) -> ServiceDuty:
        """Return the service duty of a clause path such as services.drive_oil."""
        return self.services[path.removeprefix("services.")]

    @model_validator(mode="before")
    @classmethod
    def _in_the_current_format(cls, value: Any) -> Any:
        return upcast.POLICY.upcast(value) if isinstance(value, Mapping) else value

    @field_validator("format", mode="before")
    @classmethod
    def _format_is_read(cls, value: Any) -> int:
        return upcast.POLICY.known(value)

    @model_validator(mode="after")
    def _fits_together(self) -> "CoveragePolicy":
        raise_all((*self._faults_of_fittings(), *self._faults_of_schedules(), *self._faults_of_numbers()))
        return self

    @property
    def _later_fittings(self) -> dict[str, LaterFitting]:
        """What the term says of components fitted later, by the way of fitting."""
        stated = {"retrofit_kit": self.term.retrofit_kit, "replacement": self.term.replacement}
        return {name: fitting for name, fitting in stated.items() if fitting is not None}

    def _faults_of_fittings(self) -> Iterator[FaultAt]:
        for name in ("retrofit_kit", "replacement"):
            stated = name in self._later_fittings
            if name in self.applies_to.fitted and not stated:
                yield FaultAt(
                    ("applies_to", "fitted"),
                    f"applies_to.fitted names {name}, but term.{name} does not say which term and schedule such a"
                    " component gets; a fitting must not renew a worn component's term unsaid.",
                    f"State both or neither: write term.{name}, for example {{term: of_the_machine, schedule:"
                    " of_the_machine}, or take it off applies_to.fitted.",
                )
            elif stated and name not in self.applies_to.fitted:
                yield FaultAt(
                    ("term", name),
                    f"term.{name} says which term and schedule such a component gets, but applies_to.fitted does not"
                    f" name {name}.",
                    f"State both or neither: add {name} to applies_to.fitted, or take this off.",
                )

    def _faults_of_schedules(self) -> Iterator[FaultAt]:
        """Yield where a fitting begins a schedule that no service follows, or a service one that no fitting begins.

        A schedule begins anew where the fitting and the service both say so: a service that keeps the machine's
        schedule is the exception beside another that does not, and so is one way of fitting beside the other.
        """
        fittings = self._later_fittings
        own = [name for name, duty in self.services.items() if duty.new_component == "own_schedule"]
        begun = [name for name, fitting in fittings.items() if fitting.schedule == "from_fitting"]
        if self.services and not own:
            kept = " and ".join(f"services.{name}" for name in self.services)
            for fitting in begun:
                yield FaultAt(
                    ("term", fitting, "schedule"),
                    f"schedule: from_fitting counts the services from the fitting, but {kept}"
                    f" {'says' if len(self.services) == 1 else 'say'} new_component: keeps_schedule.",
                    "Write schedule: of_the_machine here, or new_component: own_schedule in the service that begins"
                    " anew.",
                )
        if fittings and not begun:
            followed = " and ".join(f"term.{name}" for name in fittings)
            for name in own:
                yield FaultAt(
                    ("services", name, "new_component"),
                    f"new_component: own_schedule begins this service's schedule anew at a fitting, but {followed}"
                    f" {'says' if len(fittings) == 1 else 'say'} schedule: of_the_machine.",
                    "Write new_component: keeps_schedule here, or schedule: from_fitting for the fitting that begins it"
                    " anew.",
                )

    def _faults_of_numbers(self) -> Iterator[FaultAt]:
        for place, version in enumerate(self.supersedes):
            if self.version <= version:
                other = "itself" if version == self.version else f"version {version}, which is later"
                message = (
                    f"a version supersedes earlier versions only; this is version {self.version}, and names {other}."
                )
                yield FaultAt(("supersedes", place), message, "Take it off the list, or correct the number.")
        for place, item in enumerate(() if self.prorating is None else self.prorating.items):
            if isinstance(self.pays.rule_for(item), NotPaid):
                by = f"pays.{item}" if getattr(self.pays, item) is not None else "pays.anything_else"
                yield FaultAt(
                    ("prorating", "items", place),
                    f"prorating.items names {item}, which pays does not pay ({by} says nothing: true).",
                    f"Take {item} off the list, or say under pays.{item} how it is paid.",
                )
