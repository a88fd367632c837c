"""Whether a hole card of given dimensions can be: nothing touches, and nothing lies off the sheet.

Knows millimetres and nothing of files; the loader puts what is wrong at its line.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple


class Wrong(NamedTuple):
    """Something that cannot be: the key of [card] to change first, the sentence, and the advice."""

    key: str
    text: str
    advice: str


def impossible(columns: int, mm: Mapping[str, float], clip_ends: Sequence[float]) -> list[Wrong]:
    """Everything that cannot be about a card.

    mm: the lengths of the profile's [card] by key. clip_ends: its `clip_from_end_mm`. Distances are between centres,
    holes are diameters; the columns stand in the middle of the sheet.
    """
    return [
        *_holes_that_touch(mm),
        *_across_the_sheet(columns, mm, bool(clip_ends)),
        *_off_the_end(mm),
        *_clips(mm, sorted(clip_ends)),
    ]


def _holes_that_touch(mm: Mapping[str, float]) -> Iterator[Wrong]:
    hole, guide = mm["hole_mm"], mm["guide_hole_mm"]
    for pitch, where in (("column_pitch_mm", "in one row"), ("row_pitch_mm", "in one column")):
        if hole >= mm[pitch]:
            yield Wrong(
                "hole_mm",
                f"Holes of {figure(hole)} mm {where} would run into each other: `card.{pitch}` is only "
                f"{figure(mm[pitch])} mm.",
                f"A `hole_mm` under {figure(mm[pitch])}, or a wider `{pitch}`: pitches are from centre to centre.",
            )
    if guide >= mm["guide_pitch_mm"]:
        yield Wrong(
            "guide_hole_mm",
            f"Guide holes of {figure(guide)} mm would run into each other: `card.guide_pitch_mm` is only "
            f"{figure(mm['guide_pitch_mm'])} mm.",
            f"A `guide_hole_mm` under {figure(mm['guide_pitch_mm'])}.",
        )


def _across_the_sheet(columns: int, mm: Mapping[str, float], has_clips: bool) -> Iterator[Wrong]:
    hole, sheet = mm["hole_mm"], mm["sheet_width_mm"]
    taken = (columns - 1) * mm["column_pitch_mm"] + hole
    if taken >= sheet:
        yield Wrong(
            "sheet_width_mm",
            f"{columns} columns take {figure(taken)} mm, but the sheet is {figure(sheet)} mm wide "
            "(`card.sheet_width_mm`, `card.column_pitch_mm`).",
            f"A `sheet_width_mm` over {figure(taken)}, or a smaller `column_pitch_mm`.",
        )
        return
    room = (sheet - taken) / 2
    at_the_edge = [("guide_from_edge_mm", "guide", mm["guide_hole_mm"])]
    at_the_edge += [("clip_from_edge_mm", "clip", mm["clip_hole_mm"])] if has_clips else []
    together = sum(size for _, _, size in at_the_edge)
    wider = figure(taken + 2 * max(mm[key] + size / 2 for key, _, size in at_the_edge))
    for key, kind, size in at_the_edge:
        if mm[key] <= size / 2:
            yield Wrong(
                key,
                f"The {kind} holes ({figure(size)} mm) would run off the sheet's edge: `card.{key}` is "
                f"{figure(mm[key])} mm to their centre.",
                f"A `{key}` over {figure(size / 2)}.",
            )
        elif mm[key] + size / 2 >= room:
            yield Wrong(
                key,
                f"The {kind} holes would run into the first column of pattern holes, which begins "
                f"{figure(room)} mm from the edge: `card.{key}` is {figure(mm[key])} mm.",
                f"A `{key}` under {figure(room - size / 2)}, or a `sheet_width_mm` over {wider}."
                if room > together
                else f"A `sheet_width_mm` over {wider}: there is no room for them at the edge.",
            )


def _off_the_end(mm: Mapping[str, float]) -> Iterator[Wrong]:
    if mm["end_margin_mm"] <= mm["hole_mm"] / 2:
        yield Wrong(
            "end_margin_mm",
            f"The first row of holes ({figure(mm['hole_mm'])} mm) would run off the sheet's end: `card.end_margin_mm` "
            f"is {figure(mm['end_margin_mm'])} mm to their centre.",
            f"An `end_margin_mm` over {figure(mm['hole_mm'] / 2)}.",
        )


def _clips(mm: Mapping[str, float], ends: Sequence[float]) -> Iterator[Wrong]:
    clip, guide, pitch = mm["clip_hole_mm"], mm["guide_hole_mm"], mm["guide_pitch_mm"]
    if ends and ends[0] <= clip / 2:
        yield Wrong(
            "clip_from_end_mm",
            f"A clip hole ({figure(clip)} mm) would run off the sheet's end: `card.clip_from_end_mm` is "
            f"{figure(ends[0])} mm to its centre.",
            f"Over {figure(clip / 2)} each.",
        )
    if any(second - first <= clip for first, second in pairwise(ends)):
        yield Wrong(
            "clip_from_end_mm",
            f"Clip holes of {figure(clip)} mm would run into each other (`card.clip_from_end_mm`).",
            f"Over {figure(clip)} mm between their centres.",
        )
    aside = abs(mm["clip_from_edge_mm"] - mm["guide_from_edge_mm"])
    first_guide = mm["end_margin_mm"] + mm["guide_offset_mm"]
    if guide >= pitch:
        return  # told already: nothing fits between guide holes that touch
    for end in ends:
        along = (end - first_guide) % pitch
        if math.hypot(aside, min(along, pitch - along)) <= (clip + guide) / 2:
            yield Wrong(
                "clip_from_edge_mm",
                f"The clip hole {figure(end)} mm from the end would run into a guide hole "
                "(`card.clip_from_edge_mm`, `card.guide_from_edge_mm`).",
                f"Over {figure((clip + guide) / 2)} mm between their centres.",
            )
            return


def figure(number: float) -> str:
    """A number with at most two decimals and no more zeros than it needs."""
    return f"{number:.2f}".rstrip("0").rstrip(".")
