"""Charts read out of pictures: the picture opened safely, its grid found, its cells told apart, the repeat reduced.

Bytes in, a chart with the certainty of each cell out. Knows nothing of files or of the notation.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.chart import LETTERS, MAX_CELLS, SLIP, TUCK, Cells, Chart
from stitchc.drawn.place import face_told
from stitchc.messages import Message, Refused, visible
from stitchc.trace import repeat as repeats
from stitchc.trace.meaning import Key, hex_of, letters_of
from stitchc.trace.picture import Picture, Pixels, Plane, even_light, ink, open_picture, paper_colour

if TYPE_CHECKING:
    from stitchc.bitmap import PixelsSaid
    from stitchc.drawn.symbols import Face
    from stitchc.trace import grid
    from stitchc.trace.cells import Kinds, Patches, Signs
    from stitchc.trace.grid import Lattice
    from stitchc.trace.pixels import Blocks
    from stitchc.trace.through import Through

__all__ = ["Ask", "Key", "Traced", "trace"]

Notation = Literal["auto", "squared", "thread", "plain", "marks"]
GridKind = Literal["auto", "lines", "pixels", "even"]

_LEAST_TURNED_DEG: Final = 0.03
_HARDLY_BLANK: Final = 0.12
_SURE: Final = 0.9
_MOST_UNSURE: Final = 0.5
"""The share of unsure cells from which the grid itself is doubted."""
_LINES_SEEN: Final = 0.93
"""How much of its lines must be seen for signs to prove a doubtful lattice right."""
_MOST_OPEN: Final = 3
"""Sides without an outermost line from which what was found is no grid, but part of something larger."""
_FINE_PX: Final = 3
"""Blocks of pixels up to this size may as well be dots of which lines and marks are drawn."""
_MOST_MARKS: Final = 8
"""Kinds of marks that a chart may have, unexplained: three stitches, each in a few looks."""
_MOST_BLOCKS: Final = 3
"""The same where no lines are drawn, and nothing but blocks of colour tells a chart from a landscape."""


@dataclass(frozen=True)
class Ask:
    """What the user says about the picture; everything may be left to be found.

    notation: the signs in the cells; "marks" sorts cells by their look. key: what looks mean. face: the side of the
    fabric that the picture shows. first_row: where row 1 stands; at the bottom if neither this nor the file says.
    grid: "lines" looks for a lattice, "pixels" takes each pixel or block of equal pixels for a cell, "even" divides
    the picture into `cells`. cells: columns and rows. box_px: left, top, right and bottom of the part to look at.
    repeat: the size to take, "smallest" or "whole". sure: the certainty under which a cell is named as unsure.
    """

    notation: Notation = "auto"
    key: Key = field(default_factory=Key)
    face: Face | None = None
    first_row: Literal["bottom", "top"] | None = None
    grid: GridKind = "auto"
    cells: tuple[int, int] | None = None
    box_px: tuple[int, int, int, int] | None = None
    repeat: tuple[int, int] | Literal["smallest", "whole"] = "smallest"
    sure: float = _SURE


@dataclass(frozen=True)
class Traced:
    """What was read. chart: the repeat that was asked for; whole: every cell of the picture, in knitting order.

    certainty: of each cell of `whole`, 0 to 1. how: in words, how the picture was read. turned_deg: clockwise, how far
    it was turned. corners_px: the grid's upper left, upper right, lower left and lower right in the picture as given.
    messages: cells that are unsure, repeats that nearly fit.
    """

    chart: Chart
    whole: Chart
    certainty: npt.NDArray[np.float32]
    how: str
    turned_deg: float
    corners_px: tuple[tuple[float, float], ...]
    messages: tuple[Message, ...]


def trace(data: bytes, file: str, ask: Ask | None = None) -> Traced:
    """The chart that a picture shows. file: what messages call it.

    Raises Refused: T801 no picture, T802 too large, T803 no grid, T804 no room for a chart, T805 too many cells,
    T807 kinds of cells that are not explained, T808 a colour that is not there, T809 sizes that do not fit.
    """
    ask = ask or Ask()
    picture = open_picture(data, file)
    pixels, smaller = picture.pixels, picture.smaller
    if ask.face is None and ask.notation != "marks":
        ask = replace(ask, face=face_told(picture.words))
    said = _pixels_said(picture, ask)
    pixels, offset = _boxed(pixels, ask, file, smaller)
    if said is None and bool((pixels == pixels[0, 0]).all()):
        raise Refused(
            Message(
                "T804",
                "error",
                f"`{visible(file)}` is of one colour all over; there is no chart in it.",
                cure="Check that the right picture was saved, and with --box that it is the right part of it.",
            )
        )
    taken: tuple[str, ...] = ()
    doubt: tuple[Message, ...] = ()
    if said is not None:
        ask, taken, doubt = _as_said(ask, said)
    named = _on_named_grid(picture, ask) if said is None else None
    field_ = _found(pixels, ask, file, said is not None) if named is None else named[0]
    rows, columns = field_.rows, field_.columns
    if rows * columns > MAX_CELLS:
        raise Refused(
            Message(
                "T805",
                "error",
                f"`{visible(file)}` would be {columns:,} by {rows:,} cells; a chart has at most {MAX_CELLS:,}.",
                cure="Cut out one repeat, or say how many columns and rows there are, as in --cells 24x36.",
            )
        )
    codes, certainty, what, face, guess, blank = _read(field_, ask, file) if named is None else named[1]
    if field_.lattice is not None and ask.cells is None and float((certainty < _SURE).mean()) > _MOST_UNSURE:
        raise Refused(_no_grid(file, ask))  # squares of which hardly one can be told lie beside the chart's own
    seen_face = ask.face or face or "purl"
    below, right = ask.first_row != "top", seen_face == "knit"

    def knitted(plane: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        plane = plane[::-1] if below else plane
        return np.ascontiguousarray(plane[:, ::-1] if right else plane)

    cells = knitted(codes).astype(np.uint8)
    sure = knitted(certainty).astype(np.float32)
    whole = Chart(cells, (None,) * rows)
    places = _Places(field_, offset, smaller, pixels.shape, below, right)
    width, height = _repeat_size(cells, ask, file)
    chart, remarks = _reduced(whole, sure, width, height, ask, file)
    if guess and not ask.key.said:
        from stitchc.trace.knittable import weighed

        guess = tuple(weighed(message, chart, blank) for message in guess)
    messages = [*field_.messages, *doubt, *guess, *_unsure(cells, sure, ask.sure, places), *remarks]
    how = f"{columns} by {rows} cells{field_.how}, {what}, seen from the {seen_face} side"
    if taken:
        how += f"; as the file says: {', '.join(taken)}"
    if picture.more:
        how = f"the first picture in the file, {how}"
    corners = tuple(places.picture(x * columns, y * rows) for y, x in ((0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0)))
    return Traced(chart, whole, sure, how, field_.turned_deg, corners, tuple(messages))


# -- finding ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Field:
    """Cells that were found: by a lattice in a straightened picture, or as blocks of equal pixels."""

    rows: int
    columns: int
    pixels: Pixels
    lattice: Lattice | None
    blocks: Blocks | None
    turned_deg: float
    how: str
    messages: tuple[Message, ...] = ()


class _Read(NamedTuple):
    """Codes and certainty of each cell, top row first; how they were read; the face, where the signs tell it.

    messages: what was guessed; blank: the code that blank cells were given, where some are.
    """

    codes: Cells
    certainty: npt.NDArray[np.float32]
    what: str
    face: Face | None
    messages: tuple[Message, ...] = ()
    blank: int | None = None


def _on_named_grid(picture: Picture, ask: Ask) -> tuple[_Field, _Read] | None:
    """A chart of ours that was not changed since it was drawn, and about which nothing else was said."""
    from stitchc.trace.named import on_named_grid

    said = ask.grid != "auto" or ask.cells is not None or ask.box_px is not None
    found = None if said else on_named_grid(picture)
    if found is None or ask.notation not in ("auto", found[1].notation):
        return None
    lattice, signs = found
    columns, rows = lattice.size
    read = _signs_read(signs)
    if ask.key.said:
        read = read._replace(messages=(_outweighed(ask.key, read.what),))
    return _Field(rows, columns, picture.pixels, lattice, None, 0.0, " where the file says"), read


def _outweighed(key: Key, what: str) -> Message:
    options = {"--dark": key.dark, "--light": key.light, "--colour": key.colours, "--like": key.alike}
    given = [option for option, value in options.items() if value not in (None, ())]
    named = f"{', '.join(given[:-1])} and {given[-1]} do" if len(given) > 1 else f"{given[0]} does"
    return Message(
        "T814",
        "warning",
        f"The file names the signs in its cells, which were {what}. So {named} not apply.",
        cure=f"Leave {'them' if len(given) > 1 else 'it'} out, or tell the marks by their look: --notation marks, with "
        "--like ROW,COLUMN=LETTER for each kind.",
    )


def _pixels_said(picture: Picture, ask: Ask) -> PixelsSaid | None:
    """What a bitmap of ours says of its pixels, unless it was changed since: they are then of another number, or other
    than black and white."""
    from stitchc.bitmap import pixels_said

    said = pixels_said(picture.words)
    if said is None or ask.grid not in ("auto", "pixels") or ask.cells not in (None, (said.width, said.height)):
        return None
    if picture.smaller != 1 or picture.size_px != (said.width, said.height) or ask.notation not in ("auto", "marks"):
        return None
    black_and_white = (picture.pixels == picture.pixels[..., :1]).all() and np.isin(picture.pixels, (0, 255)).all()
    return said if black_and_white else None


def _as_said(ask: Ask, said: PixelsSaid) -> tuple[Ask, tuple[str, ...], tuple[Message, ...]]:
    """What is asked, filled up with what the file says; in words what was taken from it; what remains a guess."""
    taken: list[str] = []
    doubt: tuple[Message, ...] = ()
    key = ask.key
    if not key.said:
        dark, light = (TUCK if code is None else code for code in (said.dark, said.light))
        key = Key(dark, light)
        taken.append(f"dark {_WORDS[dark]}, light {_WORDS[light]}")
        if said.dark is None or said.light is None:
            doubt = (_tuck_or_slip("light" if said.light is None else "dark"),)
    if ask.first_row is None:
        taken.append(f"row 1 at the {said.first_row}")
    if ask.face is None:
        taken.append(f"{said.seen_from} side")
    ask = replace(
        ask, key=key, face=ask.face or said.seen_from, first_row=ask.first_row or said.first_row, grid="pixels"
    )
    return ask, tuple(taken), doubt


def _tuck_or_slip(which: Literal["dark", "light"]) -> Message:
    other = "light" if which == "dark" else "dark"
    return Message(
        "T812",
        "warning",
        f"The file says that {which} pixels tuck in some rows and slip in others, but not in which: all were taken to "
        "tuck.",
        cure=f"--{other} knit --{which} slip takes them to slip; set right by hand the rows that do the other.",
    )


def _boxed(pixels: Pixels, ask: Ask, file: str, smaller: int) -> tuple[Pixels, tuple[int, int]]:
    if ask.box_px is None:
        return pixels, (0, 0)
    left, top, right, bottom = (value // smaller for value in ask.box_px)
    height, width = pixels.shape[:2]
    if not (0 <= left < right <= width and 0 <= top < bottom <= height) or (right - left) * (bottom - top) < 2:
        raise Refused(
            Message(
                "T809",
                "error",
                f"The box {','.join(map(str, ask.box_px))} does not lie within `{visible(file)}`, which has "
                f"{width * smaller} by {height * smaller} pixels.",
                cure=f"--box 0,0,{width * smaller},{height * smaller} is all of it (left, top, right, bottom).",
            )
        )
    return pixels[top:bottom, left:right], (left, top)


def _found(pixels: Pixels, ask: Ask, file: str, each: bool = False) -> _Field:
    """each: every single pixel is a cell, for sure."""
    from stitchc.trace.pixels import SMALL_PX, blocks_of

    if ask.grid == "even":
        return _evenly(pixels, ask, file)
    if ask.grid == "pixels":
        blocks = (None if each else blocks_of(pixels)) or blocks_of(pixels, single=True)
        assert blocks is not None
        return _field_of(blocks, ask, file)
    exact = blocks_of(pixels) if ask.grid == "auto" else None
    if exact is not None and not _fits(exact, ask):
        exact = None
    # in a small picture of few colours each pixel or block is a cell: lines need room
    small = exact is not None and max(pixels.shape[:2]) <= SMALL_PX
    fine = exact is not None and min(exact.block_px) <= _FINE_PX
    if not small and (exact is None or fine):
        cut_out = _cut_out(pixels, ask, file)
        if cut_out is not None:
            return cut_out
    lined = None if small else _lined(pixels, ask)
    if lined is not None and lined.lattice is not None:
        if exact is None:
            return lined
        if lined.lattice.ruled and not lined.lattice.doubtful and _pitch(lined.lattice) >= 6:
            if fine or not _all_alike(lined):
                return lined
            found = _field_of(exact, ask, file)
            return replace(found, messages=(*found.messages, _may_be_a_grid(lined.columns, lined.rows, "lines")))
    if exact is not None:
        return _in_pixels(pixels, exact, small, fine, ask, file)
    raise Refused(_no_grid(file, ask))


def _cut_out(pixels: Pixels, ask: Ask, file: str) -> _Field | None:
    """A grid whose lines run right through the picture, its outermost ones left out at three sides or all."""
    from stitchc.trace.through import through_lines

    even = even_light(pixels)
    plane = ink(even)
    found = through_lines(plane, ask.cells) or through_lines(1 - plane, ask.cells)  # light lines on a dark page
    if found is None or len(found.open) + len(found.cut) < _MOST_OPEN:
        return None
    if found.cut and ask.cells is None:
        raise Refused(_cut_through(file, found))
    columns, rows = found.lattice.size
    return _Field(rows, columns, even, found.lattice, None, 0.0, "", (_open(found.open),) if found.open else ())


def _in_pixels(pixels: Pixels, exact: Blocks, small: bool, fine: bool, ask: Ask, file: str) -> _Field:
    """Each block a cell; where the blocks are so fine that lines would be some wide, only if none are drawn."""
    from stitchc.trace.through import looks_ruled, through_lines

    found = _field_of(exact, ask, file)
    if not fine or ask.cells is not None:
        return found
    plane = ink(pixels)
    if not small and (looks_ruled(plane) or looks_ruled(1 - plane)):
        raise Refused(_ruled_after_all(file))
    if not small and exact.block_px == (1, 1):
        return replace(found, messages=(*found.messages, _each_pixel(found.columns, found.rows)))
    grid = through_lines(plane) if small else None
    if grid is None:
        return found
    return replace(found, messages=(*found.messages, _may_be_a_grid(*grid.lattice.size, "cells")))


def _dark_lines(pixels: Pixels) -> Plane:
    """Ink, turned round where light lines stand on a dark page."""
    plane = ink(pixels)
    return 1 - plane if float(np.median(plane)) > 0.6 else plane


def _fits(blocks: Blocks, ask: Ask) -> bool:
    return ask.cells is None or ask.cells == (blocks.cells.shape[1], blocks.cells.shape[0])


def _pitch(lattice: Lattice) -> float:
    return min(lattice.across.pitch_px, lattice.down.pitch_px)


def _all_alike(field_: _Field) -> bool:
    from stitchc.trace.cells import kinds_of, sampled

    assert field_.lattice is not None
    return len(kinds_of(sampled(field_.pixels, field_.lattice)).kinds) == 1


def _lined(pixels: Pixels, ask: Ask) -> _Field | None:
    from stitchc.trace import grid

    if min(pixels.shape[:2]) < 2 * grid.LEAST_PITCH_PX:
        return None
    even = even_light(pixels)
    plane = _dark_lines(even)
    turned = grid.turned_by(plane)
    if abs(turned) < _LEAST_TURNED_DEG:
        turned = 0.0
    else:
        red, green, blue = (int(value) for value in paper_colour(even))
        even = grid.straightened(even, turned, (red, green, blue))
        plane = _dark_lines(even)
    lattice = grid.find_lattice(plane, ask.cells)
    if lattice is None:
        return None
    columns, rows = lattice.size
    how = "" if turned == 0 else f", turned by {abs(turned):.1f}° {'clockwise' if turned > 0 else 'anticlockwise'}"
    messages: tuple[Message, ...] = ()
    if not lattice.ruled:
        how += ", no lines between them"
        messages = (_no_lines(columns, rows),)
    else:
        sides = grid.frayed(plane, lattice)
        if len(sides) >= _MOST_OPEN and ask.cells is None:
            return None
        messages = tuple(_frayed(side, cut, "column" if side in ("left", "right") else "row") for side, cut in sides)
    return _Field(rows, columns, even, lattice, None, turned, how, messages)


def _evenly(pixels: Pixels, ask: Ask, file: str) -> _Field:
    from stitchc.trace.grid import Axis, Lattice

    height, width = pixels.shape[:2]
    columns, rows = ask.cells or (1, 1)
    if width / columns < 2 or height / rows < 2:
        raise Refused(
            Message(
                "T809",
                "error",
                f"{columns} by {rows} cells have no room in a picture of {width} by {height} pixels: a cell needs 2.",
                cure="--grid pixels takes each pixel for a cell.",
            )
        )
    lattice = Lattice(Axis(0.0, width / columns, columns), Axis(0.0, height / rows, rows), False)
    return _Field(rows, columns, even_light(pixels), lattice, None, 0.0, " by even division")


def _field_of(blocks: Blocks, ask: Ask, file: str) -> _Field:
    rows, columns = blocks.cells.shape[:2]
    if ask.cells is not None and ask.cells != (columns, rows):
        raise Refused(
            Message(
                "T809",
                "error",
                f"`{visible(file)}` shows {columns} by {rows} cells, not {ask.cells[0]} by {ask.cells[1]}.",
                cure=f"--cells {columns}x{rows}, or --grid even to divide the picture evenly",
            )
        )
    size = (
        "one pixel each" if blocks.block_px == (1, 1) else f"{blocks.block_px[0]} by {blocks.block_px[1]} pixels each"
    )
    messages = (_no_lines(columns, rows),) if blocks.cut else (_blank_rim(),) if blocks.blank else ()
    return _Field(rows, columns, blocks.cells, None, blocks, 0.0, f" of {size}", messages)


def _no_lines(columns: int, rows: int) -> Message:
    return Message(
        "T811",
        "warning",
        "No lines are drawn around the cells, so the outermost marks were taken for the chart's edges: blank columns "
        "and rows beyond them are not counted.",
        cure=f"Check the size, {columns} by {rows}. Where cells are missing, cut the picture at the chart's very edges "
        f"and say how many there are, as in --grid even --cells {columns + 2}x{rows + 2}.",
    )


def _frayed(side: grid.Side, cut: bool, what: str) -> Message:
    if cut:
        text = (
            f"The lines run on beyond the {side} edge of the grid to the picture's own: a {what} may be cut off there."
        )
        cure = f"Take the picture again with the whole {what} in it."
    else:
        text = (
            f"No line closes the grid at the {side}; the {what} there was counted, as the other lines run through it."
        )
        cure = f"Check the size; where that {what} is none of the chart's, cut it off with --box LEFT,TOP,RIGHT,BOTTOM."
    return Message("T813", "warning", text, cure=cure)


def _open(sides: tuple[grid.Side, ...]) -> Message:
    named = f"{', '.join(sides[:-1])} and {sides[-1]}" if len(sides) > 1 else sides[0]
    return Message(
        "T813",
        "warning",
        f"No line closes the grid at the {named}: the picture ends inside its frame. The columns and rows there were "
        "counted, being about as wide as the others.",
        cure="Check the size; where the picture ends before the chart does, take it again with the whole chart in it.",
    )


def _cut_through(file: str, found: Through) -> Message:
    columns, rows = found.lattice.size
    named = f"{', '.join(found.cut[:-1])} and {found.cut[-1]}" if len(found.cut) > 1 else found.cut[0]
    return Message(
        "T803",
        "error",
        f"The lines in `{visible(file)}` run on to the picture's edges, which cut through cells at the {named}.",
        cure=f"Take the picture again with the chart's frame in it; --cells {columns}x{rows} takes the whole cells.",
    )


def _ruled_after_all(file: str) -> Message:
    return Message(
        "T803",
        "error",
        f"Lines at even distances run through `{visible(file)}`, but the grid that they belong to was not found.",
        cure="Cut the chart out with --box LEFT,TOP,RIGHT,BOTTOM, and say how many columns and rows there are, as in "
        "--cells 24x36; --grid pixels takes every pixel for a cell, the lines as well.",
    )


def _each_pixel(columns: int, rows: int) -> Message:
    return Message(
        "T812",
        "warning",
        f"Each pixel was taken for a cell, {columns} by {rows} of them, though the picture is large for that: it may "
        "as well be a drawing whose cells have no lines around them. A guess.",
        cure="--grid pixels says that each pixel is a cell; for larger cells say how many there are: --grid even "
        "--cells 24x36.",
    )


def _may_be_a_grid(columns: int, rows: int, how: Literal["lines", "cells"]) -> Message:
    cure = "--grid lines reads the grid" if how == "lines" else f"--grid lines --cells {columns}x{rows} reads the grid"
    return Message(
        "T812",
        "warning",
        f"Each block of pixels was taken for a cell, but the picture may as well show a grid of {columns} by {rows} "
        "cells: a guess.",
        cure=cure,
    )


def _blank_rim() -> Message:
    return Message(
        "T811",
        "warning",
        "The outermost cells are blank all around and were counted; they may as well be a margin.",
        cure="Where they are none of the chart, cut the picture at its very edges, or name them: "
        "--box LEFT,TOP,RIGHT,BOTTOM.",
    )


def _no_grid(file: str, ask: Ask) -> Message:
    what = f"{ask.cells[0]} by {ask.cells[1]} cells" if ask.cells else "cells"
    return Message(
        "T803",
        "error",
        f"No grid of {what} was found in `{visible(file)}`.",
        cure="Cut the chart out with --box LEFT,TOP,RIGHT,BOTTOM, and set it straight within 5 degrees; where nothing "
        "but the chart is in the picture, --grid even --cells 24x36 divides it.",
    )


# -- reading ------------------------------------------------------------------------------------------------------


def _signs_read(signs: Signs) -> _Read:
    from stitchc.trace.cells import certainty

    what = _SIGN_WORDS[signs.notation, signs.face]
    return _Read(signs.codes, certainty(signs.distances).max(axis=-1), what, signs.face)


def _read(field_: _Field, ask: Ask, file: str) -> _Read:
    from stitchc.trace.cells import certainty, kinds_of, known_signs, sampled

    patches: Patches
    if field_.lattice is not None:
        patches = sampled(field_.pixels, field_.lattice)
        signs: Signs | None = None
        guessed = False
        if ask.notation in ("squared", "thread", "plain"):
            signs = known_signs(patches, ask.notation)
            if signs is None:
                raise Refused(
                    Message(
                        "T807",
                        "error",
                        f"The cells of `{visible(file)}` do not look like the signs of the {ask.notation} notation.",
                        cure="--notation marks --dark tuck",
                    )
                )
        elif ask.notation == "auto" and not ask.key.said:
            signs = known_signs(patches)
            guessed = True
        proved = signs is not None and (signs.telling or field_.lattice.across.share >= _LINES_SEEN)
        if field_.lattice.doubtful and ask.cells is None and not proved:
            raise Refused(_no_grid(file, ask))
        if signs is not None:
            read = _signs_read(signs)
            if guessed:
                blank = SLIP if signs.notation == "squared" else None
                read = read._replace(messages=(_guessed_signs(signs, read.what, ask.face),), blank=blank)
            return read
        kinds = kinds_of(patches, field_.pixels, field_.lattice)
        if len(kinds.kinds) == 1 and kinds.kinds[0].ink > _HARDLY_BLANK and ask.cells is None:
            raise Refused(_no_grid(file, ask))  # squares that are all marked alike are no chart
        most = _MOST_MARKS if field_.lattice.ruled else _MOST_BLOCKS
        if len(kinds.kinds) > max(most, len(ask.key.colours) + 1) and ask.cells is None and not ask.key.alike:
            raise Refused(_no_grid(file, ask))  # nor are squares of a photograph, each unlike the next
    else:
        kinds = _kinds_of_blocks(field_.pixels)
    face = ask.face or "purl"
    order = (field_.rows, field_.columns, ask.first_row != "top", face == "knit")
    key = _from_above(ask.key, order, file)
    try:
        codes = letters_of(kinds, key, file, order)
    except Refused as refused:
        raise _or_larger_cells(refused, field_) from None
    of_kind = certainty(kinds.distances)
    shares = np.zeros((*of_kind.shape[:2], 3), dtype=np.float32)
    for index, code in enumerate(codes):
        shares[..., code] += of_kind[..., index]
    codes_read = shares.argmax(axis=-1).astype(np.uint8)
    words = ", ".join(f"{hex_of(kind.colour)} {_WORDS[code]}" for kind, code in zip(kinds.kinds, codes, strict=True))
    guess: tuple[Message, ...] = ()
    if field_.lattice is not None and len(kinds.kinds) == 1 and kinds.kinds[0].ink <= _HARDLY_BLANK:
        guess = (_unmarked(codes[0], field_),)
    elif field_.lattice is not None and not ask.key.said:
        guess = (_guessed_marks(kinds, codes, field_),)
    unsaid = "" if ask.key.said or guess else " (a guess, unless --dark says what a marked cell is)"
    return _Read(codes_read, shares.max(axis=-1), f"read by look: {words}{unsaid}", None, guess, codes[0])


def _or_larger_cells(refused: Refused, field_: _Field) -> Refused:
    """The same refusal; of a picture too large to have a cell in each pixel it also says how to give their number."""
    from stitchc.trace.pixels import SMALL_PX

    if field_.blocks is None or field_.blocks.block_px != (1, 1) or max(field_.rows, field_.columns) <= SMALL_PX:
        return refused
    hint = "; each pixel was taken for a cell: where cells are larger, say how many there are, as in --cells 24x36"
    return Refused(*(message._replace(cure=f"{message.cure}{hint}") for message in refused.messages))


def _guessed_signs(signs: Signs, what: str, face: Face | None) -> Message:
    few = len(np.unique(signs.codes)) < 3 and not signs.telling
    if face is None and signs.face == "knit":  # crosses are the signs of the knit side
        what += ", which show the knit side, so that left and right were exchanged (--face purl leaves them)"
    elif face is None and signs.face is None:
        what += ", and taken to show the purl side (--face knit says that they show the other)"
    return Message(
        "T812",
        "warning" if few else "info",
        f"What the marks mean was not said: they were {what}. That is a guess{' from few signs' if few else ''}.",
        cure="Where they mean something else, say what a marked cell is: --dark tuck, --dark slip or --dark knit; "
        f"--notation {signs.notation} says that they are these signs.",
    )


def _unmarked(code: int, field_: _Field) -> Message:
    return Message(
        "T812",
        "warning",
        f"No cell is marked: all {field_.rows * field_.columns} look blank, and were taken to {_WORDS[code]}.",
        cure="Check that it is the right picture; --light tuck or --light slip says what a blank cell is.",
    )


def _guessed_marks(kinds: Kinds, codes: tuple[int, ...], field_: _Field) -> Message:
    cure = "--dark tuck, --dark slip or --dark knit says what a marked cell is, and --light what a blank one is."
    if len(kinds.kinds) == 1:
        text = f"All {field_.rows * field_.columns} cells look alike, and were taken to {_WORDS[codes[0]]}: a guess."
    else:
        listed = " and ".join(
            f"the {'lighter' if at == 0 else 'darker'} ones {_WORDS[code]}" for at, code in enumerate(codes)
        )
        text = f"What the marks mean was not said: of two kinds of cells, {listed}. That is a guess."
    return Message("T812", "warning", text, cure=cure)


_WORDS: Final = ("knit", "tuck", "slip")
_SIGN_WORDS: Final = {
    ("squared", "purl"): "read as squared paper: ring knit, dot tuck, empty slip",
    ("squared", "knit"): "read as squared paper: cross knit, dot tuck, empty slip",
    ("squared", None): "read as squared paper: dot tuck, empty slip",
    ("thread", None): "read as running thread: loop knit, half circle tuck, passed by slip",
    ("plain", None): "read as plain signs: upright bar knit, half disc tuck, lying bar slip",
}


def _kinds_of_blocks(cells: Pixels) -> Kinds:
    """Kinds of cells of one colour each."""
    from stitchc.trace.cells import Kind, Kinds, kinds_of
    from stitchc.trace.pixels import MOST_COLOURS, colours_of

    numbers = colours_of(cells)
    values, first, of, counts = np.unique(numbers, return_index=True, return_inverse=True, return_counts=True)
    if len(values) > MOST_COLOURS:
        some = cells.astype(np.float32) / 255
        return kinds_of(np.broadcast_to(some[:, :, None, None, :], (*some.shape[:2], 3, 3, 3)))
    colours = [((value >> 16) & 255, (value >> 8) & 255, value & 255) for value in values.tolist()]
    lightness = np.array([sum(colour) for colour in colours])
    order = np.argsort(-lightness, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    kinds = tuple(
        Kind(colours[at], 1 - min(colours[at]) / 255, int(counts[at]), divmod(int(first[at]), cells.shape[1]))
        for at in order.tolist()
    )
    index = rank[of.reshape(numbers.shape)].astype(np.uint8)
    distances = np.ones((*index.shape, len(kinds)), dtype=np.float32)
    np.put_along_axis(distances, index[..., None].astype(np.intp), 0, axis=-1)
    return Kinds(kinds, index, distances)


def _from_above(key: Key, order: tuple[int, int, bool, bool], file: str) -> Key:
    """The key with its example cells counted from the top left of the picture instead of as knitted."""
    rows, columns, below, right = order
    alike = []
    for (row, column), code in key.alike:
        if not (1 <= row <= rows and 1 <= column <= columns):
            raise Refused(
                Message(
                    "T809",
                    "error",
                    f"There is no cell in row {row}, column {column}: `{visible(file)}` shows {columns} columns and "
                    f"{rows} rows.",
                    cure=f"Name a row from 1 to {rows} and a column from 1 to {columns}.",
                )
            )
        alike.append(((rows - row if below else row - 1, columns - column if right else column - 1), code))
    return Key(key.dark, key.light, key.colours, tuple(alike))


# -- telling ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Places:
    """From a cell, in knitting order, to its place in the picture as it was given."""

    field: _Field
    offset_px: tuple[int, int]
    smaller: int
    shape: tuple[int, ...]
    below: bool
    right: bool

    def picture(self, across: float, down: float) -> tuple[float, float]:
        """The place so many columns and rows from the grid's upper left corner."""
        from stitchc.trace.grid import in_the_original

        lattice, blocks = self.field.lattice, self.field.blocks
        if lattice is not None:
            x = lattice.across.start_px + across * lattice.across.pitch_px
            y = lattice.down.start_px + down * lattice.down.pitch_px
            if self.field.turned_deg:
                x, y = in_the_original(x, y, self.field.turned_deg, self.field.pixels.shape, self.shape)
        else:
            assert blocks is not None
            x, y = blocks.left_px + across * blocks.block_px[0], blocks.top_px + down * blocks.block_px[1]
        return (x + self.offset_px[0]) * self.smaller, (y + self.offset_px[1]) * self.smaller

    def cell(self, row: int, column: int) -> tuple[float, float]:
        """The middle of a cell, counted from 0 in knitting order."""
        down = self.field.rows - 1 - row if self.below else row
        across = self.field.columns - 1 - column if self.right else column
        return self.picture(across + 0.5, down + 0.5)


def _unsure(cells: Cells, sure: npt.NDArray[np.float32], least: float, places: _Places) -> list[Message]:
    messages = []
    for row, column in np.argwhere(sure < least).tolist():
        x, y = places.cell(row, column)
        messages.append(
            Message(
                "T806",
                "warning",
                f"Row {row + 1}, column {column + 1} is read as {LETTERS[cells[row, column]]}, but only "
                f"{100 * float(sure[row, column]):.0f} % sure.",
                cure=f"Look at {x:.0f},{y:.0f} in the picture (pixels from the left and the top), and mend the letter.",
            )
        )
    return messages


def _repeat_size(cells: Cells, ask: Ask, file: str) -> tuple[int, int]:
    rows, columns = cells.shape
    if ask.repeat == "whole":
        return columns, rows
    if ask.repeat == "smallest":
        return repeats.smallest(cells)
    width, height = ask.repeat
    if width > columns or height > rows:
        raise Refused(
            Message(
                "T809",
                "error",
                f"A repeat of {width} by {height} is larger than what `{visible(file)}` shows: {columns} by {rows}.",
                cure=f"--repeat {min(width, columns)}x{min(height, rows)}",
            )
        )
    return width, height


def _reduced(
    whole: Chart, sure: npt.NDArray[np.float32], width: int, height: int, ask: Ask, file: str
) -> tuple[Chart, list[Message]]:
    if isinstance(ask.repeat, tuple):
        cells, odd = repeats.folded(whole.cells, sure, width, height)
        chart = Chart(cells, (None,) * height)
        return chart, [_outvoted(whole, chart, row, column) for row, column in odd]
    chart = Chart(whole.cells[:height, :width].copy(), (None,) * height)
    if ask.repeat == "whole":
        return chart, []
    messages = []
    near = repeats.nearly(whole.cells, sure)
    if near is not None:
        named = ", ".join(f"row {row + 1} column {column + 1}" for row, column in near.odd[:6])
        more = f" and {len(near.odd) - 6} more" if len(near.odd) > 6 else ""
        messages.append(
            Message(
                "T810",
                "info",
                f"All cells but {len(near.odd)} agree with a repeat of {near.width} by {near.height}; the odd ones are "
                f"{named}{more}.",
                cure=f"--repeat {near.width}x{near.height} takes what most cells say",
            )
        )
    elif (part := repeats.cut_off(whole.cells)) is not None:
        messages.append(
            Message(
                "T810",
                "info",
                f"The picture may show a repeat of {part[0]} by {part[1]}, the last time only in part.",
                cure=f"--repeat {part[0]}x{part[1]}",
            )
        )
    return chart, messages


def _outvoted(whole: Chart, chart: Chart, row: int, column: int) -> Message:
    was = LETTERS[whole.cells[row, column]]
    now = LETTERS[chart.cells[row % chart.height, column % chart.width]]
    return Message(
        "T806",
        "warning",
        f"Row {row + 1}, column {column + 1} looks like {was}, but {now} stands there in most repeats and was taken.",
        cure="Look at the picture there; --repeat whole keeps every cell as it is.",
    )
