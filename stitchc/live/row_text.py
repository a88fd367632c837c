"""The cells of a row as they are written: which run gives which cells, and the same text with one cell changed.

Takes text that the notation has accepted; the reading itself is `stitchc.notation`'s.
"""

from __future__ import annotations

import re
from typing import Final, NamedTuple

_PIECE: Final = re.compile(r"([KTSkts])([0-9]*)|(\()|\)\s*[xX×]\s*([0-9]+)")


class Run(NamedTuple):
    """A letter with its count, and where it stands in the text; start is -1 for one that is not written there."""

    letter: str
    times: int
    start: int = -1
    end: int = -1

    @property
    def width(self) -> int:
        return self.times


class Group(NamedTuple):
    """Brackets and their count."""

    parts: tuple[Run | Group, ...]
    times: int
    start: int = -1
    end: int = -1

    @property
    def width(self) -> int:
        return self.times * _width(self.parts)


Part = Run | Group


def parse(text: str) -> tuple[Part, ...]:
    """The runs and groups of a row's cells."""
    opened: list[tuple[int, list[Part]]] = []
    parts: list[Part] = []
    for match in _PIECE.finditer(text):
        letter, count, opening, times = match.groups()
        if letter:
            parts.append(Run(letter, int(count or 1), match.start(), match.end()))
        elif opening:
            opened.append((match.start(), parts))
            parts = []
        elif opened:
            start, outer = opened.pop()
            outer.append(Group(tuple(parts), int(times), start, match.end()))
            parts = outer
    return tuple(parts)


def cells_by_run(text: str) -> list[tuple[int, int, list[int]]]:
    """For each run its start and end in the text and the cells it gives, counted from 0, each time through."""
    return [(start, end, sorted(cells)) for (start, end), cells in sorted(_cells_of(parse(text), 0).items())]


def _cells_of(parts: tuple[Part, ...], first: int) -> dict[tuple[int, int], list[int]]:
    cells: dict[tuple[int, int], list[int]] = {}
    for part in parts:
        if isinstance(part, Run):
            cells.setdefault((part.start, part.end), []).extend(range(first, first + part.times))
        else:
            inner, width = _cells_of(part.parts, 0), _width(part.parts)
            for place, offsets in inner.items():
                each = [first + time * width + offset for time in range(part.times) for offset in offsets]
                cells.setdefault(place, []).extend(each)
        first += part.width
    return cells


def with_cell(text: str, width: int, index: int, letter: str) -> str:
    """The row with the cell at `index` (from 0) become `letter`, in the writer's own form as far as it goes.

    width: cells of the whole row; a text that is shorter repeats to it, and is written out where it must be. What the
    change does not touch stays as it is written; a row in single letters stays in single letters.
    """
    text = text.strip()
    parts = parse(text)
    times = width // _width(parts)
    letter = letter.lower() if text.islower() else letter
    if _in_single_letters(text):
        letters = re.sub(r"\s", "", text) * times
        return (" " if " " in text else "").join(letters[:index] + letter + letters[index + 1 :])
    if times > 1:
        only = parts[0] if len(parts) == 1 else None
        parts = (Run(only.letter, only.times * times) if isinstance(only, Run) else Group(parts, times),)
    return _written(_changed(parts, index, letter), text)


def _in_single_letters(text: str) -> bool:
    """Whether its writer gives every cell a letter of its own: `KKTK`, `K K T K`."""
    if re.search(r"[0-9(]", text):
        return False
    return bool(re.search(r"([KTSkts])\s*\1", text)) or (" " not in text and len(text) > 2)


def _width(parts: tuple[Part, ...]) -> int:
    return sum(part.width for part in parts)


def _changed(parts: tuple[Part, ...], index: int, letter: str) -> tuple[Part, ...]:
    """The parts with one cell changed, neighbours of one letter made one run where the change made them."""
    first = 0
    for number, part in enumerate(parts):
        offset = index - first
        if offset < part.width:
            before, after = parts[:number], parts[number + 1 :]
            return (*before[:-1], *_joined((*before[-1:], *_split(part, offset, letter), *after[:1])), *after[1:])
        first += part.width
    return parts


def _split(part: Part, offset: int, letter: str) -> tuple[Part, ...]:
    if isinstance(part, Run):
        if part.letter.upper() == letter.upper():
            return (part,)
        runs = (Run(part.letter, offset), Run(letter, 1), Run(part.letter, part.times - offset - 1))
        return tuple(run for run in runs if run.times)
    times, within = divmod(offset, _width(part.parts))
    inner = _changed(part.parts, within, letter)
    return (*_repeated(part, times), *inner, *_repeated(part, part.times - times - 1))


def _repeated(group: Group, times: int) -> tuple[Part, ...]:
    if times == 0:
        return ()
    return group.parts if times == 1 else (Group(group.parts, times),)


def _joined(parts: tuple[Part, ...]) -> tuple[Part, ...]:
    """Runs of one letter that stand side by side as one; those as written alone keep their place in the text."""
    out: list[Part] = []
    for part in parts:
        last = out[-1] if out else None
        if isinstance(part, Run) and isinstance(last, Run) and part.letter.upper() == last.letter.upper():
            out[-1] = Run(last.letter, last.times + part.times)
        else:
            out.append(part)
    return tuple(out)


def _written(parts: tuple[Part, ...], text: str) -> str:
    return " ".join(_part_written(part, text) for part in parts)


def _part_written(part: Part, text: str) -> str:
    if part.start >= 0:
        return text[part.start : part.end]
    if isinstance(part, Run):
        return part.letter if part.times == 1 else f"{part.letter}{part.times}"
    return f"({_written(part.parts, text)})x{part.times}"
