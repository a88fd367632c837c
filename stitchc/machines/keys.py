"""Every key of a machine profile: where it stands, what it may hold, and what to say of a value that it may not.

Knows TOML's values; nothing of files, of other keys or of what a key means (see `profile`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, Literal

from stitchc.bed import needle_name, needle_position
from stitchc.english import listed
from stitchc.machines.geometry import figure
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


@dataclass(frozen=True)
class Key:
    """One key: where it stands, what it may hold, and for which readers it has to be there."""

    path: tuple[str, ...]
    kind: Kind
    low: float = 0
    high: float = 0
    choices: tuple[str, ...] = ()
    unit: str = ""
    required: bool = False
    example: str = ""

    @property
    def name(self) -> str:
        """The key itself, without its tables."""
        return self.path[-1]

    def allowed(self) -> str:
        """What the key may hold, to end a sentence with."""
        between = f"from {figure(self.low)} to {figure(self.high)}{' ' if self.unit else ''}{self.unit}"
        choices = listed([f'"{choice}"' for choice in self.choices], "or") if self.choices else ""
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
    if not isinstance(value, str if key.choices else bool) or (key.choices and value not in key.choices):
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


def _mm(name: str, low: float, high: float, example: str, required: bool = True) -> Key:
    return Key(("card", name), "number", low, high, unit="mm", required=required, example=example)


def _rows(name: str, low: int, high: int, example: str) -> Key:
    return Key(("card", name), "whole", low, high, required=True, example=example)


def _choice(table: str, name: str, choices: tuple[str, ...], required: bool = False) -> Key:
    return Key((table, name), "choice", choices=choices, required=required, example=f'"{choices[0]}"')


COUNTED: Final = ("tucks_in_succession", "tucks_side_by_side", "slips_in_succession", "float_needles")

KEYS: Final = (
    Key(("format",), "choice", choices=(FORMAT,)),
    Key(("based_on",), "choice", choices=SHIPPED),
    Key(("name",), "text", high=60),
    Key(("title",), "text", high=120),
    Key(("bed", "pitch_mm"), "number", 1, 50, unit="mm", required=True, example="4.5"),
    Key(("bed", "needles"), "whole", 2, 2000, required=True, example="200"),
    _choice("carriage", "tuck", ("holding", "carriage", "none"), required=True),
    _choice("carriage", "slip", ("by-hand", "carriage", "none"), required=True),
    _choice("carriage", "hold_directions", ("both", "each", "one")),
    _choice("reader", "kind", ("none", "card", "bitmap"), required=True),
    Key(("reader", "width"), "whole", 1, 2000, example="24"),
    _choice("reader", "mark_means", ("knit", "hold")),
    Key(("reader", "mirrored"), "flag"),
    Key(("reader", "column_1_needle"), "needle"),
    _choice("reader", "selects", ("same pass", "one pass ahead")),
    _choice("reader", "first_row", ("bottom", "top")),
    _rows("rows", 1, 5000, "60"),
    _rows("least_rows", 1, 5000, "36"),
    _rows("joining_rows", 0, 20, "2"),
    _rows("seen_above_read", 0, 100, "7"),
    _mm("column_pitch_mm", 0.5, 100, "4.5"),
    _mm("row_pitch_mm", 0.5, 100, "5.0"),
    _mm("hole_mm", 0.2, 50, "3.5"),
    _mm("sheet_width_mm", 5, 2000, "142.0"),
    _mm("guide_hole_mm", 0.2, 50, "3.0"),
    _mm("guide_pitch_mm", 0.5, 200, "5.0"),
    _mm("guide_from_edge_mm", 0.1, 500, "6.0"),
    _mm("guide_offset_mm", -100, 100, "0.0", required=False),
    _mm("clip_hole_mm", 0.2, 50, "3.5"),
    _mm("clip_from_edge_mm", 0.1, 500, "12.0"),
    Key(("card", "clip_from_end_mm"), "numbers", 0.1, 200, unit="mm", required=True, example="[5.0, 10.0]"),
    _mm("end_margin_mm", 0.1, 500, "5.0"),
    *(
        Key(("limits", counted, edge), "count or never", 1, 10000)
        for counted in COUNTED
        for edge in ("warn_from", "error_from")
    ),
    Key(("limits", "float_mm"), "number or never", 1, 10000, unit="mm"),
    _choice("limits", "mixed_rows", ("error", "warning")),
)
BY_PATH: Final = {key.path: key for key in KEYS}
TABLES: Final = {path[:depth] for path in BY_PATH for depth in range(1, len(path))}
HANDLESS: Final = ("width", "mark_means", "mirrored", "column_1_needle", "selects", "first_row")
"""Keys of [reader] that say nothing where there is no reader."""


def value_cure(key: Key, value: Any) -> str:
    """What to write in place of a value that may not be there: the nearest that may, else an example."""
    if key.kind == "choice" and isinstance(value, str):
        import difflib

        near = difflib.get_close_matches(value.lower(), key.choices, n=1, cutoff=0.4)
        if near:
            return f'{key.name} = "{near[0]}"'
    if key.kind in ("number", "whole") and isinstance(value, str):
        digits = value.strip().lower().removesuffix("mm").strip().replace(",", ".")
        try:
            number = float(digits)
        except ValueError:
            number = math.nan
        if math.isfinite(number) and key.low <= number <= key.high:
            return f"{key.name} = {figure(number)}   (a number, without quotes)"
    if key.kind == "flag" and isinstance(value, str) and value.lower() in ("true", "yes", "false", "no"):
        return f"{key.name} = {'true' if value.lower() in ('true', 'yes') else 'false'}"
    if key.example:
        return f"{key.name} = {key.example}"
    if key.kind == "choice":
        return f'{key.name} = "{key.choices[0]}"'
    return f"Leave `{key.name}` out, and the usual value is used."


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
