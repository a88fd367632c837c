"""What is typed as it stands: names and commands between back-ticks, options with their quoted value."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

_CODE: Final = re.compile(r"`([^`\n]+)`|((?<![\w-])--[a-z][a-z-]+(?: \"[^\"\n]*\")?)")


def stretches(text: str) -> Iterator[tuple[str, bool]]:
    """The text in stretches without back-ticks, in order, each with whether it is code."""
    position = 0
    for match in _CODE.finditer(text):
        if match.start() > position:
            yield text[position : match.start()], False
        yield match[1] or match[2], True
        position = match.end()
    if position < len(text):
        yield text[position:], False


def unbroken(text: str, most: int) -> str:
    """The same text with no-break spaces in code of up to `most` characters, so that no line ends inside it."""

    def joined(match: re.Match[str]) -> str:
        return match[0].replace(" ", "\N{NO-BREAK SPACE}") if len(match[0]) <= most else match[0]

    return _CODE.sub(joined, text)
