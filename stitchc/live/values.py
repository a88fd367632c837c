"""Values that the server and its worker hand to each other."""

from __future__ import annotations

from typing import NamedTuple


class Made(NamedTuple):
    """A file for the page to show or for the knitter to keep."""

    name: str
    content: bytes
