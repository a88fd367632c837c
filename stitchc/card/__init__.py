"""The hole card: from a stitch and a machine to a template at true scale, its punching list and its proof."""

from stitchc.card.plan import Card, Change, make_card, unfit

__all__ = ["Card", "Change", "make_card", "unfit"]
