"""The yarn of a piece, and of all pieces of a pattern, in words. Knows plans as values; nothing of files or pages."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from stitchc.document import Listing, Part
from stitchc.english import count_of, listed, several
from stitchc.gauge.values import Range
from stitchc.pattern import Pattern
from stitchc.piece.plan import Plan
from stitchc.piece.yarn import ALLOWANCE, AllYarn, ToHave, YarnNeeded, yarn_needed
from stitchc.sheet.terms import WHICH_IS_MAIN

M_PER_YARD: Final = 0.9144


def yarn_lines(plans: Sequence[Plan], in_yards: bool, after_row: int = 0, for_others: bool = False) -> Iterator[str]:
    """How much of each yarn is needed in each size, and what to have ready. in_yards: yards beside the metres.
    after_row: for the rows after this one alone. for_others: whoever reads it has no pattern's file to add to."""
    needed = [yarn_needed(plan, after_row) for plan in plans]
    pattern = plans[0].pattern
    main = pattern.main_yarn
    for sizes in zip(*needed, strict=True):
        is_main = main is not None and sizes[0].name == main.name
        yield _yarn_line(sizes, is_main, in_yards, bool(pattern.yarns), for_others)
    if any(yarn.metres is not None for yarn in needed[0]):
        yield (
            f"The amount to have is the upper end of the range plus {ALLOWANCE:.0%} for "
            + ("ends" if after_row else "the cast-on, ends")
            + " and a row gone wrong (common practice). "
            + ("Waste yarn is not included." if after_row else "Swatches and waste yarn are not included.")
        )
    if main is None and any(yarn.name is None for yarn in needed[0]) and pattern.yarns and not for_others:
        yield (
            "The main yarn is the yarn of the rows that name none. If it is one of the yarns above, write "
            f"{in_yarn_words(pattern)}. It is then counted and weighed with that yarn."
        )


def _yarn_line(sizes: Sequence[YarnNeeded], is_main: bool, in_yards: bool, declared: bool, for_others: bool) -> str:
    yarn = sizes[0]
    name = yarn.name or "The main yarn"
    described = f" ({yarn.description})" if yarn.description else ""
    described += ", the main yarn" if is_main and yarn.name else ""
    if yarn.name is None and declared:
        described = f" ({WHICH_IS_MAIN})"
    words = f"{name}{described}, {count_of([each.rows for each in sizes], 'row')}: "
    if yarn.metres is None:
        return words + ("amount not known." if for_others else "add the gauge of stocking stitch to learn the amount.")
    words += _amounts(sizes, in_yards)
    if yarn.grams is None and (declared or for_others):
        words += ", weight not known"
        words += " (add `tex` or `weight` to its yarn line)" if yarn.name is not None and not for_others else ""
    elif yarn.grams is None:
        words += ", weight not known (add a line such as `yarn oat tex 417` to the pattern)"
    return f"{words}. Have {have_words(sizes, in_yards)}."


def purchase_part(everything: AllYarn, in_yards: bool) -> Iterator[Part]:
    """What to buy for all pieces, where there is anything to say of it."""
    if lines := tuple(purchase_lines(everything, in_yards)):
        yield Part("Yarn to buy", (Listing(lines),))


def purchase_lines(everything: AllYarn, in_yards: bool) -> Iterator[str]:
    """What all pieces of the pattern take together, in each size, and how many balls to buy; nothing where there is no
    more to say than of the one piece."""
    several_pieces = len(everything.pieces) > 1 or everything.pieces[0][1] > 1
    lines = []
    for sizes in zip(*everything.sizes, strict=True):
        name = sizes[0].name or "the main yarn"
        swatch = sizes[0].swatch_metres
        words = ""
        if (several_pieces or swatch) and sizes[0].metres is not None:
            words = f"{name[:1].upper()}{name[1:]}" if sizes[0].name is None else name
            words += f": {_amounts(sizes, in_yards)}. Have {have_words(sizes, in_yards)}"
            words += f", {_metres([swatch], in_yards)} of it for swatches" if swatch else ""
            words += "."
        balls = [balls for have in _to_have(sizes) if (balls := have.balls)]
        if sizes[0].ball is not None and len(balls) == len(sizes):
            ball = sizes[0].ball
            words += f" Buy {count_of(balls, 'ball')} of {name}"
            words += f" ({ball.grams:g} g with {_metres([ball.metres], in_yards)} each)."
            fewer = [have.balls or 0 for have in _to_have(sizes, whole_range=False)]
            if fewer != balls:
                is_one = set(fewer) == {1}
                words += f" {several(fewer)} {'is' if is_one else 'are'} enough if you need no more than the middle of "
                words += "the range."
        if words:
            lines.append(words.strip())
    if not lines:
        return
    if several_pieces:
        pieces = listed([f"{count} × {name}" for name, count in everything.pieces])
        yield f"These amounts are for all that you knit: {pieces}."
    yield from lines
    for name, size in everything.in_one_size:
        yield f"{name} is counted in size {size}."
    if everything.left_out:
        names = listed([f"`{name}`" for name in everything.left_out])
        yield f"Not counted: {names}, which can't be planned on this machine or without a gauge."
    if any("Buy" in line for line in lines):
        yield (
            "Buy all balls of a colour at once and from one dye lot: the next lot may differ visibly. Keep a ball band "
            "until the end."
        )


def in_yarn_words(pattern: Pattern) -> str:
    """Where a yarn is named, to be copied, with a yarn of the pattern: what gives rows without a yarn one."""
    name = next(iter(pattern.yarns), "sand")
    return f"`in {name}` after the row numbers, or after the stitch in the `knit` line"


def have_words(sizes: Sequence[YarnNeeded], in_yards: bool) -> str | None:
    """How much to have at hand in each size, "290 [310] m or 65 [70] g"; None where nothing is known of it."""
    amounts = _to_have(sizes)
    weights = [have.grams for have in amounts if have.grams is not None]
    if len(amounts) < len(sizes):
        return None
    words = _metres([have.metres for have in amounts], in_yards)
    return f"{words} or {several([f'{each:,.0f}' for each in weights])} g" if weights else words


def _to_have(sizes: Sequence[YarnNeeded], whole_range: bool = True) -> list[ToHave]:
    """Of each size that is known."""
    return [have for yarn in sizes if (have := yarn.to_have(whole_range)) is not None]


def _metres(sizes: Sequence[float], in_yards: bool) -> str:
    """ "290 [310] m", with the yards behind it if they are asked for."""
    words = f"{several([f'{metres:,.0f}' for metres in sizes])} m"
    yards = [f"{math.ceil(metres / M_PER_YARD):,}" for metres in sizes]
    return f"{words} ({several(yards)} yd)" if in_yards else words


def _amounts(sizes: Sequence[YarnNeeded], in_yards: bool) -> str:
    """The metres, the yards and the grams, of one size with their ranges, of several with the others in brackets."""
    metres = [yarn.metres for yarn in sizes if yarn.metres is not None]
    words = _amount(metres, "m")
    if in_yards:
        words += f" ({_amount([each.times(1 / M_PER_YARD) for each in metres], 'yd')})"
    weights = [yarn.grams for yarn in sizes if yarn.grams is not None]
    return f"{words}, {_amount(weights, 'g')}" if weights else words


def _amount(sizes: Sequence[Range], unit: str) -> str:
    words = f"{several([_figure(size.value) for size in sizes])} {unit}"
    return words if len(sizes) > 1 else f"{words} ({_figure(sizes[0].low)} to {_figure(sizes[0].high)})"


def _figure(value: float) -> str:
    """To two or three figures: no skein is known to the metre."""
    return f"{value:.1f}" if value < 10 else f"{float(f'{value:.3g}'):,.0f}"
