"""The page that `stitchc build` leaves beside what it made: every stitch and piece of the pattern at a glance.

Knows what was made and where, not how.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stitchc.markup import template
from stitchc.messages import visible

if TYPE_CHECKING:
    from stitchc.gallery.made import Made
    from stitchc.messages import Message
    from stitchc.pattern import Pattern, Stitch

_NAMES = {".html": "open or print", ".pdf": "PDF", ".svg": "SVG", ".png": "PNG", ".txt": "text", ".json": "JSON"}
"""What a link to each form is called; the form that most people want stands first."""

_WHAT = {
    "needle picture": "picture for electronic patterning",
    "purl side": "fabric",
    "knit side": "fabric",
    "letters": "all stitches as data",
}
_ORDER = ("instructions", "needle sheet", "hole card", "picture for electronic patterning", "drawn chart", "fabric")


@dataclass(frozen=True)
class Links:
    """One kind of output with a link for each form of it. machine: that it is for, if it is for one."""

    what: str
    machine: str
    files: tuple[tuple[str, str], ...]
    reason: str | None


def index_page(
    pattern: Pattern,
    stitches: Sequence[Stitch],
    made: Sequence[Made],
    warnings: Sequence[Message],
    gauges: dict[str, str],
    sizes: dict[str, str] | None = None,
) -> str:
    """The page as HTML: one file, no script, nothing fetched from anywhere.

    gauges: for each stitch a sentence on how its fabric differs from stocking stitch. sizes: for each piece a sentence
    on what it comes to.
    """
    return template(__package__, "index.html.j2").render(
        title=visible(pattern.title or "Pattern"),
        notes=[visible(note) for note in pattern.notes],
        warnings=[visible(message.text) for message in warnings],
        stitches=[
            {
                "name": stitch.name,
                "size": f"{stitch.chart.width} needles by {stitch.chart.height} rows",
                "gauge": gauges.get(stitch.name, ""),
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
                "says": (sizes or {}).get(name, ""),
                "purl": _picture(made, _stitch_shown(pattern, name), "purl side"),
                "links": _links(made, name, pieces=True),
            }
            for name in pattern.pieces
        ],
        whole=_links(made, ""),
        compare=_picture(made, "", "comparison"),
    )


def _of(made: Sequence[Made], subject: str) -> list[Made]:
    return [entry for entry in made if entry.job.subject == subject]


def _picture(made: Sequence[Made], subject: str, what: str) -> str | None:
    for entry in _of(made, subject):
        if entry.job.what == what and entry.reason is None and entry.job.target.suffix in (".png", ".svg"):
            return entry.job.target.name
    return None


def _stitch_shown(pattern: Pattern, piece: str) -> str:
    """The stitch that the piece shows: the first that it knits and that is not plain."""
    from stitchc.pattern import Knit

    knitted = [step.stitch for step in pattern.pieces[piece].steps if isinstance(step, Knit)]
    return next((name for name in knitted if name in pattern.stitches), "")


def _links(made: Sequence[Made], subject: str, pieces: bool = False) -> list[Links]:
    kinds: dict[tuple[str, str], list[Made]] = {}
    for entry in _of(made, subject):
        if (entry.job.command == "piece") == pieces:
            what = "instructions" if pieces else _WHAT.get(entry.job.what, entry.job.what)
            kinds.setdefault((what, entry.job.machine), []).append(entry)
    ordered = sorted(kinds.items(), key=lambda kind: _ORDER.index(kind[0][0]) if kind[0][0] in _ORDER else len(_ORDER))
    return [
        Links(
            what,
            machine,
            tuple(
                (entry.job.what if what == "fabric" else _NAMES[entry.job.target.suffix], entry.job.target.name)
                for entry in sorted(entries, key=lambda entry: list(_NAMES).index(entry.job.target.suffix))
                if entry.reason is None
            ),
            next((entry.reason for entry in entries if entry.reason), None),
        )
        for (what, machine), entries in ordered
    ]
