"""What a pattern file says, as values: stitches, yarns, measured gauges and pieces, each with its place.

The notation makes these and everything after it reads them; nothing here knows how they were written down.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final, Literal, NamedTuple, TypeVar

from stitchc.bed import Needles
from stitchc.chart import Chart
from stitchc.messages import Span

T = TypeVar("T")

Side = Literal["left", "right"]

MOST_SIZES: Final = 12
"""Sizes of one piece: more figures in brackets than that nobody reads."""


class Ball(NamedTuple):
    """How a yarn is sold: what one ball weighs, and the length of yarn in it."""

    grams: float
    metres: float

    @property
    def tex(self) -> float:
        """Grams per kilometre, to the whole tex from 100 up: a ball band is no more exact."""
        tex = 1000 * self.grams / self.metres
        return round(tex) if tex >= 100 else round(tex, 1)


WEIGHT_NAMES: Final[Sequence[tuple[str, str, str]]] = (
    (r"\blace[ -]?weight", "lace", "lace"),
    (r"super[ -]?chunky|super[ -]?bulky", "super-bulky", "super-bulky"),
    (r"double[ -]knit(?:ting)?|\bdk\b|\b8[ -]?ply", "light", "light"),
    (r"\b4[ -]?ply|four[ -]ply", "super-fine", "fine"),
    (r"fingering|sock (?:yarn|weight)", "super-fine", "super-fine"),
    (r"\bsport\b", "fine", "fine"),
    (r"worsted(?! spun)|\baran\b|\b10[ -]?ply", "medium", "medium"),
    (r"chunky|bulky|\b12[ -]?ply", "bulky", "bulky"),
)
"""What a description may call a yarn, and the categories from the finest to the coarsest that it can mean. Ply names
differ from guide to guide ("Tutorials: guide to yarn weight"); 2, 3 and 5 ply are left out for that."""


class Yarn(NamedTuple):
    """A declared yarn. colour: as written, #rgb or #rrggbb. tex: grams per kilometre, as declared or else that of the
    ball; weight: its category in the standard yarn weight system."""

    name: str
    span: Span
    description: str = ""
    colour: str | None = None
    tex: float | None = None
    weight: str | None = None
    ball: Ball | None = None

    @property
    def rgb(self) -> tuple[int, int, int] | None:
        """The colour as red, green and blue, 0 to 255; None where none is given."""
        if self.colour is None:
            return None
        digits = self.colour.removeprefix("#")
        if len(digits) == 3:
            digits = "".join(2 * digit for digit in digits)
        red, green, blue = (int(digits[start : start + 2], 16) for start in (0, 2, 4))
        return red, green, blue


class Stitch(NamedTuple):
    """A named repeat. row_spans: where each row was written, if it was written row by row.

    is_part: another stitch in the file is built from it, so that nobody is nagged about it.
    from_include: it came in with an include.
    """

    name: str
    chart: Chart
    span: Span
    row_spans: tuple[Span, ...] | None = None
    built_from: tuple[str, ...] = ()
    is_part: bool = False
    from_include: bool = False


class Swatch(NamedTuple):
    """One `gauge` line: counts over a measured length; either count may be missing.

    stitch: "plain" or a stitch's name. per_mm: the length on which both counts were taken. doubt: standard deviation
    of the logarithm of either count beyond the reading of the tape (measured under weights, for one). yarn: what it was
    knitted in; None where the line names none. sure: the knitter has checked a surprising count.
    """

    stitch: str
    per_mm: float
    span: Span
    stitches: float | None = None
    rows: float | None = None
    doubt: float = 0.0
    yarn: str | None = None
    sure: bool = False

    @property
    def stitches_per_10cm(self) -> float | None:
        """Wales per 10 cm, or None where only rows were measured."""
        return None if self.stitches is None else self.stitches * 100 / self.per_mm

    @property
    def rows_per_10cm(self) -> float | None:
        """Courses (machine rows) per 10 cm, or None where only stitches were measured."""
        return None if self.rows is None else self.rows * 100 / self.per_mm


def words_of(line: str) -> tuple[str, str]:
    """A `gauge` line as two are compared: its words, whatever the capitals and spaces, and its comment."""
    words, _, comment = line.partition("#")
    return " ".join(words.lower().split()), comment.strip()


def counted_once(swatches: Iterable[tuple[str, Swatch]], sources: Mapping[str, Sequence[str]]) -> tuple[Swatch, ...]:
    """The swatches of several files, each after the name of its file, without those whose line another file has as
    well, comment and all: that is one swatch, by a link, an include or a copy. Lines that one file repeats are repeated
    measurements.

    A copy is known by its words alone, so two swatches that happen to agree count as one: ranges then stay as wide as
    they were, while a swatch that counts twice makes them too narrow. Comments with a date tell two apart.
    """
    times: Counter[tuple[str, str, tuple[str, str]]] = Counter()
    most: Counter[tuple[str, tuple[str, str]]] = Counter()
    counted: list[Swatch] = []
    for file, swatch in swatches:
        lines = sources.get(swatch.span.file, ())
        if swatch.span.line > len(lines):  # no file has it
            counted.append(swatch)
            continue
        key = (swatch.stitch, words_of(lines[swatch.span.line - 1]))
        times[file, *key] += 1
        if times[file, *key] > most[key]:
            most[key] = times[file, *key]
            counted.append(swatch)
    return tuple(counted)


class Width(NamedTuple):
    """`width 60 cm plus 1 cm in drift`: finished width, seam allowance (in the needles, not in the finished
    width), and whose gauge sets the needles. spans: where each width is written, by its mm, those of
    `sizes` as well."""

    mm: float
    span: Span
    plus_mm: float = 0.0
    stitch: str | None = None
    spans: tuple[tuple[float, Span], ...] = ()


class Do(NamedTuple):
    """`do "…"`: something done by hand between passes."""

    text: str
    span: Span


class Knit(NamedTuple):
    """`knit STITCH for N rows | LENGTH [exactly] [in YARN] [at "…"]`. Exactly one of rows and mm is given.

    tension: the knitter's own word for the tension. exactly: nearest row instead of whole repeats.
    stitch_span and amount_span are the places of those words.
    """

    stitch: str
    span: Span
    stitch_span: Span
    amount_span: Span
    rows: int | None = None
    mm: float | None = None
    exactly: bool = False
    yarn: str | None = None
    tension: str | None = None


class CarriageAt(NamedTuple):
    """`carriage left` between sections: the carriage must stand there before going on."""

    side: Side
    span: Span


Step = Do | Knit | CarriageAt


class Piece(NamedTuple):
    """A `piece` block as written. carriage: where the carriage stands before row 1. make: how many of it are knitted.

    sizes: what each finished width is called and its mm, as `sizes` gives them; width is then that of the first.
    """

    name: str
    span: Span
    steps: tuple[Step, ...]
    width: Width | None = None
    needles: Needles | None = None
    needles_span: Span | None = None
    edge: int = 1
    carriage: Side = "right"
    make: int = 1
    sizes: tuple[tuple[str, float], ...] = ()


class Photo(NamedTuple):
    """`photo "front.jpg" "the cowl, worn"`: a picture that was looked at and can be shown.

    file: as written. shows: what is to be seen in it, for those who cannot see it. content: the file's bytes, for
    `stitchc.photo.encode_photo`.
    """

    file: str
    shows: str
    span: Span
    content: bytes


@dataclass(frozen=True)
class Pattern:
    """A whole file, its includes read in. Mappings keep the order of definition.

    by: who designed it. notions: what is needed besides yarn and machine. sources: the
    lines of every file that was read, by the name its spans use (for messages).
    """

    file: str
    stitches: Mapping[str, Stitch]
    yarns: Mapping[str, Yarn] = field(default_factory=dict)
    title: str | None = None
    notes: tuple[str, ...] = ()
    by: str | None = None
    difficulty: str | None = None
    notions: tuple[str, ...] = ()
    photos: tuple[Photo, ...] = field(default=(), repr=False)
    swatches: tuple[Swatch, ...] = ()
    pieces: Mapping[str, Piece] = field(default_factory=dict)
    sources: Mapping[str, Sequence[str]] = field(default_factory=dict, repr=False)

    def by_yarn(self, amounts: Mapping[str | None, T]) -> dict[str | None, T]:
        """What is known of some yarns, in the order of the file's `yarn` lines; the yarn without a name first."""
        places = {name: place for place, name in enumerate(self.yarns)}
        return dict(sorted(amounts.items(), key=lambda each: places.get(each[0], -1) if each[0] else -1))

    @cached_property
    def main_yarn(self) -> Yarn | None:
        """The yarn of rows that name none: the only declared yarn that no row of the file names.

        None where there is no such yarn, or several: then these rows are in a main yarn without a name. (A yarn that
        some rows name is not that of the others as well, or nobody would have named it.)
        """
        yarns = {yarn for stitch in self.stitches.values() for yarn in stitch.chart.yarns}
        yarns |= {step.yarn for piece in self.pieces.values() for step in piece.steps if isinstance(step, Knit)}
        left = [yarn for name, yarn in self.yarns.items() if name not in yarns]
        return left[0] if len(left) == 1 else None

    @cached_property
    def usual_yarn(self) -> str | None:
        """The name of the main yarn, or else of the file's only yarn, if it has one."""
        if self.main_yarn is not None:
            return self.main_yarn.name
        return next(iter(self.yarns)) if len(self.yarns) == 1 else None

    @cached_property
    def fabrics(self) -> dict[str, tuple[frozenset[str | None], ...]]:
        """The yarns of each fabric that the file knits, by its stitch ("plain" among them): as its pieces say, else as
        the stitch's own rows do. None: rows of which nothing says what yarn they are knitted in."""
        main = self.usual_yarn
        fabrics: dict[str, dict[frozenset[str | None], None]] = {}
        knits = [step for piece in self.pieces.values() for step in piece.steps if isinstance(step, Knit)]
        for name, yarn in [(knit.stitch, knit.yarn) for knit in knits]:
            rows = self.stitches[name].chart.yarns if name in self.stitches else (None,)
            fabrics.setdefault(name, {})[frozenset(own or yarn or main for own in rows)] = None
        for stitch in self.wanted():
            fabrics.setdefault(stitch.name, {frozenset(own or main for own in stitch.chart.yarns): None})
        return {name: tuple(each) for name, each in fabrics.items()}

    def yarn_of(self, stitch: str) -> str | None:
        """The yarn of a swatch that names none, if only one is possible: that of the only fabric of the stitch, or of a
        file with a single yarn. Stocking stitch is knitted in any."""
        if len(self.yarns) == 1:
            return next(iter(self.yarns))
        yarns = frozenset[str | None]().union(*(self.fabrics.get(stitch, ()) if stitch in self.stitches else ()))
        return next(iter(yarns)) if len(yarns) == 1 else None

    def with_book(self, book: Pattern) -> Pattern:
        """This pattern with the swatches of another as well, which go on speaking of that one's stitches."""
        names = {name: name for name in (swatch.stitch for swatch in book.swatches)}
        taken: dict[str, Stitch] = {}
        for name in names:
            stitch = book.stitches.get(name)
            if stitch is None:
                continue
            if name in self.stitches and self.stitches[name].chart != stitch.chart:
                names[name] = f"{name} ({book.file})"
            chart = Chart(stitch.chart.cells, (None,) * stitch.chart.height)  # what its rows name are no yarns here
            taken[names[name]] = stitch._replace(chart=chart, from_include=True)
        swatches = [("book", swatch._replace(stitch=names[swatch.stitch])) for swatch in book.swatches]
        sources = {**book.sources, **self.sources}
        return replace(
            self,
            stitches={**taken, **self.stitches},
            swatches=counted_once([*(("", each) for each in self.swatches), *swatches], sources),
            sources=sources,
        )

    @cached_property
    def knitted(self) -> frozenset[str]:
        """The stitches that its pieces knit, plain among them."""
        return frozenset(
            step.stitch for piece in self.pieces.values() for step in piece.steps if isinstance(step, Knit)
        )

    def own(self) -> tuple[Stitch, ...]:
        """The stitches the file itself defines, parts among them, then included ones that its pieces knit; all of them
        if it only includes others."""
        stitches = self.stitches.items()  # one of a book goes by another name than its own here
        own = tuple(stitch for _, stitch in stitches if not stitch.from_include)
        included = tuple(stitch for key, stitch in stitches if stitch.from_include and (key in self.knitted or not own))
        return own + included

    def wanted(self) -> tuple[Stitch, ...]:
        """Those of its own stitches that its pieces knit or that nothing else is built from: what the file is about."""
        return tuple(s for s in self.own() if not s.is_part or s.name in self.knitted) or self.own()
