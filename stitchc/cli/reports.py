"""What the commands that list or check can be asked for. Apart from the products' options, so that these start fast."""

from dataclasses import dataclass
from typing import Literal

from stitchc.option import chosen_book, chosen_form, chosen_spread, chosen_stitches


@dataclass(frozen=True)
class CheckOptions:
    """What `stitchc check` looks at, and the form of its report."""

    stitches: tuple[str, ...] = chosen_stitches()
    spread: float | None = chosen_spread()
    book: str | None = chosen_book()
    form: Literal["text", "json"] = chosen_form("text")


@dataclass(frozen=True)
class ListOptions:
    """The form of what a command lists."""

    form: Literal["text", "json"] = chosen_form("text")
