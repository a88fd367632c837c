"""Sizes, amounts and warnings of a piece in words, in both units. Knows plans as values; nothing of files or pages."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from typing import Final, Literal

from stitchc.english import number
from stitchc.gauge.values import PLAIN, Range
from stitchc.passes import lever_changes, moved_by_hand
from stitchc.pattern import Do, Pattern
from stitchc.piece.size import Rounding, less
from stitchc.piece.values import Plan, Section
from stitchc.piece.yarn import ALLOWANCE, YarnNeeded, yarn_needed
from stitchc.sheet.instructions import WHICH_IS_MAIN

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


def size_words(size: Range, units: Units) -> str:
    """ "59.5 cm, 52.5 to 67.3 (23.4 in, 20.7 to 26.5)"."""
    ways = [_range(size, "cm"), _range(size.times(1 / CM_PER_INCH), "in")]
    first, second = ways if units == "cm" else ways[::-1]
    return f"{first} ({second})"


def _range(size: Range, unit: str) -> str:
    return f"{size.value:.1f} {unit}, {size.low:.1f} to {size.high:.1f}"


# -- sizes ----------------------------------------------------------------------------------------------------------


def size_lines(plan: Plan, units: Units) -> Iterator[str]:
    """How large the whole and its sections come out."""
    if plan.width_cm is None and plan.length_cm is None:
        yield (
            "Not known: no gauge is. Add a line such as `gauge plain 20 stitches 28 rows per 10 cm`, or use "
            "--plain 20x28."
        )
        return
    if plan.width_cm is not None:
        yield f"Width {size_words(plan.width_cm, units)}, in {plan.width_stitch}." + _seam_words(plan, units)
    if plan.length_cm is not None:
        yield f"Length {size_words(plan.length_cm, units)}."
    others = [name for name in plan.charts if name != plan.width_stitch]
    for name in others:
        wide = plan.width_of(name)
        if wide is not None and plan.width_cm is not None:
            yield f"By itself {name} would lie {size_words(less_seam(plan, wide), units)} wide on the same needles."
    yield "Ranges hold nine knitters in ten."


def less_seam(plan: Plan, width: Range) -> Range:
    """A knitted width without the seam allowance."""
    return less(width, plan.plus_mm / 10)


def _seam_words(plan: Plan, units: Units) -> str:
    if not plan.plus_mm or plan.knitted_width_cm is None:
        return ""
    return (
        f" The needles hold {in_both(plan.plus_mm / 10, units)} more for seams: the fabric itself is "
        f"{in_both(plan.knitted_width_cm.value, units)} wide."
    )


def rounding_lines(plan: Plan, units: Units) -> Iterator[str]:
    """What the rounding did, and what the next smaller and larger would give."""
    if plan.width_rounding is not None:
        found = plan.width_rounding
        needles = found.chosen.count
        edges = f" and {2 * plan.edge} edge needles" if plan.edge else ""
        how = f"{number(needles, 'needle')}, {number(found.chosen.repeats, 'repeat')} of {found.unit}{edges}"
        yield f"Width: {_rounded(found, how, 'needles', 'wider', 'narrower', units)}"
    for section in plan.sections:
        if section.rounding is None:
            continue
        found = section.rounding
        if section.rows != found.chosen.count:
            yield (
                f"{section.stitch}, {rows_words(section)}: {number(section.rows, 'row')} are knitted; "
                f"{found.chosen.count} would come nearest to the {in_both(found.asked_mm / 10, units)} asked."
            )
            continue
        repeats = f", {number(found.chosen.repeats, 'repeat')} of {found.unit}" if found.unit > 1 else ""
        how = f"{number(section.rows, 'row')}{repeats}"
        yield (f"{section.stitch}, {rows_words(section)}: {_rounded(found, how, 'rows', 'longer', 'shorter', units)}")


def _rounded(found: Rounding, how: str, what: str, more: str, fewer: str, units: Units) -> str:
    off = found.off_mm
    asked = in_both(found.asked_mm / 10, units)
    if abs(off) < 0.5:
        words = f"{asked} as asked: {how}."
    else:
        way = more if off > 0 else fewer
        words = f"{in_both(found.chosen.mm / 10, units)} for the {asked} asked, "
        words += f"{in_both(abs(off) / 10, units)} {way}: {how}."
    choices = [choice for choice in (found.smaller, found.larger) if choice is not None]
    would = "; ".join(f"{choice.count} {what}, {in_both(choice.mm / 10, units)}" for choice in choices)
    return f"{words} The next: {would}."


def rows_words(section: Section) -> str:
    """ "rows 13 to 80", "row 93"."""
    if section.rows == 1:
        return f"row {section.from_row}"
    return f"rows {section.from_row} to {section.to_row}"


def gauge_lines(plan: Plan, units: Units) -> Iterator[str]:
    """Whose gauge the sizes rest on, and whether anybody measured it."""
    per, cm = ("10 cm", 10.0) if units == "cm" else ("4 in", 10.16)
    baseline = plan.report.baseline
    if baseline is not None:
        stitches, rows = (r.value * cm / 10 for r in (baseline.stitches_per_10cm, baseline.rows_per_10cm))
        yield f"Stocking stitch: {stitches:.1f} stitches and {rows:.1f} rows to {per} ({baseline.source})."
    guessed = []
    for name in plan.charts:
        if name == PLAIN:
            continue
        gauge = plan.report.of(name)
        parts = []
        for what, found, basis in (
            ("stitches", gauge.stitches_per_10cm or gauge.own_stitches_per_10cm, gauge.stitch_basis),
            ("rows", gauge.rows_per_10cm or gauge.own_rows_per_10cm, gauge.row_basis),
        ):
            if found is not None:
                held = found.times(cm / 10)
                parts.append(f"{held.value:.1f} {what}, {held.low:.1f} to {held.high:.1f} ({basis})")
        if parts:
            yield f"{name}: {'; '.join(parts)} to {per}."
        if "measured" not in (gauge.stitch_basis, gauge.row_basis):
            guessed.append(name)
    if plan.report.piece_swatches:
        yield "All of these are what is expected of this piece: what it measured half way counts in each."
    if guessed:
        names = " and ".join(guessed)
        be = "is" if len(guessed) == 1 else "are"
        yield (
            f"{names} {be} estimated, not measured. Knit a swatch before you rely on the size (`stitchc swatch` says "
            "how large), write what you measure into the pattern as a `gauge` line, and make these instructions again."
        )


# -- yarn and work --------------------------------------------------------------------------------------------------


def yarn_lines(plan: Plan, units: Units, after_row: int = 0) -> Iterator[str]:
    """What each yarn comes to, and what to have at hand. after_row: for the rows after this one alone."""
    needed = yarn_needed(plan, after_row)
    main = plan.pattern.main_yarn
    for yarn in needed:
        yield _yarn_line(yarn, main is not None and yarn.name == main.name, units, bool(plan.pattern.yarns))
    if any(yarn.metres is not None for yarn in needed):
        yield (
            f"What to have at hand is the upper bound and {ALLOWANCE:.0%} more, for "
            + ("ends" if after_row else "the swatch, the cast-on, ends")
            + " and a row gone wrong (common practice). Waste yarn for an open edge is besides."
        )
    if main is None and any(yarn.name is None for yarn in needed) and plan.pattern.yarns:
        yield (
            "The main yarn is what this file calls the yarn of the rows that name none. If it is one of the yarns "
            f"above, say so: write {in_yarn_words(plan.pattern)}; then it is counted and weighed with that."
        )


def _yarn_line(yarn: YarnNeeded, is_main: bool, units: Units, declared: bool) -> str:
    name = yarn.name or "The main yarn"
    described = f" ({yarn.description})" if yarn.description else ""
    described += ", the main yarn" if is_main and yarn.name else ""
    if yarn.name is None and declared:
        described = f" ({WHICH_IS_MAIN})"
    words = f"{name}{described}, {number(yarn.rows, 'row')}: "
    if yarn.metres is None:
        return f"{words}the amount needs the gauge of stocking stitch."
    metres = yarn.metres
    words += f"{_amount(metres, 'm')}"
    if units == "in":
        words += f" ({_amount(metres.times(1 / 0.9144), 'yd')})"
    if yarn.grams is not None:
        words += f", {_amount(yarn.grams, 'g')}"
    elif yarn.name is not None:
        words += ", weight not known (a `tex` or `weight` on its yarn line would tell)"
    elif declared:
        words += ", weight not known"
    else:
        words += ", weight not known (a line such as `yarn oat tex 417` in the pattern would tell)"
    return f"{words}. Have {have_words(yarn)} at hand."


def in_yarn_words(pattern: Pattern) -> str:
    """Where a yarn is named, to be copied, with a yarn of the pattern: what gives rows without a yarn one."""
    name = next(iter(pattern.yarns), "sand")
    return f"`in {name}` after the row numbers, or after the stitch in the `knit` line"


def have_words(yarn: YarnNeeded) -> str | None:
    """How much to have at hand, "290 m or 65 g"; None where nothing is known of it."""
    metres, weight = yarn.to_have()
    if metres is None:
        return None
    return f"{_up(metres)} m" + ("" if weight is None else f" or {_up(weight)} g")


def _amount(found: Range, unit: str) -> str:
    return f"{_figure(found.value)} {unit} ({_figure(found.low)} to {_figure(found.high)})"


def _figure(value: float) -> str:
    """To two or three figures: nobody knows a skein to the metre."""
    return f"{value:.1f}" if value < 10 else f"{float(f'{value:.3g}'):,.0f}"


def _up(value: float) -> str:
    """Rounded up to what can be bought or weighed out: fives, or tens over a hundred."""
    step = 5 if value < 100 else 10
    return f"{-(-value // step) * step:,.0f}"


def work_words(plan: Plan, after_row: int = 0) -> str:
    """What the knitting takes: passes, moves, changes of setting and of yarn. after_row: of the rows after this one."""
    passes = plan.passes[after_row:]
    # The setting and the yarn are followed from row 1: what is set already is no change.
    settings = sum(change is not None for change in lever_changes(plan.passes, plan.machine)[after_row:])
    before = plan.passes[max(after_row - 1, 0) :]
    changes = sum(a.yarn != b.yarn for a, b in itertools.pairwise(before))
    words = [number(len(passes), "row") + (" still to knit" if after_row else "")]
    if moved_by_hand(plan.machine):
        words.append(f"{number(sum(each.moves for each in passes), 'needle move')} by hand")
        most = max((len(each.held) for each in passes), default=0)
        if most:
            words.append(f"at most {number(most, 'needle')} held at a time")
    words.append(f"{number(settings, 'change')} of the carriage's setting")
    if changes:
        words.append(f"{number(changes, 'change')} of yarn")
    return ", ".join(words)


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
            "If it is for a child: no cords, ties or bows at the neck or head, nothing small that can come off, and "
            "ask what your local rules for children's things say.",
        )
    return (
        "For a child: no cord, drawstring or tie at the neck, hood or head, and no long ends elsewhere; they catch and "
        "strangle. Rules on cords for children's clothing differ by country and age: ask for those of your place.",
        "No bow, button, bead or pompom that a small child can bite or pull off and swallow; sew ends in so that no "
        "loop is left that a finger fits through. Long floats on the inside catch fingers too: keep them short or line "
        "them.",
        "Hats and scarves come off for sleep, and no loose or overlarge cover lies in a cot.",
        "Before you sell or give it, have someone qualified judge it by the safety rules that hold where it is used.",
    )
