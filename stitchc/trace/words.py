"""The words for how a picture was read and why it was not: each remark, doubt and refusal as a message.

Knows what was found and what was asked; decides nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from stitchc.chart import KNIT, LETTERS, MAX_CELLS, SIGNS, Chart
from stitchc.drawn.symbols import Face
from stitchc.english import count_of, listed
from stitchc.messages import Message, visible
from stitchc.trace.grid import Lattice, Side
from stitchc.trace.kinds import Kinds
from stitchc.trace.signs import Signs
from stitchc.trace.straight import Straight
from stitchc.trace.tints import Tint
from stitchc.trace.traced import Ask, Key, Order, Rgb, hex_of
from stitchc.wording import OPTION

STITCHES: Final = ("knit", "tuck", "slip")
READ_AS: Final = {
    ("squared", "purl"): "read as squared paper: ring knit, dot tuck, empty slip",
    ("squared", "knit"): "read as squared paper: cross knit, dot tuck, empty slip",
    ("squared", None): "read as squared paper: dot tuck, empty slip",
    ("thread", None): "read as running thread: loop knit, half circle tuck, passed by slip",
    ("plain", None): "read as plain signs: upright bar knit, half disc tuck, open diamond slip",
}
NEGATIVE: Final = "light marks on a dark ground"


def turned(straight: Straight) -> str:
    """How the picture was set straight, to go on from the number of cells."""
    degrees = straight.turned_deg
    how = (", leaning" if straight.leaning else "") + (", bent" if straight.bends is not None else "")
    if straight.to_given is None or abs(degrees) < 0.05:
        return how
    return f"{how}, turned by {abs(degrees):.1f}° {'clockwise' if degrees > 0 else 'anticlockwise'}"


# -- the grid -----------------------------------------------------------------------------------------------------


def of_one_colour(file: str) -> Message:
    return Message(
        "T804",
        "error",
        f"`{visible(file)}` has one colour all over; there is no chart in it.",
        advice=f"Check that the right picture was saved, and with {OPTION.box} that it is the right part of it.",
    )


def box_outside(box_px: tuple[int, int, int, int], file: str, width_px: int, height_px: int) -> Message:
    return Message(
        "T809",
        "error",
        f"The box {','.join(map(str, box_px))} does not lie within `{visible(file)}`, which has {width_px} by "
        f"{height_px} pixels.",
        advice=f"{OPTION.box:0,0,{width_px},{height_px}} is all of it (left, top, right, bottom).",
    )


def too_many_cells(file: str, columns: int, rows: int) -> Message:
    return Message(
        "T805",
        "error",
        f"`{visible(file)}` would be {columns:,} by {rows:,} cells; a chart has at most {MAX_CELLS:,}.",
        advice=f"Cut out one repeat, or say how many columns and rows there are, as in {OPTION.cells:24x36}.",
    )


def too_much_text(file: str, size: int, most: int) -> Message:
    return Message(
        "T805",
        "error",
        f"The chart in `{visible(file)}` would be a pattern of {size:,} bytes; a file has at most {most:,}.",
        advice=f"Cut out one repeat with {OPTION.box:LEFT,TOP,RIGHT,BOTTOM}, or say its size: {OPTION.repeat:24x36}.",
    )


def no_room(columns: int, rows: int, width_px: int, height_px: int) -> Message:
    return Message(
        "T809",
        "error",
        f"{columns} by {rows} cells have no room in a picture of {width_px} by {height_px} pixels: a cell needs 2.",
        advice=f"{OPTION.grid:pixels} reads each pixel as a cell.",
    )


def other_size(file: str, columns: int, rows: int, asked: tuple[int, int]) -> Message:
    return Message(
        "T809",
        "error",
        f"`{visible(file)}` shows {columns} by {rows} cells, not {asked[0]} by {asked[1]}.",
        advice=f"{OPTION.cells:{columns}x{rows}}, or {OPTION.grid:even} to divide the picture evenly",
    )


def no_grid(file: str, ask: Ask) -> Message:
    what = f"{ask.cells[0]} by {ask.cells[1]} cells" if ask.cells else "cells"
    return Message(
        "T803",
        "error",
        f"No grid of {what} was found in `{visible(file)}`.",
        advice=f"Cut the chart out with {OPTION.box:LEFT,TOP,RIGHT,BOTTOM}, and straighten it to within 10 degrees; if "
        f"the picture shows nothing but the chart, {OPTION.grid:even} {OPTION.cells:24x36} divides it.",
    )


def no_lines(columns: int, rows: int) -> Message:
    return Message(
        "T811",
        "warning",
        "No lines are drawn around the cells, so the chart was read as ending at the outermost marks: blank columns "
        "and rows beyond them are not counted.",
        advice=f"Check the size, {columns} by {rows}. Where cells are missing, cut the picture at the chart's very "
        f"edges and say how many there are, as in {OPTION.grid:even} {OPTION.cells:{columns + 2}x{rows + 2}}.",
    )


def blank_paper(size: tuple[int, int], marked: tuple[int, int]) -> Message:
    """size: columns and rows of the grid; marked: those from the first to the last mark."""
    return Message(
        "T811",
        "warning",
        f"The grid has {size[0]} by {size[1]} cells, but the marks take only {marked[0]} by {marked[1]} of them, and "
        "there are blank cells on all four sides: the paper may go on beyond the chart.",
        advice=f"Check the size. If the chart is smaller, give its edges: {OPTION.box:LEFT,TOP,RIGHT,BOTTOM}.",
    )


def blank_rim() -> Message:
    return Message(
        "T811",
        "warning",
        "The outermost cells are blank all around and were counted, but they may be a margin.",
        advice=f"If they are not part of the chart, cut the picture at its very edges, or give the edges: "
        f"{OPTION.box:LEFT,TOP,RIGHT,BOTTOM}.",
    )


def page_around(colour: str, sides: list[Side], columns: int, rows: int) -> Message:
    """colour: of the page, as "#rrggbb"; columns, rows: of the chart without it."""
    return Message(
        "T811",
        "info",
        f"The outermost cells at the {listed(sides)} are {colour}, which no {OPTION.colour} names, so they were taken "
        f"for the page around a chart of {columns} by {rows} cells.",
        advice=f'If they belong to the chart, say what they mean, as in {OPTION.colour:"{colour}=K"}.',
    )


def headings(sides: list[Side], columns: int, rows: int) -> Message:
    """sides: where rows or columns of numbers, letters or a frame were left out; columns, rows: of what is left."""
    return Message(
        "T811",
        "warning",
        f"The cells at the {listed(sides)} look like numbers, letters or a frame around the chart, so they were left "
        f"out. The chart then has {columns} by {rows} cells.",
        advice="Check the size. If they belong to the chart, say how many cells there are, as in "
        f"{OPTION.cells:{columns + 1}x{rows + 1}}.",
    )


def other_lattice(size: tuple[int, int], rival: tuple[int, int]) -> Message:
    """Sizes in cells across and down: the one that was read, and one that explains the picture better."""
    return Message(
        "T813",
        "warning",
        f"The grid was read as {size[0]} by {size[1]} cells, but the picture looks more like one of {rival[0]} by "
        f"{rival[1]}.",
        advice=f"Count the cells in the picture and say how many there are, as in "
        f"{OPTION.cells:{rival[0]}x{rival[1]}}.",
    )


def frayed(side: Side, cut: bool, what: str) -> Message:
    if cut:
        text = (
            f"The lines run on beyond the {side} edge of the grid to the picture's own: a {what} may be cut off there."
        )
        advice = f"Take the picture again with the whole {what} in it."
    else:
        text = (
            f"No line closes the grid at the {side}; the {what} there was counted, as the other lines run through it."
        )
        advice = (
            f"Check the size; if that {what} is not part of the chart, cut it off with "
            f"{OPTION.box:LEFT,TOP,RIGHT,BOTTOM}."
        )
    return Message("T813", "warning", text, advice=advice)


def outlined(size: tuple[int, int], whole: tuple[int, int]) -> Message:
    (columns, rows), (across, down) = size, whole
    return Message(
        "T813",
        "warning",
        f"A heavier line encloses {columns} by {rows} of the {across} by {down} cells, and those outside it are blank. "
        "Only the cells inside it were read.",
        advice=f"If all cells belong to the chart, add {OPTION.cells:{across}x{down}}.",
    )


def not_closed(sides: tuple[Side, ...]) -> Message:
    return Message(
        "T813",
        "warning",
        f"No line closes the grid at the {listed(sides)}. The columns and rows there were counted, as the other lines "
        "run through them.",
        advice="Check the size. If the picture ends before the chart does, take it again with the whole chart in it.",
    )


def beyond(lattice: Lattice | None, marked: tuple[Side, ...]) -> list[Message]:
    """marked: sides beyond which marks like those in the grid lie."""
    sides = tuple(dict.fromkeys((*(lattice.beyond if lattice is not None else ()), *marked)))
    if not sides:
        return []
    text = f"Lines or marks like those in the grid go on beyond it at the {listed(sides)}, where no cells were counted."
    advice = (
        f"Compare the size with the picture. Where cells are missing, say how many there are, as in "
        f"{OPTION.cells:24x36}, or cut the picture at the chart's very edges: {OPTION.grid:even} {OPTION.cells:24x36}."
    )
    return [Message("T813", "warning", text, advice=advice)]


def several_charts(file: str, boxes: list[tuple[int, int, int, int]]) -> Message:
    """boxes: left, top, right and bottom of each chart in the picture as given."""
    options = [f"{OPTION.box:{','.join(map(str, box))}}" for box in boxes]
    return Message(
        "T803",
        "error",
        f"`{visible(file)}` shows {len(boxes)} charts; they are read one at a time.",
        advice=f"Say which one: {'; or '.join(options)} (left, top, right and bottom in pixels).",
    )


def cut_through(file: str, found: Lattice) -> Message:
    columns, rows = found.size
    return Message(
        "T803",
        "error",
        f"The lines in `{visible(file)}` run on to the picture's edges, which cut through cells at the "
        f"{listed(found.cut)}.",
        advice=f"Take the picture again with the chart's frame in it; {OPTION.cells:{columns}x{rows}} takes the "
        "whole cells.",
    )


def ruled_after_all(file: str) -> Message:
    return Message(
        "T803",
        "error",
        f"Lines at even distances run through `{visible(file)}`, but the grid that they belong to was not found.",
        advice=f"Cut the chart out with {OPTION.box:LEFT,TOP,RIGHT,BOTTOM}, and say how many columns and rows there "
        f"are, as in {OPTION.cells:24x36}; {OPTION.grid:pixels} reads every pixel as a cell, even those of the lines.",
    )


def each_pixel(columns: int, rows: int) -> Message:
    return Message(
        "T812",
        "warning",
        f"Each pixel was read as a cell, {columns} by {rows} of them. This is a guess: the picture may be a drawing "
        f"of larger cells.",
        advice=f"{OPTION.grid:pixels} says that each pixel is a cell; for larger cells say how many there are: "
        f"{OPTION.grid:even} {OPTION.cells:24x36}.",
    )


def may_be_a_grid(columns: int, rows: int) -> Message:
    return Message(
        "T812",
        "warning",
        f"Each block of pixels was read as a cell. This is a guess: the picture may show a grid of {columns} by "
        f"{rows} cells.",
        advice=f"{OPTION.grid:lines} reads the grid.",
    )


# -- what stands in the cells -------------------------------------------------------------------------------------


def not_these_signs(file: str, notation: str, key: Key) -> Message:
    dark = "" if key.names_any else f" {OPTION.dark:tuck}"
    return Message(
        "T807",
        "error",
        f"The cells of `{visible(file)}` do not look like the signs of the {notation} notation.",
        advice=f"{OPTION.notation:marks}{dark} tells the cells apart by their look.",
    )


def no_such_cell(row: int, column: int, file: str, columns: int, rows: int) -> Message:
    return Message(
        "T809",
        "error",
        f"There is no cell in row {row}, column {column}: `{visible(file)}` shows {columns} columns and {rows} rows.",
        advice=f"Give a row from 1 to {rows} and a column from 1 to {columns}.",
    )


def conflicting(one: tuple[tuple[int, int], int], other: tuple[tuple[int, int], int], file: str) -> Message:
    """Two examples that look alike, as (row, column) from 1 and a code."""
    (row, column), code = one
    (row_2, column_2), code_2 = other
    return Message(
        "T807",
        "error",
        f"In `{visible(file)}`, row {row}, column {column} and row {row_2}, column {column_2} look alike, but "
        f"{OPTION.like:{row},{column}={LETTERS[code]}} and {OPTION.like:{row_2},{column_2}={LETTERS[code_2]}} say "
        "different things.",
        advice="Compare the two cells in the picture and leave one of the options out.",
    )


def contradicted(option: str, cell: tuple[int, int], code: int, file: str) -> Message:
    """An option by which a cell would be another than the example says. cell: (row, column) from 1."""
    row, column = cell
    example = f"{OPTION.like:{row},{column}={LETTERS[code]}}"
    return Message(
        "T807",
        "error",
        f"In `{visible(file)}`, {option} and {example} say different things about row {row}, column {column}.",
        advice="Compare that cell with the picture and leave one of the two options out.",
    )


def colour_option(colour: Rgb, code: int) -> str:
    """As it is typed."""
    return f'{OPTION.colour:"{hex_of(colour)}={LETTERS[code]}"}'


def same_cells(one: tuple[Rgb, int], other: tuple[Rgb, int], seen: Rgb, cell: tuple[int, int], file: str) -> Message:
    """Two colours that name the same cells, with their codes. seen: the cells' colour; cell: (row, column) from 1."""
    return Message(
        "T807",
        "error",
        f"In `{visible(file)}`, {colour_option(*other)} and {colour_option(*one)} name the same cells, which are "
        f"{hex_of(seen)} as in row {cell[0]}, column {cell[1]}, but say different things.",
        advice="Compare that cell with the picture and leave one of the two options out. If cells of two kinds were "
        f"taken for one, point at one of each with {OPTION.like}.",
    )


def not_needed(options: list[str]) -> Message:
    """Of a file that carries its own chart. options: those that say what the marks in it mean."""
    named = f"{listed(options)} {'do' if len(options) > 1 else 'does'}"
    return Message(
        "T814",
        "warning",
        f"The file itself says what its cells are, and its picture is unchanged. So {named} not apply.",
        advice=f"Leave {'them' if len(options) > 1 else 'it'} out; {OPTION.grid:lines}, or {OPTION.grid:pixels} for a "
        "bitmap, reads the picture by its look.",
    )


def guessed_signs(signs: Signs, what: str, face: Face | None, mirrored: bool) -> Message:
    """mirrored: whether the chart would be another one if it showed the other side of the fabric."""
    few = len(np.unique(signs.codes)) < 3 and not signs.telling
    if face is None and signs.face == "knit":  # crosses are the signs of the knit side
        what += f", which show the knit side, so that left and right were exchanged ({OPTION.face:purl} leaves them)"
    elif face is None and signs.face is None:
        what += f", and taken to show the purl side ({OPTION.face:knit} says that they show the other)"
    return Message(
        "T812",
        "warning" if few or (mirrored and face is None and signs.face is None) else "info",
        f"No option says what the marks mean: they were {what}. This is a guess{' from few signs' if few else ''}.",
        advice=f"If they mean something else, say what a marked cell is: {OPTION.dark:tuck}, {OPTION.dark:slip} or "
        f"{OPTION.dark:knit}; {OPTION.notation:{signs.notation}} says that they are these signs.",
    )


def guessed_marks(kinds: Kinds, codes: tuple[int, ...], cells: int, negative: bool) -> Message:
    advice = (
        f"{OPTION.dark:tuck}, {OPTION.dark:slip} or {OPTION.dark:knit} says what a marked cell is, and "
        f"{OPTION.light} what a blank one is."
    )
    if len(kinds.kinds) == 1:
        text = f"All {cells} cells look alike, and were taken to {STITCHES[codes[0]]}: a guess."
    else:
        looks = ("dark blank", "light marked") if negative else ("lighter", "darker")
        each = " and ".join(f"the {looks[min(at, 1)]} ones {STITCHES[code]}" for at, code in enumerate(codes))
        text = f"No option says what the marks mean: of two kinds of cells, {each}. This is a guess."
    return Message("T812", "warning", text, advice=advice)


def two_forms(code: int, examples: list[tuple[int, int, int]]) -> Message:
    """Marks of two forms that were read as one stitch. examples: of each form how many cells, and the row and column of
    one of them, from 1."""
    listed_forms = " and ".join(
        f"{count_of([cells], 'cell')} as in row {row}, column {column}" for cells, row, column in examples
    )
    typed = " ".join(f"{OPTION.like:{row},{column}={LETTERS[code]}}" for _, row, column in examples)
    return Message(
        "T812",
        "warning",
        f"Marks of two different forms were both read as {STITCHES[code]}: {listed_forms}.",
        advice=f"Compare the two cells in the picture. If they mean different stitches, correct a letter: {typed}",
    )


def tinted(tints: Sequence[Tint], others: Sequence[tuple[int, int, int]], order: Order) -> Message:
    """Tints that were taken for the paper under the marks. others: row and column, from 1, of a cell of each kind that
    has none, and what it was read as."""
    examples = []
    for tint in tints:
        row, column = order.as_knitted(*np.argwhere(tint.cells)[0].tolist())
        red, green, blue = (round(255 * float(min(1.0, value))) for value in tint.colour)
        count = count_of([int(tint.cells.sum())], "cell")
        examples.append((f"{hex_of((red, green, blue))} ({count}, one in row {row}, column {column})", row, column))
    cells = [(row, column, LETTERS[code]) for row, column, code in others]
    cells += [(row, column, "?") for _, row, column in examples]
    typed = " ".join(f"{OPTION.like:{row},{column}={letter}}" for row, column, letter in cells)
    return Message(
        "T812",
        "warning",
        f"The paper under the marks has another tint in some cells: {listed([text for text, _, _ in examples])}. "
        "The tint was taken for no stitch of its own.",
        advice="Look at these cells in the picture. If the tint means a stitch, write K, T or S for the question mark: "
        f"{typed}",
    )


def dark_or_marked(kinds: Kinds, codes: tuple[int, ...], order: Order, negative: bool, page: str | None) -> Message:
    """It is not clear which is the meaning of dark cells. negative: light marks stand on these. page: what is around
    the chart, "dark" or "light", None where it has no margin."""
    marked = next(code for code in codes if code != codes[0])
    light, dark = (
        f"({listed([hex_of(kind.colour) for kind, code in zip(kinds.kinds, codes, strict=True) if code == one])}) "
        f"{STITCHES[one]}"
        for one in (codes[0], marked)
    )
    if negative:
        text = (
            f"The cells are dark and their marks are light. {OPTION.dark} was used for the marked cells and "
            f"{OPTION.light} for the blank cells: blank cells {light}, and marked cells {dark}."
        )
    else:
        text = (
            "The page is dark, so the light cells may be the marked ones. But "
            f"{OPTION.dark} was used for the dark cells and {OPTION.light} for the light cells: light cells {light}, "
            f"and dark cells {dark}."
        )
    other = {codes[0]: marked, marked: codes[0]}
    typed = " ".join(
        f"{OPTION.like:{','.join(map(str, order.as_knitted(*kind.example)))}={LETTERS[other[code]]}}"
        for kind, code in zip(kinds.kinds, codes, strict=True)
        if code in other and kind.count
    )
    likely = negative and codes[0] == KNIT and page != "light"  # few mean by "dark knits" that the marks do
    return Message("T812", "info" if likely else "warning", text, advice=f"To exchange them: {typed}")


def unmarked(code: int, cells: int, specks: int, first: tuple[int, int]) -> Message:
    """specks: how many cells hold something that is no mark for sure; first: row and column of one, from 1."""
    taken = f"were taken to {STITCHES[code]}"
    if specks:
        text = (
            f"No mark was found, and all {cells} cells {taken}; but in {specks} of them, as in row {first[0]}, "
            f"column {first[1]}, something is too small or too faint to tell."
        )
        advice = "If that is a mark, take the picture larger or with more contrast"
    else:
        text = f"No cell is marked: all {cells} look blank (tiny or faint marks may look blank too), and {taken}."
        advice = "Check that it is the right picture and that its marks can be seen"
    return Message(
        "T812", "warning", text, advice=f"{advice}; {OPTION.light:knit}, tuck or slip says what a blank cell is."
    )


# -- cells and repeats --------------------------------------------------------------------------------------------


def unsure(row: int, column: int, letter: str, share: float, place_px: tuple[float, float]) -> Message:
    """row, column: counted from 0, as knitted; place_px: the middle of the cell in the picture as given."""
    return Message(
        "T806",
        "warning",
        f"Row {row + 1}, column {column + 1} is read as {letter}, but only {100 * share:.0f} % sure.",
        advice=f"Look at {place_px[0]:.0f},{place_px[1]:.0f} in the picture (pixels from the left and the top), and "
        f"correct the letter.",
    )


def outvoted(whole: Chart, chart: Chart, row: int, column: int) -> Message:
    was = SIGNS[whole.cells[row, column]]
    now = SIGNS[chart.cells[row % chart.height, column % chart.width]]
    return Message(
        "T806",
        "warning",
        f"Row {row + 1}, column {column + 1} looks like {was}, but {now} is there in most repeats and was used.",
        advice=f"Look at the picture there; {OPTION.repeat:whole} keeps every cell as it is.",
    )


def repeat_too_large(width: int, height: int, file: str, columns: int, rows: int) -> Message:
    return Message(
        "T809",
        "error",
        f"A repeat of {width} by {height} is larger than what `{visible(file)}` shows: {columns} by {rows}.",
        advice=f"{OPTION.repeat:{min(width, columns)}x{min(height, rows)}}",
    )


def nearly_repeated(width: int, height: int, odd: tuple[tuple[int, int], ...]) -> Message:
    """odd: the row and column, from 0, of each cell that disagrees."""
    named = ", ".join(f"row {row + 1} column {column + 1}" for row, column in odd[:6])
    more = f" and {len(odd) - 6} more" if len(odd) > 6 else ""
    return Message(
        "T810",
        "info",
        f"All cells but {len(odd)} agree with a repeat of {width} by {height}; the odd ones are {named}{more}.",
        advice=f"{OPTION.repeat:{width}x{height}} uses what most copies show",
    )


def repeat_cut_off(width: int, height: int) -> Message:
    return Message(
        "T810",
        "info",
        f"The picture may show a repeat of {width} by {height}, the last time only in part.",
        advice=f"{OPTION.repeat:{width}x{height}}",
    )
