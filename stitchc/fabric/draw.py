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

from stitchc.fabric.relaxation import Fabric
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
_ALONG_PX: Final = 0.5
_CHUNK: Final = 1 << 15
_DEPTHS: Final = 1 << 22
_ID_BITS: Final = 40


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
    return tubes.seen([course * scale * turn for course in fabric.courses], width_px * int(turn[0]), face)


class _Tubes:
    """The yarns of one repeat as tubes in a picture of it: of all surfaces at a pixel, the nearest is seen."""

    def __init__(self, width_px: int, height_px: int, radius_px: float, courses: int) -> None:
        self._shape = height_px, width_px
        self._radius, self._courses = np.float32(radius_px), courses

    def seen(self, lines: Sequence[Floats], goes_on_px: int, face: Face) -> Seen:
        """lines: of each course the nodes (n, 3) in pixels. goes_on_px: how far to the right each begins anew."""
        curves = [_spline(line, goes_on_px, float(self._radius)) for line in lines]
        centre, tangent, along = (
            np.concatenate([curve[part] for curve in curves], axis=-1).astype(np.float32) for part in range(3)
        )
        course = np.repeat(np.arange(len(lines), dtype=np.int16), [curve[2].size for curve in curves])
        flat = np.hypot(tangent[0], tangent[1]) + np.float32(1e-9)
        side = np.array([-tangent[1] / flat, tangent[0] / flat])
        near = np.array([-tangent[2] * side[1], tangent[2] * side[0], flat])
        # Amid equal parts of the width: a sample on the very rim would be a dark pixel here and none there.
        samples = max(5, math.ceil(2 * float(self._radius) / _SAMPLE_PX))
        across = ((2 * np.arange(samples) + 1) / samples - 1).astype(np.float32)
        out = np.sqrt(np.maximum(0, 1 - across * across))
        centre_of, across_of, depth = self._nearest(centre, side, near, across, out)

        yarn = depth > -np.inf
        u, v = across[across_of], out[across_of]
        normal = np.zeros((3, depth.size), dtype=np.float32)
        for axis in range(3):
            normal[axis] = near[axis][centre_of] * v
            if axis < 2:
                normal[axis] += side[axis][centre_of] * u
        row = self._row(centre[1][centre_of] + self._radius * normal[1])
        number = np.where(yarn, course[centre_of] - row // self._shape[0] * self._courses, NOTHING).astype(np.int16)
        slant = (along[centre_of] * (1.4 / self._radius) + 2 * np.arcsin(u)).astype(np.float32)
        shape = self._shape
        return self._shaded(
            face, number.reshape(shape), depth.reshape(shape), normal.reshape(3, *shape), slant.reshape(shape)
        )

    def _row(self, y: Light) -> npt.NDArray[np.int32]:
        return np.floor(y).astype(np.int32)

    def _nearest(
        self, centre: Light, side: Light, near: Light, across: Light, out: Light
    ) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], Light]:
        """Of each pixel the point of a centre line and the place across the tube that are seen there, and its depth."""
        height, width = self._shape
        low = float(centre[2].min()) - float(self._radius)
        depths = np.float32((_DEPTHS - 2) / max(float(np.ptp(centre[2])) + 2 * float(self._radius), 1e-9))
        # Drawn as far as the yarn runs out of the picture, and folded back: cheaper than a remainder for every point.
        left, lowest = (int(np.floor(centre[axis].min() - self._radius)) - 1 for axis in (0, 1))
        wide, high = (int(np.ceil(centre[axis].max() + self._radius)) + 2 - lo for axis, lo in ((0, left), (1, lowest)))
        # Depth and identity in one number, so that the nearest is the greatest.
        spread = np.full(high * wide, -1, dtype=np.int64)
        step = max(1, _CHUNK // across.size)
        reach, deep = self._radius * across, self._radius * out
        for first in range(0, centre.shape[1], step):
            part = slice(first, first + step)
            x = centre[0, part, None] + side[0, part, None] * reach + near[0, part, None] * deep
            y = centre[1, part, None] + side[1, part, None] * reach + near[1, part, None] * deep
            z = centre[2, part, None] + near[2, part, None] * deep
            pixel = (self._row(y) - lowest) * wide + (self._row(x) - left)
            key = ((z - np.float32(low)) * depths + 1).astype(np.int64) << _ID_BITS
            key += np.arange(part.start * across.size, part.start * across.size + key.size).reshape(key.shape)
            np.maximum.at(spread, pixel.ravel(), key.ravel())
        best = _folded(spread.reshape(high, wide), lowest, left, height, width)[::-1].ravel()
        depth = np.where(best < 0, -np.inf, ((best >> _ID_BITS) - 1) / depths + low).astype(np.float32)
        centre_of, across_of = np.divmod(np.maximum(best, 0) & ((1 << _ID_BITS) - 1), across.size)
        return centre_of, across_of, depth

    def _shaded(self, face: Face, course: npt.NDArray[np.int16], depth: Light, normal: Light, slant: Light) -> Seen:
        """Light from the upper left, darker in hollows and at the rims, with the slant of a plied yarn."""
        radius = float(self._radius)
        yarn = course != NOTHING
        ground = (float(depth[yarn].min()) if yarn.any() else 0.0) - 0.5 * radius
        depth = np.where(yarn, depth, np.float32(ground))
        light = np.array([-0.42, 0.52, 0.74], dtype=np.float32)
        light /= np.linalg.norm(light)
        lit = np.clip(np.tensordot(light, normal, axes=1), 0, None)
        coarse = _Coarse(depth, max(1, round(radius / 4)))
        hollow = np.zeros_like(depth)
        # Narrow hollows part neighbouring strands; wide ones make arches and floats stand out from what they cover.
        for reach, weight in ((0.5, 0.45), (1.3, 0.45), (3.5, 0.4)):
            hollow += weight * np.clip((coarse.fine(coarse.blurred(radius * reach)) - depth) / radius, 0, 1.5)
        hollow = np.clip(hollow, 0, 1)
        shadow = np.clip((coarse.fine(coarse.overshadowed(radius)) - depth) / (0.8 * radius), 0, 1)
        rim = 1 - np.clip(normal[2], 0, 1)
        shade = (0.48 + 0.70 * lit) * (1 - 0.55 * hollow) * (1 - 0.55 * rim * rim * rim)
        shade *= (1 + 0.06 * np.sin(slant) * normal[2]) * (1 - 0.38 * shadow)
        half = light + np.array([0, 0, 1], dtype=np.float32)
        half /= np.linalg.norm(half)
        gleam = np.clip(np.tensordot(half, normal, axes=1), 0, 1) ** 8
        gleam = 0.10 * gleam * gleam * gleam
        return Seen(
            face,
            course,
            np.where(yarn, shade, (1 - 0.4 * hollow) * (1 - 0.25 * shadow)).astype(np.float32),
            np.where(yarn, gleam, 0).astype(np.float32),
            self._courses,
        )


def _folded(spread: npt.NDArray[np.int64], lowest: int, left: int, height: int, width: int) -> npt.NDArray[np.int64]:
    """The greatest of all that fall on one pixel of (height, width), where row and column 0 of `spread` are at `lowest`
    and `left` of a picture that closes round."""
    best = np.full((height, width), -1, dtype=np.int64)
    for top in range(-(lowest % height), len(spread), height):
        rows = slice(max(top, 0), top + height)
        for start in range(-(left % width), spread.shape[1], width):
            part = spread[rows, max(start, 0) : start + width]
            row, column = max(-top, 0), max(-start, 0)
            onto = best[row : row + part.shape[0], column : column + part.shape[1]]
            np.maximum(onto, part, out=onto)
    return best


class _Coarse:
    """A picture's depth with `factor` times fewer pixels each way, for light that varies slowly. It closes round."""

    def __init__(self, depth: Light, factor: int) -> None:
        from PIL import Image

        self._fine = depth.shape
        self._shape = max(2, depth.shape[0] // factor), max(2, depth.shape[1] // factor)
        self._per_px = self._shape[0] / depth.shape[0], self._shape[1] / depth.shape[1]
        small = Image.fromarray(depth).resize(self._shape[::-1], Image.Resampling.BOX)
        self._depth: Light = np.asarray(small)

    def fine(self, values: Light) -> Light:
        """Values of the coarse pixels brought back to all pixels."""
        from PIL import Image

        high, wide = values.shape
        padded = np.pad(values, 2, mode="wrap")
        box = (2.0, 2.0, 2.0 + wide, 2.0 + high)
        result: Light = np.asarray(Image.fromarray(padded).resize(self._fine[::-1], Image.Resampling.BILINEAR, box=box))
        return result

    def blurred(self, sigma_px: float) -> Light:
        """The depth under a Gaussian of that many fine pixels, by a Fourier transform."""
        waves = np.fft.rfft2(self._depth)
        up = np.fft.fftfreq(self._shape[0]) * self._per_px[0]
        across = np.fft.rfftfreq(self._shape[1]) * self._per_px[1]
        waves *= np.exp(-2 * (math.pi * sigma_px) ** 2 * (up[:, None] ** 2 + across**2))
        result: Light = np.fft.irfft2(waves, self._shape).astype(np.float32)
        return result

    def overshadowed(self, radius_px: float) -> Light:
        """How deep the shadow reaches of what stands between each pixel and a low light from the upper left."""
        left, up = 0.63, 0.78
        step = max(1 / min(self._per_px), radius_px / 3)
        highest = np.full_like(self._depth, -np.inf)
        for count in range(1, math.ceil(5.0 * radius_px / step) + 1):
            away = count * step
            # What stands up and to the left, with top row first: rolled down and to the right.
            shift = round(away * up * self._per_px[0]), round(away * left * self._per_px[1])
            toward = np.roll(self._depth, shift, axis=(0, 1))
            np.maximum(highest, toward - np.float32(away * _LIGHT_SLOPE), out=highest)
        return highest


def _spline(line: Floats, goes_on_px: int, radius_px: float) -> tuple[Floats, Floats, Floats]:
    """The smooth curve through a course's nodes: centres (3, m), unit tangents (3, m) and arc lengths (m,), close
    enough to each other for a tube of that radius.

    A periodic cubic B-spline, whose coefficients come from the nodes by a Fourier transform.
    """
    count = len(line)
    drift = np.outer(np.arange(count) / count, [goes_on_px, 0, 0])
    frequency = 2 * np.pi * np.fft.fftfreq(count)
    weights = np.fft.ifft(np.fft.fft(line - drift, axis=0) / ((4 + 2 * np.cos(frequency)) / 6)[:, None], axis=0).real
    ahead = np.concatenate([line[1:], line[:1] + np.array([goes_on_px, 0, 0])])
    edges = np.linalg.norm(ahead - line, axis=1)
    # The curve is faster than its edge where a longer one is near, and the tube longer on the outer side of a bend.
    longest = np.max([np.roll(edges, near) for near in range(-2, 3)], axis=0)
    ways = (ahead - line) / edges[:, None]
    turns = np.linalg.norm(ways - np.roll(ways, 1, axis=0), axis=1)
    longest += radius_px * np.maximum(turns, np.roll(turns, -1))
    parts = np.maximum(1, np.ceil(longest / _ALONG_PX)).astype(int)
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


_LIGHT_SLOPE: Final = 0.55


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
    phases = len(colours) // math.gcd(len(colours), seen.courses)
    across = min(math.ceil(width_px * scale / wide), math.ceil(_BLOCK_PX * scale / wide))
    up = min(math.ceil(height_px * scale / high), phases * math.ceil(_BLOCK_PX * scale / high / phases))
    table = np.array([_exposed(colour) for colour in colours], dtype=np.float32)
    strips = []
    for tile in range(min(up, phases)):
        rgb = np.empty((high, wide, 3), dtype=np.uint8)
        row = (seen.course.astype(np.int32) + tile * seen.courses) % len(colours)
        for channel, back in enumerate(ground(colours)):
            light = np.where(seen.course == NOTHING, np.float32(back), table[row, channel]) * seen.shade
            light += 255 * seen.gleam
            rgb[..., channel] = np.minimum(light, 255, out=light)
        strips.append(np.tile(rgb, (1, across, 1)))
    # Some repeats together are brought to the picture's pixels, so that rounding to whole ones changes no scale.
    block = Image.fromarray(np.concatenate([strips[tile % phases] for tile in reversed(range(up))]))
    size = max(1, round(across * wide / scale)), max(1, round(up * high / scale))
    small = np.asarray(block.resize(size, Image.Resampling.BOX if scale >= 1 else Image.Resampling.BICUBIC))
    columns = np.arange(width_px) % size[0]
    rows = size[1] - 1 - np.arange(height_px)[::-1] % size[1]
    picture: Picture = small[rows[:, None], columns]
    return picture


_BLOCK_PX: Final = 800


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
    scale = float(np.clip(np.sqrt(_MOST_SEEN / max(repeat_px, 1)), 1.0, 2.25))
    return paint(see(fabric, face, px_per_length * scale), colours, width_px, height_px, scale)


_MOST_SEEN: Final = 1_600_000
