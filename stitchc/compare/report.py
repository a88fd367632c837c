"""A comparison as a table to read and as the `stitchc-compare/1` document."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from stitchc.compare.against import Against, BestSwatch
from stitchc.compare.table import Compared, Key
from stitchc.gauge import Range
from stitchc.gauge.report import stitch_json
from stitchc.machines import Machine
from stitchc.messages import columns_of, visible
from stitchc.options import Sort, Units

_MOST_CELLS_IN_JSON: Final = 4096


@dataclass(frozen=True)
class Comparison:
    """All that is shown. against: over the stitch `reference`; best: the swatch that would tell them apart."""

    lines: tuple[Compared, ...]
    hand: Machine
    card: Machine
    sort: Sort
    against: Mapping[Key, Against] = field(default_factory=dict)
    best: BestSwatch | None = None
    reference: str | None = None


def as_json(comparison: Comparison) -> dict[str, Any]:
    """The `stitchc-compare/1` document."""
    best = comparison.best
    document: dict[str, Any] = {
        "format": "stitchc-compare/1",
        "sorted_by": comparison.sort,
        "moves_on": comparison.hand.name,
        "holes_for": comparison.card.name,
        "stitches": [_line_json(line, comparison.against) for line in comparison.lines],
    }
    if comparison.reference is not None:
        document["best_swatch"] = best and {"stitch": best.name, "narrower_percent": round(100 * best.narrower, 1)}
    return document


def _line_json(line: Compared, against: Mapping[Key, Against]) -> dict[str, Any]:
    weights = {
        "metres_per_square_metre": line.metres_per_square_metre,
        "grams_per_square_metre": line.grams_per_square_metre,
        "grams_of_100_by_100": line.grams_of_100_by_100,
    }
    chart = line.stitch.chart
    small = chart.width * chart.height <= _MOST_CELLS_IN_JSON
    compared = against.get(line.key)
    return {
        "file": line.file or None,
        **stitch_json(line.gauge, line.yarns),
        "rows": chart.rows() if small else None,
        **{name: None if weight is None else weight.as_json(3) for name, weight in weights.items()},
        "moves_per_100_rows_on_100_needles": line.moves,
        "holes_to_punch": line.holes,
        **({"against": compared.as_json()} if compared is not None else {}),
    }


def as_text(comparison: Comparison, units: Units) -> Iterator[str]:
    lines = comparison.lines
    sized = [line for line in lines if line.gauge.stitch_factor is not None]
    known = all(line.size_cm is not None for line in sized)
    if known:
        yield "100 needles by 100 rows of each stitch. Ranges hold nine swatches in ten."
    else:
        yield "Size of each stitch in % of stocking stitch, same needles and rows. Ranges hold nine swatches in ten."
        yield "Sizes in cm need the gauge of stocking stitch: a `gauge plain` line in each file, or --plain 20x28."
    if any(line.gauge.features.ladders for line in lines):
        yield "Needles out of work are counted as needles."
    yield ""
    yield from _in_columns(_sizes(lines, units, known))
    yield ""
    yield f"moves: needles moved by hand for 100 rows on 100 needles of {comparison.hand.name}."
    yield f"holes: to punch for one closed card of {comparison.card.name}; - where that card can't make the stitch."
    if comparison.reference is not None:
        yield ""
        yield from _against_text(comparison)


def _sizes(lines: Sequence[Compared], units: Units, known: bool) -> list[list[str]]:
    """Head and rows; a heading that ends in ">" is of a column that is set flush right."""
    many = len({line.file for line in lines}) > 1
    weighed = all(line.grams_per_square_metre is not None for line in lines)
    measured = all(line.metres_per_square_metre is not None for line in lines)
    unit = units if known else "%"
    heads = ["file"] if many else []
    heads += ["stitch", "T in 100>", "S in 100>", "hold>", f"wide, {unit}>", "range", f"long, {unit}>", "range"]
    heads += ["g/m2>" if weighed else "m/m2>"] if weighed or measured else []
    table = [[*heads, "moves>", "holes>", "basis"]]
    for line in lines:
        features = line.gauge.features
        cells = [visible(Path(line.file).stem)] if many else []
        cells += [visible(line.stitch.name), f"{100 * features.tuck_share:.3g}", f"{100 * features.slip_share:.3g}"]
        cells.append("never" if features.longest_hold is None else str(features.longest_hold))
        size = line.size_cm
        for index, factor in enumerate((line.gauge.stitch_factor, line.gauge.row_factor)):
            if known and size is not None:
                cells += _figures(size[index].times(1.0 if units == "cm" else 1 / 2.54), 1)
            else:
                cells += ["-", ""] if factor is None else _figures(factor.under(100), 0)
        weight = line.grams_per_square_metre if weighed else line.metres_per_square_metre
        if weighed or measured:
            cells.append("" if weight is None else f"{weight.value:.0f}")
        cells += ["-" if count is None else f"{count}" for count in (line.moves, line.holes)]
        table.append([*cells, line.gauge.basis_words])
    return table


def _against_text(comparison: Comparison) -> Iterator[str]:
    name = visible(comparison.reference or "")
    yield f"Against {name}, same needles and rows: how many times as wide, long, heavy (by area), and as much yarn."
    yield "The ranges are narrower than those above, since what is not known about the yarn is the same for both."
    yield ""
    table = [["stitch", "wide>", "range", "long>", "range", "heavy>", "range", "yarn>", "moves>", ""]]
    for line in comparison.lines:
        each = comparison.against.get(line.key)
        if each is None:
            if line.stitch.name != comparison.reference:
                table.append([visible(line.stitch.name), *[""] * 8, "not in the same file, or without a size"])
            continue
        cells = [part for value in (each.width, each.length, each.weight) for part in _figures(value, 2)]
        work = "-" if each.work is None else f"{each.work:.2f}"
        table.append([visible(line.stitch.name), *cells, f"{each.yarn.value:.2f}", work, each.words()])
    yield from _in_columns(table)
    if comparison.best is not None:
        stitch = "stocking stitch" if comparison.best.name == "plain" else visible(comparison.best.name)
        yield ""
        share = f"{100 * comparison.best.narrower:.0f} %"
        yield f"The swatch that would show the differences best: {stitch}. Measured once over 10 cm, it would make the"
        yield f"ranges of width and length {share} narrower on average (`stitchc swatch` plans it)."


def _figures(estimate: Range, digits: int) -> list[str]:
    return [f"{estimate.value:.{digits}f}", f"{estimate.low:.{digits}f} to {estimate.high:.{digits}f}"]


def _in_columns(table: Sequence[Sequence[str]]) -> Iterator[str]:
    """Each row with its cells under the head; columns whose heading ends in ">" flush right."""
    right = [head.endswith(">") for head in table[0]]
    rows = [[head.removesuffix(">") for head in table[0]], *table[1:]]
    widths = [max(columns_of(row[column]) for row in rows) for column in range(len(right))]
    for row in rows:
        padded = []
        for cell, width, flush in zip(row, widths, right, strict=True):
            room = " " * (width - columns_of(cell))
            padded.append(room + cell if flush else cell + room)
        yield "  ".join(padded).rstrip()
