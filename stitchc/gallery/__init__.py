"""The page that `stitchc build` leaves beside what it made: every stitch and piece of the pattern at a glance.

Knows what was made and where, not how.
"""

from __future__ import annotations

import html
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Final

from stitchc.english import number, numbered
from stitchc.markup import template
from stitchc.messages import visible

if TYPE_CHECKING:
    from stitchc.chart import Chart
    from stitchc.messages import Message
    from stitchc.pattern import Pattern, Stitch

_NAMES = {".html": "open or print", ".pdf": "PDF", ".svg": "SVG", ".png": "PNG", ".txt": "text", ".json": "JSON"}
"""What a link to each form is called; the form that most people want stands first."""

_HEADINGS = {
    "needle picture": "picture for electronic patterning",
    "purl side": "fabric",
    "knit side": "fabric",
    "letters": "all stitches as data",
}
_ORDER = ("instructions", "needle sheet", "hole card", "picture for electronic patterning", "drawn chart", "fabric")


WHOLE: Final = ""
"""The subject of what shows the pattern as a whole."""


@dataclass(frozen=True)
class Made:
    """One kind of product. subject: the stitch or piece that it shows. machine: that it is for, if it is for one.

    files: the names of those that the page links. reasons: messages that say why some or all of it was not made.
    """

    kind: str
    subject: str
    files: tuple[str, ...] = ()
    reasons: tuple[Message, ...] = ()
    machine: str = ""
    of_piece: bool = False


@dataclass(frozen=True)
class Links:
    """One kind of output with a link for each form of it. machine: that it is for, if it is for one."""

    kind: str
    machine: str
    files: tuple[tuple[str, str], ...]
    reason: str | None


def index_page(
    pattern: Pattern,
    stitches: Sequence[Stitch],
    made: Sequence[Made],
    warnings: Sequence[Message],
    gauges: Mapping[str, str],
    sizes: Mapping[str, str],
    files: Sequence[str],
) -> str:
    """The page as HTML: one file, no script, nothing fetched from anywhere.

    gauges: for each stitch a sentence on how its fabric differs from stocking stitch. sizes: for each piece a sentence
    on what it comes to. files: the names of everything made, for the next build to know.
    """
    return template(__package__, "index.html.j2").render(
        title=visible(pattern.title or "Pattern"),
        files=files,
        notes=[visible(note) for note in pattern.notes],
        warnings=[visible(message.text) for message in warnings],
        stitches=[
            {
                "name": stitch.name,
                "size": _size(stitch.chart),
                "gauge": gauges.get(stitch.name, ""),
                "signs": _signs(stitch.chart),
                "tucks": "a dot" in _signs(stitch.chart),
                "chart": _picture(made, stitch.name, "drawn chart"),
                "purl": _picture(made, stitch.name, "purl side"),
                "knit": _picture(made, stitch.name, "knit side"),
                "card": _picture(made, stitch.name, "hole card"),
                "links": _links(made, stitch.name),
            }
            for stitch in stitches
        ],
        pieces=[
            {
                "name": name,
                "says": sizes.get(name, ""),
                "purl": _picture(made, _stitch_shown(pattern, name), "purl side"),
                "links": _links(made, name, pieces=True),
            }
            for name in pattern.pieces
        ],
        whole=_links(made, ""),
        compare=_picture(made, "", "comparison"),
    )


def _signs(chart: Chart) -> str:
    """What the cells of its drawn chart mean that are no plain stitches."""
    has = {*chart.settings()}
    tuck, slip = (bool(has & {name, "mixed"}) for name in ("tuck", "slip"))
    return ("; a dot is a tuck" if tuck else "") + ("; an empty cell is a slip" if slip else "")


def _size(chart: Chart) -> str:
    size = f"{number(chart.width, 'needle')} by {number(chart.height, 'row')}"
    return f"{size}, {numbered('needle', chart.out)} out of work" if chart.out else size


def unfinished_page(pattern: Pattern, files: Sequence[str]) -> str:
    """What stands in place of the page while a build puts its files into place. files: of this build and the last."""
    return template(__package__, "unfinished.html.j2").render(title=visible(pattern.title or "Pattern"), files=files)


def files_named(page: str) -> list[str]:
    """The names that a page lists as made by its build, none where it lists none."""
    listed = re.search(r'<meta name="stitchc-files" content="([^"]*)">', page)
    return html.unescape(listed[1]).split() if listed else []


def _of(made: Sequence[Made], subject: str) -> list[Made]:
    return [entry for entry in made if entry.subject == subject]


def _picture(made: Sequence[Made], subject: str, kind: str) -> str | None:
    pictures = [file for entry in _of(made, subject) if entry.kind == kind for file in entry.files]
    return next((file for file in pictures if file.endswith((".png", ".svg"))), None)


def _stitch_shown(pattern: Pattern, piece: str) -> str:
    """The stitch that the piece shows: the first that it knits and that is not plain."""
    from stitchc.pattern import Knit

    knitted = [step.stitch for step in pattern.pieces[piece].steps if isinstance(step, Knit)]
    return next((name for name in knitted if name in pattern.stitches), "")


def _links(made: Sequence[Made], subject: str, pieces: bool = False) -> list[Links]:
    kinds: dict[tuple[str, str], list[Made]] = {}
    for entry in _of(made, subject):
        if entry.of_piece == pieces:
            kind = "instructions" if pieces else _HEADINGS.get(entry.kind, entry.kind)
            kinds.setdefault((kind, entry.machine), []).append(entry)
    ordered = sorted(kinds.items(), key=lambda kind: _ORDER.index(kind[0][0]) if kind[0][0] in _ORDER else len(_ORDER))
    return [
        Links(
            kind,
            machine,
            tuple(
                (entry.kind if kind == "fabric" else _NAMES[PurePath(file).suffix], file)
                for entry in entries
                for file in sorted(entry.files, key=lambda file: list(_NAMES).index(PurePath(file).suffix))
            ),
            next((message.text for entry in entries for message in entry.reasons), None),
        )
        for (kind, machine), entries in ordered
    ]
