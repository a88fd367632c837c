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
from scipy import ndimage

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
    """The connected dark parts."""
    labels, _ = ndimage.label(dark, structure=np.ones((3, 3)))
    mm = MM_PER_INCH / dpi
    areas = np.bincount(labels[dark])
    found = []
    for index, (rows, columns) in enumerate(ndimage.find_objects(labels), start=1):
        height, width = rows.stop - rows.start, columns.stop - columns.start
        found.append(
            Blob(
                (columns.start + columns.stop) / 2 * mm,
                (rows.start + rows.stop) / 2 * mm,
                width * mm,
                height * mm,
                int(areas[index]) / (width * height),
            )
        )
    return found


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
