"""What the benchmark reads off: claims a second, the time of each stage, worlds, outcomes and memory.

All times are CPU time of this process: what else runs on the machine does not count, though it may cool the caches.
"""

import gc
import resource
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import rules.adjudicate
import rules.coverage
from rules.adjudicate import Adjudicator
from rules.decision.seal import decision_bytes
from rules.open_facts import Explored, World
from schemas.claim_file import ClaimFile

STAGES = {
    "selection": (rules.coverage, "select"),
    "history": (rules.coverage, "build_timeline"),
    "measures": (rules.coverage, "measure"),
    "rule base": (rules.coverage, "find"),
    "allowance": (rules.coverage, "allow"),
    "settlement": (rules.coverage, "settled_versions"),
    "describing": (rules.adjudicate, "line_decision"),
    "derivation": (rules.adjudicate, "measures_of"),
    "sealing": (rules.adjudicate, "sealed"),
}


def seconds_for(
    adjudicator: Adjudicator,
    files: Sequence[ClaimFile],
    *,
    remedies: bool = False,
    digest_known: bool = False,
    outcomes: Counter[str] | None = None,
) -> float:
    """Return the CPU time from validated claim files to Decision bytes, with garbage collection.

    The claim file's own digest is part of it unless it is known, as where a file is decided once more under other
    policies. ``outcomes`` counts those of the lines, outside the time.
    """
    gc.collect()
    spent = 0.0
    for file in files:
        file.__dict__.pop("digest", None)
        if digest_known:
            assert file.digest
        begun = time.process_time()
        decision = adjudicator.decide(file, remedies=remedies)
        decision_bytes(decision)
        spent += time.process_time() - begun
        if outcomes is not None:
            outcomes.update(line.outcome for line in decision.lines)
    return spent


def rate(adjudicator: Adjudicator, files: Sequence[ClaimFile], *, remedies: bool = False) -> float:
    """Return claims a second of CPU time, one pass."""
    return len(files) / seconds_for(adjudicator, files, remedies=remedies)


def passes(adjudicator: Adjudicator, files: Sequence[ClaimFile], times: int = 3) -> tuple[float, float]:
    """Return the CPU seconds of the fastest of several passes over the same files, and the slowest's share above it."""
    found = [seconds_for(adjudicator, files) for _ in range(times)]
    return min(found), max(found) / min(found) - 1


def reading(files: Sequence[ClaimFile], times: int = 3) -> float:
    """Return the CPU seconds in which pydantic validates one of the claim files from its JSON, of the fastest pass."""
    texts = [file.model_dump_json(by_alias=True, exclude_defaults=True) for file in files]
    found = []
    for _ in range(times):
        begun = time.process_time()
        for text in texts:
            ClaimFile.model_validate_json(text)
        found.append((time.process_time() - begun) / len(files))
    return min(found)


@contextmanager
def timed_stages(spent: dict[str, float]) -> Iterator[None]:
    """Add up the CPU time of each stage while the block runs (stages nest nowhere)."""
    with _wrapped({place: _timed(stage, spent) for stage, place in STAGES.items()}):
        yield


@contextmanager
def counted_worlds(counts: list[int], facts: Counter[str], given_up: list[bool] | None = None) -> Iterator[None]:
    """Note how many worlds each exploration looks at while the block runs, and count the kinds of its open facts.

    ``given_up`` takes down of each whether there were too many, also in outline.
    """

    def counting(explore: Callable[..., Explored]) -> Callable[..., Explored]:
        def counted(evaluate: Callable[[World], Any], *args: Any, **kwargs: Any) -> Explored:
            explored = explore(evaluate, *args, **kwargs)
            counts.append(len(explored.results))
            if given_up is not None:
                given_up.append(not explored.complete and explored.outline is None)
            facts.update({fact.key.split(":")[0] for path, _ in explored.results for fact, _ in path})
            return explored

        return counted

    with _wrapped({(rules.adjudicate, "explore"): counting}):
        yield


@contextmanager
def _wrapped(wrappers: dict[tuple[Any, str], Callable[[Callable[..., Any]], Callable[..., Any]]]) -> Iterator[None]:
    """Put a wrapper round each function, named by where its caller looks it up, while the block runs."""
    kept: list[tuple[Any, str, Any]] = []
    for (owner, path), wrapper in wrappers.items():
        *outer, name = path.split(".")
        for part in outer:
            owner = getattr(owner, part)
        kept.append((owner, name, getattr(owner, name)))
        setattr(owner, name, wrapper(getattr(owner, name)))
    try:
        yield
    finally:
        for owner, name, function in kept:
            setattr(owner, name, function)


def _timed(stage: str, spent: dict[str, float]) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    def wrapper(function: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*args: Any, **kwargs: Any) -> Any:
            begun = time.process_time()
            try:
                return function(*args, **kwargs)
            finally:
                spent[stage] = spent.get(stage, 0.0) + time.process_time() - begun

        return timed

    return wrapper


def peak_memory() -> float:
    """Return the largest resident size of this process so far, in MB.

    Where the system tells it: ``ru_maxrss`` of a process that another one started begins with the size of that one.
    """
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text(encoding="ascii").splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
