"""Machine hours that are a sum over meters, in words that can be added up again."""

from rules.plain import hours_text
from schemas.claim_file import ClaimFile
from schemas.quantities import centihours


def meter_sum(claim_file: ClaimFile, at_failure: int | None) -> str | None:
    """Return how the machine hours at the failure (hundredths) add up over changed meters.

    None where one meter showed them, or where they are no plain sum: an old meter's last reading was not noted, or a
    reading is in doubt.
    """
    claim = claim_file.claim
    changes = sorted(
        (c for c in claim_file.machine.meter_changes if c.on <= claim.failed_on), key=lambda c: (c.on, c.id)
    )
    if not changes or claim.reading is None or at_failure is None:
        return None
    total, words = 0, ""
    for change in changes:
        if change.old_reading is None:
            return None
        old, new = centihours(change.old_reading), centihours(change.new_reading)
        total += old - new
        words += f"{hours_text(old)} ({change.id}, old meter)"
        words += f" − {hours_text(new)} ({change.id}, new meter when fitted) + " if new else " + "
    read = centihours(claim.reading)
    if total + read != at_failure:
        return None
    return f"{words}{hours_text(read)} (read at the failure) = {hours_text(at_failure)}"
