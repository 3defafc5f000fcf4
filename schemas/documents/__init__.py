"""From the text of a document, YAML or JSON, to a validated model, or to faults that a person can act on.

`parse_document` reads a text into a plain tree whose every place is known; `validated` makes a model of the tree. Both
raise DocumentRefused, with one Fault for each thing that is wrong.
"""

from schemas.documents.faults import DocumentRefused, Fault, Position, TreePath, path_text
from schemas.documents.reading import parse_document
from schemas.documents.tree import ParsedDocument, Tree
from schemas.documents.validation import validated

__all__ = [
    "DocumentRefused",
    "Fault",
    "ParsedDocument",
    "Position",
    "Tree",
    "TreePath",
    "parse_document",
    "path_text",
    "validated",
]
