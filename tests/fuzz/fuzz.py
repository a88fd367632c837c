"""What the reader, the profile loader, `format`, `trace` and the way from text to fabric promise for any bytes.

The targets are held to it by the search in `__main__`, and by the ordinary tests for the seeds and the kept cases.
"""

from __future__ import annotations

import io
import itertools
import json
import re
import tempfile
import time
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stitchc.bed import Needles, needle_name
from stitchc.chart import MAX_CELLS
from stitchc.machines import SHIPPED, load_text, profile_text
from stitchc.messages import Message, Refused, has_errors, render, to_json
from stitchc.notation import compile_text, write_chart
from stitchc.notation.layout import lay_out, same_meaning
from stitchc.notation.vocabulary import KEYWORDS
from tests.proof import machines

if TYPE_CHECKING:
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Side, Stitch

HERE = Path(__file__).parent
EXAMPLES = HERE.parents[1] / "examples"
NOTATION_CASES = HERE.parent / "notation" / "cases"
SECONDS = 10
"""No input of a few kilobytes may take longer, on a busy machine and under coverage measurement."""

MOST_KNITTED = 1500
"""Cells of a stitch that is knitted in the search, so that an input takes some milliseconds."""


def soundly_said(messages: Iterable[Message], sources: Mapping[str, Sequence[str]]) -> None:
    """Every message says something, at a place that exists, and can be shown in each way."""
    messages = list(messages)
    for message in messages:
        assert message.code and message.text.strip(), message
        for span in ([message.span] if message.span else []) + [span for span, _ in message.also]:
            assert span.line >= 1 and span.column >= 1 and span.length >= 1, message
            if span.file in sources:
                lines = sources[span.file]
                assert span.line <= max(1, len(lines)), (message, len(lines))
                width = len(lines[span.line - 1]) if lines else 0
                assert span.column <= width + 1, (message, width)
        for colour in (False, True):
            shown = render(message, sources, colour)
            shown.encode("utf-8")
            assert len(shown) < 8000, len(shown)
            bare = [c for c in shown if (ord(c) < 32 and c not in "\n\x1b") or "\u202a" <= c <= "\u202e"]
            assert not bare, (message, bare)
    to_json(messages).encode("utf-8")


def printed(text: str) -> bool:
    """Whether it is lines of characters that can be seen, and blanks of any width."""
    return all(letter == "\n" or letter.isprintable() or unicodedata.category(letter) == "Zs" for letter in text)


def reader(data: bytes) -> None:
    """Any bytes: a pattern or an error, soundly said; and a stitch written out is read back as it was."""
    reading = compile_text(data)
    soundly_said(reading.messages, reading.sources)
    assert (reading.pattern is None) == has_errors(reading.messages)
    if reading.pattern is None:
        return
    for name, stitch in reading.pattern.stitches.items():
        assert 1 <= stitch.chart.cells.size <= MAX_CELLS
        if stitch.chart.cells.size <= 10_000 and not any(stitch.chart.yarns):
            again = compile_text(write_chart(name, stitch.chart)).pattern
            assert again is not None and again.stitches[name].chart == stitch.chart, name


def profile(data: bytes) -> None:
    """Any bytes: a machine within the bounds of machines, or mistakes that each name a key or a line."""
    try:
        machine = load_text(data, "my.toml")
    except Refused as refused:
        assert refused.messages
        soundly_said(refused.messages, refused.sources)
        for message in refused.messages:
            assert message.code == "M304" and message.severity == "error", message
            assert message.span is not None and message.advice, message
            unread = message.text.startswith(("This is not valid TOML", "A line of a", "The brackets of", "A machine"))
            assert "`" in message.text or unread, message  # names the key, where there is one to name
            assert "is given twice" not in message.text or "`" in message.text, message
    else:
        assert machine.needles >= 2 and 0 < machine.pitch_mm <= 50
        assert needle_name(machine.bed.first) == machine.bed.left
        _work_on(machine)


@cache
def _dune() -> Pattern:
    pattern = compile_text(b"stitch dune\n1: K T\n2: K\n3: S2 K2\n4: K\n").pattern
    assert pattern is not None
    return pattern


def _work_on(machine: Machine) -> None:
    """Any machine that may be described can be worked on: a small stitch is checked, and knitted if it goes on it."""
    from stitchc.checks import check
    from stitchc.document import to_text
    from stitchc.passes import unfit
    from stitchc.sheet import stitch_sheet, to_json

    pattern = _dune()
    stitch, needles = pattern.stitches["dune"], Needles.centred(min(24, machine.needles))
    found = [*check(stitch, machine), *unfit(stitch, machine, needles)]
    soundly_said(found, pattern.sources)
    sheet = stitch_sheet(pattern, stitch, machine, needles, 5, "left", 0, found)
    assert to_text(sheet.document)
    fabric = machines.follow_sheet(json.loads(to_json([sheet])), "left", machine.reader == "none")
    column_1 = machine.column_1_needle if machine.reader != "none" else None
    bed = range(needles.first, needles.last + 1)
    at = machines.position(column_1) if column_1 else None
    assert fabric == machines.wanted(stitch.chart.rows(), bed, 5, 0, at)
    card = machine.card
    if card and (machine.reader_width or 0) * max(card.rows, card.least_rows, card.joining_rows) <= MOST_KNITTED:
        _knit_by_card(pattern, stitch, machine)


def format(data: bytes) -> None:
    """Whatever compiles means the same when laid out, and laying it out twice is laying it out once."""
    pattern = compile_text(data).pattern
    if pattern is None:
        return
    plain = data.decode("utf-8").removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    after = lay_out(plain)
    assert lay_out(after) == after, (plain, after, lay_out(after))
    again = compile_text(after)
    assert again.pattern is not None, (plain, after, again.messages)
    assert same_meaning(pattern, again.pattern), (plain, after)


def trace(data: bytes) -> None:
    """Any bytes: a chart with the certainty of each cell, or a refusal in words."""
    _traced(data)


def _traced(data: bytes, **asked: Any) -> None:
    from stitchc.trace import Ask
    from stitchc.trace import trace as traced

    try:
        found = traced(data, "chart.png", Ask(**asked))
    except Refused as refused:
        assert refused.messages
        soundly_said(refused.messages, refused.sources)
        assert all(message.code.startswith("T8") for message in refused.messages)
    else:
        soundly_said(found.messages, {})
        assert 1 <= found.chart.cells.size <= MAX_CELLS
        assert compile_text(write_chart("kelp", found.chart)).pattern is not None


_NOTATIONS = ("auto", "squared", "thread", "plain", "marks")
_GRIDS = ("auto", "lines", "pixels", "even")


def picture(data: bytes) -> None:
    """Any grey cells, drawn at any size with lines or without and looked at in any way, are a chart or refused.

    The bytes say: columns, pixels a cell, lines between the cells, what is asked, and then the grey of each cell.
    """
    if len(data) < 6:
        return
    import numpy as np
    from PIL import Image

    columns, cell_px, lines, asked = data[0] % 48 + 1, data[1] % 14 + 1, data[2] % 4, data[3]
    rows = (len(data) - 4) // columns
    if not rows:
        return
    cells = np.frombuffer(data, np.uint8, rows * columns, 4).reshape(rows, columns)
    pixels = np.kron(cells, np.ones((cell_px, cell_px), np.uint8))
    if lines & 1:
        pixels[::cell_px] = 40 * lines
    if lines & 2:
        pixels[:, ::cell_px] = 40 * lines
    held = io.BytesIO()
    Image.fromarray(pixels).save(held, "PNG")
    grid = _GRIDS[asked % 4]
    _traced(
        held.getvalue(),
        grid=grid,
        notation=_NOTATIONS[asked // 4 % 5],
        cells=(columns, rows) if grid == "even" else None,
        repeat=("smallest", "whole")[asked // 20 % 2],
        first_row=("bottom", "top")[asked // 40 % 2],
    )


def meaning(data: bytes) -> None:
    """Whatever compiles means what the slow interpreter of `tests/notation/` makes of it. (The interpreter reads valid
    text; what is invalid it may take.)"""
    from tests.notation.agree import same
    from tests.notation.interpreter import Wrong, interpret

    if _LARGE.search(data) or b"include" in data.lower():
        return  # lists of single letters are slow, and there is no other file
    pattern = compile_text(data).pattern
    try:
        text = data.decode("utf-8").removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
        book = interpret(text, {})
    except (Wrong, ValueError) as wrong:
        assert pattern is None, f"compiled although {wrong}"
    else:
        if pattern is not None:
            same(pattern, book)


_LARGE = re.compile(rb"[0-9]{4}")


def knit(data: bytes) -> None:
    """Whatever compiles is checked, lowered, put into words and onto a card without a word out of place; and simulated
    machines (`tests/proof/machines.py`) that are fed with the sheet and with the card knit what the chart says."""
    pattern = compile_text(data).pattern
    if pattern is None:
        return
    stitches = [stitch for stitch in pattern.wanted() if stitch.chart.cells.size <= MOST_KNITTED]
    variant = sum(data)  # of the bytes alone, so that a case does the same in every run
    for stitch in stitches[:3]:
        for name in ("hand-standard", "card24-standard"):
            _knit_by_sheet(pattern, stitch, _shipped(name), variant)
        _knit_by_card(pattern, stitch, _shipped("card24-standard"))


@cache
def _shipped(name: str) -> Machine:
    return load_text(profile_text(name), name, shipped=name)


def _knit_by_sheet(pattern: Pattern, stitch: Stitch, machine: Machine, variant: int) -> None:
    from stitchc.checks import check, edge_tucks
    from stitchc.document import to_text
    from stitchc.passes import columns_on, cost, default_needles, lower, unfit, ways
    from stitchc.sheet import stitch_sheet, to_json

    edge = variant % 3
    side: Side = "left" if variant // 3 % 2 else "right"
    rows = stitch.chart.height + variant // 6 % 3
    needles = default_needles(stitch.chart, edge)
    columns = columns_on(stitch.chart, machine, needles, edge)
    found = [
        *check(stitch, machine),
        *unfit(stitch, machine, needles),
        *edge_tucks(stitch.chart, columns, needles, stitch),
    ]
    soundly_said(found, pattern.sources)
    codes = [message.code for message in found]
    assert len(set(codes)) == len(codes) or codes.count("M305") == 2, codes
    if "M303" in codes:
        return  # more needles than the bed has: there is no needle to move
    sheet = stitch_sheet(pattern, stitch, machine, needles, rows, side, edge, found)
    for every_row in (False, True):
        text = to_text(sheet.document, every_row)
        assert printed(text), text
    by_hand = machine.reader == "none"
    column_1 = None if by_hand else machines.position(machine.column_1_needle or "R1")
    fabric = machines.follow_sheet(json.loads(to_json([sheet])), side, by_hand)
    bed = range(needles.first, needles.last + 1)
    assert fabric == machines.wanted(stitch.chart.rows(), bed, rows, edge, column_1), fabric
    if by_hand and stitch.chart.width <= 12:
        asked = cost(lower(stitch.chart, machine, needles, rows, side, edge), machine)
        found_ways = ways(stitch.chart, machine, needles, rows, side, edge)
        assert next(way.cost for way in found_ways if (way.carriage, way.shift) == (side, 0)) == asked
        assert (found_ways[0].cost.moves, found_ways[0].cost.lever_changes) <= (asked.moves, asked.lever_changes)


def _knit_by_card(pattern: Pattern, stitch: Stitch, machine: Machine) -> None:
    from stitchc.card import plan_card, unfit
    from stitchc.card.punching import punching_list
    from stitchc.document import to_text

    found = unfit(stitch, machine)
    soundly_said(found, pattern.sources)
    if any(message.code in ("M301", "M302") for message in found):
        return
    card = plan_card(stitch, machine, title=pattern.title)
    assert printed(to_text(punching_list(card)))
    if "mixed" in card.chart.settings():
        return  # no carriage does both in one pass
    shape = card.shape
    habits = machines.Habits(
        width=card.columns,
        mark_means=machine.mark_means,
        mirrored=machine.mirrored,
        column_1_needle=machines.position(machine.column_1_needle or "R1"),
        selects=machine.selects,
        first_row=machine.first_row,
        seen_above_read=shape.seen_above_read,
    )
    felt = machines.card_in_reader(habits, card.holes.tolist())
    settings = machines.settings_told([(change.row, change.setting) for change in card.changes], card.rows)
    bed = range(-13, 13)
    empty = machines.emptied(habits, card.columns_out, bed)
    knitted = machines.knit_by_reader(habits, felt, bed, card.rows + 1, settings, card.rows, empty)
    assert knitted == machines.wanted(stitch.chart.rows(), bed, len(knitted), column_1=habits.column_1_needle), knitted


COMMANDS = (
    *("check", "check --machine card12-bulky", "chart", "chart --format json", "gauge --plain 20x28", "compare"),
    *("card --format text --anyway", "sheet --every-row --anyway", "sheet --machine bitmap-bulky --format json"),
    *("swatch", "piece --plain 21x30", "piece --format json --machine card24-standard --anyway", "format"),
)
"""What makes text for standard output, and is quick enough to be tried thousands of times."""


def commands(data: bytes) -> None:
    """Every command that makes text ends as promised: a status, words for what is wrong, nothing for a terminal to
    obey, JSON that can be read."""
    from tests.proof.running import stitchc

    if re.search(rb"[0-9]{3}", data):
        return  # a piece of a million rows is right, and slow
    pattern = compile_text(data).pattern
    if pattern is None or sum(stitch.chart.cells.size for stitch in pattern.stitches.values()) > MOST_KNITTED:
        return
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, "shore.stitch")
        file.write_bytes(data)
        for words in COMMANDS:
            command, *options = words.split()
            said = stitchc(command, file, *options)
            assert said.status in (0, 1, 2), said
            assert said.status == 0 or (said.out if command == "check" else said.err).strip(), said
            assert said.status == 0 or not said.out or command == "check", said
            if "json" in options:
                if said.status == 0:
                    json.loads(said.out)
            elif command != "format":
                assert printed((said.out + said.err).replace("\t", "")), said


TARGETS: dict[str, Callable[[bytes], None]] = {
    "reader": reader,
    "profile": profile,
    "format": format,
    "meaning": meaning,
    "knit": knit,
    "commands": commands,
    "trace": trace,
    "picture": picture,
}
OF_NOTATION = ("reader", "format", "meaning", "knit", "commands")
"""The targets that are given text in the notation."""


def attempt(target: str, data: bytes) -> None:
    """One input, held to the target's promises and to the time."""
    began = time.process_time()
    TARGETS[target](data)
    took = time.process_time() - began
    assert took < SECONDS, f"{took:.1f} s"


def seeds(target: str) -> list[bytes]:
    """What the search begins with: the examples, the shipped profiles, small charts as pictures, and the kept cases."""
    kept = [path.read_bytes() for path in sorted((HERE / "cases" / target).glob("*"))]
    if target in OF_NOTATION:
        given = itertools.chain(EXAMPLES.glob("*.stitch"), NOTATION_CASES.glob("*.stitch"))
        return kept + [path.read_bytes() for path in sorted(given)]
    if target == "profile":
        return kept + [profile_text(name).encode() for name in SHIPPED] + [(EXAMPLES / "workshop.toml").read_bytes()]
    if target == "picture":
        heads = itertools.product((8, 23), (0, 10), (0, 3), (0, 1, 3))
        marks = bytes((0, 255, 255, 255, 128, 255, 0, 255, 255) * 12)
        return kept + [bytes(head) + marks for head in heads]
    return kept + list(_pictures())


def _pictures() -> Iterable[bytes]:
    from PIL import Image, ImageDraw

    for form in ("PNG", "BMP", "GIF", "PPM"):
        for mode, cell_px in (("L", 1), ("RGB", 1), ("1", 6), ("L", 6)):
            picture = Image.new("L", (6 * cell_px + 1, 4 * cell_px + 1), 255)
            draw = ImageDraw.Draw(picture)
            for row, column in ((0, 1), (2, 3), (3, 5)):
                left, top = column * cell_px, row * cell_px
                draw.rectangle((left, top, left + cell_px - 1, top + cell_px - 1), fill=0)
            if cell_px > 1:
                for at_px in range(0, 6 * cell_px + 1, cell_px):
                    draw.line((at_px, 0, at_px, 4 * cell_px), fill=90)
                    draw.line((0, at_px, 6 * cell_px, at_px), fill=90)
            held = io.BytesIO()
            picture.convert(mode).save(held, form)
            yield held.getvalue()


WORDS: dict[str, tuple[str, ...]] = {
    "notation": (
        *sorted(KEYWORDS),
        *("x2", "x3", ")x", "(K", "×", "K", "T", "S", "K2", "T3", "S4", "1:", "2:", "3:", "1-4:", "1, 3:", "in a:"),
        *("1: K T\n", "2: K\n", "stitch a\n", "stitch b = ", "b mirrored", "plain 4 by 2", "shifted 1 left"),
        *("K for S, S for K", "T for S", "over 8\n", "a then b", "a beside b", "(a up 2)", "across 3", "yarn a\n"),
        *("L40-R39", "L4–R3", "60 cm", "4 in", "7.6 cm", "20 stitches 28 rows per 10 cm", "0", "1000000", "1000001"),
        *("light", "#d9c7a0", '"', "#", "\n", "\r\n", "\t", ":", "=", "-", "–"),
        *("\u202e", "\u0301", "\u00e9", "К", "Т", "Ѕ", "\ufeff", "\u2028", "\x85", "\r", "\u00a0", "\u3000", "\u200d"),
        *("×2", "P", "PLAIN", "Stitch", "\x00", "\x1b[31m", "\x7f", "🧶"),
    ),
    "profile": (
        *("[card]\n", "[bed]\n", "[reader]\n", "[limits]\n", "[carriage]\n", "based_on", "nan", "inf", "true"),
        *("'''", '"""', "[[", "]]", "0x", "1e400", "\\u0000", "\u202e", "never", "hold", "needles", "pitch_mm"),
        *(f'based_on = "{name}"\n' for name in SHIPPED),
        *("1979-05-27", "name", "title", "format", "stitchc-machine/1", "tuck", "slip", "hold_directions", "kind"),
        *("width", "mark_means", "mirrored", "column_1_needle", "selects", "first_row", "rows", "least_rows"),
        *("joining_rows", "seen_above_read", "column_pitch_mm", "row_pitch_mm", "hole_mm", "sheet_width_mm"),
        *("guide_hole_mm", "guide_pitch_mm", "guide_from_edge_mm", "guide_offset_mm", "clip_hole_mm", "error"),
        *("clip_from_edge_mm", "clip_from_end_mm", "end_margin_mm", "tucks_in_succession", "tucks_side_by_side"),
        *("slips_in_succession", "float_needles", "warn_from", "error_from", "float_mm", "mixed_rows", "warning"),
        *('"none"', '"card"', '"bitmap"', '"holding"', '"carriage"', '"by-hand"', '"both"', '"one"', '"L12"'),
        *(" = ", ".", "{ ", " }", ", ", "-1", "0", "1", "24", "200", "1e3", "0.0", "10000", "false", '"', "#"),
    ),
}  # fmt: skip
"""What the search may put into its inputs, beside what it finds for itself."""
