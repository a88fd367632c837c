"""Knitting machines in slow motion: they are fed with what stitchc wrote and return the fabric that comes off.

Written from what the program promises (the JSON forms, the sentences in the files) and from what each setting of a
machine profile says it means; nothing of stitchc is imported. A fabric is a list of rows, first knitted first, each a
string of K, T and S from the leftmost needle in work to the rightmost, as the knitter faces the bed.
"""

from __future__ import annotations

import io
import re
import zlib
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from PIL import Image

Side = Literal["left", "right"]
Felt = Callable[[int, int], bool]
"""(row from 1, needle position): whether the reader's feeler for this needle meets a hole or a dark pixel there."""


@dataclass(frozen=True)
class Habits:
    """What a machine does, as its profile says it: the words are the profile's.

    column_1_needle: a position. Positions run L2 = -2, L1 = -1, R1 = 0, R2 = 1.
    """

    reader: Literal["none", "card", "bitmap"] = "card"
    width: int = 24
    mark_means: Literal["knit", "hold"] = "knit"
    mirrored: bool = False
    column_1_needle: int | None = -12
    selects: Literal["same pass", "one pass ahead"] = "same pass"
    first_row: Literal["bottom", "top"] = "bottom"
    seen_above_read: int = 7


def position(name: str) -> int:
    """Of a needle by its name."""
    number = int(name[1:])
    assert number >= 1 and name[0] in "LR", name
    return -number if name[0] == "L" else number - 1


def wanted(
    chart: Sequence[str], needles: range, rows: int, edge: int = 0, column_1: int | None = None, first_row: int = 0
) -> list[str]:
    """The fabric that the chart means: it goes on for ever; column 1 stands on the leftmost needle that is not an
    edge needle, or on the needle at `column_1`; edge needles knit. first_row: the chart's row, from 0, of pass 1."""
    start = needles.start + edge if column_1 is None else column_1
    outermost = (needles.start, needles.stop - 1)  # always in work
    rows_of_chart = [
        "".join(
            "K"
            if needle < needles.start + edge
            or needle >= needles.stop - edge
            or (needle in outermost and row[(needle - start) % len(row)] == "-")
            else row[(needle - start) % len(row)]
            for needle in needles
        )
        for row in chart
    ]
    return [rows_of_chart[(first_row + number) % len(chart)] for number in range(rows)]


# -- a bed worked by hand -------------------------------------------------------------------------------------------


@dataclass
class Bed:
    """Needles with what hangs on them. A needle in holding position keeps its loops; the yarn is laid over it (tuck)
    or led past it (slip). One pushed right back (rest) is passed by. Stitches: for each needle, the loops that were
    cast off together, oldest first."""

    needles: range
    holding: set[int] = field(default_factory=set)
    rest: set[int] = field(default_factory=set)
    empty: set[int] = field(default_factory=set)
    gone: dict[int, set[int]] = field(default_factory=dict)
    loops: dict[int, list[int]] = field(default_factory=dict)
    stitches: dict[int, list[list[int]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for needle in self.needles:
            self.loops[needle] = [] if needle in self.empty else [0]  # the cast-on
            self.stitches[needle] = []
            self.gone[needle] = set()

    def carry(self, number: int, knit: Callable[[int], bool], laid_over: Callable[[int], bool]) -> str:
        """One pass of the carriage; returns what each needle did."""
        loops, empty, rest = self.loops, self.empty, self.rest
        row = []
        for needle in self.needles:
            if needle in empty:
                self.gone[needle].add(number)
                row.append("-")
            elif needle in rest:
                row.append("S")
            elif knit(needle):
                self.stitches[needle].append(loops[needle])
                loops[needle] = [number]
                row.append("K")
            elif laid_over(needle):
                assert loops[needle], f"{needle} has no stitch to hold"
                loops[needle].append(number)
                row.append("T")
            else:
                row.append("S")
        return "".join(row)

    def put_out_of_work(self, needle: int, step: int) -> None:
        """Its stitch, with all that it holds, is moved to the next needle in work on that side (step -1: left)."""
        assert needle not in self.empty and self.loops[needle], f"{needle} has no stitch to move"
        beside = needle + step
        while beside in self.empty:
            beside += step
        assert beside in self.needles, "nowhere to move the stitch to"
        self.loops[beside] = self.loops[beside] or [0]  # one that has just come back has a stitch now
        self.stitches[needle].append(self.loops[needle])
        self.loops[needle] = []
        self.holding.discard(needle)
        self.rest.discard(needle)
        self.empty.add(needle)

    def take_back(self, needles: set[int]) -> None:
        """Empty needles come back into work: of neighbours one at a time."""
        assert needles <= self.empty and not any(needle + 1 in needles for needle in needles)
        self.empty -= needles

    def push_right_back(self, needle: int) -> None:
        """Loops in the hook beside the stitch do not live through it: the stitch closes the latch over them and comes
        off, as if the needle had knitted."""
        held = self.loops[needle]
        assert held and needle not in self.empty
        if len(held) > 1:
            self.stitches[needle].append(held[:1])
            self.loops[needle] = held[1:]
        self.holding.discard(needle)
        self.rest.add(needle)

    def fabric_from_loops(self, rows: int) -> list[str]:
        """What each needle did in each row, told from the finished fabric alone: where the loops of a row hang.

        The first loop of a stitch was knitted in its row, the others were tucked; in a row without a loop of its own
        the needle slipped.
        """
        columns = []
        for needle in self.needles:
            did = ["S"] * (rows + 1)
            for stitch in [*self.stitches[needle], self.loops[needle]]:
                for place, row in enumerate(stitch):
                    did[row] = "T" if place else "K"
            for row in self.gone[needle]:
                did[row] = "-"
            columns.append(did[1:])
        return ["".join(row) for row in zip(*columns, strict=True)]


def follow_sheet(document: dict[str, Any], carriage: Side, by_hand: bool = True) -> list[str]:
    """Do what a `stitchc-sheet/1` document says on a bed, and read the fabric off the loops.

    Fails an assertion where a step cannot be done: a needle brought out that is out, a carriage on the other side.
    by_hand: the needles are moved by the knitter; otherwise a reader selects them, and nothing may be moved.
    """
    assert document["format"] == "stitchc-sheet/1"
    first, last = position(document["needles"]["left"]), position(document["needles"]["right"])
    bed = Bed(range(first, last + 1), empty={position(name) for name in document["out_of_work"]})
    assert document["needles"]["count"] == len(bed.needles)
    side: Side = carriage
    told = []
    moves = 0
    for number, step in enumerate(document["passes"], start=1):
        assert step["row"] == number
        crossing = step.get("before")
        if crossing in ("free pass", "carry"):
            side = "left" if side == "right" else "right"
        other: Side = "left" if side == "right" else "right"
        assert step["direction"] == f"{side} to {other}", "the carriage is on the other side"
        side = other
        out, back, right_back, to_work = (
            [position(name) for name in step.get(key, ())]
            for key in ("bring_out", "push_back", "push_right_back", "bring_to_work")
        )
        held = [position(name) for name in step["held"]]
        assert held == sorted(set(held)) and set(held) <= set(bed.needles)
        free = (
            2 * (len(bed.needles) - len(bed.holding) - len(bed.rest) - len(bed.empty)) if crossing == "free pass" else 0
        )
        assert step["moves"] == len(out) + len(back) + len(right_back) + len(to_work) + free
        moves += step["moves"]
        if by_hand:
            for needle in out:
                assert needle in bed.needles and needle not in bed.holding, f"{needle} is out already, or not in work"
                bed.rest.discard(needle)
                bed.holding.add(needle)
            for needle in to_work:
                assert needle in bed.rest
                bed.rest.remove(needle)
            for needle in right_back:
                assert needle not in bed.rest
                bed.push_right_back(needle)
            for needle in back:
                assert needle in bed.holding, f"{needle} is not out"
                bed.holding.remove(needle)
            if not set(held) - bed.rest:
                bed.holding.clear()  # the hold is cancelled: all knit back
        else:
            assert not out and not back, "a reader selects these needles"
            bed.holding = set(held)
        assert bed.rest == {position(name) for name in step.get("right_back", ())}
        assert bed.holding | bed.rest == set(held), "the sheet believes other needles to be out than are"
        slipped = {position(name) for name in step.get("slipped", ())}
        assert slipped <= bed.holding | bed.rest and bool(slipped) == (step["setting"] == "mixed")
        told.append(
            bed.carry(
                number,
                knit=lambda needle: needle not in bed.holding,
                laid_over=lambda needle, step=step, slipped=slipped: (  # type: ignore[misc]
                    step["setting"] == "tuck" or (step["setting"] == "mixed" and needle not in slipped)
                ),
            )
        )
    assert document["totals"] == {"rows": len(told), "moves": moves}
    assert bed.fabric_from_loops(len(told)) == told
    return told


# -- a machine that reads its pattern -------------------------------------------------------------------------------


def knit_by_reader(
    habits: Habits,
    felt: Felt,
    needles: range,
    rows: int,
    settings: Sequence[str],
    card_rows: int,
    empty: Collection[int] = (),
) -> list[str]:
    """Run the carriage over a bed whose needles a reader selects, `rows` times after the first selection.

    settings: what the carriage is set to while each row of the card or picture is knitted; a needle that is not
    selected to knit then tucks or slips. A reader that selects one pass ahead has needles selected by the pass
    before: it makes one pass more, at the start, which knits plain and only selects. empty: needles that the knitter
    has put out of work, `-` in the fabric; nothing selects them to hold.
    """
    bed = Bed(needles, empty=set(empty))

    def selected(row: int) -> set[int]:
        """The needles that will knit when this row is read."""
        knitting = {needle for needle in needles if felt(row, needle) == (habits.mark_means == "knit")}
        assert knitting.issuperset(empty)
        return knitting

    read = 1  # the row at the feelers
    ready = set(needles)
    told: list[str] = []
    ahead = habits.selects == "one pass ahead"
    for number in range(1, rows + ahead + 1):
        if not ahead:
            ready = selected(read)
        knitted = read - 1 if ahead else read  # the card's row that this pass knits; 0: the selecting pass
        setting = settings[(knitted - 1) % card_rows] if knitted else "plain"
        told.append(
            bed.carry(
                number,
                knit=lambda needle, ready=ready: needle in ready,  # type: ignore[misc]
                laid_over=lambda _, setting=setting: setting == "tuck",  # type: ignore[misc]
            )
        )
        if ahead:
            ready = selected((read - 1) % card_rows + 1)
        read += 1
    if ahead:
        assert set(told[0]) <= {"K", "-"}
    return told[ahead:]


def settings_told(changes: Sequence[tuple[int, str | None]], rows: int) -> list[str]:
    """What is set in each row by a knitter who changes it only where told to; plain before the first."""
    by_row = {row: setting for row, setting in changes if setting}
    state, told = "plain", []
    for row in range(1, rows + 1):
        state = by_row.get(row, state)
        told.append(state)
    return told


# -- the hole card --------------------------------------------------------------------------------------------------


def punched_by_sampling(picture: bytes, document: dict[str, Any]) -> list[list[bool]]:
    """Row 1 first: which holes the printed template shows, looked at where `centres_px` says their centres are."""
    with Image.open(io.BytesIO(picture)) as image:
        grey = image.convert("L")
        return [_row_sampled(grey, document["centres_px"], row, document["columns"]) for row in range(document["rows"])]


def punched_by_pages(pictures: dict[str, bytes], document: dict[str, Any]) -> list[list[bool]]:
    """The same from the pages to be joined; rows on two pages must be alike on both."""
    found: dict[int, list[bool]] = {}
    for page in document["pages"]:
        with Image.open(io.BytesIO(pictures[page["name"]])) as image:
            grey = image.convert("L")
            for row in range(page["rows"][0] - 1, page["rows"][1]):
                line = _row_sampled(grey, page["centres_px"], row, document["columns"])
                assert found.setdefault(row, line) == line, "two pages show the same row differently"
    assert sorted(found) == list(range(document["rows"])), "rows that no page shows"
    return [found[row] for row in sorted(found)]


def _row_sampled(grey: Image.Image, centres: dict[str, list[float]], row: int, columns: int) -> list[bool]:
    (x, y), (dx, _), (_, dy) = centres["column_1_row_1"], centres["per_column"], centres["per_row"]
    line = []
    for column in range(columns):
        at = int(x + column * dx), int(y + row * dy)
        line.append(grey.getpixel(at) < 128)  # type: ignore[operator]
    return line


def emptied(habits: Habits, columns: Collection[int], needles: range) -> set[int]:
    """The needles that stand at these columns of a card, counted from 1, all over the bed but for the outermost."""
    felt = card_in_reader(habits, [[column in columns for column in range(1, habits.width + 1)]])
    return {needle for needle in needles[1:-1] if felt(1, needle)}


def card_in_reader(habits: Habits, holes: Sequence[Sequence[bool]]) -> Felt:
    """A closed card in the reader: the row after the last is the first; the columns repeat outward over the bed.

    A mirrored reader meets the card's columns from its other side.
    """
    columns = habits.width
    assert all(len(line) == columns for line in holes)
    assert habits.column_1_needle is not None
    origin = habits.column_1_needle

    def felt(row: int, needle: int) -> bool:
        column = (needle - origin) % columns
        if habits.mirrored:
            column = columns - 1 - column
        return holes[(row - 1) % len(holes)][column]

    return felt


def row_read(habits: Habits, at_eye_level: int, card_rows: int) -> int:
    """The row at the feelers while a row is at eye level, `seen_above_read` higher up the closed card."""
    return (at_eye_level - 1 - habits.seen_above_read) % card_rows + 1


# -- the picture for electronic patterning --------------------------------------------------------------------------


@dataclass(frozen=True)
class Chosen:
    """What the picture's own sentence says of it."""

    width: int
    height: int
    dark_means: Literal["knit", "hold"]
    row_1: Literal["bottom", "top"]
    side: Literal["purl", "knit"]


def text_chunks(picture: bytes) -> dict[str, str]:
    """The text in a PNG, by keyword, from the bytes (PNG specification, tEXt and iTXt)."""
    assert picture[:8] == b"\x89PNG\r\n\x1a\n"
    found, at = {}, 8
    while at < len(picture):
        length = int.from_bytes(picture[at : at + 4], "big")
        kind, data = picture[at + 4 : at + 8], picture[at + 8 : at + 8 + length]
        assert int.from_bytes(picture[at + 8 + length : at + 12 + length], "big") == zlib.crc32(kind + data)
        if kind == b"tEXt":
            key, _, value = data.partition(b"\0")
            found[key.decode("latin-1")] = value.decode("latin-1")
        elif kind == b"iTXt":
            key, _, rest = data.partition(b"\0")
            assert rest[:1] == b"\0", "compressed"
            found[key.decode("latin-1")] = rest[2:].split(b"\0", 2)[2].decode("utf-8")
        at += 12 + length
    return found


def choice_of(picture: bytes) -> Chosen:
    """What stands in the picture's description."""
    words = text_chunks(picture)["Description"]
    match = re.search(
        r": (\d+) needles \([^)]*\) by (\d+) rows?, one pixel a stitch; a dark pixel means (knit|hold); "
        r"row 1 is at the (bottom|top); seen from the (purl|knit) side",
        words,
    )
    assert match, words
    return Chosen(int(match[1]), int(match[2]), match[3], match[4], match[5])  # type: ignore[arg-type]


def emptied_by_words(picture: bytes, needles: range, column_1: int, width: int) -> set[int]:
    """The needles that the picture's sentence puts out of work: by name, or all over the bed but for the outermost by
    their numbers in the repeat, whose first column stands at `column_1`."""
    told = re.search(r"Out of work, with pixels that knit: (.*?)\.", text_chunks(picture)["Description"])
    if told is None:
        return set()
    if names := re.findall("[LR][0-9]+", told[1]):
        return set(map(position, names))
    ranges = [
        range(int(first), int(last or first) + 1) for first, last in re.findall("([0-9]+)(?:-([0-9]+))?", told[1])
    ]
    return {needle for needle in needles[1:-1] if any((needle - column_1) % width + 1 in each for each in ranges)}


def picture_in_reader(habits: Habits, picture: bytes, leftmost: int) -> Felt:
    """A picture entered into the machine: its left column on the needle `leftmost`, repeating outward and upward.

    A machine whose profile says `mirrored` exchanges left and right of what is entered; `first_row` is the end of
    the picture that it reads first.
    """
    with Image.open(io.BytesIO(picture)) as image:
        assert image.mode == "1"
        width, height = image.size
        grey = image.convert("L")
        lines = [[grey.getpixel((x, y)) < 128 for x in range(width)] for y in range(height)]  # type: ignore[operator]
    if habits.first_row == "bottom":
        lines.reverse()
    if habits.mirrored:
        lines = [line[::-1] for line in lines]

    def felt(row: int, needle: int) -> bool:
        return lines[(row - 1) % height][(needle - leftmost) % width]

    return felt
