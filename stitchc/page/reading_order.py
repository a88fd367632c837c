"""What is read of a PDF's pages, and in which order: its words line by line, then one figure with words in its place.

The structure tree of PDF 1.7 (ISO 32000-1, 14.7 and 14.8). Knows reportlab's canvas, which has no such thing itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas


class ReadingOrder:
    """Collects what is marked on the pages of a canvas; `close` puts it into the document."""

    def __init__(self, canvas: Canvas) -> None:
        self._canvas: Any = canvas
        self._document: Any = self._canvas._doc
        self._root = _dictionary(Type="/StructTreeRoot")
        self._whole = _dictionary(Type="/StructElem", S="/Document", P=self._document.Reference(self._root))
        self._of_pages: list[list[Any]] = [[]]

    @contextmanager
    def marked(self, kind: str, instead: str = "") -> Iterator[None]:
        """All that is drawn meanwhile is one element: "P", or "Figure" with words instead of it."""
        self._canvas._code.append(f"/{kind} <</MCID {len(self._of_pages[-1])}>> BDC")
        yield
        self._canvas._code.append("EMC")
        self.add(kind, instead)

    def add(self, kind: str, instead: str = "") -> None:
        """The next element of this page, whose marks stand in the page already."""
        from reportlab.pdfbase.pdfdoc import PDFString

        on_page = self._of_pages[-1]
        element = _dictionary(
            Type="/StructElem",
            S=f"/{kind}",
            P=self._document.Reference(self._whole),
            Pg=self._document.thisPageRef(),
            K=len(on_page),
        )
        if instead:
            element.dict["Alt"] = PDFString(instead)
        on_page.append(self._document.Reference(element))

    def show_page(self, show: Callable[[], None] | None = None) -> None:
        """End the canvas's page. show: what ends it, if not the canvas's own showPage."""
        name = self._document.thisPageName()
        (show or self._canvas.showPage)()
        page = self._document.idToObject[name]
        page.StructParents = len(self._of_pages) - 1
        page.__NoDefault__ = [*page.__NoDefault__, "StructParents"]
        self._of_pages.append([])

    def close(self) -> None:
        """Put the tree into the document."""
        from reportlab.pdfbase.pdfdoc import PDFArray

        pages = self._of_pages[:-1]
        self._whole.dict["K"] = PDFArray([element for page in pages for element in page])
        numbered = [entry for number, page in enumerate(pages) for entry in (number, PDFArray(page))]
        self._root.dict["K"] = self._document.Reference(self._whole)
        self._root.dict["ParentTree"] = _dictionary(Nums=PDFArray(numbered))
        catalog = self._document.Catalog
        catalog.StructTreeRoot = self._root
        catalog.MarkInfo = _dictionary(Marked="true")


def _dictionary(**entries: Any) -> Any:
    from reportlab.pdfbase.pdfdoc import PDFDictionary

    return PDFDictionary(entries)
