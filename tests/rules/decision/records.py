"""Records as the tests of decisions write them."""

from collections.abc import Mapping
from typing import Any

Service = Mapping[str, Any]


def service(on: str, reading: float, task: str = "recurring") -> Service:
    """Return a service by a dealer of the maker, proven by an invoice."""
    return {"on": on, "reading": reading, "tasks": [task], "by": "authorised_dealer", "evidence": ["dealer_invoice"]}


BROKEN_IN: Mapping[str, Service] = {"b": service("2024-04-01", 50, "break_in")}
