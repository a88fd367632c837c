"""The cells of one row: runs such as K and K3, groups such as (K3 T)x4, and everything that can be wrong in them.

A row's size is known before anything is allocated. Plain rows take a fast path by one
regular expression.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Final, NamedTuple

import numpy as np

from stitchc.chart import KNIT, MAX_CELLS, SLIP, TUCK, Cells
from stitchc.messages import Message, Span
from stitchc.notation.tree import Word
from stitchc.notation.vocabulary import DEEPEST, count_message

_MOST_WRONG: Final = 500
"""Wrong characters after which a row is given up."""

_MOST_BLAMED: Final = 20
"""Mistakes looked at in one row, of which the gravest is reported."""

_LONGEST_PLAIN: Final = 4000
"""Characters of a row that is expanded while it is read: with three figures a run that is less than MAX_CELLS."""

# Letters are spelled out: ignoring case would also let in U+212A and U+017F, which only look like K and s.
# Possessive repeats keep no way back, and so no memory for each needle.
_PLAIN_ROW = re.compile(r"(?:[KTSkts](?:[1-9][0-9]{0,2}+)?+\s*+)++")
_RUN = re.compile("[KTSkts][0-9]*")
_PIECE = r"\s*(?:([KTSkts])([0-9]*)|(\()|(\))\s*(?:([xX×])\s*([0-9]*))?|(.))"
_TIMES = r"[xX×]\s*[0-9]+"
_CODES: Final = bytes.maketrans(b"KTSkts", bytes([KNIT, TUCK, SLIP] * 2))


class _Part(NamedTuple):
    """A run or a group. cells: the codes of one round, or what they are made from."""

    cells: bytes | list[_Part]
    times: int


class RowCells(NamedTuple):
    """A row's cells, read but not yet expanded where that may take much memory. width: needles, at most MAX_CELLS."""

    width: int
    cells: bytes | list[_Part]

    def expand(self) -> Cells:
        """The cells as an array of `width` codes."""
        return np.frombuffer(_codes(self.cells), dtype=np.uint8)


def _codes(cells: bytes | list[_Part]) -> bytes:
    return cells if isinstance(cells, bytes) else b"".join(_codes(part.cells) * part.times for part in cells)


@cache
def _plain_run(text: str) -> bytes:
    return text[:1].encode().translate(_CODES) * int(text[1:] or 1)


def read_cells(word: Word) -> tuple[RowCells | None, list[Message]]:
    """The cells of a row, or None with the messages that say what is wrong (N101, N102, N110, N111, N115)."""
    text = word.text
    bare = text.replace(" ", "")
    if bare and not bare.strip("KTSkts"):  # letters alone, and no expression is needed
        return _fitting(len(bare), bare.encode().translate(_CODES), word)
    if len(text) <= _LONGEST_PLAIN and _PLAIN_ROW.fullmatch(text):
        codes = b"".join(map(_plain_run, _RUN.findall(text)))
        return RowCells(len(codes), codes), []
    return _Scanner(word).read()


def _fitting(width: int, cells: bytes | list[_Part], word: Word) -> tuple[RowCells | None, list[Message]]:
    if width > MAX_CELLS:
        return None, [_too_wide(f"{width:,}", word)]
    return RowCells(width, cells), []


def _too_wide(needles: str, word: Word) -> Message:
    text = f"This row is {needles} needles wide; a chart has at most {MAX_CELLS:,} cells."
    return Message("N110", "error", text, word.span, advice="Write a shorter row; it is repeated for you.")


class _Open(NamedTuple):
    """A group whose `)` is still to come. start: where it opens. parts, width: of what stands before it.

    blamed: how many messages there were when it was opened.
    """

    start: int
    parts: list[_Part]
    width: int
    blamed: int


class _Scanner:
    """Reads a row with groups, or one that has a mistake in it, piece by piece.

    parts, width: of the innermost group that is open, or of the row itself; the width stops growing past MAX_CELLS.
    """

    def __init__(self, word: Word) -> None:
        self.word = word
        self.messages: list[Message] = []
        self.blamed: set[str] = set()
        self.position = 0
        self.parts: list[_Part] = []
        self.width = 0
        self.open: list[_Open] = []

    def span_of(self, start: int, end: int) -> Span:
        span = self.word.span
        return Span(span.file, span.line, span.column + start, max(1, end - start))

    def blame(self, message: Message, once_for: str = "") -> None:
        """Keep the message; of several alike in one row (the same wrong letter) only the first."""
        key = once_for or f"{message.code}{message.span}"
        if key not in self.blamed and len(self.messages) < _MOST_BLAMED:
            self.blamed.add(key)
            self.messages.append(message)

    def read(self) -> tuple[RowCells | None, list[Message]]:
        text = self.word.text
        piece, times_of = re.compile(_PIECE), re.compile(_TIMES)  # only rows with groups need them
        too_wide = False
        wrong = 0
        end = len(text.rstrip())
        while self.position < end:
            match = piece.match(text, self.position)
            assert match is not None
            self.position = match.end()
            letter, count_text, opening, closing, *_ = match.groups()
            if letter:
                count = self.count(count_text, match.span(2)) if count_text else 1
                self.parts.append(_Part(_plain_run(letter), count))
                self.width += count
            elif opening or closing:
                if not (self.opened(match.start(3)) if opening else self.closed(match)):
                    return None, self.gravest()
            elif self.open and (forgotten := times_of.match(text, match.start(7))):
                self.closed_by_its_count(forgotten.end())
            else:
                self.position = self.wrong(match.start(7))
                wrong += 1
                if wrong > _MOST_WRONG:
                    return None, self.gravest()
            if self.width > MAX_CELLS:
                too_wide = True
                self.width = MAX_CELLS + 1
        for group in self.open:
            self.unclosed(group.start)
        if self.messages:
            return None, self.gravest()
        if too_wide:
            return None, [_too_wide(f"more than {MAX_CELLS:,}", self.word)]
        return _fitting(self.width, self.parts, self.word)

    def gravest(self) -> list[Message]:
        """One message for the row: the first, or the first that is not about signs between the cells."""
        return [next((m for m in self.messages if not m.text.startswith("Cells follow")), self.messages[0])]

    def opened(self, start: int) -> bool:
        """Take in a `(`; False where groups nest too deep to go on."""
        if len(self.open) == DEEPEST:
            text = f"Brackets nest more than {DEEPEST} deep here."
            place = self.span_of(start, start + 1)
            self.blame(Message("N110", "error", text, place, advice="Take out a pair of brackets."))
            return False
        self.open.append(_Open(start, self.parts, self.width, len(self.messages)))
        self.parts, self.width = [], 0
        return True

    def closed(self, match: re.Match[str]) -> bool:
        """Take in a `)` and the count after it; False where it closes nothing, so that the rest has no meaning."""
        if not self.open:
            self.blame(
                Message(
                    "N101",
                    "error",
                    "This `)` closes a bracket that was never opened.",
                    self.span_of(*match.span(4)),
                    advice="Take it out, or open the group with `(` before it.",
                ),
                once_for="never opened",
            )
            return False
        group = self.open.pop()
        if not self.parts and not self.messages:
            self.blame(
                Message(
                    "N101",
                    "error",
                    "This group has nothing in it.",
                    self.span_of(group.start, match.end(4)),
                    advice="Put runs between the brackets, as in (K3 T)x4.",
                )
            )
        count = self.count(match[6], match.span(6)) if match[6] else self.uncounted(group, match)
        if self.parts:
            group.parts.append(_Part(self.parts, count))
        self.parts, self.width = group.parts, group.width + self.width * count
        return True

    def uncounted(self, group: _Open, match: re.Match[str]) -> int:
        """Blame a group without a count; it is read as there once."""
        after = match.end(5) if match[5] else match.end(4)
        if match[5] and (negative := re.compile("-[0-9]+").match(self.word.text, after)):
            self.position = negative.end()
            return self.count(negative.group(), negative.span())
        if len(self.messages) == group.blamed:  # brackets that are blamed already need no count
            self.blame(
                Message(
                    "N101",
                    "error",
                    "A group says how many times it is knitted.",
                    self.span_of(match.start(4), after),
                    advice="as in (K3 T)x4; or leave the brackets out",
                )
            )
        if number := re.compile(r"\s*[0-9]+").match(self.word.text, after):  # its count, without the x
            self.position = number.end()
        return 1

    def closed_by_its_count(self, end: int) -> None:
        """Take `x4` without a `)` before it for the end of the innermost group, whose bracket is blamed."""
        group = self.open.pop()
        self.unclosed(group.start)
        group.parts.append(_Part(self.parts or [_Part(b"\0", 1)], 1))
        self.parts, self.width, self.position = group.parts, group.width + self.width, end

    def unclosed(self, start: int) -> None:
        self.blame(
            Message(
                "N101",
                "error",
                "This bracket is opened and never closed.",
                self.span_of(start, start + 1),
                label="opened here",
                advice="Close the group with `)` and its count, as in (K3 T)x4.",
            )
        )

    def count(self, text: str, span: tuple[int, int]) -> int:
        """The count as written, or 1 once what is wrong with it has been blamed."""
        problem = count_message(text, self.span_of(*span))
        if problem:
            self.blame(problem)
            return 1
        return int(text)

    def wrong(self, start: int) -> int:
        """Blame what stands where no cell can be, and return where to go on."""
        from stitchc.notation.refusals import wrong_cell

        wrong = wrong_cell(self.word.text, start)
        message = Message(wrong.code, "error", wrong.sentence, self.span_of(start, wrong.end), advice=wrong.advice)
        self.blame(message, once_for=wrong.sentence)
        return wrong.end
