"""A plan as the `stitchc-piece/1` JSON form, which scripts and outside checks rely on."""

from __future__ import annotations

from collections.abc import Sequence

from stitchc.document import PassRow
from stitchc.gauge.gauges import Range
from stitchc.messages import Message
from stitchc.passes import cost
from stitchc.piece.plan import Plan, Section
from stitchc.piece.replan import Replan
from stitchc.piece.size import Choice, Rounding
from stitchc.piece.size_words import Units, gauge_lines, rounding_lines, settings_changed, width_changes
from stitchc.piece.yarn import AllYarn, YarnNeeded, yarn_needed
from stitchc.piece.yarn_words import have_words, in_lines, purchase_part, yarn_part
from stitchc.sheet import empty_all_the_time, needles_as_json, pass_as_json
from stitchc.sheet.sheet import warning_lines


def as_document(
    plan: Plan,
    rows: Sequence[PassRow],
    units: Units,
    messages: Sequence[Message],
    everything: AllYarn,
    rows_done: int = 0,
) -> dict[str, object]:
    """The fields the contract promises, in its order, and further ones after them.

    Sizes and amounts are null where no gauge (or no tex) is known. Sections are in the order of knitting; an added
    plain row is a section of its own with its reason in `added`. everything: the yarn of all pieces, for this size.
    rows_done: those that are knitted already.
    """
    notes = [*plan.pattern.notes, *warning_lines(messages), *rounding_lines(plan, units, rows_done)]
    notes += [message.text for message in messages if message.severity == "info"]
    own = yarn_part("Yarn", [plan], (), units == "in", to_buy=everything.is_one_piece)
    notes += [
        *width_changes(plan),
        *gauge_lines(plan, units),
        *in_lines([own, *purchase_part(everything, units == "in")]),
    ]
    return {
        "format": "stitchc-piece/1",
        "needles": needles_as_json(plan.needles),
        "width_cm": _size(plan.width_cm),
        "length_cm": _size(plan.length_cm),
        "sections": [_section(plan, section) for section in plan.sections],
        "passes": [pass_as_json(passed, row) for passed, row in zip(plan.passes, rows, strict=True)],
        "yarn": [_yarn(yarn, units == "in") for yarn in yarn_needed(plan)],
        "notes": notes,
        "out_of_work": empty_all_the_time(plan.passes),
        "title": plan.pattern.title,
        "piece": plan.piece.name,
        "machine": plan.machine.name,
        "carriage": plan.piece.carriage,
        "edge": plan.edge,
        "width_set_by": plan.width_stitch,
        "seam_allowance_cm": round(plan.plus_mm / 10, 4),
        "knitted_width_cm": _size(plan.knitted_width_cm),
        "rounding": _rounding(plan.width_rounding),
        "totals": {
            "rows": len(rows),
            "moves": cost(plan.passes, plan.machine).moves,
            "setting_changes": settings_changed(plan),
        },
        "make": plan.piece.make,
        "yarn_of_all_pieces": {
            "pieces": [{"piece": name, "make": count} for name, count in everything.pieces],
            "left_out": list(everything.left_out),
            "in_one_size": [{"piece": name, "size": size} for name, size in everything.in_one_size],
            "yarn": [_yarn(yarn, units == "in") for yarn in everything.sizes[0]],
        },
    }


def _section(plan: Plan, section: Section) -> dict[str, object]:
    return {
        "stitch": section.stitch,
        "rows": section.rows,
        "length_cm": _size(plan.length_of(section)),
        "at": section.tension,
        "from_row": section.from_row,
        "to_row": section.to_row,
        "yarn": section.yarn,
        "carriage_before": section.carriage,
        "carriage_after": plan.carriage_after(section),
        "width_cm": _size(plan.width_of(section)),
        "rounding": _rounding(section.rounding),
        "added": section.why or None,
    }


def _rounding(rounding: Rounding | None) -> dict[str, object] | None:
    if rounding is None:
        return None
    return {
        "asked_cm": round(rounding.asked_mm / 10, 4),
        "unit": rounding.unit,
        "chosen": _choice(rounding.chosen),
        "smaller": _choice(rounding.smaller),
        "larger": _choice(rounding.larger),
    }


def _choice(choice: Choice | None) -> dict[str, object] | None:
    if choice is None:
        return None
    return {"count": choice.count, "repeats": choice.repeats, "cm": round(choice.mm / 10, 3)}


def _yarn(yarn: YarnNeeded, in_yards: bool) -> dict[str, object]:
    have, least = yarn.to_have(), yarn.to_have(whole_range=False)
    balls: dict[str, object] | None = None
    if yarn.ball and have and have.balls and least and least.balls:
        balls = {**yarn.ball._asdict(), "count": least.balls, "spare": have.balls - least.balls}
    return {
        "name": yarn.name,
        "metres": _size(yarn.metres, 3),
        "grams": _size(yarn.grams, 3),
        "rows": yarn.rows,
        "to_have": {
            "metres": have.metres if have else None,
            "grams": have.grams if have else None,
            "words": have_words([yarn], in_yards),
        },
        "balls": balls,
    }


def _size(size: Range | None, digits: int = 4) -> dict[str, float] | None:
    return None if size is None else size.as_json(digits)


def so_far_as_json(replanned: Replan, units: Units) -> dict[str, object]:
    """What was measured half way and what became of the plan, for the field `so_far`."""

    def size(length: Range | None) -> dict[str, float] | None:
        return None if length is None else length.as_json()

    return {
        "measured": [
            {
                "stitch": each.stitch,
                "part": each.part,
                "rows": each.rows,
                "stitches": each.stitches,
                "cm": round(each.mm / 10, 4),
                "on_machine": each.on_machine,
                "in_all": each.in_all,
            }
            for each in replanned.measured
        ],
        "rows_done": replanned.done,
        "rows_still_to_knit": replanned.still_to_knit,
        "yarn_still_needed": [_yarn(yarn, units == "in") for yarn in yarn_needed(replanned.new, replanned.done)],
        "planned": {
            "rows": len(replanned.planned.passes),
            "width_cm": size(replanned.planned.width_cm),
            "length_cm": size(replanned.planned.length_cm),
        },
        "sections": [
            {
                "stitch": line.stitch,
                "rows_done": line.done,
                "asked_cm": line.asked_cm,
                "planned_rows": line.planned_rows,
                "planned_cm": size(line.planned_cm),
                "as_planned_cm": size(line.as_planned_cm),
                "rows": line.new_rows,
                "cm": size(line.new_cm),
            }
            for line in replanned.lines
        ],
    }
