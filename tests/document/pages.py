"""How much of each printed page is used, for every example on A4 and Letter.

    .venv/bin/python tests/document/pages.py [piece] [sheet] [leaflet]

The rest of a page counts where nothing is printed down to its foot. Measured on the page as it is rendered.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import pypdfium2

from stitchc.machines import SHIPPED, load
from stitchc.notation import compile_file
from stitchc.options import LeafletOptions, PieceOptions, SheetOptions

EXAMPLES = Path(__file__).parents[2] / "examples"
SIZES = ("a4", "letter")
MARGIN_MM, MM_PER_POINT = 15, 25.4 / 72
KINDS = ("piece", "sheet", "leaflet")


def shares(content: bytes, foot_mm: float = 14.0) -> list[float]:
    """Of each page the share of the height between its margins down to the last thing printed; foot_mm: what is left
    out at the foot, with the page's number."""
    found = []
    for page in pypdfium2.PdfDocument(content):
        height = page.get_height() * MM_PER_POINT
        picture = page.render(scale=0.5, grayscale=True).to_numpy()
        rows = picture.shape[0]
        printed = (picture[: int(rows * (1 - foot_mm / height))] < 200).any(axis=1).nonzero()[0]
        lowest = (printed[-1] + 1) / rows * height if len(printed) else MARGIN_MM
        found.append((lowest - MARGIN_MM) / (height - 2 * MARGIN_MM))
    return found


def documents(kinds: tuple[str, ...] = KINDS, example: str = "*") -> Iterator[tuple[str, bytes]]:
    """Every document of every example, or of one, as PDF: (what it is, the file)."""
    for path in sorted(EXAMPLES.glob(f"{example}.stitch")):
        for page in SIZES:
            for kind in kinds:
                yield from _made(path, kind, page)  # type: ignore[arg-type]


def _made(path: Path, kind: str, page: Literal["a4", "letter"]) -> Iterator[tuple[str, bytes]]:
    from stitchc import make_leaflet, make_sheet, plan_piece

    pattern = compile_file(str(path)).pattern
    assert pattern is not None
    if kind == "leaflet" and pattern.pieces:
        machines = [load(name) for name in SHIPPED]
        product = make_leaflet(
            pattern, machines, LeafletOptions(form="pdf", page=page, pictures=False, date="2026-11-30")
        )
        yield from ((f"leaflet {path.stem} {page}", file.content) for file in product.files)
    for machine in ("hand-standard", "card24-standard"):
        if kind == "piece":
            for piece in pattern.pieces:
                planned = plan_piece(pattern, load(machine), PieceOptions(piece=piece, form="pdf", page=page))
                yield from ((f"piece {piece} {machine} {page}", file.content) for file in planned.files)
        if kind == "sheet":
            for rows in (60, 250):
                made = make_sheet(pattern, load(machine), SheetOptions(rows=rows, form="pdf", page=page))
                yield from (
                    (f"sheet {Path(file.name).stem} {rows} {machine} {page}", file.content) for file in made.files
                )


def main(kinds: tuple[str, ...]) -> None:
    pages = 0
    short: list[float] = []
    for name, content in documents(kinds):
        used = shares(content)
        pages += len(used)
        short += [share for share in used[:-1] if share < 2 / 3]
        print(f"{name}: {' '.join(f'{share:.0%}'.rjust(4) for share in used)}")
    print(f"{pages} pages, {len(short)} before the last less than two thirds full")


if __name__ == "__main__":
    main(tuple(sys.argv[1:]) or KINDS)
