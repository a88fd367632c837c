"""How heavy yarns are: their tex by category, by ball band, and by what a description calls them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Final

from stitchc.gauge.gauges import Range
from stitchc.messages import Message
from stitchc.pattern import WEIGHT_NAMES, Pattern, Yarn

WEIGHT_TEX: Final[Mapping[str, tuple[float, float]]] = {
    "lace": (25, 207),
    "super-fine": (207, 296),
    "fine": (261, 413),
    "light": (390, 551),
    "medium": (437, 825),
    "bulky": (643, 1238),
    "super-bulky": (911, 2500),
    "jumbo": (2500, 7000),
}
"""Tex by category of the standard yarn weight system. The standard gives no lengths: each range holds two rough guides,
a magazine's yards per pound by category ("Yarn Standards" sheet) and a shop's yards per 100 g by name ("Yarn 101:
weight": fingering, sport, double knitting, worsted and aran, bulky). The finest lace, the coarsest super bulky and
jumbo are from memory. The two guides differ by up to a half: a ball band is better than either."""

NAME_SLACK: Final = 1.12
"""How far beyond its category's range a yarn may lie before its name is doubted: ball bands differ (chosen)."""

BALL_BAND: Final = "it is 1000 x grams / metres of a ball, so 50 g with 120 m is tex 417."


def tex_of(yarn: Yarn) -> Range | None:
    """The yarn's tex (g per km): as declared, else the range of its category; None where neither is said."""
    if yarn.tex is not None:
        return Range(yarn.tex, yarn.tex * 0.97, yarn.tex * 1.03)
    if yarn.weight is None:
        return None
    low, high = WEIGHT_TEX[yarn.weight]
    return Range(math.sqrt(low * high), low, high)


BALL_SLACK: Final = 1.1
"""How far the declared tex may be from that of the ball: a ball band is rounded, and yarn is spun within some percent
(chosen)."""


def misnamed(pattern: Pattern) -> list[Message]:
    """G608: yarns whose tex contradicts the weight that their description names, or their ball."""
    yarns = pattern.yarns.values()
    return [message for yarn in yarns for message in (*_misnamed(yarn), *_unlike_its_ball(yarn))]


def _unlike_its_ball(yarn: Yarn) -> list[Message]:
    if yarn.ball is None or yarn.tex is None or 1 / BALL_SLACK <= yarn.tex / yarn.ball.tex <= BALL_SLACK:
        return []
    ball = f"{yarn.ball.grams:g} g with {yarn.ball.metres:g} m"
    text = f"Yarn `{yarn.name}` has tex {yarn.tex:g}, but a ball of {ball} is tex {yarn.ball.tex:g}. The weights "
    text += f"follow from tex {yarn.tex:g}, and balls are counted by weight."
    advice = "Leave `tex` out, or correct the ball. If you knit with several strands together, tex is that of all of "
    advice += "them, and nothing is wrong."
    return [Message("G608", "warning", text, yarn.span, advice, "tex and ball do not agree")]


def _misnamed(yarn: Yarn) -> list[Message]:
    named = [(f"weight {yarn.weight}", yarn.weight, yarn.weight)] if yarn.weight else []
    for words, finest, coarsest in WEIGHT_NAMES:
        if (match := re.search(words, yarn.description, re.IGNORECASE)) is not None:
            named.append((match.group(), finest, coarsest))
            break
    for name, finest, coarsest in named:
        low, high = WEIGHT_TEX[finest][0], WEIGHT_TEX[coarsest][1]
        if yarn.tex is None or low / NAME_SLACK <= yarn.tex <= high * NAME_SLACK:
            continue
        text = f"Yarn `{yarn.name}` is called {name}, which is usually tex {low:g} to {high:g}, but its tex is "
        text += f"{yarn.tex:g}: weights of yarn come out in proportion."
        advice = f"Work out the tex from the ball band: {BALL_BAND}"
        return [Message("G608", "warning", text, yarn.span, advice, "name and tex do not agree")]
    return []
