"""`--needles 80` and `--needles L40-R39`: which needles are in work, and what the edge needles leave of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from stitchc.cli.common import option
from stitchc.cli.wrong_usage import refuse

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.pattern import Stitch

F = TypeVar("F", bound=Callable[..., Any])


class NeedlesType(click.ParamType):  # type: ignore[type-arg]
    """A number of needles, or a range of them."""

    name = "needles"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> Needles:
        """The needles; click.BadParameter saying what is allowed."""
        from stitchc.bed import Needles

        if isinstance(value, Needles):
            return value
        try:
            return Needles.parse(str(value))
        except ValueError as error:
            refuse(f"{error}.", param, ctx)


def needles_option(unsaid: str) -> Callable[[F], F]:
    """--needles N|L40-R39, handed to the command as `needles` (Needles or None). unsaid: what there is without it."""
    text = f"Needles in work. {unsaid}, if unsaid."
    return option("--needles", metavar="80|L40-R39", type=NeedlesType(), default=None, help=text)


def leave_room(needles: Needles, edge: int, stitch: Stitch) -> None:
    """Raise click.BadParameter where the edge needles, which always knit, are all that is in work."""
    if needles.count > 2 * edge:
        return
    raise click.BadParameter(
        f"with {edge} edge needle{'' if edge == 1 else 's'} at each end of {needles.count} in work none is left "
        f"for the stitch. Try --needles {2 * edge + stitch.chart.width} or a smaller --edge.",
        param_hint="--edge",
    )
