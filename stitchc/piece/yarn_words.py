"""The yarn of a piece, and of all pieces of a pattern, in words. Knows plans as values; nothing of files or pages."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from stitchc.english import count_of, listed, several
from stitchc.gauge.values import Range
from stitchc.pattern import Pattern
from stitchc.piece.plan import Plan
from stitchc.piece.yarn import ALLOWANCE, AllYarn, YarnNeeded, balls_of, yarn_needed
from stitchc.sheet.terms import WHICH_IS_MAIN


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
            + ("ends" if after_row else "the swatch, the cast-on, ends")
            + " and a row gone wrong (common practice). Waste yarn is not included."
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
    return f"{words}. Have {have_words(*sizes)}."


def purchase_lines(everything: AllYarn, in_yards: bool) -> Iterator[str]:
    """What all pieces of the pattern take together, in each size, and how many balls to buy; nothing where there is no
    more to say than of the one piece."""
    several_pieces = len(everything.pieces) > 1 or everything.pieces[0][1] > 1
    lines = []
    for sizes in zip(*everything.sizes, strict=True):
        name = sizes[0].name or "the main yarn"
        words = ""
        if several_pieces and sizes[0].metres is not None:
            words = f"{name[:1].upper()}{name[1:]}" if sizes[0].name is None else name
            words += f": {_amounts(sizes, in_yards)}. Have {have_words(*sizes)}."
        balls = [balls_of(yarn) for yarn in sizes]
        bought = [each for each in balls if each is not None]
        if len(bought) == len(sizes):
            ball = bought[0].ball
            words += f" Buy {count_of([each.count for each in bought], 'ball')} of {name}"
            words += f" ({ball.grams:g} g with {ball.metres:g} m each)"
            spares = [each.spare for each in bought]
            reason = ": at the upper end of the range you need it" if any(spares) else ""
            if len(set(spares)) > 1:  # "0 [1, 1] more" would be hard to read
                words += f", or {several([each.count + each.spare for each in bought])} with a spare"
            elif any(spares):
                words += f", and {several(spares)} more as a spare"
            words += f"{reason}."
        if words:
            lines.append(words.strip())
    if not lines:
        return
    if several_pieces:
        yield f"These amounts are for {listed([f'{count} of {name}' for name, count in everything.pieces])} together."
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


def have_words(*sizes: YarnNeeded) -> str | None:
    """How much to have at hand in each size, "290 [310] m or 65 [70] g"; None where nothing is known of it."""
    metres, weights = zip(*(yarn.to_have() for yarn in sizes), strict=True)
    if None in metres:
        return None
    words = f"{several([_up(each) for each in metres])} m"
    return words if None in weights else f"{words} or {several([_up(each) for each in weights])} g"


def _amounts(sizes: Sequence[YarnNeeded], in_yards: bool) -> str:
    """The metres, the yards and the grams, of one size with their ranges, of several with the others in brackets."""
    metres = [yarn.metres for yarn in sizes if yarn.metres is not None]
    words = _amount(metres, "m")
    if in_yards:
        words += f" ({_amount([each.times(1 / 0.9144) for each in metres], 'yd')})"
    weights = [yarn.grams for yarn in sizes if yarn.grams is not None]
    return f"{words}, {_amount(weights, 'g')}" if weights else words


def _amount(sizes: Sequence[Range], unit: str) -> str:
    words = f"{several([_figure(size.value) for size in sizes])} {unit}"
    return words if len(sizes) > 1 else f"{words} ({_figure(sizes[0].low)} to {_figure(sizes[0].high)})"


def _figure(value: float) -> str:
    """To two or three figures: no skein is known to the metre."""
    return f"{value:.1f}" if value < 10 else f"{float(f'{value:.3g}'):,.0f}"


def _up(value: float) -> str:
    """Rounded up to what can be bought or weighed out: fives, or tens over a hundred."""
    step = 5 if value < 100 else 10
    return f"{-(-value // step) * step:,.0f}"
