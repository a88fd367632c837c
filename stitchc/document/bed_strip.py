"""The bed drawn as a strip, seen as the knitter sees it: the bed at the top, needles that are out reach down to her.

The shapes differ without colour: a short line (in work); a long line with a triangle pointing down (to bring out) or a
square (out already), filled where the needle tucks, and with a cross-over or a diamond, open, where it slips; a short
line under an open triangle pointing up (to push back), down (to bring forward) or to the side (to move its stitch); and
no line, but an open triangle pointing up (to push right back), an open square (right back) or a dash (out of work) at
the bed's edge.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from stitchc.bed import Needles, needle_name
from stitchc.document.document import Drawing, Label, Path

if TYPE_CHECKING:
    from stitchc.passes import Pass

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

MM_PER_UNIT: Final = 0.26


def marks(needles: Needles, passed: Pass) -> str:
    """A letter for each needle in work, left to right, as it is moved or stands for a pass: "." in work, "o" to bring
    out and tuck, "h" out and tucked, "s" to bring out and slip, "z" out and slipped, "p" to push back into work, "b" to
    push right back, "r" right back, "w" to bring forward to work, "-" out of work."""
    letters = dict.fromkeys(passed.held, "h") | dict.fromkeys(passed.bring_out, "o")
    letters |= dict.fromkeys(passed.push_back, "p") | dict.fromkeys(passed.bring_to_work, "w")
    letters |= {needle: {"h": "z", "o": "s"}[letters[needle]] for needle in passed.slipped}
    letters |= dict.fromkeys(passed.rest, "r") | dict.fromkeys(passed.push_right_back, "b")
    return _in_order(needles, letters | dict.fromkeys(passed.empty, "-"))


def ladder_marks(needles: Needles, passed: Pass, out: Iterable[int], rest: Iterable[int]) -> str:
    """The same while needles go out of work, or come back, ahead of a pass: "<" and ">" for those whose stitch is moved
    to that side. out, rest: needles that stand out, or right back, all the while."""
    letters = dict.fromkeys(out, "h") | dict.fromkeys(rest, "r") | dict.fromkeys(passed.taken_back, "w")
    letters |= dict.fromkeys(passed.empty, "-")
    letters |= dict.fromkeys(passed.moved_left, "<") | dict.fromkeys(passed.moved_right, ">")
    return _in_order(needles, letters)


def _in_order(needles: Needles, letters: Mapping[int, str]) -> str:
    return "".join(letters.get(position, ".") for position in range(needles.first, needles.last + 1))


@functools.lru_cache(maxsize=256)  # a row is measured in many layouts, and drawn for paper and for a screen
def draw(needles: Needles, bed: str) -> Drawing:
    """The strip of a bed (its `marks`): one line, its two ends, or as many lines as have anything to show."""
    if needles.count <= WHOLE_BED:
        lines = [[(needles.first, bed)]]
    elif _goes_on(bed):
        lines = [[(needles.first, bed[:END]), (needles.last - END + 1, bed[-END:])]]
    else:
        parts = [(start, bed[start - needles.first : stop - needles.first]) for start, stop in _lines_of(needles)]
        lines = [[part] for part in parts if set(part[1]) - {".", "-"}] or [[part] for part in parts]
    widest = max(sum(len(part) for _, part in line) + _BREAK * (len(line) - 1) for line in lines)
    shapes = [shape for number, line in enumerate(lines) for shape in _line(line, number * LINE_HEIGHT)]
    return Drawing(tuple(shapes), widest * SLOT + 2 * _SIDE - SLOT, LINE_HEIGHT * len(lines), MM_PER_UNIT, "")


def _goes_on(bed: str) -> bool:
    """Whether the bed between the ends only repeats what the ends show: a period short enough to be seen in each."""
    inner = bed[1:-1].strip(".")
    if len(bed) - len(inner) > END:
        return False
    return any(inner[period:] == inner[:-period] for period in range(1, 3 * END // 4 + 1))


def _lines_of(needles: Needles) -> list[tuple[int, int]]:
    """Stretches of LINE needles counted from the centre outward, as far as the needles in work reach."""
    return [
        (max(line * LINE, needles.first), min((line + 1) * LINE, needles.last + 1))
        for line in range(needles.first // LINE, needles.last // LINE + 1)
    ]


_SIGNS: Final[dict[str, tuple[int, str, tuple[tuple[float, float], ...]]]] = {
    ".": (9, "", ()),
    "o": (22, "solid", ((-4, 22), (4, 22), (0, 33))),
    "h": (22, "solid", ((-3.5, 22), (3.5, 22), (3.5, 29), (-3.5, 29))),
    "s": (22, "open", ((-4, 22), (4, 22), (-4, 33), (4, 33))),
    "z": (22, "open", ((0, 21), (4.5, 27), (0, 33), (-4.5, 27))),
    "p": (9, "open", ((-4, 32), (4, 32), (0, 21))),
    "w": (9, "open", ((-4, 13), (4, 13), (0, 24))),
    "<": (9, "open", ((4, 12), (4, 22), (-4, 17))),
    ">": (9, "open", ((-4, 12), (-4, 22), (4, 17))),
    "b": (0, "open", ((-4, 13), (4, 13), (0, 2))),
    "r": (0, "open", ((-3.5, 2), (3.5, 2), (3.5, 9), (-3.5, 9))),
    "-": (0, "open", ((-3, 5), (3, 5))),
}
"""How long the needle's line is, and what stands at its end, from where it leaves the bed."""


def _signs(places: Iterable[tuple[float, str]], edge: float) -> Iterator[Path]:
    """The needles at these places across, each with its mark, under the bed's edge."""
    strokes: list[tuple[tuple[float, float], ...]] = []
    tips: dict[str, list[tuple[tuple[float, float], ...]]] = {"solid": [], "open": []}
    for x, mark in places:
        length, ink, tip = _SIGNS[mark]
        strokes += [((x, edge), (x, edge + length))] if length else []
        if tip:
            tips[ink].append(tuple((x + dx, edge + dy) for dx, dy in tip))
    yield Path(tuple(strokes))
    if tips["solid"]:
        yield Path(tuple(tips["solid"]), "solid", True)
    if tips["open"]:
        yield Path(tuple(tips["open"]), "open", True)


def _line(parts: Sequence[tuple[int, str]], top: int) -> list[Path | Label]:
    """One line of the strip: labels, the bed's edge, needles. `top` is its upper edge."""
    strokes: list[tuple[tuple[float, float], ...]] = []
    places: list[tuple[float, str]] = []
    labels: list[Label] = []
    edge = top + 17
    place_px = _SIDE - SLOT // 2
    for index, (first, part) in enumerate(parts):
        if index:
            labels.append(Label(place_px + _BREAK * SLOT // 2, edge + 14, "…", size=22))
            place_px += _BREAK * SLOT
        strokes.append(((place_px, edge), (place_px + len(part) * SLOT, edge)))
        places += [(place_px + offset * SLOT + SLOT // 2, mark) for offset, mark in enumerate(part)]
        labels += _labels(first, len(part), place_px, edge)
        if 0 < -first < len(part):
            strokes.append(((place_px - first * SLOT, edge - 4), (place_px - first * SLOT, edge + 4)))
        place_px += len(part) * SLOT
    return [Path(tuple(strokes)), *_signs(places, edge), *labels]


def _number(position: int) -> int:
    return position + 1 if position >= 0 else -position


def _labels(first: int, count: int, place: int, edge: int) -> list[Label]:
    """Names over both ends and every tenth needle between, 0 at the centre; none so close that they touch."""
    wide = 34  # units that a label takes
    last = first + count - 1
    wanted = [first, last, *(n for n in range(first + 1, last) if _number(n) % 10 == 0)]
    places = [(place + (n - first) * SLOT + SLOT // 2, needle_name(n)) for n in wanted]
    if first < 0 <= last:
        places.append((place - first * SLOT, "0"))
    labels: list[Label] = []
    for x, text in places:
        if all(abs(x - other.x) >= wide for other in labels):
            labels.append(Label(x, edge - 5, text, size=16))
    return labels


_LADDERS: Final = {"<": "stitch to left", ">": "stitch to right", "w": "bring forward", "-": "out of work"}

_NAMES: Final = {
    True: {
        "o": "bring out",
        "h": "held",
        "s": "bring out, slip",
        "z": "held, slip",
        "p": "push back",
        "b": "push right back",
        "r": "right back",
        **_LADDERS,
    },
    False: {"h": "tucks", "z": "slips", **_LADDERS},
}
"""What each mark means on a bed whose needles hands move, and on one whose reader does."""


def legend(used: str, by_hand: bool) -> Drawing:
    """The signs among the marks `used` in the strips of a document, each with its name."""
    signs = [(".", "in work"), *((mark, name) for mark, name in _NAMES[by_hand].items() if mark in used)]
    step = 110
    places = [(step // 2 + index * step, mark) for index, (mark, _) in enumerate(signs)]
    labels = [Label(x, 52, name) for (x, _), (_, name) in zip(places, signs, strict=True)]
    edge = Path((((6, 2), (step * len(signs) - 6, 2)),))
    names = ", ".join(name for _, name in signs)
    return Drawing(
        (edge, *_signs(places, 2), *labels),
        step * len(signs),
        58,
        MM_PER_UNIT,
        f"The signs of the bed strips: {names}",
        "The bed as you face it: needles that are out point to you.",
    )
