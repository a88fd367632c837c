"""From kinds of marks to the letters K, T and S, as the user says they are to be read.

Knows kinds, colours and letters; nothing of pixels or grids.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from stitchc.chart import KNIT, LETTERS, SLIP, TUCK
from stitchc.english import count_of
from stitchc.messages import Message, Refused, visible
from stitchc.trace import words
from stitchc.trace.kinds import Kind, Kinds
from stitchc.trace.traced import Key, KindToName, Order, Rgb, UnknownKinds, hex_of
from stitchc.wording import OPTION

_SAME_COLOUR: Final = 80.0
"""How far a kind's colour may be from one that the user gives, of 441 from black to white."""
_MARK: Final = 0.3
_BLANK: Final = 0.12
"""Ink up to which cells that all look alike are blank and not dark."""


def letters_of(kinds: Kinds, key: Key, file: str, order: Order) -> tuple[int, ...]:
    """The code that each kind stands for.

    key: with its example cells as (row, column) of the picture, from 0 at the upper left; order: how the user counts,
    so that an example can be named. Raises Refused T807 where a kind's meaning is not known, T808 where a colour that
    was given is not there.
    """
    codes = _codes_named(kinds, key, file, order) if kinds.codes else _codes_by_colour(kinds, key, file, order)
    for option, code, kind in ((OPTION.dark, key.dark, len(codes) - 1), (OPTION.light, key.light, 0)):
        if code is not None and code not in codes and any(kinds.of[cell] == kind for cell, _ in key.alike):
            raise Refused(
                words.contradicted(f"{option} {words.STITCHES[code]}", *_example(kind, kinds, key, order), file)
            )
    return codes


def _example(kind: int, kinds: Kinds, key: Key, order: Order) -> tuple[tuple[int, int], int]:
    """The first example of a kind, as the user counts, and what it means."""
    cell, code = next(given for given in key.alike if kinds.of[given[0]] == kind)
    return order.as_knitted(*cell), code


def _codes_named(kinds: Kinds, key: Key, file: str, order: Order) -> tuple[int, ...]:
    """The codes of kinds that the user's words made, unless there are others."""
    known = {kind: code for kind, code in enumerate(kinds.codes) if code is not None}
    if len(known) < len(kinds.kinds):
        shown = [number for number, kind in enumerate(kinds.kinds) if kind.count]
        raise _unknown_kinds(kinds, shown, key, known, set(known), file, order)
    return tuple(known.values())


def _codes_by_colour(kinds: Kinds, key: Key, file: str, order: Order) -> tuple[int, ...]:
    """The codes of kinds that were found by look: as examples or colours say, else of the light and the dark one."""
    known: dict[int, int] = {}
    for cell, code in key.alike:
        known.setdefault(int(kinds.of[cell]), code)
    gaps = np.array([[_apart(kind, kinds.kinds[0], colour) for colour, _ in key.colours] for kind in kinds.kinds])
    for number in range(len(kinds.kinds) if key.colours else 0):
        if gaps[number].min() <= _SAME_COLOUR:
            colour, code = key.colours[int(gaps[number].argmin())]
            if known.setdefault(number, code) != code:
                cell, of_cell = _example(number, kinds, key, order)
                raise Refused(words.contradicted(words.colour_option(colour, code), cell, of_cell, file))
    for at, (colour, code) in enumerate(key.colours):
        number = int(gaps[:, at].argmin())
        if gaps[number, at] > _SAME_COLOUR:
            raise Refused(_no_such_colour(colour, kinds, file))
        if known[number] != code:
            other = key.colours[int(gaps[number].argmin())]
            place = order.as_knitted(*kinds.kinds[number].example)
            raise Refused(words.same_cells((colour, code), other, kinds.kinds[number].colour, place, file))
    by_user = set(known)
    rest = [number for number in range(len(kinds.kinds)) if number not in known]
    if len(kinds.kinds) == 1 and rest:
        return (key.light_code if kinds.kinds[0].ink < _BLANK else key.dark_code,)
    if not known and _both_marked(kinds):
        raise _unknown_kinds(kinds, rest, key, known, by_user, file, order)
    if rest and (rest[0] == 0 or kinds.kinds[rest[0]].ink < _BLANK):  # the lightest kind of all is the ground
        known[rest.pop(0)] = key.light_code
    taken = key.dark is None and key.dark_code in known.values()  # by a kind that the user named
    if len(rest) == 1 and not taken:
        known[rest.pop()] = key.dark_code
    if rest:
        raise _unknown_kinds(kinds, sorted({*rest, *known}), key, known, by_user, file, order)
    return tuple(known[number] for number in range(len(kinds.kinds)))


_ABOUT_AS_MUCH: Final = 3.0


def _both_marked(kinds: Kinds) -> bool:
    """Whether of two kinds neither is blank or filled, but both hold marks, of which none is the dark one for sure:
    a ring has more ink than a small dot, which looks darker."""
    if len(kinds.kinds) != 2:
        return False
    inks = [kind.ink for kind in kinds.kinds]
    drawn = not any(kind.filled for kind in kinds.kinds)
    return drawn and all(map(_is_marked, kinds.kinds)) and max(inks) < _ABOUT_AS_MUCH * min(inks)


_PALER: Final = np.linspace(1.0, 3.0, 9)
_PALENESS: Final = 12.0


def _apart(kind: Kind, ground: Kind, given: Rgb) -> float:
    """How far a kind's colour is from one that was given, as it is in the picture or as it would be on white. Thin
    marks look paler than their ink, by up to three times towards the ground, which counts a little against them."""
    paler = _PALER[:1] if kind.filled else _PALER
    gaps = []
    for seen, under in ((kind.colour, ground.colour), (kind.on_white, ground.on_white)):
        inks = under + np.outer(paler, np.subtract(seen, under))
        gaps.append(np.linalg.norm(np.clip(inks, 0, 255) - np.array(given), axis=1) + _PALENESS * (paler - 1))
    return float(np.min(gaps))


def _no_such_colour(colour: Rgb, kinds: Kinds, file: str) -> Message:
    there = ", ".join(hex_of(kind.colour) for kind in kinds.kinds)
    return Message(
        "T808",
        "error",
        f"No cell of `{visible(file)}` is near the colour `{hex_of(colour)}`.",
        advice=f"The colours in it: {there}.",
    )


def _unknown_kinds(
    kinds: Kinds, shown: list[int], key: Key, known: dict[int, int], by_user: set[int], file: str, order: Order
) -> UnknownKinds:
    """shown: the kinds to list; known: the code of those whose meaning is known; by_user: those that the user named."""
    likely = _likely(kinds, shown, key, known)
    listing, options, to_name = [], [], []
    for index in shown[:8]:
        kind = kinds.kinds[index]
        row, column = order.as_knitted(*kind.example)
        place = f"{'one ' if kind.count > 1 else ''}in row {row}, column {column}"
        listing.append(f"{_look(kind)} ({count_of([kind.count], 'cell')}, {place})")
        if index not in by_user and (index not in known or _is_marked(kind)):  # what is blank is what --light says
            options.append(f"{OPTION.like:{row},{column}=?}")
        to_name.append(KindToName(kind.example, (row, column), kind.count, LETTERS[likely[index]]))
    listed, typed = "; ".join(listing), " ".join(options)
    rows, columns = kinds.of.shape
    there = sum(kind.count > 0 for kind in kinds.kinds)
    text = f"The {columns} by {rows} cells of `{visible(file)}` are of {there} kinds, "
    advice = f"Compare these cells with the picture, and write K, T or S for each question mark: {typed}"
    if len(kinds.kinds) == 2:
        text += f"and both hold marks, so it is not clear which of them is blank: {listed}."
        advice += f"; if they are signs of stitchc chart, say so: {OPTION.notation:squared}."
    else:
        text += f"and the meaning of some is not known: {listed}."
    return UnknownKinds(Message("T807", "error", text, advice=advice), to_name, (columns, rows))


def _likely(kinds: Kinds, shown: list[int], key: Key, known: dict[int, int]) -> dict[int, int]:
    """A code for each kind to begin with: what is known, the blankest the light one, that of the darkest ink the dark
    one, and what is left for the others.

    shown: numbers of the kinds, the lightest first.
    """
    other = next(code for code in (TUCK, SLIP, KNIT) if code not in (key.light_code, key.dark_code))
    darkest = max(shown[1:], key=lambda index: (kinds.kinds[index].full, index))
    return {**dict.fromkeys(shown, other), darkest: key.dark_code, shown[0]: key.light_code, **known}


def _look(kind: Kind) -> str:
    return f"{'marked' if _is_marked(kind) else 'blank'} {hex_of(kind.colour)}"


def _is_marked(kind: Kind) -> bool:
    """Whether there is something in its cells: much, or a thin mark."""
    return kind.ink >= _BLANK / 2 or (kind.full >= _MARK and not kind.filled)
