"""The yarn of a piece, and of all pieces of a pattern, in words. Knows plans as values; nothing of files or pages."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from stitchc.document import Block, Listing, Part, Table, Terms
from stitchc.english import M_PER_YARD, count_of, listed, metres, several
from stitchc.gauge.gauges import Range
from stitchc.pattern import Pattern
from stitchc.piece.plan import Plan
from stitchc.piece.yarn import ALLOWANCE, AllYarn, ToHave, YarnNeeded, yarn_needed
from stitchc.sheet.terms import MAIN_YARN, WHICH_IS_MAIN

NOT_NAMED: Final = "a further yarn, which the designer has not named"
"""What the main yarn is for those who do not have the pattern's file, where it has no name."""

_TO_HAVE: Final = f"The amount to have is the upper end of the range plus {ALLOWANCE:.0%} for"
_CAST_ON: Final = "the cast-on, ends"
_TWO_FIGURES: Final = " or "


def yarn_part(
    heading: str,
    plans: Sequence[Plan],
    labels: Sequence[str],
    in_yards: bool,
    after_row: int = 0,
    for_others: bool = False,
    to_buy: bool = False,
) -> Part:
    """How much of each yarn is needed in each size, and what to have ready. in_yards: yards beside the metres.
    after_row: for the rows after this one alone. for_others: whoever reads it has no pattern's file to add to. to_buy:
    it is all the yarn that there is to buy, so that balls are counted."""
    sizes = [yarn_needed(plan, after_row) for plan in plans]
    pattern = plans[0].pattern
    blocks: list[Block] = [Terms(tuple(_described(yarns, pattern, for_others) for yarns in zip(*sizes, strict=True)))]
    blocks += _amounts(sizes, labels, in_yards, to_buy)
    lines = []
    if any(yarn.metres is not None for yarn in sizes[0]):
        lines.append(
            f"{_TO_HAVE} {'ends' if after_row else _CAST_ON} and a row gone wrong (common practice). "
            + ("Waste yarn is not included." if after_row else "Swatches and waste yarn are not included.")
        )
    lines += [] if for_others else _what_to_add(sizes[0], pattern)
    lines += _of_balls(sizes, in_yards) if to_buy else []
    return Part(heading, (*blocks, *([Listing(tuple(lines))] if lines else [])))


def _described(sizes: Sequence[YarnNeeded], pattern: Pattern, for_others: bool) -> tuple[str, str]:
    """A yarn's name, and what it is."""
    yarn, main = sizes[0], pattern.main_yarn
    words = [yarn.description] if yarn.description not in ("", yarn.name) else []
    if main is not None and yarn.name == main.name:
        words.append(MAIN_YARN)
    elif yarn.name is None and pattern.yarns:
        words.append(NOT_NAMED if for_others else WHICH_IS_MAIN)
    return _name(yarn), ", ".join([*words, count_of([each.rows for each in sizes], "row")])


def _name(yarn: YarnNeeded) -> str:
    return yarn.name or MAIN_YARN


def _what_to_add(yarns: Sequence[YarnNeeded], pattern: Pattern) -> Iterator[str]:
    """What the file lacks for the amounts to be known."""
    if any(yarn.metres is None for yarn in yarns):
        yield "The amount is not known: add the gauge of stocking stitch to learn it."
    elif unknown := [yarn for yarn in yarns if yarn.grams is None and (yarn.name or not pattern.yarns)]:
        line = "a line such as `yarn oat tex 417` to the pattern"
        if names := [yarn.name for yarn in unknown if yarn.name]:
            line = f"`tex` or `weight` to the yarn line of {listed(names)}"
        yield f"To learn the weight, add {line}."
    if pattern.main_yarn is None and any(yarn.name is None for yarn in yarns) and pattern.yarns:
        yield (
            "The main yarn is the yarn of the rows that name none. If it is one of the yarns above, write "
            f"{in_yarn_words(pattern)}. It is then counted and weighed with that yarn."
        )


def purchase_part(everything: AllYarn, in_yards: bool) -> Iterator[Part]:
    """What all pieces of the pattern take together, in each size, and how many balls to buy; nothing where there is no
    more to say than of the one piece."""
    sizes = everything.sizes
    swatches = any(yarn.swatch_metres for yarn in sizes[0])
    if everything.is_one_piece and not swatches:
        return
    tables = list(_amounts(sizes, everything.labels, in_yards))
    if not tables:
        return
    pieces = [f"{count} × {name}" for name, count in everything.pieces]
    lines = [f"{name} is counted in size {size}." for name, size in everything.in_one_size]
    if everything.left_out:
        names = listed([f"`{name}`" for name in everything.left_out])
        lines.append(f"Not counted: {names}, which can't be planned on this machine or without a gauge.")
    purpose = f"These amounts are for all that you knit: {listed([*pieces, *(['the swatches'] if swatches else [])])}."
    if taken := [
        f"{metres([yarn.swatch_metres], in_yards)} of {_name(yarn)}" for yarn in sizes[0] if yarn.swatch_metres
    ]:
        lines.append(f"The amounts to have include yarn for the swatches: {listed(taken)}.")
    if everything.is_one_piece:
        lines.append(f"{_TO_HAVE} {_CAST_ON} and a row gone wrong (common practice). Waste yarn is not included.")
    lines += _of_balls(sizes, in_yards)
    yield Part("Yarn to buy", (purpose, *tables, *([Listing(tuple(lines))] if lines else [])))


def _amounts(
    sizes: Sequence[Sequence[YarnNeeded]], labels: Sequence[str], in_yards: bool, to_buy: bool = True
) -> Iterator[Table]:
    """A line for each yarn in each size: what the fabric takes, with its range, and what to have; nothing where no
    amount is known."""
    weighed = any(yarn.grams for yarns in sizes for yarn in yarns)
    lines = []
    for yarns in zip(*sizes, strict=True):
        for size, yarn in zip(labels or [""] * len(yarns), yarns, strict=True):
            have, least = yarn.to_have(), yarn.to_have(whole_range=False)
            if yarn.metres is None or have is None or least is None:
                continue
            balls = [str(count) for count in sorted({count for count in (least.balls, have.balls) if count})]
            lines.append(
                {
                    "Yarn": _name(yarn),
                    "Size": size if len(labels) > 1 else "",
                    "Metres": _with_range(yarn.metres),
                    "Yards": _with_range(yarn.metres.times(1 / M_PER_YARD)) if in_yards else "",
                    "Grams": _with_range(yarn.grams) if yarn.grams else "not known" if weighed else "",
                    "Have": ", ".join(_ways(have, in_yards)),
                    "Balls": _TWO_FIGURES.join(balls) if to_buy else "",
                }
            )
    if lines:
        heads = [head for head in lines[0] if any(line[head] for line in lines)]
        yield Table(tuple(heads), tuple(tuple(line[head] for head in heads) for line in lines))


def _of_balls(sizes: Sequence[Sequence[YarnNeeded]], in_yards: bool) -> Iterator[str]:
    """What is to be known of the balls to buy."""
    balls = [(_name(yarn), yarn.ball) for yarn in sizes[0] if yarn.ball and yarn.to_have()]
    if not balls:
        return
    for name, ball in balls:
        yield f"A ball of {name} has {ball.grams:g} g with {metres([ball.metres], in_yards)}."
    counts = [(yarn.to_have(), yarn.to_have(whole_range=False)) for yarns in sizes for yarn in yarns if yarn.ball]
    if any(have and least and have.balls != least.balls for have, least in counts):
        yield (
            "Where two numbers of balls are given, the smaller is enough for the middle of the range, the larger for "
            "its upper end."
        )
    yield (
        "Buy all balls of a colour at once and from one dye lot: the next lot may differ visibly. Keep a ball band "
        "until the end."
    )


def in_lines(parts: Iterable[Part]) -> Iterator[str]:
    """The same, a sentence for each yarn: "oat, 18 cm. Metres: 61 (54 to 68). Have: 80 m or 20 g."."""
    for block in (block for part in parts for block in part.blocks):
        if isinstance(block, Table):
            for row in block.rows:
                yield f"{row[0]}. " + " ".join(
                    f"{head}: {cell}." for head, cell in zip(block.head[1:], row[1:], strict=True) if cell
                )
        elif isinstance(block, Terms):
            yield from (f"{name}: {meaning}." for name, meaning in block.pairs)
        elif isinstance(block, Listing):
            yield from block.items
        else:
            yield str(block)


def in_yarn_words(pattern: Pattern) -> str:
    """Where a yarn is named, to be copied, with a yarn of the pattern: what gives rows without a yarn one."""
    name = next(iter(pattern.yarns), "sand")
    return f"`in {name}` after the row numbers, or after the stitch in the `knit` line"


def have_words(sizes: Sequence[YarnNeeded], in_yards: bool) -> str | None:
    """How much to have at hand in each size, "290 [310] m or 65 [70] g"; None where nothing is known of it."""
    amounts = [have for yarn in sizes if (have := yarn.to_have()) is not None]
    return _have(amounts, in_yards) if len(amounts) == len(sizes) else None


def _have(amounts: Sequence[ToHave], in_yards: bool) -> str:
    words = metres([have.metres for have in amounts], in_yards)
    weights = [have.grams for have in amounts if have.grams is not None]
    return f"{words} or {several([f'{each:,.0f}' for each in weights])} g" if weights else words


def _ways(have: ToHave, in_yards: bool) -> Iterator[str]:
    """ "290 m", "318 yd" if they are asked for, and "65 g": the same amount each time."""
    yield f"{have.metres:,.0f} m"
    if in_yards:
        yield f"{math.ceil(have.metres / M_PER_YARD):,} yd"
    if have.grams is not None:
        yield f"{have.grams:,.0f} g"


def _with_range(amount: Range) -> str:
    return f"{_figure(amount.value)} ({_figure(amount.low)} to {_figure(amount.high)})"


def _figure(value: float) -> str:
    """To two or three figures: no skein is known to the metre."""
    return f"{value:.1f}" if value < 10 else f"{round(value, min(0, 3 - len(str(round(value))))):,.0f}"
