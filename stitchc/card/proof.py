"""The proof: opens what was written and compares every cell with the card, before it is handed to anyone.

Reads each form with something other than what wrote it: the PNG's pixels, the PDF rendered by pdfium, the SVG's
elements by an XML reader. Knows a card and its tiles, and nothing of how they were drawn.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from stitchc.card.data import place_mm
from stitchc.page import MM_PER_INCH

if TYPE_CHECKING:
    from PIL.Image import Image

    from stitchc.card.drawing import Ink
    from stitchc.card.paper import Scale, Tile
    from stitchc.card.plan import Card

PDF_DPI: Final = 150
_SVG = "{http://www.w3.org/2000/svg}"


class ProofFailed(Exception):
    """What was made does not show the card: a fault in stitchc. The text says where."""


def prove_png(content: bytes, card: Card, tile: Tile, dpi: int, scale: Scale, ink: Ink = "full") -> None:
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
            _prove_pixels(image, card, tile, dpi / MM_PER_INCH, scale, ink)
    finally:
        pillow.MAX_IMAGE_PIXELS = most


def prove_pdf(
    content: bytes, card: Card, tiles: Sequence[Tile], scale: Scale, ink: Ink = "full", first: int | None = None
) -> None:
    """Every cell of every page of a PDF, and the pages' sizes. first: the page (from 0) with the first tile, where the
    PDF has other pages as well. Raises ProofFailed."""
    import pypdfium2

    document = pypdfium2.PdfDocument(content)
    try:
        if first is None and len(document) != len(tiles):
            raise ProofFailed(f"the PDF has {len(document)} pages instead of {len(tiles)}")
        for index, tile in enumerate(tiles):
            page = document[(first or 0) + index]
            size = tuple(side * MM_PER_INCH / 72 for side in page.get_size())
            if any(abs(side - wanted) > 0.05 for side, wanted in zip(size, tile.page_mm, strict=True)):
                raise ProofFailed(f"page {index + 1} of the PDF is {size} mm instead of {tile.page_mm}")
            image = page.render(scale=PDF_DPI / 72, grayscale=True).to_pil()
            _prove_pixels(image, card, tile, PDF_DPI / MM_PER_INCH, scale, ink)
            page.close()
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
    circles = [
        tuple(float(circle.get(key, "nan")) for key in ("cx", "cy", "r")) for circle in layer.iter(f"{_SVG}circle")
    ]
    mean = (scale[0] * scale[1]) ** 0.5
    radius = card.shape.hole_mm * mean / 2
    left, bottom = place_mm(card, tile, scale, 1, tile.first)
    beside = card.shape.hole_mm / 2 / card.shape.column_pitch_mm
    seen = np.zeros((tile.last - tile.first + 1, card.columns), dtype=np.intp)
    for x, y, r in circles:
        column = (x - left) / (card.shape.column_pitch_mm * scale[0])
        row = (bottom - y) / (card.shape.row_pitch_mm * scale[1])
        near = round(row), round(column)
        if not -beside <= column <= card.columns - 1 + beside:
            continue  # a guide or clip hole, beside the field
        if (
            not 0 <= near[0] < seen.shape[0]
            or abs(row - near[0]) > 0.001
            or abs(column - near[1]) > 0.001
            or abs(r - radius) > 0.001
        ):
            raise ProofFailed(f"a circle at {x}, {y} mm of the SVG is no hole of the card")
        seen[near] += 1
    _compare(seen.astype(np.bool_), card, tile)
    if int(seen.max(initial=0)) > 1:
        raise ProofFailed("a hole stands twice in the SVG")


def _prove_pixels(image: Image, card: Card, tile: Tile, px_per_mm: float, scale: Scale, ink: Ink) -> None:
    """Sample each cell at its centre and round it. A hole in full ink is dark at all of them, well inside its edge; in
    light ink at the centre and on the ring, and light between; a blank is light out to the hole's edge."""
    x0, y0 = place_mm(card, tile, scale, 1, tile.first)
    x = (x0 + np.arange(card.columns) * card.shape.column_pitch_mm * scale[0]) * px_per_mm
    y = (y0 - np.arange(tile.last - tile.first + 1) * card.shape.row_pitch_mm * scale[1]) * px_per_mm
    radius = card.shape.hole_mm * (scale[0] * scale[1]) ** 0.5 * px_per_mm / 2
    angles = np.arange(12) * (np.pi / 6)
    reach = math.ceil(radius) + 2
    left, top = math.floor(float(x.min())) - reach, math.floor(float(y.min())) - reach
    crop = image.crop((left, top, math.ceil(float(x.max())) + reach, math.ceil(float(y.max())) + reach))
    grey = np.asarray(crop)
    dark = ~grey if image.mode == "1" else grey < (128 if ink == "full" else 215)

    def sampled(dark: npt.NDArray[np.bool_], far: float) -> npt.NDArray[np.bool_]:
        """Which of 12 places so far from each centre are dark; shape (rows, columns, 12)."""
        rows = np.floor(y[:, None, None] + far * np.sin(angles)).astype(np.intp) - top
        columns = np.floor(x[None, :, None] + far * np.cos(angles)).astype(np.intp) - left
        return np.asarray(dark[rows, columns])

    if ink == "full":
        middle, edge = sampled(dark, 0.0), sampled(dark, max(0.0, radius - max(1.6, 0.15 * radius)))
        hole = middle.all(axis=2) & edge.all(axis=2)
        ring = hole
    else:  # lines of a pixel or two: what is dark within two pixels of a place counts
        near = dark.copy()
        for along in (near, near.T, near, near.T):
            once = along.copy()
            along[1:] |= once[:-1]
            along[:-1] |= once[1:]
        middle, edge = sampled(near, 0.0), sampled(dark, max(0.0, radius - 3.0))
        ring = sampled(near, radius).all(axis=2)
        hole = middle.all(axis=2) & ring & ~(sampled(dark, radius / 2) | edge).any(axis=2)
    unclear = ~hole & (middle.any(axis=2) | edge.any(axis=2) | ring)
    if unclear.any():
        row, column = np.argwhere(unclear)[0]
        raise ProofFailed(f"the cell at column {column + 1}, row {row + tile.first} is neither hole nor blank")
    _compare(np.asarray(hole), card, tile)


def _compare(seen: npt.NDArray[np.bool_], card: Card, tile: Tile) -> None:
    wanted = np.stack([card.punched(tile.strip, position) for position in range(tile.first, tile.last + 1)])
    wrong = np.argwhere(seen != wanted)
    if len(wrong):
        row, column = wrong[0]
        raise ProofFailed(
            f"{len(wrong)} cells differ from the card, the first at column {column + 1}, row {row + tile.first}"
        )


def _shown(number: float) -> str:
    return f"{number:.4f}".rstrip("0").rstrip(".")
