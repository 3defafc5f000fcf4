"""The name that Python 3.13 took away from the rules engine, and what stands in for it."""

import subprocess
import sys

import pytest

from rules.rule_base import engine_symbols

pytestmark = pytest.mark.fast

TAKEN_AWAY = sys.version_info >= (3, 13)

BARE = "import durable_rules_engine; print('loaded')"
DRIVEN = "import sys, rules.rule_base.driver; print('rules.rule_base._engine_symbols' in sys.modules)"

# The driver asks for no call back; whoever does must be served or refused, and not end the process.
CALLED_BACK = """
import json
import rules.rule_base.engine_symbols
import durable_rules_engine as engine
calls = []
handle = engine.create_ruleset("bare", json.dumps({"r": {"all": [{"m": {"k": "a"}}]}}))
engine.set_store_message_callback(handle, lambda *arguments: calls.append(arguments[:3]) or 0)
try:
    engine.assert_fact(handle, '{"id": 7, "sid": "s", "k": "a"}')
except Exception:
    print("refused", calls)
else:
    print("called", calls[0])
"""


def run(script: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=30, check=False)


def test_the_bare_engine_misses_nothing_or_just_the_name_that_was_taken_away() -> None:
    """When an upgrade of the engine mends this, the C module can go."""
    bare = run(BARE)
    built_with_another_name = bare.stdout == "loaded\n"
    assert built_with_another_name or (TAKEN_AWAY and bare.stderr.rstrip().endswith("PyEval_CallObject"))


def test_a_call_back_is_served_or_refused_and_never_ends_the_process() -> None:
    can_call_back = run(BARE).stdout == "loaded\n"
    answer = run(CALLED_BACK)
    assert (answer.returncode, answer.stderr) == (0, "")
    assert answer.stdout == ("called ('bare', 's', '7')\n" if can_call_back else "refused []\n")


def test_the_driver_loads_the_c_module_where_the_name_was_taken_away_and_nowhere_else() -> None:
    assert run(DRIVEN).stdout == f"{TAKEN_AWAY}\n"


def test_a_checkout_that_was_not_installed_is_told_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "rules.rule_base._engine_symbols", None)
    with pytest.raises(ImportError, match=r"was not built for Python 3\.\d+") as caught:
        engine_symbols._supply()
    assert f"{sys.executable} -m pip install -e ." in str(caught.value)
    assert "or use Python 3.11 or 3.12" in str(caught.value)
