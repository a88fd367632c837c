"""What stands in each cell of a field: the signs of a notation, or kinds of marks and what the user says they mean.

Knows cells and looks; where the field lies in the picture was settled before.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import chain
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc.chart import OUT, SLIP, Cells
from stitchc.drawn.symbols import Face
from stitchc.messages import Message, Refused
from stitchc.trace import words
from stitchc.trace.cells import Patches, certainty, sampled
from stitchc.trace.field import Field
from stitchc.trace.forms import of_another_form
from stitchc.trace.grid import Lattice
from stitchc.trace.kinds import Kinds, as_seen, kinds_named_by, kinds_of, kinds_of_blocks, specks
from stitchc.trace.light import in_even_light
from stitchc.trace.marked import may_be_blots
from stitchc.trace.meaning import letters_of
from stitchc.trace.negative import negative_of, page_of
from stitchc.trace.picture import Pixels, full_light, is_drawing
from stitchc.trace.pixels import SMALL_PX
from stitchc.trace.signs import Signs, known_signs
from stitchc.trace.tints import Tint, without_tints
from stitchc.trace.traced import SURE, Ask, Key, Order, UnknownKinds, hex_of
from stitchc.wording import OPTION

_HARDLY_BLANK: Final = 0.12
_MOST_MARKS: Final = 8
"""Kinds of marks that a chart may have, unexplained: three stitches, each in a few looks."""
_FEW_CELLS: Final = 16
_MOST_BLOCKS: Final = 3
"""The same where no lines are drawn, and nothing but blocks of colour tells a chart from a landscape."""


class Read(NamedTuple):
    """Codes and certainty of each cell, top row first; how they were read; the face, where the signs tell it.

    messages: what was guessed; blank: the code that blank cells were given, where some are.
    """

    codes: Cells
    certainty: npt.NDArray[np.float32]
    what: str
    face: Face | None
    messages: tuple[Message, ...] = ()
    blank: int | None = None


def signs_read(signs: Signs) -> Read:
    """Cells that were recognised as the signs of a notation."""
    what = words.READ_AS[signs.notation, signs.face]
    return Read(signs.codes, certainty(signs.distances).max(axis=-1), what, signs.face)


def read_cells(field: Field, ask: Ask, file: str) -> Read:
    """What stands in each cell of the field.

    Raises Refused: T803 where what stands there shows that it is no chart, T807 and T808 where the kinds of marks and
    what was said of them do not fit, T809 for an example cell outside the chart.
    """
    if field.lattice is None:
        return _blocks_read(field, ask, file)
    sure = field.lattice.ruled or field.lattice.signs or ask.cells is not None  # else it may be a landscape
    turned = negative_of(field.pixels, field.lattice) if sure else None
    pixels = field.pixels if turned is None else turned
    ways = _sampled_ways(pixels, field.lattice)
    pushed, patches = ways[0]
    empty = _shaded_columns(patches)
    signs = _signs_in(patches[:, ~empty], ask, file)
    if signs is not None and ask.notation == "auto":
        signs = signs if _are_alike(sampled(pixels, field.lattice, pushed, finely=True)[:, ~empty], signs) else None
    if signs is None:
        try:
            kinds = _kinds_named(ways, turned, field, ask, file) or _kinds_of_marks(patches, pixels, field, ask, file)
            return _by_look(kinds, field, ask, file, turned, pushed)
        except Refused as refused:
            raise _or_signs(refused, patches, ask) from None
    read = _with_columns(signs_read(signs), empty)
    order = Order(field.rows, field.columns, ask.first_row != "top", (ask.face or read.face) == "knit")
    for ((row, column), code), example in zip(_from_above(ask.key, order, file).alike, ask.key.alike, strict=True):
        if read.codes[row, column] != code:
            raise Refused(words.contradicted(f"{OPTION.notation:{signs.notation}}", *example, file))
        read.certainty[row, column] = 1.0
    if turned is not None:
        read = read._replace(what=f"{words.NEGATIVE}, {read.what}")
    if ask.notation != "auto":
        return read
    blank = SLIP if signs.notation == "squared" else None
    guess = words.guessed_signs(signs, read.what, ask.face, _differs_mirrored(read.codes))
    return read._replace(messages=(guess,), blank=blank)


def _blocks_read(field: Field, ask: Ask, file: str) -> Read:
    """The same of blocks of one colour each."""
    try:
        return _by_look(kinds_of_blocks(field.pixels), field, ask, file)
    except UnknownKinds:
        patches = np.divide(field.pixels, 255, dtype=np.float32)[:, :, None, None]
        found = _even_paper(patches, ask.key) if ask.key.names_any else None
        if found is None:
            raise
        even, tints = found
        cells = np.round(255 * even[:, :, 0, 0]).astype(np.uint8)
        return _by_look(replace(kinds_of_blocks(cells), tints=tints), field, ask, file)


def _differs_mirrored(codes: Cells) -> bool:
    """Whether no shift makes the cells those of their mirror image."""
    mirrored = codes[:, ::-1]
    return not any((np.roll(mirrored, shift, axis=1) == codes).all() for shift in range(codes.shape[1]))


def _sampled_ways(pixels: Pixels, lattice: Lattice) -> list[tuple[bool, Patches]]:
    """The cells' insides, about their middles and, where lines are bold, between the lines' edges (True); the way in
    which fewer kinds of cells are seen first."""
    ways = [(pushed, sampled(pixels, lattice, pushed)) for pushed in ([False, True] if lattice.bold else [False])]
    return sorted(ways, key=lambda way: len(kinds_of(way[1]).kinds)) if len(ways) > 1 else ways


def _kinds_named(
    ways: list[tuple[bool, Patches]], turned: Pixels | None, field: Field, ask: Ask, file: str
) -> Kinds | None:
    """The cells as of the kinds that the user names, where any are named and the cells are of these."""
    assert field.lattice is not None
    if not ask.key.names_any:
        return None
    key = _from_above(ask.key, Order(field.rows, field.columns, ask.first_row != "top", ask.face == "knit"), file)
    pixels = field.pixels if turned is None else turned
    light = full_light(pixels).tolist()
    colours = []
    for colour, code in key.colours:
        seen = colour if turned is None else tuple(255 - value for value in colour)
        red, green, blue = (round(255 * value / of) for value, of in zip(seen, light, strict=True))
        colours.append(((red, green, blue), code))
    key = replace(key, colours=tuple(colours))
    named_ways = [
        kinds for _, patches in ways if (kinds := kinds_named_by(patches, pixels, field.lattice, key)) is not None
    ]
    again = _looked_at_again(*ways[0], pixels, field.lattice, key)
    for kinds in chain(named_ways, again):
        if kinds is not None and _says_all(kinds, key) and not _often_unsure(kinds):
            return kinds
    return min(named_ways, key=lambda kinds: (None in kinds.codes, not _says_all(kinds, key)), default=None)


def _looked_at_again(
    pushed: bool, patches: Patches, pixels: Pixels, lattice: Lattice, key: Key
) -> Iterator[Kinds | None]:
    """The same as without shadows, as on paper of one tint, and from close by, wherever marks stand in their cells."""
    relit = in_even_light(patches) if lattice.ruled and not is_drawing(pixels) else None
    yield None if relit is None else kinds_named_by(relit, pixels, lattice, key)
    yield _on_tints(patches, pixels, lattice, key)
    if len(key.alike) > 1:  # else nobody says that marks of two forms are of two kinds
        closer = sampled(pixels, lattice, pushed, finely=True)
        for anywhere in (False, True):
            yield kinds_named_by(closer, pixels, lattice, key, anywhere)


_MOST_UNSURE: Final = 0.1


def _often_unsure(kinds: Kinds) -> bool:
    """Whether it is not sure of many marks of which kind they are."""
    marks = kinds.of > 0
    return float((kinds.shares[marks].max(axis=1) < SURE).mean()) > _MOST_UNSURE if marks.any() else False


def _says_all(kinds: Kinds, key: Key) -> bool:
    """Whether every kind has a meaning, and each example cell the one that the user gave it."""
    return None not in kinds.codes and all(kinds.codes[kinds.of[cell]] == code for cell, code in key.alike)


_SAME_TINT: Final = 0.05
_UNMARKED: Final = 0.25
"""How near a colour that the user names is to a tint that it means, of 1; and how much light differs within a cell that
holds nothing but a tint."""


def _on_tints(patches: Patches, pixels: Pixels, lattice: Lattice, key: Key) -> Kinds | None:
    """The same where the paper under the marks has several tints."""
    found = _even_paper(patches, key)
    kinds = None if found is None else kinds_named_by(found[0], pixels, lattice, key)
    return None if kinds is None or found is None else replace(kinds, tints=found[1])


def _even_paper(patches: Patches, key: Key) -> tuple[Patches, tuple[Tint, ...]] | None:
    """The cells as they would be on paper of one tint, and its other ones, none of which the user named as a mark."""
    found = without_tints(patches)
    named = [np.divide(colour, 255) for colour, _ in key.colours]
    if found is None or any(np.abs(one - tint.colour).max() < _SAME_TINT for one in named for tint in found[1]):
        return None
    for cell, code in key.alike:
        is_tint = any(tint.cells[cell] for tint in found[1]) and float(np.ptp(patches[cell])) < _UNMARKED
        if is_tint and code != key.light_code:
            return None
    return found


_SHADED: Final = 0.03
_FLAT: Final = 0.06


def _shaded_columns(patches: Patches) -> npt.NDArray[np.bool_]:
    """The columns in which no cell holds a sign and all are a little darker than the paper: charts of ours show needles
    out of work so. A running thread passes along the lower edge, which is not looked at. None, where all are."""
    light = patches[:, :, 1:-1].min(axis=4) if patches.shape[2] > 3 else patches.min(axis=4)
    ground = np.median(light, axis=(0, 2, 3))
    flat = np.percentile(np.abs(light - ground[:, None, None]), 98, axis=(0, 2, 3)) < _FLAT
    paper = np.percentile(light, 90, axis=(0, 2, 3)).max()
    shaded = flat & (ground < paper - _SHADED)
    return np.asarray(shaded & ~shaded.all())


def _with_columns(read: Read, empty: npt.NDArray[np.bool_]) -> Read:
    """The same with columns of needles out of work between them."""
    codes = np.full((len(read.codes), len(empty)), OUT, dtype=np.uint8)
    certainty = np.ones(codes.shape, dtype=np.float32)
    codes[:, ~empty], certainty[:, ~empty] = read.codes, read.certainty
    return read._replace(codes=codes, certainty=certainty)


def _signs_in(patches: Patches, ask: Ask, file: str) -> Signs | None:
    """The signs that the user names, or any that are recognised where nothing was said of the marks."""
    if ask.notation in ("squared", "thread", "plain"):
        signs = known_signs(patches, ask.notation)
        if signs is None:
            raise Refused(words.not_these_signs(file, ask.notation, ask.key))
        return signs
    return known_signs(patches) if ask.notation == "auto" and not ask.key.names_any else None


def _are_alike(seen: Patches, signs: Signs) -> bool:
    """Whether all cells read as one sign hold a mark of one form, or all none but for blots: letters are a little like
    many signs, and a thin dash like an empty cell. seen: the cells, finely sampled."""
    paper = np.ones(3, dtype=np.float32)
    for code in np.unique(signs.codes):
        cells = seen[signs.codes == code]
        rim = (cells.shape[1] - 1) // 6  # which wide lines may bleed into
        ink = 1 - cells.min(axis=3)[:, rim:-rim, rim:-rim]
        darkest = ink.max(axis=(1, 2))
        empty = (darkest < _EMPTY).mean() > _MOSTLY
        if empty and not may_be_blots(ink[darkest >= _CRISP], signs.codes.size):
            return False
        if of_another_form(cells, paper) is not None:
            return False
    return True


_EMPTY, _CRISP, _MOSTLY = 0.2, 0.5, 0.5
"""How dark an empty cell is at most and a mark at least, somewhere in it, and the part of the cells of a sign that are
empty if it is an empty cell."""


def _kinds_of_marks(patches: Patches, pixels: Pixels, field: Field, ask: Ask, file: str) -> Kinds:
    """Kinds of cells on a lattice, unless they show that it is none."""
    assert field.lattice is not None
    kinds = kinds_of(patches, pixels, field.lattice)
    if field.lattice.bold and patches.shape[2] >= 5:  # whose edges, seen in the cells beside them, make no kinds
        inner = kinds_of(patches[:, :, 1:-1, 1:-1], pixels, field.lattice)
        kinds = inner if 1 < len(inner.kinds) < len(kinds.kinds) else kinds
    if len(kinds.kinds) == 1 and kinds.kinds[0].ink > _HARDLY_BLANK and ask.cells is None:
        raise Refused(words.no_grid(file, ask))  # squares that are all marked alike are no chart
    most = _MOST_MARKS if field.lattice.ruled else _MOST_BLOCKS
    vouched_for = ask.cells is not None or ask.key.alike or (ask.key.dark is not None and field.lattice.ruled)
    if len(kinds.kinds) > max(most, len(ask.key.colours) + 1) and not vouched_for:
        raise Refused(words.no_grid(file, ask))  # nor are squares of a photograph, each unlike the next
    few = field.rows * field.columns < _FEW_CELLS and len(kinds.kinds) > 2
    if few and ask.cells is None and not ask.key.names_any:
        raise Refused(words.no_grid(file, ask))  # nor are a few boxes of a plot
    return kinds


def _by_look(
    kinds: Kinds, field: Field, ask: Ask, file: str, turned: Pixels | None = None, pushed: bool = False
) -> Read:
    """Cells of these kinds as the user says that they are to be read. turned: the negative by which they were found;
    pushed: whether wide lines push marks aside."""
    if field.lattice is not None:
        kinds = as_seen(kinds, field.pixels if turned is None else turned, turned is not None)
    order = Order(field.rows, field.columns, ask.first_row != "top", ask.face == "knit")
    key = _from_above(ask.key, order, file)
    try:
        codes = letters_of(kinds, key, file, order)
    except Refused as refused:
        raise _or_larger_cells(refused, field) from None
    for number, ((row, column), code) in enumerate(key.alike):
        kind = int(kinds.of[row, column])
        if codes[kind] != code:  # an example before this one counts, or one that it is more like than its own
            others = [at for at, (_, meaning) in enumerate(key.alike) if meaning == codes[kind]]
            other = next((at for at in others if kinds.of[key.alike[at][0]] == kind), others[0])
            raise Refused(words.conflicting(ask.key.alike[other], ask.key.alike[number], file))
    of_kind = kinds.shares
    shares = np.zeros((*of_kind.shape[:2], 3), dtype=np.float32)
    for index, code in enumerate(codes):
        shares[..., code] += of_kind[..., index]
    if ask.key.dark is not None:  # what the user says leaves no third meaning
        shares /= np.maximum(shares.sum(axis=-1, keepdims=True), 1e-6)
    for (row, column), code in key.alike:
        shares[row, column] = np.eye(3, dtype=np.float32)[code]
    codes_read = shares.argmax(axis=-1).astype(np.uint8)
    looks = ", ".join(
        f"{hex_of(kind.colour)} {words.STITCHES[code]}"
        for kind, code in zip(kinds.kinds, codes, strict=True)
        if kind.count
    )
    guess = _remarks(kinds, codes, field, ask, order, turned)
    if kinds.tints:
        untinted = ~np.any([tint.cells for tint in kinds.tints], axis=0)
        shown = {code: np.argwhere(untinted & (kinds.of == kind)) for kind, code in enumerate(codes)}
        cells = [(*order.as_knitted(*places[0].tolist()), code) for code, places in shown.items() if len(places)]
        guess += (words.tinted(kinds.tints, cells, order),)
    if field.lattice is not None:
        seen = sampled(field.pixels if turned is None else turned, field.lattice, pushed, finely=True)
        guess += _forms_taken_for_one(seen, kinds, codes, key, order)
    caveat = "" if ask.key.names_any or guess else f" (a guess, unless {OPTION.dark} says what a marked cell is)"
    what = f"{words.NEGATIVE}, read by look" if turned is not None else "read by look"
    return Read(codes_read, shares.max(axis=-1), f"{what}: {looks}{caveat}", None, guess, codes[0])


def _forms_taken_for_one(
    seen: Patches, kinds: Kinds, codes: tuple[int, ...], key: Key, order: Order
) -> tuple[Message, ...]:
    """What is to be said of marks that clearly differ in form, but were read as the same stitch because of one word of
    the user's. seen: the cells, finely sampled."""
    side = seen.shape[2]
    blank = seen[kinds.of == 0].reshape(-1, 3)
    ground = np.median(blank, axis=0) if len(blank) else np.ones(3, dtype=np.float32)  # letters may stand in every cell
    shown = {int(kinds.of[cell]) for cell, _ in key.alike}
    unsure = kinds.shares.max(axis=2) < SURE
    blots = unsure & (unsure.mean() < 0.5)  # which are named one by one
    messages = []
    for code in dict.fromkeys(codes):
        alike = [kind for kind, of_kind in enumerate(codes) if of_kind == code]
        for group in ([kind for kind in alike if kind not in shown], *([kind] for kind in alike if kind in shown)):
            cells = np.argwhere(np.isin(kinds.of, group) & ~blots)
            other = of_another_form(seen[cells[:, 0], cells[:, 1]].reshape(-1, side, side, 3), ground)
            if other is not None:
                examples = [
                    (int(chosen.sum()), *order.as_knitted(*cells[chosen][0].tolist())) for chosen in (~other, other)
                ]
                messages.append(words.two_forms(code, examples))
    return tuple(messages)


def _remarks(
    kinds: Kinds, codes: tuple[int, ...], field: Field, ask: Ask, order: Order, turned: Pixels | None
) -> tuple[Message, ...]:
    """What is to be said of the meaning that marks on a lattice were given."""
    key, cells = ask.key, field.rows * field.columns
    if field.lattice is None:
        return ()
    if len(kinds.kinds) == 1 and kinds.kinds[0].ink <= _HARDLY_BLANK:
        odd = np.argwhere(specks(sampled(field.pixels if turned is None else turned, field.lattice)))
        first = order.as_knitted(*odd[0].tolist()) if len(odd) else (0, 0)
        blank = words.unmarked(codes[0], cells, len(odd), first)
        if not key.names_any and ask.cells is None:  # a plot over a grid looks like that
            raise Refused(blank._replace(severity="error"))
        return (blank,)
    if not key.names_any:
        return (words.guessed_marks(kinds, codes, cells, turned is not None),)
    by_colour = {code for _, code in (*key.colours, *key.alike)}
    several = len(set(codes))
    if several == 1 or (turned is None and (several > 2 or by_colour)):
        return ()
    page = page_of(field)
    # Cells as dark as that on a light page may be the marked ones, and what is light in them the blank.
    doubtful = turned is not None and page == "light" and codes[0] not in by_colour
    if doubtful or (several == 2 and not by_colour and (turned is not None or page == "dark")):
        return (words.dark_or_marked(kinds, codes, order, turned is not None, page),)
    return ()


def _or_signs(refused: Refused, patches: Patches, ask: Ask) -> Refused:
    """The same refusal; where something was said of marks that are signs of ours, it also names their notation."""
    signs = known_signs(patches) if ask.notation == "auto" and refused.messages[0].code == "T807" else None
    if signs is None or f"{OPTION.notation:{signs.notation}}" in str(refused.messages[0].advice):
        return refused
    return _hinted(refused, f"; they look like signs of stitchc chart, which {OPTION.notation:{signs.notation}} reads")


def _or_larger_cells(refused: Refused, field: Field) -> Refused:
    """The same refusal; of a picture too large to have a cell in each pixel it also says how to give their number."""
    if field.blocks is None or field.blocks.block_px != (1, 1) or max(field.rows, field.columns) <= SMALL_PX:
        return refused
    hint = f"; each pixel was read as a cell: if cells are larger, say how many there are, as in {OPTION.cells:24x36}"
    return _hinted(refused, hint)


def _hinted(refused: Refused, hint: str) -> Refused:
    messages = [message._replace(advice=f"{message.advice}{hint}") for message in refused.messages]
    if isinstance(refused, UnknownKinds):
        return UnknownKinds(messages[0], refused.kinds, refused.size)
    return Refused(*messages)


def _from_above(key: Key, order: Order, file: str) -> Key:
    """The key with its example cells counted from the top left of the picture instead of as knitted."""
    alike = []
    for (row, column), code in key.alike:
        if not (1 <= row <= order.rows and 1 <= column <= order.columns):
            raise Refused(words.no_such_cell(row, column, file, order.columns, order.rows))
        alike.append((order.in_picture(row, column), code))
    return Key(key.dark, key.light, key.colours, tuple(alike))
