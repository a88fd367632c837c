"""Sizes, amounts and warnings of a piece in words, in both units. Knows plans as values; nothing of files or pages."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Iterator, Sequence
from operator import itemgetter
from typing import Final, Literal

from stitchc.document import Table
from stitchc.english import count_of, listed, number, several
from stitchc.gauge.gauges import DIRECTIONS, PLAIN, Range
from stitchc.option_values import MM_PER
from stitchc.passes import lever_changes, moved_by_hand
from stitchc.pattern import Do
from stitchc.piece.plan import Plan, Section
from stitchc.piece.size import Rounding, less
from stitchc.piece.yarn import yarn_needed, yarn_together
from stitchc.piece.yarn_words import have_words
from stitchc.sheet.preparation import most_held_words
from stitchc.sheet.terms import MAIN_YARN
from stitchc.wording import OPTION

Units = Literal["cm", "in"]

CM_PER_INCH: Final = 2.54
"""Exactly: the international inch."""


def in_both(cm: float, units: Units, digits: int = 1) -> str:
    """ "59.5 cm (23.4 in)", the unit asked for first. What would round to nothing is "less than 0.1 in"."""
    ways = [_rounded_to(cm, digits, "cm"), _rounded_to(cm / CM_PER_INCH, digits, "in")]
    first, second = ways if units == "cm" else ways[::-1]
    return f"{first} ({second})"


def _rounded_to(value: float, digits: int, unit: str) -> str:
    figure = f"{value:.{digits}f}"
    if value > 0 and not float(figure):
        return f"less than {10**-digits:.{digits}f} {unit}"
    return f"{figure} {unit}"


def size_words(sizes: Sequence[Range], units: Units) -> str:
    """ "59.5 cm, 52.5 to 67.3 cm (23.4 in, 20.7 to 26.5 in)"; of several sizes "59.5 [64.1] cm (23.4 [25.2] in)"."""
    return _in_units(sizes, units, _range)


def _in_units(sizes: Sequence[Range], units: Units, words: Callable[[Sequence[Range], str], str]) -> str:
    ways = [words(sizes, "cm"), words([size.times(1 / CM_PER_INCH) for size in sizes], "in")]
    first, second = ways if units == "cm" else ways[::-1]
    return f"{first} ({second})"


def _range(sizes: Sequence[Range], unit: str) -> str:
    words = _figures(sizes, unit)
    return words if len(sizes) > 1 else f"{words}, {_bounds(sizes[0])} {unit}"


def _figures(sizes: Sequence[Range], unit: str) -> str:
    return f"{several([f'{size.value:.1f}' for size in sizes])} {unit}"


def known(sizes: Sequence[Range | None]) -> list[Range]:
    """The sizes, or none of them where one is not known."""
    all_known = [size for size in sizes if size is not None]
    return all_known if len(all_known) == len(sizes) else []


# -- sizes ----------------------------------------------------------------------------------------------------------


def size_lines(plans: Sequence[Plan], units: Units, for_others: bool = False) -> Iterator[str]:
    """How large the whole and its sections come out, in each size."""
    plan = plans[0]
    if plan.width_cm is None and plan.length_cm is None:
        reason = "there is no gauge"
        advice = f"`gauge plain 20 stitches 28 rows per 10 cm`, or use {OPTION.plain:20x28}"
        if plan.report.baseline is not None:
            reason = f"the size of {plan.width_stitch} cannot be estimated"
            advice = f"`gauge {plan.width_stitch} 20 stitches 28 rows per 10 cm` for what you measure on a swatch"
        yield f"Not known, because {reason}.{'' if for_others else f' Add a line such as {advice}.'}"
        return
    if len(plans) == 1 and plan.width_cm is not None:
        fabric = plan.width_fabric.replace(" in ", ", knitted in ")
        yield f"Width {size_words([plan.width_cm], units)}, in {fabric}."
    if len(plans) == 1 and plan.length_cm is not None:
        yield f"Length {size_words([plan.length_cm], units)}."
    yield from _seam_words(plans, units)
    for name in plan.fabrics:
        wide = known([each.width_in(name) for each in plans])
        if name != plan.width_fabric and wide and plan.width_cm is not None:
            finished = [less_seam(each, width) for each, width in zip(plans, wide, strict=True)]
            yield f"On the same needles, {name} alone would measure {size_words(finished, units)} wide."
    yield from width_changes(plan)
    yield "Nine knitters in ten come out within these ranges."


WAVES: Final = 0.05
"""Difference of width between neighbours from which it shows at the edges (chosen, no source)."""


def width_changes(plan: Plan) -> Iterator[str]:
    """Where parts lie so differently wide that the edges will not be straight: a section and the next, and what small
    steps come to over the whole. Each pair of fabrics once."""
    widths = ((section, plan.width_of(section)) for section in plan.sections)
    lying = [(section, width.value) for section, width in widths if width is not None]
    told: set[frozenset[str]] = set()

    def differ(first: tuple[Section, float], second: tuple[Section, float]) -> tuple[str, str, str] | None:
        """How much, with the wider and the narrower, where that shows and is not told yet."""
        (wide, more), (narrow, less) = sorted((first, second), key=lambda each: -each[1])
        pair = plan.fabric(wide), plan.fabric(narrow)
        if frozenset(pair) in told or math.log(more / less) <= math.log1p(WAVES):
            return None
        told.add(frozenset(pair))
        return (*pair, f"about {100 * (more / less - 1):.0f} % wider")

    for before, after in itertools.pairwise(lying):
        if before[0].to_row + 1 == after[0].from_row and (names := differ(before, after)):
            wide, narrow, much = names
            rows = [
                str(second.from_row)
                for (first, _), (second, _) in itertools.pairwise(lying)
                if first.to_row + 1 == second.from_row and {plan.fabric(first), plan.fabric(second)} == {wide, narrow}
            ]
            places = f"before row{'s' * (len(rows) > 1)} {listed(rows)}"
            yield (
                f"{wide} lies {much} than {narrow}. Where they meet ({places}) the edges are not "
                f"straight: they draw in at {narrow} and may wave."
            )
    if lying and (names := differ(lying[0], lying[-1])):
        wide, narrow, much = names
        yield (
            f"From the first row to the last the width changes: {wide} lies {much} than {narrow}. The edges slope, and "
            "ends that are joined do not match."
        )
    if lying and (names := differ(min(lying, key=itemgetter(1)), max(lying, key=itemgetter(1)))):
        wide, narrow, much = names
        yield f"Over the whole piece {wide} lies {much} than {narrow}: the edges slope between them and may wave."


def less_seam(plan: Plan, width: Range) -> Range:
    """A knitted width without the seam allowance."""
    return less(width, plan.plus_mm / 10)


def _seam_words(plans: Sequence[Plan], units: Units) -> Iterator[str]:
    knitted = known([each.knitted_width_cm for each in plans])
    if plans[0].plus_mm and knitted:
        whole = _in_units(knitted, units, _figures)
        yield f"The needles hold {in_both(plans[0].plus_mm / 10, units)} more for seams: the fabric is {whole} wide."


def size_table(plans: Sequence[Plan], labels: Sequence[str], units: Units) -> Iterator[Table]:
    """The sizes side by side; none where there is one or they are not known."""
    rows = [("Needles", *(str(each.needles.count) for each in plans))]
    for name, sizes in (("Width", [each.width_cm for each in plans]), ("Length", [each.length_cm for each in plans])):
        if known_sizes := known(sizes):
            rows.append((name, *(in_both(size.value, units) for size in known_sizes)))
            for unit, per in (("cm", 1.0), ("in", 1 / CM_PER_INCH))[:: 1 if units == "cm" else -1]:
                rows.append((f"{name} may be, {unit}", *(_bounds(size.times(per)) for size in known_sizes)))
    if len(plans) > 1 and len(rows) > 1:
        yield Table(("Size", *labels), tuple(rows), "What the sizes come to in whole repeats:")


def _bounds(size: Range) -> str:
    return f"{size.low:.1f} to {size.high:.1f}"


def rounding_lines(plan: Plan, units: Units, rows_done: int = 0) -> Iterator[str]:
    """What the rounding did, and what the next smaller and larger would give. rows_done: of the piece; a section that
    is not rounded to what was asked for has been knitted so far."""
    if plan.width_rounding is not None:
        rounding = plan.width_rounding
        needles = rounding.chosen.count
        edges = f" and {2 * plan.edge} edge needles" if plan.edge else ""
        how = f"{number(needles, 'needle')}, {number(rounding.chosen.repeats, 'repeat')} of {rounding.unit}{edges}"
        yield f"Width: {_rounded(rounding, how, 'needles', 'wider', 'narrower', units, plan.machine.needles)}"
    for section in plan.sections:
        if section.rounding is None:
            continue
        rounding = section.rounding
        if section.rows != rounding.chosen.count:
            knitted = min(section.rows, rows_done - section.from_row + 1)
            ends = f", and the repeat ends with {section.rows}" if knitted < section.rows else ""
            yield (
                f"{section.stitch}, {rows_words(section)}: you have knitted {number(knitted, 'row')}{ends}; "
                f"{rounding.chosen.count} would be nearest to the {in_both(rounding.asked_mm / 10, units)} you asked "
                "for."
            )
            continue
        repeats = f", {number(rounding.chosen.repeats, 'repeat')} of {rounding.unit}" if rounding.unit > 1 else ""
        how = f"{number(section.rows, 'row')}{repeats}"
        yield (
            f"{section.stitch}, {rows_words(section)}: {_rounded(rounding, how, 'rows', 'longer', 'shorter', units)}"
        )


def _rounded(
    rounding: Rounding, how: str, counted: str, more: str, fewer: str, units: Units, most: float = math.inf
) -> str:
    """most: the largest count there could be (needles of the bed)."""
    off = rounding.off_mm
    asked = in_both(rounding.asked_mm / 10, units)
    if abs(off) < 0.5:
        words = f"{asked} as you asked: {how}."
    else:
        way = more if off > 0 else fewer
        words = f"{in_both(rounding.chosen.mm / 10, units)} instead of the {asked} you asked for, "
        words += f"{in_both(abs(off) / 10, units)} {way}: {how}."
    choices = [choice for choice in (rounding.smaller, rounding.larger) if choice is not None and choice.count <= most]
    would = "; ".join(f"{choice.count} {counted}, {in_both(choice.mm / 10, units)}" for choice in choices)
    return f"{words} The next possible: {would}." if would else words


def rows_words(section: Section) -> str:
    """ "rows 13 to 80", "row 93"."""
    if section.rows == 1:
        return f"row {section.from_row}"
    return f"rows {section.from_row} to {section.to_row}"


def gauge_lines(plan: Plan, units: Units, for_others: bool = False) -> Iterator[str]:
    """Whose gauge the sizes rest on, and whether anybody measured it."""
    per, cm = ("10 cm", 10.0) if units == "cm" else ("4 in", 10.16)
    baseline = plan.report.baseline
    here = {(s.stitch, half) for s in plan.report.piece_swatches for half, n in enumerate((s.stitches, s.rows)) if n}

    def whence(stitch: str, direction: int, basis: str) -> str:
        if basis != "measured" or not here:
            return basis
        return "measured in this piece" if (stitch, direction) in here else "worked out from a swatch and this piece"

    if baseline is not None:
        stitches, rows = (r.value * cm / 10 for r in (baseline.stitches_per_10cm, baseline.rows_per_10cm))
        source = f"{baseline.source}, then adjusted to what you measured so far" if here else baseline.source
        yield f"Stocking stitch: {stitches:.1f} stitches and {rows:.1f} rows to {per} ({source})."
    guessed: list[str] = []
    unknown: list[str] = []
    for name, stitch in plan.fabrics.items():
        if name == PLAIN:
            continue
        gauge = plan.report.of(name)
        parts = []
        densities = (
            gauge.stitches_per_10cm or gauge.own_stitches_per_10cm,
            gauge.rows_per_10cm or gauge.own_rows_per_10cm,
        )
        bases = (gauge.stitch_basis, gauge.row_basis)
        for place, (direction, density, basis) in enumerate(zip(DIRECTIONS, densities, bases, strict=True)):
            if density is not None:
                of_piece = bool(plan.report.piece_swatches) and plan.law.known(name, direction)
                held = (plan.law.range(name, direction) if of_piece else density).times(cm / 10)
                counted = gauge.counted if direction == "stitches" else direction
                whose = whence(stitch, place, basis)
                parts.append(f"{held.value:.1f} {counted}, {held.low:.1f} to {held.high:.1f} ({whose})")
        if parts:
            yield f"{name}: {'; '.join(parts)} to {per}."
        if stitch != PLAIN and "measured" not in (gauge.stitch_basis, gauge.row_basis):
            (guessed if parts else unknown).append(name)
    if plan.report.piece_swatches:
        yield "All these figures are for this piece and include what you measured so far."
    then = (
        "."
        if for_others
        else " (`stitchc swatch` plans it), write what you measure into the pattern as a `gauge` line, and make "
        "these instructions again."
    )
    if guessed:
        be = "is" if len(guessed) == 1 else "are"
        names = " and ".join(guessed)
        yield f"{names} {be} estimated, not measured. Before you rely on the size, knit a swatch{then}"
    if unknown:
        yield f"The gauge of {' and '.join(unknown)} is not known. To learn the size, knit a swatch{then}"


# -- work -----------------------------------------------------------------------------------------------------------


def work_words(plans: Sequence[Plan], after_row: int = 0) -> str:
    """What the knitting takes: passes, moves, changes of setting and of yarn. after_row: of the rows after this one."""
    plan = plans[0]
    passes = [each.passes[after_row:] for each in plans]
    # The setting and the yarn are followed from row 1: what is set already is no change.
    settings = sum(change is not None for change in lever_changes(plan.passes, plan.machine)[after_row:])
    before = plan.passes[max(after_row - 1, 0) :]
    changes = sum(a.yarn != b.yarn for a, b in itertools.pairwise(before))
    words = [number(len(passes[0]), "row") + (" still to knit" if after_row else "")]
    if moved_by_hand(plan.machine):
        moves = [sum(row.moves for row in rows) for rows in passes]
        words.append(f"{count_of(moves, 'needle move')} by hand")
        words += filter(None, [most_held_words(passes)])
    words.append(f"{number(settings, 'change')} of the carriage's setting")
    if changes:
        words.append(f"{number(changes, 'change')} of yarn")
    return ", ".join(words)


def summary_words(plans: Sequence[Plan], units: Units) -> str:
    """The piece in a sentence, in each size and as often as it is made: "2 of it in sizes 18 cm [20 cm], each 50 [56]
    needles and 96 rows; about 17 [19] by 19 cm; have 160 [180] m or 40 [45] g of grey."."""
    plan = plans[0]
    piece, labels = plan.piece, [label for label, _ in labelled(plan.piece.sizes, units)]
    counts = f"{count_of([each.needles.count for each in plans], 'needle')} and {number(len(plan.passes), 'row')}"
    lead = [f"{piece.make} of it"] if piece.make > 1 else []
    lead += [f"in sizes {several(labels)}"] if len(plans) > 1 else []
    words = [f"{' '.join(lead)}, each {counts}" if lead else counts]
    across, up = known([each.width_cm for each in plans]), known([each.length_cm for each in plans])
    if across and up:
        per, digits = (1.0, 0) if units == "cm" else (1 / CM_PER_INCH, 1)
        sides = (several([f"{size.value * per:.{digits}f}" for size in sizes]) for sizes in (across, up))
        words.append(f"about {' by '.join(sides)} {units}")
    yarns = [yarn_together(plan.pattern, [(piece.make, yarn_needed(each))]) for each in plans]
    needed = [(have_words(sizes, units == "in"), sizes[0].name or MAIN_YARN) for sizes in zip(*yarns, strict=True)]
    words += [f"have {have} of {name}" for have, name in needed if have]
    return "; ".join(words) + "."


def labelled(sizes: Sequence[tuple[str, float]], units: Units) -> list[tuple[str, float]]:
    """Sizes in mm as they are called in these units: by their own names where those are in them, else with as many
    decimals as tell them apart."""
    if all(label.endswith(" in") == (units == "in") for label, _ in sizes):
        return list(sizes)
    across = [mm / MM_PER[units] for _, mm in sizes]
    digits = next(digits for digits in range(1, 9) if len({round(size, digits) for size in across}) == len(sizes))
    return [(f"{size:.{digits}f} {units}", mm) for size, (_, mm) in zip(across, sizes, strict=True)]


def by_size(columns: Sequence[Sequence[str]], labels: Sequence[str]) -> tuple[str, ...]:
    """Lines of every size: those that all share once, the others under the size's label."""
    shared = [line for line in columns[0] if all(line in lines for lines in columns)]
    own = [
        f"Size {label}: {line}"
        for label, lines in zip(labels, columns, strict=False)
        for line in lines
        if line not in shared
    ]
    return (*own, *shared)


def settings_changed(plan: Plan) -> int:
    """Changes of the carriage's setting over the whole piece."""
    return sum(change is not None for change in lever_changes(plan.passes, plan.machine))


# -- cautions -------------------------------------------------------------------------------------------------------

_CHILD: Final = re.compile(
    r"\b(bab(y|ies)|infants?|newborns?|toddlers?|child(ren)?('?s)?|kids?('s)?|preemies?|layette|nursery|pram|cot|crib|"
    r"little ones?|girls?|boys?|toys?)\b",
    re.IGNORECASE,
)


def is_for_a_child(plan: Plan) -> bool:
    """Whether the pattern's own words suggest that a child will wear it or play with it."""
    texts = [plan.pattern.title or "", plan.piece.name.replace("-", " ").replace("_", " "), *plan.pattern.notes]
    texts += [step.text for step in plan.piece.steps if isinstance(step, Do)]
    return any(_CHILD.search(text) for text in texts)


def child_cautions(plan: Plan) -> tuple[str, ...]:
    """Cords, ties and small parts. What is said follows EN 14682 (cords on children's clothing to age 14) and 16 CFR
    1120 and 1501 in outline, quotes no figure of theirs, and defers to local rules."""
    if not is_for_a_child(plan):
        return (
            "For a child, leave out cords, ties and bows at the neck or head and anything small that can come off, and "
            "ask for your local rules on children's clothing.",
        )
    return (
        "For a child: no cord, drawstring or tie at the neck, hood or head, and no long ends elsewhere. They catch and "
        "strangle. Rules on cords for children's clothing differ by country and age: ask for your local ones.",
        "Use no bow, button, bead or pompom that a small child can bite or pull off and swallow. Sew ends in so that "
        "no loop is left that a finger fits through. Long floats on the inside catch fingers too: keep them short or "
        "line them.",
        "Take hats and scarves off for sleep, and put no loose or overlarge cover in a cot.",
        "Before you sell it or give it away, have someone qualified check it against the safety rules of the place "
        "where it will be used.",
    )
