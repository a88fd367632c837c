"""Needles by name and number: L and R from the centre of the bed, and ranges of them.

A needle's position is an integer with no gap at the centre: L2 = -2, L1 = -1, R1 = 0, R2 = 1; neighbours differ by 1.
Common practice of domestic beds: needles count outward from a centre 0.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_NEEDLE = re.compile(r"\s*([LlRr])\s*([0-9]{1,7})\s*")


def needle_name(position: int) -> str:
    """The name on the bed: -1 is "L1", 0 is "R1"."""
    return f"R{position + 1}" if position >= 0 else f"L{-position}"


def needle_position(name: str) -> int:
    """The position of a named needle ("L12" is -12, "R1" is 0). Raises ValueError for anything else."""
    match = _NEEDLE.fullmatch(name)
    if not match or int(match[2]) == 0:
        raise ValueError(f"`{name}` is not a needle: L or R and a number from 1, as in L12")
    number = int(match[2])
    return -number if match[1] in "Ll" else number - 1


@dataclass(frozen=True)
class Needles:
    """The needles in work: positions from `first` to `last`, both included, no gaps."""

    first: int
    last: int

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError("the left needle comes first")

    @classmethod
    def centred(cls, count: int) -> Needles:
        """`count` needles about the centre; an odd one goes to the left. Raises ValueError under 1."""
        if count < 1:
            raise ValueError("at least one needle is in work")
        left = (count + 1) // 2
        return cls(-left, count - left - 1)

    @classmethod
    def parse(cls, text: str) -> Needles:
        """From "80" (centred) or "L40-R39". Raises ValueError saying what is allowed."""
        if re.fullmatch(r"\s*[0-9]{1,7}\s*", text):
            return cls.centred(int(text))
        parts = re.split(r"[-–]", text)
        if len(parts) != 2 or not all(map(str.strip, parts)):
            raise ValueError(f"`{text}` is not a number of needles such as 80 or a range such as L40-R39")
        first, last = (needle_position(part) for part in parts)
        if last < first:
            raise ValueError(f"`{text}` runs from right to left; write the left needle first")
        return cls(first, last)

    @property
    def count(self) -> int:
        return self.last - self.first + 1

    @property
    def left(self) -> str:
        return needle_name(self.first)

    @property
    def right(self) -> str:
        return needle_name(self.last)

    def __str__(self) -> str:
        return f"{self.left}-{self.right}"
