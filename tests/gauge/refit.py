"""Makes stitchc/gauge/priors.toml and tests/gauge/leave_one_out.txt again: `python tests/gauge/refit.py`."""

from __future__ import annotations

from pathlib import Path

from stitchc.gauge import fit

HERE = Path(__file__).parent
PRIORS = HERE.parents[1] / "stitchc" / "gauge" / "priors.toml"
REPORT = HERE / "leave_one_out.txt"

if __name__ == "__main__":
    rows = fit.published_rows()
    PRIORS.write_text(fit.as_toml(fit.fit(rows)), encoding="utf-8")
    REPORT.write_text(fit.as_report(rows), encoding="utf-8")
