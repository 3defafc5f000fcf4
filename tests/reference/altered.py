"""Whether an alteration on file takes a line out of cover, worked again."""

from schemas.claim import Claim
from schemas.machine import Alteration
from schemas.policy.exclusions import Alterations
from tests.reference.unknown import Given


def altered(exclusion: Alterations, found: Alteration, component: str | None, claim: Claim, given: Given) -> bool:
    """Return whether the exclusion reaches a line about ``component`` by this alteration."""
    if found.kind not in exclusion.alterations:
        return False
    if exclusion.reach == "altered_component" and component != found.component:
        return False
    if found.caused_failure:
        return True
    if exclusion.reach == "only_if_it_caused_the_failure":
        return found.caused_failure is None and not given.yes(f"alteration:{found.id}", "person")
    # What is found by the end of the repair was found on the machine as it had failed; later, nobody knows.
    repair = [day for day in (claim.repair_began_on, claim.repair_ended_on) if day is not None]
    if any(found.found_on <= day for day in (claim.failed_on, *repair)):
        return True
    return not given.yes(f"alteration made later:{found.id}", "person")
