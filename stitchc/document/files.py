"""Documents as the files of a product: text and JSON in one file, a page or a PDF for each document."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from stitchc.document.document import Document
from stitchc.document.html import to_html
from stitchc.document.text import to_text
from stitchc.page.lettering import what_is_lacking
from stitchc.product import File


def document_files(documents: Mapping[str, Document], form: str, whole: str, every_row: bool, page: str) -> list[File]:
    """The files of these documents, by the stem of each one's own file.

    form: "text" (one file, whose stem is `whole`), "html" or "pdf". page: the size of a PDF page, "a4" or "letter".
    """
    if form == "text":
        texts = [to_text(document, every_row) for document in documents.values()]
        return [File.of_text(f"{whole}.txt", "\n\n".join(texts))]
    if form == "pdf":
        from stitchc.document.pdf import to_pdf

        return [
            File(f"{stem}.pdf", to_pdf(document, every_row, "letter" if page == "letter" else "a4"))
            for stem, document in documents.items()
        ]
    return [File.of_text(f"{stem}.html", to_html(document, every_row)) for stem, document in documents.items()]


def letters_lacking(documents: Iterable[Document], form: str) -> tuple[str, ...]:
    """A sentence on the letters that a PDF of these documents shows as codes, if there are any. A page has the fonts of
    its reader, and a text those of the terminal."""
    if form != "pdf":
        return ()
    sentence = what_is_lacking("".join(map(to_text, documents)), "PDF")
    return (sentence,) if sentence else ()
