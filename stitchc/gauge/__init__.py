"""Gauge: what tuck and slip do to the size of the fabric, with an honest range, and how swatches sharpen it.

Start at `estimate_pattern` (a pattern) or `estimate` (charts). Nothing here reads a file or prints.
"""

from stitchc.gauge.estimate import GaugeReport as GaugeReport
from stitchc.gauge.estimate import estimate as estimate
from stitchc.gauge.estimate import estimate_pattern as estimate_pattern
from stitchc.gauge.gauges import Baseline as Baseline
from stitchc.gauge.gauges import Joint as Joint
from stitchc.gauge.gauges import PlainGauge as PlainGauge
from stitchc.gauge.gauges import Range as Range
from stitchc.gauge.gauges import StitchGauge as StitchGauge
from stitchc.gauge.remarks import check_gauge as check_gauge
