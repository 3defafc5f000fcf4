"""Running a ruleset over the facts of one claim: the only module that touches the rules engine.

A rule base holds one ruleset, loaded once. Each run asserts facts, lets the rules fire until nothing follows any more,
and leaves the engine as empty as it was. Facts are flat objects of integers and short codes, their kind under ``k``;
what a claim really holds stays with the caller beside them. They are a set: two equal facts count as one.

    >>> definition = {
    ...     "elapsed": {"all": [{"m": {"$and": [{"k": "hours"}, {"$gt": {"run_hundredths": 250_000}}]}}],
    ...                 "run": "finding:hours_exceeded"},
    ...     "denied": {"all": [{"f": {"$and": [{"k": "finding"}, {"code": "hours_exceeded"}]}},
    ...                        {"l": {"$and": [{"k": "line"}, {"group": {"f": "group"}}]}}],
    ...                "run": "outcome:deny", "pri": 10}}
    >>> facts = [{"k": "line", "group": 1, "line": 1}, {"k": "line", "group": 2, "line": 2},
    ...          {"k": "hours", "group": 1, "run_hundredths": 251_300}]
    >>> def derive(firing):
    ...     if firing.action == "finding:hours_exceeded":
    ...         yield {"k": "finding", "code": "hours_exceeded", "group": firing.facts[0]["group"]}
    >>> with RuleBase("powertrain@2", definition) as rule_base:
    ...     trace = rule_base.run(facts, derive)
    >>> [(firing.action, firing.facts[-1]) for firing in trace]  # doctest: +NORMALIZE_WHITESPACE
    [('finding:hours_exceeded', {'k': 'hours', 'group': 1, 'run_hundredths': 251300}),
     ('outcome:deny', {'k': 'line', 'group': 1, 'line': 1})]

How the engine is used, each point against a fault of its own: rulesets and facts are checked before it sees them; one
session per handle, warmed by one firing and emptied by retraction; every return code checked; no host, no timers.
"""

import threading
import weakref
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from functools import lru_cache
from operator import itemgetter
from typing import Final

import rules.rule_base.engine_symbols  # noqa: F401 - before the engine, which does not load without it

# isort: split
import durable_rules_engine as engine
import orjson

from rules.rule_base.fact_check import Fact, RuleBaseError, UnsafeFact, Vocabulary
from rules.rule_base.ruleset_check import RulesetFault, check_ruleset
from rules.rule_base.ruleset_form import KIND, Definition, conditions_of, native_conditions
from schemas.frozen import quickly_made

__all__ = [
    "MAX_FACTS",
    "MAX_FIRINGS",
    "Derive",
    "EngineFault",
    "Fact",
    "Firing",
    "RuleBase",
    "RuleBaseError",
    "RunawayRules",
    "UnsafeFact",
    "UnsafeRuleset",
]

MAX_FACTS: Final = 5_000  # of one run, derived ones included
MAX_FIRINGS: Final = 5_000  # of one run

_SESSION: Final = "0"  # the one of facts that name none, which makes them shorter
_WARM_UP: Final = "_warm_up_"  # no name of a policy begins like this
_WARM_UP_RULE: Final = {"all": [{"m": {KIND: _WARM_UP}}]}
# Takes up each fact that meets no rule, and never fires. Without it such a fact changes the return code of its batch,
# and that code hides another one. It costs 0.15 µs a fact; facts of a kind in no rule are not asserted at all.
_CATCH_ALL: Final = {"all": [{"any": {"$ex": {KIND: 1}}}, {"never": {"_never_": 1}}]}


class UnsafeRuleset(RuleBaseError):
    """The ruleset holds constructs that the engine gets wrong; ``faults`` lists all of them."""

    def __init__(self, faults: tuple[RulesetFault, ...]) -> None:
        super().__init__("\n".join(map(str, faults)))
        self.faults = faults


class RunawayRules(RuleBaseError):
    """The rules do not come to rest: a run went past its bound of firings or facts."""


class EngineFault(RuleBaseError):
    """The engine reported an error, or answered what it should not."""


@quickly_made
@dataclass(frozen=True, slots=True)
class Firing:
    """One firing of a rule: the action named in its ``run``, and the matched facts in the order of its conditions."""

    rule: str
    action: str
    facts: tuple[Fact, ...]


Derive = Callable[[Firing], Iterable[Fact]]
_Ready = tuple[int, str, tuple[int, ...]]  # priority, rule, fact ids


@dataclass(frozen=True, slots=True)
class _LoadedRule:
    action: str
    priority: int
    aliases: tuple[str, ...]


@dataclass(slots=True)
class _Run:
    """What one run has seen so far."""

    types: dict[str, type]
    contents: set[bytes] = field(default_factory=set)
    asserted: list[Fact] = field(default_factory=list)  # the fact with id n at n - 1
    trace: list[tuple[_Ready, Firing]] = field(default_factory=list)


class RuleBase:
    """A loaded ruleset. Close it, or use it as a context manager; any thread may ask for a run, one runs at a time."""

    def __init__(self, name: str, definition: Definition, *, max_firings: int = MAX_FIRINGS) -> None:
        """Check and load a ruleset; ``name`` stands in its messages, ``max_firings`` bounds one run.

        Raises UnsafeRuleset with every fault found.
        """
        faults = check_ruleset(name, definition)
        if faults:
            raise UnsafeRuleset(faults)
        self.name = name
        self._max_firings = max_firings
        self._rules = {
            rule_name: _LoadedRule(rule["run"], rule.get("pri", 0), tuple(alias for alias, _ in conditions_of(rule)))
            for rule_name, rule in definition.items()
        }
        self._kinds = {tests[0][KIND] for rule in definition.values() for _, tests in conditions_of(rule)}
        self._vocabulary = Vocabulary(name, definition)
        self._lock = threading.RLock()
        self._running = False
        try:
            self._handle: int = engine.create_ruleset(name, _native(definition))
            self._session = _warm_up(self._handle)
        except engine.error as error:
            raise EngineFault(
                f"{name}: the engine does not load the ruleset ({error}) although it passed the check"
            ) from error
        # Only now: to delete a session that never fired ends the process.
        self._release = weakref.finalize(self, _delete, self._handle)

    @property
    def closed(self) -> bool:
        return not self._release.alive

    def run(self, facts: Iterable[Fact], derive: Derive) -> tuple[Firing, ...]:
        """Return every firing that follows from the facts, sorted by priority, rule and matched facts.

        ``derive`` returns the facts that a firing adds. It must depend on the firing alone, and is called once for
        each, in rounds: what the given facts fire, then what the derived facts add, and so on. A fact that is there
        already is not asserted again. The order of ``facts`` plays no part; the matched facts are the caller's objects.

        Raises UnsafeFact, RunawayRules, EngineFault, or what ``derive`` raised; the next run starts afresh then too.
        """
        with self._lock:
            if self.closed:
                raise RuleBaseError(f"{self.name} is closed; load the ruleset again")
            if self._running:
                raise RuleBaseError(f"{self.name} is running; derive facts from the firing alone, without a run of it")
            run = _Run(self._vocabulary.types())
            self._running = True
            try:
                firings = self._fire(run, facts, derive)
                self._retract(len(run.asserted))
            except BaseException as error:
                if run.asserted:
                    self._start_afresh()
                if isinstance(error, engine.error):
                    raise EngineFault(f"{self.name}: {error}; its facts were discarded") from error
                raise
            finally:
                self._running = False
        return firings

    def close(self) -> None:
        """Free the engine's memory; waits for a run in another thread. To close twice is harmless."""
        with self._lock:
            if self._running:
                raise RuleBaseError(f"{self.name} is running; close it when the run is over")
            self._release()

    def __enter__(self) -> "RuleBase":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _fire(self, run: _Run, facts: Iterable[Fact], derive: Derive) -> tuple[Firing, ...]:
        # In rounds, so that the ids of derived facts do not depend on the order in which the engine fires.
        while batch := self._admit(run, facts):
            ready = self._ready(run, self._assert(batch))
            fired = [
                Firing(rule, self._rules[rule].action, tuple([run.asserted[id_ - 1] for id_ in ids]))
                for _, rule, ids in ready
            ]
            run.trace += zip(ready, fired, strict=True)
            facts = self._derived(fired, derive)
        run.trace.sort(key=itemgetter(0))
        return tuple([firing for _, firing in run.trace])

    def _derived(self, fired: Iterable[Firing], derive: Derive) -> list[Fact]:
        facts: list[Fact] = []
        for firing in fired:
            try:
                facts += derive(firing)
            except Exception as error:
                error.add_note(f"{self.name}: while deriving facts from a firing of rule {firing.rule}")
                raise
        return facts

    def _admit(self, run: _Run, facts: Iterable[Fact]) -> str:
        """Return those of the facts that are new and of a kind in the rules, as JSON, with ids in order of content."""
        contents = self._vocabulary.contents(facts, run.types)
        if not contents:
            return ""
        fresh = sorted(contents.keys() - run.contents)
        run.contents.update(fresh)
        if len(run.contents) > MAX_FACTS:
            raise self._runaway(run)
        admitted = [content for content in fresh if contents[content][KIND] in self._kinds]
        first_id = len(run.asserted) + 1
        run.asserted += [contents[content] for content in admitted]
        return b",".join(
            [b'{"id":%d,%b' % (id_, content[1:]) for id_, content in enumerate(admitted, first_id)]
        ).decode()

    def _assert(self, batch: str) -> int:
        session: int
        code, session = engine.assert_facts(self._handle, f"[{batch}]")
        if code or session != self._session:
            raise EngineFault(f"{self.name}: the engine answered code {code}, session {session} to facts")
        return session

    def _ready(self, run: _Run, session: int) -> list[_Ready]:
        """Let the engine fire until it rests, and return the firings, sorted."""
        ready: list[_Ready] = []
        complete, handle, most = engine.complete_and_start_action, self._handle, self._max_firings - len(run.trace)
        started = engine.start_action_for_state(handle, session)
        message = started and started[1]
        while message:
            ((name, matched),) = orjson.loads(message).items()
            rule = self._rules[name]
            ready.append((rule.priority, name, tuple([matched[alias]["id"] for alias in rule.aliases])))
            if len(ready) > most:
                raise self._runaway(run, ready)
            message = complete(handle, session)
        return sorted(ready)

    def _runaway(self, run: _Run, ready: Iterable[_Ready] = ()) -> RunawayRules:
        fired = Counter([rule for (_, rule, _), _ in run.trace] + [rule for _, rule, _ in ready])
        (rule, times), *_ = [*fired.most_common(1), ("none", 0)]
        return RunawayRules(
            f"{self.name}: more than {self._max_firings} firings or {MAX_FACTS} facts in one run; rule {rule} alone "
            f"fired {times} times. Way out: let it derive nothing that leads back to it, or give the run fewer facts."
        )

    def _retract(self, count: int) -> None:
        if count:
            code, _ = engine.retract_facts(self._handle, _retraction(count))
            if code:
                raise EngineFault(f"{self.name}: the engine answered code {code} to the retraction of {count} facts")

    def _start_afresh(self) -> None:
        try:
            engine.delete_state(self._handle, _SESSION)
            self._session = _warm_up(self._handle)
        except (engine.error, EngineFault, MemoryError):
            self._release()


def _native(definition: Definition) -> str:
    rules = {
        name: {
            "all": [{alias: {"$and": tests}} for alias, tests in native_conditions(rule)],
            "pri": rule.get("pri", 0),
        }
        for name, rule in definition.items()
    }
    return orjson.dumps(rules | {_WARM_UP: _WARM_UP_RULE, "_catch_all_": _CATCH_ALL}, default=dict).decode()


def _warm_up(handle: int) -> int:
    """Fire once in the session of the handle, leave it empty, and return its number."""
    session: int
    asserted, session = engine.assert_fact(handle, f'{{"id":1,"{KIND}":"{_WARM_UP}"}}')
    started = engine.start_action_for_state(handle, session)
    more = engine.complete_and_start_action(handle, session) if started else None
    retracted, _ = engine.retract_fact(handle, '{"id":1}')
    if asserted or not started or _WARM_UP not in orjson.loads(started[1]) or more or retracted:
        raise EngineFault(f"the engine warmed up with codes {asserted} and {retracted}, firing {started} and {more}")
    return session


def _delete(handle: int) -> None:
    with suppress(engine.error):  # the session is gone already when starting afresh failed half way
        engine.delete_state(handle, _SESSION)
    engine.delete_ruleset(handle)  # after its session, which would not be freed otherwise


@lru_cache(maxsize=64)
def _retraction(count: int) -> str:
    return orjson.dumps([{"id": id_} for id_ in range(1, count + 1)]).decode()
