"""Reads needle words back to needles. Written from the words as a knitter reads them, not from the program."""

from __future__ import annotations

import re
from collections.abc import Collection

_NEEDLE = r"[LR][1-9][0-9]*"


def place(name: str) -> int:
    """L2, L1, R1, R2 are -2, -1, 0, 1."""
    assert re.fullmatch(_NEEDLE, name), name
    number = int(name[1:])
    return -number if name[0] == "L" else number - 1


def read(words: str, held: Collection[int] = ()) -> set[int]:
    """The needles that the words mean, by someone who sees which are held and knows of no other row."""
    match = re.fullmatch(r"(.*?)(?: \((\d+) needles?(?:: (\d+) L, (\d+) R)?(?:; comb (.*))?\))?", words)
    assert match, words
    text, count, left, right, comb = match.groups()
    needles = set(held) if text in ("all the held needles", "all the needles at the back") else _text(text)
    if count is not None:
        assert int(count) == len(needles), f"counted {len(needles)}: {words}"
    if left is not None:
        assert (int(left), int(right)) == (sum(n < 0 for n in needles), sum(n >= 0 for n in needles)), words
    if comb is not None:
        assert _pushed(comb, min(needles), max(needles)) == needles, words
    return needles


def _text(text: str) -> set[int]:
    first, *further = text.split("; also ")
    base, _, exceptions = first.partition(" but ")
    base, _, again = base.partition("; the same again from ")
    needles = _part(base)
    group = {needle - min(needles) for needle in needles}
    for start in map(place, again.split(", ") if again else ()):
        assert start > max(needles), f"repeats that overlap: {text}"
        needles |= {needle + start for needle in group}
    if exceptions:
        wrong = _part(exceptions)
        assert wrong <= needles, f"an exception that is none: {text}"
        needles -= wrong
    for part in further:
        more = _part(part)
        assert not more & needles, f"named twice: {text}"
        needles |= more
    return needles


def _part(text: str) -> set[int]:
    if match := re.fullmatch(rf"all from ({_NEEDLE}) to ({_NEEDLE})", text):
        return set(range(place(match[1]), place(match[2]) + 1))
    if match := re.fullmatch(rf"every (\d+)(?:st|nd|rd|th) needle from ({_NEEDLE}) to ({_NEEDLE})", text):
        first, last, step = place(match[2]), place(match[3]), int(match[1])
        assert (last - first) % step == 0, f"does not end on a needle that it names: {text}"
        return set(range(first, last + 1, step))
    if match := re.fullmatch(rf"((?:\d+ needles?, skip \d+, )+)repeat from ({_NEEDLE}) to ({_NEEDLE})", text):
        first, last = place(match[2]), place(match[3])
        needles: set[int] = set()
        at = first
        while at <= last:
            for take, miss in re.findall(r"(\d+) needles?, skip (\d+)", match[1]):
                needles |= {n for n in range(at, at + int(take)) if n <= last}
                at += int(take) + int(miss)
        assert last in needles, f"does not end on a needle that it names: {text}"
        return needles
    needles = set()
    for item in text.split(", "):
        ends = item.split(" to ")
        assert 1 <= len(ends) <= 2
        run = set(range(place(ends[0]), place(ends[-1]) + 1))
        assert run and not run & needles, text
        needles |= run
    return needles


def _pushed(comb: str, first: int, last: int) -> set[int]:
    """What a comb of these teeth pushes when its first tooth stands at `first`."""
    pushed: set[int] = set()
    at = first
    while at <= last:
        for number, way in re.findall(r"(\d+) (out|in)", comb):
            if way == "out":
                pushed |= {n for n in range(at, at + int(number)) if n <= last}
            at += int(number)
    return pushed
