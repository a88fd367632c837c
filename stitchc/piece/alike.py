"""Sizes of a piece that come out as the same knitting."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from stitchc.english import listed, number
from stitchc.gauge.doubt import length_of
from stitchc.messages import Message
from stitchc.piece.plan import Plan, chart_of


def sizes_alike(plans: Sequence[tuple[str, Plan]]) -> Iterator[Message]:
    """P416 for sizes on the same needles, whose rows are the same as well. plans: each size's name and plan."""
    for needles in dict.fromkeys(plan.needles for _, plan in plans):
        same = [(label, plan) for label, plan in plans if plan.needles == needles]
        plan = same[-1][1]
        rounding, width = plan.width_rounding, plan.piece.width
        if len(same) < 2 or rounding is None or width is None:
            continue
        step = rounding.unit * (rounding.chosen.mm + plan.plus_mm) / rounding.chosen.count
        repeats = rounding.unit // chart_of(plan.pattern, plan.width_stitch).width
        names, gives = listed([label for label, _ in same]), length_of(round(rounding.chosen.mm))
        text = f"The sizes {names} of `{plan.piece.name}` come out alike: each is knitted on "
        text += f"{number(needles.count, 'needle')}, which gives {gives}."
        wide = f"{number(repeats, 'repeat')} of `{plan.width_stitch}` {'is' if repeats == 1 else 'are'} that wide"
        advice = f"Sizes at least {length_of(round(step))} apart: {wide}. Or take a narrower repeat, or one of these "
        advice += "sizes alone."
        place = dict(width.spans).get(rounding.asked_mm)
        yield Message("P416", "warning", text, place, advice, "the same piece as a size before it")
