"""A coverage-guided search for inputs that break a promise of the reader, the profile loader, `trace` or `format`.

    python -m venv --system-site-packages FUZZ && FUZZ/bin/pip install atheris .
    FUZZ/bin/python -m tests.fuzz reader CORPUS -max_total_time=600

The targets are `reader`, `profile`, `format`, `trace`; what follows the name goes to libFuzzer. CORPUS is a folder
of one's own (kept outside the tree): the seeds are put there first, and what reaches new code is added. An input
that breaks a promise is left as `crash-…` in the current folder: cut it down (`-minimize_crash=1 -runs=20000`), name
it for what it shows, and keep it in `tests/fuzz/cases/TARGET/`, where the ordinary tests try it on every run.
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

from stitchc.bed import needle_name
from stitchc.chart import MAX_CELLS
from stitchc.machines import SHIPPED, load_text, profile_text
from stitchc.messages import Message, Refused, has_errors, render, to_json
from stitchc.notation import compile_text, write_chart
from stitchc.notation.layout import lay_out, same_meaning

HERE = Path(__file__).parent
EXAMPLES = HERE.parents[1] / "examples"
SECONDS = 10
"""No input of a few kilobytes may take longer, on a busy machine and under coverage measurement."""


def soundly_said(messages: Iterable[Message], sources: Mapping[str, Sequence[str]]) -> None:
    """Every message says something, at a place that exists, and can be shown in each way."""
    messages = list(messages)
    for message in messages:
        assert message.code and message.text.strip(), message
        for span in ([message.span] if message.span else []) + [span for span, _ in message.also]:
            assert span.line >= 1 and span.column >= 1 and span.length >= 1, message
            if span.file in sources:
                lines = sources[span.file]
                assert span.line <= max(1, len(lines)), (message, len(lines))
                width = len(lines[span.line - 1]) if lines else 0
                assert span.column <= width + 1, (message, width)
        for colour in (False, True):
            shown = render(message, sources, colour)
            shown.encode("utf-8")
            assert len(shown) < 8000, len(shown)
            bare = [c for c in shown if (ord(c) < 32 and c not in "\n\x1b") or "\u202a" <= c <= "\u202e"]
            assert not bare, (message, bare)
    to_json(messages).encode("utf-8")


def reader(data: bytes) -> None:
    """Any bytes: a pattern or an error, soundly said; and a stitch written out is read back as it was."""
    reading = compile_text(data)
    soundly_said(reading.messages, reading.sources)
    assert (reading.pattern is None) == has_errors(reading.messages)
    if reading.pattern is None:
        return
    for name, stitch in reading.pattern.stitches.items():
        assert 1 <= stitch.chart.cells.size <= MAX_CELLS
        if stitch.chart.cells.size <= 10_000 and not any(stitch.chart.yarns):
            again = compile_text(write_chart(name, stitch.chart)).pattern
            assert again is not None and again.stitches[name].chart == stitch.chart, name


def profile(data: bytes) -> None:
    """Any bytes: a machine within the bounds of machines, or mistakes that each name a key or a line."""
    try:
        machine = load_text(data, "my.toml")
    except Refused as refused:
        assert refused.messages
        soundly_said(refused.messages, refused.sources)
        for message in refused.messages:
            assert message.code == "M304" and message.severity == "error", message
            assert message.span is not None and message.cure, message
            unread = message.text.startswith(("This is not valid TOML", "A line of a", "The brackets of", "A machine"))
            assert "`" in message.text or unread, message  # names the key, where there is one to name
            assert "given before" not in message.text or "`" in message.text, message
    else:
        assert machine.needles >= 2 and 0 < machine.pitch_mm <= 50
        assert needle_name(machine.bed.first) == machine.bed.left


def format(data: bytes) -> None:
    """Whatever compiles means the same when laid out, and laying it out twice is laying it out once."""
    pattern = compile_text(data).pattern
    if pattern is None:
        return
    plain = data.decode("utf-8").removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    after = lay_out(plain)
    assert lay_out(after) == after, (plain, after, lay_out(after))
    again = compile_text(after)
    assert again.pattern is not None, (plain, after, again.messages)
    assert same_meaning(pattern, again.pattern), (plain, after)


def trace(data: bytes) -> None:
    """Any bytes: a chart with the certainty of each cell, or a refusal in words."""
    from stitchc.trace import trace as traced

    try:
        found = traced(data, "chart.png")
    except Refused as refused:
        assert refused.messages
        soundly_said(refused.messages, refused.sources)
        assert all(message.code.startswith("T8") for message in refused.messages)
    else:
        soundly_said(found.messages, {})
        assert 1 <= found.chart.cells.size <= MAX_CELLS
        assert compile_text(write_chart("kelp", found.chart)).pattern is not None


TARGETS: dict[str, Callable[[bytes], None]] = {"reader": reader, "profile": profile, "format": format, "trace": trace}


def attempt(target: str, data: bytes) -> None:
    """One input, held to the target's promises and to the time."""
    began = time.process_time()
    TARGETS[target](data)
    took = time.process_time() - began
    assert took < SECONDS, f"{took:.1f} s"


def seeds(target: str) -> list[bytes]:
    """What the search begins with: the examples, the shipped profiles, small charts as pictures, and the kept cases."""
    kept = [path.read_bytes() for path in sorted((HERE / "cases" / target).glob("*"))]
    if target in ("reader", "format"):
        return kept + [path.read_bytes() for path in sorted(EXAMPLES.glob("*.stitch"))]
    if target == "profile":
        return kept + [profile_text(name).encode() for name in SHIPPED] + [(EXAMPLES / "studio.toml").read_bytes()]
    return kept + list(_pictures())


def _pictures() -> Iterable[bytes]:
    from PIL import Image, ImageDraw

    for form in ("PNG", "BMP", "GIF", "PPM"):
        for mode, cell_px in (("L", 1), ("RGB", 1), ("1", 6), ("L", 6)):
            picture = Image.new("L", (6 * cell_px + 1, 4 * cell_px + 1), 255)
            draw = ImageDraw.Draw(picture)
            for row, column in ((0, 1), (2, 3), (3, 5)):
                left, top = column * cell_px, row * cell_px
                draw.rectangle((left, top, left + cell_px - 1, top + cell_px - 1), fill=0)
            if cell_px > 1:
                for at_px in range(0, 6 * cell_px + 1, cell_px):
                    draw.line((at_px, 0, at_px, 4 * cell_px), fill=90)
                    draw.line((0, at_px, 6 * cell_px, at_px), fill=90)
            held = io.BytesIO()
            picture.convert(mode).save(held, form)
            yield held.getvalue()


WORDS = {
    "notation": (
        *("stitch", "over", "in", "then", "beside", "across", "up", "shifted", "left", "right", "mirrored", "reversed"),
        *("with", "for", "plain", "by", "gauge", "stitches", "rows", "per", "mm", "cm", "piece", "width", "plus"),
        *("edge", "needles", "carriage", "do", "knit", "at", "exactly", "note", "yarn", "include", "colour", "tex"),
        *("weight", "L40-R39", "L4–R3", ")x", "×", "\u202e", "\u0301", "К", "\ufeff", "\u2028", "\x85", "\r"),
        "pattern",
    ),
    "profile": (
        *("[card]", "[bed]", "[reader]", "[limits]", "[carriage]", "based_on", "nan", "inf", "true", "1979-05-27"),
        *("'''", '"""', "[[", "0x", "1e400", "\\u0000", "\u202e", "never", "hold", "needles", "pitch_mm", "name"),
    ),
}  # fmt: skip
