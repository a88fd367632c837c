"""Which `gauge` lines count for which yarn, and which for none. Needs no model."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from stitchc.english import listed
from stitchc.gauge.doubt import line_of
from stitchc.gauge.gauges import PLAIN
from stitchc.messages import Message
from stitchc.pattern import Pattern, Swatch


def swatches_in(yarn: str | None, swatches: Sequence[Swatch], yarn_of: Mapping[str, str]) -> tuple[Swatch, ...]:
    """The swatches of one yarn: those that name it and, of stitches that none of these is of, those that name no yarn.

    yarn_of: the yarn of the swatches of a stitch that name none, where it is known.
    """
    measured = {swatch.stitch for swatch in swatches if swatch.yarn == yarn}
    return tuple(
        swatch
        for swatch in swatches
        if swatch.yarn == yarn
        or (swatch.yarn is None and swatch.stitch not in measured and yarn_of.get(swatch.stitch) == yarn)
    )


def known_yarns(pattern: Pattern) -> dict[str, str]:
    """The yarn of a stitch's swatches that name none, where only one is possible."""
    yarns = {swatch.stitch: pattern.yarn_of(swatch.stitch) for swatch in pattern.swatches}
    return {stitch: yarn for stitch, yarn in yarns.items() if yarn is not None}


def yarns_to_name(pattern: Pattern) -> dict[str, str]:
    """The yarns that new `gauge` lines have to name, by stitch ("plain" among them), where only one is possible.

    A line names none beside one of its stitch that names none: the two are measurements of the same.
    """
    if len(pattern.yarns) != 1 and all(swatch.yarn is None for swatch in pattern.swatches):
        return {}
    unused = unused_lines(pattern)
    beside = {each.stitch for each in pattern.swatches if each.yarn is None and each not in unused}
    yarns = {name: pattern.yarn_of(name) for name in (PLAIN, *pattern.stitches) if name not in beside}
    return {name: yarn for name, yarn in yarns.items() if yarn is not None}


def unused_lines(pattern: Pattern) -> dict[Swatch, Message]:
    """The `gauge` lines that count for nothing that the file knits, by their yarn, each with its G610.

    Lines of other files are for other work as well: of these only the ones that could have counted.
    """
    measured_yarns = {swatch.yarn for swatch in pattern.swatches if swatch.yarn is not None}
    if not measured_yarns:
        return {}
    yarn_of = known_yarns(pattern)
    counted = {swatch for yarn in measured_yarns for swatch in swatches_in(yarn, pattern.swatches, yarn_of)}
    every_fabric = {yarns for fabrics in pattern.fabrics.values() for yarns in fabrics}
    every_yarn = frozenset[str | None]().union(*every_fabric)
    unused = {}
    for swatch in pattern.swatches:
        own_file = swatch.span.file == pattern.file
        if swatch.yarn is not None:
            if swatch.yarn not in every_yarn and own_file:
                unused[swatch] = _of_no_row(swatch)
            continue
        fabrics = pattern.fabrics.get(swatch.stitch) if swatch.stitch != PLAIN else None
        counts = any(len(yarns) > 1 for yarns in fabrics or ()) or any(
            yarn not in measured_yarns for yarns in fabrics or every_fabric for yarn in yarns
        )
        if swatch not in counted and not counts and (own_file or fabrics or swatch.stitch == PLAIN):
            unused[swatch] = _of_no_yarn(swatch, pattern.by_yarn(dict.fromkeys(_yarns_of(fabrics) or every_yarn)))
    return unused


def _yarns_of(fabrics: Sequence[frozenset[str | None]] | None) -> frozenset[str | None]:
    return frozenset[str | None]().union(*fabrics or ())


def _of_no_row(swatch: Swatch) -> Message:
    text = f"This measurement is not used: nothing in this file is knitted in `{swatch.yarn}`."
    advice = f"`knit … in {swatch.yarn}` in a piece, or `1 in {swatch.yarn}:` before a row; or delete this line."
    return Message("G610", "warning", text, swatch.span, advice, "not used")


def _of_no_yarn(swatch: Swatch, yarns: Mapping[str | None, object]) -> Message:
    names = [name for name in yarns if name is not None]
    have = f"{'has' if len(names) == 1 else 'have'} gauge lines of {'its' if len(names) == 1 else 'their'} own"
    text = f"This measurement is not used: it names no yarn, and {listed([f'`{name}`' for name in names])} {have}."
    lines = [f"`{line_of(swatch._replace(yarn=name))}`" for name in names]
    return Message("G610", "warning", text, swatch.span, f"{listed(lines, 'or')}.", "not used")
