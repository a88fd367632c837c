"""Lines to a Pattern: includes read in, names resolved, rows expanded, stitches composed, numbers held to their ranges.

Sizes are known before anything is allocated. A stitch with a mistake in it is left out, and so are those built from
it, without further messages; everything else is still read, so that one run reports all there is to mend.
"""

from __future__ import annotations

import itertools
import math
import os
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from stitchc import files
from stitchc.bed import Needles
from stitchc.chart import MAX_CELLS, Chart, SizesDiffer, TooLarge, YarnsDiffer
from stitchc.messages import Message, Span, has_errors, in_order
from stitchc.notation.cells import RowCells, read_cells
from stitchc.notation.reader import DEEPEST, read_lines
from stitchc.notation.slips import KEYWORDS, MOST_COUNT, count_message, nearest
from stitchc.notation.tree import (
    CarriageLine,
    DoLine,
    EdgeLine,
    Expression,
    Form,
    Formed,
    GaugeLine,
    Joined,
    KnitLine,
    Length,
    Line,
    Named,
    NeedlesLine,
    Number,
    PieceLine,
    Placed,
    PlainPart,
    Row,
    RowRange,
    StitchBuilt,
    StitchByRows,
    Text,
    WidthLine,
    Word,
    YarnLine,
    shortened,
)
from stitchc.pattern import CarriageAt, Do, Knit, Pattern, Piece, Side, Step, Stitch, Swatch, Width, Yarn

MOST_BYTES: Final = 4 * 1024 * 1024
"""The largest file the notation allows."""
MOST_MESSAGES: Final = 1000
"""Messages kept for one pattern; nobody mends more at a time, and a hostile file could ask for millions."""
MOST_NEAREST: Final = 100
"""Messages among which unknown names get the nearest known one."""
MOST_CIRCLES: Final = 50
"""Circles told apart; after so many, all that is being followed counts as one."""
MOST_INCLUDES_DEEP: Final = 16
MOST_ROWS_TOGETHER: Final = 2 * MAX_CELLS
"""The same for their rows, each of which has a yarn and a place."""
MOST_BYTES_TOGETHER: Final = 4 * MOST_BYTES
"""The largest sum of a file and all it includes."""
MOST_CELLS_WORKED: Final = 50 * MAX_CELLS
"""The most cells that all forms and joints of a pattern make on the way. No pattern comes near; it keeps a file of a
few lines from taking an hour."""
MOST_CELLS_TOGETHER: Final = 10 * MAX_CELLS
"""The most cells that all stitches of a pattern have together. The notation limits each chart alone; this keeps a
file with thousands of the largest from taking the memory."""

_WIDEST_OFFERED: Final = 1000
"""The widest repeat that a cure proposes."""
_MANY_ALIKE: Final = 16
"""From so many rows alike on they are put into the chart all at once."""

WEIGHTS: Final = ("lace", "super-fine", "fine", "light", "medium", "bulky", "super-bulky", "jumbo")
"""The standard yarn weight system's categories, 0 to 7 (Craft Yarn Council)."""

Fetch = Callable[[str], bytes]


class Reading(NamedTuple):
    """What came of reading a pattern.

    pattern: None if there is an error among the messages. sources: the lines of every file read, for showing messages.
    """

    pattern: Pattern | None
    messages: list[Message]
    sources: Mapping[str, Sequence[str]]


def compile_file(path: str) -> Reading:
    """Read a file ("-" is standard input) and what it includes.

    Raises files.FileTrouble if the file itself can't be read.
    """
    name = "standard input" if path == "-" else path
    return compile_text(files.read_bytes(path, MOST_BYTES), name, Path() if path == "-" else Path(path).parent)


def compile_text(text: str | bytes, file: str = "pattern.stitch", folder: Path | None = None) -> Reading:
    """Read a text. file: what messages call it. folder: where includes are looked for; None allows none.

    Never raises, for any text.
    """
    compiler = _Compiler(file, folder)
    pattern = compiler.run(text)
    messages = in_order(compiler.messages)
    return Reading(None if has_errors(messages) else pattern, messages, compiler.sources)


def read_file(path: str) -> tuple[Pattern | None, list[Message]]:
    """`compile_file` without the sources."""
    return compile_file(path)[:2]


def read_text(
    text: str | bytes, file: str = "pattern.stitch", folder: Path | None = None
) -> tuple[Pattern | None, list[Message]]:
    """`compile_text` without the sources."""
    return compile_text(text, file, folder)[:2]


_AN_INCLUDE: Final = 'include "grounds.stitch"'
_SAVE_AS_TEXT: Final = "Name the pattern itself, or save it as plain text (UTF-8), as a text editor does."
_SAVE_AS_UTF_8: Final = "Save the file again with the encoding UTF-8."


def _decode(text: str | bytes) -> tuple[str, int | None]:
    """The text with "\\n" line ends and no byte-order mark; and the offset of the first byte that is not UTF-8."""
    if isinstance(text, str):
        return _with_plain_line_ends(text), None
    try:
        return _with_plain_line_ends(text.decode("utf-8")), None
    except UnicodeDecodeError as error:
        return _with_plain_line_ends(text.decode("utf-8", "replace")), error.start


def _with_plain_line_ends(text: str) -> str:
    text = text.removeprefix("\ufeff")
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


_DOCUMENTS: Final = {
    b"PK\x03\x04": "a document of a word processor or a packed folder",
    b"\xd0\xcf\x11\xe0": "a document of a word processor",
    b"{\\rtf": "a document of a word processor",
    b"%PDF": "a PDF",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"GIF8": "a picture",
}
"""First bytes of files that a pattern is taken for or written in by mistake; no line of the notation begins so."""


def _document(raw: bytes) -> str | None:
    """What else than text the file is, in words; None for what may be text."""
    return next((kind for begins, kind in _DOCUMENTS.items() if raw.startswith(begins)), None)


def _utf_16(raw: bytes) -> str | None:
    """The codec of a text in UTF-16, told by its mark or by the empty half of every plain letter; None for another."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    if len(raw) >= 4 and raw.count(0) * 5 > len(raw) * 2:
        return "utf-16-le" if raw[1::2].count(0) > raw[::2].count(0) else "utf-16-be"
    return None


class _Rows:
    """A stitch being written row by row, until its lines end.

    spoilt: a line of it could not be read, so nothing is said of what may be missing.
    """

    def __init__(self, name: Word, over: Number | None, spoilt: bool) -> None:
        self.name, self.over, self.spoilt = name, over, spoilt
        self.rows: list[Row] = []


class _PieceLines:
    """A piece, until its lines end; spoilt as a stitch is."""

    def __init__(self, name: Word, spoilt: bool) -> None:
        self.name, self.spoilt = name, spoilt
        self.lines: list[Line] = []


class _Compiler:
    """One run over one top file."""

    def __init__(self, file: str, folder: Path | None) -> None:
        self.file, self.folder = file, folder
        self.messages: list[Message] = []
        self.bytes_read = 0
        self.cells_worked = 0
        self.faults = 0
        """Messages so far, those not kept among them."""
        self.sources: dict[str, Sequence[str]] = {}
        self.title: Word | None = None
        self.notes: list[str] = []
        self.yarns: dict[str, Yarn] = {}
        self.definitions: dict[str, _Rows | StitchBuilt] = {}
        self.included: set[str] = set()
        self.gauges: list[GaugeLine] = []
        self.pieces: dict[str, _PieceLines] = {}
        self.visited: dict[Path, str] = {}
        self.lost: set[str] = set()
        """Names whose lines could not be read: using them is not a second mistake."""
        self.include_failed = False
        """A file could not be read in: names it would have brought are nobody's mistake."""

    def error(self, code: str, text: str, span: Span, **rest: object) -> None:
        self.add(Message(code, "error", text, span, **rest))  # type: ignore[arg-type]

    def add(self, message: Message) -> None:
        """Keep a message, up to the most there is any use in, and count it."""
        self.faults += 1
        if len(self.messages) < MOST_MESSAGES:
            self.messages.append(message)

    def nearest(self, name: str, among: Iterable[str]) -> str | None:
        """The name most like this one; not looked for once there are more mistakes than anybody mends at a time."""
        return nearest(name, among) if self.faults < MOST_NEAREST else None

    # -- the whole run ------------------------------------------------------------------------------------------

    def run(self, text: str | bytes) -> Pattern | None:
        top = self.file
        chain: tuple[Path, ...] = ()
        if self.folder is not None:
            real = _real(self.folder / Path(top).name)
            chain = (real,)
            self.visited[real] = top
        if not self.read_source(text, top, chain, depth=0):
            return None
        stitches = self.stitches()
        swatches = tuple(swatch for line in self.gauges if (swatch := self.swatch(line)) is not None)
        pieces = {name: piece for name, lines in self.pieces.items() if (piece := self.piece(lines)) is not None}
        if not self.definitions and not self.lost and not has_errors(self.messages):
            self.error(
                "N113", "There is no stitch in this file.", Span(top, 1), cure="stitch ripple\n    1: K T\n    2: K"
            )
        return Pattern(
            file=top,
            stitches=stitches,
            yarns=self.yarns,
            title=self.title.text if self.title else None,
            notes=tuple(self.notes),
            swatches=swatches,
            pieces=pieces,
            sources=self.sources,
        )

    def read_source(self, raw: str | bytes, file: str, chain: tuple[Path, ...], depth: int) -> bool:
        """Read one file's lines into this compilation; False if it cannot be read at all."""
        size = len(raw) if isinstance(raw, bytes) else len(raw.encode("utf-8", "surrogatepass"))
        self.bytes_read += size
        if self.bytes_read > MOST_BYTES_TOGETHER:
            text = f"The files together are larger than {MOST_BYTES_TOGETHER // 2**20} MiB."
            self.error("N110", text, Span(file, 1), cure="Include fewer files.")
            return False
        if size > MOST_BYTES:
            self.error(
                "N110",
                f"`{file}` is larger than {MOST_BYTES // 2**20} MiB.",
                Span(file, 1),
                cure="Split it, and include the parts.",
            )
            return False
        kind = _document(raw) if isinstance(raw, bytes) else None
        if kind is not None:
            self.sources[file] = [""]
            self.error("N112", f"The file is {kind}, not plain text.", Span(file, 1), cure=_SAVE_AS_TEXT)
            return False
        wide = _utf_16(raw) if isinstance(raw, bytes) else None
        if wide is not None and isinstance(raw, bytes):
            self.sources[file] = _with_plain_line_ends(raw.decode(wide, "replace")).split("\n")
            self.error("N112", "The file is UTF-16, not UTF-8.", Span(file, 1), cure=_SAVE_AS_UTF_8)
            return False
        text, wrong = _decode(raw)
        self.sources[file] = text.split("\n")
        if wrong is not None and isinstance(raw, bytes):
            before = _with_plain_line_ends(raw[:wrong].decode("utf-8", "replace"))
            place = Span(file, before.count("\n") + 1, len(before) - before.rfind("\n"))
            self.error("N112", f"The byte 0x{raw[wrong]:02x} is not UTF-8 here.", place, cure=_SAVE_AS_UTF_8)
            return False
        placed, messages = read_lines(text, file)
        for message in messages:
            self.add(message)
        self.take(placed, file, chain, depth, {message.span.line for message in messages if message.span})
        return True

    def take(self, placed: Sequence[Placed], file: str, chain: tuple[Path, ...], depth: int, broken: set[int]) -> None:
        """Sort the lines: rows to their stitch, a piece's lines to their piece, the rest to its own place.

        broken: lines with a message already. One inside a block spoils that block; one that began a block but could
        not be read leaves the lines below it to nobody, which is not their fault.
        """
        inside: _Rows | _PieceLines | None = None
        orphans = False
        text = self.sources[file]
        unread = sorted(broken - {entry.number for entry in placed}, reverse=True)
        for entry in (*placed, None):
            while unread and (entry is None or unread[-1] < entry.number):
                lost = text[unread.pop() - 1]
                if name := re.match(r"\s*(?:stitch|yarn)\s+([^\W\d_][\w-]*)", lost, re.IGNORECASE):
                    self.lost.add(_nfc(name[1]))
                if _begins_block(lost):
                    inside, orphans = None, True
                elif inside is not None:
                    inside.spoilt = True
            if entry is None:
                break
            line = entry.line
            if isinstance(line, Row):
                if isinstance(inside, _Rows):
                    inside.rows.append(line)
                elif not orphans:
                    cure = "stitch ripple   (on a line of its own above the rows)"
                    self.error("N101", "This row belongs to no stitch.", line.range(0).span, cure=cure)
                    orphans = True  # the rows below it are the same mistake
                continue
            if isinstance(line, WidthLine | NeedlesLine | EdgeLine | CarriageLine | DoLine | KnitLine):
                if isinstance(inside, _PieceLines):
                    inside.lines.append(line)
                elif not orphans:
                    cure = "piece cowl   (on a line of its own above it)"
                    self.error("N101", "This line belongs to no piece.", _span_of(line), cure=cure)
                    orphans = True
                continue
            inside, orphans = None, False
            if isinstance(line, StitchByRows):
                inside = _Rows(line.name, line.over, spoilt=entry.number in broken)
                self.define(inside, inside.name, depth)
            elif isinstance(line, StitchBuilt):
                self.define(line, line.name, depth)
            elif isinstance(line, PieceLine):
                inside = _PieceLines(line.name, spoilt=entry.number in broken)
                if depth == 0:
                    self.define_piece(inside)
            else:
                self.take_head(line, file, chain, depth)

    def take_head(self, line: Line, file: str, chain: tuple[Path, ...], depth: int) -> None:
        if isinstance(line, Text):
            if line.keyword == "include":
                self.include(line.text, file, chain, depth)
            elif depth == 0 and line.keyword == "note":
                self.notes.append(line.text.text)
            elif depth == 0 and self.title is not None:
                self.error(
                    "N101",
                    "The pattern has a title already.",
                    line.text.span,
                    cure="Keep one `pattern` line.",
                    also=((self.title.span, "the first title"),),
                )
            elif depth == 0:
                self.title = line.text
        elif isinstance(line, YarnLine):
            self.yarn(line)
        elif isinstance(line, GaugeLine):
            self.gauges.append(line)

    def define(self, definition: _Rows | StitchBuilt, name: Word, depth: int) -> None:
        key = _nfc(name.text)
        if key in self.definitions:
            first = self.definitions[key].name.span
            self.error(
                "N104",
                f"The stitch `{name.shown}` is defined twice.",
                name.span,
                cure=f"{name.shown}-2, or another name",
                label="defined again here",
                also=((first, "first defined here"),),
            )
            return
        self.definitions[key] = definition
        if depth:
            self.included.add(key)

    def define_piece(self, piece: _PieceLines) -> None:
        key = _nfc(piece.name.text)
        if key in self.pieces:
            self.error(
                "N104",
                f"The piece `{piece.name.shown}` is defined twice.",
                piece.name.span,
                cure=f"{piece.name.shown}-2, or another name",
                label="defined again here",
                also=((self.pieces[key].name.span, "first defined here"),),
            )
            return
        self.pieces[key] = piece

    # -- includes -----------------------------------------------------------------------------------------------

    def include(self, path: Word, file: str, chain: tuple[Path, ...], depth: int) -> None:
        wanted = path.text
        if self.folder is None:
            text = "A pattern without a folder of its own cannot include files."
            self.error("N114", text, path.span, cure="Save the pattern in a file, and check that.")
            return
        if not wanted.strip():
            self.error("N114", "This include names no file.", path.span, cure=_AN_INCLUDE)
            return
        if "\\" in wanted:
            plain = wanted.replace("\\", "/")
            cure = f'include "{plain.rsplit("/", 1)[-1] if re.match("/|[A-Za-z]:", plain) else plain}"'
            self.error("N114", f"`{path.shown}`: a path in a pattern is written with `/`.", path.span, cure=cure)
            return
        if "\0" in wanted or Path(wanted).is_absolute() or re.match(r"[A-Za-z]:", wanted):
            cure = f'include "{re.split("[/:]", wanted)[-1] or "grounds.stitch"}"   (the file beside the pattern)'
            self.error("N114", f"`{path.shown}` is not a path below the pattern's folder.", path.span, cure=cure)
            return
        here = Path(file).parent if depth or self.file != "standard input" else Path()
        target = (self.folder if depth == 0 else here) / wanted
        real, root = _real(target), _real(self.folder)
        if not real.is_relative_to(root):
            self.error(
                "N114",
                f"`{path.shown}` lies outside the pattern's folder.",
                path.span,
                cure="Copy it beside the pattern, and include the copy.",
            )
            return
        if real in chain:
            names = [self.visited.get(step, step.name) for step in chain[chain.index(real) :]]
            circle = " → ".join(f"`{Path(name).name}`" for name in [*names, names[0]])
            self.error(
                "N114", f"The includes go in a circle: {circle}.", path.span, cure="Take out one of these includes."
            )
            return
        if real in self.visited:
            return
        if os.path.exists(real) and not (os.path.isfile(real) or os.path.isdir(real)):  # noqa: PTH110, PTH112, PTH113
            self.error("N114", f"`{path.shown}` is not a file with a pattern.", path.span, cure=_AN_INCLUDE)
            return
        if depth + 1 > MOST_INCLUDES_DEEP:
            self.error(
                "N110",
                f"Includes nest more than {MOST_INCLUDES_DEEP} deep here.",
                path.span,
                cure="Include the file from the top file.",
            )
            return
        shown = os.path.normpath(target)
        self.visited[real] = shown
        try:
            raw = files.read_bytes(str(target), MOST_BYTES)
        except files.FileTrouble as trouble:
            near = _names_in(target) if os.path.isdir(target) else _names_like(target)  # noqa: PTH112
            cure = f'include "{os.path.relpath(near[0], here)}"' if near else "Check the name and the folder."
            self.error("N114", trouble.messages[0].text.replace(str(target), path.shown), path.span, cure=cure)
            self.include_failed = True
            return
        self.read_source(raw, shown, (*chain, real), depth + 1)

    # -- yarns and gauges ---------------------------------------------------------------------------------------

    def yarn(self, line: YarnLine) -> None:
        key = _nfc(line.name.text)
        if key in self.yarns:
            self.error(
                "N104",
                f"The yarn `{line.name.shown}` is declared twice.",
                line.name.span,
                cure=f"{line.name.shown}-2, or another name",
                label="declared again here",
                also=((self.yarns[key].span, "first declared here"),),
            )
            return
        colour = weight = None
        if line.colour is not None:
            if re.fullmatch(r"#(?:[0-9a-fA-F]{3}|[0-9a-fA-F]{6})", line.colour.text):
                colour = line.colour.text
            else:
                self.error(
                    "N101",
                    f"`{line.colour.shown}` is not a colour: a # and six hexadecimal figures.",
                    line.colour.span,
                    cure='colour "#d9c7a0"',
                )
        tex = None
        if line.tex is not None:
            tex = self.in_range(line.tex, 1, 20_000, "A yarn's tex (grams per kilometre)")
        if line.weight is not None:
            weight = self.weight(line.weight)
        self.yarns[key] = Yarn(key, line.name.span, line.description, colour, tex, weight)

    def weight(self, word: Word) -> str | None:
        text = re.sub(r"[\s_]+", "-", word.text.strip().lower())
        if text.isascii() and text.isdigit() and len(text) == 1 and int(text) < len(WEIGHTS):
            return WEIGHTS[int(text)]
        if text in WEIGHTS:
            return text
        self.error(
            "N101",
            f"`{word.shown}` is not a category of the standard yarn weight system.",
            word.span,
            cure=nearest(text, WEIGHTS) or ", ".join(WEIGHTS) + ", or 0 to 7",
        )
        return None

    def in_range(self, number: Number, least: float, most: float, what: str) -> float | None:
        if math.isfinite(number.value) and least <= number.value <= most:
            return float(number.value)
        self.error(
            "N115",
            f"{what} lies between {least:,g} and {most:,g}, so not `{number.value:g}`.",
            number.span,
            cure=f"a number from {least:,g} to {most:,g}",
        )
        return None

    def counted(self, number: Number, what: str = "A count", least: int = 1, most: int = MOST_COUNT) -> int | None:
        problem = count_message(str(int(number.value)), number.span, least, most, what)
        if problem:
            self.add(problem)
            return None
        return int(number.value)

    def millimetres(self, length: Length, what: str, least_mm: float = 1.0) -> float | None:
        if math.isfinite(length.mm) and least_mm <= length.mm <= 100_000:
            return length.mm
        self.error("N115", f"{what} lies between {least_mm:g} mm and 100 m.", length.span, cure="10 cm")
        return None

    def swatch(self, line: GaugeLine) -> Swatch | None:
        name = _nfc(line.stitch.text)
        name = "plain" if name.lower() == "plain" else name
        if name != "plain" and name not in self.definitions:
            self.unknown_stitch(line.stitch, itertools.chain(("plain",), self.definitions))
            return None
        if line.again is not None:
            self.error("N101", "The same count is given twice in this line.", line.again, cure="Keep one of them.")
            return None
        per = self.millimetres(line.per, "The measured length")
        counts = [
            self.in_range(number, 0.5, 100_000, "A count of stitches or rows") if number is not None else None
            for number in (line.stitches, line.rows)
        ]
        if per is None or (counts[0] is None) != (line.stitches is None) or (counts[1] is None) != (line.rows is None):
            return None
        return Swatch(name, per, line.stitch.span, counts[0], counts[1])

    def unknown_stitch(self, word: Word, among: Iterable[str]) -> None:
        if _nfc(word.text) in self.lost or self.include_failed:
            return
        near = self.nearest(_nfc(word.text), among)
        cure = near or (f"stitch {word.shown}   (defined on a line of its own)")
        self.error("N103", f"There is no stitch `{word.shown}`.", word.span, cure=cure)

    def known_yarn(self, word: Word) -> str | None:
        key = _nfc(word.text)
        if key in self.yarns:
            return key
        if key in self.lost or self.include_failed:
            return None
        near = self.nearest(key, self.yarns)
        self.error(
            "N116",
            f"There is no yarn `{word.shown}`.",
            word.span,
            cure=near or f'yarn {word.shown} "…"   (on a line of its own)',
        )
        return None

    # -- stitches -----------------------------------------------------------------------------------------------

    def stitches(self) -> dict[str, Stitch]:
        """Every stitch that could be made, in the order of definition."""
        order = self.in_dependency_order()
        made: dict[str, Stitch] = {}
        cells = rows = 0
        for key in order:
            definition = self.definitions[key]
            stitch = (
                self.by_rows(key, definition) if isinstance(definition, _Rows) else self.built(key, definition, made)
            )
            if stitch is None:
                continue
            cells += stitch.chart.width * stitch.chart.height
            rows += stitch.chart.height
            if cells > MOST_CELLS_TOGETHER or rows > MOST_ROWS_TOGETHER:
                most = (
                    f"{MOST_CELLS_TOGETHER:,} cells" if cells > MOST_CELLS_TOGETHER else f"{MOST_ROWS_TOGETHER:,} rows"
                )
                text = f"The stitches of this file have more than {most} together."
                self.error("N110", text, definition.name.span, cure="Split the file.")
                break
            made[key] = stitch
        parts = {name for stitch in made.values() for name in stitch.built_from}
        return {
            key: Stitch(s.name, s.chart, s.span, s.row_spans, s.built_from, key in parts, key in self.included)
            for key in self.definitions
            if (s := made.get(key)) is not None
        }

    def in_dependency_order(self) -> list[str]:
        """Names so that each comes after those it is built from; circles are reported and left out."""
        order: list[str] = []
        state: dict[str, int] = {}  # 1: on the way, 2: done, 3: in or behind a circle
        uses = {
            key: [] if isinstance(definition, _Rows) else [_nfc(word.text) for word in _names(definition.expression)]
            for key, definition in self.definitions.items()
        }
        circles = 0
        for root in self.definitions:
            stack = [(root, iter(uses[root]))] if root not in state else []
            if stack:
                state[root] = 1
            while stack:
                key, rest = stack[-1]
                for used in rest:
                    if used not in self.definitions:
                        continue
                    if state.get(used) == 1:
                        circle = [key]
                        while circle[-1] != used:
                            circle.append(stack[-1 - len(circle)][0])
                        self.circle(circle[::-1])
                        circles += 1
                        whole = circle if circles < MOST_CIRCLES else [name for name, _ in stack]
                        state.update(dict.fromkeys(whole, 3))
                    elif used not in state:
                        state[used] = 1
                        stack.append((used, iter(uses[used])))
                        break
                else:
                    stack.pop()
                    if state[key] == 1:
                        state[key] = 2
                        order.append(key)
        return order

    def circle(self, names: Sequence[str]) -> None:
        shown = [*names, names[0]] if len(names) <= 12 else [*names[:12], "…", names[0]]
        first = self.definitions[names[0]].name
        places = tuple((self.definitions[name].name.span, "and here") for name in names[1:6])
        self.error(
            "N105",
            "These stitches are built from each other in a circle: "
            + " → ".join(f"`{shortened(n)}`" for n in shown)
            + ".",
            first.span,
            cure="Write one of them row by row.",
            also=places,
        )

    def by_rows(self, key: str, definition: _Rows) -> Stitch | None:
        name = definition.name
        before = self.faults
        over = None
        if definition.over is not None:
            over = self.counted(definition.over, "A stitch's width", most=MAX_CELLS)
        alike = self.rows_by_text(definition.rows)
        yarns = [self.known_yarn(row.yarn) if row.yarn is not None else None for row in definition.rows]
        height = self.row_numbers(definition)
        if self.faults > before or height is None or definition.spoilt:
            return None
        if any(row.yarn and not yarn for row, yarn in zip(definition.rows, yarns, strict=True)):
            return None  # the yarn's own line could not be read
        width = over if over is not None else max(cells.width for cells, _ in alike.values())
        common = _common_width(cells.width for cells, _ in alike.values())
        for cells, rows in alike.values():
            if width % cells.width:
                for row in rows:
                    self.does_not_go(row, cells.width, width, definition, common)
        if self.faults > before:
            return None
        if width * height > MAX_CELLS:
            self.error(
                "N110",
                f"`{name.shown}` is {width:,} needles by {height:,} rows; a chart has at most {MAX_CELLS:,} cells.",
                name.span,
                cure="Write one repeat; it goes on for ever by itself.",
            )
            return None
        matrix = np.empty((height, width), dtype=np.uint8)
        for cells, rows in alike.values():
            whole = cells.expand() if cells.width == width else np.tile(cells.expand(), width // cells.width)
            if len(rows) < _MANY_ALIKE:
                for row in rows:
                    for first, last in zip(row.numbers[::4], row.numbers[1::4], strict=True):
                        matrix[first - 1 : last] = whole
            else:
                matrix[_indices(rows)] = whole
        matrix.setflags(write=False)
        row_yarns: list[str | None] = [None] * height
        spans: list[Span] = [name.span] * height
        for row, yarn in zip(definition.rows, yarns, strict=True):
            span = row.span
            for first, last in zip(row.numbers[::4], row.numbers[1::4], strict=True):
                spans[first - 1 : last] = [span] * (last - first + 1)
                if yarn is not None:
                    row_yarns[first - 1 : last] = [yarn] * (last - first + 1)
        return Stitch(key, Chart(matrix, tuple(row_yarns)), name.span, tuple(spans))

    def rows_by_text(self, rows: Sequence[Row]) -> dict[str, tuple[RowCells, list[Row]]]:
        """The rows that can be read by how their cells are written, so that each writing is read once."""
        alike: dict[str, tuple[RowCells, list[Row]]] = {}
        wrong: set[str] = set()
        for row in rows:
            if row.text in alike:
                alike[row.text][1].append(row)
                continue
            if row.text in wrong and self.faults > MOST_MESSAGES:
                continue
            cells, messages = read_cells(Word(row.text, row.span))
            for message in messages:
                self.add(message)
            if cells is not None:
                alike[row.text] = cells, [row]
            else:
                wrong.add(row.text)
        return alike

    def row_numbers(self, definition: _Rows) -> int | None:
        """The highest row number, if rows 1 to it are each given exactly once (N106, N107, N110, N115)."""
        if (reached := _reached(definition.rows)) is not None:
            return reached
        before, name, rows = self.faults, definition.name, definition.rows
        if not rows and not definition.spoilt:
            self.error(
                "N107",
                f"`{name.shown}` has no rows.",
                name.span,
                label="row 1 is missing",
                cure="1: K T   (on the line below)",
            )
        if not rows:
            return None
        given = _numbers(rows)
        # which row line each range stands in, and which range of that line it is
        line = np.repeat(np.arange(len(rows)), [len(row.numbers) // 4 for row in rows])
        nth = np.arange(len(given)) - np.searchsorted(line, line)

        def at(index: int) -> RowRange:
            return rows[int(line[index])].range(int(nth[index]))

        firsts, lasts = given[:, 0], given[:, 1]
        for index in np.flatnonzero((firsts < 1) | (lasts < firsts) | (lasts > MAX_CELLS))[:MOST_MESSAGES].tolist():
            self.out_of_range(at(index))
        if self.faults > before or definition.spoilt:
            return None
        order = np.argsort(firsts, kind="stable")
        firsts, lasts = firsts[order], lasts[order]
        highest = np.maximum.accumulate(lasts)
        below = np.concatenate(([0], highest[:-1]))  # the highest row given before each range
        owner = np.maximum.accumulate(np.where(lasts > below, np.arange(len(lasts)), 0))
        top = int(highest[-1])
        for place in np.flatnonzero(firsts != below + 1)[:MOST_MESSAGES].tolist():
            numbers, so_far = at(int(order[place])), int(below[place])
            if numbers.first <= so_far:
                self.given_twice(at(int(order[owner[place - 1]])), numbers, so_far, top, name)
            else:
                self.missing(numbers, so_far, name, from_the_top=_from_the_top(rows))
        return top if self.faults == before else None

    def out_of_range(self, numbers: RowRange) -> None:
        if numbers.first < 1 or numbers.last < 1:
            self.error("N115", "Rows count from 1.", numbers.span, cure="1")
        elif numbers.last < numbers.first:
            text = "A range of rows runs from the lower number to the higher."
            self.error("N115", text, numbers.span, cure=f"{numbers.last}-{numbers.first}")
        else:
            text = f"A chart has at most {MAX_CELLS:,} rows."
            self.error("N110", text, numbers.span, cure="Number the rows from 1.")

    def given_twice(self, one: RowRange, two: RowRange, reached: int, top: int, name: Word) -> None:
        """`two` begins at or below `reached`, where `one` ends; whichever is written later is the mistake."""
        last = min(two.last, reached)
        many = f"Rows {two.first} to {last}" if last > two.first else f"Row {two.first}"
        later, earlier = (two, one) if two.span > one.span else (one, two)
        length = later.last - later.first
        if later is two and two.last > reached:
            cure = _rows_said(reached + 1, two.last)
        elif later is one and one.first < two.first:
            cure = _rows_said(one.first, two.first - 1)
        else:
            cure = f"{_rows_said(top + 1, top + 1 + length)}, or {'other rows' if length else 'another row'}"
        self.error(
            "N106",
            f"{many} of `{name.shown}` {'are' if last > two.first else 'is'} given twice.",
            later.span,
            label="given again here",
            cure=cure,
            also=((earlier.span, "first given here"),),
        )

    def missing(self, numbers: RowRange, reached: int, name: Word, from_the_top: bool) -> None:
        first, last = reached + 1, numbers.first - 1
        many = f"Rows {first} to {last}" if last > first else f"Row {first}"
        hint = "   (the first row knitted, the lowest of a chart, is row 1)" if from_the_top and not reached else ""
        self.error(
            "N107",
            f"{many} of `{name.shown}` {'are' if last > first else 'is'} missing.",
            numbers.span,
            label="rows go on here",
            cure=f"{_rows_said(first, last)}: K{hint}",
        )

    def does_not_go(self, row: Row, small: int, width: int, definition: _Rows, common: int | None) -> None:
        offered = f"over {common}   (after the stitch's name)" if definition.over is None and common else ""
        self.error(
            "N108",
            f"This row is {small} needles wide, which does not go into the stitch's {width}.",
            row.span,
            label=f"over {width}" if definition.over is not None else f"its widest row is {width}",
            cure=offered or f"a row of {_divisors(width)} needles",
        )

    def built(self, key: str, definition: StitchBuilt, made: Mapping[str, Stitch]) -> Stitch | None:
        if definition.too_deep:
            self.error(
                "N110",
                f"Brackets nest more than {DEEPEST} deep in `{definition.name.shown}`.",
                definition.name.span,
                cure="Give a part a name of its own.",
            )
            return None
        words = list(_names(definition.expression))
        unknown = [word for word in words if _nfc(word.text) not in self.definitions]
        for word in {_nfc(word.text): word for word in reversed(unknown)}.values():
            self.unknown_stitch(word, (name for name in self.definitions if name != key))
        if unknown or any(_nfc(word.text) not in made for word in words):
            self.evaluate_ranges(definition.expression)
            return None
        chart = self.evaluate(definition.expression, made)
        if chart is None:
            return None
        return Stitch(key, chart, definition.name.span, None, tuple(dict.fromkeys(_nfc(word.text) for word in words)))

    def evaluate_ranges(self, expression: Expression) -> None:
        """Report counts out of range in an expression that cannot be evaluated because a part of it is missing."""
        if isinstance(expression, PlainPart):
            self.counted(expression.width), self.counted(expression.height)
        elif isinstance(expression, Joined):
            for part in expression.parts:
                self.evaluate_ranges(part)
        elif isinstance(expression, Formed):
            self.evaluate_ranges(expression.part)
            for form in expression.forms:
                if form.number is not None:
                    self.form_count(form)

    def evaluate(self, expression: Expression, made: Mapping[str, Stitch]) -> Chart | None:
        """The chart of an expression, or None once what is wrong has been reported."""
        if self.cells_worked > MOST_CELLS_WORKED:
            return None
        if isinstance(expression, Named):
            return made[_nfc(expression.name.text)].chart
        if isinstance(expression, PlainPart):
            width, height = self.counted(expression.width), self.counted(expression.height)
            if width is None or height is None:
                return None
            return self.worked(self.sized(lambda: Chart.plain(width, height), expression.span), expression.span)
        if isinstance(expression, Formed):
            chart = self.evaluate(expression.part, made)
            for form in expression.forms:
                chart = self.worked(self.form(chart, form), form.span) if chart is not None else None
            return chart
        charts = [self.evaluate(part, made) for part in expression.parts]
        whole = [chart for chart in charts if chart is not None]
        if len(whole) < len(charts):
            return None
        if len(whole) == 1:  # brackets around one part
            return whole[0]
        return self.worked(self.joined(expression, whole), expression.joints[0])

    def worked(self, chart: Chart | None, span: Span) -> Chart | None:
        """The chart, unless too many cells have been made by now; that is told once."""
        if chart is None:
            return None
        self.cells_worked += chart.width * chart.height
        if self.cells_worked <= MOST_CELLS_WORKED:
            return chart
        self.error(
            "N110",
            f"Building the stitches up to here has taken more than {MOST_CELLS_WORKED:,} cells.",
            span,
            cure="Split the file, and build from one repeat.",
        )
        return None

    def form(self, chart: Chart, form: Form) -> Chart | None:
        if form.kind == "mirrored":
            return chart.mirrored()
        if form.kind == "reversed":
            return chart.reversed()
        if form.kind == "replaced":
            return self.replaced(chart, form)
        count = self.form_count(form)
        if count is None:
            return None
        if form.kind == "shifted":
            return chart.shifted(-count if form.leftward else count)
        return self.sized(lambda: chart.across(count) if form.kind == "across" else chart.up(count), form.span)

    def form_count(self, form: Form) -> int | None:
        number = form.number
        assert number is not None
        if form.kind == "shifted" and number.value < 0 and not form.leftward:
            cure = f"shifted {-int(number.value)} left"
            self.error("N115", "A shift to the left is written with `left`.", number.span, cure=cure)
            return None
        return self.counted(number)

    def replaced(self, chart: Chart, form: Form) -> Chart | None:
        becomes: dict[int, int] = {}
        for new, old in form.swaps:
            code = "KTS".index(old.text.upper())
            if code in becomes:
                self.error("N101", f"`{old.shown}` is replaced twice.", old.span, cure="Keep one of them.")
                return None
            becomes[code] = "KTS".index(new.text.upper())
        return chart.replaced(becomes)

    def joined(self, expression: Joined, charts: list[Chart]) -> Chart | None:
        joints = expression.joints
        try:
            return Chart.stacked(charts) if expression.kind == "then" else Chart.side_by_side(charts)
        except SizesDiffer as differ:
            what = "needles wide" if differ.axis == "width" else "rows high"
            word = "across" if differ.axis == "width" else "up"
            common, sizes = differ.smallest_that_would_do, (differ.before, differ.after)
            around = expression.parts[differ.joint : differ.joint + 2]
            if len(expression.parts) == 2 and all(isinstance(part, Named) for part in around):
                names = [part.name.shown for part in around if isinstance(part, Named)]
                cure = f" {expression.kind} ".join(
                    f"{name} {word} {common // size}" for name, size in zip(names, sizes, strict=True)
                )
            else:
                cure = " and ".join(
                    f"the part {side} it {word} {common // size}"
                    for side, size in zip(("before", "after"), sizes, strict=True)
                )
            self.error(
                "N109",
                f"The parts do not fit: one is {sizes[0]} {what}, the other {sizes[1]}; "
                f"the smallest size that would do is {common}.",
                joints[differ.joint],
                label=f"{min(sizes)} does not go into {max(sizes)}",
                cure=cure,
            )
        except YarnsDiffer as differ:
            left, right = shortened(differ.left), shortened(differ.right)
            self.error(
                "N117",
                f"Row {differ.row} would be in `{left}` at the left and in `{right}` at the right.",
                joints[differ.joint],
                cure="Knit both parts of a row in the same yarn.",
            )
        except TooLarge as large:
            self.too_large(large, joints[0])
        return None

    def sized(self, make: Callable[[], Chart], span: Span) -> Chart | None:
        try:
            return make()
        except TooLarge as large:
            self.too_large(large, span)
            return None

    def too_large(self, large: TooLarge, span: Span) -> None:
        self.error(
            "N110",
            f"This would be {large.width:,} needles by {large.height:,} rows; a chart has at most {MAX_CELLS:,} cells.",
            span,
            cure="Make one repeat; it goes on for ever by itself.",
        )

    # -- pieces -------------------------------------------------------------------------------------------------

    def piece(self, lines: _PieceLines) -> Piece | None:
        before = self.faults
        once: dict[str, Span] = {}
        width: Width | None = None
        needles: Needles | None = None
        needles_span: Span | None = None
        edge = 1
        carriage: Side = "right"
        steps: list[Step] = []
        for line in lines.lines:
            span = _span_of(line)
            if isinstance(line, WidthLine):
                self.only_once("width", span, once)
                width = self.width(line)
            elif isinstance(line, NeedlesLine):
                self.only_once("needles", span, once)
                needles, needles_span = self.needles(line), span
            elif isinstance(line, EdgeLine):
                self.only_once("edge", span, once)
                edge = self.counted(line.number, "The number of edge needles", least=0, most=1000) or 0
            elif isinstance(line, CarriageLine):
                side: Side = "left" if line.side.text.lower() == "left" else "right"
                if any(isinstance(step, Knit) for step in steps) or "carriage" in once:
                    steps.append(CarriageAt(side, span))
                else:
                    once["carriage"] = span
                    carriage = side
            elif isinstance(line, DoLine):
                steps.append(Do(line.text.text, span))
            elif isinstance(line, KnitLine):
                knit = self.knit(line)
                if knit is not None:
                    steps.append(knit)
        if width is not None and needles is not None and needles_span is not None:
            self.error(
                "N101",
                "A piece has a width or a number of needles, not both.",
                needles_span,
                cure="Keep one of them.",
                also=((width.span, "the width"),),
            )
        if self.faults > before or lines.spoilt:
            return None
        name = _nfc(lines.name.text)
        return Piece(name, lines.name.span, tuple(steps), width, needles, needles_span, edge, carriage)

    def only_once(self, what: str, span: Span, once: dict[str, Span]) -> None:
        if what in once:
            self.error(
                "N101",
                f"`{what}` is given twice in this piece.",
                span,
                cure="Keep one of them.",
                also=((once[what], "first given here"),),
            )
        once[what] = span

    def width(self, line: WidthLine) -> Width | None:
        mm = self.millimetres(line.width, "A width")
        plus = self.millimetres(line.plus, "A seam allowance", 0.0) if line.plus is not None else 0.0
        stitch = self.piece_stitch(line.stitch) if line.stitch is not None else None
        if mm is None or plus is None or (line.stitch is not None and stitch is None):
            return None
        return Width(mm, line.width.span, plus, stitch)

    def needles(self, line: NeedlesLine) -> Needles | None:
        text = line.text.text
        if text.lstrip("-").isdigit():
            problem = count_message(text, line.text.span, what="The number of needles", most=100_000)
            if problem:
                self.add(problem)
                return None
        try:
            return Needles.parse(text)
        except ValueError as error:
            said = str(error)
            self.error("N115", f"{said[:1].upper()}{said[1:]}.", line.text.span, cure="needles L40-R39")
            return None

    def knit(self, line: KnitLine) -> Knit | None:
        stitch = self.piece_stitch(line.stitch)
        if line.again is not None:
            self.error("N101", "The same word is given twice in this line.", line.again, cure="Keep one of them.")
            return None
        rows = mm = None
        if line.rows is not None:
            rows = self.counted(line.rows, "A number of rows")
        if line.length is not None:
            mm = self.millimetres(line.length, "A length")
        yarn = self.known_yarn(line.yarn) if line.yarn is not None else None
        if stitch is None or (rows is None and mm is None) or (line.yarn is not None and yarn is None):
            return None
        amount = line.rows.span if line.rows is not None else line.length.span  # type: ignore[union-attr]
        at = line.at.text if line.at is not None else None
        return Knit(stitch, line.stitch.span, line.stitch.span, amount, rows, mm, line.exactly, yarn, at)

    def piece_stitch(self, word: Word) -> str | None:
        if word.text.lower() == "plain":
            return "plain"
        key = _nfc(word.text)
        if key in self.definitions:
            return key
        self.unknown_stitch(word, itertools.chain(("plain",), self.definitions))
        return None


def _names(expression: Expression) -> Iterable[Word]:
    """The stitch names an expression uses, left to right."""
    stack = [expression]
    while stack:
        node = stack.pop()
        if isinstance(node, Named):
            yield node.name
        elif isinstance(node, Formed):
            stack.append(node.part)
        elif isinstance(node, Joined):
            stack.extend(reversed(node.parts))


def _common_width(widths: Iterable[int]) -> int | None:
    """The least width that all go into, if it is one that somebody might want."""
    common = 1
    for width in widths:
        common = math.lcm(common, width)
        if common > _WIDEST_OFFERED:
            return None
    return common


def _rows_said(first: int, last: int) -> str:
    return f"{first}-{last}" if last > first else f"{first}"


def _from_the_top(rows: Sequence[Row]) -> bool:
    """Whether the rows are written last one first."""
    firsts = [row.numbers[0] for row in rows]
    return len(firsts) > 1 and all(here > there for here, there in itertools.pairwise(firsts))


def _numbers(rows: Sequence[Row]) -> npt.NDArray[np.int64]:
    """The row numbers, shape (ranges, 4), as Row has them."""
    return np.fromiter(itertools.chain.from_iterable(row.numbers for row in rows), dtype=np.int64).reshape(-1, 4)


def _indices(rows: Sequence[Row]) -> npt.NDArray[np.int64]:
    """Where the rows stand in the chart, counted from 0."""
    flat = _numbers(rows)
    heights = flat[:, 1] - flat[:, 0] + 1
    starts = flat[:, 0] - 1 - (heights.cumsum() - heights)
    at: npt.NDArray[np.int64] = np.arange(heights.sum()) + np.repeat(starts, heights)
    return at


def _reached(rows: Sequence[Row]) -> int | None:
    """The highest row number where all is well: rows 1 to it given exactly once, and not too many for a chart."""
    if not rows:
        return None
    flat = _numbers(rows)
    flat = flat[np.argsort(flat[:, 0], kind="stable")]
    firsts, lasts = flat[:, 0], flat[:, 1]
    if firsts[0] != 1 or (firsts[1:] != lasts[:-1] + 1).any() or (lasts < firsts).any() or lasts[-1] > MAX_CELLS:
        return None
    return int(lasts[-1])


def _span_of(line: Line) -> Span:
    if isinstance(line, WidthLine):
        return line.width.span
    if isinstance(line, EdgeLine):
        return line.number.span
    if isinstance(line, CarriageLine):
        return line.side.span
    if isinstance(line, KnitLine):
        return line.stitch.span
    assert isinstance(line, DoLine | NeedlesLine)
    return line.text.span


def _begins_block(text: str) -> bool:
    """Whether a line that could not be read was most likely meant as `stitch …` or `piece …`."""
    word = re.match(r"\s*([^\W\d_]+)", text)
    return word is not None and nearest(word[1].lower(), KEYWORDS) in ("stitch", "piece")


def _divisors(width: int) -> str:
    found = [n for n in range(1, min(width, 200) + 1) if width % n == 0]
    return ", ".join(map(str, found[:8])) + (" …" if len(found) > 8 else "")


def _names_in(folder: Path) -> list[Path]:
    """The patterns of a folder."""
    try:
        return sorted(itertools.islice((entry for entry in folder.iterdir() if entry.suffix == ".stitch"), 500))
    except OSError:
        return []


def _names_like(target: Path) -> list[Path]:
    """The pattern beside the target whose name is nearest to its own, if one is near."""
    stems = {path.stem: path for path in _names_in(target.parent)}
    near = nearest(target.stem, stems)
    return [stems[near]] if near else []


def _real(path: Path) -> Path:
    """The path with links followed, as far as it exists; a loop of links counts as itself."""
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError):
        return path.absolute()


def _nfc(name: str) -> str:
    return name if name.isascii() else unicodedata.normalize("NFC", name)
