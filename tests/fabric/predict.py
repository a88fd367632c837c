"""Predicted gauge beside every published row that has a repeat: python -m tests.fabric.predict (kept in predicted.md).

From first principles: a yarn that gives plain and garter their published proportions, the pitch of the bed, and a pull
off it; no figure in the model was fitted to tuck or slip (what was seen of them meanwhile: predicted.md). Each row is
predicted on the ground that it was knitted on.
"""

from __future__ import annotations

import csv
import math
import sys
from pathlib import Path
from typing import NamedTuple, get_args

from tests.fabric.grounds import Kind, relax_on


class Row(NamedTuple):
    """A published figure. figure: stitches or rows over those of the ground `against`, or rows over stitches."""

    name: str
    ground: Kind
    repeat: str
    figure: str
    knitted: float
    against: Kind = "plain"


def published() -> list[Row]:
    """What can be used of the published gauges. B2 is known by the rows of B1 alone."""
    rows = [Row("slipped rib, from memory", "plain", "KS/SK", "stitches", 1.21)]
    with (Path(__file__).parents[1] / "gauge/published.csv").open(encoding="utf-8") as file:
        for each in csv.DictReader(file):
            repeat = each["repeat"] or ("K" if each["ground"] == "garter" and each["id"].startswith("G") else "")
            if not repeat or not each["stitches"] or each["use"] == "no" or each["id"] == "B2":
                continue
            ground = next(kind for kind in get_args(Kind) if kind == each["ground"])
            count = {key: float(each[key] or "nan") for key in ("stitches", "rows", "ref_stitches", "ref_rows")}
            against: Kind = "garter" if each["reference"] == "garter" else "plain"
            if not each["ref_stitches"]:
                rows.append(Row(each["id"], ground, repeat, "rows/stitches", count["rows"] / count["stitches"]))
                continue
            for figure in ("stitches", "rows") if each["use"] == "fit" else ("stitches",):
                ratio = count[figure] / count[f"ref_{figure}"]
                rows.append(Row(each["id"], ground, repeat, figure, ratio, against))
    return rows


def predicted(row: Row) -> float:
    fabric = relax_on(row.ground, row.repeat)
    if row.figure == "rows/stitches":
        return fabric.cell_w / fabric.cell_c
    plain = relax_on(row.against, "K")
    return plain.cell_w / fabric.cell_w if row.figure == "stitches" else plain.cell_c / fabric.cell_c


def main() -> None:
    errors: dict[str, list[float]] = {}
    print(f"{'row':26} {'ground':7} {'repeat':30} {'figure':14} knitted predicted   off")
    for row in published():
        expected = predicted(row)
        errors.setdefault(row.ground if row.repeat != "K" else f"{row.ground} alone", []).append(
            abs(math.log(expected / row.knitted))
        )
        print(
            f"{row.name:26} {row.ground:7} {row.repeat:30} {row.figure:14} {row.knitted:7.2f} {expected:9.2f} "
            f"{100 * (expected / row.knitted - 1):+4.0f} %"
        )
    for ground, off in errors.items():
        print(f"{ground}: off by {100 * sum(off) / len(off):.0f} % in the mean, {100 * max(off):.0f} % at most")
    held = [each for ground, off in errors.items() if "alone" not in ground for each in off]
    print(f"tuck and slip: off by {100 * sum(held) / len(held):.0f} % in the mean, {100 * max(held):.0f} % at most")
    print(
        "\nthe trade's direction (tuck wider and shorter, slip narrower and shorter), stitches and rows over plain's:"
    )
    plain = relax_on("plain", "K")
    for tuck in ("KT/KK", "KT/TK", "KT/KK/TK/KK", "KT/KT/TK/TK", "KT/KT/KK", "KKT/KTK/TKK"):
        for rows in (tuck, tuck.replace("T", "S")):
            fabric = relax_on("plain", rows)
            wide, long = plain.cell_w / fabric.cell_w, plain.cell_c / fabric.cell_c
            with_it = (wide < 1) == ("T" in rows) and long > 1
            print(f"{rows:12} {wide:5.2f} {long:5.2f} {'' if with_it else 'against the trade'}")


if __name__ == "__main__":
    sys.exit(main())
