"""Gauge: what tuck and slip do to the size of the fabric, with an honest range, and how swatches sharpen it.

Start at `estimate_pattern` (a pattern) or `estimate` (charts). Nothing here reads a file or prints.
"""

from stitchc.gauge.estimate import GaugeReport, estimate, estimate_pattern
from stitchc.gauge.remarks import check_gauge
from stitchc.gauge.values import Baseline, Joint, PlainGauge, Range, StitchGauge

__all__ = [
    "Baseline",
    "GaugeReport",
    "Joint",
    "PlainGauge",
    "Range",
    "StitchGauge",
    "check_gauge",
    "estimate",
    "estimate_pattern",
]
