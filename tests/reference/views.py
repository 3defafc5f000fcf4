"""What one coverage makes of a line: reasons with their effects, how the line stands, and what it would pay."""

from dataclasses import dataclass, field, replace
from fractions import Fraction

from schemas.claim import ClaimLine
from schemas.machine import FittedComponent
from schemas.policy.services import FallBack, LowerShare, Refused, ServiceDuty
from tests.reference.allowed import Allowed
from tests.reference.duties import CODES
from tests.reference.shares import Share
from tests.reference.terms import Term

# What refuses a line, in the published order; who bears it where the clause does not say.
REFUSALS = (
    "component_never_covered", "outer_limit_passed", "term_elapsed", "hour_limit_passed", "worn_out",
    "every_limit_passed", "excluded_cause", "part_altered", "part_of_other_make", "wear_item", "consumable",
    "coverage_not_activated", "service_missed", "service_late", "service_fluid_not_approved", "service_by_other_hands",
    "item_not_paid", "item_period_over",
)  # fmt: skip


@dataclass
class Subject:
    """A line with its component and what is on file as fitted."""

    line: ClaimLine
    component: str | None
    fitted: FittedComponent | None
    side: str = "none"


def share_wear(subjects: list[Subject]) -> None:
    """Give lines that are no part the wear of the parts they are about, where these are all worn alike."""
    for subject in subjects:
        if subject.line.item == "parts" or subject.line.wear is not None or subject.component is None:
            continue
        about = (subject.component, (subject.fitted and subject.fitted.id) or subject.side)
        parts = [s.line.wear for s in subjects if s.line.item == "parts"
                 and (s.component, (s.fitted and s.fitted.id) or s.side) == about]  # fmt: skip
        if parts and parts.count(parts[0]) == len(parts):
            subject.line = subject.line.model_copy(update={"wear": parts[0]})


@dataclass
class Why:
    """A reason of one version: code, effect (deny, spare, refer, lower, fall_back, note), bearer and clause."""

    code: str
    effect: str
    bearer: str = "owner"
    place: str = ""
    share: Fraction = Fraction(1)
    older: str = ""
    any_day: bool = True  # of a code that no day plays a part in: whether that is so here


@dataclass
class View:
    """What one coverage makes of a line."""

    subject: Subject
    candidate: str
    payer: str
    whys: list[Why]
    state: str
    allowed: Allowed
    term: Term
    share: Share | None
    lowered: list[tuple[Fraction, str]] = field(default_factory=list)
    before: list[Why] = field(default_factory=list)  # reasons of the version it fell back from

    def restate(self) -> None:
        effects = {w.effect for w in self.whys}
        self.state = "covered"
        if "refer" in effects or self.allowed.held:
            self.state = "refer"
        if effects & {"deny", "spare"} and not (self.state == "refer" and self.may_fall):
            self.state = "deny"

    @property
    def may_fall(self) -> bool:
        """Whether of the services nothing weighs more than a fall-back, so that an older version may decide."""
        of_services = {w.effect for w in self.whys if w.place.startswith("services.")}
        return "fall_back" in of_services and not of_services & {"deny", "lower"}

    @property
    def estimate(self) -> Fraction:
        """Return what the customer is paid before deductible and caps, in the claim's currency."""
        if self.state != "covered":
            return Fraction(0 if self.state == "refer" else -1) / self.allowed.rate
        amount = self.allowed.amount
        if self.share is not None and self.share.price is not None:
            pieces = Fraction(self.subject.line.quantity) if self.subject.line.item == "parts" else 1
            amount = max(amount - self.share.price * pieces, Fraction(0))
        elif self.share is not None:
            amount *= self.share.paid
        for share, _ in self.lowered:
            amount *= share
        return amount / self.allowed.rate


def consequence(name: str, duty: ServiceDuty, breach: str, linked: bool) -> Why | None:
    """Return what a breach of a duty does to a line, None where it does not reach it."""
    code, place = CODES[breach], f"services.{name}"
    if breach == "not_activated":
        return Why(code, "deny", duty.borne_by, place)
    does = duty.wrong_fluid if breach == "wrong_fluid" and duty.wrong_fluid is not None else duty.missed
    if does == "refer":
        return Why(code, "refer", place=place) if linked or not duty.links else None
    if does == "note_only":
        return None  # told beside the line, and no reason for anything
    reach = does.deny if isinstance(does, Refused) else does.reach
    if reach == "linked_components" and not linked:
        return None
    if isinstance(does, LowerShare):
        return Why(code, "lower", duty.borne_by, place, share=does.share)
    if isinstance(does, FallBack):
        return Why(code, "fall_back", duty.borne_by, place, older=str(does.fall_back_to))
    return Why(code, "deny", duty.borne_by, place)


def first_bearer(view: View) -> str:
    deciding = [w for w in view.whys if w.effect in ("deny", "spare") and w.code in REFUSALS]
    return min(deciding, key=lambda w: (REFUSALS.index(w.code), w.place)).bearer if deciding else "owner"


def let_through(looks: dict[str, list[list[View]]]) -> dict[str, list[View]]:
    """Return each coverage's view of each line, wear items and consumables let through that a covered failure ruined.

    ``looks`` holds each coverage's views of a line: its own, or one of each older version that the line falls back to,
    of which the one that pays least counts.
    """

    def failure(line: str, seen: frozenset[str]) -> str:
        """Return how a line stands; one met again on the way to its own cause is no covered failure."""
        if line in seen:
            return "deny"
        states = {worst(look, seen | {line}).state for look in looks[line]}
        return "covered" if "covered" in states else "refer" if "refer" in states else "deny"

    def worst(look: list[View], seen: frozenset[str]) -> View:
        return min((ruined(view, seen) for view in look), key=lambda v: (v.estimate, v.payer))

    def ruined(view: View, seen: frozenset[str]) -> View:
        effects, cause = {w.effect for w in view.whys}, view.subject.line.caused_by
        if "spare" not in effects or "deny" in effects or cause is None:
            return view
        state = failure(cause, seen)
        if state == "deny":
            return view
        code, effect = ("", "note") if state == "covered" else ("cause_undecided", "refer")
        whys = [replace(w, code=code, effect=effect) if w.effect == "spare" else w for w in view.whys]
        changed = replace(view, whys=whys)
        changed.restate()
        return changed

    return {line: [worst(look, frozenset((line,))) for look in found] for line, found in looks.items()}
