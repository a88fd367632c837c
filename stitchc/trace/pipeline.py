"""From the bytes of a picture to a chart: the stages in order, and what was found turned the way it is knitted.

Each stage lives elsewhere; here is only what one of them hands to the next.
"""

from __future__ import annotations

from contextlib import suppress
from typing import Final

import numpy as np
import numpy.typing as npt

from stitchc.chart import MAX_CELLS, SIGNS, Cells, Chart
from stitchc.messages import Message, Refused
from stitchc.notation.writer import is_name
from stitchc.trace import words
from stitchc.trace.beyond import sides_with_marks_beyond
from stitchc.trace.field import Field, Places
from stitchc.trace.finding import boxed, field_in
from stitchc.trace.frame import without_frame, without_headings
from stitchc.trace.knittable import weighed
from stitchc.trace.picture import open_picture
from stitchc.trace.reading import Read, read_cells
from stitchc.trace.repeat import reduced
from stitchc.trace.traced import SURE, Ask, Traced, UnknownKinds
from stitchc.wording import OPTION

_MOST_UNSURE: Final = 0.5
"""The share of unsure cells from which the grid itself is doubted."""
_AROUND_PX: Final = 4
"""Pixels around a chart that its frame may need."""


def trace(data: bytes, file: str, ask: Ask | None = None) -> Traced:
    """The chart that a picture shows. file: what messages call it.

    Raises Refused: T801 no picture, T802 too large, T803 no grid, T804 no room for a chart, T805 too many cells,
    T807 kinds of cells that are not explained, T808 a colour that is not there, T809 sizes that do not fit.
    """
    ask = ask or Ask()
    picture = open_picture(data, file)
    if picture.carried is not None and ask.grid == "auto" and ask.cells is None and ask.box_px is None:
        return _carried(picture.carried, ask, file)
    meaning_guessed = not ask.key.names_any
    pixels, offset = boxed(picture, ask, file)
    if bool((pixels == pixels[0, 0]).all()):
        raise Refused(words.of_one_colour(file))
    field = field_in(pixels, ask, file)
    if field.charts:
        in_picture = Places(field, offset, picture.smaller, True, False)
        raise Refused(words.several_charts(file, [in_picture.box(box, _AROUND_PX) for box in field.charts]))
    if ask.key.colours and ask.cells is None:
        field = without_frame(field, [colour for colour, _ in ask.key.colours])
    lattice = field.lattice
    fields = [field]
    if ask.cells is None and lattice is not None and (lattice.ruled or lattice.signs) and not field.outlined:
        fields = [without_headings(field)]
        if lattice.signs:  # what looks like a frame may be a part of the chart that the user named
            fields.insert(0, without_headings(field, framed=True))
    field, read = _first_read(fields, ask, file)
    codes, certainty, what, face, guess, blank = read
    rows, columns = field.rows, field.columns
    if (
        field.lattice is not None
        and ask.cells is None
        and meaning_guessed
        and float((certainty < SURE).mean()) > _MOST_UNSURE
    ):
        raise Refused(words.no_grid(file, ask))  # squares of which hardly one can be told lie beside the chart's own
    seen_face = ask.face or face or "purl"
    below, right = ask.first_row != "top", seen_face == "knit"

    def knitted(plane: npt.NDArray[np.generic]) -> npt.NDArray[np.generic]:
        plane = plane[::-1] if below else plane
        return np.ascontiguousarray(plane[:, ::-1] if right else plane)

    cells = knitted(codes).astype(np.uint8)
    sure = knitted(certainty).astype(np.float32)
    whole = Chart(cells, (None,) * rows)
    places = Places(field, offset, picture.smaller, below, right)
    chart, remarks = reduced(whole, sure, ask, file)
    if meaning_guessed:
        guess = tuple(weighed(message, chart, blank) for message in guess)
    beyond = [] if ask.cells is not None else words.beyond(field.lattice, sides_with_marks_beyond(field))
    if ask.cells is None and field.lattice is not None and field.lattice.ruled and blank is not None:
        beyond = [*beyond, *_blank_paper(codes != blank)]
    messages = [*field.messages, *beyond, *guess, *_unsure(cells, sure, ask.sure, places), *remarks]
    how = f"{columns} by {rows} cells{field.how}, {what}, seen from the {seen_face} side"
    if picture.more:
        how = f"the first picture in the file, {how}"
    corners = tuple(places.picture(x * columns, y * rows) for y, x in ((0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0)))
    return Traced(chart, whole, sure, how, field.turned_deg, corners, tuple(messages))


def _first_read(fields: list[Field], ask: Ask, file: str) -> tuple[Field, Read]:
    """The first of the fields whose cells can be read, and these; the last one's refusal if there is none."""
    *others, last = fields
    for field in others:
        if field.rows * field.columns <= MAX_CELLS:
            with suppress(Refused):
                return field, read_cells(field, ask, file)
    if last.rows * last.columns > MAX_CELLS:
        raise Refused(words.too_many_cells(file, last.columns, last.rows))
    try:
        return last, read_cells(last, ask, file)
    except UnknownKinds as unknown:
        raise _with_cuts(unknown, last, ask) from None


_WIDE_RIM: Final = 2
"""Blank rows or columns at one side, from which squared paper may be wider than the chart on it."""


def _blank_paper(marked: npt.NDArray[np.bool_]) -> list[Message]:
    """What is to be said where there are blank cells on all four sides, several on one. marked: (rows, columns)."""
    if not marked.any():
        return []
    rims = []
    for along in (np.any(marked, axis=0), np.any(marked, axis=1)):
        rims.append((int(along.argmax()), int(along[::-1].argmax())))
    (left, right), (top, bottom) = rims
    if min(left, right, top, bottom) == 0 or max(left, right, top, bottom) < _WIDE_RIM:
        return []
    rows, columns = marked.shape
    return [words.blank_paper((columns, rows), (columns - left - right, rows - top - bottom))]


def _with_cuts(unknown: UnknownKinds, field: Field, ask: Ask) -> UnknownKinds:
    """The same refusal with each kind's example cut out of the picture; and since a wrong number of cells makes strange
    kinds of them, with what to do about that."""
    kinds = (kind._replace(cut=field.cut_out(*kind.cell)) for kind in unknown.kinds)
    message = unknown.messages[0]
    if ask.cells is None and field.lattice is not None:
        hint = f"\nIf there are not so many cells, say how many there are: {OPTION.cells:COLUMNSxROWS}."
        message = message._replace(advice=f"{message.advice}{hint}")
    return UnknownKinds(message, kinds, unknown.size)


def _carried(whole: Chart, ask: Ask, file: str) -> Traced:
    """The chart that a file of ours carries beside a digest of its pixels."""
    sure = np.ones(whole.cells.shape, dtype=np.float32)
    chart, remarks = reduced(whole, sure, ask, file)
    # Yarns may repeat in more rows than the cells do.
    if any(whole.yarns) and all(yarn is None or is_name(yarn) for yarn in whole.yarns):
        height = whole.height if ask.repeat == "smallest" else chart.height
        cells = whole.cells if ask.repeat == "smallest" else chart.cells
        chart = Chart(cells, whole.yarns[:height])
    how = f"{whole.width} by {whole.height} cells, as the file says, whose pixels are unchanged"
    given = ask.options_given
    return Traced(chart, whole, sure, how, 0.0, (), (*([words.not_needed(given)] if given else []), *remarks))


def _unsure(cells: Cells, sure: npt.NDArray[np.float32], least: float, places: Places) -> list[Message]:
    return [
        words.unsure(row, column, SIGNS[cells[row, column]], float(sure[row, column]), places.cell(row, column))
        for row, column in np.argwhere(sure < least).tolist()
    ]
