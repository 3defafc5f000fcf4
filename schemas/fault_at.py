"""A fault that a validator finds in values which each are right: about one key of the model, with its way out."""

from collections.abc import Iterable

KeyPath = tuple[str | int, ...]


class FaultAt(ValueError):
    """What is wrong, the key that it is about, and the way out.

    ``key`` leads from the model that finds the fault, in the words of the document: ("term", "replacement"). A key that
    is not there is pointed at by the nearest one above it. Without a key, the fault is about the model as a whole.
    """

    def __init__(self, key: KeyPath, message: str, way_out: str) -> None:
        super().__init__(f"{message} {way_out}")
        self.key, self.message, self.way_out = key, message, way_out


class FaultsAt(ValueError):
    """Several faults of one model, so that one reading shows them all."""

    def __init__(self, faults: tuple[FaultAt, ...]) -> None:
        super().__init__(" ".join(map(str, faults)))
        self.faults = faults


def raise_all(faults: Iterable[FaultAt]) -> None:
    """Raise FaultsAt with these faults, if there are any."""
    found = tuple(faults)
    if found:
        raise FaultsAt(found)


def faults_of(error: BaseException | None) -> tuple[FaultAt, ...]:
    """Return the placed faults that an error tells of, none where it is of another kind."""
    if isinstance(error, FaultsAt):
        return error.faults
    return (error,) if isinstance(error, FaultAt) else ()
