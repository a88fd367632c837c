"""The lines of a file and of all it includes, sorted: rows to their stitch, a piece's lines to their piece.

Here files are included and names are given to things; nothing is worked out yet.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final, TypeVar

from stitchc import photo
from stitchc.english import listed
from stitchc.messages import Message, Span, visible
from stitchc.notation.decoding import decoded
from stitchc.notation.faults import Faults
from stitchc.notation.named_files import INCLUDE, PHOTO, content_of, place_below, real_path
from stitchc.notation.reader import read_lines
from stitchc.notation.tree import (
    GaugeLine,
    KnitLine,
    Line,
    Number,
    NumberLine,
    OutLine,
    PhotoLine,
    Placed,
    Row,
    StitchBuilt,
    StitchByRows,
    WidthLine,
    Word,
    WordLine,
    YarnLine,
    composed,
)
from stitchc.notation.vocabulary import KEYWORDS, PLAIN_WORDS, nearest
from stitchc.pattern import WEIGHT_NAMES, Ball, Photo, Yarn

T = TypeVar("T")

MOST_BYTES: Final = 4 * 1024 * 1024
"""The largest file the notation allows."""
MOST_BYTES_TOGETHER: Final = 4 * MOST_BYTES
"""The largest sum of a file and all it includes."""
MOST_INCLUDES_DEEP: Final = 16
MOST_BYTES_OF_PHOTOS: Final = 4 * photo.MOST_BYTES
"""The largest sum of all photos of a pattern."""

WEIGHTS: Final = ("lace", "super-fine", "fine", "light", "medium", "bulky", "super-bulky", "jumbo")
"""The standard yarn weight system's categories, 0 to 7 (Craft Yarn Council)."""

_COLOUR_IN_A_COMMENT: Final = r'(\s*(?:"[^"]*")?)\s*(#[0-9a-fA-F]{6}(?!\w)|#[0-9a-fA-F]{3}(?=\s*$))'
"""Behind a yarn's name: three figures may be a word, and count only where nothing follows them."""
_ONCE: Final = {"pattern": "title", "by": "designer", "difficulty": "difficulty"}
"""Lines of the head that stand there once, and what they give."""
_NEVER_EMPTY: Final = {
    "by": 'by "the net loft"',
    "difficulty": 'difficulty "easy"',
    "notion": 'notion "a tapestry needle"',
}
"""Lines of the head whose text a leaflet shows under a heading. (An empty title or note has always been allowed.)"""


class StitchLines:
    """A stitch being written row by row, until its lines end.

    spoilt: a line of it could not be read, so nothing is said of what may be missing. out_lost: that may have been its
    `out` line, so nobody knows how wide the rows are.
    """

    def __init__(self, name: Word, over: Number | None, spoilt: bool) -> None:
        self.name, self.over, self.spoilt = name, over, spoilt
        self.rows: list[Row] = []
        self.out: OutLine | None = None
        self.out_lost = False


class PieceLines:
    """A piece, until its lines end; spoilt as a stitch is."""

    def __init__(self, name: Word, spoilt: bool) -> None:
        self.name, self.spoilt = name, spoilt
        self.lines: list[Line] = []


class Gathered:
    """What the lines of one top file and of all it includes define.

    folder: where includes are looked for; None allows none.
    """

    def __init__(self, file: str, folder: Path | None) -> None:
        self.file, self.folder = file, folder
        self.faults = Faults()
        self.bytes_read = 0
        self.sources: dict[str, Sequence[str]] = {}
        self.once: dict[str, Word] = {}
        self.several: dict[str, list[str]] = {"note": [], "notion": []}
        self.photos: list[Photo] = []
        self.yarns: dict[str, Yarn] = {}
        self.definitions: dict[str, StitchLines | StitchBuilt] = {}
        self.included: set[str] = set()
        self.gauges: list[GaugeLine] = []
        self.pieces: dict[str, PieceLines] = {}
        self.visited: dict[Path, str] = {}
        self.lost: set[str] = set()
        """Names whose lines could not be read: using them is not a second mistake."""
        self.include_failed = False
        """A file could not be read in: names it would have brought are nobody's mistake."""

    def read(self, text: str | bytes) -> bool:
        """Take in the top file's text; False if it cannot be read at all."""
        chain: tuple[Path, ...] = ()
        if self.folder is not None:
            real = real_path(self.folder / Path(self.file).name)
            chain = (real,)
            self.visited[real] = self.file
        return self.read_source(text, self.file, chain, depth=0)

    def read_source(self, raw: str | bytes, file: str, chain: tuple[Path, ...], depth: int) -> bool:
        """Read one file's lines into what is gathered; False if it cannot be read at all."""
        size = len(raw) if isinstance(raw, bytes) else len(raw.encode("utf-8", "surrogatepass"))
        self.bytes_read += size
        if self.bytes_read > MOST_BYTES_TOGETHER:
            text = f"The files together are larger than {MOST_BYTES_TOGETHER // 2**20} MiB."
            self.faults.error("N110", text, Span(file, 1), advice="Include fewer files.")
            return False
        if size > MOST_BYTES:
            text = f"`{file}` is larger than {MOST_BYTES // 2**20} MiB."
            self.faults.error("N110", text, Span(file, 1), advice="Split it, and include the parts.")
            return False
        text, problem = decoded(raw, file)
        self.sources[file] = text.split("\n")
        if problem is not None:
            self.faults.add(problem)
            return False
        placed, messages = read_lines(text, file)
        for message in messages:
            self.faults.add(message)
        self.take(placed, file, chain, depth, {message.span.line for message in messages if message.span})
        return True

    def take(
        self, placed: Sequence[Placed], file: str, chain: tuple[Path, ...], depth: int, wrong_lines: set[int]
    ) -> None:
        """Sort the lines: rows to their stitch, a piece's lines to their piece, the rest to its own place.

        wrong_lines: lines with a message already. One inside a block spoils that block; one that began a block but
        could not be read leaves the lines below it to nobody, which is not their fault.
        """
        inside: StitchLines | PieceLines | None = None
        orphans = False
        text = self.sources[file]
        unread = sorted(wrong_lines - {entry.number for entry in placed}, reverse=True)
        for entry in (*placed, None):
            while unread and (entry is None or unread[-1] < entry.number):
                lost = text[unread.pop() - 1]
                keyword, name = _beginning(lost)
                if name and keyword in ("stitch", "yarn"):
                    self.lost.add(composed(name))
                if keyword in ("stitch", "piece") or inside is None:  # what follows belongs to it, if to anything
                    inside, orphans = None, True
                else:
                    inside.spoilt = True
                    if isinstance(inside, StitchLines) and not re.match(r"\s*[0-9].*:", lost):
                        inside.out_lost = True
            if entry is None:
                break
            line = entry.line
            if isinstance(line, Row | OutLine):
                if isinstance(inside, StitchLines):
                    self.take_row(line, inside)
                elif not orphans:
                    kind, place = ("row", line.range(0).span) if isinstance(line, Row) else ("line", line.span)
                    advice = "stitch ripple   (on a line of its own above the rows)"
                    self.faults.error("N101", f"This {kind} belongs to no stitch.", place, advice=advice)
                    orphans = True  # the rows below it are the same mistake
                continue
            if _in_a_piece(line):
                if isinstance(inside, PieceLines):
                    inside.lines.append(line)
                elif not orphans:
                    advice = "piece cowl   (on a line of its own above it)"
                    self.faults.error("N101", "This line belongs to no piece.", span_of(line), advice=advice)
                    orphans = True
                continue
            inside, orphans = None, False
            if isinstance(line, StitchByRows):
                inside = StitchLines(line.name, line.over, spoilt=entry.number in wrong_lines)
                self.define(inside, inside.name, depth)
            elif isinstance(line, StitchBuilt):
                self.define(line, line.name, depth)
            elif isinstance(line, WordLine) and line.keyword == "piece":
                inside = PieceLines(line.word, spoilt=entry.number in wrong_lines)
                if depth == 0:
                    self.define_piece(inside)
            else:
                self.take_head(line, file, chain, depth)

    def take_row(self, line: Row | OutLine, stitch: StitchLines) -> None:
        """A line among the rows of a stitch (N119 for a second `out` line)."""
        if isinstance(line, Row):
            stitch.rows.append(line)
        elif stitch.out is None:
            stitch.out = line
        else:
            numbers = ", ".join(each.text for each in (*stitch.out.ranges, *line.ranges))
            self.faults.error(
                "N119",
                f"`{stitch.name.shown}` already has an `out` line.",
                line.span,
                advice=f"out {numbers}   (all needles on one line)",
                also=((stitch.out.span, "the first one"),),
            )

    def take_head(self, line: Line, file: str, chain: tuple[Path, ...], depth: int) -> None:
        """A line that belongs to no block; titles, notes and what a leaflet says count in the top file only."""
        if isinstance(line, WordLine):
            if depth == 0 and line.keyword in _NEVER_EMPTY:
                self.faults.not_empty(line.word, _NEVER_EMPTY[line.keyword])
            if line.keyword == "include":
                self.include(line.word, file, chain, depth)
            elif depth == 0 and line.keyword in self.several:
                self.several[line.keyword].append(line.word.text)
            elif depth == 0 and (first := self.once.setdefault(line.keyword, line.word)) is not line.word:
                given = _ONCE[line.keyword]
                self.faults.error(
                    "N101",
                    f"The pattern already has a {given}.",
                    line.word.span,
                    advice=f"Keep one `{line.keyword}` line.",
                    also=((first.span, f"the first {given}"),),
                )
        elif isinstance(line, PhotoLine):
            if depth == 0:
                self.photo(line)
        elif isinstance(line, YarnLine):
            self.yarn(line)
        elif isinstance(line, GaugeLine):
            self.gauges.append(line)

    def define(self, definition: StitchLines | StitchBuilt, name: Word, depth: int) -> None:
        """Keep a stitch (N104 for the second of a name). depth: 0 in the top file itself."""
        if name.key in self.definitions:
            self.faults.named_twice("stitch", name, self.definitions[name.key].name.span)
            return
        self.definitions[name.key] = definition
        if depth:
            self.included.add(name.key)

    def define_piece(self, piece: PieceLines) -> None:
        """Keep a piece (N104 for the second of a name)."""
        key = piece.name.key
        if key in self.pieces:
            self.faults.named_twice("piece", piece.name, self.pieces[key].name.span)
            return
        self.pieces[key] = piece

    def include(self, path: Word, file: str, chain: tuple[Path, ...], depth: int) -> None:
        """Read in a file below the top file's folder (N114); one that was read already is not read again."""
        here = Path(file).parent if depth else self.folder or Path()
        target = self.readable(place_below(path, INCLUDE, self.folder, here))
        if target is None:
            return
        real = real_path(target)
        if real in self.visited and real not in chain:
            return
        if (wrong := self.cannot_be_read_in(path, real, chain, depth)) is not None:
            self.faults.add(wrong)
            return
        shown = os.path.normpath(target)
        self.visited[real] = shown
        raw = self.readable(content_of(path, INCLUDE, target, here, MOST_BYTES))
        if raw is None:
            self.include_failed = True
            return
        self.read_source(raw, shown, (*chain, real), depth + 1)

    def readable(self, outcome: T | Message) -> T | None:
        """The outcome, or None where it is a message, which is kept."""
        if isinstance(outcome, Message):
            self.faults.add(outcome)
            return None
        return outcome

    def cannot_be_read_in(self, path: Word, real: Path, chain: tuple[Path, ...], depth: int) -> Message | None:
        """Why the file `real` must not be read in here, if so: N114, or N110 for too deep a nest."""
        if real in chain:
            names = [self.visited.get(step, step.name) for step in chain[chain.index(real) :]]
            circle = " → ".join(f"`{Path(name).name}`" for name in [*names, names[0]])
            text = f"The includes go in a circle: {circle}."
            return Message("N114", "error", text, path.span, advice="Take out one of these includes.")
        if depth + 1 > MOST_INCLUDES_DEEP:
            text = f"Includes nest more than {MOST_INCLUDES_DEEP} deep here."
            return Message("N110", "error", text, path.span, advice="Include the file from the first file.")
        return None

    def photo(self, line: PhotoLine) -> None:
        """Keep a photo: N114 where it is not there or none, N110 where it is too large, N101 without words."""
        path = line.file
        if not line.shows.text.strip():
            advice = PHOTO.line.format(path.text)
            self.faults.error("N101", "Say in words what the photo shows.", line.shows.span, advice=advice)
        here = self.folder or Path()
        target = self.readable(place_below(path, PHOTO, self.folder, here))
        if target is None:
            return
        content = self.readable(content_of(path, PHOTO, target, here, photo.MOST_BYTES))
        if content is None:
            return
        try:
            photo.check_photo(content)
        except photo.NoPhoto as error:
            code = "N110" if error.too_large else "N114"
            advice = (
                "Make it smaller with any picture program." if error.too_large else "Save it as a JPEG or PNG picture."
            )
            self.faults.error(code, f"`{path.shown}` {error}.", path.span, advice=advice)
            return
        if sum(len(each.content) for each in self.photos) + len(content) > MOST_BYTES_OF_PHOTOS:
            text = f"The photos together are larger than {MOST_BYTES_OF_PHOTOS // 2**20} MiB."
            self.faults.error("N110", text, path.span, advice="Make the pictures smaller, or show fewer.")
            return
        self.photos.append(Photo(path.text, line.shows.text, path.span, content))

    def yarn(self, line: YarnLine) -> None:
        """Keep a yarn, what can't be of it left out (N104 for the second of a name, N101, N115)."""
        key = line.name.key
        if key in self.yarns:
            self.faults.named_twice("yarn", line.name, self.yarns[key].span, "declared")
            return
        colour = self.colour(line.colour) if line.colour is not None else None
        weight = None
        tex = None
        if line.tex is not None:
            tex = self.faults.in_range(line.tex, 1, 20_000, "A yarn's tex (grams per kilometre)")
        if line.weight is not None:
            weight = self.weight(line.weight)
        ball = self.ball(*line.ball) if line.ball is not None else None
        if ball is not None and line.tex is None:
            tex = ball.tex
        self.yarns[key] = Yarn(key, line.name.span, line.description, colour, tex, weight, ball)
        if (line.colour, line.tex, line.weight, line.ball) == (None, None, None, None):
            self.colour_in_a_comment(line.name)

    def ball(self, grams: Number, metres: Number) -> Ball | None:
        """The ball, or None with N115, also where no yarn is so thick or so thin."""
        weight = self.faults.in_range(grams, 1, 10_000, "The weight of a ball (grams)")
        length = self.faults.in_range(metres, 1, 100_000, "The length of yarn in a ball (metres)")
        if weight is None or length is None:
            return None
        ball = Ball(weight, length)
        if 1 <= ball.tex <= 20_000:
            return ball
        text = f"A ball of {weight:g} g with {length:g} m is tex {ball.tex:g}; a yarn's tex is from 1 to 20,000."
        self.faults.error("N115", text, grams.span, advice="ball 50 g 120 m")
        return None

    def colour_in_a_comment(self, name: Word) -> None:
        """N118 where a yarn line ends in a comment that is a colour: it was meant to be one."""
        span = name.span
        line = self.sources[span.file][span.line - 1]
        start = span.column - 1 + span.length
        match = re.compile(_COLOUR_IN_A_COMMENT).match(line, start)
        if match is None:
            return
        place = Span(span.file, span.line, match.start(2) + 1, len(match[2]))
        text = f"A # begins a comment, so `{match[2]}` is not the colour of `{name.shown}`."
        advice = f'{visible(line[:start] + match[1]).strip()} colour "{match[2]}"'
        self.faults.add(Message("N118", "info", text, place, advice=advice))

    def colour(self, word: Word) -> str | None:
        """The colour as #rgb or #rrggbb, or None with N101."""
        if re.fullmatch(r"#(?:[0-9a-fA-F]{3}|[0-9a-fA-F]{6})", word.text):
            return word.text
        from PIL.ImageColor import colormap  # the names of CSS Color Module Level 4

        name = re.sub(r"[\s_-]+", "", word.text.lower()).replace("grey", "gray")
        if name in colormap:
            return str(colormap[name])
        near = self.faults.nearest_names(name, (each for each in colormap if "grey" not in each), 3)
        self.faults.error(
            "N101",
            f"`{word.shown}` is not a colour: write # and six hexadecimal figures, or a colour's CSS name.",
            word.span,
            advice=listed([*near, '"#d9c7a0"'], "or")
            if near
            else 'as in "#d9c7a0", or a name such as linen, tan or teal',
        )
        return None

    def weight(self, word: Word) -> str | None:
        """The category by its name or number, or None with N101."""
        text = re.sub(r"[\s_]+", "-", word.text.strip().lower())
        if text.isascii() and text.isdigit() and len(text) == 1 and int(text) < len(WEIGHTS):
            return WEIGHTS[int(text)]
        if text in WEIGHTS:
            return text
        self.faults.error(
            "N101",
            f"`{word.shown}` is not a category of the standard yarn weight system.",
            word.span,
            advice=_weight_called(text) or nearest(text, WEIGHTS) or ", ".join(WEIGHTS) + ", or 0 to 7",
        )
        return None

    def known_yarn(self, word: Word) -> str | None:
        """The yarn's name as it is kept, or None, with N116 where its line was not lost."""
        key = word.key
        if key in self.yarns:
            return key
        if key in self.lost or self.include_failed:
            return None
        near = self.faults.nearest(key, self.yarns)
        self.faults.error(
            "N116",
            f"There is no yarn `{word.shown}`.",
            word.span,
            advice=near or f'yarn {word.shown} "…"   (on a line of its own)',
        )
        return None

    def unknown_stitch(self, word: Word, among: Iterable[str]) -> None:
        """N103 with the nearest name of those there are, unless its lines could not be read."""
        if word.key in self.lost or self.include_failed:
            return
        near = self.faults.nearest(word.key, among)
        if near is None and re.fullmatch(PLAIN_WORDS, word.key.replace("_", "-"), re.IGNORECASE):
            near = "plain"
        advice = near or (f"stitch {word.shown}   (defined on a line of its own)")
        self.faults.error("N103", f"There is no stitch `{word.shown}`.", word.span, advice=advice)


def _in_a_piece(line: Line) -> bool:
    in_words = isinstance(line, WordLine) and line.keyword in ("needles", "carriage", "do")
    return in_words or isinstance(line, NumberLine | WidthLine | KnitLine)


def span_of(line: Line) -> Span:
    """Where a line of a piece says what it is about."""
    if isinstance(line, WidthLine):
        return line.widths[0].span
    if isinstance(line, KnitLine):
        return line.stitch.span
    assert isinstance(line, NumberLine | WordLine)
    return line.number.span if isinstance(line, NumberLine) else line.word.span


def _beginning(text: str) -> tuple[str | None, str]:
    """The keyword that a line which could not be read was most likely meant to begin with, and a name behind it."""
    words = re.match(r"\s*([^\W\d_]+)(?:\s+([^\W\d_][\w-]*))?", text)
    return (nearest(words[1].lower(), KEYWORDS), words[2] or "") if words else (None, "")


def _weight_called(name: str) -> str:
    """The categories that the trade calls so, as advice; empty where it is no such name."""
    for words, *categories in WEIGHT_NAMES:
        if re.search(words, name):
            return f"{' or '.join(dict.fromkeys(categories))}   (usually called {visible(name)})"
    return ""
