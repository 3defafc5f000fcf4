"""The loaded rule bases of many policy versions: one for each digest, the latest used ones kept."""

import threading
from collections import OrderedDict

from rules.rule_base.driver import RuleBase
from rules.rule_base.fact_check import RuleBaseError
from rules.rule_base.ruleset_form import Definition


class RuleBaseCache:
    """Rule bases by policy digest; beyond ``max_handles`` the one asked for longest ago is let go.

    Letting go frees the engine's memory at once, or, if another thread still has a run on it, when that run is over.
    """

    def __init__(self, max_handles: int) -> None:
        self._max_handles = max_handles
        self._rule_bases: OrderedDict[str, RuleBase] = OrderedDict()
        self._lock = threading.Lock()
        self._closed = False

    def get(self, digest: str, name: str, definition: Definition) -> RuleBase:
        """Return the rule base of a policy version, loaded from its definition when it is not there.

        Raises UnsafeRuleset as RuleBase does. Keep the result for the runs at hand only, and leave closing it to the
        cache.
        """
        with self._lock:
            if self._closed:
                raise RuleBaseError(f"{name} is asked of a closed cache; open a new one")
            rule_base = self._rule_bases.get(digest)
            if rule_base is None or rule_base.closed:  # closed: it could not start afresh after an error
                rule_base = self._rule_bases[digest] = RuleBase(name, definition)
            self._rule_bases.move_to_end(digest)
            while len(self._rule_bases) > self._max_handles:
                self._rule_bases.popitem(last=False)
        return rule_base

    def close(self) -> None:
        """Let all rule bases go; closing twice is harmless."""
        with self._lock:
            self._closed = True
            self._rule_bases.clear()

    def __len__(self) -> int:
        return len(self._rule_bases)
