"""Leaflets to look at: made once for all tests, and taken apart as their readers meet them."""

from __future__ import annotations

import functools
import json
import re
from pathlib import Path
from typing import Any

from stitchc import LeafletOptions, Product, compile_text, load_machine, make_leaflet
from stitchc.document import Document
from stitchc.machines import SHIPPED
from stitchc.pattern import Pattern

EXAMPLES = Path(__file__).parents[2] / "examples"
DATE = "2026-05-01"


THICK = "-in-thick-yarn"
"""Added to an example's name: the same in a yarn whose stitches are 1.6 times as large, as a wide bed takes them."""


@functools.cache
def pattern(name: str) -> Pattern:
    path = EXAMPLES / f"{name.removesuffix(THICK)}.stitch"
    text = path.read_text("utf-8")
    if name.endswith(THICK):
        text = re.sub(r"(?m)^(gauge .* per) (\d+) cm", lambda line: f"{line[1]} {1.6 * int(line[2]):g} cm", text)
    found = compile_text(text, str(path), path.parent).pattern
    assert found is not None
    return found


def leaflet(name: str, form: str = "both", page: str = "a4") -> Product[Document]:
    return _leaflet(name, form, page)


@functools.cache
def _leaflet(name: str, form: str, page: str) -> Product[Document]:
    options = LeafletOptions(form=form, page=page, pictures=False, date=DATE)  # type: ignore[arg-type]
    return make_leaflet(pattern(name), [load_machine(machine) for machine in SHIPPED], options)


@functools.cache
def content(name: str, ending: str, page: str = "a4") -> bytes:
    """page: of the PDF; what is asked for on another paper than the usual one is made in its own form alone."""
    form = "both" if page == "a4" else ending.removeprefix(".")
    return next(file.content for file in leaflet(name, form, page).files if file.name.endswith(ending))


@functools.cache
def store(page: str) -> dict[str, Any]:
    """What the page's script takes apart."""
    found = re.search(r'<script type="application/json" id="store">(.*?)</script>', page, re.DOTALL)
    assert found
    kept: dict[str, Any] = json.loads(found[1])
    return kept


def chosen(page: str, *options: str) -> str:
    """The part of the page that the reader gets who chooses these, in the order of the page's questions."""
    kept = store(page)
    return "".join(
        kept["lines"][line] for stretch in kept["pages"]["\n".join(options)] for line in kept["stretches"][stretch]
    )


def in_size(text: str, place: int) -> str:
    """Words with figures of several sizes in brackets, as the knitter of one size reads them: the first figure, or the
    one at this place; and of what is said of each size, what is said of hers."""

    def own(match: re.Match[str]) -> str:
        first, others = match[1], match[2].split(", ")
        return first if place == 0 else others[place - 1]

    said = re.split(r"\b(?:Size|size) [\d.]+ (?:cm|in): ", text)
    if len(said) > 1:
        text = said[0] + said[place + 1].rstrip("; ")
    return re.sub(r"([\w.]+) \[([\w., ]+)\]", own, text)
