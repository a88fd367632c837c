"""The proof: opens what was written and compares every cell with the card, before it is handed to anyone.

Reads each form with something other than what wrote it: the PNG's pixels, the PDF rendered by pdfium, the SVG's
elements by an XML reader. Knows a card and its tiles, and nothing of how they were drawn.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from stitchc.card.form import Scale, place_mm
from stitchc.page import MM_PER_INCH

if TYPE_CHECKING:
    from PIL.Image import Image

    from stitchc.card.paper import Tile
    from stitchc.card.plan import Card

PDF_DPI: Final = 150
_SVG = "{http://www.w3.org/2000/svg}"


class ProofFailed(Exception):
    """What was made does not show the card: a fault in stitchc. The text says where."""


def prove_png(content: bytes, card: Card, tile: Tile, dpi: int, scale: Scale) -> None:
    """Every cell of the tile in a PNG picture; its size and the scale it carries. Raises ProofFailed."""
    from PIL import Image as pillow

    most, pillow.MAX_IMAGE_PIXELS = pillow.MAX_IMAGE_PIXELS, None  # our own picture, and its size is known
    try:
        with pillow.open(io.BytesIO(content)) as image:
            wanted = (round(tile.page_mm[0] * dpi / MM_PER_INCH), round(tile.page_mm[1] * dpi / MM_PER_INCH))
            if image.size != wanted:
                raise ProofFailed(f"the picture is {image.size} pixels instead of {wanted}")
            carried = image.info.get("dpi", (0, 0))
            if any(abs(value - dpi) > 0.02 for value in carried):
                raise ProofFailed(f"the picture carries a scale of {carried} dpi instead of {dpi}")
            if image.mode != "1":
                raise ProofFailed(f"the picture is of mode {image.mode}, not black and white")
            _prove_pixels(image, card, tile, dpi / MM_PER_INCH, scale)
    finally:
        pillow.MAX_IMAGE_PIXELS = most


def prove_pdf(content: bytes, card: Card, tiles: Sequence[Tile], scale: Scale) -> None:
    """Every cell of every page of a PDF, and the pages' sizes. Raises ProofFailed."""
    import pypdfium2

    document = pypdfium2.PdfDocument(content)
    try:
        if len(document) != len(tiles):
            raise ProofFailed(f"the PDF has {len(document)} pages instead of {len(tiles)}")
        for index, tile in enumerate(tiles):
            page = document[index]
            size = tuple(side * MM_PER_INCH / 72 for side in page.get_size())
            if any(abs(side - wanted) > 0.05 for side, wanted in zip(size, tile.page_mm, strict=True)):
                raise ProofFailed(f"page {index + 1} of the PDF is {size} mm instead of {tile.page_mm}")
            fine = PDF_DPI if max(tile.page_mm) < 1500 else 72
            _prove_pixels(page.render(scale=fine / 72, grayscale=True).to_pil(), card, tile, fine / MM_PER_INCH, scale)
    finally:
        document.close()


def prove_svg(content: bytes, card: Card, tile: Tile, scale: Scale) -> None:
    """Every hole of the tile as a circle on the cut layer, and no other of that size there. Raises ProofFailed."""
    from xml.etree import ElementTree

    root = ElementTree.fromstring(content)
    if root.get("viewBox") != f"0 0 {_shown(tile.page_mm[0])} {_shown(tile.page_mm[1])}":
        raise ProofFailed("the SVG's unit is not a millimetre")
    layer = next((group for group in root.iter(f"{_SVG}g") if group.get("id") == "cut"), None)
    if layer is None:
        raise ProofFailed("the SVG has no cut layer")
    found = [
        tuple(float(circle.get(key, "nan")) for key in ("cx", "cy", "r")) for circle in layer.iter(f"{_SVG}circle")
    ]
    mean = (scale[0] * scale[1]) ** 0.5
    radius = card.shape.hole_mm * mean / 2
    left, bottom = place_mm(card, tile, scale, 1, tile.first)
    seen = np.zeros((tile.last - tile.first + 1, card.columns), dtype=np.intp)
    for x, y, r in found:
        column = (x - left) / (card.shape.column_pitch_mm * scale[0])
        row = (bottom - y) / (card.shape.row_pitch_mm * scale[1])
        near = round(row), round(column)
        if not (0 <= near[0] < seen.shape[0] and 0 <= near[1] < seen.shape[1]):
            continue  # a guide or clip hole, beside the field
        if abs(row - near[0]) > 0.001 or abs(column - near[1]) > 0.001 or abs(r - radius) > 0.001:
            raise ProofFailed(f"a circle at {x}, {y} mm of the SVG is no hole of the card")
        seen[near] += 1
    _compare(seen.astype(np.bool_), card, tile)
    if int(seen.max(initial=0)) > 1:
        raise ProofFailed("a hole stands twice in the SVG")


def _prove_pixels(image: Image, card: Card, tile: Tile, px_per_mm: float, scale: Scale) -> None:
    """Sample each cell: its centre and a ring well inside the hole's edge, dark for a hole and light for none; a
    blank cell must be light out to the hole's edge."""
    x0, y0 = place_mm(card, tile, scale, 1, tile.first)
    x = (x0 + np.arange(card.columns) * card.shape.column_pitch_mm * scale[0]) * px_per_mm
    y = (y0 - np.arange(tile.last - tile.first + 1) * card.shape.row_pitch_mm * scale[1]) * px_per_mm
    radius = card.shape.hole_mm * px_per_mm / 2
    inner = max(0.0, radius - max(1.6, 0.15 * radius))
    angles = np.arange(12) * (np.pi / 6)
    ring_x, ring_y = np.append(np.cos(angles), 0.0), np.append(np.sin(angles), 0.0)
    rows = np.floor(y[:, None, None] + inner * ring_y).astype(np.intp)
    columns = np.floor(x[None, :, None] + inner * ring_x).astype(np.intp)
    left, top = int(columns.min()), int(rows.min())
    field = image.crop((left, top, int(columns.max()) + 1, int(rows.max()) + 1))
    samples = np.asarray(field)[rows - top, columns - left] > (0 if image.mode == "1" else 127)
    dark = ~samples
    if not (dark.all(axis=2) | samples.all(axis=2)).all():
        where = np.argwhere(dark.any(axis=2) & samples.any(axis=2))[0]
        raise ProofFailed(f"the cell at column {where[1] + 1}, row {where[0] + tile.first} is neither hole nor blank")
    _compare(np.asarray(dark.all(axis=2)), card, tile)


def _compare(seen: npt.NDArray[np.bool_], card: Card, tile: Tile) -> None:
    wanted = np.stack([card.punched(position) for position in range(tile.first, tile.last + 1)])
    wrong = np.argwhere(seen != wanted)
    if len(wrong):
        row, column = wrong[0]
        raise ProofFailed(
            f"{len(wrong)} cells differ from the card, the first at column {column + 1}, row {row + tile.first}"
        )


def _shown(number: float) -> str:
    return f"{number:.4f}".rstrip("0").rstrip(".")
