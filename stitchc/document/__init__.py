"""Documents as values, and a writer for each form: `text`, `html` and `pdf`, functions from a document to its content.

A document is made once, by whoever knows the subject (a sheet, a piece, a swatch, a punching list); the writers know
these values alone, so that every form shows the same words.
"""

from stitchc.document.text import to_text
from stitchc.document.values import (
    Block,
    ByHand,
    Document,
    Dots,
    Drawing,
    Entry,
    Heading,
    Label,
    Lines,
    Listing,
    Part,
    PassRow,
    Path,
    Picture,
    Rows,
    Sheet,
    Step,
    Table,
    Terms,
)

__all__ = [
    "Block",
    "ByHand",
    "Document",
    "Dots",
    "Drawing",
    "Entry",
    "Heading",
    "Label",
    "Lines",
    "Listing",
    "Part",
    "PassRow",
    "Path",
    "Picture",
    "Rows",
    "Sheet",
    "Step",
    "Table",
    "Terms",
    "to_text",
]
