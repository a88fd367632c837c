"""Whether a stitch goes into what a machine can read and do: M301 and M305, with the notation that would make it fit.

Knows charts and profiles, nothing of cards' geometry or of passes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from stitchc.chart import SLIP, TUCK
from stitchc.english import listed
from stitchc.messages import Message

if TYPE_CHECKING:
    from stitchc.machines.profile import Machine
    from stitchc.pattern import Stitch


def off_the_card(stitch: Stitch, machine: Machine) -> list[Message]:
    """M301 where the repeat's width does not go into the columns of the machine's card.

    A repeat fits a reader when its width divides the card's (common practice). The cure names the nearest widths that
    do, and stitches that have one: plain needles added to the repeat, or repeats side by side and plain needles to
    fill the card.
    """
    columns, width = machine.reader_width, stitch.chart.width
    if machine.reader != "card" or not columns or columns % width == 0:
        return []
    fitting = [count for count in range(1, columns + 1) if columns % count == 0]
    near = sorted(sorted(fitting, key=lambda count: abs(count - width))[:3])
    cure = f"Widths that go into it: {listed([str(count) for count in near])}."
    cure += "".join(f"\n    {line}" for line in _made_to_fit(stitch.name, width, columns, fitting))
    if width > columns:
        cure += "\nOr knit it where any width goes: --machine hand-standard or bitmap-standard."
    return [
        Message(
            "M301",
            "error",
            f"The stitch `{stitch.name}` is {width} needles wide, which does not go into the {columns} columns of "
            f"`{machine.name}`'s card.",
            stitch.span,
            cure=cure,
        )
    ]


def _made_to_fit(name: str, width: int, columns: int, fitting: list[int]) -> list[str]:
    """Definitions of stitches that do fit, made of this one and plain needles; none where it is wider than the card."""
    if width > columns:
        return []
    next_up = min(count for count in fitting if count > width)
    lines = [f"stitch {name}-{next_up} = {name} beside plain {next_up - width} by 1"]
    times = columns // width
    if times > 1:
        lines.append(f"stitch {name}-{columns} = {name} across {times} beside plain {columns - times * width} by 1")
    return lines


def beyond_the_machine(stitch: Stitch, machine: Machine) -> list[Message]:
    """M305 where the stitch tucks or slips and the machine has no way to."""
    found = []
    for code, name, way in ((TUCK, "tuck", machine.tuck), (SLIP, "slip", machine.slip)):
        if way == "none" and bool((stitch.chart.cells == code).any()):
            other = "T for S" if name == "slip" else "S for T"
            found.append(
                Message(
                    "M305",
                    "error",
                    f"`{machine.name}` cannot {name}, and the stitch `{stitch.name}` has {name} cells.",
                    stitch.span,
                    cure="Choose a machine that can (`stitchc machines` lists them), or a stitch without:\n"
                    f"    stitch {stitch.name}-other = {stitch.name} with {other}",
                )
            )
    return found
