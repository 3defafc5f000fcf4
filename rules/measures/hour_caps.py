"""What the caps of a policy count from, as far as the file says it, and the values worth trying round them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from rules.history.timeline import Timeline
from rules.measures.starts import earliest_start
from rules.policy_book.compiled import CompiledPolicy
from schemas.claim_file import ClaimFile
from schemas.policy.term import Starts
from schemas.quantities import centihours


@dataclass(frozen=True, slots=True)
class Caps:
    """The caps and bends of one policy (hundredths), what they count from, and whether from a fitting or start too."""

    thresholds: tuple[int, ...]
    begins: frozenset[int]
    from_fittings: bool
    from_starts: bool


def caps_of(policy: CompiledPolicy, timeline: Timeline, claim_file: ClaimFile, fitted_at: Iterable[int]) -> Caps:
    """Return what the policy's caps count from: 0 h, a fitting, the start of term (as ``groups`` counts).

    A start that is not on file may be the day of anything that showed the hours.
    """
    machine, term = claim_file.machine, policy.terms.term
    later = [clause for clause in (term.replacement, term.retrofit_kit) if clause is not None]
    from_fittings = policy.counts_component_hours or any(
        clause.term in ("new_from_fitting", "kit_only") for clause in later
    )
    begins = {0}
    if from_fittings:
        begins |= set(fitted_at)
    from_starts = term.hours_count_from == "start_of_term"
    if from_starts:
        begins |= {centihours(demonstration.hours) for demonstration in machine.demonstrations}
        if len(term_starts(policy, claim_file)) < len(_starts_of(policy)):
            begins |= {end for s in timeline.sightings for end in (s.hours.low, s.hours.high)}
    return Caps(policy.hour_thresholds, frozenset(begins), from_fittings, from_starts)


def term_starts(policy: CompiledPolicy, claim_file: ClaimFile) -> tuple[date, ...]:
    """Return the starts on file, one for each clause that counts from one, where the policy counts hours from there."""
    if policy.terms.term.hours_count_from != "start_of_term":
        return ()
    found = (earliest_start(starts, claim_file, policy.conventions.month_end) for starts in _starts_of(policy))
    return tuple(start[0] for start in found if start is not None)


def _starts_of(policy: CompiledPolicy) -> tuple[Starts, ...]:
    own = (carve_out.starts for carve_out in policy.terms.carve_outs if carve_out.starts is not None)
    return (policy.terms.term.starts, *own)


def candidates(low: int, high: int, breakpoints: Iterable[int], *, both_ends: bool = True) -> tuple[int, ...]:
    """Return the values worth trying: from each breakpoint on, the first value and (``both_ends``) the last one."""
    firsts = sorted({low, *(b for b in breakpoints if low < b <= high)})
    if not both_ends:
        return tuple(firsts)
    return tuple(sorted({*firsts, *(first - 1 for first in firsts[1:]), high}))
