"""A relaxed repeat drawn as shaded yarn, from the purl or the knit side, tiled to any size.

Knows fabrics and pixels; nothing of patterns, gauges or files. One repeat is drawn once, larger than asked, as what is
seen at each pixel (which course, how it faces, how deep it lies); colour and tiling come after, so that a yarn period
longer than the stitch's costs nothing.
"""

from __future__ import annotations

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

NOTHING: Final = np.iinfo(np.int16).min
"""In `Seen.course`: a hole in the fabric."""

BACKGROUND: Final[Colour] = (238, 236, 231)
"""What shows through holes: a neutral light grey, as of a table the fabric lies on."""

NATURAL: Final[Colour] = (214, 201, 178)
"""The yarn of a stitch that names none."""

DISTINCT: Final[tuple[Colour, ...]] = (
    (205, 190, 160),
    (46, 94, 150),
    (206, 118, 38),
    (90, 160, 172),
    (130, 62, 92),
    (226, 196, 84),
    (70, 84, 66),
    (190, 150, 176),
)
"""Yarns without a colour of their own take these in turn: they differ in lightness as well as in hue."""


@dataclass(frozen=True, eq=False)
class Seen:
    """One repeat as seen from one side. Arrays of shape (height_px, width_px), top row first; the repeat closes round.

    course: the course seen, counted on upward past the repeat's own (so it may be negative or past its height), or
    NOTHING. shade: light on the yarn there, 0 to about 1.2. gleam: highlight to add, 0 to 1.
    """

    face: Face
    course: npt.NDArray[np.int16]
    shade: npt.NDArray[np.float32]
    gleam: npt.NDArray[np.float32]
    height_cells: int


def see(fabric: Fabric, face: Face, px_per_length: float) -> Seen:
    """Draw one repeat at px_per_length pixels to the plain loop length."""
    across = fabric.chart.width * fabric.cell_w
    up = fabric.chart.height * fabric.cell_c
    width_px = max(8, round(across * px_per_length))
    height_px = max(8, round(up * px_per_length))
    scale = np.array([width_px / across, height_px / up, px_per_length])
    buffer = _Buffer(width_px, height_px)
    radius = fabric.diameter / 2 * px_per_length
    for row, course in enumerate(fabric.courses):
        line = course * scale
        if face == "knit":
            line = line[::-1] * [-1, 1, 1]
        else:
            line = line * [1, 1, -1]
        buffer.tube(line, width_px, radius, row, fabric.chart.height)
    return buffer.shaded(face, radius, fabric.chart.height)


class _Buffer:
    def __init__(self, width_px: int, height_px: int) -> None:
        self.width, self.height = width_px, height_px
        count = width_px * height_px
        self.depth = np.full(count, -np.inf, dtype=np.float32)
        self.course = np.full(count, NOTHING, dtype=np.int16)
        self.normal = np.zeros((3, count), dtype=np.float32)
        self.along = np.zeros(count, dtype=np.float32)
        self.around = np.zeros(count, dtype=np.float32)

    def tube(self, line: Floats, closes_px: float, radius: float, row: int, rows: int) -> None:
        """Splat the visible half of a tube round a closed line (its copy starts closes_px to the right or left)."""
        centre, tangent, along = _spline(line, closes_px, 0.7)
        angles = np.linspace(-np.pi / 2, np.pi / 2, max(9, int(np.pi * radius / 0.8) | 1)).astype(np.float32)
        flat = np.hypot(tangent[0], tangent[1]) + 1e-9
        side = np.array([-tangent[1] / flat, tangent[0] / flat, np.zeros_like(flat)])
        toward = np.cross(side.T, tangent.T).T
        toward *= np.sign(toward[2] + 1e-12)
        sine, cosine = np.sin(angles), np.cos(angles)
        chunk = max(1, 1_500_000 // angles.size)
        for first in range(0, centre.shape[1], chunk):
            part = slice(first, first + chunk)
            normal = side[:, part, None] * sine + toward[:, part, None] * cosine
            place = centre[:, part, None] + radius * normal
            self._put(place, normal, along[part], angles, row, rows)

    def _put(self, place, normal, along, angles, row, rows) -> None:
        x = np.floor(place[0]).astype(np.int64).ravel()
        y = np.floor(place[1]).astype(np.int64).ravel()
        lap = np.floor_divide(y, self.height)
        pixel = (self.height - 1 - (y - lap * self.height)) * self.width + x % self.width
        z = place[2].astype(np.float32).ravel()
        ahead = np.flatnonzero(z > self.depth[pixel])
        order = ahead[np.argsort(z[ahead], kind="stable")]
        pixel = pixel[order]
        self.depth[pixel] = z[order]
        # The strand that pokes out past the top is what stands at the bottom of the repeat above.
        self.course[pixel] = (row - lap * rows).ravel()[order]
        for axis in range(3):
            self.normal[axis, pixel] = normal[axis].ravel()[order]
        shape = (along.size, angles.size)
        self.along[pixel] = np.broadcast_to(along[:, None], shape).ravel()[order]
        self.around[pixel] = np.broadcast_to(angles, shape).ravel()[order]

    def shaded(self, face: Face, radius: float, rows: int) -> Seen:
        from scipy.ndimage import gaussian_filter

        shape = (self.height, self.width)
        there = (self.course != NOTHING).reshape(shape)
        depth = np.where(there, self.depth.reshape(shape), 0)
        floor = float(depth[there].min()) - radius if there.any() else 0.0
        depth = np.where(there, depth, floor)
        nx, ny, nz = (part.reshape(shape) for part in self.normal)
        light = np.array([-0.42, 0.52, 0.74])
        light /= np.linalg.norm(light)
        diffuse = np.clip(nx * light[0] + ny * light[1] + nz * light[2], 0, None)
        # Depth compared with the neighbourhood's: crevices are darker.
        hollow = np.zeros(shape, dtype=np.float32)
        for reach, share in ((0.5, 0.5), (1.2, 0.5)):
            near = gaussian_filter(depth, radius * reach, mode="wrap")
            hollow += share * np.clip((near - depth) / radius, 0, 1.5)
        rim = 1 - np.clip(nz, 0, 1)
        ply = np.sin(self.along.reshape(shape) / radius * 1.5 + 2.0 * self.around.reshape(shape))
        ply = ply * np.clip(nz, 0, 1)
        shade = (0.42 + 0.68 * diffuse) * (1 - 0.55 * np.clip(hollow, 0, 1)) * (1 - 0.55 * rim**3)
        shade *= 1 + 0.07 * ply
        half = light + [0, 0, 1]
        half /= np.linalg.norm(half)
        gleam = np.clip(nx * half[0] + ny * half[1] + nz * half[2], 0, 1) ** 24 * 0.10
        shade = np.where(there, shade, 1 - 0.45 * np.clip(hollow, 0, 1))
        return Seen(
            face,
            self.course.reshape(shape),
            shade.astype(np.float32),
            np.where(there, gleam, 0).astype(np.float32),
            rows,
        )


def _spline(line: Floats, closes_px: float, step_px: float) -> tuple[Floats, Floats, Floats]:
    """A closed cubic through the points: centres (3, m), unit tangents (3, m), arc length, about step_px apart."""
    from scipy.interpolate import CubicSpline

    shift = closes_px if line[-1, 0] > line[0, 0] else -closes_px
    closed = np.concatenate([line, line[:1] + [shift, 0, 0]])
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    drift = np.outer(along / along[-1], [shift, 0, 0])
    closed_loop = closed - drift
    closed_loop[-1] = closed_loop[0]
    spline = CubicSpline(along, closed_loop, bc_type="periodic")
    at = np.arange(0, along[-1], step_px)
    centre = spline(at).T + np.outer([shift, 0, 0], at / along[-1])
    tangent = spline(at, 1).T + np.array([[shift / along[-1]], [0], [0]])
    tangent /= np.linalg.norm(tangent, axis=0)
    return centre, tangent, at


def paint(seen: Seen, colours: Sequence[Colour], width_px: int, height_px: int, scale: float = 1.0) -> Picture:
    """The fabric tiled to width_px by height_px, its bottom left corner that of a repeat. RGB, shape (h, w, 3).

    colours: of the rows, first knitted first; they repeat by themselves. scale: seen pixels to a pixel of the result.
    """
    from PIL import Image

    high, wide = seen.course.shape
    need_w, need_h = width_px * scale, height_px * scale
    tiles_up = int(np.ceil(need_h / high)) 
    table = np.array(colours, dtype=np.float32)
    columns = np.arange(int(np.ceil(need_w))) % wide
    strips = []
    for tile in reversed(range(tiles_up)):
        course = seen.course
        row = (course.astype(np.int64) + tile * seen.height_cells) % len(colours)
        rgb = np.where(course[..., None] == NOTHING, np.array(BACKGROUND, dtype=np.float32), table[row])
        rgb = rgb * seen.shade[..., None] + 255 * seen.gleam[..., None]
        strip = np.clip(rgb, 0, 255).astype(np.uint8)
        strips.append(strip[:, columns])
    whole = Image.fromarray(np.concatenate(strips))
    bottom = whole.height
    box = (0, bottom - need_h, need_w, bottom)
    return np.asarray(whole.resize((width_px, height_px), Image.Resampling.BOX if scale >= 1 else Image.Resampling.BICUBIC, box=box))
