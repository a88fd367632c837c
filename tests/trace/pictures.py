"""Charts drawn in ways of other people's, with nothing of ours, and what scanners and cameras do to pictures."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFilter


@dataclass(frozen=True)
class Style:
    """How a chart is drawn. mark: fill, inset, dot, cross or blocks (fill without lines)."""

    mark: str = "fill"
    cell_px: int = 20
    line_px: int = 1
    line: tuple[int, int, int] = (120, 120, 120)
    paper: tuple[int, int, int] = (255, 255, 255)
    tuck: tuple[int, int, int] = (20, 20, 20)
    slip: tuple[int, int, int] = (190, 40, 40)
    margin_px: int = 30
    lettered: bool = False
    heavy_every: int = 0


def drawn(rows: list[str], style: Style) -> Image.Image:
    """Rows of K, T and S, first knitted first, as a picture with row 1 at the bottom."""
    height, width = len(rows), len(rows[0])
    step, margin = style.cell_px, style.margin_px
    image = Image.new("RGB", (width * step + 2 * margin + style.line_px, height * step + 2 * margin + style.line_px))
    image.paste(style.paper, (0, 0, *image.size))
    draw = ImageDraw.Draw(image)
    for row, letters in enumerate(reversed(rows)):
        for column, letter in enumerate(letters):
            if letter == "K":
                continue
            colour = style.tuck if letter == "T" else style.slip
            left, top = margin + column * step, margin + row * step
            box = (left, top, left + step - 1, top + step - 1)
            if style.mark in ("fill", "blocks"):
                draw.rectangle(box, fill=colour)
            elif style.mark == "inset":
                inset = step // 6
                draw.rectangle((box[0] + inset, box[1] + inset, box[2] - inset, box[3] - inset), fill=colour)
            elif style.mark == "dot":
                inset = step // 4
                draw.ellipse((box[0] + inset, box[1] + inset, box[2] - inset, box[3] - inset), fill=colour)
            else:
                inset = step // 5
                thick = max(1, step // 9)
                draw.line((box[0] + inset, box[1] + inset, box[2] - inset, box[3] - inset), fill=colour, width=thick)
                draw.line((box[0] + inset, box[3] - inset, box[2] - inset, box[1] + inset), fill=colour, width=thick)
    if style.mark != "blocks":
        for column in range(width + 1):
            x = margin + column * step
            thick = style.line_px * (2 if style.heavy_every and column % style.heavy_every == 0 else 1)
            draw.rectangle((x, margin, x + thick - 1, margin + height * step + style.line_px - 1), fill=style.line)
        for row in range(height + 1):
            y = margin + row * step
            thick = style.line_px * (2 if style.heavy_every and row % style.heavy_every == 0 else 1)
            draw.rectangle((margin, y, margin + width * step + style.line_px - 1, y + thick - 1), fill=style.line)
    if style.lettered:
        for row in range(height):
            draw.text((4, margin + row * step + 2), str(height - row), fill=(0, 0, 0))
        draw.text((margin, 4), "A chart with a title over it", fill=(0, 0, 0))
    return image


def distorted(
    image: Image.Image,
    seed: int,
    *,
    turned_deg: float = 0.0,
    blur_px: float = 0.0,
    noise: float = 0.0,
    shade: float = 0.0,
    jpeg: int | None = None,
) -> Image.Image:
    """What a scanner or camera does. noise: standard deviation of 255; shade: light lost in the darkest corner."""
    random = np.random.default_rng(seed)
    if turned_deg:
        paper = image.getpixel((0, 0))
        image = image.rotate(turned_deg, Image.Resampling.BICUBIC, expand=True, fillcolor=paper)
    if blur_px:
        image = image.filter(ImageFilter.GaussianBlur(blur_px))
    values = np.asarray(image).astype(np.float64)
    if shade:
        y, x = np.mgrid[0 : values.shape[0], 0 : values.shape[1]]
        direction = random.uniform(0, 2 * np.pi)
        u = (x / values.shape[1] - 0.5) * np.cos(direction) + (y / values.shape[0] - 0.5) * np.sin(direction)
        fall = u + 0.6 * u * u
        fall = (fall - fall.min()) / (fall.max() - fall.min())
        values *= (1 - shade * fall)[:, :, None]
    if noise:
        values += random.normal(0, noise, values.shape[:2])[:, :, None] + random.normal(0, noise / 2, values.shape)
    image = Image.fromarray(np.clip(values, 0, 255).astype(np.uint8))
    if jpeg is not None:
        held = io.BytesIO()
        image.save(held, "JPEG", quality=jpeg)
        image = Image.open(held).convert("RGB")
    return image


def png(image: Image.Image) -> bytes:
    held = io.BytesIO()
    image.save(held, "PNG")
    return held.getvalue()
