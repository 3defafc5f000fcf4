"""Text files in and out: read with faults a person can act on, written so that a reader never sees half a file."""

import os
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar, overload

from pydantic import BaseModel, TypeAdapter

from schemas.documents import DocumentRefused, Fault, ParsedDocument, parse_document, validated

SUFFIXES = (".yaml", ".yml", ".json")
_SHEETS = (".csv", ".tsv", ".xls", ".xlsx", ".ods")

Model = TypeVar("Model", bound=BaseModel)
Value = TypeVar("Value")


class InputRefused(Exception):
    """Input files that are not taken; ``faults`` has at least one entry, in the order of files and lines."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(dict.fromkeys(faults), key=lambda f: (f.file, f.line, f.column or 0)))
        super().__init__("\n".join(str(fault) for fault in self.faults))


def shown_path(path: Path) -> Path:
    """Return a path that works from here, as short as it can be."""
    here = Path.cwd()
    whole = path.absolute()
    return whole.relative_to(here) if whole.is_relative_to(here) else path


def refused(file: Path, message: str, way_out: str) -> InputRefused:
    """Return the refusal of a file as a whole."""
    return InputRefused([Fault(str(shown_path(file)), 1, None, "", message, way_out)])


def read_document(file: Path) -> ParsedDocument:
    """Return the parsed document of a file; raises InputRefused for a file that cannot be read or is no document."""
    if file.suffix.lower() in _SHEETS and file.is_file():
        kind = file.suffix.removeprefix(".").upper()
        raise refused(file, f"{kind} is not read here.", "Write its rows as a list in YAML or JSON.")
    if file.is_fifo() and not file.is_relative_to("/dev"):  # a shell's own pipes lie there, and have a writer
        raise refused(file, "this is a pipe, which may never end.", "Name a file.")
    try:
        data = file.read_bytes()
    except FileNotFoundError:
        raise refused(file, "there is no such file.", "Check the path.") from None
    except IsADirectoryError:
        raise refused(file, "this is a directory.", "Name a file in it.") from None
    except OSError as error:
        raise refused(file, f"the file cannot be read: {error.strerror}.", "Check its permissions.") from None
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        message = f"byte 0x{data[error.start]:02x} is not UTF-8."
        raise InputRefused([Fault(str(shown_path(file)), line, None, "", message, "Save the file as UTF-8.")]) from None
    try:
        return parse_document(text, str(shown_path(file)))
    except DocumentRefused as error:
        raise InputRefused(error.faults) from error


@overload
def read_as(model: type[Model], file: Path) -> Model: ...
@overload
def read_as(model: TypeAdapter[Value], file: Path) -> Value: ...
def read_as(model: Any, file: Path) -> Any:
    """Return a file as an instance of ``model``; raises InputRefused with every fault."""
    return checked(model, read_document(file))


@overload
def checked(model: type[Model], document: ParsedDocument) -> Model: ...
@overload
def checked(model: TypeAdapter[Value], document: ParsedDocument) -> Value: ...
def checked(model: Any, document: ParsedDocument) -> Any:
    """Return a parsed document as an instance of ``model``; raises InputRefused with every fault."""
    try:
        return validated(model, document)
    except DocumentRefused as error:
        raise InputRefused(error.faults) from error


def document_files(*places: Path) -> Iterator[Path]:
    """Yield the documents in these files and directories, by suffix, in the order of their paths, each once.

    Raises InputRefused for a place that does not exist.
    """
    seen: set[Path] = set()
    for place in places:
        if not place.exists():
            raise refused(place, "there is no such file or directory.", "Check the path.")
        files = [place] if not place.is_dir() else sorted(p for p in place.rglob("*") if p.suffix.lower() in SUFFIXES)
        for file in files:
            is_other = file.is_dir() or (file is not place and file.exists() and not file.is_file())  # such as a pipe
            if file.resolve() not in seen and not is_other:
                seen.add(file.resolve())
                yield file


def write_whole(file: Path, text: str) -> None:
    """Write ``text`` so that a reader finds the old file or the new one, never a part; raises OSError."""
    handle, temporary = tempfile.mkstemp(prefix=f".{file.name}.", dir=file.parent)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o644 if not file.exists() else file.stat().st_mode & 0o777)
        os.replace(temporary, file)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
