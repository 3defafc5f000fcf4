"""How fast a claim is decided, and beside what: run ``python -m tests.benchmarks.adjudicate`` (about six minutes).

    --claims 20000           claims of the rate; a tenth of them (2,000 at most) for each comparison
    --memory-claims 200000   claims that one adjudicator decides while its memory is watched, in a process of its own
    --doubt-seconds 1        CPU seconds for each kind of doubtful fact on each length of history; 0 leaves them out
    --policies fixtures/demo the folder whose policies the claims are drawn for

The claims are drawn so that every fact is known; how many had an open fact all the same is printed, with the outcomes.
A rate is claims a second of CPU time from a validated claim file to Decision bytes with all digests, without remedies.
Ratios compare with the driver on the same claims in the same run. Nothing here fails on a figure.
"""

import argparse
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import timedelta
from multiprocessing import get_context
from pathlib import Path

from rules.adjudicate import Adjudicator
from rules.policy_book.book import PolicyBook, build_book
from schemas.claim_file import ClaimFile
from schemas.conventions import Conventions
from schemas.policy.document import CoveragePolicy
from service.policy_files import read_policy_source
from tests.benchmarks.doubts import DOUBTS, cost_of
from tests.benchmarks.engines import HostAdjudicator, PlainAdjudicator
from tests.benchmarks.measuring import counted_worlds, passes, peak_memory, rate, reading, seconds_for, timed_stages
from tests.generated_known import KnownClaimFiles

FIXTURES = Path(__file__).parents[2] / "fixtures"
CHUNK = 1000  # claim files held at a time
HISTORIES = (10, 50, 100, 200)
ROUNDS = 5  # how often the memory run decides a drawn claim, each time as of another day


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
    ]
    return build_book(copies, conventions)


def drawn(documents: Sequence[CoveragePolicy], claims: int) -> Iterator[list[ClaimFile]]:
    """Yield chunks of claim files with 3 to 5 lines and 10 services, every fact known."""
    generator, chooser = KnownClaimFiles(documents, seed=20260101), random.Random(1)
    for done in range(0, claims, CHUNK):
        size = min(CHUNK, claims - done)
        yield [generator.draw(lines=chooser.randint(3, 5), services=10) for _ in range(size)]


def row(name: str, seconds: float, beside: float, words: str = "") -> None:
    """Print the time of one claim, as a rate, and as the ratio of its rate to the one beside it."""
    print(
        f"  {name:<32}{1 / seconds:9,.0f}{seconds * 1e6:10,.0f}{beside / seconds:9.2f}   {words}".rstrip(), flush=True
    )


def headline(adjudicator: Adjudicator, documents: Sequence[CoveragePolicy], claims: int) -> None:
    """Print what the claims are like, and the rate over all of them."""
    counts, kinds, outcomes = list[int](), Counter[str](), Counter[str]()
    seconds, apart = 0.0, list[float]()
    for files in drawn(documents, claims):
        with counted_worlds(counts, kinds):
            first = seconds_for(adjudicator, files, outcomes=outcomes)
        second = seconds_for(adjudicator, files)
        seconds += min(first, second)
        apart.append(abs(first - second) / min(first, second))
    still_open, lines = [n for n in counts if n > 1], outcomes.total()
    print(f"{len(counts):,} claims, 3 to 5 lines, 10 services, {len(documents)} policy versions, one core")
    print(f"  outcomes of {lines:,} lines: " + ", ".join(f"{o} {n / lines:.0%}" for o, n in outcomes.most_common()))
    print(
        f"  one world: {1 - len(still_open) / len(counts):.2%} of the claims; with an open fact: {len(still_open):,}"
        + (f", {sum(still_open):,} worlds, for {dict(kinds)}" if still_open else "")
    )
    apart.sort()
    print(f"\n  {'':<32}{'claims/s':>9}{'µs':>10}{'ratio':>9}")
    noise = (
        f"two passes over the same claims: {apart[len(apart) // 2]:.0%} apart at the median, {apart[-1]:.0%} at most"
    )
    row("driver", seconds / len(counts), seconds / len(counts), noise)


def stages(adjudicator: Adjudicator, files: Sequence[ClaimFile], each: float) -> None:
    """Print the time of each stage as a share of a claim's; what no stage took is what holds them together."""
    spent: dict[str, float] = {}
    with timed_stages(spent):
        whole = seconds_for(adjudicator, files) / len(files)
    rest = {name: seconds / len(files) for name, seconds in spent.items()}
    for name, seconds in (*rest.items(), ("between the stages", whole - sum(rest.values()))):
        print(f"    {name:<30}{'':9}{seconds * 1e6:10,.0f}{seconds / whole:9.0%}")
    known = min(seconds_for(adjudicator, files, digest_known=True) for _ in range(2)) / len(files)
    row("driver, the file's digest known", known, each, "decided once more, or under other policies")
    with_remedies = seconds_for(adjudicator, files, remedies=True) / len(files)
    row("driver, with remedies", with_remedies, each)


def peers(book: PolicyBook, adjudicator: Adjudicator, files: Sequence[ClaimFile], each: float) -> None:
    """Print the same adjudication with other engines in the driver's place, and whether they decide alike."""
    expected = [adjudicator.decide(file, remedies=False).digests.outcome for file in files]
    for name, other in (
        ("durable-rules' own Host", HostAdjudicator(book)),
        ("plain evaluator of the tests", PlainAdjudicator(book)),
    ):
        with other:
            found = [other.decide(file, remedies=False).digests.outcome for file in files]
            alike = sum(mine == theirs for mine, theirs in zip(expected, found, strict=True))
            row(name, passes(other, files, 2)[0] / len(files), each, f"{alike:,} of {len(files):,} decided alike")


def growth(documents: Sequence[CoveragePolicy], conventions: Sequence[Conventions], files: Sequence[ClaimFile]) -> None:
    """Print the time of a claim as the policies for its machine grow in number, and as its history does."""
    print(f"\n  {'cost as the policies grow':<32}{'claims/s':>9}{'µs':>10}{'times':>9}")
    first = 0.0
    for times in (1, 2, 4):
        with Adjudicator(many(documents, conventions, times)) as adjudicator:
            rate(adjudicator, files[:50])
            found = passes(adjudicator, files, 2)[0] / len(files)
        first = first or found
        print(f"  policies × {times:<21}{1 / found:9,.0f}{found * 1e6:10,.0f}{found / first:9.2f}")
    print(
        f"\n  {'cost as the history grows':<32}{'claims/s':>9}{'µs':>10}{'times':>9}   the same claims, each fact known"
    )
    first = 0.0
    with Adjudicator(build_book(documents, conventions)) as adjudicator:
        for services, readings in (*((n, None) for n in HISTORIES), (HISTORIES[-1], HISTORIES[-1])):
            generator = KnownClaimFiles(documents, 7, readings)
            longer = [generator.draw(lines=4, services=services) for _ in range(max(len(files) // 4, 1))]
            counts = list[int]()
            with counted_worlds(counts, Counter()):
                rate(adjudicator, longer)
            found = passes(adjudicator, longer)[0] / len(longer)
            first = first or found
            name = f"{services} services" + (f", {readings} readings" if readings is not None else "")
            words = (
                f"{found / first / (services / HISTORIES[0]):.2f} of linear; {sum(n > 1 for n in counts)} claims open"
            )
            print(f"  {name:<32}{1 / found:9,.0f}{found * 1e6:10,.0f}{found / first:9.2f}   {words}", flush=True)


def doubts(documents: Sequence[CoveragePolicy], conventions: Sequence[Conventions], seconds: float) -> None:
    """Print what one doubtful fact costs on short and long histories."""
    lengths = (HISTORIES[0], HISTORIES[-1])
    print("\n  one doubtful fact: worlds a claim, share given up, milliseconds a claim (claims looked at)")
    print(f"  {'':<32}" + "".join(f"{f'{n} services':>34}" for n in lengths))
    with Adjudicator(build_book(documents, conventions)) as adjudicator:
        for name, spoil in {"every fact known": None, **DOUBTS}.items():
            costs = [cost_of(spoil, adjudicator, documents, n, seconds) for n in lengths]
            cells = [
                f"{c.worlds:8.1f} {c.given_up:5.0%} {c.milliseconds:10,.1f} ({c.claims:3})" if c else "none drawn"
                for c in costs
            ]
            print(f"  {name:<32}" + "".join(f"{cell:>34}" for cell in cells), flush=True)


def memory(place: Path, claims: int) -> None:
    """Print the peak of the resident size while one adjudicator decides many claims, each drawn one a few times."""
    documents, conventions = policies(place)
    generator = KnownClaimFiles(documents, seed=3)
    print(f"\n  {'memory':<30}{'peak MB':>9}   {claims:,} decisions, {CHUNK // 2} claim files held at a time")
    done, shown = 0, 0
    with Adjudicator(build_book(documents, conventions)) as adjudicator:
        while done < claims:
            files = [generator.draw(lines=4, services=10) for _ in range(CHUNK // 2)]
            for day in range(ROUNDS):
                for file in files:
                    later = file.model_copy(update={"decided_on": file.decided_on + timedelta(days=day)})
                    later.__dict__.pop("digest", None)
                    adjudicator.decide(later, remedies=False)
            done += len(files) * ROUNDS
            if done >= shown:
                print(f"  after {done:>9,} decisions     {peak_memory():9.0f}", flush=True)
                shown += max(claims // 8, 1)
    print(f"  after {done:>9,} decisions     {peak_memory():9.0f}", flush=True)


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--claims", type=int, default=20_000)
    parser.add_argument("--memory-claims", type=int, default=200_000)
    parser.add_argument("--doubt-seconds", type=float, default=1.0)
    parser.add_argument("--policies", type=Path, default=FIXTURES / "demo")
    options = parser.parse_args(arguments)
    documents, conventions = policies(options.policies)
    book = build_book(documents, conventions)
    with Adjudicator(book) as adjudicator:
        headline(adjudicator, documents, options.claims)
        few = [file for chunk in drawn(documents, min(max(options.claims // 10, 1), 2000)) for file in chunk]
        each = passes(adjudicator, few)[0] / len(few)
        row("driver, on the claims below", each, each, f"{len(few):,} claims")
        row("pydantic reading them from JSON", reading(few), each, "what comes before: a yardstick for the machine")
        stages(adjudicator, few, each)
        peers(book, adjudicator, few, each)
    growth(documents, conventions, few)
    del few  # what is held slows every collection of garbage
    if options.doubt_seconds:
        doubts(documents, conventions, options.doubt_seconds)
    if options.memory_claims:
        apart = get_context("spawn").Process(target=memory, args=(options.policies, options.memory_claims))
        apart.start()
        apart.join()


if __name__ == "__main__":
    main()
