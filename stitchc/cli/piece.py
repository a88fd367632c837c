"""`stitchc piece`: a whole piece for one machine: needles, rows, sizes, yarn, instructions; as text, HTML or JSON."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from stitchc.cli import common
from stitchc.cli.plain_gauge import plain_option
from stitchc.messages import Message, in_order
from stitchc.naming import name_of, numbered

if TYPE_CHECKING:
    from stitchc.document import Document
    from stitchc.gauge import GaugeReport, PlainGauge
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Piece
    from stitchc.piece import Plan
    from stitchc.piece.measured import Measured
    from stitchc.piece.size_words import Units

MOST_SIZES = 12


class _Measures(click.types.StringParamType):
    """Text with blanks in it; in the environment several stand with semicolons between."""

    envvar_list_splitter = ";"


@click.command(short_help="Work out a whole piece: needles, rows, sizes, yarn, instructions.")
@common.file_argument
@common.option("--piece", "piece_name", metavar="NAME", default=None, help="Which piece, where FILE has several.")
@common.machine_option("hand-standard")
@plain_option
@common.option(
    "--sizes",
    "sizes_text",
    metavar="48,52,56",
    default=None,
    help="Finished widths in the units of --units, in place of the one written: several stand in brackets.",
)
@common.option(
    "--so-far",
    "so_far_texts",
    metavar='"drift 30 rows 7.1 cm"',
    multiple=True,
    type=_Measures(),
    help="What is knitted so far and how long it measures at rest; add `on the machine` if it hung there, and `in all` "
    'if that part ended with these rows. Or how wide: "drift 40 stitches 21 cm". The rest is worked out anew. '
    "Repeatable.",
)
@common.units_option
@common.every_row_option
@common.format_option("text", "html", "json")
@common.output_option("the instructions")
@common.anyway_option
def command(
    file: str,
    piece_name: str | None,
    machine_name: str,
    plain: PlainGauge | None,
    sizes_text: str | None,
    so_far_texts: tuple[str, ...],
    units: Units,
    every_row: bool,
    form: str,
    output: Path | None,
    force: bool,
    anyway: bool,
) -> None:
    """Work out a piece of FILE for a machine: from the finished size to the last pass, as a pattern to knit from.

    \b
        stitchc piece cowl.stitch
        stitchc piece cowl.stitch --machine card24-standard --format html   to print, or to follow
        stitchc piece hat.stitch --sizes 48,52,56
        stitchc piece cowl.stitch --so-far "drift 30 rows 7.1 cm"           half way, when it comes out otherwise

    Lengths become rows, and the width needles, by the gauge of the stitch concerned, in whole repeats; what the
    rounding did is said. Every size comes with the range that holds nine knitters in ten. With --so-far the
    instructions begin with the next row; JSON keeps all rows and says how many of them are done. Where --sizes was
    asked for, --so-far goes with the one size that is on the needles.
    """
    from stitchc.gauge import check_gauge
    from stitchc.gauge.yarn import ill_matched
    from stitchc.piece import gauge_of

    sizes = parse_sizes(sizes_text, units) if sizes_text is not None else []
    measured = parse_so_far(so_far_texts)
    if len(sizes) > 1 and measured:
        raise click.UsageError("--so-far is about the one size that is on the needles; --sizes then names that alone.")
    pattern = common.read_pattern(file)
    piece = chosen_piece(pattern, piece_name)
    if sizes and piece.width is None:
        raise click.UsageError(f"--sizes needs a `width` in the piece `{piece.name}`, which says `needles`.")
    machine = common.load_machine(machine_name)
    common.require(check_gauge(pattern, machine, plain), pattern)
    report = gauge_of(pattern, piece, plain)
    common.show([*report.messages, *ill_matched(report, pattern)], pattern.sources)
    if measured:
        plans, _ = _plans(pattern, piece, machine, report, sizes, anyway)
        _write_replanned(plans[0], sizes, measured, units, every_row, form, output, force, anyway)
        return
    plans, told = _plans(pattern, piece, machine, report, sizes, anyway)
    common.show(in_order(dict.fromkeys(message for messages in told for message in messages)), pattern.sources)
    _write(plans, told, sizes, units, every_row, form, output, force)


# -- what was asked -------------------------------------------------------------------------------------------------


def chosen_piece(pattern: Pattern, name: str | None) -> Piece:
    """The piece asked for, or the only one. Leaves with 1 if there is none such, with 2 if it has to be said which."""
    from stitchc.notation.tree import composed

    pieces = pattern.pieces
    if not pieces:
        cure = "piece cowl   (a line of its own; then `width 60 cm`, `knit plain for 12 rows` under it)"
        common.leave([Message("P401", "error", f"There is no piece in `{pattern.file}`.", cure=cure)])
    if name is None:
        if len(pieces) > 1:
            raise click.UsageError(f"There are {len(pieces)} pieces here: say --piece {' or --piece '.join(pieces)}.")
        return next(iter(pieces.values()))
    name = composed(name)
    if name not in pieces:
        import difflib

        near = difflib.get_close_matches(name, pieces, n=1, cutoff=0.4)
        cure = f"--piece {near[0]}" if near else "The pieces there: " + ", ".join(list(pieces)[:12]) + "."
        common.leave([Message("P401", "error", f"There is no piece `{name}` in `{pattern.file}`.", cure=cure)])
    return pieces[name]


def parse_sizes(text: str, units: Units) -> list[float]:
    """Widths in mm from "48,52,56" or "48, 52 cm". Raises click.BadParameter saying what is allowed."""
    match = re.fullmatch(r"\s*([0-9.,;/ ]+?)\s*(mm|cm|in)?\s*", text)
    numbers = [part for part in re.split(r"[,;/ ]+", match[1]) if part] if match else []
    if match is None or not numbers or any(not re.fullmatch(r"[0-9]{1,5}(\.[0-9]{1,3})?", part) for part in numbers):
        raise click.BadParameter(
            f"`{text}` are no sizes: write widths with commas, as in 48,52,56.", param_hint="--sizes"
        )
    per_mm = {"mm": 1.0, "cm": 10.0, "in": 25.4}[match[2] or units]
    sizes = [float(part) * per_mm for part in numbers]
    if not all(1 <= size <= 100_000 for size in sizes):
        raise click.BadParameter(f"`{text}`: sizes are from 1 mm to 100 m.", param_hint="--sizes")
    if len(sizes) > MOST_SIZES or len(set(sizes)) < len(sizes):
        raise click.BadParameter(f"`{text}`: up to {MOST_SIZES} sizes, each once.", param_hint="--sizes")
    return sizes


def parse_so_far(texts: Sequence[str]) -> list[Measured]:
    """Each --so-far. Raises click.BadParameter saying what is allowed."""
    if not texts:
        return []
    from stitchc.notation.tree import composed
    from stitchc.piece.measured import parse_measured

    found = []
    for text in texts:
        try:
            found.append(parse_measured(composed(text)))
        except ValueError as error:
            raise click.BadParameter(f"{error}.", param_hint="--so-far") from None
    return found


# -- working it out and writing -------------------------------------------------------------------------------------


def _plans(
    pattern: Pattern, piece: Piece, machine: Machine, report: GaugeReport, sizes: Sequence[float], anyway: bool
) -> tuple[list[Plan], list[list[Message]]]:
    """A plan for each size with its messages; leaves with 1 where there is an error."""
    from stitchc.piece import work_out

    plans: list[Plan] = []
    told: list[list[Message]] = []
    widths: list[float | None] = list(sizes) or [None]
    for size in widths:
        plan, messages = work_out(pattern, piece, machine, report, width_mm=size, anyway=anyway)
        if plan is None:
            common.leave(in_order(messages), pattern.sources)
        plans.append(plan)
        told.append(messages)
    return plans, told


def _write(
    plans: Sequence[Plan],
    told: Sequence[Sequence[Message]],
    sizes: Sequence[float],
    units: Units,
    every_row: bool,
    form: str,
    output: Path | None,
    force: bool,
) -> None:
    from stitchc.piece.document import piece_document
    from stitchc.piece.json_form import as_document

    per = 10.0 if units == "cm" else 25.4
    labels = [f"{size / per:g} {units}" for size in sizes]
    if form == "json":
        documents = []
        for at, (plan, messages) in enumerate(zip(plans, told, strict=True)):
            rows = piece_document([plan], (), units, [messages]).rows
            assert rows is not None
            document = as_document(plan, tuple(rows.passes()), units, messages)
            if sizes:
                document["size_cm"] = round(sizes[at] / 10, 4)
            documents.append(document)
        text = json.dumps(documents[0] if len(documents) == 1 else documents, ensure_ascii=False, indent=1)
        common.put_text(text, output, force)
        return
    _put(piece_document(plans, labels, units, told), plans[0], every_row, form, output, force)


def _put(document: Document, plan: Plan, every_row: bool, form: str, output: Path | None, force: bool) -> None:
    """Text, or the HTML or PDF file, under the pattern's and the piece's name unless -o says."""
    if form == "text":
        from stitchc.document import to_text

        common.put_text(to_text(document, every_row), output, force)
        return
    from stitchc.document.html import to_html

    pattern = plan.pattern
    named = numbered(pattern.pieces, name_of(pattern))
    target = output or Path()
    if output is None or output.is_dir():
        target = target / f"{named[plan.piece.name]}-piece.html"
    common.put_files([(target, to_html(document, every_row).encode("utf-8", "backslashreplace"))], force)


def _write_replanned(
    planned: Plan,
    sizes: Sequence[float],
    measured: Sequence[Measured],
    units: Units,
    every_row: bool,
    form: str,
    output: Path | None,
    force: bool,
    anyway: bool,
) -> None:
    from stitchc.piece.document import piece_document
    from stitchc.piece.json_form import as_document, so_far_as_json
    from stitchc.piece.replan import NotKnitted, replan
    from stitchc.piece.so_far import so_far_parts

    try:
        found, messages = replan(planned, measured, anyway)
    except NotKnitted as error:
        raise click.BadParameter(f"{error}.", param_hint="--so-far") from None
    if found is None:
        common.leave(in_order(messages), planned.pattern.sources)
    common.show(in_order([*found.new.report.messages, *messages]), planned.pattern.sources)
    if form == "json":  # the form has all rows of the piece; `rows_done` says how many of them are knitted
        rows = piece_document([found.new], (), units, [messages]).rows
        assert rows is not None
        document = as_document(found.new, tuple(rows.passes()), units, messages)
        document["so_far"] = so_far_as_json(found)
        if sizes:
            document["size_cm"] = round(sizes[0] / 10, 4)
        common.put_text(json.dumps(document, ensure_ascii=False, indent=1), output, force)
        return
    whole = piece_document([found.new], (), units, [messages], found.done, so_far_parts(found, units))
    _put(whole, found.new, every_row, form, output, force)
