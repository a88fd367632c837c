"""What has been found wrong while one pattern is read, and numbers held to their ranges."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from stitchc.messages import Message, Span
from stitchc.notation.tree import Length, Number, Word
from stitchc.notation.vocabulary import MOST_COUNT, count_message, nearest_names, short_number

MOST_MESSAGES: Final = 1000
"""Messages kept for one pattern; nobody fixes more at a time, and a hostile file could cause millions."""
MOST_NEAREST: Final = 100
"""Messages among which unknown names get the nearest known one."""


class Faults:
    """The messages so far.

    count: all that were given, those not kept among them.
    """

    def __init__(self) -> None:
        self.messages: list[Message] = []
        self.count = 0

    def error(
        self,
        code: str,
        text: str,
        span: Span,
        *,
        advice: str | None = None,
        label: str = "",
        also: tuple[tuple[Span, str], ...] = (),
    ) -> None:
        """Add an error; see `Message` for its parts."""
        self.add(Message(code, "error", text, span, advice, label, also))

    def add(self, message: Message) -> None:
        """Keep a message, up to the most there is any use in, and count it."""
        self.count += 1
        if len(self.messages) < MOST_MESSAGES:
            self.messages.append(message)

    def named_twice(self, kind: str, name: Word, first: Span, verb: str = "defined") -> None:
        """N104: what is so named was defined before, at `first`."""
        self.error(
            "N104",
            f"The {kind} `{name.shown}` is {verb} twice.",
            name.span,
            advice=f"{name.shown}-2, or another name",
            label=f"{verb} again here",
            also=((first, f"first {verb} here"),),
        )

    def nearest(self, name: str, among: Iterable[str]) -> str | None:
        """The name most like this one; see `nearest_names`."""
        return next(iter(self.nearest_names(name, among, 1)), None)

    def nearest_names(self, name: str, among: Iterable[str], most: int) -> list[str]:
        """The names most like this one; not looked for once there are more mistakes than anybody mends at a time."""
        return nearest_names(name, among, most) if self.count < MOST_NEAREST else []

    def counted(self, number: Number, subject: str = "A count", least: int = 1, most: int = MOST_COUNT) -> int | None:
        """The number as a count, or None with N115 below `least` and N110 above `most`."""
        problem = count_message(number.text, number.span, least, most, subject)
        if problem:
            self.add(problem)
            return None
        return int(number.value)

    def not_empty(self, word: Word, example: str) -> None:
        """N101 where a text in quotes says nothing. example: the line with a text in it."""
        if not word.text.strip():
            text = f"There is nothing between the quotation marks of this `{example.split()[0]}`."
            self.error("N101", text, word.span, advice=example)

    def in_range(self, number: Number, least: float, most: float, subject: str) -> float | None:
        """The number, or None with N115 outside `least` to `most`."""
        if math.isfinite(number.value) and least <= number.value <= most:
            return float(number.value)
        self.error(
            "N115",
            f"{subject} is from {least:,g} to {most:,g}, not `{short_number(number.text)}`.",
            number.span,
            advice=f"a number from {least:,g} to {most:,g}",
        )
        return None

    def millimetres(self, length: Length, subject: str, least_mm: float = 1.0) -> float | None:
        """The length in mm, or None with N115 outside `least_mm` to 100 m."""
        if math.isfinite(length.mm) and least_mm <= length.mm <= 100_000:
            return length.mm
        self.error("N115", f"{subject} is from {least_mm:g} mm to 100 m.", length.span, advice="10 cm")
        return None
