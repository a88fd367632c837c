"""Reads written pages back with something that is not stitchc: pixels by connected components, PDF through pdfium,
SVG through an XML reader. All places in mm from the upper left corner."""

from __future__ import annotations

import io
import struct
from typing import Any, NamedTuple
from xml.etree import ElementTree

import numpy as np
import numpy.typing as npt
import pypdfium2
from PIL import Image
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

MM_PER_INCH = 25.4
SVG = "{http://www.w3.org/2000/svg}"

Dark = npt.NDArray[np.bool_]


class Blob(NamedTuple):
    """A connected dark part: its box's centre and size in mm, and how much of the box is dark."""

    x: float
    y: float
    width: float
    height: float
    fill: float


def chunks(content: bytes) -> dict[bytes, bytes]:
    """The first chunk of each kind of a PNG file."""
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    found: dict[bytes, bytes] = {}
    at = 8
    while at < len(content):
        (length,) = struct.unpack(">I", content[at : at + 4])
        found.setdefault(content[at + 4 : at + 8], content[at + 8 : at + 8 + length])
        at += 12 + length
    return found


def pixels_per_metre(content: bytes) -> tuple[int, int]:
    """A PNG's own scale (pHYs)."""
    x, y, unit = struct.unpack(">IIB", chunks(content)[b"pHYs"])
    assert unit == 1
    return x, y


def png_dark(content: bytes) -> Dark:
    """The dark pixels of a PNG."""
    with Image.open(io.BytesIO(content)) as image:
        return np.asarray(image.convert("L")) < 128


def pdf_dark(content: bytes, page: int = 0, dpi: int = 300) -> Dark:
    """The dark pixels of a PDF's page as pdfium draws it."""
    document = pypdfium2.PdfDocument(content)
    try:
        grey: npt.NDArray[Any] = document[page].render(scale=dpi / 72, grayscale=True).to_numpy()
        return np.asarray(grey.reshape(grey.shape[:2]) < 128)
    finally:
        document.close()


def blobs(dark: Dark, dpi: float) -> list[Blob]:
    """The connected dark parts, corners touching too: runs of dark pixels, each joined to those above it that it
    touches. A sheet has a thousandth as many runs as pixels."""
    across = dark.shape[1] + 1
    ends = np.flatnonzero(np.diff(np.pad(dark, ((0, 0), (1, 1))).view(np.int8), axis=1)).reshape(-1, 2)
    if not len(ends):
        return []
    starts, stops = ends.T  # as one number for row and column
    low = np.searchsorted(stops, starts - across)
    touched = np.searchsorted(starts, stops - across, side="right") - low
    below = np.repeat(np.arange(len(ends)), touched)
    above = np.arange(len(below)) + np.repeat(low - np.cumsum(touched) + touched, touched)
    joined = coo_array((np.ones(len(below), bool), (below, above)), shape=(len(ends), len(ends)))
    _, labels = connected_components(joined, directed=False)
    order = np.argsort(labels, kind="stable")
    firsts = np.flatnonzero(np.diff(labels[order], prepend=-1))
    rows = starts // across
    columns = (
        (np.minimum, starts - rows * across),
        (np.maximum, stops - rows * across),
        (np.minimum, rows),
        (np.maximum, rows + 1),
        (np.add, stops - starts),
    )
    mm = MM_PER_INCH / dpi
    return [
        Blob(
            (left + right) / 2 * mm,
            (top + bottom) / 2 * mm,
            (right - left) * mm,
            (bottom - top) * mm,
            area / ((right - left) * (bottom - top)),
        )
        for left, right, top, bottom, area in zip(
            *(of_part.reduceat(of_run[order], firsts).tolist() for of_part, of_run in columns), strict=True
        )
    ]


def discs(found: list[Blob], diameter: float, tolerance: float) -> list[Blob]:
    """Those that are filled discs of a diameter (a disc fills pi/4 of its box)."""
    return [
        blob
        for blob in found
        if abs(blob.width - diameter) <= tolerance
        and abs(blob.height - diameter) <= tolerance
        and abs(blob.fill - np.pi / 4) < 0.06
    ]


def svg_circles(content: bytes, layer: str) -> list[tuple[float, float, float]]:
    """Centre and radius of the circles in a layer's group, in mm; the unit is checked to be one."""
    root = ElementTree.fromstring(content)
    box = [float(value) for value in root.attrib["viewBox"].split()]
    assert root.attrib["width"].endswith("mm") and root.attrib["height"].endswith("mm")
    assert box == [0, 0, float(root.attrib["width"][:-2]), float(root.attrib["height"][:-2])]
    group = next(group for group in root.iter(f"{SVG}g") if group.get("id") == layer)
    return [tuple(float(circle.attrib[key]) for key in ("cx", "cy", "r")) for circle in group.iter(f"{SVG}circle")]  # type: ignore[misc]
