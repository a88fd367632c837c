"""A knitter who has a sheet in words and a bed before her, and nothing else: no list of needles, no memory of a row.

What she does in a row comes from that row's line and from what she sees: which needles are out, where the carriage
stands and what it is set to. A sentence that she does not know, such as one that sends her to another row, stops her.
Written from what the words mean to a person; nothing of stitchc is imported.
"""

from __future__ import annotations

import functools
import html
import re
from collections.abc import Collection
from dataclasses import dataclass, field

from tests.proof.machines import Bed, Felt, Side
from tests.sheet.words_reader import read


@dataclass(frozen=True)
class Line:
    """Rows in which the same is done, in order; `rows` of several times through, those of one time together."""

    rows: list[list[int]]
    direction: str
    words: str
    to_and_fro: bool = False


# -- finding the line of a row ---------------------------------------------------------------------------------------

_HEADING = re.compile(
    r"Rows (\d+) to (\d+): these (\d+) rows (twice|([\d,]+) times)(?:, then the first( \d+)? of them once more)?\."
)
_LINE = re.compile(r"Rows? +([^.]+?), (right to left|left to right)( first)?\. (.*)")


def lines_of_text(sheet: str) -> list[Line]:
    """The lines of a text sheet. What its headings promise of the rows is held against the rows that the lines name.

    Heads of parts, and what is done by hand between rows, ask for nothing that shows in the fabric here.
    """
    told = re.split(r"\n(?:In all|Still to knit:) ", sheet.split("\nRow by row\n")[1])[0]
    told = re.sub(r"\n(?:Part \d+ of|One plain row added).*\n(?:  (?! *Rows? ).*\n)*", "\n", told)
    told = re.sub(r"\n  What the (card|picture) selects .*?\n\n", "\n", told, flags=re.DOTALL)
    entries = re.sub(r"\n {3,}", " ", told).splitlines()
    lines: list[Line] = []
    promised: list[int] = []
    waiting: list[Line] = []
    for entry in (entry.strip() for entry in entries):
        if not entry or entry.startswith("Do: "):
            continue
        if match := _HEADING.fullmatch(entry):
            assert not waiting, "a block that has not come to its end"
            first, last, period = (int(match[k]) for k in (1, 2, 3))
            times = 2 if match[4] == "twice" else int(match[5].replace(",", ""))
            rest = (int(match[6]) if match[6] else 1) if "then" in entry else 0
            assert last - first + 1 == times * period + rest and rest < period
            promised = list(range(first, first + period))
            continue
        match = _LINE.fullmatch(entry)
        assert match, f"what is meant by: {entry}"
        line = Line(_rows(match[1]), match[2], match[4], bool(match[3]))
        lines.append(line)
        if promised:
            assert line.rows[0] == promised[: len(line.rows[0])], "the lines of a block are its first rows, in order"
            promised = promised[len(line.rows[0]) :]
    assert not promised
    return lines


def _rows(text: str) -> list[list[int]]:
    """ "5", "6 to 7", "5, 9 and 13", "5, 9, 13 and so on, last 245"."""

    def run(words: str) -> list[int]:
        ends = [int(number) for number in words.split(" to ")]
        return list(range(ends[0], ends[-1] + 1))

    if match := re.fullmatch(r"(.*) and so on, last (.*)", text):
        first, second = (run(words) for words in match[1].split(", ")[:2])
        last, period = run(match[2]), second[0] - first[0]
        starts = range(first[0], last[0], period)
        return [[start + k for k in range(len(first))] for start in starts] + [last]
    return [run(words) for words in text.replace(" and ", ", ").split(", ")]


_TOKEN = re.compile(r'<(/?)([a-zA-Z][\w-]*)((?:[^>"]|"[^"]*")*)>|([^<]+)')
_ATTRIBUTE = re.compile(r'([\w-]+)(?:="([^"]*)"|=([^\s"]+))?')
_NO_MARKUP = re.compile(r"<!--.*?-->|<(script|style)\b.*?</\1>", re.DOTALL)


_TAGS = ("tr", "td", "p", "div", "span", "i")
"""What the lines of a page's table are told by."""


class _Table:
    """The tables of a page, by the id of their section: the text of each line's steps, its arrow's words and the
    numbers in its boxes. Only what stands in such a section is read; the library's parser takes twice as long."""

    def __init__(self) -> None:
        self.inside, self.what, self.ticking = "", "", False
        self.lines: dict[str, list[Line]] = {"rows": [], "paper": []}
        self.found: dict[str, list[str]] = {}
        self.rows: list[list[int]] = []

    def feed(self, page: str) -> None:
        for ends, tag, attributes, text in _TOKEN.findall(_NO_MARKUP.sub("", page)):
            if text:
                if self.inside:
                    self.handle_data(html.unescape(text))
            elif ends:
                self.handle_endtag(tag)
            elif tag == "section" or (self.inside and tag in _TAGS):
                found = _ATTRIBUTE.findall(attributes) if attributes else ()
                named = {name: html.unescape(quoted or bare) for name, quoted, bare in found}
                self.handle_starttag(tag, named)

    def handle_starttag(self, tag: str, told: dict[str, str]) -> None:
        if tag == "section":
            self.inside = next((place for place in self.lines if told.get("id") == place), "")
        if not self.inside:
            return
        name = told.get("class", "")
        if tag == "tr":
            if "boxes" not in name:  # a line's boxes stand in a row of the table under it
                self.found = {"way": [], "do": []}
            self.rows = []
            if "data-r" in told:
                self.rows = [[int(told["data-r"])]]
            elif told.get("id", "").startswith("row-"):
                self.rows = [[int(told["id"].removeprefix("row-"))]]
        elif tag == "td":
            self.what = "way" if name.startswith("way") else "do" if name == "do" else ""
        elif tag == "p" and self.what == "do":
            self.found["do"].append("")
        elif tag == "div":
            self.ticking = name == "ticks"
        elif tag == "span" and self.ticking:
            self.rows.append([])
        elif tag == "i" and "data-r" in told:
            self.rows[-1].append(int(told["data-r"]))

    def handle_endtag(self, tag: str) -> None:
        if tag == "td":
            self.what = ""
        elif tag == "div":
            self.ticking = False
        elif tag == "tr" and self.inside and self.rows:
            way = " ".join(self.found["way"]).strip()
            words = " ".join(" ".join(self.found["do"]).split())
            line = Line(self.rows, way.removesuffix(" first"), words, way.endswith(" first"))
            self.lines[self.inside].append(line)
        elif tag == "section":
            self.inside = ""

    def handle_data(self, data: str) -> None:
        if self.what == "way":
            self.found["way"].append(data)
        elif self.what == "do" and self.found["do"] and not self.ticking:
            self.found["do"][-1] += data


def lines_of_page(page: str, place: str) -> list[Line]:
    """The lines of a page's table: "rows" for every row, "paper" for what is printed in blocks."""
    return list(_lines_by_place(page)[place])


@functools.lru_cache(maxsize=2)
def _lines_by_place(page: str) -> dict[str, list[Line]]:
    table = _Table()
    table.feed(page)
    return table.lines


def by_row(lines: list[Line]) -> dict[int, Line]:
    """The one line that she finds for each number of her row counter."""
    found: dict[int, Line] = {}
    for line in lines:
        for row in (row for once in line.rows for row in once):
            assert row not in found, f"row {row} is in two lines"
            found[row] = line
    first = min(found, default=1)
    assert sorted(found) == list(range(first, first + len(found))), "a row that no line tells"
    return found


# -- knitting --------------------------------------------------------------------------------------------------------


@dataclass
class Knitter:
    """A bed, a carriage and yarns. holds: the directions in which the carriage leaves held needles unknitted. hangs:
    the side at which each yarn is; threaded: the one that the carriage carries, or None where none was told of.
    come_back: the needles last named that came back into work."""

    bed: Bed
    side: Side
    holds: set[str] = field(default_factory=set)
    hangs: dict[str, Side] = field(default_factory=dict)
    threaded: str | None = None
    come_back: set[int] = field(default_factory=set)

    @property
    def to(self) -> Side:
        return "left" if self.side == "right" else "right"

    def knit(self, row: int, line: Line) -> str:
        """Do what a line says in this row, and make the pass; returns what each needle did."""
        bed = self.bed
        slipped: set[int] = set()
        back = cut = False
        pushed: set[int] = set()
        for sentence in line.words.strip().removesuffix(".").split(". "):
            holding = bed.holding
            if self.fetches(sentence) or self.sets_up(sentence):
                pass
            elif match := re.fullmatch(r"Push back (.*): loops behind the open latch", sentence):
                needles = read(match[1], holding)
                assert needles <= holding, f"not out: {sentence}"
                bed.holding = holding - needles
                pushed = needles
            elif match := re.fullmatch(r"Bring forward to working position, to knit: (.*)", sentence):
                needles = read(match[1], bed.rest)
                assert needles <= bed.rest, f"not right back: {sentence}"
                bed.rest -= needles
            elif match := re.fullmatch(r"Push right back, to slip, each with its stitch in the hook: (.*)", sentence):
                needles = read(match[1], holding)
                assert not needles & bed.rest, f"right back already: {sentence}"
                for needle in needles:
                    bed.push_right_back(needle)
            elif match := re.fullmatch(r"(?:To tuck, b|To slip, b|B)ring out (.*)", sentence):
                needles = read(match[1], holding)
                assert not needles & (holding | pushed | bed.empty), f"out already, or empty: {sentence}"
                bed.rest -= needles
                bed.holding = holding | needles
            elif match := re.fullmatch(
                r"Now (\d+) needles? (?:is|are) (held|right back)(?:, (\d+) of them from before)?", sentence
            ):
                assert int(match[1]) == len(holding if match[2] == "held" else bed.rest)
            elif match := re.fullmatch(r"Set the carriage to hold(?: when it goes (.*))?", sentence):
                assert not back
                self.set_to_hold(match[1])
            elif match := re.fullmatch(
                r"Cancel the hold(?: going (.*))?: the (\d+) held needles? knits? back", sentence
            ):
                self.holds -= {match[1]} if match[1] else {"right to left", "left to right"}
                assert int(match[2]) == len(holding)
                back = True
            elif match := re.fullmatch(r"The (\d+) held needles? knits? back", sentence):
                assert int(match[1]) == len(holding)
                back = True
            elif match := re.fullmatch(
                r"(?:Nothing to move: l|L)eave (?:the (\d+) held needles? out)?(?: and )?"
                r"(?:the (\d+) needles at the back where they are|(the needle at the back where it is))?",
                sentence,
            ):
                left = 0 if back else len(holding)  # those that are told to knit back are not left out
                assert (int(match[1] or 0), int(match[2] or bool(match[3]))) == (left, len(bed.rest))
            elif match := re.fullmatch(
                r"Slow: after the pass, lift the new yarn over the hooks and let it lie under the needles: (.*)",
                sentence,
            ):
                slipped = read(match[1], holding)
                assert slipped <= holding
            elif match := re.fullmatch(r"(?:Knit with|Change to) ([^(,]+?)(?: \(.*\))?(?:, the main yarn)?", sentence):
                self.threaded = match[1]
            elif match := re.fullmatch(
                r"This yarn hangs at the (left|right): cut it, and join it here at the (left|right)", sentence
            ):
                assert self.threaded and self.hangs[self.threaded] == match[1] != match[2] == self.side
                cut = True
            elif sentence == "Leave the hold set":
                assert back
            elif sentence in ("Nothing to move: all needles knit", "Then all needles knit"):
                assert not holding and not bed.rest
            else:
                assert re.match(r"Watch [LR]|Lay the yarn over the needle by hand, or", sentence), (
                    f"what is meant by: {sentence}"
                )
        direction = f"{self.side} to {self.to}"
        assert line.to_and_fro or line.direction == direction, "the carriage is on the other side"
        if self.threaded:
            assert cut or self.hangs.get(self.threaded, self.side) == self.side, "the yarn hangs at the other side"
            self.hangs[self.threaded] = self.to
        holds = direction in self.holds
        assert back == bool(bed.holding and not holds), "needles knit back that were not meant to, or do not"
        if not holds:
            bed.holding = set()
        self.side = self.to
        return bed.carry(row, knit=lambda needle: needle not in bed.holding, laid_over=lambda n: n not in slipped)

    def fetches(self, sentence: str) -> bool:
        """The carriage brought to the other side without knitting, if that is what the sentence asks for."""
        bed = self.bed
        if match := re.fullmatch(
            r"Free pass, (?:left to right|right to left): take the yarn out of the carriage, "
            r"bring out (all|the other) needles in work "
            r"\((\d+) needles?\) and set the carriage to hold(?: when it goes (.*))?",
            sentence,
        ):
            free = set(bed.needles) - bed.holding - bed.rest - bed.empty
            assert int(match[2]) == len(free) and (match[1] == "all") == (not bed.holding)
            self.set_to_hold(match[3])
        elif match := re.fullmatch(
            r"Bring the carriage to the (left|right), where the yarn of this row hangs: no needle knits", sentence
        ):
            assert match[1] == self.to and f"{self.side} to {self.to}" in self.holds, "held needles would knit"
            self.side = self.to
        elif match := re.fullmatch(
            r"Push the same needles back \((\d+) needles?\): loops behind the open latch", sentence
        ):
            assert int(match[1]) == len(set(bed.needles) - bed.holding - bed.rest - bed.empty)
        elif match := re.fullmatch(
            r"Carry the carriage: lift it off at the (left|right) and put it on at the (left|right), where the yarn of "
            r"this row hangs",
            sentence,
        ):
            assert (match[1], match[2]) == (self.side, self.to)
            self.side = self.to
        else:
            return sentence in ("Turn the row counter back by 1", "If the row counter moves on, turn it back")
        return True

    def sets_up(self, sentence: str) -> bool:
        """Needles put out of work or taken back, if that is what the sentence asks for."""
        bed = self.bed
        if match := re.fullmatch(
            r"Move the stitches of (.*) to the (?:(left|right) neighbour|next needle in work on their (left|right))",
            sentence,
        ):
            step = -1 if "left" in match.groups()[1:] else 1
            for needle in sorted(read(match[1], bed.holding), reverse=step == 1):
                assert match[3] or needle + step not in bed.empty, "the neighbour is empty"
                bed.put_out_of_work(needle, step)
        elif match := re.fullmatch(r"Bring back to working position: (.*)", sentence):
            self.come_back = read(match[1])
            bed.take_back(self.come_back)
        elif match := re.fullmatch(
            r"On (.*) pick up the bar of the row below(?:, or leave it for a small hole)?|"
            r"Either way (.*) knits? in this row: there is no stitch to hold yet|"
            r"The (?:card|picture) makes (.*) slip first: left empty, (?:it|they) would take no yarn until .* knits?",
            sentence,
        ):
            named = next(filter(None, match.groups()))
            needles = self.come_back if named in ("it", "they", "them") else read(named)
            assert not any(bed.loops[needle] or needle in bed.empty for needle in needles)
            self.come_back = needles
        else:
            return sentence in (
                "Push the empty needles to non-working position",
                "Pick up the bar of the row below, or leave it for a small hole",
                "Pick up the bar of the row below",
            )
        return True

    def set_to_hold(self, way: str | None) -> None:
        self.holds |= {way} if way else {"right to left", "left to right"}


@dataclass
class AtReader(Knitter):
    """At a machine whose needles a card or a picture selects: felt has each by its name, with how many rows it is.

    What is not read knits: with the carriage set to plain, at the edges, and where a part has no card or picture.
    ahead: needles are selected for the next pass, and the card or picture is put in one row earlier."""

    felt: dict[str, tuple[Felt, int]] = field(default_factory=dict)
    edge: set[int] = field(default_factory=set)
    put_in: dict[int, str] = field(default_factory=dict)
    by_card: bool = True
    setting: str = "plain"
    reading: str | None = None
    place: int = 0
    locked: bool = False
    until: int = 0
    ahead: bool = False
    ready: set[int] = field(default_factory=set)

    def knit(self, row: int, line: Line) -> str:
        """A line of several rows is to be done at the first of those that are together, and says how far to knit: to
        the last of them. A row that has a line of its own is knitted, and no further one."""
        if row + self.ahead in self.put_in:
            stitch = self.put_in[row + self.ahead]
            self.reading, self.place, self.locked = (stitch or None), 0, bool(stitch) and self.by_card
        together = next(once for once in line.rows if row in once)
        first = row == together[0]
        assert row <= self.until or first, "nothing said how far to knit"
        last = row if len(together) == 1 else None
        for sentence in line.words.strip().removesuffix(".").split(". ") if first else ():
            if re.match(r"All needles knit|Row \d+ of the repeat: ", sentence):
                continue  # the page says for each row what is selected, for her to check
            assert row == self.until + 1, f"told before the rows are knitted: {sentence}"
            if self.sets_up(sentence) or self.threads(sentence):
                pass
            elif match := re.fullmatch(
                r"Set the carriage to (plain|tuck|slip)( and take the (?:card|picture) out of use)?", sentence
            ):
                self.setting = match[1]
                if match[2]:
                    self.reading = None
            elif match := re.fullmatch(
                r"(Release the card and k|K)nit (?:(\d+) rows?|until the row counter shows (\d+))", sentence
            ):
                assert self.locked == match[1].startswith("R"), "the card is still locked, or there is none to release"
                self.locked = False
                last = int(match[3]) if match[3] else row - 1 + int(match[2])
            else:
                raise AssertionError(f"what is meant by: {sentence}")
        assert self.ahead or not self.locked, "the card still stands at its first row"
        if first and row == self.until + 1:
            assert last == together[-1], "the line tells to knit other rows than its own"
            self.until = last
        direction = f"{self.side} to {self.to}"
        assert line.direction == (direction if not line.to_and_fro or first else line.direction)
        if self.threaded:
            assert self.hangs.get(self.threaded, self.side) == self.side, "the yarn hangs at the other side"
            self.hangs[self.threaded] = self.to
        assert self.reading or self.setting == "plain" or self.ahead, "needles that nothing selects would not knit"
        selected = set(self.bed.needles)
        if self.reading is not None:
            felt, rows = self.felt[self.reading]
            self.place = self.place % rows + 1
            selected = {n for n in selected if n in self.edge or felt(self.place, n)}
        knits, self.ready = self.ready if self.ahead else selected, selected
        self.side = self.to
        done = self.bed.carry(row, lambda n: n in knits or self.setting == "plain", lambda _: self.setting == "tuck")
        for sentence in line.words.strip().removesuffix(".").split(". "):
            if match := re.fullmatch(r"(All needles knit|Row \d+ of the repeat: .*)", sentence):
                self.as_selected(done, match[1])
        return done

    def threads(self, sentence: str) -> bool:
        match = re.fullmatch(r"(?:Knit with|Change to) ([^(,]+?)(?: \(.*\))?(?:, the main yarn)?", sentence)
        self.threaded = match[1] if match else self.threaded
        return bool(match)

    def as_selected(self, done: str, words: str) -> None:
        """The row as it was knitted is what the words say that the card or picture selects."""
        held = {"tuck": set(), "slip": set()}  # type: dict[str, set[int]]
        for part in words.partition("the repeat: ")[2].split("; "):
            if match := re.fullmatch(r"(.*) (tuck|slip)s?", part):
                held[match[2]] = read(match[1])
        meant = {n: verb[0].upper() for verb, needles in held.items() for n in needles}
        bed = zip(self.bed.needles, done, strict=True)
        assert {n: did for n, did in bed if did in "TS"} == meant, words


def go_on_as_told(sheet: str, bed: Bed, side: Side) -> Knitter:
    """Someone else who comes to the bed: setting and yarns from what the sheet says under "Before row"."""
    told = " ".join(sheet.split("\nBefore row ")[1].split("\nRow by row\n")[0].split())
    match = re.search(r"carriage at the (left|right), set to ([^;]*?)[;.] ", told)
    assert match and match[1] == side, told
    holds = {way.removeprefix("hold going ") for way in match[2].split(" and ") if way.startswith("hold going ")}
    if " going " not in match[2]:
        holds = {"right to left", "left to right"} if match[2] == "hold" else set()
    knitter = Knitter(bed, side, holds)
    if match := re.search(r"; ([^;]*?) threaded((?:, [^;,]*? hangs at the (?:left|right))*)[;.]", told):
        knitter.threaded = match[1]
        knitter.hangs = dict(re.findall(r", ([^;,]*?) hangs at the (left|right)", match[2]))
        knitter.hangs[match[1]] = side
    return knitter


def empty_at_first(sheet: str) -> set[int]:
    """The needles that she leaves empty at the cast-on, as the sheet says it before row 1."""
    told = " ".join(sheet.split("\nBefore row 1\n")[1].split("\nRow by row\n")[0].split())
    match = re.search(
        r"(?:leave empty|stand empty from the cast-on, in non-working position): (.*?\))\. (?:2\. )?Cast on", told
    )
    return read(match[1]) if match else set()


def follow_words(
    lines: list[Line], needles: range, carriage: Side, rows: int, empty: Collection[int] = ()
) -> list[str]:
    """The fabric that comes off when she looks up each row by her row counter and does what she reads."""
    found = by_row(lines)
    assert len(found) == rows
    knitter = Knitter(Bed(needles, empty=set(empty)), carriage)
    told = [knitter.knit(row, found[row]) for row in range(1, rows + 1)]
    assert knitter.bed.fabric_from_loops(rows) == told
    return told
