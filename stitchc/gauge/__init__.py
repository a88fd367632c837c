"""Gauge: what tuck and slip do to the size of the fabric, with an honest range, and how swatches sharpen it.

Start at `estimate_pattern` (a pattern) or `estimate` (charts). Nothing here reads a file or prints.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stitchc.gauge.estimate import GaugeReport, Joint, PlainGauge, estimate, estimate_pattern
    from stitchc.gauge.remarks import check_swatches
    from stitchc.gauge.values import Baseline, Range, StitchGauge

__all__ = [
    "Baseline",
    "GaugeReport",
    "Joint",
    "PlainGauge",
    "Range",
    "StitchGauge",
    "check_swatches",
    "estimate",
    "estimate_pattern",
]

_HOME = {
    "GaugeReport": "stitchc.gauge.estimate",
    "Joint": "stitchc.gauge.estimate",
    "PlainGauge": "stitchc.gauge.estimate",
    "estimate": "stitchc.gauge.estimate",
    "estimate_pattern": "stitchc.gauge.estimate",
    "check_swatches": "stitchc.gauge.remarks",
    "Baseline": "stitchc.gauge.values",
    "Range": "stitchc.gauge.values",
    "StitchGauge": "stitchc.gauge.values",
}


def __getattr__(name: str) -> object:
    """Import a part when it is first asked for: a command that needs one part does not pay for the others."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOME[name]), name)
