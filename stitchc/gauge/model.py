"""The model of tuck and slip on the log scale: linear in its parameters, so that every update is in closed form.

Rows:   ln F_c =  tuck_rows  * (ln K's part from tucks) + slip_rows * (ln K's part from slips)
                - tuck_long  * (what tuck holds over two rows add to ln K) - slip_long * (the same of slips)
                - columns_rows * ln K * (how far the same needles do all the holding)
Width:  ln F_w = -tuck_first * (saturating widening) - tuck_more * (share of tucks) + slip_width * (share of slips)
                + columns_width * (saturating widening) * (how far the same needles do all the holding)
                + ln(needles / (needles in work + ladder_first * ladders + ladder_more * further needles out of work))

All but the last are linear; that is taken as linear about LADDERS, which is right to 6 % over the range of both. A
count of stitches is a count of needles, those out of work among them.

Each stitch has besides a deviation of its own in either direction, in proportion to how far it is from plain. The
figures and what they rest on stand in priors.toml. Knows nothing of swatches and files.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from stitchc.gauge.features import Features

Vector = npt.NDArray[np.float64]
Matrix = npt.NDArray[np.float64]

PARAMETERS: Final = (
    "tuck_rows",
    "slip_rows",
    "tuck_long",
    "slip_long",
    "columns_rows",
    "tuck_first",
    "tuck_more",
    "slip_width",
    "columns_width",
    "ladder_first",
    "ladder_more",
)
LADDERS: Final = (0.6, 0.8)
"""Width of a ladder over that of a stitch beside it: of its first needle, and of each further one (assumed)."""
LADDER_DEVIATION: Final = 0.1
"""How far the ladders of one stitch differ from those of another in the same yarn, in widths of a stitch; rows are as
far in doubt (assumed; yarn relaxation has fabrics with ladders longer by twice as much)."""


@dataclass(frozen=True)
class Priors:
    """The model before any of the knitter's own swatches.

    mean (n,), covariance (n, n) of PARAMETERS. log_plain_ratio: mean and standard deviation of ln(rows/stitches) of
    stocking stitch. tape_mm: standard deviation of a length read off a tape. count_step: counts are read to this part
    of a stitch or row. spread: of ln gauge between fabrics that a knitter means
    to make alike. row_deviation and width_deviation scale a stitch's own deviation.
    """

    mean: Vector
    covariance: Matrix
    log_plain_ratio: tuple[float, float]
    tape_mm: float
    count_step: float
    spread: float
    row_deviation: float
    width_deviation: float


def design(features: Features) -> tuple[Vector, Vector]:
    """The rows that turn parameters into (ln F_w, ln F_c); each of shape (len(PARAMETERS),)."""
    f = features
    log_span = f.log_span_tuck + f.log_span_slip
    width, rows = np.zeros(len(PARAMETERS)), np.zeros(len(PARAMETERS))
    rows[:5] = (f.log_span_tuck, f.log_span_slip, -f.log_long_tuck, -f.log_long_slip, -log_span * f.in_columns)
    width[5:9] = (-f.tuck_widening, -f.tuck_share, f.slip_share, f.tuck_widening * f.in_columns)
    width[9:] = -np.array([f.ladders, f.wider]) / _stitches_wide(f)
    return width, rows


def offset(features: Features) -> float:
    """What ln F_w has besides its parameters: 0 where no needle is out of work."""
    wide = _stitches_wide(features)
    return math.log(features.needles / wide) + (wide - 1) / wide


def _stitches_wide(features: Features) -> float:
    """How wide the needles that belong to one in work are, over the width of its stitch."""
    return 1 + LADDERS[0] * features.ladders + LADDERS[1] * features.wider


def deviation(features: Features, width_deviation: float, row_deviation: float) -> tuple[float, float]:
    """Standard deviations of the stitch's own part of (ln F_w, ln F_c); none for plain."""
    log_span = features.log_span_tuck + features.log_span_slip
    held = width_deviation * (0.1 * features.tuck_widening + 0.3 * features.slip_share)
    ladders = LADDER_DEVIATION * (features.ladders + features.wider) / _stitches_wide(features)
    return math.hypot(held, ladders), math.hypot(row_deviation * log_span / (1 + log_span), ladders)


@cache
def shipped() -> Priors:
    return from_toml(tomllib.loads((files("stitchc.gauge") / "priors.toml").read_text(encoding="utf-8")))


def from_toml(document: dict[str, Any]) -> Priors:
    parameters = document["parameters"]
    mean = np.array([parameters[name]["mean"] for name in PARAMETERS])
    sd = np.array([parameters[name]["sd"] for name in PARAMETERS])
    correlation = np.array([document["correlation"][name] for name in PARAMETERS])
    covariance = correlation * np.outer(sd, sd)
    for array in (mean, covariance):
        array.setflags(write=False)
    constants = document["constants"]
    return Priors(
        mean=mean,
        covariance=covariance,
        log_plain_ratio=(float(np.log(constants["plain_ratio"])), constants["plain_ratio_log_sd"]),
        tape_mm=constants["tape_mm"],
        count_step=constants["count_step"],
        spread=constants["spread"],
        row_deviation=constants["row_deviation"],
        width_deviation=constants["width_deviation"],
    )
