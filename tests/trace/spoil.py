"""Pictures that nobody would draw, spoilt in ways that nobody would choose: each is read or refused, and soon.

Run `python tests/trace/spoil.py MINUTES [SEED]` to go on looking. Charts of ours and of others, blocks of any colours
with lines and without, turned, cut, blurred, mirrored, doubled, in any form and mode of file, some with bytes changed,
are given to `trace` with options chosen blindly. What raises anything but a refusal, or warns of a number that is none,
or takes more than SECONDS of processor time, is written out with its picture into a new folder.
"""

from __future__ import annotations

import io
import random
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageOps

sys.path.insert(0, str(Path(__file__).parent))

from accuracy import SOURCES, chart_of

from stitchc.messages import Refused
from stitchc.trace import Ask, trace

SECONDS = 8.0
_MOST_PX = 250_000
"""Larger pictures take seconds each; one in fifty is let through up to eight times that."""


def blocks(dice: random.Random) -> Image.Image:
    """Cells of a few colours, from a pixel to 24 a side, some with lines, some with a margin."""
    columns, rows = dice.choice((1, 2, 3, 5, 8, 13, 24)), dice.choice((1, 2, 3, 4, 8, 16, 40))
    px, kinds = dice.choice((1, 2, 3, 5, 8, 12, 17, 24)), dice.choice((2, 2, 2, 3, 4, 9))
    numbers = np.random.default_rng(dice.randrange(1 << 30))
    cells = numbers.integers(0, 256, (kinds, 3), dtype=np.uint8)[numbers.integers(0, kinds, (rows, columns))]
    pixels = np.kron(cells, np.ones((px, px, 1), np.uint8)).astype(np.uint8)
    if px > 2 and dice.random() < 0.6:
        line, thick = numbers.integers(0, 256, 3), dice.choice((1, 1, 2, 3))
        for offset in range(thick):
            pixels[offset::px] = line
            pixels[:, offset::px] = line
        if dice.random() < 0.6:
            pixels = np.pad(pixels, ((0, thick), (0, thick), (0, 0)), constant_values=int(line[0]))
    if dice.random() < 0.5:
        one, other, paper = dice.randrange(20), dice.randrange(20), dice.choice((0, 255, 200))
        pixels = np.pad(pixels, ((one, other), (other, one), (0, 0)), constant_values=paper)
    return Image.fromarray(pixels)


def _grain(image: Image.Image, dice: random.Random) -> Image.Image:
    pixels = np.asarray(image).astype(float)
    noise = np.random.default_rng(dice.randrange(9999)).normal(0, dice.uniform(1, 40), pixels.shape)
    return Image.fromarray((pixels + noise).clip(0, 255).astype(np.uint8))


def _cut(image: Image.Image, dice: random.Random) -> Image.Image:
    width, height = image.size
    left, top = dice.randrange(max(1, width // 2)), dice.randrange(max(1, height // 2))
    right, bottom = width - dice.randrange(max(1, width // 3)), height - dice.randrange(max(1, height // 3))
    return image.crop((left, top, max(left + 1, right), max(top + 1, bottom)))


def _scratched(image: Image.Image, dice: random.Random) -> Image.Image:
    scratched = image.copy()
    ends = [dice.randrange(size) for size in (*image.size, *image.size)]
    ImageDraw.Draw(scratched).line(ends, fill=(0, 0, 0), width=dice.randrange(1, 6))
    return scratched


def _twice(image: Image.Image, dice: random.Random) -> Image.Image:
    both = Image.new("RGB", (2 * image.width + 3, 2 * image.height + 3), (255, 255, 255))
    both.paste(image, (0, 0))
    both.paste(image, (image.width + 3, image.height + 3))
    return both


def _askew(image: Image.Image, dice: random.Random) -> Image.Image:
    width, height = image.size
    corners = (0, 0, dice.randrange(5), height, width, height - dice.randrange(5), width - dice.randrange(4), 0)
    return image.transform((width, height), Image.Transform.QUAD, corners, fillcolor=(255, 255, 255))


def _resized(image: Image.Image, dice: random.Random) -> Image.Image:
    size = [max(1, int(side * dice.uniform(0.3, 1.7))) for side in image.size]
    return image.resize((size[0], size[1]), Image.Resampling(dice.randrange(4)))


SPOILING: tuple[Callable[[Image.Image, random.Random], Image.Image], ...] = (
    lambda image, dice: image.rotate(dice.uniform(-8, 8), expand=dice.random() < 0.5, fillcolor=(255, 255, 255)),
    lambda image, dice: image.rotate(dice.choice((90, 180, 270)), expand=True),
    lambda image, dice: image.filter(ImageFilter.GaussianBlur(dice.uniform(0.3, 2.5))),
    lambda image, dice: ImageOps.invert(image),
    lambda image, dice: ImageOps.mirror(image),
    lambda image, dice: ImageOps.posterize(image, dice.choice((1, 2, 4))),
    lambda image, dice: ImageOps.expand(image, dice.randrange(1, 30), tuple(dice.randrange(256) for _ in range(3))),
    lambda image, dice: image.convert("L").point(lambda value: 255 * (value > 128)).convert("RGB"),
    _grain,
    _cut,
    _scratched,
    _twice,
    _askew,
    _resized,
)


def written(image: Image.Image, dice: random.Random) -> bytes:
    """The picture as a file of some form, one in twenty with some bytes changed or its end missing."""
    form = dice.choice(("PNG", "PNG", "PNG", "PNG", "PNG", "JPEG", "GIF", "BMP", "TIFF", "WEBP"))
    mode = dice.choice(("RGB", "RGB", "RGB", "RGB", "L", "1", "P", "RGBA", "LA", "CMYK", "I;16"))
    held = io.BytesIO()
    try:
        if mode == "I;16":
            form = "PNG"
            image = Image.fromarray(np.asarray(image.convert("L")).astype(np.uint16) * 257)
        else:
            image = image.convert(mode)
        image.save(held, form)
    except (OSError, ValueError, KeyError):  # a form that does not have this mode
        held = io.BytesIO()
        image.convert("RGB").save(held, "PNG")
    content = bytearray(held.getvalue())
    if dice.random() < 0.05:
        for _ in range(dice.randrange(1, 6)):
            content[dice.randrange(len(content))] = dice.randrange(256)
        if dice.random() < 0.4:
            del content[dice.randrange(len(content)) :]
    return bytes(content)


def asked(dice: random.Random) -> Ask:
    """What a user may say, chosen blindly."""
    said: dict[str, Any] = {}
    if dice.random() < 0.5:
        said["notation"] = dice.choice(("auto", "squared", "thread", "plain", "marks"))
    if dice.random() < 0.4:
        said["grid"] = dice.choice(("auto", "lines", "pixels", "even"))
    if said.get("grid") == "even" or dice.random() < 0.15:
        said["cells"] = (dice.randrange(1, 50), dice.randrange(1, 60))
    if dice.random() < 0.2:
        left, top = dice.randrange(60), dice.randrange(60)
        said["box_px"] = (left, top, left + dice.randrange(1, 300), top + dice.randrange(1, 300))
    if dice.random() < 0.3:
        said["repeat"] = dice.choice(("smallest", "whole", (dice.randrange(1, 30), dice.randrange(1, 30))))
    if dice.random() < 0.2:
        said["first_row"] = dice.choice(("bottom", "top"))
    if dice.random() < 0.2:
        said["face"] = dice.choice(("purl", "knit"))
    if dice.random() < 0.1:
        said["sure"] = dice.random()
    return Ask(**said)


def case(seed: int) -> tuple[bytes, Ask]:
    """The picture and the question of one seed."""
    dice = random.Random(seed)
    while True:
        drawn = dice.choice(SOURCES).picture(chart_of(dice.randrange(10_000))) if dice.random() < 0.5 else blocks(dice)
        image = drawn.convert("RGB")
        for _ in range(dice.choice((0, 1, 1, 2, 3))):
            image = dice.choice(SPOILING)(image, dice)
        if image.width * image.height <= _MOST_PX * (8 if dice.random() < 0.02 else 1):
            return written(image, dice), asked(dice)


def attempt(content: bytes, ask: Ask) -> bool:
    """Whether the picture was read; False where it was refused. Raises what `trace` should not."""
    began = time.process_time()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            trace(content, "chart.png", ask)
        read = True
    except Refused:
        read = False
    took = time.process_time() - began
    assert took < SECONDS, f"{took:.1f} s"
    return read


def main(minutes: float, seed: int) -> None:
    """Go on from the seed until the time is over, and tell how it went."""
    found: Path | None = None
    tried = read = faults = 0
    places = set()
    end = time.monotonic() + 60 * minutes
    while time.monotonic() < end:
        content, ask = case(seed + tried)
        tried += 1
        try:
            read += attempt(content, ask)
        except Exception as error:
            faults += 1
            last = traceback.extract_tb(error.__traceback__)[-1]
            if (last.filename, last.lineno) in places:
                continue
            places.add((last.filename, last.lineno))
            found = found or Path(tempfile.mkdtemp(prefix="spoilt-"))
            (found / f"{seed + tried - 1}").write_bytes(content)
            (found / f"{seed + tried - 1}.txt").write_text(f"{ask}\n{traceback.format_exc()}", "utf-8")
    told = f", at {len(places)} places: {found}" if found else ""
    print(f"{tried} pictures, {read} read, {tried - read - faults} refused, {faults} faults{told}")


if __name__ == "__main__":
    main(float(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0)
