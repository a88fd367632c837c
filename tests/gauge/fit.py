"""The fit of the model's priors to published gauges: `python -m tests.gauge.fit` writes priors.toml and the report.

START says what is taken to be known before the rows of published.csv are seen; the rows then update it in closed form.
How far a stitch may lie from the model (the two deviations) is found from the same rows by their likelihood, so that
leave-one-out finds it again without the row left out. What the rows cannot tell, and START therefore decides:

- No clean published pair exists for tuck on one bed (known repeat, same yarn and tension, both directions). Every tuck
  row has a rib or a garter ground, which changes the gauge by itself. What garter alone does is fitted from its rows.
- Long holds rest on one pattern for the machine (two hats), which gives rows/stitches only and no plain gauge.
- Staggered against columns, and how fast tuck's widening saturates, rest on yarn relaxation and second-hand reports.
- The yarn, the machine and the finishing are not in the model: they are part of the spread.
"""

from __future__ import annotations

import csv
import itertools
import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Final, Literal

import numpy as np

from stitchc.chart import Chart
from stitchc.gauge.features import Features, features_of
from stitchc.gauge.model import LADDERS, PARAMETERS, Matrix, Vector, design, deviation

HERE: Final = Path(__file__).parent
PRIORS: Final = HERE.parents[1] / "stitchc" / "gauge" / "priors.toml"
REPORT: Final = HERE / "leave_one_out.txt"

START: Final[dict[str, tuple[float, float, str]]] = {
    "tuck_rows": (
        0.90,
        0.25,
        "machine tuck repeats alone give 1.0 (rows/stitches only); yarn relaxation 0.9 over its unknown parameters, "
        "but it misses the width of tuck by a fifth, so that its rows may be as far off",
    ),
    "slip_rows": (0.58, 0.15, "yarn relaxation 0.5 +- 0.15; hand slip stitches somewhat over it"),
    "tuck_long": (
        0.15,
        0.12,
        "assumed; each further tuck needs less yarn (Spencer, Knitting Technology, p. 96)",
    ),
    "slip_long": (0.08, 0.10, "assumed; held loops draw yarn from their neighbours, so that long holds give back"),
    "columns_rows": (0.10, 0.12, "yarn relaxation: the same needles holding pack less than staggered ones"),
    "tuck_first": (
        0.09,
        0.035,
        "stitches to 10 cm over those of stocking stitch: 0.87 double bed (Spencer, ch. 13), 0.93 one machine garment",
    ),
    "tuck_more": (0.10, 0.08, "yarn relaxation: dense tucks wider still; samplers (second-hand): hardly"),
    "slip_width": (
        0.45,
        0.18,
        "hand slip stitches: where 1 cell in 10 slips, 5 % more stitches to 10 cm (95 %: 2 to 8 %)",
    ),
    "columns_width": (0.03, 0.03, "yarn relaxation: staggered tucks widen more than columns"),
    "ladder_first": (
        LADDERS[0],
        0.213,
        "assumed, no figure is known: 0.3 to 1.0 of a stitch. The stitches at both sides take yarn from the bar and "
        "open into the gap; yarn relaxation gives 0.4",
    ),
    "ladder_more": (
        LADDERS[1],
        0.243,
        "assumed, no figure is known: 0.4 to 1.2 of a stitch, between as much as the first needle (if a ladder closes "
        "in proportion) and a whole stitch (if it closes at its two sides only)",
    ),
}
"""Mean and standard deviation of each parameter before the published rows, and where from."""

SHARED: Final = {("tuck_rows", "slip_rows"): 0.3, ("ladder_first", "ladder_more"): 0.5}
"""Correlations of the starting values: one yarn and finish act on held loops, whatever holds them, and on a ladder,
however wide (assumed)."""

NUISANCE: Final[dict[str, tuple[float, float]]] = {
    "plain_hand": (math.log(1.37), 0.02),  # 31 published hand gauges; 6 % from one to the next, added to each row
    "plain_machine": (math.log(1.43), 0.10),  # domestic machine gauges 1.2 to 1.7
    "rib_width": (0.0, 0.12),  # a ribbed ground changes the gauge by itself
    "rib_rows": (0.0, 0.12),
    "garter_width": (0.0, 0.5),  # as good as unknown: the garter rows G say it
    "garter_rows": (0.0, 0.5),
}
FIGURE_SD: Final = 0.05
"""Log error of one published figure (4 to 8 % assumed)."""
RATIO_SD: Final = {"plain": 0.06, "rib": 0.06, "garter": 0.12}
"""Log spread of rows/stitches from one published ground to the next (31 gauges of stocking stitch, 9 of garter)."""
GROUND_SD: Final = 0.15
"""Further log error where the ground is not stocking stitch: tucks may act otherwise on it (assumed)."""
MOSAIC_SLIPS: Final = 0.28
"""Share of slips taken for the mosaic whose chart is a picture (0.20 to 0.36 is likely); each is held two rows."""

DEVIATIONS: Final = {"row_deviation": (0.30, 0.5), "width_deviation": (0.8, 0.5)}
"""Middle and log spread of what scales a stitch's own deviation, before the rows: yarn relaxation's spread over its
unknown parameters, 0.12 in ln F_c and 0.15 in ln F_w for a dense stitch."""
GRID: Final = tuple(math.exp(x) for x in np.linspace(-1.5, 1.5, 13))
"""Multiples of the middles that are tried."""

CONSTANTS: Final[dict[str, tuple[float, str]]] = {
    "plain_ratio": (1.40, "rows/stitches of stocking stitch: 31 hand gauges 1.37 (sd 6 %), machine gauges 1.2 to 1.7"),
    "plain_ratio_log_sd": (0.10, "the same"),
    "tape_mm": (1.216, "+-2 mm hold nine readings in ten: 1 mm at either end of the tape (common practice, no source)"),
    "count_step": (0.5, "counts are read to half a stitch or row (common practice, no source)"),
    "spread": (0.04, "knitters repeat a swatch to 3 to 5 % (common practice, no source)"),
}

Kind = Literal["width", "rows", "ratio", "ratio of two"]


@dataclass(frozen=True)
class Row:
    """One published gauge per 10 cm or 4 in; `reference` is the fabric in the same yarn that ref_… are counts of."""

    id: str
    structure: str
    repeat: tuple[str, ...]
    ground: Literal["plain", "rib", "garter"]
    made: Literal["hand", "machine"]
    reference: Literal["", "stocking stitch", "garter"]
    ref_stitches: float
    ref_rows: float
    stitches: float
    rows: float
    use: Literal["fit", "width", "no"]
    note: str

    @property
    def features(self) -> Features:
        """What the model sees of it: the ground alone for garter, for the mosaic the share of slips taken for it."""
        if self.repeat or self.structure.startswith("garter"):
            return features_of(Chart.from_rows(self.repeat or ["K"]))
        log_span = math.log(1 + 3 * MOSAIC_SLIPS)
        plain = features_of(Chart.plain(1, 1))
        return replace(plain, slip_share=MOSAIC_SLIPS, log_span_slip=log_span, in_columns=0.3)


@dataclass(frozen=True)
class Datum:
    """One number of a row: ln value = design . (parameters, nuisances) + error.

    sd: of the error beside the stitch's own deviation, which is rows_part x row_deviation and width_part x
    width_deviation together.
    """

    row: str
    kind: Kind
    value: float
    design: Vector
    sd: float
    width_part: float
    rows_part: float

    def error_sd(self, width_deviation: float, row_deviation: float) -> float:
        """Standard deviation of the whole error."""
        return math.hypot(self.sd, self.width_part * width_deviation, self.rows_part * row_deviation)


@dataclass(frozen=True)
class Fit:
    """Mean and covariance of the parameters followed by the nuisances, and the two deviations."""

    mean: Vector
    covariance: Matrix
    width_deviation: float
    row_deviation: float

    @property
    def parameters(self) -> tuple[Vector, Matrix]:
        """Mean and covariance of PARAMETERS alone."""
        n = len(PARAMETERS)
        return self.mean[:n], self.covariance[:n, :n]

    def nuisance(self, name: str) -> tuple[float, float]:
        """Mean and standard deviation of one of NUISANCE."""
        at = _at(name)
        return float(self.mean[at]), math.sqrt(self.covariance[at, at])


@dataclass(frozen=True)
class Miss:
    """A number predicted by a fit that did not see its row. off_by: predicted over published, less 1."""

    row: str
    kind: Kind
    published: float
    predicted: float
    low: float
    high: float
    used: bool = True

    @property
    def off_by(self) -> float:
        """0.1 where a tenth too much was predicted."""
        return self.predicted / self.published - 1

    @property
    def inside(self) -> bool:
        """Whether the published figure lies in the range of nine in ten."""
        return self.low <= self.published <= self.high


@cache
def published() -> tuple[Row, ...]:
    """The rows of published.csv, used or not."""
    with (HERE / "published.csv").open(encoding="utf-8", newline="") as file:
        return tuple(
            Row(
                id=row["id"],
                structure=row["structure"],
                repeat=tuple(filter(None, row["repeat"].split("/"))),
                ground=row["ground"],  # type: ignore[arg-type]
                made=row["made"],  # type: ignore[arg-type]
                reference=row["reference"],  # type: ignore[arg-type]
                ref_stitches=float(row["ref_stitches"] or 0),
                ref_rows=float(row["ref_rows"] or 0),
                stitches=float(row["stitches"]),
                rows=float(row["rows"] or 0),
                use=row["use"],  # type: ignore[arg-type]
                note=row["note"],
            )
            for row in csv.DictReader(file)
        )


def data(rows: Sequence[Row]) -> list[Datum]:
    """The numbers that rows give: both factors where a reference is known, else rows/stitches."""
    by_id = {row.id: row for row in rows}
    found: list[Datum] = []
    for row in rows:
        if not row.rows or not (row.repeat or row.use == "fit"):
            continue
        if row.id != "B2":
            found += _data_of(row)
        elif "B1" in by_id:
            found.append(_ratio_of_two(by_id["B1"], row))
    return found


def _data_of(row: Row) -> Iterator[Datum]:
    width, length = (_line(half) for half in design(row.features))
    parts = deviation(row.features, 1.0, 1.0)
    ground = row.ground if row.reference != row.ground else "plain"
    if ground != "plain":
        width[_at(f"{ground}_width")] = length[_at(f"{ground}_rows")] = 1
    doubt = GROUND_SD if row.ground != "plain" and row.repeat else 0.0
    unknown = (0.0, 0.0) if row.repeat or row.ground == "garter" else (0.03, 0.06)  # the mosaic's share of slips
    figure = FIGURE_SD * math.sqrt(2)
    if row.reference:
        sd_width, sd_rows = math.hypot(figure, doubt / 2, unknown[0]), math.hypot(figure, doubt, unknown[1])
        yield Datum(row.id, "width", row.stitches / row.ref_stitches, width, sd_width, parts[0], 0)
        yield Datum(row.id, "rows", row.rows / row.ref_rows, length, sd_rows, 0, parts[1])
        return
    ratio = length - width
    ratio[_at(f"plain_{row.made}")] = 1
    spread = RATIO_SD[row.ground] if row.made == "hand" else 0.0
    yield Datum(row.id, "ratio", row.rows / row.stitches, ratio, math.hypot(figure, spread, doubt), *parts)


def _ratio_of_two(one: Row, other: Row) -> Datum:
    """Rows per 10 cm of one over the other: same hat, same stitches, same height, so nothing else comes in."""
    lengths = [design(row.features)[1] for row in (one, other)]
    parts = [deviation(row.features, 1.0, 1.0)[1] for row in (one, other)]
    line = _line(lengths[0] - lengths[1])
    return Datum(other.id, "ratio of two", one.rows / other.rows, line, 0.04, 0, abs(parts[0] - parts[1]))


def _use_of(datum: Datum, rows: Sequence[Row]) -> bool:
    """Whether the fit may see a number."""
    use = next(row.use for row in rows if row.id == datum.row)
    return use == "fit" or (use == "width" and datum.kind == "width")


def _line(of_parameters: Vector) -> Vector:
    return np.concatenate([of_parameters, np.zeros(len(NUISANCE))])


def _at(nuisance: str) -> int:
    return len(PARAMETERS) + list(NUISANCE).index(nuisance)


def fit(rows: Sequence[Row]) -> Fit:
    """The posterior after the rows, at the deviations that make the rows likeliest (their own prior counted in)."""
    used = [datum for datum in data(rows) if _use_of(datum, rows)]
    trials = []
    for wide, long in itertools.product(GRID, GRID):
        deviations = DEVIATIONS["width_deviation"][0] * wide, DEVIATIONS["row_deviation"][0] * long
        mean, covariance, likelihood = _update(used, *deviations)
        for times, (_, spread) in ((wide, DEVIATIONS["width_deviation"]), (long, DEVIATIONS["row_deviation"])):
            likelihood -= math.log(times) ** 2 / (2 * spread**2)
        trials.append((likelihood, Fit(mean, covariance, *deviations)))
    return max(trials, key=lambda trial: trial[0])[1]


def _update(used: Sequence[Datum], width_deviation: float, row_deviation: float) -> tuple[Vector, Matrix, float]:
    """Mean, covariance and the logarithm of the likelihood of the rows."""
    mean = np.array([START[name][0] for name in PARAMETERS] + [mean for mean, _ in NUISANCE.values()])
    covariance = np.diag([START[name][1] ** 2 for name in PARAMETERS] + [sd**2 for _, sd in NUISANCE.values()])
    for (one, other), correlation in SHARED.items():
        at, beside = PARAMETERS.index(one), PARAMETERS.index(other)
        covariance[at, beside] = covariance[beside, at] = correlation * START[one][1] * START[other][1]
    if not used:
        return mean, covariance, 0.0
    h = np.array([datum.design for datum in used])
    left = np.log([datum.value for datum in used]) - h @ mean
    noise = np.diag([datum.error_sd(width_deviation, row_deviation) ** 2 for datum in used])
    spread = h @ covariance @ h.T + noise
    gain = np.linalg.solve(spread, h @ covariance).T
    likelihood = -0.5 * float(left @ np.linalg.solve(spread, left) + np.linalg.slogdet(spread)[1])
    return mean + gain @ left, covariance - gain @ h @ covariance, likelihood


def predicted(datum: Datum, by: Fit) -> Miss:
    """A number with its range, by a fit that should not have seen it."""
    middle = float(datum.design @ by.mean)
    variance = float(datum.design @ by.covariance @ datum.design)
    variance += datum.error_sd(by.width_deviation, by.row_deviation) ** 2
    half = 1.6449 * math.sqrt(variance)
    return Miss(datum.row, datum.kind, datum.value, math.exp(middle), math.exp(middle - half), math.exp(middle + half))


def leave_one_out(rows: Sequence[Row], together: Collection[Collection[str]] = (("B1", "B2"),)) -> list[Miss]:
    """Each number of a stitch predicted by a fit to the other rows, deviations and all; the machine's rows first.

    Numbers that no fit may see are predicted too (`used` tells them apart). `together`: rows of one source, left out at
    the same time. Rows of garter alone are left out singly by no one: they say nothing of a stitch.
    """
    misses: list[Miss] = []
    by_id = {row.id: row for row in rows}
    for datum in data(rows):
        if by_id[datum.row].structure.startswith("garter"):
            continue
        out = next((set(group) for group in together if datum.row in group), {datum.row})
        miss = predicted(datum, fit([row for row in rows if row.id not in out]))
        misses.append(replace(miss, used=_use_of(datum, rows)))
    return sorted(misses, key=lambda miss: (not miss.used, by_id[miss.row].made != "machine", miss.row))


def as_toml(result: Fit) -> str:
    """The document priors.toml."""
    mean, covariance = result.parameters
    sd = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(sd, sd)
    lines = [
        "# The gauge model before any of the knitter's own swatches. ln F_c and ln F_w are linear in the parameters;",
        "# model.py says how. Made by `python -m tests.gauge.fit` from the starts below and published gauges (which",
        "# tests/gauge has): do not edit. learnt: the share of the start's variance that those gauges took away.",
        "",
        "[constants]",
    ]
    for name, (value, source) in CONSTANTS.items():
        lines += [f"# {source}", f"{name} = {value}"]
    for name, deviation_found in (("row", result.row_deviation), ("width", result.width_deviation)):
        lines += ["# where the published rows are likeliest", f"{name}_deviation = {deviation_found:.4f}"]
    for at, name in enumerate(PARAMETERS):
        before, before_sd, source = START[name]
        learnt = max(0.0, 1 - (sd[at] / before_sd) ** 2)
        lines += ["", f"[parameters.{name}]", f"mean = {mean[at]:.4f}", f"sd = {sd[at]:.4f}", f"learnt = {learnt:.2f}"]
        lines += [f"start = [{before}, {before_sd}]", f'start_rests_on = "{source}"']
    used = [row for row in published() if row.use != "no" and not row.structure.startswith("garter")]
    lines += ["", "[published]", "# gauges that the fit has seen; none of the tucks is on one bed over stocking stitch"]
    for letter, word in (("T", "tuck"), ("S", "slip")):
        lines.append(f"{word} = {sum(letter in (''.join(row.repeat) or 'S') for row in used)}")
    made = {row.id: row.made for row in published()}
    misses = [(miss, made[miss.row]) for miss in leave_one_out(published()) if miss.used]
    worst = [round(100 * miss.off_by) for miss, by in misses if by == "machine"]
    others = [abs(100 * miss.off_by) for miss, by in misses if by == "hand"]
    lines.append(f"machine_misses_percent = {worst}  # predicted by a fit that did not see them")
    lines.append(f"other_misses_percent = {np.mean(others):.0f}")
    lines += ["", "[correlation]"]
    lines += [
        f"{name} = [{', '.join(f'{value + 0.0:.4f}' for value in correlation[at])}]"
        for at, name in enumerate(PARAMETERS)
    ]
    return "\n".join(lines).replace("-0.0000", "0.0000") + "\n"


def as_report(rows: Sequence[Row]) -> str:
    """The leave-one-out table and the parameters before and after, as plain text."""
    by_id = {row.id: row for row in rows}
    misses = leave_one_out(rows)
    used = [miss for miss in misses if miss.used]
    machine = [miss for miss in used if by_id[miss.row].made == "machine"]
    inside = sum(miss.inside for miss in used)
    lines = [
        "Leave-one-out over published gauges: each predicted by a fit that did not see it, deviations and all.",
        "",
        f"The {len(machine)} rows knitted on a machine are the best evidence there is, and the worst predicted: off by "
        f"{' and '.join(f'{100 * miss.off_by:+.0f} %' for miss in machine)}.",
        f"All {len(used)}: mean size of the miss {100 * float(np.mean([abs(miss.off_by) for miss in used])):.1f} %; "
        f"{inside} inside the range that should hold nine in ten.",
        "",
        f"{'row':<4} {'what':<13} {'published':>9} {'predicted':>9}  {'nine in ten':<13} {'off by':>7}  structure",
    ]
    for miss in misses:
        if miss is next((each for each in misses if not each.used), None):
            lines += ["", "Counts in doubt (see their notes); no fit saw them:"]
        row = by_id[miss.row]
        lines.append(
            f"{miss.row:<4} {miss.kind:<13} {miss.published:>9.3f} {miss.predicted:>9.3f}  "
            f"{miss.low:>5.2f} to {miss.high:<5.2f} {100 * miss.off_by:>+6.1f}%  "
            f"{row.structure} ({row.ground} ground, by {row.made}){'' if miss.inside else '  outside'}"
        )
    result = fit(rows)
    mean, covariance = result.parameters
    lines += ["", f"{'parameter':<14} {'before':>7} {'sd':>6} {'after':>7} {'sd':>6}"]
    lines += [
        f"{name:<14} {START[name][0]:>7.3f} {START[name][1]:>6.3f} {mean[at]:>7.3f} {covariance[at, at] ** 0.5:>6.3f}"
        for at, name in enumerate(PARAMETERS)
    ]
    for name in ("garter_rows", "garter_width"):
        middle, sd = result.nuisance(name)
        lines.append(f"{name:<14} {NUISANCE[name][0]:>7.3f} {NUISANCE[name][1]:>6.3f} {middle:>7.3f} {sd:>6.3f}")
    for name, value in (("row_deviation", result.row_deviation), ("width_deviation", result.width_deviation)):
        lines.append(f"{name:<15} {DEVIATIONS[name][0]:>6.3f} {'':>6} {value:>7.3f}")
    lines += ["", "Not used:", *(f"{row.id:<4} {row.structure}: {row.note}" for row in rows if row.use != "fit")]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    PRIORS.write_text(as_toml(fit(published())), encoding="utf-8")
    REPORT.write_text(as_report(published()), encoding="utf-8")
