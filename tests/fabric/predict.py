"""Predicted gauge beside every published row that has a repeat: python tests/fabric/predict.py.

From first principles: the yarn's thickness, which gives plain its published proportions, and the pitch of the bed; no
figure in the model was fitted to tuck or slip. Tuck is taken off double beds too (rib) and off garter grounds, which
are other fabrics. Friction was tried as a force against growth that holds plain at its dry relaxed size (Munden, Kw
3.8, Kc 5.0): so large a force pulls every fabric out of shape, a quarter of it makes rows worse than none.
"""

from __future__ import annotations

import csv
import math
import sys
from pathlib import Path

from stitchc.chart import Chart
from stitchc.fabric import relax_free

TEXTBOOK = (
    ("double bed, Spencer ch. 13", "KT/TK", "F_w", 0.87),
    ("slipped rib, from memory", "KS/SK", "F_w", 1.21),
    ("bee stitch over garter, N1", "KT/KK/TK/KK", "F_w", 14 / 15),
    ("bee stitch over garter, N1", "KT/KK/TK/KK", "F_c", 32 / 28),
)


def cell(rows: str) -> tuple[float, float]:
    fabric = relax_free(Chart.from_rows(rows.split("/")))
    return fabric.cell_w, fabric.cell_c


def main() -> None:
    published = csv.DictReader((Path(__file__).parents[1] / "gauge/published.csv").open(encoding="utf-8"))
    rows: list[tuple[str, str, str, float]] = list(TEXTBOOK)
    for row in published:
        if not row["repeat"] or not row["stitches"]:
            continue
        if row["ref_stitches"] and row["reference"] == "stocking stitch":
            rows.append((row["id"], row["repeat"], "F_w", float(row["stitches"]) / float(row["ref_stitches"])))
        if row["rows"] and row["ref_rows"] and row["use"] == "fit" and row["reference"] == "stocking stitch":
            rows.append((row["id"], row["repeat"], "F_c", float(row["rows"]) / float(row["ref_rows"])))
        if row["rows"] and not row["ref_rows"] and row["use"] == "fit":
            rows.append((row["id"], row["repeat"], "rows/stitches", float(row["rows"]) / float(row["stitches"])))
    cells = {text: cell(text) for text in {"K", *(row[1] for row in rows)}}
    print(f"{'row':28} {'repeat':30} {'figure':14} knitted predicted   off")
    errors = []
    for name, repeat, figure, knitted in rows:
        (w, c), (plain_w, plain_c) = cells[repeat], cells["K"]
        predicted = {"F_w": plain_w / w, "F_c": plain_c / c, "rows/stitches": w / c}[figure]
        errors.append(abs(math.log(predicted / knitted)))
        print(
            f"{name:28} {repeat:30} {figure:14} {knitted:7.2f} {predicted:9.2f} "
            f"{100 * (predicted / knitted - 1):+4.0f} %"
        )
    print(f"off by {100 * sum(errors) / len(errors):.0f} % in the mean, {100 * max(errors):.0f} % at most")


if __name__ == "__main__":
    sys.exit(main())
