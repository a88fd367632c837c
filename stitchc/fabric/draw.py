"""A relaxed repeat drawn as shaded yarn, from the purl or the knit side, tiled to any size.

Knows fabrics and pixels; nothing of patterns, gauges or files. One repeat is drawn once, larger than asked, as what is
seen at each pixel (which course, and how much light it gets); colour and tiling come after, so that a yarn period
longer than the stitch's costs nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from stitchc.fabric.relax import Fabric
from stitchc.fabric.start import Floats

Face = Literal["purl", "knit"]
Picture = npt.NDArray[np.uint8]
Colour = tuple[int, int, int]
Light = npt.NDArray[np.float32]

NOTHING: Final = int(np.iinfo(np.int16).min)
"""In `Seen.course`: a hole in the fabric."""

GROUNDS: Final[tuple[Colour, Colour]] = ((52, 56, 62), (232, 232, 230))
"""What shows through holes, as of a table that the fabric lies on: dark under light yarns, light under dark ones."""

NATURAL: Final[Colour] = (216, 203, 180)
"""The yarn of a stitch that names none."""

DISTINCT: Final[tuple[Colour, ...]] = (
    (222, 209, 182),
    (38, 84, 140),
    (228, 142, 54),
    (66, 116, 126),
    (238, 212, 112),
    (120, 46, 76),
    (206, 168, 196),
    (62, 78, 58),
)
"""Yarns without a colour of their own take these in turn. Neighbours differ in lightness as well as in hue, along blue
and orange, so that they can be told apart with any kind of colour vision."""

FULL: Final = 1.15
"""Yarn is drawn this much thicker than it is where it touches: its hairs stand off."""

_SAMPLE_PX: Final = 0.7
_CHUNK: Final = 1_500_000


@dataclass(frozen=True, eq=False)
class Seen:
    """One repeat as seen from one side. Arrays of shape (height_px, width_px), top row first; the repeat closes round.

    course: the course seen, NOTHING in a hole; what stands in from the repeat below or above counts on, so it may be
    negative or past `courses`. shade: light on the yarn or the ground there, 0 to about 1.2. gleam: highlight, 0 to 1.
    """

    face: Face
    course: npt.NDArray[np.int16]
    shade: Light
    gleam: Light
    courses: int


def see(fabric: Fabric, face: Face, px_per_length: float) -> Seen:
    """Draw one repeat at px_per_length pixels to the plain loop length (to the nearest whole pixel a repeat)."""
    across = fabric.chart.width * fabric.cell_w
    up = fabric.chart.height * fabric.cell_c
    width_px = max(4, round(across * px_per_length))
    height_px = max(4, round(up * px_per_length))
    scale = np.array([width_px / across, height_px / up, px_per_length])
    tubes = _Tubes(width_px, height_px, FULL * fabric.diameter / 2 * px_per_length, fabric.chart.height)
    # The purl side is what faces the knitter at the machine; the knit side is seen from behind, left for right.
    turn = np.array([-1, 1, 1]) if face == "knit" else np.array([1, 1, -1])
    for row, course in enumerate(fabric.courses):
        line = course * scale * turn
        tubes.put(line, width_px * int(turn[0]), row)
    return tubes.shaded(face)


class _Tubes:
    """A picture of one repeat with the depth of each pixel: of all surfaces put there, the nearest is kept."""

    def __init__(self, width_px: int, height_px: int, radius_px: float, courses: int) -> None:
        self._shape = height_px, width_px
        self._radius, self._courses = radius_px, courses
        count = width_px * height_px
        self._depth = np.full(count, -np.inf, dtype=np.float32)
        self._course = np.full(count, NOTHING, dtype=np.int16)
        self._normal = np.zeros((3, count), dtype=np.float32)
        self._along = np.zeros(count, dtype=np.float32)
        self._around = np.zeros(count, dtype=np.float32)

    def put(self, line: Floats, goes_on_px: int, row: int) -> None:
        """Put the near half of the tube round a course's line (nodes, 3), which goes on goes_on_px to the right."""
        centre, tangent, along = (part.astype(np.float32) for part in _spline(line, goes_on_px))
        angles = np.linspace(-np.pi / 2, np.pi / 2, max(5, round(np.pi * self._radius / _SAMPLE_PX)), dtype=np.float32)
        flat = np.hypot(tangent[0], tangent[1]) + 1e-9
        side = np.array([-tangent[1] / flat, tangent[0] / flat, np.zeros_like(flat)])
        near = np.cross(side, tangent, axis=0)
        near *= np.where(near[2] < 0, np.float32(-1), np.float32(1))
        sine, cosine = np.sin(angles), np.cos(angles)
        step = max(1, _CHUNK // angles.size)
        for first in range(0, along.size, step):
            part = slice(first, first + step)
            normal = side[:, part, None] * sine + near[:, part, None] * cosine
            shape = normal.shape[1:]
            surface = (centre[:, part, None] + np.float32(self._radius) * normal).reshape(3, -1)
            around = np.broadcast_to(angles, shape).ravel()
            self._keep(surface, normal.reshape(3, -1), np.repeat(along[part], angles.size), around, row)

    def _keep(self, surface: Light, normal: Light, along: Light, around: Light, row: int) -> None:
        height, width = self._shape
        x = np.floor(surface[0]).astype(np.int32)
        y = np.floor(surface[1]).astype(np.int32)
        lap = y // height
        pixel = (height - 1 - (y - lap * height)) * width + x % width
        depth = surface[2]
        ahead = np.flatnonzero(depth > self._depth[pixel])
        # Of several samples on one pixel the last one written stays: the nearest.
        order = ahead[np.argsort(depth[ahead])]
        pixel = pixel[order]
        self._depth[pixel] = depth[order]
        self._course[pixel] = row - lap[order] * self._courses
        self._normal[:, pixel] = normal[:, order]
        self._along[pixel] = along[order]
        self._around[pixel] = around[order]

    def shaded(self, face: Face) -> Seen:
        """Light from the upper left, darker in hollows and at the rims, with the slant of a plied yarn."""
        shape, radius = self._shape, self._radius
        yarn = self._course.reshape(shape) != NOTHING
        ground = (float(self._depth[self._course != NOTHING].min()) if yarn.any() else 0.0) - 0.5 * radius
        depth = np.where(yarn, self._depth.reshape(shape), np.float32(ground))
        normal = self._normal.reshape(3, *shape)
        light = np.array([-0.42, 0.52, 0.74])
        light /= np.linalg.norm(light)
        lit = np.clip(np.tensordot(light.astype(np.float32), normal, axes=1), 0, None)
        hollow = np.zeros(shape, dtype=np.float32)
        # Narrow hollows part neighbouring strands; wide ones make arches and floats stand out from what they cover.
        for reach, weight in ((0.5, 0.45), (1.3, 0.45), (3.5, 0.4)):
            hollow += weight * np.clip((_blurred(depth, radius * reach) - depth) / radius, 0, 1.5)
        hollow = np.clip(hollow, 0, 1)
        rim = 1 - np.clip(normal[2], 0, 1)
        ply = np.sin(self._along.reshape(shape) * (1.4 / radius) + 2.0 * self._around.reshape(shape))
        shade = (0.48 + 0.70 * lit) * (1 - 0.55 * hollow) * (1 - 0.55 * rim**3) * (1 + 0.06 * ply * normal[2])
        shadow = _shadow(depth, radius)
        shade *= 1 - 0.38 * shadow
        half = light + np.array([0, 0, 1])
        half /= np.linalg.norm(half)
        gleam = 0.10 * np.clip(np.tensordot(half.astype(np.float32), normal, axes=1), 0, 1) ** 24
        return Seen(
            face,
            self._course.reshape(shape),
            np.where(yarn, shade, (1 - 0.4 * hollow) * (1 - 0.25 * shadow)).astype(np.float32),
            np.where(yarn, gleam, 0).astype(np.float32),
            self._courses,
        )


def _spline(line: Floats, goes_on_px: int) -> tuple[Floats, Floats, Floats]:
    """The smooth curve through a course's nodes: centres (3, m), unit tangents (3, m) and arc lengths (m,).

    A periodic cubic B-spline, whose coefficients come from the nodes by a Fourier transform.
    """
    count = len(line)
    drift = np.outer(np.arange(count) / count, [goes_on_px, 0, 0])
    frequency = 2 * np.pi * np.fft.fftfreq(count)
    weights = np.fft.ifft(np.fft.fft(line - drift, axis=0) / ((4 + 2 * np.cos(frequency)) / 6)[:, None], axis=0).real
    ahead = np.concatenate([line[1:], line[:1] + np.array([goes_on_px, 0, 0])])
    edges = np.linalg.norm(ahead - line, axis=1)
    parts = np.maximum(1, np.ceil(edges / _SAMPLE_PX)).astype(int)
    node = np.repeat(np.arange(count), parts)
    t = ((np.arange(node.size) - (np.cumsum(parts) - parts)[node]) / parts[node])[:, None]
    a, b, c, d = (weights[(node + k) % count] for k in (-1, 0, 1, 2))
    centre = ((1 - t) ** 3 * a + (3 * t**3 - 6 * t**2 + 4) * b + (1 + 3 * t + 3 * t**2 - 3 * t**3) * c + t**3 * d) / 6
    centre += (node[:, None] + t) / count * [goes_on_px, 0, 0]
    slope = (-((1 - t) ** 2) * a + (3 * t**2 - 4 * t) * b + (1 + 2 * t - 3 * t**2) * c + t**2 * d) / 2
    slope += np.array([goes_on_px, 0, 0]) / count
    slope /= np.linalg.norm(slope, axis=1, keepdims=True)
    step = edges[node] / parts[node]
    return centre.T, slope.T, np.cumsum(step) - step


def _shadow(depth: Light, radius_px: float) -> Light:
    """How far each pixel lies in the shadow of what stands between it and a low light from the upper left, 0 to 1."""
    left, up = 0.63, 0.78
    reach, step = 5.0 * radius_px, max(1.0, radius_px / 3)
    highest = np.full_like(depth, -np.inf)
    for count in range(1, math.ceil(reach / step) + 1):
        away = count * step
        # What stands up and to the left, with top row first: rolled down and to the right.
        toward = np.roll(depth, (round(away * up), round(away * left)), axis=(0, 1))
        np.maximum(highest, toward - np.float32(away * _LIGHT_SLOPE), out=highest)
    return _blurred(np.clip((highest - depth) / (0.8 * radius_px), 0, 1), 0.2 * radius_px)


_LIGHT_SLOPE: Final = 0.55


def _blurred(values: Light, sigma_px: float) -> Light:
    from scipy.ndimage import gaussian_filter

    result: Light = gaussian_filter(values, sigma_px, mode="wrap", truncate=3.0)
    return result


def _exposed(colour: Colour) -> tuple[float, float, float]:
    """The colour as of a picture exposed for it: dark yarns get more light, or their loops could not be told apart."""
    gain = 1 + 0.4 * (1 - _lightness(colour) / 255) ** 1.5
    red, green, blue = (part * gain for part in colour)
    return red, green, blue


def _lightness(colour: Colour) -> float:
    red, green, blue = colour
    return 0.299 * red + 0.587 * green + 0.114 * blue


def ground(colours: Sequence[Colour]) -> Colour:
    """The dark ground, unless all yarns are dark: what little light they have then needs light behind it."""
    return GROUNDS[0] if max(map(_lightness, colours)) > _LIGHT_YARN else GROUNDS[1]


_LIGHT_YARN: Final = 100


def paint(seen: Seen, colours: Sequence[Colour], width_px: int, height_px: int, scale: float = 1.0) -> Picture:
    """The fabric tiled to width_px by height_px, the repeat's lower left corner in its own. RGB, shape (h, w, 3).

    colours: of the rows, first knitted first, repeated upward as often as needed; their number need not go into the
    repeat's. scale: pixels of `seen` to a pixel of the result.
    """
    from PIL import Image

    high, wide = seen.course.shape
    need_w, need_h = width_px * scale, height_px * scale
    columns = np.arange(int(np.ceil(need_w))) % wide
    table = np.array([_exposed(colour) for colour in colours], dtype=np.float32)
    tiles: dict[int, Picture] = {}
    strips = []
    for tile in range(int(np.ceil(need_h / high))):
        phase = tile * seen.courses % len(colours)
        if phase not in tiles:
            row = (seen.course.astype(np.int32) + phase) % len(colours)
            rgb = table[row]
            rgb[seen.course == NOTHING] = ground(colours)
            rgb *= seen.shade[..., None]
            rgb += 255 * seen.gleam[..., None]
            tiles[phase] = np.clip(rgb, 0, 255).astype(np.uint8)
        strips.append(tiles[phase][:, columns])
    whole = Image.fromarray(np.concatenate(strips[::-1]))
    box = (0.0, whole.height - need_h, need_w, float(whole.height))
    how = Image.Resampling.BOX if scale >= 1 else Image.Resampling.BICUBIC
    return np.asarray(whole.resize((width_px, height_px), how, box=box))


def draw(
    fabric: Fabric,
    face: Face,
    colours: Sequence[Colour],
    width_px: int,
    height_px: int,
    px_per_length: float,
) -> Picture:
    """The fabric from one side, anti-aliased: RGB of shape (height_px, width_px, 3).

    px_per_length: pixels to the plain loop length. colours: of the rows, as in `paint`.
    """
    repeat_px = fabric.chart.width * fabric.chart.height * fabric.cell_w * fabric.cell_c * px_per_length**2
    most = min(_MOST_SEEN / max(repeat_px, 1), _MOST_WHOLE / (width_px * height_px))
    scale = float(np.clip(np.sqrt(most), 1.0, 2.25))
    return paint(see(fabric, face, px_per_length * scale), colours, width_px, height_px, scale)


_MOST_SEEN: Final = 12_000_000
_MOST_WHOLE: Final = 50_000_000
