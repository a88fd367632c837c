"""A picture's bytes made into pixels, safely, and its light made even. Knows nothing of charts."""

from __future__ import annotations

import io
import math
import warnings
from functools import reduce
from itertools import pairwise
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from stitchc.chart import Chart
from stitchc.drawn.carried import KEYWORD, chart_carried
from stitchc.messages import Message, Refused, visible

if TYPE_CHECKING:
    from PIL.Image import Image

Pixels = npt.NDArray[np.uint8]
"""Red, green and blue, shape (height, width, 3)."""
Plane = npt.NDArray[np.float32]
"""One value a pixel, shape (height, width)."""

MOST_BYTES: Final = 64 * 1024 * 1024
MOST_PIXELS: Final = 40_000_000
"""Pixels of a picture that are opened at all: an A4 page at 600 dots per inch has 35 million."""
MOST_SIDE_PX: Final = 30_000
"""The longest side: three times an A3 page at 600 dots per inch, and longer than any chart at a pixel a cell."""
_MOST_WORKED_ON: Final = 4_500_000
"""Pixels that are worked on: larger pictures are made smaller first, by a whole number. A4 at 150 dots per inch has 2
million."""

FORMATS: Final = ("PNG", "JPEG", "GIF", "BMP", "TIFF", "WEBP", "PPM")
"""Forms that are opened. Others are left alone, some because their readers run other programs."""


class Picture(NamedTuple):
    """What was opened. smaller: how many of its pixels each way became one.

    carried: the chart that a file of ours carries, where its pixels are those it was written with.
    more: whether the file holds further pictures.
    """

    pixels: Pixels
    smaller: int
    carried: Chart | None
    more: bool


def open_picture(data: bytes, file: str) -> Picture:
    """The picture on white, upright as its camera says.

    Raises Refused: T801 for what is no picture that can be read, T802 for one that is too large (before its pixels
    are unpacked), T804 for one without room for a chart.
    """
    from PIL import Image, ImageOps

    if len(data) > MOST_BYTES:
        raise Refused(_too_large(file, f"is larger than {MOST_BYTES // 1024 // 1024} MiB"))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the size is judged below, and damage shows when the pixels are read
            with Image.open(io.BytesIO(data), formats=FORMATS) as opened:
                width, height = opened.size
                if width * height > MOST_PIXELS or max(width, height) > MOST_SIDE_PX:
                    raise Refused(_too_large(file, f"has {width:,} by {height:,} pixels"))
                opened.load()
                words = {str(key): value for key, value in opened.info.items() if isinstance(value, str)}
                more = bool(getattr(opened, "is_animated", False))
                ImageOps.exif_transpose(opened, in_place=True)
                image = _on_white(opened)
    except Refused:
        raise
    except Image.DecompressionBombError:
        raise Refused(_too_large(file, "has more pixels than any page")) from None
    except MemoryError:
        raise
    except Exception as error:  # damaged files make the decoders raise nearly anything
        raise Refused(_no_picture(data, file, error)) from None
    if min(image.size) < 1 or max(image.size) < 2:
        raise Refused(
            Message(
                "T804",
                "error",
                f"`{visible(file)}` is a picture of {image.width} by {image.height} pixel; there is no chart in it.",
                advice="Trace a picture with at least two cells.",
            )
        )
    carried = chart_carried(words, image.tobytes()) if KEYWORD in words else None
    smaller = max(1, math.ceil(math.sqrt(image.width * image.height / _MOST_WORKED_ON)))
    if smaller > 1:
        image = image.reduce(smaller)
    return Picture(np.asarray(image), smaller, carried, more)


def _on_white(image: Image) -> Image:
    """Red, green and blue; what shines through is white, as paper is."""
    from PIL import Image

    if image.mode in ("I;16", "I;16B", "I;16L", "I", "F"):
        values = np.nan_to_num(np.asarray(image, dtype=np.float64), posinf=0.0, neginf=0.0)
        values -= min(0.0, float(values.min()))
        top = float(values.max())
        white = top if top > 255 else 1.0 if image.mode == "F" and top <= 1 else 255.0
        scale = 255 / white
        return Image.fromarray(np.clip(values * scale, 0, 255).astype(np.uint8)).convert("RGB")
    if image.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info:
        clear = image.convert("RGBA")
        paper = Image.new("RGBA", clear.size, (255, 255, 255, 255))
        return Image.alpha_composite(paper, clear).convert("RGB")
    return image if image.mode == "RGB" else image.convert("RGB")


def _too_large(file: str, how: str) -> Message:
    return Message(
        "T802",
        "error",
        f"`{visible(file)}` {how}; that is more than trace opens.",
        advice=f"Cut the chart out or make the picture smaller, to at most {MOST_PIXELS // 1_000_000} million pixels, "
        f"none of its sides over {MOST_SIDE_PX:,}.",
    )


def _no_picture(data: bytes, file: str, error: Exception) -> Message:
    if not data:
        text = f"`{visible(file)}` is empty."
    elif data.startswith(b"%PDF"):
        text = f"`{visible(file)}` is a PDF, not a picture."
    elif data[:200].lstrip()[:1] == b"<":
        text = f"`{visible(file)}` is a drawing or page in text form, not a picture of pixels."
    elif type(error).__name__ == "UnidentifiedImageError":
        text = f"`{visible(file)}` is not a picture that can be opened."
    else:
        text = f"`{visible(file)}` is damaged or cut short: its pixels can't be read."
    return Message("T801", "error", text, advice="Save or scan the chart as a PNG (or JPEG, TIFF, BMP, GIF, WebP).")


# -- light ------------------------------------------------------------------------------------------------------


_AS_BRIGHT: Final = 0.03
"""How much darker one part of a page may be than another in even light."""
_FEW_LEVELS: Final = 8
_DRAWN: Final = 0.8
"""The part of a drawing that has its most frequent brightnesses; scans and photographs stay under 0.7."""


def even_light(pixels: Pixels) -> Pixels:
    """The picture with its paper equally bright everywhere, as far as the light falls off smoothly.

    A surface of the second degree is laid over the bright parts of the picture's luminance and divided out; light
    that is even within some percent is left as it is, so that a screenshot keeps its very colours. So is a
    drawing, which is of a few brightnesses, and a picture that is nowhere brighter than all along its rim: a page.
    """
    height, width = pixels.shape[:2]
    if height < 32 or width < 32:
        return pixels
    light = lightest(pixels)
    if is_drawing(pixels):
        return pixels
    down, across = min(24, height // 8), min(24, width // 8)
    rows = np.linspace(0, height, down + 1).astype(int)
    columns = np.linspace(0, width, across + 1).astype(int)
    bright = np.array(
        [
            [_quantile(light[top:bottom:2, left:right:2], 0.92) for left, right in pairwise(columns)]
            for top, bottom in pairwise(rows)
        ]
    )
    v = (rows[:-1] + rows[1:]) / height - 1
    u = (columns[:-1] + columns[1:]) / width - 1
    uu, vv = (grid.ravel() for grid in np.meshgrid(u, v))
    terms = np.stack([np.ones_like(uu), uu, vv, uu * uu, uu * vv, vv * vv], axis=1)
    values = bright.ravel()
    rim = np.concatenate([bright[0], bright[-1], bright[:, 0], bright[:, -1]])
    if np.percentile(rim, 5) >= (1 - _AS_BRIGHT) * values.max():
        return pixels
    paper = values >= 0.4 * values.max()  # blocks without any paper in them say nothing about the light
    page = page_in(ink(pixels))
    if page is not None:  # nor do those of the table on which it lies
        on_page = page[np.ix_((rows[:-1] + rows[1:]) // 2, (columns[:-1] + columns[1:]) // 2)].ravel()
        paper &= on_page | (values > np.median(values[on_page])) if on_page.any() else True
    if values.max() < 40 or paper.sum() < 12:
        return pixels
    weights = paper.astype(np.float64)
    surface = values
    for _ in range(12):  # the upper envelope: what lies under the surface counts little
        root = np.sqrt(weights)[:, None]
        found = np.linalg.lstsq(terms * root, values * root[:, 0], rcond=None)[0]
        surface = terms @ found
        weights = np.where(values >= surface - 3, 1.0, 0.02) * paper
    if surface.min() < 0.3 * surface.max() or surface.max() / surface.min() < 1.06:
        return pixels
    x = np.linspace(-1, 1, width, dtype=np.float32)
    c = found.astype(np.float32)
    evened = np.empty_like(pixels)
    for number, y in enumerate(np.linspace(-1, 1, height, dtype=np.float32)):
        fall = c[0] + c[1] * x + c[2] * y + c[3] * x * x + c[4] * x * y + c[5] * y * y
        gain = np.float32(min(255.0, float(surface.max()))) / np.maximum(fall, 8)
        evened[number] = np.clip(pixels[number] * gain[:, None] + 0.5, 0, 255)
    return evened


def is_drawing(pixels: Pixels) -> bool:
    """Whether nearly all of the picture has one of a few brightnesses, as no scan or photograph has."""
    light = lightest(pixels)
    levels = np.bincount(light.ravel(), minlength=256)
    return bool(np.sort(levels)[-_FEW_LEVELS:].sum() >= _DRAWN * light.size)


def paper_colour(pixels: Pixels) -> npt.NDArray[np.float32]:
    """The colour of what is brightest and frequent: the paper, or the lightest cells where there is no paper."""
    step = max(1, int(math.sqrt(pixels.size / 1_200_000)))
    planes = [np.ascontiguousarray(pixels[::step, ::step, channel]) for channel in range(3)]
    light = reduce(np.minimum, planes)
    near = light >= max(_quantile(light, 0.97) - 20, 0)
    return np.array([_quantile(plane[near], 0.5) for plane in planes], dtype=np.float32)


def rim_of(pixels: Pixels) -> Pixels:
    """The pixels along the picture's own edges: (pixels, 3)."""
    return np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])


def median_colour(pixels: Pixels) -> npt.NDArray[np.float64]:
    """The median of each colour: (3,)."""
    return np.array([_quantile(pixels[..., channel], 0.5) for channel in range(3)])


def lightest(pixels: Pixels) -> npt.NDArray[np.uint8]:
    """The most of each pixel's colours; several times as fast as a maximum along so short an axis."""
    return np.maximum(np.maximum(pixels[..., 0], pixels[..., 1]), pixels[..., 2])


def darkest(pixels: Pixels) -> npt.NDArray[np.uint8]:
    """The least of each pixel's colours."""
    return np.minimum(np.minimum(pixels[..., 0], pixels[..., 1]), pixels[..., 2])


def _quantile(values: npt.NDArray[np.uint8], share: float) -> float:
    """`np.quantile` of bytes, which are counted instead of sorted: several times as fast."""
    upto = np.bincount(values.ravel(), minlength=256).cumsum()
    place = share * (values.size - 1)
    low, high = np.searchsorted(upto, (math.floor(place), math.ceil(place)), side="right").tolist()
    return float(low + (high - low) * (place - math.floor(place)))


_BRIGHTER: Final = 1.1
_MANY_BRIGHTER: Final = 0.02
"""The part of the picture that is brighter than its paper, in some colour, where that is no paper."""


def full_light(pixels: Pixels) -> npt.NDArray[np.float32]:
    """The red, green and blue that count as all the light there is: the paper's, or the same grey for all three where
    the picture shows no paper but cells of several hues, which would change if each colour were measured by itself."""
    paper = np.maximum(paper_colour(pixels), 32)
    step = max(1, int(math.sqrt(pixels.size / 300_000)))
    colours = pixels[::step, ::step]
    red, green, blue = (colours[..., channel] > _BRIGHTER * paper[channel] for channel in range(3))
    if float((red | green | blue).mean()) < _MANY_BRIGHTER:
        return paper
    return np.full(3, np.percentile(lightest(colours), 98), dtype=np.float32)


def ink(pixels: Pixels) -> Plane:
    """How much of the paper's light each pixel lacks in its weakest colour: 0 for paper, 1 for black or a pure hue."""
    paper = np.maximum(paper_colour(pixels), 32)
    plane = np.zeros(pixels.shape[:2], dtype=np.float32)
    for channel in range(3):
        np.maximum(plane, 1 - pixels[:, :, channel] / paper[channel], out=plane)
    return plane


_BLANK: Final = 0.5
"""The ink below which a part of the picture may be page in shadow."""
_PAGE_STEP: Final = 6
_LEAST_PAGE: Final = 0.15
_LEAST_OF_BOX: Final = 0.7
"""The part of the picture, and of its own box, that a page takes at least; it may be turned and lean."""


def page_in(ink: Plane) -> npt.NDArray[np.bool_] | None:
    """Where the largest blank part of the picture lies with all that is drawn on it, (height, width); None where it is
    small, or no page by its form. Only some of the pixels are looked at, so that marks are closed."""
    blank = ink[::_PAGE_STEP, ::_PAGE_STEP] < _BLANK
    parts, count = ndimage.label(ndimage.binary_closing(blank, iterations=2))
    if not count:
        return None
    largest = 1 + int(np.argmax(np.bincount(parts.ravel())[1:]))
    page = ndimage.binary_fill_holes(parts == largest)
    box = page[ndimage.find_objects(parts)[largest - 1]]
    if page.mean() < _LEAST_PAGE or box.mean() < _LEAST_OF_BOX:
        return None
    page = ndimage.binary_erosion(page, border_value=1)
    if not page.any():
        return None
    return np.asarray(page.repeat(_PAGE_STEP, axis=0).repeat(_PAGE_STEP, axis=1)[: ink.shape[0], : ink.shape[1]])


_DIM: Final = 170.0
_BRIGHT: Final = 235.0


def well_lit(pixels: Pixels) -> Pixels:
    """The picture in even light, brighter if its paper is dim; a drawing as it is."""
    if is_drawing(pixels):
        return pixels
    even = even_light(pixels)
    light = float(paper_colour(even).max())
    if light >= _DIM:
        return even
    return np.asarray(np.minimum(even * np.float32(_BRIGHT / max(light, 16.0)), 255), dtype=np.uint8)
