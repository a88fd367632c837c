"""What is read of a PDF's pages, and in which order: headings, paragraphs, tables, lists, figures with words in place.

The structure tree of PDF 1.7 (ISO 32000-1, 14.7 and 14.8). Knows reportlab's canvas, which has no such thing itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Within = tuple[tuple[str, int], ...]
"""The elements around one, from the outermost: what each is ("Table", "TR"), and a number that tells it from others."""


class ReadingOrder:
    """Collects what is marked on the pages of a canvas; `close` puts it into the document."""

    def __init__(self, canvas: Canvas) -> None:
        self._canvas: Any = canvas
        self._document: Any = self._canvas._doc
        self._root = _dictionary(Type="/StructTreeRoot")
        self._whole = self._element("Document", self._root)
        self._around: list[tuple[tuple[str, int], Any]] = []
        self._of_pages: list[list[Any]] = [[]]

    @contextmanager
    def marked(self, kind: str, instead: str = "", within: Within = ()) -> Iterator[None]:
        """All that is drawn meanwhile is one element: "P", or "Figure" with words instead of it. What comes within the
        same elements, one after the other, is put into them together, over pages as well."""
        from reportlab.pdfbase.pdfdoc import PDFString

        on_page = self._of_pages[-1]
        self._canvas._code.append(f"/{kind} <</MCID {len(on_page)}>> BDC")
        shared = 0
        while shared < min(len(within), len(self._around)) and self._around[shared][0] == within[shared]:
            shared += 1
        del self._around[shared:]
        for each in within[shared:]:
            self._around.append((each, self._element(each[0], self._innermost())))
        element = self._element(kind, self._innermost(), Pg=self._document.thisPageRef(), K=len(on_page))
        if instead:
            element.dict["Alt"] = PDFString(instead)
        on_page.append(self._document.Reference(element))
        yield
        self._canvas._code.append("EMC")

    def _innermost(self) -> Any:
        return self._around[-1][1] if self._around else self._whole

    def _element(self, kind: str, parent: Any, **entries: Any) -> Any:
        """An element at the end of its parent's."""
        from reportlab.pdfbase.pdfdoc import PDFArray

        element = _dictionary(Type="/StructElem", S=f"/{kind}", P=self._document.Reference(parent), **entries)
        parent.dict.setdefault("K", PDFArray([])).sequence.append(self._document.Reference(element))
        return element

    def show_page(self) -> None:
        """End the canvas's page."""
        name = self._document.thisPageName()
        self._canvas.showPage()
        page = self._document.idToObject[name]
        page.StructParents = len(self._of_pages) - 1
        page.__NoDefault__ = [*page.__NoDefault__, "StructParents"]
        self._of_pages.append([])

    def close(self) -> None:
        """Put the tree into the document."""
        from reportlab.pdfbase.pdfdoc import PDFArray

        numbered = [entry for index, page in enumerate(self._of_pages[:-1]) for entry in (index, PDFArray(page))]
        self._root.dict["ParentTree"] = _dictionary(Nums=PDFArray(numbered))
        catalog = self._document.Catalog
        catalog.StructTreeRoot = self._root
        catalog.MarkInfo = _dictionary(Marked="true")


def _dictionary(**entries: Any) -> Any:
    from reportlab.pdfbase.pdfdoc import PDFDictionary

    return PDFDictionary(entries)
