"""The outline of a piece with its measures, to scale, as an SVG element for the head of the print page."""

from __future__ import annotations

from html import escape
from typing import Final

from stitchc.messages import visible
from stitchc.piece.values import Plan
from stitchc.piece.words import CM_PER_INCH, Units, rows_words

_MOST_WIDE: Final = 210.0
_MOST_HIGH: Final = 260.0
_LETTER: Final = 7.6
"""Width of a letter of the labels, in drawing units, on the wide side."""
_LEAST_BAND: Final = 15.0
"""Height in drawing units under which a section's name would not fit into its band; it is then left out."""


def outline(plan: Plan, units: Units) -> str:
    """A rectangle for each section from the bottom up, as wide as the whole; empty where the sizes are not known.

    Drawn to scale; the measures are the middle of their ranges. All text is escaped here.
    """
    if plan.width_cm is None or plan.length_cm is None:
        return ""
    lengths = [plan.length_of(section) for section in plan.sections]
    if any(length is None for length in lengths):
        return ""
    wide = plan.width_cm.value
    long = sum(length.value for length in lengths if length is not None)
    if wide <= 0 or long <= 0:
        return ""
    scale = min(_MOST_WIDE / wide, _MOST_HIGH / long)
    width, height = max(wide * scale, 6.0), max(long * scale, 6.0)
    left, top = 8.0, 8.0
    per = 1.0 if units == "cm" else 1 / CM_PER_INCH
    parts: list[str] = []
    labels: list[str] = []
    longest = 0
    bottom = top + height
    label_at: float | None = None
    for section, length in zip(plan.sections, lengths, strict=True):
        assert length is not None
        band = length.value / long * height
        y = bottom - band
        shade = "" if section.is_plain else ' class="patterned"'
        parts.append(f'<rect x="{left:.1f}" y="{y:.1f}" width="{width:.1f}" height="{band:.1f}"{shade}/>')
        middle = y + band / 2
        if section.step is not None and (label_at is None or label_at - middle >= _LEAST_BAND):
            label = f"{section.stitch}, {rows_words(section)}: {length.value * per:.1f} {units}"
            longest = max(longest, len(label))
            labels.append(
                f'<path d="M{left + width:.1f} {middle:.1f}h14"/>'
                f'<text x="{left + width + 18:.1f}" y="{middle + 4:.1f}">{escape(visible(label))}</text>'
            )
            label_at = middle
        bottom = y
    wide_words = f"{wide * per:.1f} {units} wide"
    long_words = f"{plan.length_cm.value * per:.1f} {units} long in all, from the bottom up"
    base = top + height
    labels.append(
        f'<path d="M{left:.1f} {base + 8:.1f}v8M{left:.1f} {base + 12:.1f}h{width:.1f}'
        f'M{left + width:.1f} {base + 8:.1f}v8"/>'
        f'<text x="{left:.1f}" y="{base + 30:.1f}">{wide_words}</text>'
        f'<text x="{left:.1f}" y="{base + 46:.1f}">{long_words}</text>'
    )
    box_width = left + max(width + 22 + longest * _LETTER, len(long_words) * _LETTER, 360)
    box_height = base + 54
    return (
        f'<svg class="outline" viewBox="0 0 {box_width:.0f} {box_height:.0f}" role="img" '
        f'aria-label="The piece in outline: {wide_words}, {long_words}">{"".join(parts)}{"".join(labels)}</svg>'
    )
