"""The page of each message code: what it means in plain words, a wrong example, the same example fixed, what to do.

One TOML file a code beside this module. Reads them and nothing else; the tests compile every example.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

_FOLDER = Path(__file__).parent

PATTERN_NAME = "cowl.stitch"
"""What the examples' file is called where the page does not say."""

KINDS: Mapping[str, str] = {
    "N": "the notation: what is written",
    "K": "knitting: what needles and yarn can do",
    "M": "the machine: what it can read and hold",
    "P": "a whole piece",
    "G": "gauge: what was measured",
    "D": "a drawn chart",
    "T": "a chart traced from a picture",
    "V": "the fabric drawn yarn by yarn",
    "L": "the leaflet for other knitters",
    "F": "files",
}
"""What the first letter of a code stands for."""


class Page(NamedTuple):
    """One page. wrong raises the code and fixed nothing; both None where no example can raise it.

    command: the words after `stitchc` that raise it on the wrong file (FILE stands for it; default: after the
    command's name). fixed_command: those for the fixed file, which is the wrong one where a page has no other.
    file: what the file is called. encoding: how the wrong file was saved. beside: further files by name.
    """

    code: str
    title: str
    text: str
    wrong: str | None = None
    fixed: str | None = None
    command: str = "check"
    fixed_command: str = ""
    file: str = PATTERN_NAME
    encoding: str = "utf-8"
    beside: Mapping[str, str] = {}

    def typed(self, fixed: bool = False) -> list[str]:
        """What is typed after `stitchc` on the wrong (or fixed) example, word by word."""
        words = ((fixed and self.fixed_command) or self.command).split()
        if not any("FILE" in word for word in words):
            words.insert(1, "FILE")
        return [word.replace("FILE", self.file) for word in words]


def codes() -> list[str]:
    """Every code that has a page, in order: by kind as in KINDS, then by number."""
    order = list(KINDS)
    return sorted((path.stem for path in _FOLDER.glob("*.toml")), key=lambda code: (order.index(code[0]), code))


def page(code: str) -> Page | None:
    """The page of a code as written on the page itself ("K204"), or None where there is none."""
    import tomllib

    if code not in codes():
        return None
    entry = tomllib.loads((_FOLDER / f"{code}.toml").read_text(encoding="utf-8"))
    beside = entry.pop("beside", {})
    if "fixed_command" in entry:
        entry.setdefault("fixed", entry["wrong"])
    return Page(**{key: value.strip("\n") for key, value in entry.items()}, beside=beside)
