"""A pattern's `gauge` and `piece` lines to swatches and pieces: names looked up, numbers held to their ranges."""

from __future__ import annotations

import itertools
import re

from stitchc.bed import Needles
from stitchc.messages import Span
from stitchc.notation.faults import Faults
from stitchc.notation.gather import Gathered, PieceLines, span_of
from stitchc.notation.tree import (
    GaugeLine,
    KnitLine,
    NumberLine,
    WidthLine,
    Word,
    WordLine,
)
from stitchc.notation.vocabulary import count_message
from stitchc.option_values import MM_PER, doubt_about
from stitchc.pattern import MOST_SIZES, CarriageAt, Do, Knit, Piece, Side, Step, Swatch, Width


def swatch(line: GaugeLine, gathered: Gathered) -> Swatch | None:
    """The swatch of a `gauge` line, or None once what is wrong with it has been reported."""
    faults = gathered.faults
    name = line.stitch.key
    name = "plain" if name.lower() == "plain" else name
    if name != "plain" and name not in gathered.definitions:
        gathered.unknown_stitch(line.stitch, itertools.chain(("plain",), gathered.definitions))
        return None
    if line.again is not None:
        faults.error("N101", "The same count is given twice in this line.", line.again, advice="Keep one of them.")
        return None
    per = faults.millimetres(line.per, "The measured length")
    counts = [
        faults.in_range(number, 0.5, 100_000, "A count of stitches or rows") if number is not None else None
        for number in (line.stitches, line.rows)
    ]
    if per is None or (counts[0] is None) != (line.stitches is None) or (counts[1] is None) != (line.rows is None):
        return None
    yarn = gathered.known_yarn(line.yarn) if line.yarn is not None else None
    if line.yarn is not None and yarn is None:
        return None
    return Swatch(name, per, line.stitch.span, counts[0], counts[1], yarn=yarn, sure=line.sure)


def piece(lines: PieceLines, gathered: Gathered) -> Piece | None:
    """The piece of these lines, or None once what is wrong with them has been reported."""
    faults = gathered.faults
    before = faults.count
    once: dict[str, Span] = {}
    width: Width | None = None
    needles: Needles | None = None
    needles_span: Span | None = None
    edge = make = 1
    carriage: Side = "right"
    sizes: tuple[tuple[str, float], ...] = ()
    steps: list[Step] = []
    for line in lines.lines:
        span = span_of(line)
        if isinstance(line, NumberLine):
            _only_once(line.keyword, span, once, faults)
            if line.keyword == "make":
                make = faults.counted(line.number, "A number of pieces", most=1000) or 1
            else:
                edge = faults.counted(line.number, "The number of edge needles", least=0, most=1000) or 0
        elif isinstance(line, WidthLine):
            _only_once(line.keyword, span, once, faults)
            width = _width(line, gathered)
            if line.keyword == "sizes":
                sizes = _sizes(line, gathered)
        elif isinstance(line, WordLine) and line.keyword == "needles":
            _only_once("needles", span, once, faults)
            needles, needles_span = _needles(line.word, faults), span
        elif isinstance(line, WordLine) and line.keyword == "carriage":
            side: Side = "left" if line.word.text.lower() == "left" else "right"
            if any(isinstance(step, Knit) for step in steps) or "carriage" in once:
                steps.append(CarriageAt(side, span))
            else:
                once["carriage"] = span
                carriage = side
        elif isinstance(line, WordLine):
            faults.not_empty(line.word, 'do "Hang the cast-on edge on the same needles."')
            steps.append(Do(line.word.text, span))
        elif isinstance(line, KnitLine):
            knit = _knit(line, gathered)
            if knit is not None:
                steps.append(knit)
    extents = [span for keyword, span in once.items() if keyword in ("width", "sizes", "needles")]
    for span in extents[1:]:
        faults.error(
            "N101",
            "A piece has one of these: a `width`, `sizes` or a number of `needles`.",
            span,
            advice="Keep one of them.",
            also=((extents[0], "given here"),),
        )
    if faults.count > before or lines.spoilt:
        return None
    name = lines.name.key
    return Piece(name, lines.name.span, tuple(steps), width, needles, needles_span, edge, carriage, make, sizes)


def _only_once(keyword: str, span: Span, once: dict[str, Span], faults: Faults) -> None:
    if keyword in once:
        faults.error(
            "N101",
            f"`{keyword}` is given twice in this piece.",
            span,
            advice="Keep one of them.",
            also=((once[keyword], "first given here"),),
        )
    once.setdefault(keyword, span)


def _width(line: WidthLine, gathered: Gathered) -> Width | None:
    faults = gathered.faults
    mm, *_ = [faults.millimetres(each, "A width") for each in line.widths]
    plus = faults.millimetres(line.plus, "A seam allowance", 0.0) if line.plus is not None else 0.0
    stitch = _piece_stitch(line.stitch, gathered) if line.stitch is not None else None
    if mm is None or plus is None or (line.stitch is not None and stitch is None):
        return None
    spans = tuple((each.mm, each.span) for each in line.widths)
    return Width(mm, line.widths[0].span, plus, stitch, spans)


def _sizes(line: WidthLine, gathered: Gathered) -> tuple[tuple[str, float], ...]:
    """What each size is called and its width in mm (N101 for commas that may be decimal commas and for one given
    twice, N110 for too many)."""
    faults = gathered.faults
    sizes: dict[float, str] = {}
    first, last = line.widths[0].span, line.widths[-1].span
    whole = first._replace(length=last.column + last.length - first.column)
    text = gathered.sources[first.file][first.line - 1][whole.column - 1 :][: whole.length]
    if (doubt := doubt_about(text)) is not None:
        advice = f"sizes {doubt.decimals} {line.unit}"
        if doubt.apart is None:
            faults.error("N101", "Decimals follow a point, not a comma.", whole, advice=advice)
        else:
            advice += f" or, with spaces between sizes, {doubt.apart} {line.unit}"
            faults.error("N101", f"`{text}` can be read in two ways.", whole, advice=advice)
        return ()
    for length in line.widths:
        if length.mm in sizes:
            faults.error("N101", "This size is given twice.", length.span, advice="Keep one of them.")
        sizes[length.mm] = f"{length.mm / MM_PER[line.unit]:.10g} {line.unit}"
    if len(sizes) > MOST_SIZES:
        text = f"A piece has at most {MOST_SIZES} sizes."
        faults.error("N110", text, line.widths[MOST_SIZES].span, advice="Write another piece for the others.")
    return tuple((name, mm) for mm, name in sizes.items())


def _needles(word: Word, faults: Faults) -> Needles | None:
    text = word.text
    if text.lstrip("-").isdigit():
        problem = count_message(text, word.span, subject="The number of needles", most=100_000)
        if problem:
            faults.add(problem)
            return None
    try:
        return Needles.parse(text)
    except ValueError as error:
        reason = str(error)
        sentence = f"{reason[:1].upper()}{reason[1:]}."
        faults.error("N115", sentence, word.span, advice=_other_way_round(text) or "as in L40-R39")
        return None


def _other_way_round(text: str) -> str | None:
    """A range of needles named from right to left, from left to right."""
    turned = "-".join(part.strip().upper() for part in reversed(re.split("[-–]", text)))
    try:
        return str(Needles.parse(turned))
    except ValueError:
        return None


def _knit(line: KnitLine, gathered: Gathered) -> Knit | None:
    faults = gathered.faults
    stitch = _piece_stitch(line.stitch, gathered)
    if line.again is not None:
        faults.error("N101", "The same word is given twice in this line.", line.again, advice="Keep one of them.")
        return None
    rows = mm = None
    if line.rows is not None:
        rows = faults.counted(line.rows, "A number of rows")
    if line.length is not None:
        mm = faults.millimetres(line.length, "A length")
    yarn = gathered.known_yarn(line.yarn) if line.yarn is not None else None
    if stitch is None or (rows is None and mm is None) or (line.yarn is not None and yarn is None):
        return None
    amount = line.rows.span if line.rows is not None else line.length.span  # type: ignore[union-attr]
    tension = line.tension.text if line.tension is not None else None
    if line.tension is not None:
        faults.not_empty(line.tension, 'at "5"   (or leave `at` out)')
    return Knit(stitch, line.stitch.span, line.stitch.span, amount, rows, mm, line.exactly, yarn, tension)


def _piece_stitch(word: Word, gathered: Gathered) -> str | None:
    if word.text.lower() == "plain":
        return "plain"
    key = word.key
    if key in gathered.definitions:
        return key
    gathered.unknown_stitch(word, itertools.chain(("plain",), gathered.definitions))
    return None
