"""The outline of a piece with its measures, to scale, as a drawing for the head of its document."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from stitchc.document import Drawing, Label, Path
from stitchc.english import several
from stitchc.piece.plan import Plan
from stitchc.piece.size_words import CM_PER_INCH, Units, rows_words

_MOST_WIDE: Final = 210.0
_MOST_HIGH: Final = 260.0
_LETTER: Final = 7.6
"""Width of a letter of the labels, in drawing units, on the wide side."""
_LEAST_BAND: Final = 15.0
"""Height in drawing units under which a section's name would not fit into its band; it is then left out."""
_CORNER: Final = 8.0


def outline(plans: Sequence[Plan], units: Units) -> Drawing | None:
    """A rectangle for each section from the bottom up, each as wide as it will lie; None where sizes are not known.

    Drawn to scale in the first size, the measures of the others in brackets; they are the middle of their ranges.
    """
    plan = plans[0]
    of_whole = [(each.width_cm, each.length_cm) for each in plans]
    lengths = [plan.length_of(section) for section in plan.sections]
    widths = [plan.width_of(section) for section in plan.sections]
    bands = [
        (section, length.value, width.value)
        for section, length, width in zip(plan.sections, lengths, widths, strict=True)
        if length is not None and width is not None
    ]
    long, widest = sum(length for _, length, _ in bands), max((width for *_, width in bands), default=0.0)
    if any(None in sizes for sizes in of_whole) or len(bands) < len(plan.sections) or widest <= 0 or long <= 0:
        return None
    scale = min(_MOST_WIDE / widest, _MOST_HIGH / long)
    across, height = max(widest * scale, 6.0), max(long * scale, 6.0)
    per = 1.0 if units == "cm" else 1 / CM_PER_INCH
    shapes: list[Path | Label] = []
    longest = 0
    base = bottom = _CORNER + height
    label_at: float | None = None
    for section, length, width in bands:
        band, wide = length / long * height, max(width / widest * across, 6.0)
        left, top = _CORNER + (across - wide) / 2, bottom - band
        corners = ((left, top), (left + wide, top), (left + wide, bottom), (left, bottom))
        shapes.append(Path((corners,), "open" if section.is_plain else "shade", True))
        middle = top + band / 2
        if section.step is not None and (label_at is None or label_at - middle >= _LEAST_BAND):
            label = f"{section.stitch}, {rows_words(section)}: {length * per:.1f} {units}"
            longest = max(longest, len(label))
            end = _CORNER + across + 14
            shapes += [Path((((left + wide, middle), (end, middle)),)), Label(end + 4, middle + 4, label, "start")]
            label_at = middle
        bottom = top
    wide_words = f"{several([f'{width.value * per:.1f}' for width, _ in of_whole if width])} {units} wide"
    long_words = several([f"{length.value * per:.1f}" for _, length in of_whole if length])
    long_words += f" {units} long in all, from the bottom up"
    right = _CORNER + across
    rule = (((_CORNER, base + 8), (_CORNER, base + 16)), ((_CORNER, base + 12), (right, base + 12)),
            ((right, base + 8), (right, base + 16)))  # fmt: skip
    shapes += [
        Path(rule),
        Label(_CORNER, base + 30, wide_words, "start"),
        Label(_CORNER, base + 46, long_words, "start"),
    ]
    box = _CORNER + max(across + 22 + longest * _LETTER, len(long_words) * _LETTER, 360)
    alt = f"The piece in outline: {wide_words}, {long_words}"
    return Drawing(tuple(shapes), box, base + 54, 0.26, alt, "The first size, to scale." if len(plans) > 1 else "")
