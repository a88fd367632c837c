"""The legend of a drawn chart: boxes with a sign or a yarn in each, what they mean, and a sentence or two under them.

Knows items of a page and words; not what the words are about.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from stitchc.page import Item, Text
from stitchc.page.items import moved
from stitchc.page.lettering import fitted, width_mm

LETTERING: Final = "#202020"
"""The ink of words on a drawn chart."""


@dataclass(frozen=True)
class Legend:
    """Boxes with words, in as many lines as they need, and a sentence or two under them."""

    entries: tuple[tuple[tuple[Item, ...], str], ...]
    words: tuple[str, ...]
    width_mm: float

    @property
    def height_mm(self) -> float:
        return 6.2 * len(self._rows()) + 1.0 + 3.8 * len(self.words)

    def _rows(self) -> list[list[tuple[float, tuple[Item, ...], str]]]:
        rows: list[list[tuple[float, tuple[Item, ...], str]]] = [[]]
        x = 0.0
        for box, words in self.entries:
            words = fitted(words, self.width_mm - 6.5, 2.8)
            wide = 6.5 + width_mm(words, 2.8)
            if rows[-1] and x + wide > self.width_mm:
                rows.append([])
                x = 0.0
            rows[-1].append((x, box, words))
            x += wide + 6.0
        return rows

    def words_at(self, left: float, top: float) -> Iterator[Item]:
        """Its words, with its upper left corner there."""
        y = top
        for row in self._rows():
            for x, _, words in row:
                yield Text(left + x + 6.2, y + 3.3, words, 2.8, fill=LETTERING)
            y += 6.2
        y += 3.2
        for line in self.words:
            yield Text(left, y, line, 2.6, fill=LETTERING)
            y += 3.8

    def boxes_at(self, left: float, top: float) -> Iterator[Item]:
        """Its signs and yarns, likewise."""
        for number, row in enumerate(self._rows()):
            for across, box, _ in row:
                for item in box:
                    yield moved(item, left + across, top + 6.2 * number)
