"""The hole card: from a stitch and a machine to a template at true scale, its punching list and its proof."""

from stitchc.card.plan import Card, Change, plan_card, unfit
from stitchc.card.product import make_card

__all__ = ["Card", "Change", "make_card", "plan_card", "unfit"]
