"""The bed drawn as a strip, seen as the knitter sees it: the bed at the top, needles that are out reach down to her.

Four shapes, told apart without colour: a short line (in work), a long line with a filled triangle pointing down (to
bring out), with a filled square (held), and a short line under an open triangle pointing up (to push back).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from stitchc.bed import Needles, needle_name

SLOT: Final = 10
"""Drawing units from needle to needle."""

WHOLE_BED: Final = 40
"""Needles that one line shows legibly; a wider bed is shown by its ends or in several lines."""

LINE: Final = 50
"""Needles of one line where a bed takes several: half of the common beds a side, or a quarter."""

END: Final = 16
"""Needles shown at each end of a wide bed whose middle only goes on in the same way."""

_BREAK: Final = 3
"""Slots that the break between the two ends takes."""

LINE_HEIGHT: Final = 52

_SIDE: Final = 18
"""Room beside the outermost needles, so that half a label fits."""


@dataclass(frozen=True)
class Drawn:
    """An SVG drawing: its inner markup and size in drawing units."""

    markup: str
    width: int
    height: int


def marks(needles: Needles, held: Iterable[int], bring_out: Iterable[int], push_back: Iterable[int]) -> str:
    """A letter for each needle in work, left to right: "." as it is, "o" to bring out, "h" held and left so, "p" to
    push back."""
    of = dict.fromkeys(held, "h") | dict.fromkeys(bring_out, "o") | dict.fromkeys(push_back, "p")
    return "".join(of.get(position, ".") for position in range(needles.first, needles.last + 1))


def draw(needles: Needles, bed: str) -> Drawn:
    """The strip of a bed (its `marks`): one line, its two ends, or as many lines as have anything to show."""
    if needles.count <= WHOLE_BED:
        return _stacked([[(needles.first, bed)]])
    if _goes_on(bed):
        return _stacked([[(needles.first, bed[:END]), (needles.last - END + 1, bed[-END:])]])
    lines = [
        [(start, bed[start - needles.first : stop - needles.first])]
        for start, stop in _lines_of(needles)
        if set(bed[start - needles.first : stop - needles.first]) != {"."}
    ]
    return _stacked(lines)


def _goes_on(bed: str) -> bool:
    """Whether the bed between the ends only repeats what the ends show: a period short enough to be seen in each."""
    inner = bed[1:-1].strip(".")
    if len(bed) - len(inner) > END:
        return False
    return any(inner[period:] == inner[:-period] for period in range(1, 3 * END // 4 + 1))


def _lines_of(needles: Needles) -> list[tuple[int, int]]:
    """Stretches of LINE needles counted from the centre outward, as far as the needles in work reach."""
    first_line = needles.first // LINE
    last_line = needles.last // LINE
    return [
        (max(line * LINE, needles.first), min((line + 1) * LINE, needles.last + 1))
        for line in range(first_line, last_line + 1)
    ]


def _stacked(lines: Sequence[Sequence[tuple[int, str]]]) -> Drawn:
    width = (
        max(sum(len(part) for _, part in line) + _BREAK * (len(line) - 1) for line in lines) * SLOT + 2 * _SIDE - SLOT
    )
    markup = "".join(_line(line, index * LINE_HEIGHT) for index, line in enumerate(lines))
    return Drawn(markup, width, LINE_HEIGHT * len(lines))


def _line(parts: Sequence[tuple[int, str]], top: int) -> str:
    """One line of the strip: labels, the bed's edge, needles. `top` is its upper edge."""
    path: list[str] = []  # strokes
    solid: list[str] = []  # filled shapes
    hollow: list[str] = []  # open shapes
    labels: list[str] = []
    edge = top + 17
    at = _SIDE - SLOT // 2
    for index, (first, part) in enumerate(parts):
        if index:
            middle = at + _BREAK * SLOT // 2
            labels.append(f'<text x="{middle}" y="{edge + 14}" class="gap">…</text>')
            at += _BREAK * SLOT
        path.append(f"M{at} {edge}H{at + len(part) * SLOT}")
        for offset, mark in enumerate(part):
            x = at + offset * SLOT + SLOT // 2
            if mark == ".":
                path.append(f"M{x} {edge}v9")
            elif mark == "o":
                path.append(f"M{x} {edge}v22")
                solid.append(f"M{x - 4} {edge + 22}h8l-4 11z")
            elif mark == "h":
                path.append(f"M{x} {edge}v22")
                solid.append(f"M{x - 3.5:g} {edge + 22}h7v7h-7z")
            else:
                path.append(f"M{x} {edge}v9")
                hollow.append(f"M{x - 4} {edge + 32}h8l-4 -11z")
        labels += _labels(first, len(part), at, edge)
        centre = -first
        if 0 < centre < len(part):
            path.append(f"M{at + centre * SLOT} {edge - 4}v8")
        at += len(part) * SLOT
    return (
        f'<path d="{"".join(path)}" class="n"/>'
        + (f'<path d="{"".join(solid)}" class="f"/>' if solid else "")
        + (f'<path d="{"".join(hollow)}" class="w"/>' if hollow else "")
        + "".join(labels)
    )


def _number(position: int) -> int:
    return position + 1 if position >= 0 else -position


def _labels(first: int, count: int, at: int, edge: int) -> list[str]:
    """Names over both ends and every tenth needle between, 0 at the centre; none so close that they touch."""
    wide = 34  # units that a label takes
    last = first + count - 1
    wanted = [first, last]
    wanted += [n for n in range(first + 1, last) if _number(n) % 10 == 0]
    placed: list[int] = []
    labels = []

    def put(x: int, text: str) -> None:
        if all(abs(x - other) >= wide for other in placed):
            placed.append(x)
            labels.append(f'<text x="{x}" y="{edge - 5}">{text}</text>')

    for position in wanted:
        put(at + (position - first) * SLOT + SLOT // 2, needle_name(position))
    if first < 0 <= last:
        put(at - first * SLOT, "0")
    return labels
