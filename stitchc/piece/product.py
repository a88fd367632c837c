"""`plan_piece`: a whole piece for one machine, in one size or several, whole or from half way."""

from __future__ import annotations

import contextlib
import difflib
import json
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, NamedTuple

from stitchc.document.files import document_files, letters_lacking
from stitchc.gauge.remarks import check_gauge
from stitchc.gauge.yarn import ill_matched
from stitchc.messages import Message, Refused, in_order, visible
from stitchc.naming import name_of, numbered
from stitchc.option_values import MM_PER, doubt_about
from stitchc.options import PieceOptions, Units
from stitchc.pattern import MOST_SIZES
from stitchc.piece.alike import sizes_alike
from stitchc.piece.document import piece_document
from stitchc.piece.json_form import as_document, so_far_as_json
from stitchc.piece.measured import Measured, NotKnitted, parse_measured
from stitchc.piece.plan import Plan
from stitchc.piece.planner import gauge_of, work_out
from stitchc.piece.replan import Replan, replan
from stitchc.piece.size_words import labelled
from stitchc.piece.so_far import so_far_parts
from stitchc.piece.yarn import AllYarn, yarn_needed, yarn_together
from stitchc.product import File, Product, WrongOption, accept
from stitchc.wording import OPTION

if TYPE_CHECKING:
    from stitchc.document import Document
    from stitchc.gauge import GaugeReport
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern, Piece

DEFAULTS: Final = PieceOptions()


class _Planned(NamedTuple):
    """A plan with its messages; its size in mm where that was asked for or is one of several; what it is called; and
    what is knitted of it."""

    plan: Plan
    messages: list[Message]
    size_mm: float | None
    label: str
    so_far: Replan | None = None


def plan_piece(pattern: Pattern, machine: Machine, options: PieceOptions = DEFAULTS) -> Product[Plan]:
    """A plan for each size: from the finished width and lengths to needles, rows, yarn and every pass.

    The sizes are those asked for, or else those of the piece. With `so_far` the plan is worked out again from what was
    measured; its values are then the new plan. Raises Refused (P4.., K2.., M3.., G6..) and WrongOption for a piece,
    sizes or measurements that do not fit.
    """
    planned, messages = _planned(pattern, machine, options)
    files: list[File] = []
    remarks: tuple[str, ...] = ()
    if options.form == "json":
        files = [_json_file(pattern, planned, options)]
    else:
        document = _document(planned, options)
        stem = _stem(pattern, planned, options)
        files = document_files({stem: document}, options.form, stem, options.every_row, options.page)
        remarks = letters_lacking([document], options.form)
    return Product(tuple(each.plan for each in planned), tuple(files), messages, remarks)


def write_instructions(pattern: Pattern, machine: Machine, options: PieceOptions = DEFAULTS) -> Product[Instructions]:
    """As `plan_piece`, but the instructions as a document, for whoever puts them beside something else."""
    planned, messages = _planned(pattern, machine, options)
    plans = tuple(each.plan for each in planned)
    yarn = None if planned[0].so_far else _yarn_of_all(planned, options)
    return Product((Instructions(plans, _document(planned, options), yarn),), (), messages)


class Instructions(NamedTuple):
    """A piece for one machine. plans: one of each size; document: what to do, for all of them, without what to buy
    where it is for others; yarn: of all pieces, in each size, where none is begun."""

    plans: tuple[Plan, ...]
    document: Document
    yarn: AllYarn | None


def _planned(pattern: Pattern, machine: Machine, options: PieceOptions) -> tuple[list[_Planned], tuple[Message, ...]]:
    machine = machine.bringing_yarn(options.yarn_back)
    asked = parse_sizes(options.sizes, options.units) if options.sizes is not None else []
    measured = [_measured(text) for text in options.so_far]
    piece = choose_piece(pattern, options.piece)
    sizes = _labelled(asked, piece, options.units)
    if len(sizes) > 1 and measured:
        text = f"{OPTION.so_far} is about the one size that is on the needles. Give that size alone in {OPTION.sizes}."
        raise WrongOption("", text)
    if sizes and piece.width is None:
        raise WrongOption("", f"{OPTION.sizes} needs a `width` in the piece `{piece.name}`, which says `needles`.")
    accept(check_gauge(pattern, machine, options.plain), pattern)
    report = gauge_of(pattern, piece, options.plain, options.spread)
    checked = check_gauge(pattern, machine, options.plain, report.unused)
    each_size: list[tuple[str, float | None]] = [*sizes] or [("", None)]
    planned = [_plan(pattern, piece, machine, report, mm, label, options) for label, mm in each_size]
    if measured:
        planned = [_replanned(planned[0], measured, options.anyway)]
    planned[-1].messages.extend(sizes_alike([(each.label, each.plan) for each in planned]))
    told = [message for each in planned for message in each.messages]
    messages = in_order(dict.fromkeys([*checked, *report.messages, *ill_matched(report, pattern), *told]))
    return planned, tuple(messages)


# -- what was asked -------------------------------------------------------------------------------------------------


def choose_piece(pattern: Pattern, name: str | None) -> Piece:
    """The piece asked for, or the only one. Raises Refused P401, and WrongOption where it has to be said which."""
    pieces = pattern.pieces
    if not pieces:
        advice = "piece cowl   (a line of its own; then `width 60 cm`, `knit plain for 12 rows` under it)"
        for file, lines in pattern.sources.items():
            if any(re.match(r"\s*piece\s", line) for line in lines):
                advice = f"`{visible(file)}` has one, but an include brings stitches, yarns and gauges alone. Use "
                advice += f"that file, or copy its piece into `{visible(pattern.file)}`."
        raise Refused(Message("P401", "error", f"There is no piece in `{pattern.file}`.", advice=advice))
    if name is None:
        if len(pieces) > 1:
            choices = " or ".join(f"{OPTION.piece:{each}}" for each in pieces)
            raise WrongOption("", f"There are {len(pieces)} pieces here. Give {choices}.")
        return next(iter(pieces.values()))
    if name not in pieces:
        near = difflib.get_close_matches(name, pieces, n=1, cutoff=0.4)
        advice = f"{OPTION.piece:{near[0]}}" if near else f"The pieces there: {', '.join(list(pieces)[:12])}."
        raise Refused(Message("P401", "error", f"There is no piece `{name}` in `{pattern.file}`.", advice=advice))
    return pieces[name]


def parse_sizes(text: str, units: Units) -> list[float]:
    """Widths in mm from "48,52,56" or "48, 52 cm". Raises WrongOption."""
    match = re.fullmatch(r"\s*([0-9.,;/ ]+?)\s*(mm|cm|in)?\s*", text)
    numbers = [part for part in re.split(r"[,;/ ]+", match[1]) if part] if match else []
    if match is None or not numbers or any(not re.fullmatch(r"[0-9]{1,5}(\.[0-9]{1,3})?", part) for part in numbers):
        raise WrongOption("sizes", f"`{text}` is not a width. Write for example 17.5 or 48,52,56.")
    if (doubt := doubt_about(match[1])) is not None:
        if doubt.apart is None:
            raise WrongOption("sizes", f"`{text}`: decimals follow a point, not a comma. Write {doubt.decimals}.")
        text = f"`{text}` can be read in two ways. Write {doubt.decimals} or, with spaces between sizes, {doubt.apart}."
        raise WrongOption("sizes", text)
    sizes = [float(part) * MM_PER[match[2] or units] for part in numbers]
    if not all(1 <= size <= 100_000 for size in sizes):
        raise WrongOption("sizes", f"`{text}`: sizes are from 1 mm to 100 m.")
    if len(sizes) > MOST_SIZES or len(set(sizes)) < len(sizes):
        raise WrongOption("sizes", f"`{text}`: give up to {MOST_SIZES} sizes, each once.")
    return sizes


def _labelled(asked: Sequence[float], piece: Piece, units: Units) -> list[tuple[str, float]]:
    """What the sizes asked for are called, with their mm; those of the piece where none were asked for."""
    if not asked:
        return labelled(piece.sizes, units)
    own = {round(mm, 3): label for label, mm in piece.sizes}
    return labelled([(own.get(round(mm, 3), f"{mm / MM_PER[units]:g} {units}"), mm) for mm in asked], units)


def _measured(text: str) -> Measured:
    try:
        return parse_measured(text)
    except ValueError as error:
        raise WrongOption("so_far", f"{error}.") from None


# -- working it out -------------------------------------------------------------------------------------------------


def _plan(
    pattern: Pattern,
    piece: Piece,
    machine: Machine,
    report: GaugeReport,
    size_mm: float | None,
    label: str,
    options: PieceOptions,
) -> _Planned:
    plan, messages = work_out(
        pattern, piece, machine, report, width_mm=size_mm, anyway=options.anyway, units=options.units
    )
    if plan is None:
        raise Refused(*in_order([*report.messages, *messages]), sources=pattern.sources)
    return _Planned(plan, messages, size_mm, label)


def _replanned(planned: _Planned, measured: Sequence[Measured], anyway: bool) -> _Planned:
    try:
        result, messages = replan(planned.plan, measured, anyway)
    except NotKnitted as error:
        raise WrongOption("so_far", f"{error}.") from None
    if result is None:
        raise Refused(*in_order(messages), sources=planned.plan.pattern.sources)
    told = [*result.new.report.messages, *messages]
    return _Planned(result.new, told, planned.size_mm, planned.label, result)


def _yarn_of_all(planned: Sequence[_Planned], options: PieceOptions) -> AllYarn:
    """The yarn of this piece and of the pattern's others, in each size, or, where it has none, in those of the piece
    that has most. A piece with as many sizes goes along with it, any other is knitted in its first."""
    first = planned[0].plan
    pattern, piece, machine = first.pattern, first.piece, first.machine
    sizes = _sizes_of_pieces(pattern, piece, options)
    asked = [(each.label, each.size_mm) for each in planned]
    leading = max(sizes, key=lambda name: len(sizes[name]))
    in_sizes = not piece.sizes and sizes[leading] and planned[0].size_mm is None
    own = [round(mm, 3) for _, mm in sizes[leading if in_sizes else piece.name]]
    each_size: Sequence[tuple[str, float | None]] = sizes[leading] if in_sizes else asked
    mine = [(piece.make, yarn_needed(each.plan)) for each in planned]
    columns = [[mine[0 if in_sizes else index]] for index in range(len(each_size))]
    counted, in_one_size, left_out = {piece.name}, [], [name for name in pattern.pieces if name not in sizes]
    for other in (pattern.pieces[name] for name in sizes if name != piece.name):
        theirs: Sequence[tuple[str, float | None]] = sizes[other.name] or [("", None)]
        report = gauge_of(pattern, other, options.plain, options.spread)
        along = len(theirs) == len(own)
        places = [own.index(round(mm, 3)) if along and mm and round(mm, 3) in own else None for _, mm in each_size]
        widths = [theirs[place or 0][1] for place in places]
        plans = {mm: work_out(pattern, other, machine, report, width_mm=mm, anyway=options.anyway)[0] for mm in widths}
        if None in plans.values():
            left_out.append(other.name)
            continue
        counted.add(other.name)
        if sizes[other.name] and None in places:
            in_one_size.append((other.name, theirs[0][0]))
        for mm, column in zip(widths, columns, strict=True):
            if (plan := plans[mm]) is not None:
                column.append((other.make, yarn_needed(plan)))
    pieces = tuple((name, each.make) for name, each in pattern.pieces.items() if name in counted)
    yarns = tuple(yarn_together(pattern, column) for column in columns)
    labels = tuple(label for label, _ in each_size)
    return AllYarn(pieces, yarns, labels, tuple(in_one_size), tuple(left_out))


def _sizes_of_pieces(pattern: Pattern, piece: Piece, options: PieceOptions) -> dict[str, list[tuple[str, float]]]:
    """The sizes of each piece of the pattern, with their mm: those chosen for it, or its own; without the pieces that
    can't have those that were chosen."""
    chosen = {**dict(options.sizes_of_others), piece.name: ""}
    sizes = {}
    for each in pattern.pieces.values():
        with contextlib.suppress(WrongOption):
            widths = parse_sizes(chosen[each.name], options.units) if chosen.get(each.name) else []
            if each.width is not None or not widths:
                sizes[each.name] = _labelled(widths, each, options.units)
    return sizes


# -- files ----------------------------------------------------------------------------------------------------------


def _stem(pattern: Pattern, planned: Sequence[_Planned], options: PieceOptions) -> str:
    return options.name or f"{numbered(pattern.pieces, name_of(pattern))[planned[0].plan.piece.name]}-piece"


def _json_file(pattern: Pattern, planned: Sequence[_Planned], options: PieceOptions) -> File:
    documents = [_as_json(each, options) for each in planned]
    whole: object = documents if len(documents) > 1 else documents[0]
    if options.sizes is None and len(documents) > 1:  # sizes of the file: one object as of any other piece
        whole = {**documents[0], "other_sizes": documents[1:]}
    return File.of_text(f"{_stem(pattern, planned, options)}.json", json.dumps(whole, ensure_ascii=False, indent=1))


def _document(planned: Sequence[_Planned], options: PieceOptions) -> Document:
    first = planned[0]
    labels = [each.label for each in planned if each.size_mm is not None]
    done = first.so_far.done if first.so_far is not None else 0
    so_far = so_far_parts(first.so_far, options.units) if first.so_far is not None else []
    plans, messages = [each.plan for each in planned], [each.messages for each in planned]
    everything = None if done or options.for_others else _yarn_of_all(planned, options)
    return piece_document(plans, labels, options.units, messages, done, so_far, options.for_others, everything)


def _as_json(planned: _Planned, options: PieceOptions) -> dict[str, object]:
    """The form has all rows of the piece; half way `rows_done` says how many of them are knitted."""
    units = options.units
    rows = piece_document([planned.plan], (), units, [planned.messages]).rows
    assert rows is not None
    everything = _yarn_of_all([planned], options)
    done = planned.so_far.done if planned.so_far is not None else 0
    document = as_document(planned.plan, tuple(rows.passes()), units, planned.messages, everything, done)
    if planned.so_far is not None:
        document["so_far"] = so_far_as_json(planned.so_far, units)
    if planned.size_mm is not None:
        document |= {"size_cm": round(planned.size_mm / 10, 4), "size": planned.label}
    return document
