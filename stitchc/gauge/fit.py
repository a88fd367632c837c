"""The fit of the model's priors to the published rows: reproducible, and kept apart from what uses its result.

Made before the rows are seen: a starting value for each parameter, with a width that says how little is known (START).
The rows then update it in closed form. What the rows cannot tell, and the start therefore decides:

- No clean published pair exists for tuck on one bed (known repeat, same yarn and tension, both directions). Every tuck
  row has a rib or a garter ground, which changes the gauge by itself; so the exponent of tuck rests on the starting
  value and on those rows at a discount.
- Long holds rest on one pattern for the machine (two hats), which gives rows/stitches only and no plain gauge.
- Staggered against columns, side by side, and how fast the widening by tuck saturates rest on yarn relaxation and on
  second-hand reports: no row tells them apart.
- Rows of rows/stitches alone cannot tell width from length; they tie the two (the correlations in priors.toml).
- The yarn, the machine and the finishing are not in the model: they are part of the spread.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Final, Literal

import numpy as np

from stitchc.chart import Chart
from stitchc.gauge.features import Features, features_of
from stitchc.gauge.model import PARAMETERS, Matrix, Priors, Vector, design, deviation

START: Final[dict[str, tuple[float, float, str]]] = {
    "tuck_rows": (
        0.90,
        0.16,
        "machine tuck repeats alone give 1.0 (rows/stitches only), yarn relaxation 0.9 +- 0.15",
    ),
    "slip_rows": (0.58, 0.15, "yarn relaxation 0.5 +- 0.15; hand slip stitches somewhat over it"),
    "tuck_long": (0.15, 0.12, "each further tuck needs less yarn (Spencer, Knitting Technology, 3rd ed., p. 96)"),
    "slip_long": (0.08, 0.10, "held loops draw yarn from their neighbours: long holds give back"),
    "columns_rows": (0.10, 0.12, "yarn relaxation: the same needles holding pack less than staggered ones"),
    "tuck_first": (0.09, 0.035, "0.87 double bed (Spencer, ch. 13), 0.93 one machine garment"),
    "tuck_more": (0.10, 0.08, "yarn relaxation: dense tucks wider still; samplers: hardly"),
    "slip_width": (0.45, 0.18, "F_w = 1 + 0.5 h over hand slip stitches (95 %: 0.2 to 0.8)"),
    "columns_width": (0.03, 0.03, "yarn relaxation: staggered tucks widen more than columns"),
}
"""Mean and standard deviation of each parameter before the published rows, and where from."""

SHARED: Final[dict[tuple[str, str], float]] = {("tuck_rows", "slip_rows"): 0.3}
"""Correlations of the starting values: one yarn and finish act on held loops, whatever holds them (assumed)."""

_NUISANCE: Final[dict[str, tuple[float, float]]] = {
    "plain_hand": (math.log(1.37), 0.02),  # 31 published hand gauges; 6 % from one to the next, added to each row
    "plain_machine": (math.log(1.43), 0.10),  # domestic machine gauges 1.2 to 1.7
    "rib_width": (0.0, 0.12),  # a ribbed ground changes the gauge by itself
    "rib_rows": (0.0, 0.12),
    "garter_width": (0.0, 0.06),  # garter packs rows by itself
    "garter_rows": (0.12, 0.15),
}
_FIGURE_SD: Final = 0.05
"""Log error of one published figure (4 to 8 % assumed)."""
_PLAIN_RATIO_SD: Final = 0.06
_GROUND_SD: Final = 0.15
"""Further log error where the ground is not stocking stitch: tucks may act otherwise on it."""
_MOSAIC_SLIPS: Final = 0.28
"""Share of slips taken for the mosaic whose chart is a picture (0.20 to 0.36 is likely); each is held two rows."""

CONSTANTS: Final[dict[str, tuple[float, str]]] = {
    "plain_ratio": (1.40, "rows/stitches of stocking stitch: 31 hand gauges 1.37 (sd 6 %), machine gauges 1.2 to 1.7"),
    "plain_ratio_log_sd": (0.10, "the same"),
    "tape_mm": (1.216, "+-2 mm hold nine readings in ten: 1 mm at either end of the tape (common practice, no source)"),
    "count_step": (0.5, "counts are read to half a stitch or row (common practice, no source)"),
    "fabric_log_sd": (0.02, "two swatches of one knitter made alike (assumed, no source)"),
    "row_deviation": (0.24, "chosen so that leave-one-out errors over the published rows have the size expected"),
    "width_deviation": (0.6, "the same"),
}

Kind = Literal["width", "rows", "ratio", "ratio of two"]


@dataclass(frozen=True)
class PublishedRow:
    """One published gauge; counts per 10 cm, None where not given. repeat: rows of letters, first knitted first."""

    id: str
    title: str
    structure: str
    repeat: tuple[str, ...]
    ground: Literal["plain", "rib", "garter"]
    made: Literal["hand", "machine"]
    plain_stitches: float | None
    plain_rows: float | None
    stitches: float
    rows: float | None
    used: bool
    note: str

    @property
    def features(self) -> Features:
        """What the model sees of it (for the mosaic, of the share of slips taken for it)."""
        return features_of(Chart.from_rows(self.repeat)) if self.repeat else _mosaic()


@dataclass(frozen=True)
class Datum:
    """One number that the fit uses: ln value = design . (parameters, nuisances) + error of the given sd."""

    row: str
    kind: Kind
    value: float
    design: Vector
    sd: float


@dataclass(frozen=True)
class Fit:
    """Posterior of the parameters, and with `nuisance_…` of everything the rows needed besides."""

    mean: Vector
    covariance: Matrix

    @property
    def parameters(self) -> tuple[Vector, Matrix]:
        """Mean and covariance of PARAMETERS alone."""
        n = len(PARAMETERS)
        return self.mean[:n], self.covariance[:n, :n]


@dataclass(frozen=True)
class Miss:
    """A number predicted by a fit that did not see its row. off_by: predicted over published, less 1."""

    row: str
    kind: Kind
    published: float
    predicted: float
    low: float
    high: float

    @property
    def off_by(self) -> float:
        """0.1 where a tenth too much was predicted."""
        return self.predicted / self.published - 1


def published_rows() -> tuple[PublishedRow, ...]:
    """The published rows that ship with the program, used or not."""
    text = (files("stitchc.gauge") / "published.csv").read_text(encoding="utf-8")

    def number(cell: str) -> float | None:
        return float(cell) if cell else None

    return tuple(
        PublishedRow(
            id=row["id"],
            title=row["title"],
            structure=row["structure"],
            repeat=tuple(row["repeat"].split("/")) if row["repeat"] else (),
            ground=row["ground"],  # type: ignore[arg-type]
            made=row["made"],  # type: ignore[arg-type]
            plain_stitches=number(row["plain_stitches"]),
            plain_rows=number(row["plain_rows"]),
            stitches=float(row["stitches"]),
            rows=number(row["rows"]),
            used=row["use"] == "fit",
            note=row["note"],
        )
        for row in csv.DictReader(text.splitlines())
    )


def data(rows: Sequence[PublishedRow]) -> list[Datum]:
    """The numbers that the usable rows give: both factors where the plain gauge is known, else rows/stitches."""
    found: list[Datum] = []
    by_id = {row.id: row for row in rows}
    for row in rows:
        if not row.used or row.rows is None:
            continue
        if row.id == "B2":
            if "B1" in by_id:
                found.append(_ratio_of_two(by_id["B1"], row))
            continue
        found += _data_of(row, row.rows)
    return found


def fit(rows: Sequence[PublishedRow]) -> Fit:
    """The posterior of parameters and nuisances after the usable rows: one Gaussian update."""
    mean = np.array([START[name][0] for name in PARAMETERS] + [mean for mean, _ in _NUISANCE.values()])
    covariance = np.diag([START[name][1] ** 2 for name in PARAMETERS] + [sd**2 for _, sd in _NUISANCE.values()])
    for (one, other), correlation in SHARED.items():
        at, beside = PARAMETERS.index(one), PARAMETERS.index(other)
        covariance[at, beside] = covariance[beside, at] = correlation * START[one][1] * START[other][1]
    used = data(rows)
    if not used:
        return Fit(mean, covariance)
    h = np.array([datum.design for datum in used])
    y = np.log([datum.value for datum in used])
    gain = np.linalg.solve(h @ covariance @ h.T + np.diag([datum.sd**2 for datum in used]), h @ covariance).T
    return Fit(mean + gain @ (y - h @ mean), covariance - gain @ h @ covariance)


def leave_one_out(rows: Sequence[PublishedRow], together: Collection[Collection[str]] = (("B1", "B2"),)) -> list[Miss]:
    """Each usable row predicted by a fit to the others. `together`: rows of one source, left out at the same time."""
    misses: list[Miss] = []
    for datum in data(rows):
        out = next((set(group) for group in together if datum.row in group), {datum.row})
        blind = fit([row for row in rows if row.id not in out])
        middle = float(datum.design @ blind.mean)
        half = 1.6449 * math.sqrt(float(datum.design @ blind.covariance @ datum.design) + datum.sd**2)
        misses.append(
            Miss(
                datum.row,
                datum.kind,
                datum.value,
                math.exp(middle),
                math.exp(middle - half),
                math.exp(middle + half),
            )
        )
    return misses


def as_toml(result: Fit) -> str:
    """The document priors.toml."""
    mean, covariance = result.parameters
    sd = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(sd, sd)
    lines = [
        "# The gauge model before any of the knitter's own swatches. Made by stitchc/gauge/fit.py from published.csv:",
        "# do not edit by hand. ln F_c and ln F_w are linear in the parameters; model.py says how.",
        "",
        "[constants]",
    ]
    for name, (value, source) in CONSTANTS.items():
        lines += [f"# {source}", f"{name} = {value}"]
    for at, name in enumerate(PARAMETERS):
        before, before_sd, source = START[name]
        lines += [
            "",
            f"[parameters.{name}]",
            f"# before the published rows {before} +- {before_sd}: {source}",
            f"mean = {mean[at]:.4f}",
            f"sd = {sd[at]:.4f}",
        ]
    lines += ["", "[correlation]"]
    lines += [
        f"{name} = [{', '.join(f'{value + 0.0:.4f}' for value in correlation[at])}]"
        for at, name in enumerate(PARAMETERS)
    ]
    return "\n".join(lines).replace("-0.0000", "0.0000") + "\n"


def as_report(rows: Sequence[PublishedRow]) -> str:
    """The leave-one-out table and the parameters before and after, as plain text for the documents."""
    lines = [
        "Leave-one-out over the published rows: each predicted by a fit that did not see it.",
        "",
        f"{'row':<4} {'what':<13} {'published':>9} {'predicted':>9}  {'nine in ten':<13} {'off by':>7}  structure",
    ]
    by_id = {row.id: row for row in rows}
    misses = leave_one_out(rows)
    for miss in misses:
        inside = "" if miss.low <= miss.published <= miss.high else "  outside"
        lines.append(
            f"{miss.row:<4} {miss.kind:<13} {miss.published:>9.3f} {miss.predicted:>9.3f}  "
            f"{miss.low:>5.2f} to {miss.high:<5.2f} {100 * miss.off_by:>+6.1f}%  "
            f"{by_id[miss.row].structure} ({by_id[miss.row].ground} ground, by {by_id[miss.row].made}){inside}"
        )
    mean_miss = sum(abs(miss.off_by) for miss in misses) / len(misses)
    held = sum(miss.low <= miss.published <= miss.high for miss in misses)
    lines += ["", f"Mean size of the miss {100 * mean_miss:.1f} %; {held} of {len(misses)} inside their range.", ""]
    lines.append(f"{'parameter':<14} {'before':>7} {'sd':>6} {'after':>7} {'sd':>6}")
    mean, covariance = fit(rows).parameters
    for at, name in enumerate(PARAMETERS):
        before, sd, _ = START[name]
        lines.append(f"{name:<14} {before:>7.3f} {sd:>6.3f} {mean[at]:>7.3f} {math.sqrt(covariance[at, at]):>6.3f}")
    lines += ["", "Rows that could not be used:"]
    lines += [f"{row.id:<4} {row.structure}: {row.note}" for row in rows if not row.used]
    return "\n".join(lines) + "\n"


# -- from a row to numbers ----------------------------------------------------------------------------------------


def _data_of(row: PublishedRow, rows: float) -> list[Datum]:
    features = row.features
    width, length = design(features)
    dev_width, dev_rows = deviation(features, _scales())
    doubt = _GROUND_SD if row.ground != "plain" else 0.0
    doubt_width, doubt_rows = (0.03, 0.06) if not row.repeat else (0.0, 0.0)  # the mosaic's unknown share of slips
    figure = _FIGURE_SD * math.sqrt(2)
    if row.plain_stitches is not None and row.plain_rows is not None:
        sd_width = math.hypot(dev_width, figure, doubt / 2, doubt_width)
        sd_rows = math.hypot(dev_rows, figure, doubt, doubt_rows)
        at_width, at_rows = _line(width), _line(length)
        if row.ground != "plain":
            at_width[_at(f"{row.ground}_width")] = 1
            at_rows[_at(f"{row.ground}_rows")] = 1
        return [
            Datum(row.id, "width", row.stitches / row.plain_stitches, at_width, sd_width),
            Datum(row.id, "rows", rows / row.plain_rows, at_rows, sd_rows),
        ]
    at_ratio = _line(length - width)
    at_ratio[_at(f"plain_{row.made}")] = 1
    if row.ground != "plain":
        at_ratio[_at(f"{row.ground}_width")] = -1
        at_ratio[_at(f"{row.ground}_rows")] = 1
    plain = _PLAIN_RATIO_SD if row.made == "hand" else 0.0
    return [
        Datum(row.id, "ratio", rows / row.stitches, at_ratio, math.hypot(dev_width, dev_rows, figure, plain, doubt))
    ]


def _ratio_of_two(one: PublishedRow, other: PublishedRow) -> Datum:
    """Rows per 10 cm of one over the other: same hat, same stitches, same height, so nothing else comes in."""
    assert one.rows is not None and other.rows is not None
    lengths = [design(row.features)[1] for row in (one, other)]
    spread = [deviation(row.features, _scales())[1] for row in (one, other)]
    sd = math.hypot(abs(spread[0] - spread[1]) + 0.03, 0.02)
    return Datum(other.id, "ratio of two", one.rows / other.rows, _line(lengths[0] - lengths[1]), sd)


def _line(of_parameters: Vector) -> Vector:
    return np.concatenate([of_parameters, np.zeros(len(_NUISANCE))])


def _at(nuisance: str) -> int:
    return len(PARAMETERS) + list(_NUISANCE).index(nuisance)


def _scales() -> Priors:
    n = len(PARAMETERS)
    return Priors(
        mean=np.zeros(n),
        covariance=np.eye(n),
        log_plain_ratio=(math.log(CONSTANTS["plain_ratio"][0]), CONSTANTS["plain_ratio_log_sd"][0]),
        tape_mm=CONSTANTS["tape_mm"][0],
        count_step=CONSTANTS["count_step"][0],
        fabric_sd=CONSTANTS["fabric_log_sd"][0],
        row_deviation=CONSTANTS["row_deviation"][0],
        width_deviation=CONSTANTS["width_deviation"][0],
    )


def _mosaic() -> Features:
    """A mosaic of the assumed share of slips h, all held two rows: K = 1 + 3 h (spans 1 and 3)."""
    log_span = math.log(1 + 3 * _MOSAIC_SLIPS)
    return Features(0.0, _MOSAIC_SLIPS, None, 1 + 3 * _MOSAIC_SLIPS, 2, 0, 0.0, log_span, 0.0, 0.0, 0.3, 0.0)
