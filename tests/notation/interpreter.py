"""A second reading of the notation, slow and simple on purpose: plain lists, one letter at a time.

Written from the description of the notation alone and sharing nothing with the compiler, so that the two can be
held against each other. It reads valid text; of invalid text it says which rule is broken first, and no more.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from matplotlib.colors import CSS4_COLORS  # CSS Color Module Level 4, as another project has it

_KEYWORDS = """
    pattern note yarn colour tex weight include stitch over in then beside across up shifted left right mirrored
    reversed with for plain by gauge stitches rows per mm cm piece width needles plus edge carriage do knit at exactly
"""
KEYWORDS = frozenset(_KEYWORDS.split())
MOST_CELLS = 4_000_000
MOST_COUNT = 1_000_000
MOST_BRACKETS = 64
MM = {"mm": Fraction(1), "cm": Fraction(10), **dict.fromkeys(("in", "inch", "inches"), Fraction(254, 10))}


class Wrong(Exception):
    """The text breaks a rule; code is the message code of that rule."""

    def __init__(self, code: str, why: str) -> None:
        self.code = code
        super().__init__(f"{code}: {why}")


@dataclass
class Fabric:
    """Rows of letters, first knitted first, and the yarn of each row."""

    rows: list[list[str]]
    yarns: list[str | None]

    @property
    def width(self) -> int:
        return len(self.rows[0])

    @property
    def height(self) -> int:
        return len(self.rows)


@dataclass
class Section:
    """One step of a piece: ("do", text), ("carriage", side) or ("knit", stitch, amount, exactly, yarn, at)."""

    kind: str
    values: tuple[object, ...]


@dataclass
class Work:
    """A piece. widths (one, or several sizes) and plus in mm."""

    widths_mm: list[Fraction] = field(default_factory=list)
    make: int = 1
    plus_mm: Fraction = Fraction(0)
    needles: str | None = None
    edge: int = 1
    carriage: str = "right"
    steps: list[Section] = field(default_factory=list)


@dataclass
class Book:
    """Everything a file says."""

    title: str | None = None
    notes: list[str] = field(default_factory=list)
    by: str | None = None
    difficulty: str | None = None
    notions: list[str] = field(default_factory=list)
    yarns: dict[str, tuple[str, str | None, Fraction | None, tuple[Fraction, Fraction] | None]] = field(
        default_factory=dict
    )
    fabrics: dict[str, Fabric] = field(default_factory=dict)
    own: list[str] = field(default_factory=list)
    order: list[str] = field(default_factory=list)
    parts: set[str] = field(default_factory=set)
    gauges: list[tuple[str, Fraction | None, Fraction | None, Fraction]] = field(default_factory=list)
    pieces: dict[str, Work] = field(default_factory=dict)

    @property
    def knitted(self) -> set[object]:
        """The stitches that pieces knit."""
        steps = [step for work in self.pieces.values() for step in work.steps]
        return {step.values[0] for step in steps if step.kind == "knit"}

    @property
    def wanted(self) -> list[str]:
        """The stitches that nothing else is built from, and those that pieces knit."""
        if not self.own:
            return []
        included = [name for name in self.order if name not in self.own and name in self.knitted]
        return [name for name in self.own if name not in self.parts or name in self.knitted] + included


# -- one line, letter by letter ---------------------------------------------------------------------------------


class Line:
    """A cursor over one line."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0

    def spaces(self) -> None:
        while self.at < len(self.text) and self.text[self.at].isspace():
            self.at += 1

    def peek(self) -> str:
        self.spaces()
        if self.at == len(self.text) or self.text[self.at] == "#":
            return ""
        return self.text[self.at]

    def done(self) -> bool:
        return self.peek() == ""

    def end(self) -> None:
        if not self.done():
            raise Wrong("N101", f"more than expected in {self.text!r} at {self.at}")

    def take(self, mark: str) -> bool:
        if self.peek() == mark:
            self.at += 1
            return True
        return False

    def need(self, mark: str) -> None:
        if not self.take(mark):
            raise Wrong("N101", f"no {mark!r} in {self.text!r} at {self.at}")

    def digits(self) -> str:
        self.spaces()
        start = self.at
        while self.at < len(self.text) and self.text[self.at] in "0123456789":
            self.at += 1
        return self.text[start : self.at]

    def count(self) -> int:
        digits = self.digits()
        if not digits:
            raise Wrong("N101", f"no number in {self.text!r} at {self.at}")
        number = int(digits) if len(digits) < 30 else 10**30
        if number < 1:
            raise Wrong("N115", "a count is at least 1")
        if number > MOST_COUNT:
            raise Wrong("N110", "a count is at most a million")
        return number

    def decimal(self) -> Fraction:
        whole = self.digits()
        if not whole:
            raise Wrong("N101", f"no number in {self.text!r} at {self.at}")
        if self.text[self.at : self.at + 1] == ".":
            self.at += 1
            return Fraction(f"{whole}.{self.digits() or '0'}")
        return Fraction(whole)

    def quoted(self) -> str:
        closing = {'"': '"', "“": "”", "„": "“”", "«": "»"}.get(self.peek())
        if closing is None:
            raise Wrong("N101", f"no quoted text in {self.text!r} at {self.at}")
        start = self.at + 1
        end = min((at for mark in closing if (at := self.text.find(mark, start)) >= 0), default=-1)
        if end < 0:
            raise Wrong("N101", "quoted text ends on its own line")
        self.at = end + 1
        text = self.text[start:end]
        return text.strip() if closing == "»" else text

    def words(self) -> str:
        """A quoted text that must not be empty."""
        text = self.quoted()
        if not text.strip():
            raise Wrong("N101", "nothing between the quotation marks")
        return text

    def word(self) -> str:
        """A name or a keyword as written, or nothing."""
        self.spaces()
        start = self.at
        if start < len(self.text) and unicodedata.category(self.text[start])[0] == "L":
            self.at += 1
            while self.at < len(self.text) and (
                unicodedata.category(self.text[self.at])[0] in "LM"
                or unicodedata.category(self.text[self.at]) == "Nd"
                or self.text[self.at] in "_-"
            ):
                self.at += 1
        return self.text[start : self.at]

    def keyword(self, *allowed: str) -> str:
        """One of these keywords if it comes next; otherwise nothing is taken."""
        before = self.at
        word = self.word().lower()
        if word in allowed:
            return word
        self.at = before
        return ""

    def need_keyword(self, *allowed: str) -> str:
        word = self.keyword(*allowed)
        if not word:
            raise Wrong("N101", f"none of {allowed} in {self.text!r} at {self.at}")
        return word

    def name(self) -> str:
        word = self.word()
        if not word or word.lower() in KEYWORDS:
            raise Wrong("N101", f"no name in {self.text!r} at {self.at}")
        return unicodedata.normalize("NFC", word)

    def letter(self) -> str:
        if self.peek().upper() not in ("K", "T", "S"):
            raise Wrong("N102", f"no K, T or S in {self.text!r} at {self.at}")
        self.at += 1
        return self.text[self.at - 1].upper()


# -- rows -------------------------------------------------------------------------------------------------------


def cells(line: Line, depth: int = 0) -> list[str]:
    """Runs and groups up to the end of the line or the closing bracket."""
    out: list[str] = []
    while not line.done() and line.peek() != ")":
        if line.take("("):
            if depth == MOST_BRACKETS:
                raise Wrong("N110", "brackets nest at most 64 deep")
            inside = cells(line, depth + 1)
            line.need(")")
            if not (line.take("x") or line.take("X") or line.take("×")):
                raise Wrong("N101", "a group is counted")
            out = limited(out + limited_times(inside, line.count()))
        else:
            letter = line.letter()
            out = limited(out + limited_times([letter], line.count() if line.peek().isdigit() else 1))
    if not out:
        raise Wrong("N101", "nothing is knitted")
    return out


def limited_times(letters: list[str], times: int) -> list[str]:
    if len(letters) * times > MOST_CELLS:
        raise Wrong("N110", "too many cells")
    return letters * times


def limited(letters: list[str]) -> list[str]:
    if len(letters) > MOST_CELLS:
        raise Wrong("N110", "too many cells")
    return letters


def ranges(line: Line) -> list[int]:
    """`1, 4-6`: every number, in the order in which they are given."""
    numbers: list[int] = []
    while True:
        first = line.count()
        last = line.count() if line.take("-") or line.take("–") else first
        if last < first:
            raise Wrong("N115", "a range counts upward")
        numbers += range(first, last + 1)
        if not line.take(","):
            return numbers


def out_line(line: Line) -> list[int]:
    """`4, 6-7` after `out`: needles of the repeat; whatever is wrong with their numbers is N119."""
    try:
        needles = ranges(line)
    except Wrong as wrong:
        raise Wrong("N119" if wrong.code in ("N110", "N115") else wrong.code, str(wrong)) from None
    line.end()
    if len(set(needles)) < len(needles):
        raise Wrong("N119", "a needle is out of work twice")
    return needles


def row_line(line: Line) -> tuple[list[int], str | None, list[str]]:
    """`1, 4-6 in foam: K T`: the row numbers, the yarn and the letters."""
    numbers = ranges(line)
    yarn = line.name() if line.keyword("in") else None
    line.need(":")
    letters = cells(line)
    line.end()
    return numbers, yarn, letters


def written(over: int | None, given: list[tuple[list[int], str | None, list[str]]], out: list[int]) -> Fabric:
    """The rows put in their places and filled to the needles in work; those out of work are `-` in every row."""
    width = over if over is not None else max((len(letters) for _, _, letters in given), default=0) + len(out)
    if any(needle > width for needle in out):
        raise Wrong("N119", "no such needle")
    working = [needle for needle in range(1, width + 1) if needle not in out]
    if out and not working:
        raise Wrong("N119", "at least one needle stays in work")
    at: dict[int, tuple[list[str], str | None]] = {}
    for numbers, yarn, letters in given:
        for number in numbers:
            if number in at:
                raise Wrong("N106", f"row {number} twice")
            at[number] = letters, yarn
    if not at:
        raise Wrong("N101", "a stitch has rows")
    height = max(at)
    if width * height > MOST_CELLS:
        raise Wrong("N110", "too many cells")
    for number in range(1, height + 1):
        if number not in at:
            raise Wrong("N107", f"row {number} missing")
    rows = []
    for number in range(1, height + 1):
        letters, _ = at[number]
        if len(working) % len(letters):
            for_all = out and len(letters) == width
            raise Wrong("N119" if for_all else "N108", f"row {number} does not go into {len(working)}")
        row = ["-"] * width
        for place, needle in enumerate(working):
            row[needle - 1] = letters[place % len(letters)]
        rows.append(row)
    return Fabric(rows, [at[number][1] for number in range(1, height + 1)])


# -- stitches out of others -------------------------------------------------------------------------------------

Lookup = Callable[[str], Fabric]
Build = Callable[[Lookup], Fabric]


def check_size(width: int, height: int) -> None:
    if width * height > MOST_CELLS:
        raise Wrong("N110", f"{width} by {height} is too many cells")


def grown(fabric: Fabric, width: int, height: int) -> Fabric:
    check_size(width, height)
    rows = [[fabric.rows[r % fabric.height][c % fabric.width] for c in range(width)] for r in range(height)]
    return Fabric(rows, [fabric.yarns[r % fabric.height] for r in range(height)])


def joined_then(a: Fabric, b: Fabric) -> Fabric:
    width = math.lcm(a.width, b.width)
    if width != max(a.width, b.width):
        raise Wrong("N109", "widths do not fit")
    check_size(width, a.height + b.height)
    a, b = grown(a, width, a.height), grown(b, width, b.height)
    if any((here == "-") != (there == "-") for here, there in zip(a.rows[0], b.rows[0], strict=True)):
        raise Wrong("N119", "a needle is out of work in one part only")
    return Fabric(a.rows + b.rows, a.yarns + b.yarns)


def joined_beside(a: Fabric, b: Fabric) -> Fabric:
    height = math.lcm(a.height, b.height)
    if height != max(a.height, b.height):
        raise Wrong("N109", "heights do not fit")
    check_size(a.width + b.width, height)
    a, b = grown(a, a.width, height), grown(b, b.width, height)
    yarns: list[str | None] = []
    for left, right in zip(a.yarns, b.yarns, strict=True):
        if left and right and left != right:
            raise Wrong("N117", "one row, two yarns")
        yarns.append(left or right)
    return Fabric([left + right for left, right in zip(a.rows, b.rows, strict=True)], yarns)


def shifted(a: Fabric, right: int) -> Fabric:
    return Fabric([[row[(c - right) % a.width] for c in range(a.width)] for row in a.rows], a.yarns)


def replaced(a: Fabric, becomes: Mapping[str, str]) -> Fabric:
    return Fabric([[becomes.get(letter, letter) for letter in row] for row in a.rows], a.yarns)


def expression(line: Line, used: list[str], depth: int = 0) -> Build:
    """`then` binds loosest."""
    build = beside_chain(line, used, depth)
    while line.keyword("then"):
        build = both(joined_then, build, beside_chain(line, used, depth))
    return build


def beside_chain(line: Line, used: list[str], depth: int) -> Build:
    build = formed(line, used, depth)
    while line.keyword("beside"):
        build = both(joined_beside, build, formed(line, used, depth))
    return build


def both(join: Callable[[Fabric, Fabric], Fabric], left: Build, right: Build) -> Build:
    return lambda look: join(left(look), right(look))


def formed(line: Line, used: list[str], depth: int) -> Build:
    """A name, `plain W by H` or brackets, and the forms after it from left to right."""
    if line.take("("):
        if depth == MOST_BRACKETS:
            raise Wrong("N110", "brackets nest at most 64 deep")
        build = expression(line, used, depth + 1)
        line.need(")")
    elif line.keyword("plain"):
        width = line.count()
        line.need_keyword("by")
        build = plain(width, line.count())
    else:
        name = line.name()
        used.append(name)
        build = named(name)
    while form := line.keyword("across", "up", "shifted", "mirrored", "reversed", "with"):
        build = after(form, line, build)
    return build


def plain(width: int, height: int) -> Build:
    def build(_: Lookup) -> Fabric:
        check_size(width, height)
        return Fabric([["K"] * width for _ in range(height)], [None] * height)

    return build


def named(name: str) -> Build:
    return lambda look: look(name)


def after(form: str, line: Line, build: Build) -> Build:
    if form == "across":
        times = line.count()
        return lambda look: (lambda a: grown(a, a.width * times, a.height))(build(look))
    if form == "up":
        times = line.count()
        return lambda look: (lambda a: grown(a, a.width, a.height * times))(build(look))
    if form == "shifted":
        needles = line.count()
        if line.keyword("left", "right") == "left":
            needles = -needles
        return lambda look: shifted(build(look), needles)
    if form == "mirrored":
        return lambda look: (lambda a: Fabric([row[::-1] for row in a.rows], a.yarns))(build(look))
    if form == "reversed":
        return lambda look: (lambda a: Fabric(a.rows[::-1], a.yarns[::-1]))(build(look))
    becomes: dict[str, str] = {}
    while True:
        new = line.letter()
        line.need_keyword("for")
        old = line.letter()
        if old in becomes:
            raise Wrong("N101", f"{old} is replaced twice")
        becomes[old] = new
        if not line.take(","):
            return lambda look: replaced(build(look), becomes)


# -- the file ---------------------------------------------------------------------------------------------------


class Reading:
    """The state of reading one file and those it includes."""

    def __init__(self, files: Mapping[str, str]) -> None:
        self.files = files
        self.book = Book()
        self.read: set[str] = set()
        self.built: dict[str, Build] = {}
        self.uses: dict[str, list[str]] = {}
        self.asked_yarns: list[str] = []
        self.asked_stitches: list[str] = []

    def file(self, name: str, open_files: tuple[str, ...]) -> None:
        if name in open_files or name not in self.files or len(open_files) > 16:
            raise Wrong("N114", f"{name} can't be included")
        if name in self.read:
            return
        self.read.add(name)
        text = self.files[name].removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
        rows: list[tuple[list[int], str | None, list[str]]] | None = None
        over: int | None = None
        out: list[int] = []
        title: str = ""
        work: Work | None = None

        def close() -> None:
            nonlocal rows
            if rows is not None:
                fabric = written(over, rows, out)
                self.built[title] = lambda _: fabric
                rows = None

        for raw in text.split("\n"):
            line = Line(raw)
            if line.done():
                continue
            if line.peek().isdigit():
                if rows is None:
                    raise Wrong("N101", "a row stands under a stitch")
                row = row_line(line)
                if row[1]:
                    self.asked_yarns.append(row[1])
                rows.append(row)
                continue
            word = line.word().lower()
            if word == "out" and rows is not None:
                if out:
                    raise Wrong("N119", "at most one line of needles out of work")
                out = out_line(line)
                continue
            if work is not None and word in (
                "make",
                "width",
                "sizes",
                "needles",
                "edge",
                "carriage",
                "do",
                "knit",
            ):
                self.piece_line(word, line, work)
                line.end()
                continue
            close()
            work = None
            if word == "pattern":
                if self.book.title is not None:
                    raise Wrong("N101", "pattern at most once")
                self.book.title = line.quoted()
            elif word == "note":
                self.book.notes.append(line.quoted())
            elif word == "notion":
                self.book.notions.append(line.words())
            elif word in ("by", "difficulty"):
                if getattr(self.book, word) is not None:
                    raise Wrong("N101", f"{word} at most once")
                setattr(self.book, word, line.words())
            elif word == "yarn":
                self.yarn(line)
            elif word == "include":
                self.file(line.quoted(), (*open_files, name))
            elif word == "gauge":
                self.gauge(line)
            elif word == "piece":
                title = line.name()
                if title in self.book.pieces:
                    raise Wrong("N104", f"piece {title} twice")
                work = self.book.pieces[title] = Work()
            elif word == "stitch":
                title = line.name()
                if title in self.uses:
                    raise Wrong("N104", f"stitch {title} twice")
                self.uses[title] = []
                self.book.order.append(title)
                if not open_files:
                    self.book.own.append(title)
                if line.take("="):
                    self.built[title] = expression(line, self.uses[title])
                else:
                    rows, out = [], []
                    over = line.count() if line.keyword("over") else None
            else:
                raise Wrong("N101", f"no statement begins with {word!r}")
            line.end()
        close()

    def yarn(self, line: Line) -> None:
        name = line.name()
        if name in self.book.yarns:
            raise Wrong("N104", f"yarn {name} twice")
        text = line.quoted() if line.peek() and line.peek() in '"“„«' else ""
        colour: str | None = None
        tex: Fraction | None = None
        ball: tuple[Fraction, Fraction] | None = None
        while word := line.keyword("colour", "color", "tex", "weight", "ball"):
            if word in ("colour", "color"):
                colour = line.quoted() if not line.peek().isalpha() else line.word()
                colour = CSS4_COLORS[colour.lower()].lower() if colour.lower() in CSS4_COLORS else colour
            elif word == "tex":
                tex = line.decimal()
            elif word == "ball":
                grams = line.decimal()
                line.need_keyword("g")
                ball = grams, line.decimal()
                line.need_keyword("m")
            elif line.peek() in '"“„«':
                line.quoted()
            else:
                line.word() or line.digits()
        self.book.yarns[name] = text, colour, tex, ball

    def gauge(self, line: Line) -> None:
        if line.keyword("plain"):
            stitch = "plain"
        else:
            stitch = line.name()
            self.asked_stitches.append(stitch)
        stitches: Fraction | None = None
        rows: Fraction | None = None
        while not line.keyword("per"):
            number = line.decimal()
            if line.need_keyword("stitches", "stitch", "sts", "st", "rows", "row").startswith("st"):
                stitches = number
            else:
                rows = number
        self.book.gauges.append((stitch, stitches, rows, self.length(line)))

    def length(self, line: Line) -> Fraction:
        number = line.decimal()
        return number * MM[line.need_keyword("mm", "cm", "in", "inch", "inches")]

    def piece_line(self, word: str, line: Line, work: Work) -> None:
        if word == "make":
            work.make = line.count()
        elif word in ("width", "sizes"):
            numbers = [line.decimal()]
            while word == "sizes" and line.take(","):
                numbers.append(line.decimal())
            unit = MM[line.need_keyword("mm", "cm", "in", "inch", "inches")]
            work.widths_mm = [number * unit for number in numbers]
            if len(set(numbers)) < len(numbers):
                raise Wrong("N101", "each size once")
            if line.keyword("plus"):
                work.plus_mm = self.length(line)
        elif word == "needles":
            line.spaces()
            start = line.at
            while not line.done():
                line.at += 1
            work.needles = line.text[start : line.at].strip()
        elif word == "edge":
            work.edge = int(line.digits())
        elif word == "carriage":
            side = line.need_keyword("left", "right")
            if work.steps:
                work.steps.append(Section("carriage", (side,)))
            else:
                work.carriage = side
        elif word == "do":
            work.steps.append(Section("do", (line.words(),)))
        else:
            if line.keyword("plain"):
                stitch = "plain"
            else:
                stitch = line.name()
                self.asked_stitches.append(stitch)
            line.need_keyword("for")
            number = line.decimal()
            unit = line.need_keyword("rows", "row", "mm", "cm", "in", "inch", "inches")
            amount: tuple[str, Fraction] = ("rows", number) if unit.startswith("row") else ("mm", number * MM[unit])
            exactly, yarn, at = False, None, None
            while option := line.keyword("exactly", "in", "at"):
                if option == "exactly":
                    exactly = True
                elif option == "in":
                    yarn = line.name()
                    self.asked_yarns.append(yarn)
                else:
                    at = line.words()
            work.steps.append(Section("knit", (stitch, *amount, exactly, yarn, at)))

    def finish(self) -> Book:
        book = self.book
        for yarn in self.asked_yarns:
            if yarn not in book.yarns:
                raise Wrong("N116", f"no yarn {yarn}")
        for stitch in self.asked_stitches:
            if stitch not in self.uses:
                raise Wrong("N103", f"no stitch {stitch}")
        for used in self.uses.values():
            for name in used:
                if name not in self.uses:
                    raise Wrong("N103", f"no stitch {name}")
            book.parts.update(used)
        if not self.uses:
            raise Wrong("N113", "no stitch")
        doing: list[str] = []

        def look(name: str) -> Fabric:
            if name in doing:
                raise Wrong("N105", f"{name} is built from itself")
            if name not in book.fabrics:
                doing.append(name)
                book.fabrics[name] = self.built[name](look)
                doing.pop()
            return book.fabrics[name]

        for name in self.uses:
            look(name)
        return book


def interpret(text: str, includes: Mapping[str, str] | None = None) -> Book:
    """What the text means. includes: the other files by the name that an include gives. Raises Wrong."""
    top = ""
    reading = Reading({**(includes or {}), top: text})
    reading.file(top, ())
    return reading.finish()
