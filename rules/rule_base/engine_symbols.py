"""To be imported before the rules engine: from Python 3.13 on, it defines a name that the engine refers to.

The engine refers to ``PyEval_CallObject``, which Python 3.13 removed, and unless it was built with another name for it,
it does not load without one. The C module beside this one defines it, and is made visible here to every library of the
process. Under earlier versions of Python nothing is done.
"""

import ctypes
import importlib
import sys

_MODULE = "rules.rule_base._engine_symbols"


def _supply() -> None:
    try:
        symbols = importlib.import_module(_MODULE)
    except ModuleNotFoundError:
        version = f"{sys.version_info.major}.{sys.version_info.minor}"
        raise ImportError(
            f"{_MODULE} was not built for Python {version}, and the rules engine needs it from Python 3.13 on. "
            f"Way out: run `{sys.executable} -m pip install -e .` in the directory of pyproject.toml (it needs a C "
            f"compiler and Python's headers), or use Python 3.11 or 3.12.",
            name=_MODULE,
        ) from None
    # Imported modules keep their symbols to themselves; to open the same library once more this way shares them.
    ctypes.CDLL(symbols.__file__, mode=ctypes.RTLD_GLOBAL)


if sys.version_info >= (3, 13):
    _supply()
