"""Where the files that ship with the project lie: beside the packages, in a checkout as in a wheel."""

from pathlib import Path

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
READY_MADE_CONVENTIONS = FIXTURES / "conventions"
DEMO = FIXTURES / "demo"
