"""From kinds of marks to the letters K, T and S, as the user says they are to be read.

Knows kinds, colours and letters; nothing of pixels or grids.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from stitchc.chart import KNIT, LETTERS, SLIP, TUCK
from stitchc.messages import Message, Refused, visible
from stitchc.trace import words
from stitchc.trace.kinds import Kind, Kinds
from stitchc.trace.values import Key, KindToName, Order, Rgb, UnknownKinds, hex_of

_SAME_COLOUR: Final = 80.0
"""How far a kind's colour may be from one that the user gives, of 441 from black to white."""
_BLANK: Final = 0.12
"""Ink up to which cells that all look alike are blank and not dark."""


def letters_of(kinds: Kinds, key: Key, file: str, order: Order) -> tuple[int, ...]:
    """The code that each kind stands for.

    key: with its example cells as (row, column) of the picture, from 0 at the upper left; order: how the user counts,
    so that an example can be named. Raises Refused T807 where a kind's meaning is not known, T808 where a colour that
    was given is not there.
    """
    found: dict[int, int] = {}
    for (row, column), code in key.alike:
        found.setdefault(int(kinds.of[row, column]), code)

    def example(index: int) -> tuple[tuple[int, int], int]:
        cell, code = next(given for given in key.alike if kinds.of[given[0]] == index)
        return order.as_knitted(*cell), code

    for colour, _ in key.colours:
        gaps = [_apart(kind.colour, colour) for kind in kinds.kinds]
        if min(gaps) > _SAME_COLOUR:
            raise Refused(_no_such_colour(colour, kinds, file))
    for index, kind in enumerate(kinds.kinds):
        named = named_by_colour(kind.colour, key)
        if named is not None and found.setdefault(index, named) != named:
            nearest, _ = min(key.colours, key=lambda given: _apart(kind.colour, given[0]))
            raise Refused(words.contradicted(f'--colour "{hex_of(nearest)}={LETTERS[named]}"', *example(index), file))
    rest = [index for index in range(len(kinds.kinds)) if index not in found]
    if len(kinds.kinds) == 1 and rest:
        found[0] = key.light_code if kinds.kinds[0].ink < _BLANK else key.dark_code
        rest = []
    if not found and _both_marked(kinds):
        raise _unknown_kinds(kinds, rest, key, found, file, order)
    if rest and (rest[0] == 0 or kinds.kinds[rest[0]].ink < _BLANK):  # the lightest kind of all is the ground
        found[rest.pop(0)] = key.light_code
    if len(rest) == 1:
        found[rest.pop()] = key.dark_code
    if rest:
        raise _unknown_kinds(kinds, sorted({*rest, *found}), key, found, file, order)
    for option, meant in (("--dark", key.dark), ("--light", key.light)):
        if key.alike and meant is not None and meant not in found.values():
            index = max(found) if option == "--dark" else 0
            if any(kinds.of[cell] == index for cell, _ in key.alike):
                raise Refused(words.contradicted(f"{option} {words.STITCHES[meant]}", *example(index), file))
    return tuple(found[index] for index in range(len(kinds.kinds)))


def named_by_colour(seen: Rgb, key: Key) -> int | None:
    """The code of the colour that the user gives which is nearest to the one seen, where one is near enough."""
    if not key.colours:
        return None
    gap, code = min((_apart(seen, colour), code) for colour, code in key.colours)
    return code if gap <= _SAME_COLOUR else None


_SPARSE: Final = 0.75
_ABOUT_AS_MUCH: Final = 3.0


def _both_marked(kinds: Kinds) -> bool:
    """Whether of two kinds neither is blank or filled, but both hold marks, of which none is the dark one for sure:
    a ring has more ink than a small dot, which looks darker."""
    if len(kinds.kinds) != 2:
        return False
    inks = [kind.ink for kind in kinds.kinds]
    drawn = all(kind.ink < _SPARSE * kind.full for kind in kinds.kinds)
    return drawn and min(inks) >= _BLANK / 2 and max(inks) < _ABOUT_AS_MUCH * min(inks)


_PALER: Final = np.linspace(1.0, 3.0, 9)
_PALENESS: Final = 12.0


def _apart(seen: Rgb, given: Rgb) -> float:
    """How far a kind's colour is from one that was given; thin marks look paler than their ink, by up to three times,
    which counts a little against them."""
    towards = 255 - np.outer(_PALER, np.subtract(255, seen))
    gaps = np.linalg.norm(np.clip(towards, 0, 255) - np.array(given), axis=1) + _PALENESS * (_PALER - 1)
    return float(gaps.min())


def _no_such_colour(colour: Rgb, kinds: Kinds, file: str) -> Message:
    there = ", ".join(hex_of(kind.colour) for kind in kinds.kinds)
    return Message(
        "T808",
        "error",
        f"No cell of `{visible(file)}` is near the colour `{hex_of(colour)}`.",
        advice=f"The colours in it: {there}.",
    )


def _unknown_kinds(
    kinds: Kinds, shown: list[int], key: Key, found: dict[int, int], file: str, order: Order
) -> UnknownKinds:
    likely = _likely(kinds, shown, key, found)
    told, options, to_name = [], [], []
    for index in shown[:8]:
        kind = kinds.kinds[index]
        row, column = order.as_knitted(*kind.example)
        told.append(f"{_look(kind)} ({kind.count} cells, one in row {row}, column {column})")
        options.append(f"--like {row},{column}={LETTERS[likely[index]]}")
        to_name.append(KindToName(kind.example, (row, column), kind.count, LETTERS[likely[index]]))
    listed, typed = "; ".join(told), " ".join(options)
    rows, columns = kinds.of.shape
    cells = f"he {columns} by {rows} cells of `{visible(file)}`"
    advice = f"Say what each kind means, with the right letters: {typed}"
    if len(kinds.kinds) == 2:
        text = f"Both kinds of t{cells} are marked, so neither is clearly the dark one: {listed}."
        advice += "; if they are signs of stitchc chart, say so: --notation squared."
    else:
        text = f"T{cells} are of {len(kinds.kinds)} kinds, and dark and light are only two: {listed}."
    return UnknownKinds(Message("T807", "error", text, advice=advice), to_name, (columns, rows))


def _likely(kinds: Kinds, shown: list[int], key: Key, found: dict[int, int]) -> dict[int, int]:
    """A code for each kind to begin with: what was said, the blankest the light one, that of the darkest ink the dark
    one, and what is left for the others.

    shown: numbers of the kinds, the lightest first.
    """
    other = next(code for code in (TUCK, SLIP, KNIT) if code not in (key.light_code, key.dark_code))
    darkest = max(shown[1:], key=lambda index: (kinds.kinds[index].full, index))
    return {**dict.fromkeys(shown, other), darkest: key.dark_code, shown[0]: key.light_code, **found}


def _look(kind: Kind) -> str:
    return f"blank {hex_of(kind.colour)}" if kind.ink < _BLANK / 2 else f"marked {hex_of(kind.colour)}"
