"""Random pattern texts: the notation in all its spellings, most of them valid.

A text is drawn with any source of chance that has the methods of `random.Random`, so that Hypothesis can shrink what
it finds and a long run can go fast. Sizes are tracked only to make most compositions fit; what a text means is for
the interpreter to say.
"""

from __future__ import annotations

import itertools
import math
import unicodedata
from dataclasses import dataclass, field
from random import Random

NAMES = [
    "ripple",
    "drift",
    "a",
    "b",
    "x",
    "K",
    "t",
    "s",
    "k2tog",
    "K3",
    "Drift",
    "tide_line",
    "wide-rib-2",
    "thenceforth",
    "plainish",
    "plain\u0301",
    "then\u0301",
    "plain\u3099",
    "upper",
    "byway",
    "in-land",
    "with_",
    "rows2",
    "leftover",
    "mirrored2",
    "gezeiten",
    "flüt",
    "ébb",
    "Å",
    "кайма",
    "ταξίδι",
    "波",
    "かがみ",
    "लहर",
    "คลื่น",
    "שלום",
    "mot_ȷ́",
    "out",
    "outer",
    "sure",
    "color",
    "st",
    "row",
    "inches",
    "ball",
    "sizes",
    "Photo",
    "g",
]
SPACES = [" "] * 8 + ["  ", "\t", " \t ", "\u00a0", "\u3000", "\u2009"]
TIGHT = [""] * 8 + SPACES
COMMENTS = ["", "# tide", '# "open', "#", "## (((", "# 1: K P", "# \u00e9\u0301 ×", "#stitch a = b"]
TEXTS = ["", "Tide line", "worn purl side out", "4 ply # not a comment", "ünï ✂ 波", "(K T)x2", "a'b", "\\n", "  "]
SIZES = [1, 1, 2, 2, 2, 3, 4, 4, 6, 6, 8, 12]


@dataclass
class Sized:
    """Text of an expression with the size it should have, and the columns (from 0) that are out of work."""

    tokens: list[str]
    width: int
    height: int
    out: frozenset[int] = frozenset()

    def out_over(self, width: int) -> frozenset[int]:
        """The columns out of work where it is repeated to that width."""
        return frozenset(column for column in range(width) if column % self.width in self.out)


@dataclass
class Written:
    """A text, the files it includes by name, and how its file starts and ends its lines."""

    text: str
    files: dict[str, str] = field(default_factory=dict)


class Scribe:
    """Writes one random pattern."""

    def __init__(self, chance: Random, most_stitches: int = 6) -> None:
        self.chance = chance
        self.most_stitches = most_stitches
        self.yarns: list[str] = []
        self.sizes: dict[str, tuple[int, int, frozenset[int]]] = {}

    # -- spelling

    def one(self, choices: list[str]) -> str:
        return self.chance.choice(choices)

    def often(self, percent: int) -> bool:
        return self.chance.randrange(100) < percent

    def name(self, name: str) -> str:
        """A name as somebody's keyboard gives it: composed or decomposed."""
        return unicodedata.normalize("NFD" if self.often(40) else "NFC", name)

    def word(self, keyword: str) -> str:
        kind = self.chance.randrange(8)
        return keyword.upper() if kind == 0 else keyword.capitalize() if kind == 1 else keyword

    def number(self, value: int) -> str:
        return ("0" * self.chance.randrange(1, 3) if self.often(5) else "") + str(value)

    def quoted(self) -> str:
        text = self.one(TEXTS)
        if self.often(85) or set(text) & set('"“”„«»'):
            return f'"{text}"'
        return self.one(["“{}”", "„{}“", "„{}”", "«{}»"]).format(text)

    def words(self) -> str:
        """A quoted text that must not be empty, and once in a while is."""
        return next(text for _ in itertools.count() if (text := self.quoted())[1:-1].strip() or self.often(2))

    def line(self, tokens: list[str]) -> str:
        """Tokens with spaces where they are needed and sometimes where they are not."""
        out = self.one(TIGHT)
        for index, token in enumerate(tokens):
            if index:
                both = _wordish(tokens[index - 1][-1]) and _wordish(token[0])
                out += self.one(SPACES) if both else self.one(TIGHT)
            out += token
        return out + self.one(TIGHT) + (self.one(COMMENTS) if self.often(20) else "")

    # -- rows

    def cells(self, width: int, depth: int = 0) -> str:
        """Runs and groups of exactly `width` cells."""
        letter = self.one(list("KKKTTSkts"))
        gap = self.one([" "] * 4 + TIGHT[6:])
        kind = self.chance.randrange(4)
        if width == 1:
            text = letter if self.often(80) else letter + self.number(1)
            if depth < 3 and self.often(3):
                text = f"({gap}{text}){self.one(['x', 'X', '×'])}1"
            return text
        if kind == 0 or depth > 5:
            return letter + self.number(width)
        if kind == 1 and width <= 6:
            return gap.join(self.one(list("KKTSkt")) for _ in range(width))
        divisors = [n for n in range(1, width + 1) if width % n == 0]
        if kind == 2:
            times = self.chance.choice(divisors)
            inside = self.cells(width // times, depth + 1)
            sign = self.one(TIGHT) + self.one(["x", "x", "X", "×"])
            return f"({self.one(TIGHT)}{inside}{self.one(TIGHT)}){sign}{self.number(times)}"
        cut = self.chance.randrange(1, width)
        return self.cells(cut, depth + 1) + gap + self.cells(width - cut, depth + 1)

    def ranges(self, numbers: list[int]) -> list[str]:
        """`1, 4-6` for some row numbers, neighbours joined or not."""
        tokens: list[str] = []
        index = 0
        while index < len(numbers):
            end = index
            while end + 1 < len(numbers) and numbers[end + 1] == numbers[end] + 1 and self.often(70):
                end += 1
            tokens += [","] if tokens else []
            if end > index or self.often(5):
                tokens += [self.number(numbers[index]), self.one(["-", "-", "–"]), self.number(numbers[end])]
            else:
                tokens.append(self.number(numbers[index]))
            index = end + 1
        return tokens

    def needles_out(self, width: int) -> list[int]:
        """Needles of a repeat that are out of work, none of them in most stitches."""
        if self.often(75):
            return []
        return sorted(self.chance.sample(range(1, width + 1), self.chance.randrange(width)))

    def by_rows(self, name: str) -> list[str]:
        width, height = self.chance.choice(SIZES), self.chance.choice(SIZES)
        if self.often(10):
            width, height = self.chance.randrange(1, 40), self.chance.randrange(1, 20)
        out = self.needles_out(width)
        working = width - len(out)
        divisors = [n for n in range(1, working + 1) if working % n == 0]
        rows = list(range(1, height + 1))
        lines: list[str] = []
        over = self.often(30)
        full = False
        while rows:
            some = self.chance.randrange(1, min(len(rows), 5) + 1)
            taken = rows[:some] if self.often(50) else sorted(self.chance.sample(rows, some))
            rows = [row for row in rows if row not in taken]
            goes = working if not rows and not full and not over else self.chance.choice(divisors)
            full = full or goes == working
            tokens = self.ranges(taken)
            if self.yarns and self.often(25):
                tokens += [self.word("in"), self.name(self.one(self.yarns))]
            lines.append(self.line([*tokens, ":", self.cells(goes)]))
        if out:
            named = self.ranges(out + [out[0], width + 1, 0][: 1 + self.chance.randrange(3)] if self.often(2) else out)
            lines.insert(self.chance.randrange(len(lines) + 1), self.line([self.word("out"), *named]))
        if self.often(30):
            self.chance.shuffle(lines)
        head = [self.word("stitch"), self.name(name)]
        self.sizes[name] = width, height, frozenset(needle - 1 for needle in out)
        return [self.line([*head, self.word("over"), self.number(width)] if over else head), *lines]

    # -- composition

    def part(self, depth: int) -> Sized:
        if depth < 3 and self.often(25):
            inner = self.expression(depth + 1)
            return Sized(["(", *inner.tokens, ")"], inner.width, inner.height, inner.out)
        if self.sizes and self.often(85):
            name = self.one(list(self.sizes))
            return Sized([self.name(name)], *self.sizes[name])
        width, height = self.chance.choice(SIZES), self.chance.choice(SIZES)
        tokens = [self.word("plain"), self.number(width), self.word("by"), self.number(height)]
        return Sized(tokens, width, height)

    def formed(self, depth: int) -> Sized:
        part = self.part(depth)
        while self.often(35):
            kind = self.chance.randrange(6)
            if kind < 2:
                times = self.chance.randrange(1, 4)
                if part.width * part.height * times > 3000:
                    continue
                part.tokens += [self.word("across" if kind else "up"), self.number(times)]
                if kind:
                    part.out, part.width = part.out_over(part.width * times), part.width * times
                part.height *= 1 if kind else times
            elif kind == 2:
                by, side = self.chance.randrange(1, 30), self.one(["left", "right", ""])
                part.tokens += [self.word("shifted"), self.number(by), *([self.word(side)] if side else [])]
                by = -by if side == "left" else by
                part.out = frozenset((column + by) % part.width for column in part.out)
            elif kind == 3:
                part.tokens.append(self.word("mirrored"))
                part.out = frozenset(part.width - 1 - column for column in part.out)
            elif kind == 4:
                part.tokens.append(self.word("reversed"))
            else:
                old = self.chance.sample("KTS", self.chance.randrange(1, 4))
                part.tokens.append(self.word("with"))
                for index, letter in enumerate(old):
                    part.tokens += [","] if index else []
                    part.tokens += [self.one(list("KTSkts")), self.word("for"), self.one([letter, letter.lower()])]
        return part

    def chain(self, joint: str, depth: int) -> Sized:
        whole = self.formed(depth) if joint == "beside" else self.chain("beside", depth)
        for _ in range(self.chance.choice([0, 0, 0, 1, 1, 2])):
            for _ in range(8):
                part = self.formed(depth) if joint == "beside" else self.chain("beside", depth)
                here, there = (whole.height, part.height) if joint == "beside" else (whole.width, part.width)
                both = max(here, there)
                fits = math.lcm(here, there) == both
                if joint == "then" and whole.out_over(both) != part.out_over(both):
                    fits = False
                if (fits or self.often(2)) and (whole.width + part.width) * (whole.height + part.height) < 20_000:
                    whole.tokens += [self.word(joint), *part.tokens]
                    if joint == "beside":
                        whole.out |= {whole.width + column for column in part.out}
                        whole.width, whole.height = whole.width + part.width, both
                    else:
                        whole.out = whole.out_over(both)
                        whole.width, whole.height = both, whole.height + part.height
                    break
        return whole

    def expression(self, depth: int = 0) -> Sized:
        return self.chain("then", depth)

    def built(self, name: str) -> list[str]:
        whole = self.expression()
        self.sizes[name] = whole.width, whole.height, whole.out
        return [self.line([self.word("stitch"), self.name(name), "=", *whole.tokens])]

    # -- the rest

    def decimal(self, low: int, high: int) -> str:
        value = str(self.chance.randrange(low, high))
        return value + (f".{self.chance.randrange(100):02d}" if self.often(30) else "")

    def length(self) -> list[str]:
        return [self.decimal(1, 200), self.word(self.one(["mm", "cm", "in", "in", "inch", "inches"]))]

    def gauge(self) -> list[str]:
        stitch = self.word("plain") if self.often(50) else self.name(self.one(list(self.sizes)))
        kind = self.chance.randrange(4)
        counts = (
            [[self.decimal(4, 60), self.word(self.one(["stitches", "stitches", "stitch", "sts", "st"]))]]
            if kind != 1
            else []
        )
        counts += [[self.decimal(4, 60), self.word(self.one(["rows", "rows", "row"]))]] if kind else []
        if self.often(30):
            counts.reverse()
        flat = [token for count in counts for token in count]
        return [self.line([self.word("gauge"), stitch, *flat, self.word("per"), *self.length()])]

    def yarn_line(self, name: str) -> list[str]:
        tokens = [self.word("yarn"), self.name(name)]
        tokens += [self.quoted()] if self.often(60) else []
        facts = [
            [self.one(["colour", "color"]), self.one(['"#d9c7a0"', '"#ABC"', "seagreen", '"Tan"', "DarkSlateGrey"])],
            ["tex", self.decimal(20, 900)],
            ["weight", self.one(["light", "Lace", '"super bulky"', "3", "fine"])],
            ["ball", self.decimal(20, 200), self.word("g"), self.decimal(20, 900), self.word("m")],
        ]
        for word, *values in self.chance.sample(facts, self.chance.choice([0, 0, 1, 2, 3])):
            tokens += [self.word(word), *values]
        return [self.line(tokens)]

    def piece(self, name: str) -> list[str]:
        lines = [[self.word("piece"), self.name(name)]]
        if self.often(30):
            lines.append([self.word("make"), self.number(self.chance.randrange(1, 5))])
        if self.often(60):
            more = self.chance.sample(["10", "20.5", "1000"], self.chance.randrange(1, 4)) if self.often(40) else []
            # right between digits a comma may be a decimal one, which is asked about; see piece-sizes-decimals
            commas = [token for size in more for token in (size, ", ")]
            lines.append([self.word("sizes" if more else "width"), *commas, *self.length()])
            if self.often(50):
                lines[-1] += [self.word("plus"), *self.length()]
        else:
            lines.append([self.word("needles"), self.one(["96", "1", "L40-R39", "l4 - r12", "R3–R9"])])
        if self.often(50):
            lines.append([self.word("edge"), self.number(self.chance.randrange(0, 4))])
        if self.often(50):
            lines.append([self.word("carriage"), self.word(self.one(["left", "right"]))])
        knitted = False
        for _ in range(self.chance.randrange(5)):
            kind = self.chance.randrange(4)
            if kind == 0:
                lines.append([self.word("do"), self.words()])
            elif kind == 1 and knitted:
                lines.append([self.word("carriage"), self.word(self.one(["left", "right"]))])
            else:
                knitted = True
                stitch = self.word("plain") if self.often(40) else self.name(self.one(list(self.sizes)))
                rows = [self.number(self.chance.randrange(1, 200)), self.word(self.one(["rows", "rows", "row"]))]
                tokens = [self.word("knit"), stitch, self.word("for")]
                if self.often(50):
                    tokens += rows
                else:
                    tokens += self.length() + ([self.word("exactly")] if self.often(30) else [])
                more = [[self.word("at"), self.words()]] if self.often(40) else []
                more += [[self.word("in"), self.name(self.one(self.yarns))]] if self.yarns and self.often(40) else []
                self.chance.shuffle(more)
                lines.append(tokens + [token for option in more for token in option])
        return [self.line(tokens) for tokens in lines]

    def joined(self, blocks: list[list[str]]) -> str:
        """Blocks as a file, with the line ends of some computer or of several."""
        ends = self.chance.choice([["\n"], ["\n"], ["\r\n"], ["\r"], ["\n", "\r\n", "\r"]])
        out = "\ufeff" if self.often(5) else ""
        for block in blocks:
            for line in block:
                out += line + self.chance.choice(ends)
                if self.often(10):
                    out += self.one(["", "  ", "# …", "\t#"]) + self.chance.choice(ends)
        return out.rstrip("\r\n") if self.often(20) else out

    def pattern(self) -> Written:
        names = self.chance.sample(NAMES, len(NAMES))
        self.yarns = [names.pop() for _ in range(self.chance.choice([0, 0, 1, 2, 3]))]
        head = [[self.line([self.word("pattern"), self.quoted()])]] if self.often(40) else []
        for _ in range(self.chance.choice([0, 0, 1, 2])):
            line = [self.word("note"), self.quoted()] if self.often(50) else [self.word("notion"), self.words()]
            head.append([self.line(line)])
        for word in self.chance.sample(["by", "difficulty"], self.chance.choice([0, 0, 1, 2])):
            head.append([self.line([self.word(word), self.words()])])
        yarns = [self.yarn_line(name) for name in self.yarns]
        stitches = [self.by_rows(names.pop())]
        for _ in range(self.chance.randrange(self.most_stitches)):
            stitches.append(self.built(names.pop()) if self.often(60) else self.by_rows(names.pop()))
        rest = [self.gauge() for _ in range(self.chance.choice([0, 0, 0, 1, 3]))]
        rest += [self.piece(names.pop()) for _ in range(self.chance.choice([0, 0, 0, 1, 2]))]
        files: dict[str, str] = {}
        if self.often(8):  # some of it lives in another file
            moved = [block for block in yarns + stitches if self.often(50)]
            yarns = [block for block in yarns if block not in moved]
            stitches = [block for block in stitches if block not in moved]
            files["grounds.stitch"] = self.joined(moved)
            head += [
                [self.line([self.word("include"), '"grounds.stitch"'])] for _ in range(self.chance.choice([1, 1, 2]))
            ]
        blocks = head + yarns + stitches + rest
        if self.often(50):
            self.chance.shuffle(blocks)
        return Written(self.joined(blocks), files)


def _wordish(character: str) -> bool:
    return character.isalnum() or character in "_-." or unicodedata.category(character)[0] == "M"
