"""How fast a claim is decided, and beside what: run ``python -m tests.benchmarks.adjudicate``.

Prints claims a second of CPU time from a validated claim file to Decision bytes with digests, without remedies; the
share of each stage; the same through durable-rules' own Host and through the plain evaluator of the tests, in one run;
remedies apart; memory; and how the cost grows with the policies and with the history. Nothing here fails on a figure.
"""

import argparse
import gc
import random
import resource
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import deepcopy
from pathlib import Path
from typing import Any

from durable.engine import Host

import rules.adjudicate
import rules.coverage
from rules.adjudicate import Adjudicator
from rules.decision.assemble import decision_bytes
from rules.policy_book.book import PolicyBook, build_book
from rules.policy_book.compiled import CompiledPolicy
from rules.rule_base.driver import Derive, Firing
from rules.rule_base.fact_check import Fact
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from service.policy_files import read_policy_source
from tests.generation import ClaimFiles
from tests.rules.rule_base.plain_evaluator import evaluate

FIXTURES = Path(__file__).parents[2] / "fixtures"
STAGES = {
    "selection": (rules.coverage, "select"),
    "history": (rules.coverage, "build_timeline"),
    "measures": (rules.coverage, "measure"),
    "rule base": (rules.coverage, "find"),
    "allowance": (rules.coverage, "allow"),
    "settlement": (rules.coverage, "Settlement.settle"),
    "describing": (rules.adjudicate, "line_decision"),
    "derivation": (rules.adjudicate, "measures_of"),
    "sealing": (rules.adjudicate, "sealed"),
}


def policies(place: Path) -> tuple[list[CoveragePolicy], list[Conventions]]:
    """Return the policies and conventions below ``place``."""
    source = read_policy_source(place, FIXTURES / "conventions")
    return (
        [CoveragePolicy.model_validate(tree) for tree in source.policies.values()],
        [Conventions.model_validate(tree) for tree in source.conventions.values()],
    )


def many(documents: Sequence[CoveragePolicy], conventions: Sequence[Conventions], times: int) -> PolicyBook:
    """Return a book in which every policy stands ``times`` times under other names, for the same machines."""
    copies = [
        document.model_copy(update={"policy": f"{document.policy}-{n}" if n else document.policy})
        for document in documents
        for n in range(times)
        if not n or not document.services
    ]
    return build_book(copies, conventions)


def rate(adjudicator: Adjudicator, files: Sequence[ClaimFile], remedies: bool = False) -> float:
    """Return claims a second of CPU time, garbage collection as the interpreter has it."""
    gc.collect()
    begun = time.process_time()
    for file in files:
        file.__dict__.pop("digest", None)  # the input digest is part of what is measured
        decision_bytes(adjudicator.decide(file, remedies=remedies))
    return len(files) / (time.process_time() - begun)


class _HostActions(Host):  # type: ignore[misc]
    """durable-rules' own driver, without its timer threads, which would go on after the benchmark."""

    def __init__(self, definitions: Mapping[str, Any]) -> None:
        self.fired: list[Firing] = []
        self.derive: Derive = lambda _: ()
        super().__init__(definitions)

    def _run(self) -> None:
        return

    def get_action(self, action_name: str) -> Callable[[Any], None]:
        def act(c: Any) -> None:
            names = [name for name in c._m if not name.startswith("$")] if isinstance(c._m, dict) else []
            matched = tuple(dict(c._m[name]) for name in names) if names else (dict(c.m._d),)
            firing = Firing("", action_name, matched)
            self.fired.append(firing)
            for fact in self.derive(firing):
                c.assert_fact({**fact, "id": len(self.fired) * 100 + 1})

        return act


class HostAdjudicator(Adjudicator):
    """The same adjudication with the library's Host in the driver's place (its firings are counted, not used)."""

    def __init__(self, book: PolicyBook) -> None:
        super().__init__(book)
        self._hosts: dict[str, _HostActions] = {}
        self._number = 0

    def fire(self, policy: CompiledPolicy, facts: Sequence[Fact], derive: Derive) -> tuple[Firing, ...]:
        host = self._hosts.get(policy.digest)
        if host is None:
            catch_all = {"all": [{"any": {"$ex": {"k": 1}}}, {"never": {"_never_": 1}}], "run": "never"}
            host = self._hosts[policy.digest] = _HostActions(
                {policy.digest: deepcopy({**policy.ruleset, "catch_all": catch_all})}
            )
        host.fired, host.derive = [], derive
        self._number += 1
        sid = f"s{self._number % 8}"
        host.assert_facts(policy.digest, [{**fact, "id": i, "sid": sid} for i, fact in enumerate(facts, 1)])
        host.delete_state(policy.digest, sid)
        return super().fire(policy, facts, derive)


class PlainAdjudicator(Adjudicator):
    """The same adjudication with the tests' plain evaluator doing the rules' work once more."""

    def fire(self, policy: CompiledPolicy, facts: Sequence[Fact], derive: Derive) -> tuple[Firing, ...]:
        evaluate(policy.ruleset, facts, lambda action, matched: derive(Firing("", action, tuple(matched))))
        return super().fire(policy, facts, derive)


@contextmanager
def timed_stages(spent: dict[str, float]) -> Iterator[None]:
    """Add up the CPU time of each stage while the block runs (stages nest nowhere)."""
    kept: list[tuple[Any, str, Any]] = []
    for stage, (module, name) in STAGES.items():
        owner = module
        *outer, last = name.split(".")
        for part in outer:
            owner = getattr(owner, part)
        kept.append((owner, last, getattr(owner, last)))
        setattr(owner, last, _timed(getattr(owner, last), stage, spent))
    try:
        yield
    finally:
        for owner, name, function in kept:
            setattr(owner, name, function)


def _timed(function: Callable[..., Any], stage: str, spent: dict[str, float]) -> Callable[..., Any]:
    def timed(*args: Any, **kwargs: Any) -> Any:
        begun = time.process_time()
        try:
            return function(*args, **kwargs)
        finally:
            spent[stage] = spent.get(stage, 0.0) + time.process_time() - begun

    return timed


def peak_memory() -> float:
    """Return the largest resident size of this process so far, in MB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--claims", type=int, default=20_000)
    parser.add_argument("--memory-claims", type=int, default=200_000, help="claims of the memory run")
    parser.add_argument("--policies", type=Path, default=FIXTURES / "demo")
    options = parser.parse_args()
    documents, conventions = policies(options.policies)
    book = build_book(documents, conventions)
    generator = ClaimFiles(documents, seed=20260101)
    chooser = random.Random(1)
    files = [generator.draw(lines=chooser.randint(3, 5), services=10) for _ in range(options.claims)]
    few = files[: max(options.claims // 10, 1)]
    with Adjudicator(book) as adjudicator:
        rate(adjudicator, few)
        ours = rate(adjudicator, files)
        print(f"{len(files):,} claims, 3 to 5 lines, 10 services, {len(documents)} policy versions, one core")
        print(f"  driver                     {ours:8,.0f} claims/s    1.00")
        spent: dict[str, float] = {}
        with timed_stages(spent):
            whole = len(few) / rate(adjudicator, few)
        for stage, seconds in spent.items():
            print(f"    {stage:<22} {seconds / len(few) * 1e6:8.0f} µs    {seconds / whole:5.0%}")
        with_remedies = rate(adjudicator, few, remedies=True)
        print(f"  with remedies              {with_remedies:8,.0f} claims/s    {with_remedies / ours:.2f}")
    compare("durable-rules Host besides", HostAdjudicator(book), few, ours)
    compare("plain evaluator besides", PlainAdjudicator(book), few, ours)
    growth(documents, conventions, few, ours)
    memory(book, generator, options.memory_claims)


def compare(name: str, other: Adjudicator, files: Sequence[ClaimFile], ours: float) -> None:
    """Print what one more evaluation of the rules costs in another engine: its own time is the difference."""
    with other:
        rate(other, files[:50])
        both = rate(other, files)
    own = 1 / both - 1 / ours
    print(f"  {name:<26} {both:8,.0f} claims/s    {both / ours:.2f}    its own part {own * 1e6:,.0f} µs a claim")


def growth(
    documents: Sequence[CoveragePolicy], conventions: Sequence[Conventions], files: Sequence[ClaimFile], ours: float
) -> None:
    """Print the rate with two and four times the policies, and with longer histories."""
    for times in (2, 4):
        with Adjudicator(many(documents, conventions, times)) as adjudicator:
            rate(adjudicator, files[:50])
            found = rate(adjudicator, files)
        print(f"  policies × {times}               {found:8,.0f} claims/s    {found / ours:.2f}")
    generator = ClaimFiles(documents, seed=7)
    with Adjudicator(build_book(documents, conventions)) as adjudicator:
        for services in (10, 50, 100, 200):
            drawn = [generator.draw(lines=4, services=services) for _ in range(max(len(files) // 4, 1))]
            rate(adjudicator, drawn[:20])
            found = rate(adjudicator, drawn)
            print(f"  history of {services:>3} records     {found:8,.0f} claims/s    {1e6 / found:,.0f} µs a claim")


def memory(book: PolicyBook, generator: ClaimFiles, claims: int) -> None:
    """Print the resident size while many claims are decided by one adjudicator."""
    files = [generator.draw(lines=4, services=10) for _ in range(500)]
    with Adjudicator(book) as adjudicator:
        for done in range(0, claims, len(files)):
            for file in files:
                adjudicator.decide(file, remedies=False)
            if done % (max(claims // 4, len(files)) // len(files) * len(files)) == 0:
                print(f"  after {done + len(files):>8,} claims        peak {peak_memory():6.0f} MB")


if __name__ == "__main__":
    main()
