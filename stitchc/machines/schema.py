"""Every key of a machine profile, declared once: what it may hold, what it means, where the usual value is from.

The loader, the words of a machine, the profile that is written out and the test card's questions all use it.

Knows TOML's values; nothing of files.
"""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from stitchc.bed import needle_name, needle_position
from stitchc.english import listed
from stitchc.machines.geometry import figure
from stitchc.machines.profile import Reader
from stitchc.machines.source import short

SHIPPED: Final = (
    "hand-fine",
    "hand-standard",
    "hand-mid",
    "hand-bulky",
    "card24-standard",
    "card24-bulky",
    "card12-bulky",
    "bitmap-standard",
    "bitmap-bulky",
)
"""The names of the profiles inside the package."""

FORMAT: Final = "stitchc-machine/1"

NEVER: Final = "never"
"""What a limit holds that nothing reaches."""

Kind = Literal["number", "whole", "text", "choice", "flag", "needle", "numbers", "count or never", "number or never"]


EVERY_READER: Final[tuple[Reader, ...]] = ("none", "card", "bitmap")
_REQUIRED: Final = object()


@dataclass(frozen=True)
class Key:
    """One key of a profile.

    words: what it means. source: where the usual value is from; a shipped profile may say so of its own. choices: what
    it may hold, each with its words. default: used where a profile does not say it. readers: the kinds of machine for
    which it means something.
    """

    path: tuple[str, ...]
    kind: Kind
    words: str
    source: str = ""
    low: float = 0
    high: float = 0
    unit: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    example: str = ""
    default: Any = None
    readers: tuple[Reader, ...] = EVERY_READER

    @property
    def name(self) -> str:
        """The key itself, without its tables."""
        return self.path[-1]

    @property
    def required(self) -> bool:
        return self.default is _REQUIRED

    def allowed(self) -> str:
        """What the key may hold, to end a sentence with."""
        between = f"from {figure(self.low)} to {figure(self.high)}{' ' if self.unit else ''}{self.unit}"
        choices = listed([f'"{choice}"' for choice, _ in self.choices], "or") if self.choices else ""
        return _KINDS[self.kind][0].format(between=between, choices=choices, most=figure(self.high))

    def kept(self, value: Any) -> Any:
        """The value as the machine keeps it. Raises ValueError for one that the key may not hold."""
        return _KINDS[self.kind][1](self, value)

    def problem(self, value: Any) -> str | None:
        """What is wrong with a value, to follow the key's name; None where nothing is."""
        try:
            self.kept(value)
        except ValueError:
            return f"must be {self.allowed()}, not {shown(value)}"
        return None

    def suggestion(self, value: Any) -> str:
        """What to write in place of a value that may not be there: the nearest that may, else an example."""
        choices = [choice for choice, _ in self.choices]
        if choices and isinstance(value, str):
            import difflib

            near = difflib.get_close_matches(value.lower(), choices, n=1, cutoff=0.4)
            return f'{self.name} = "{[*near, *choices][0]}"'
        if self.kind in ("number", "whole") and isinstance(value, str):
            digits = value.strip().lower().removesuffix("mm").strip().replace(",", ".")
            try:
                number = float(digits)
            except ValueError:
                number = math.nan
            if math.isfinite(number) and self.low <= number <= self.high:
                return f"{self.name} = {figure(number)}   (a number, without quotes)"
        if self.kind == "flag" and isinstance(value, str) and value.lower() in ("true", "yes", "false", "no"):
            return f"{self.name} = {'true' if value.lower() in ('true', 'yes') else 'false'}"
        if choices or self.example:
            return f"{self.name} = {self.sample}"
        return f"Leave `{self.name}` out, and the usual value is used."

    @property
    def sample(self) -> str:
        return self.example or f'"{self.choices[0][0]}"'

    def phrase(self, value: Any) -> str:
        return dict(self.choices)[value]


def _number(key: Key, value: Any) -> float:
    """TOML's true is not 1."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not key.low <= value <= key.high:
        raise ValueError
    return float(value)


def _whole(key: Key, value: Any) -> int:
    """60.0 is not a count of rows."""
    if not isinstance(value, int):
        raise ValueError
    return int(_number(key, value))


def _numbers(key: Key, value: Any) -> tuple[float, ...]:
    if not isinstance(value, list) or len(value) > 4:
        raise ValueError
    return tuple(_number(key, item) for item in value)


def _choice_of(key: Key, value: Any) -> Any:
    choices = [choice for choice, _ in key.choices]
    if not isinstance(value, str if choices else bool) or (choices and value not in choices):
        raise ValueError
    return value


def _text(key: Key, value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > key.high or not value.isprintable():
        raise ValueError
    return value


def _needle(key: Key, value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError
    return needle_name(needle_position(value))


def _or_never(convert: Callable[[Key, Any], Any]) -> Callable[[Key, Any], Any]:
    return lambda key, value: value if value == NEVER else convert(key, value)


_KINDS: Final[dict[Kind, tuple[str, Callable[[Key, Any], Any]]]] = {
    "number": ("a number {between}", _number),
    "whole": ("a whole number {between}", _whole),
    "numbers": ("a list of at most 4 numbers {between}, as in [5.0, 10.0]", _numbers),
    "count or never": (f'a whole number {{between}}, or "{NEVER}"', _or_never(_whole)),
    "number or never": (f'a number {{between}}, or "{NEVER}"', _or_never(_number)),
    "choice": ("{choices}", _choice_of),
    "flag": ("true or false (without quotes)", _choice_of),
    "needle": ('a needle of the bed, as in "L12" or "R1"', _needle),
    "text": ("text in quotes without control characters, at most {most} characters", _text),
}
"""For each kind of value the words for what it may be, and what takes it or raises ValueError."""


# -- the keys -------------------------------------------------------------------------------------------------------


def _mm(name: str, low: float, high: float, example: str, words: str, source: str = "from memory") -> Key:
    return Key(("card", name), "number", words, source, low, high, "mm", (), example, _REQUIRED, ("card",))


def _rows(name: str, low: int, high: int, example: str, words: str, source: str) -> Key:
    return Key(("card", name), "whole", words, source, low, high, "", (), example, _REQUIRED, ("card",))


def _limit(name: str, warn: int, error: int | str, words: str, source: str) -> tuple[Key, Key]:
    return (
        Key(("limits", name, "warn_from"), "count or never", words, source, 1, 10000, default=warn),
        Key(("limits", name, "error_from"), "count or never", "", "", 1, 10000, default=error),
    )


_HOW: Final = (
    ("holding", "by holding position"),
    ("carriage", "by the carriage"),
    ("by-hand", "yarn led by hand"),
    ("none", "cannot"),
)

KEYS: Final = (
    Key(("format",), "choice", "", choices=((FORMAT, ""),)),
    Key(("based_on",), "choice", "", choices=tuple((name, "") for name in SHIPPED)),
    Key(("name",), "text", "", high=60),
    Key(("title",), "text", "", high=120),
    Key(("bed", "pitch_mm"), "number", "distance between needles", "common practice", 1, 50, "mm",
        example="4.5", default=_REQUIRED),
    Key(("bed", "needles"), "whole", "on the whole bed, half each side of 0", "common practice", 2, 2000,
        example="200", default=_REQUIRED),
    Key(("carriage", "tuck"), "choice",
        '"holding": needles put into holding position by hand; "carriage": a setting over the selected needles; "none"',
        "common practice", choices=(_HOW[0], _HOW[1], _HOW[3]), default=_REQUIRED),
    Key(("carriage", "slip"), "choice",
        '"by-hand": each needle seen to by hand, slow; "carriage": a setting over the selected needles; "none"',
        "common practice", choices=(_HOW[2], _HOW[1], _HOW[3]), default=_REQUIRED),
    Key(("carriage", "slip_by"), "choice",
        'how hands slip. "lifting": the needles are held, and the yarn is lifted over their hooks after the pass; '
        '"rest": the needles are pushed right back, their stitch in the hook, and the carriage passes them by',
        "from memory: try a few needles first", default="lifting", readers=("none",),
        choices=(("lifting", "the yarn lifted over the held needles"), ("rest", "the needles pushed right back"))),
    Key(("carriage", "hold_directions"), "choice",
        'how the carriage holds needles: "both": one setting for both directions; "each": one for each direction; '
        '"one": in one direction only',
        "from memory", default="both",
        choices=(("both", "one setting for both directions"), ("each", "each direction has its own setting"),
                 ("one", "in one direction only; the other direction knits held needles back"))),
    Key(("carriage", "yarn_at_other_side"), "choice",
        'what to do where the next yarn hangs at the other side: "cut" and join it; "free pass": bring the carriage '
        'across with all needles held; "carry": lift the carriage off and put it on there. A yarn there that was '
        "unused for more than ten rows is always cut. A `carriage` line in a piece adds a plain row instead",
        "common practice", default="cut", readers=("none",),
        choices=(("cut", "cut and join it"), ("free pass", "bring the carriage across with all needles held"),
                 ("carry", "lift the carriage off and put it on at that side"))),
    Key(("reader", "kind"), "choice", '"none", "card" or "bitmap" (a picture, one pixel a stitch)', default=_REQUIRED,
        choices=(("none", "none: by hand"), ("card", "hole card"), ("bitmap", "picture"))),
    Key(("reader", "width"), "whole", "columns of the card, or needles of the widest picture", "", 1, 2000,
        example="24", default=_REQUIRED, readers=("card", "bitmap")),
    Key(("reader", "mark_means"), "choice", 'what a hole or a dark pixel does: "knit" or "hold"; both are made',
        "common practice", default="knit", readers=("card", "bitmap"),
        choices=(("knit", "the needle knits"), ("hold", "the needle does not knit"))),
    Key(("reader", "mirrored"), "flag", "true where it is entered with left and right exchanged",
        "not settled by any source: the test card tells", default=False, readers=("card", "bitmap")),
    Key(("reader", "column_1_needle"), "needle",
        "the needle that column 1 of the pattern stands on; of a mirrored card that is its last column as it lies "
        "before you. The columns repeat outward from there", "one make, common practice", readers=("card", "bitmap")),
    Key(("reader", "selects"), "choice",
        '"same pass", or "one pass ahead" where the carriage selects needles for the next pass; both are made',
        "common practice", default="same pass", readers=("card", "bitmap"),
        choices=(("same pass", "on the pass itself"), ("one pass ahead", "for the next pass, one ahead"))),
    Key(("reader", "first_row"), "choice", "which end of the picture is knitted first", "from memory", default="bottom",
        readers=("bitmap",), choices=(("bottom", "bottom"), ("top", "top"))),
    _rows("rows", 1, 5000, "60", "pattern rows on a bought blank", "blanks are 24 x 60, or rolls: common practice"),
    _rows("least_rows", 1, 5000, "36", "rows a closed card needs to turn: at least 36", "common practice"),
    _rows("joining_rows", 0, 20, "2", "full rows punched at each end, which overlap when it is closed, on top of the "
          "pattern rows (makers differ)", "common practice"),
    _rows("seen_above_read", 0, 100, "7", "the row at eye level is this many above the one being read: 7 on one make, "
          "5 on others", "common practice"),
    _mm("column_pitch_mm", 0.5, 100, "4.5", "between columns"),
    _mm("row_pitch_mm", 0.5, 100, "5.0", "between rows"),
    _mm("hole_mm", 0.2, 50, "3.5", "pattern hole, diameter", "from memory, one source measures 4"),
    _mm("sheet_width_mm", 5, 2000, "142.0", "the whole sheet across"),
    _mm("guide_hole_mm", 0.2, 50, "3.0", "holes down both edges, diameter", "measured on one card, hobby source"),
    _mm("guide_pitch_mm", 0.5, 200, "5.0", "one for each row"),
    _mm("guide_from_edge_mm", 0.1, 500, "6.0", "from the sheet's side to the guide holes"),
    Key(("card", "guide_offset_mm"), "number", "guide holes beyond the first row of holes; 0: level with the rows",
        "from memory", -100, 100, "mm", example="0.0", default=0.0, readers=("card",)),
    _mm("clip_hole_mm", 0.2, 50, "3.5", "eight holes for clips, two in each corner, diameter"),
    _mm("clip_from_edge_mm", 0.1, 500, "10.0", "from the sheet's side to the clip holes"),
    Key(("card", "clip_from_end_mm"), "numbers",
        "from the sheet's end to the clip holes, so that they meet when the joining rows of each end lie over the "
        "pattern rows of the other (the ends then overlap by 25 mm)", "from memory", 0.1, 200, "mm",
        example="[5.0, 10.0]",
        default=_REQUIRED, readers=("card",)),
    _mm("end_margin_mm", 0.1, 500, "5.0", "from the sheet's end to the first row of holes"),
    *_limit("tucks_in_succession", 4, 5, "loops that a hook holds beside its stitch: up to four",
            "Spencer, Knitting Technology, 3rd ed., p. 96"),
    *_limit("tucks_side_by_side", 2, 3, "neighbours that tuck in one row: no more than two is the general limit",
            "Spencer, p. 96"),
    *_limit("slips_in_succession", 5, NEVER, "rows that one needle may slip: up to four",
            '"The float stitch", a teaching page after Spencer'),
    *_limit("float_needles", 6, NEVER, "neighbours that slip in one row: over five is too long for most uses; "
            "error_from = 7 refuses longer ones", 'common practice; six is usually the most: "The float stitch"'),
    Key(("limits", "float_mm"), "number or never", "the same as a length, needles x pitch: about 25 mm, an inch",
        "common practice", 1, 10000, "mm", default=25.0),
    Key(("limits", "mixed_rows"), "choice",
        "a row that has both tuck and slip: a pass of the carriage does one or the other, hands can do both", "",
        choices=(("error", "error"), ("warning", "warning"))),
)  # fmt: skip
BY_PATH: Final = {key.path: key for key in KEYS}
TABLES: Final = {path[:depth] for path in BY_PATH for depth in range(1, len(path))}
COUNTED: Final = tuple(dict.fromkeys(path[1] for path in BY_PATH if len(path) == 3))


# -- a profile written out ------------------------------------------------------------------------------------------

_INTRODUCTION: Final = """\
# {title}.
#
# A machine profile of stitchc. To make your own: `stitchc machines --write {name} > my.toml`, change what
# differs on your machine, and use it with `--machine my.toml`. `stitchc machines my.toml` checks it.
# Or write only what differs, under a first line  based_on = "{name}".
# A figure marked "from memory" was not measured for this file: trust your own machine and its manual more.
"""
_ABOUT: Final = {
    "card": "All in millimetres, to the centres of holes. MEASURE YOUR OWN CARD: ten columns, ten rows, the sheet and "
    "one hole of each kind. Even 0.1 mm between columns adds up across the card.",
    "limits": 'Counted around the repeat, in both directions. "never" removes a limit.',
}
_WIDTH: Final = 110


def written(values: Mapping[tuple[str, ...], Any], sources: Mapping[tuple[str, ...], str]) -> str:
    """A whole profile as TOML: every key that means something for its reader, with its words and source.

    sources: where a value is from, where that is not the usual source.
    """
    lines = _INTRODUCTION.format(title=values["title",], name=values["name",]).splitlines()
    table = ""
    for key in KEYS:
        value = values.get(key.path, key.default)
        if (
            value is None
            or value is _REQUIRED
            or values["reader", "kind"] not in key.readers
            or key.path[2:] == ("error_from",)
        ):
            continue
        if key.path[0] != table and key.path[1:]:
            table = key.path[0]
            lines += ["", f"[{table}]", *_comment(_ABOUT.get(table, ""))]
        lines += (
            ["", *_lines(key, value, values, sources)]
            if key.path == ("format",)
            else _lines(key, value, values, sources)
        )
    return "\n".join(lines) + "\n"


def _lines(
    key: Key, value: Any, values: Mapping[tuple[str, ...], Any], sources: Mapping[tuple[str, ...], str]
) -> Iterator[str]:
    entry = line(key.path, value)
    if key.path[2:]:
        error = BY_PATH[*key.path[:2], "error_from"]
        most = values.get(error.path, error.default)
        entry = f"{key.path[1]} = {{ warn_from = {toml(value)}, error_from = {toml(most)} }}"
    source = sources.get(key.path, key.source)
    words = f"{key.words} ({source})" if key.words and source else key.words or source
    if len(entry) + len(words) + 4 <= _WIDTH:
        yield f"{entry}  # {words}" if words else entry
    else:
        yield from _comment(f"{words[0].upper()}{words[1:]}.")
        yield entry


def _comment(words: str) -> list[str]:
    kept = words.replace("common practice", "common\N{NO-BREAK SPACE}practice")
    return [f"# {each}".replace("\N{NO-BREAK SPACE}", " ") for each in textwrap.wrap(kept, _WIDTH)]


def line(path: tuple[str, ...], value: Any) -> str:
    assert BY_PATH[path].problem(list(value) if isinstance(value, tuple) else value) is None
    return f"{path[-1]} = {toml(value)}"


def toml(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def shown(value: Any) -> str:
    """A value of the user's, short, as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'`"{short(value)}"`'
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, int) and abs(value) >= 10**12:
        return "such a long number"
    if isinstance(value, list):
        if len(value) > 6 or any(isinstance(item, list | dict | str) for item in value):
            return "such a list"
        return f"`[{', '.join(shown(item).strip('`') for item in value)}]`"
    return f"`{short(str(value))}`"
