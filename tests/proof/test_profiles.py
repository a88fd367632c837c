"""Machines of every kind a profile can describe, and charts of every kind: what is written for them knits the chart.

The profile is written as a knitter would write it, to a TOML file; the simulated machine is built from the same words.
"""

from __future__ import annotations

import dataclasses
import json
import re
import tempfile
from pathlib import Path
from xml.etree import ElementTree

from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.proof import machines
from tests.proof.machines import Habits, Side, follow_sheet, position, wanted
from tests.proof.running import settings_told_by_bitmap, stitchc

NO_LIMITS = "[limits]\n" + "".join(
    f'{name} = {{ warn_from = "never", error_from = "never" }}\n'
    for name in ("tucks_in_succession", "tucks_side_by_side", "slips_in_succession", "float_needles")
)


def needle_name(place: int) -> str:
    return f"R{place + 1}" if place >= 0 else f"L{-place}"


@st.composite
def charts(draw: st.DrawFn, widths: st.SearchStrategy[int], mixed: bool = False, ladders: bool = False) -> list[str]:
    """Rows of one width; in each row the needles that do not knit all tuck, or all slip (or both, where allowed), and
    some are out of work, where that is wanted."""
    width = draw(widths)
    out = draw(st.frozensets(st.integers(0, width - 1), max_size=width - 1)) if ladders and draw(st.booleans()) else ()
    rows = []
    for _ in range(draw(st.integers(1, 7))):
        letters = draw(st.sampled_from(["K", "KT", "KS", "KKKT", "KKKS", *(["KTS"] if mixed else [])]))
        row = draw(st.binary(min_size=width, max_size=width))  # drawn at once: letter by letter takes ten times as long
        rows.append("".join("-" if column in out else letters[n % len(letters)] for column, n in enumerate(row)))
    return rows


def pattern(rows: list[str], yarns: list[str] | None = None) -> str:
    """The chart in the notation, letter by letter, and with it the needles out of work."""
    lines = [f'yarn {name} "{name}"' for name in sorted(set(yarns or []))]
    lines.append(f"stitch proof over {len(rows[0])}")
    for number, row in enumerate(rows, start=1):
        yarn = f" in {yarns[number - 1]}" if yarns else ""
        lines.append(f"    {number}{yarn}: {row.replace('-', '')}")
    if out := [str(needle) for needle, sign in enumerate(rows[0], start=1) if sign == "-"]:
        lines.append(f"    out {', '.join(out)}")
    return "\n".join(lines) + "\n"


def profile(habits: Habits, bed: int, **card: float) -> str:
    """A profile based on a shipped one of its kind, saying what is otherwise."""
    base = {"card": "card24-standard", "bitmap": "bitmap-standard", "none": "hand-standard"}[habits.reader]
    lines = [f'based_on = "{base}"', "[bed]", f"needles = {bed}"]
    if habits.reader != "none":
        lines += [
            "[reader]",
            f"width = {habits.width}",
            f'mark_means = "{habits.mark_means}"',
            f"mirrored = {str(habits.mirrored).lower()}",
            f'selects = "{habits.selects}"',
        ]
        if habits.column_1_needle is not None:
            lines.append(f'column_1_needle = "{needle_name(habits.column_1_needle)}"')
    if habits.reader == "bitmap":
        lines.append(f'first_row = "{habits.first_row}"')
    if habits.reader == "card":
        lines += ["[card]", f"seen_above_read = {habits.seen_above_read}", *(f"{k} = {v}" for k, v in card.items())]
    return "\n".join(lines) + "\n" + NO_LIMITS


@dataclasses.dataclass(frozen=True)
class CardCase:
    rows: list[str]
    yarns: list[str]
    habits: Habits
    card_rows: int
    joining: int
    bed: int
    shift: int
    start_row: int
    paper: str
    dpi: int


@st.composite
def card_cases(draw: st.DrawFn) -> CardCase:
    width = draw(st.sampled_from([12, 24]) | st.integers(2, 40))
    rows = draw(charts(st.sampled_from([n for n in range(1, width + 1) if width % n == 0]), ladders=True))
    bed = 2 * draw(st.integers(max(10, width // 2 + 1), 110))
    habits = Habits(
        "card",
        width,
        draw(st.sampled_from(["knit", "hold"])),
        draw(st.booleans()),
        draw(st.integers(-(bed // 2), bed // 2 - 1)),
        draw(st.sampled_from(["same pass", "one pass ahead"])),
        seen_above_read=draw(st.integers(0, 9)),
    )
    return CardCase(
        rows,
        draw(st.lists(st.sampled_from(["oat", "sea"]), min_size=len(rows), max_size=len(rows))),
        habits,
        draw(st.integers(1, 70)),
        draw(st.integers(0, 3)),
        bed,
        draw(st.integers(-3, 3)),
        draw(st.integers(1, len(rows))),
        draw(st.sampled_from(["a4", "letter", "a3", "roll"])),
        draw(st.sampled_from([90, 150, 203])),
    )


@settings(max_examples=60)
@given(card_cases())
@example(CardCase(["KT", "KK", "TK", "KK"], ["sea"] * 4, Habits(mirrored=True), 40, 2, 200, 0, 1, "a4", 150))
@example(CardCase(["KTK-", "KKK-"], ["sea"] * 2, Habits(mirrored=True, column_1_needle=-11, mark_means="hold"),
                  36, 2, 100, 1, 1, "roll", 90))  # fmt: skip
@example(CardCase(["KTK", "SKK"], ["sea"] * 2, Habits(width=12, column_1_needle=5, mark_means="hold"),
                  70, 0, 100, 1, 2, "letter", 90))  # fmt: skip
def test_any_card_reader(case: CardCase) -> None:
    """The holes as they look on the template, in the reader that the profile describes, knit the chart."""
    habits = case.habits
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "proof.stitch").write_text(pattern(case.rows, case.yarns), "utf-8")
        (place / "own.toml").write_text(
            profile(habits, case.bed, least_rows=case.card_rows, rows=1000, joining_rows=case.joining,
                    sheet_width_mm=round(habits.width * 4.5 + 40, 1)), "utf-8",
        )  # fmt: skip
        common = (place / "proof.stitch", "--machine", place / "own.toml", "--anyway")
        turned = ("--shift", str(case.shift), "--start-row", str(case.start_row))
        said = stitchc("card", *common, *turned, "--dpi", str(case.dpi), "--paper", case.paper, "-o", place / "out.png")
        if said.status == 2:  # the paper is too small for such a card
            assert case.paper != "roll" and "wide" in said.err, said
            return
        assert said.status == 0, said
        document = json.loads((place / "out-card.json").read_text("utf-8"))
        holes = machines.punched_by_sampling((place / "out.png").read_bytes(), document)
        if document["pages"]:
            pages = {page["name"]: (place / f"{page['name']}.png").read_bytes() for page in document["pages"]}
            assert machines.punched_by_pages(pages, document) == holes
        bed = range(-(case.bed // 2), case.bed - case.bed // 2 - 1)
        sheet = stitchc("sheet", *common, "--format", "json", "--rows", "23", "--edge", "0", "--needles",
                        f"{needle_name(bed.start)}-{needle_name(bed.stop - 1)}")  # fmt: skip
        assert sheet.status == 0, sheet
    assert holes == document["holes"] and document["rows"] == len(holes) >= case.card_rows
    assert len(holes) % len(case.rows) == 0 and len(holes) - len(case.rows) < case.card_rows
    fabric_rows = 2 * len(holes) + 3
    told = machines.settings_told([(c["row"], c["setting"]) for c in document["changes"]], len(holes))
    felt = machines.card_in_reader(habits, holes)
    empty = machines.emptied(habits, document["out"], bed)
    fabric = machines.knit_by_reader(habits, felt, bed, fabric_rows, told, len(holes), empty)
    assert habits.column_1_needle is not None
    assert fabric == wanted(
        case.rows, bed, fabric_rows, column_1=habits.column_1_needle + case.shift, first_row=case.start_row - 1
    )
    wanted_yarns = [case.yarns[(n + case.start_row - 1) % len(case.rows)] for n in range(len(holes))]
    in_use, by_row = None, {c["row"]: c["yarn"] for c in document["changes"]}
    for row, yarn in enumerate(wanted_yarns, start=1):
        in_use = by_row.get(row) or in_use
        assert in_use == yarn == document["yarns"][row - 1]
    plain = wanted(case.rows, bed, 23, column_1=habits.column_1_needle)
    assert follow_sheet(sheet.document(), "right", by_hand=False) == plain


@settings(max_examples=12)
@given(card_cases())
def test_the_row_at_eye_level(case: CardCase) -> None:
    """The boxed number beside a row is the row being read while that row is at eye level."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "proof.stitch").write_text(pattern(case.rows), "utf-8")
        (place / "own.toml").write_text(
            profile(case.habits, case.bed, least_rows=case.card_rows, rows=1000, joining_rows=case.joining,
                    sheet_width_mm=round(case.habits.width * 4.5 + 40, 1)), "utf-8",
        )  # fmt: skip
        common = ("card", place / "proof.stitch", "--machine", place / "own.toml", "--anyway", "--paper", "roll")
        assert stitchc(*common, "-o", place / "out.svg").status == 0
        document = json.loads((place / "out-card.json").read_text("utf-8"))
        drawing = ElementTree.fromstring((place / "out.svg").read_bytes())
    per_mm = document["dpi"] / 25.4
    (x, y), dy = (n / per_mm for n in document["centres_px"]["column_1_row_1"]), document["centres_px"]["per_row"][1]
    pitch = dy / per_mm
    last_column = x + (document["columns"] - 1) * document["centres_px"]["per_column"][0] / per_mm
    beside: dict[int, set[str]] = {}
    for words in drawing.iter("{http://www.w3.org/2000/svg}text"):
        at_x, at_y = float(words.get("x", "nan")), float(words.get("y", "nan"))
        text = "".join(words.itertext())
        row = round((at_y - y) / pitch + 1)
        if last_column < at_x < last_column + 16 and abs((at_y - y) / pitch + 1 - row) < 0.4 and text.isdigit():
            beside.setdefault(row, set()).add(text)
    if case.habits.seen_above_read:
        for row in range(1, document["rows"] + 1):
            read = machines.row_read(case.habits, row, document["rows"])
            assert beside.get(row) == {str(read)}, (row, beside.get(row))
    else:
        assert not any(row in beside for row in range(1, document["rows"] + 1))


@dataclasses.dataclass(frozen=True)
class PictureCase:
    rows: list[str]
    habits: Habits
    bed: int
    needles: range | None
    count: int | None
    edge: int
    said: tuple[str, ...]


@st.composite
def picture_cases(draw: st.DrawFn) -> PictureCase:
    rows = draw(charts(st.integers(1, 30), mixed=True, ladders=True))
    bed = 2 * draw(st.integers(30, 110))
    places = st.integers(-(bed // 2), bed - bed // 2 - 1)
    habits = Habits(
        "bitmap",
        bed,
        draw(st.sampled_from(["knit", "hold"])),
        draw(st.booleans()),
        draw(st.none() | places),
        draw(st.sampled_from(["same pass", "one pass ahead"])),
        draw(st.sampled_from(["bottom", "top"])),
    )
    needles = None
    if draw(st.booleans()):
        ends = sorted([draw(places), draw(places)])
        needles = range(ends[0], ends[1])
    said: list[str] = []
    for option, values in (
        ("--first-row", ("bottom", "top")),
        ("--seen-from", ("purl", "knit")),
        ("--dark", ("knit", "hold")),
    ):
        value = draw(st.none() | st.sampled_from(values))
        said += [option, value] if value else []
    if needles is not None and len(needles) < 1:
        needles = None
    return PictureCase(
        rows,
        habits,
        bed,
        needles,
        draw(st.none() | st.integers(1, 60)),
        draw(st.integers(0, 3 if needles is None else min(3, (len(needles) - 1) // 2))),  # some are left for the stitch
        tuple(said),
    )


@settings(max_examples=150)
@given(picture_cases())
def test_any_electronic_reader(case: PictureCase) -> None:
    """A machine with the habits that the picture's own sentence names knits the chart from its pixels.

    What is not said by an option is as the profile has it.
    """
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "proof.stitch").write_text(pattern(case.rows), "utf-8")
        (place / "own.toml").write_text(profile(case.habits, case.bed), "utf-8")
        size: list[str] = []
        if case.needles is not None:
            size += ["--needles", f"{needle_name(case.needles.start)}-{needle_name(case.needles.stop - 1)}"]
            size += ["--edge", str(case.edge)]
        if case.count is not None:
            size += ["--rows", str(case.count)]
        said = stitchc("bitmap", place / "proof.stitch", "--machine", place / "own.toml", "--anyway", *size, *case.said,
                       "-o", place / "out.png")  # fmt: skip
        if said.status == 1:
            assert said.codes == {"M303"}, said
            return
        assert said.status == 0, said
        picture = (place / "out.png").read_bytes()
    chosen = machines.choice_of(picture)
    asked = dict(zip(case.said[::2], case.said[1::2], strict=True))
    assert chosen.dark_means == asked.get("--dark", case.habits.mark_means)
    assert chosen.row_1 == asked.get("--first-row", case.habits.first_row)
    assert chosen.side == asked.get("--seen-from", "knit" if case.habits.mirrored else "purl")
    machine = dataclasses.replace(
        case.habits, mark_means=chosen.dark_means, first_row=chosen.row_1, mirrored=chosen.side == "knit"
    )
    rows = case.count or len(case.rows)
    origin = case.habits.column_1_needle
    edge = 0
    if case.needles is None:  # one repeat, which the machine repeats outward from where it puts it
        origin = -5 if origin is None else origin
        bed = range(-15, 21)
        leftmost = origin
    else:
        bed, leftmost, edge = case.needles, case.needles.start, case.edge
        assert (chosen.width, chosen.height) == (len(bed), rows)
        origin = bed.start + edge if origin is None else origin
    felt = machines.picture_in_reader(machine, picture, leftmost)
    empty = machines.emptied_by_words(picture, bed, origin, len(case.rows[0]))
    fabric = machines.knit_by_reader(machine, felt, bed, rows, ["tuck"] * rows, rows, empty)
    should = [
        "".join("K" if n < edge or n >= len(bed) - edge else letter for n, letter in enumerate(row))
        for row in wanted(case.rows, bed, rows, column_1=origin)
    ]
    assert [re.sub("[TS]", "o", row) for row in fabric] == [re.sub("[TS]", "o", row) for row in should]
    if not any("T" in row and "S" in row for row in case.rows) and "more" not in said.err:
        told = settings_told_by_bitmap(said.err, len(case.rows))
        assert machines.knit_by_reader(machine, felt, bed, rows, told, len(case.rows), empty) == should


@settings(max_examples=200)
@given(st.data())
def test_any_sheet_by_hand(data: st.DataObject) -> None:
    """Followed needle by needle from either side, with any needles, edges and rows, it knits the chart."""
    rows = data.draw(charts(st.integers(1, 20), mixed=True))
    bed_size = 2 * data.draw(st.integers(15, 130))
    bed = range(-bed_size // 2, bed_size // 2)
    edge = data.draw(st.integers(0, 4))
    first = data.draw(st.integers(bed.start, bed.stop - 2 * edge - 1))
    last = data.draw(st.integers(first + 2 * edge, bed.stop - 1))
    count = data.draw(st.integers(1, 40))
    side: Side = data.draw(st.sampled_from(("right", "left")))
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        (place / "proof.stitch").write_text(pattern(rows), "utf-8")
        (place / "own.toml").write_text(profile(Habits("none"), bed_size), "utf-8")
        said = stitchc("sheet", place / "proof.stitch", "--machine", place / "own.toml", "--anyway", "--format", "json",
                       "--needles", f"{needle_name(first)}-{needle_name(last)}", "--edge", str(edge),
                       "--rows", str(count), "--carriage", side)  # fmt: skip
    assert said.status == 0, said
    document = said.document()
    assert position(document["needles"]["left"]) == first and position(document["needles"]["right"]) == last
    assert follow_sheet(document, side) == wanted(rows, range(first, last + 1), count, edge)
