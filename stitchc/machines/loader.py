"""Reads machine profiles: a shipped one by name, or a knitter's own TOML file, checked whole before it is used.

Every mistake of a profile is found in one go and told at its line. Knows TOML and the bounds of each key; knows nothing
of patterns. What a key means stands in `profile`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from stitchc.bed import Needles, needle_name, needle_position
from stitchc.machines.geometry import figure, impossible
from stitchc.machines.profile import CardShape, Limit, Limits, Machine
from stitchc.machines.source import MOST_BYTES, Source, short
from stitchc.messages import Message, Refused, Span

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

_FOLDER: Final = Path(__file__).parent / "profiles"
_NEVER: Final = "never"
_MOST_ADVISED: Final = 100
"""Unknown keys for which the nearest known one is looked for; a file with more is no profile."""

Kind = Literal["number", "whole", "text", "choice", "flag", "needle", "numbers", "count or never", "number or never"]


@dataclass(frozen=True)
class _Key:
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
        return self.path[-1]

    @property
    def table(self) -> tuple[str, ...]:
        return self.path[:-1]

    def allowed(self) -> str:
        """What the key may hold, to end a sentence with."""
        unit = f" {self.unit}" if self.unit else ""
        between = f"from {figure(self.low)} to {figure(self.high)}{unit}"
        match self.kind:
            case "number":
                return f"a number {between}"
            case "whole":
                return f"a whole number {between}"
            case "numbers":
                return f"a list of at most 4 numbers {between}, as in [5.0, 10.0]"
            case "count or never":
                return f'a whole number {between}, or "{_NEVER}"'
            case "number or never":
                return f'a number {between}, or "{_NEVER}"'
            case "choice":
                return _listed([f'"{choice}"' for choice in self.choices], "or")
            case "flag":
                return "true or false (without quotes)"
            case "needle":
                return 'a needle of the bed, as in "L12" or "R1"'
            case "text":
                return f"text in quotes, at most {figure(self.high)} characters"


def _mm(name: str, low: float, high: float, example: str, required: bool = True) -> _Key:
    return _Key(("card", name), "number", low, high, unit="mm", required=required, example=example)


def _rows(name: str, low: int, high: int, example: str) -> _Key:
    return _Key(("card", name), "whole", low, high, required=True, example=example)


def _choice(table: str, name: str, choices: tuple[str, ...], required: bool = False) -> _Key:
    return _Key((table, name), "choice", choices=choices, required=required, example=f'"{choices[0]}"')


_COUNTED: Final = ("tucks_in_succession", "tucks_side_by_side", "slips_in_succession", "float_needles")

_KEYS: Final = (
    _Key(("format",), "choice", choices=(FORMAT,)),
    _Key(("based_on",), "choice", choices=SHIPPED),
    _Key(("name",), "text", high=60),
    _Key(("title",), "text", high=120),
    _Key(("bed", "pitch_mm"), "number", 1, 50, unit="mm", required=True, example="4.5"),
    _Key(("bed", "needles"), "whole", 2, 2000, required=True, example="200"),
    _choice("carriage", "tuck", ("holding", "carriage", "none"), required=True),
    _choice("carriage", "slip", ("by-hand", "carriage", "none"), required=True),
    _choice("carriage", "hold_directions", ("both", "one")),
    _choice("reader", "kind", ("none", "card", "bitmap"), required=True),
    _Key(("reader", "width"), "whole", 1, 2000, example="24"),
    _choice("reader", "mark_means", ("knit", "hold")),
    _Key(("reader", "mirrored"), "flag"),
    _Key(("reader", "column_1_needle"), "needle"),
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
    _Key(("card", "clip_from_end_mm"), "numbers", 0.1, 200, unit="mm", required=True, example="[5.0, 10.0]"),
    _mm("end_margin_mm", 0.1, 500, "5.0"),
    *(
        _Key(("limits", counted, edge), "count or never", 1, 10000)
        for counted in _COUNTED
        for edge in ("warn_from", "error_from")
    ),
    _Key(("limits", "float_mm"), "number or never", 1, 10000, unit="mm"),
    _choice("limits", "mixed_rows", ("error", "warning")),
)
_BY_PATH: Final = {key.path: key for key in _KEYS}
_TABLES: Final = {path[:depth] for path in _BY_PATH for depth in range(1, len(path))}
_HANDLESS: Final = ("width", "mark_means", "mirrored", "column_1_needle", "selects", "first_row")
"""Keys of [reader] that say nothing where there is no reader."""


# -- the ways in ------------------------------------------------------------------------------------------------


def load(name: str) -> Machine:
    """The machine of a shipped name, or of a profile file (anything that ends in .toml or has a folder in it).

    Raises Refused with one M304 for each mistake (with `sources` for showing the lines), and FileTrouble where the
    file cannot be read.
    """
    if name in SHIPPED:
        return load_text(profile_text(name), f"{name}.toml", shipped=name)
    if not _is_path(name):
        raise Refused(_unknown_machine(name))
    from stitchc import files

    try:
        content = files.read_bytes(name, MOST_BYTES)
    except files.FileTrouble as trouble:
        said = trouble.messages[0].text
        raise files.FileTrouble(Message("F501", "error", said, cure=_nearby_profiles(name))) from None
    return load_text(content, name)


def profile_text(name: str) -> str:
    """The TOML of a shipped profile, as it stands in the package. Raises Refused M304 for another name."""
    if name not in SHIPPED:
        raise Refused(_unknown_machine(name))
    return (_FOLDER / f"{name}.toml").read_text(encoding="utf-8")


def load_text(text: str | bytes, file: str, shipped: str | None = None) -> Machine:
    """The machine that a profile's text says. file: its name, for messages and (without its ending) for the machine
    where the text has no `name`. shipped: the name of a shipped profile, if that is what this is.

    Raises Refused with one M304 for each mistake.
    """
    source = Source(text, file)
    said = source.parsed()
    base: dict[str, Any] = {}
    based_on = said.get("based_on")
    if isinstance(based_on, str) and based_on in SHIPPED:
        import tomllib

        base = tomllib.loads(profile_text(based_on))
    reading = _Reading(source, said, base)
    machine = reading.machine(shipped)
    if reading.found:
        raise Refused(*sorted(reading.found, key=_by_place), sources=source.sources)
    assert machine is not None
    return machine


def _by_place(message: Message) -> tuple[int, int, str]:
    span = message.span
    return (span.line, span.column, message.text) if span else (0, 0, message.text)


def _is_path(name: str) -> bool:
    if name.lower().endswith(".toml") or "/" in name or "\\" in name:
        return True
    try:
        return Path(name).is_file()
    except (OSError, ValueError):
        return False


def _unknown_machine(name: str) -> Message:
    import difflib

    near = difflib.get_close_matches(name.lower(), SHIPPED, n=1, cutoff=0.4)
    listed = "The profiles: " + ", ".join(SHIPPED) + "; or your own file, whose name ends in .toml."
    return Message(
        "M304",
        "error",
        f"There is no machine `{short(name)}`.",
        cure=(f"--machine {near[0]}\n{listed}" if near else listed),
    )


def _nearby_profiles(name: str) -> str:
    try:
        near = sorted(entry.name for entry in Path(name).parent.glob("*.toml"))[:5]
    except (OSError, ValueError):
        near = []
    if near:
        return "Profiles in that folder: " + ", ".join(near) + "."
    return "Check the name and the folder, or begin one: stitchc machines --write hand-standard > my.toml"


# -- checking what it says --------------------------------------------------------------------------------------


class _Reading:
    """One profile being checked: values by path, and the messages about them."""

    def __init__(self, source: Source, said: Mapping[str, Any], base: Mapping[str, Any]) -> None:
        self.source = source
        self.found: list[Message] = []
        self.own: set[tuple[str, ...]] = set()
        self.values: dict[tuple[str, ...], Any] = {}
        self._take(base, ())
        self.own = set()
        self.mistaken: set[tuple[str, ...]] = set()  # tables and keys that were meant but written wrongly
        self._take(said, ())
        if self.own & {("reader", "width"), ("reader", "kind")} and ("reader", "column_1_needle") not in self.own:
            self.values.pop(("reader", "column_1_needle"), None)  # the place of another width says nothing of this one

    # -- each key by itself

    def _take(self, table: Mapping[str, Any], path: tuple[str, ...]) -> None:
        for name, value in table.items():
            here = (*path, name)
            if here in _BY_PATH:
                self.own.add(here)
                self.values.pop(here, None)
                self._check(_BY_PATH[here], value)
            elif here in _TABLES:
                if isinstance(value, dict):
                    self._take(value, here)
                else:
                    self.mistaken.add(here)
                    self._say(
                        f"`{'.'.join(here)}` is a table, not {_shown(value)}.",
                        self.source.value(here),
                        cure=_table_cure(here),
                    )
            else:
                self._unknown(here, isinstance(value, dict))

    def _unknown(self, here: tuple[str, ...], is_table: bool) -> None:
        import difflib

        name = here[-1]
        shown = short(".".join(here))
        elsewhere = [path for path in (*_BY_PATH, *_TABLES) if path[-1] == name and path != here]
        siblings = sorted({path[len(here) - 1] for path in _BY_PATH if path[: len(here) - 1] == here[:-1]})
        near = (
            difflib.get_close_matches(name.lower(), siblings, n=1, cutoff=0.6)
            if len(self.found) < _MOST_ADVISED
            else []
        )
        if near:
            self.mistaken.add((*here[:-1], near[0]))
            cure = f"Write `{near[0]}`."
        elif elsewhere and len(elsewhere[0]) > 1:
            cure = f"`{name}` belongs under [{'.'.join(elsewhere[0][:-1])}]."
        else:
            where = f"under [{'.'.join(here[:-1])}]" if here[:-1] else "at the top"
            cure = f"What may stand {where}: {', '.join(siblings)}."
        self._say(
            f"A machine profile has no {'table' if is_table else 'key'} `{shown}`.", self.source.key(here), cure=cure
        )

    def _check(self, key: _Key, value: Any) -> None:
        problem = _problem(key, value)
        if problem:
            self._say(
                f"`{'.'.join(key.path)}` {problem}.",
                self.source.value(key.path),
                cure=_value_cure(key, value),
            )
            return
        self.values[key.path] = _settled(key, value)

    def _say(
        self,
        text: str,
        span: Span | None,
        cure: str | None = None,
        label: str = "",
        also: tuple[tuple[Span, str], ...] = (),
    ) -> None:
        self.found.append(Message("M304", "error", text, span, cure, label, also))

    # -- the keys together

    def machine(self, shipped: str | None) -> Machine | None:
        """The machine, or None where something was found."""
        kind = self.values.get(("reader", "kind"))
        self._missing(kind)
        self._reader(kind)
        self._bed()
        self._limits()
        if kind == "card":
            self._card_counts()
            self._card_geometry()
        if self.found:
            return None
        machine = self._made(kind, shipped)
        if shipped is None and machine.name in SHIPPED and machine != load(machine.name):
            # a changed copy that kept the name must not pass for the shipped machine on what is printed
            from dataclasses import replace

            machine = replace(machine, name=f"{machine.name} ({Path(self.source.file).name})")
        return machine

    def _missing(self, kind: Any) -> None:
        if ("based_on",) in self.own and ("based_on",) not in self.values:
            return  # nothing is missing but the profile that the rest was to come from
        if not self.own and not self.found:
            self._say(
                f"`{short(self.source.file)}` says nothing of a machine.",
                self.source.key(()),
                cure='Begin it with a shipped one: based_on = "hand-standard"\n'
                "or write one out: stitchc machines --write hand-standard > my.toml",
            )
            return
        tables: dict[str, list[_Key]] = {}
        for key in _KEYS:
            wanted = key.required and (key.path[0] != "card" or kind == "card")
            wanted = wanted or (key.path == ("reader", "width") and kind in ("card", "bitmap"))
            known = key.path in self.values or key.path in self.own
            known = known or any(key.path[:depth] in self.mistaken for depth in range(1, len(key.path) + 1))
            if wanted and not known:
                tables.setdefault(key.path[0], []).append(key)
        for table, keys in tables.items():
            named = [f"`{'.'.join(key.path)}`" for key in keys]
            names = _listed(
                named if len(named) <= 5 else [*named[:4], f"{len(named) - 4} more keys of [{table}]"], "and"
            )
            lines = "\n".join(f"    {key.name} = {key.example}" for key in keys[:4])
            more = "\n    …" if len(keys) > 4 else ""
            self._say(
                f"The profile does not say {names}.",
                self.source.key((table,)),
                cure=f"Under [{table}], such as\n{lines}{more}\n"
                f'or start from a shipped one: based_on = "{_near_base(kind)}"',
            )

    def _reader(self, kind: Any) -> None:
        if kind == "none":
            for name in _HANDLESS:
                path = ("reader", name)
                if path in self.own and path in self.values:
                    self._say(
                        f'`reader.{name}` says nothing where `reader.kind` is "none".',
                        self.source.key(path),
                        cure='Leave the line out, or write kind = "card" or kind = "bitmap".',
                    )
        if kind in ("none", "bitmap") and (own := [path for path in self.own if path[0] == "card"]):
            first = min(own, key=lambda path: self.source.key(path) or Span("", 0))
            self._say(
                f'There is a [card] table, but `reader.kind` is "{kind}".',
                self.source.key(("card",)) or self.source.key(first),
                cure='Leave the table out, or write kind = "card".',
            )

    def _bed(self) -> None:
        needles = self.values.get(("bed", "needles"))
        if needles is None:
            return
        if needles % 2:
            self._say(
                f"`bed.needles` is {needles}, an odd number: the bed has as many needles left of 0 as right of it.",
                self.source.value(("bed", "needles")),
                cure=f"needles = {needles - 1} or needles = {needles + 1}",
            )
            return
        bed = Needles.centred(needles)
        width = self.values.get(("reader", "width"))
        if width is not None and width > needles and self.values.get(("reader", "kind")) != "none":
            self._say(
                f"`reader.width` is {width}, but the bed has only {needles} needles.",
                self.source.value(("reader", "width")),
                cure=f"A width from 1 to {needles}.",
            )
        needle = self.values.get(("reader", "column_1_needle"))
        if needle is not None and not bed.first <= needle_position(needle) <= bed.last:
            self._say(
                f"`reader.column_1_needle` is {needle}, which is not on this bed.",
                self.source.value(("reader", "column_1_needle")),
                cure=f"A needle from {bed.left} to {bed.right}.",
            )

    def _limits(self) -> None:
        for counted in _COUNTED:
            warn, error = (self._limit(counted, edge) for edge in ("warn_from", "error_from"))
            if warn is not None and error is not None and error < warn:
                self._say(
                    f"`limits.{counted}` is an error from {error} but warned of only from {warn}.",
                    self.source.value(("limits", counted)),
                    cure=f"{counted} = {{ warn_from = {error}, error_from = {warn} }}",
                )

    def _limit(self, counted: str, edge: str) -> int | None:
        value = self.values.get(("limits", counted, edge), getattr(getattr(Limits(), counted), edge))
        return None if value == _NEVER else value

    def _card_counts(self) -> None:
        rows, least = self._number("rows"), self._number("least_rows")
        if rows is not None and least is not None and least > rows:
            self._say(
                f"`card.least_rows` is {least:.0f}, more than the {rows:.0f} rows that a blank has (`card.rows`).",
                self.source.value(("card", "least_rows")),
                cure=f"least_rows = {rows:.0f} or fewer",
            )

    def _number(self, name: str) -> float | None:
        value = self.values.get(("card", name))
        return float(value) if isinstance(value, int | float) else None

    def _card_geometry(self) -> None:
        """Whether such a card can be: nothing touches and nothing lies off the sheet."""
        columns = self.values.get(("reader", "width"))
        names = [key.name for key in _KEYS if key.path[0] == "card" and key.kind == "number"]
        mm = {name: self._number(name) for name in names}
        mm["guide_offset_mm"] = mm["guide_offset_mm"] or 0.0
        ends = self.values.get(("card", "clip_from_end_mm"))
        if not isinstance(columns, int) or ends is None or any(value is None for value in mm.values()):
            return
        for name, text, cure in impossible(columns, {n: float(v or 0) for n, v in mm.items()}, ends):
            path = ("card", name)
            also = tuple(
                (span, "")
                for other in sorted(set(re.findall(r"`card\.(\w+)`", text)) - {name})
                if ("card", other) in self.own and (span := self.source.value(("card", other)))
            )
            self._say(text, self.source.value(path), cure=cure, also=also)

    def _made(self, kind: Any, shipped: str | None) -> Machine:
        def value(*path: str, default: Any = None) -> Any:
            return self.values.get(path, default)

        reads = kind != "none"
        width = value("reader", "width") if reads else None
        column_1 = value("reader", "column_1_needle") if reads else None
        if kind == "card" and width is not None and column_1 is None:
            column_1 = Needles.centred(width).left
        name = value("name") if ("name",) in self.own else None
        name = shipped or name or Path(self.source.file).stem or "own"
        title = value("title") if ("title",) in self.own else None
        limits = Limits()
        float_mm = value("limits", "float_mm", default=limits.float_mm)
        return Machine(
            name=name,
            title=title or (f"Own profile based on {value('based_on')}" if value("based_on") else name),
            pitch_mm=float(value("bed", "pitch_mm")),
            needles=value("bed", "needles"),
            reader=kind,
            reader_width=width,
            tuck=value("carriage", "tuck"),
            slip=value("carriage", "slip"),
            hold_directions=value("carriage", "hold_directions", default="both"),
            mark_means=value("reader", "mark_means", default="knit"),
            mirrored=value("reader", "mirrored", default=False),
            column_1_needle=column_1,
            selects=value("reader", "selects", default="same pass"),
            first_row=value("reader", "first_row", default="bottom"),
            card=self._card() if kind == "card" else None,
            limits=Limits(
                **{name: Limit(self._limit(name, "warn_from"), self._limit(name, "error_from")) for name in _COUNTED},
                float_mm=None if float_mm == _NEVER else float(float_mm),
                mixed_rows=value("limits", "mixed_rows", default=limits.mixed_rows),
            ),
            origin="shipped" if shipped else self.source.file,
        )

    def _card(self) -> CardShape:
        values = {path[1]: value for path, value in self.values.items() if path[0] == "card"}
        return CardShape(**values)


def _problem(key: _Key, value: Any) -> str | None:
    """What is wrong with a value, to follow the key's name; None where nothing is."""
    must = f"must be {key.allowed()}"
    match key.kind:
        case "flag":
            return None if isinstance(value, bool) else f"{must}, not {_shown(value)}"
        case "choice":
            return (
                None
                if isinstance(value, str) and value in key.choices
                else f"must be {key.allowed()}, not {_shown(value)}"
            )
        case "text":
            if not isinstance(value, str) or not value.strip() or len(value) > key.high or not value.isprintable():
                return f"{must}, without control characters; it is {_shown(value)}"
            return None
        case "needle":
            if isinstance(value, str):
                try:
                    needle_position(value)
                    return None
                except ValueError:
                    pass
            return f"{must}, not {_shown(value)}"
        case "numbers":
            if not isinstance(value, list) or len(value) > 4:
                return f"{must}, not {_shown(value)}"
            return None if all(_in_range(key, item, whole=False) for item in value) else f"{must}, not {_shown(value)}"
        case "count or never" | "number or never" if value == _NEVER:
            return None
        case _:
            whole = key.kind in ("whole", "count or never")
            return None if _in_range(key, value, whole) else f"{must}, not {_shown(value)}"


def _in_range(key: _Key, value: Any, whole: bool) -> bool:
    if isinstance(value, bool) or not isinstance(value, int if whole else int | float):
        return False  # TOML's true is not 1, and 60.0 is not a count of rows
    return bool(key.low <= value <= key.high) and math.isfinite(value)


def _settled(key: _Key, value: Any) -> Any:
    """The value as the machine keeps it."""
    match key.kind:
        case "number":
            return float(value)
        case "numbers":
            return tuple(float(item) for item in value)
        case "needle":
            return needle_name(needle_position(value))
        case _:
            return value


def _value_cure(key: _Key, value: Any) -> str:
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
    return f"Leave `{key.name}` out, and what is usual stands."


# -- words ------------------------------------------------------------------------------------------------------


def _near_base(kind: Any) -> str:
    return {"card": "card24-standard", "bitmap": "bitmap-standard"}.get(str(kind), "hand-standard")


def _table_cure(path: tuple[str, ...]) -> str:
    if path[0] == "limits" and len(path) == 2:
        return f"{path[1]} = {{ warn_from = 4, error_from = 5 }}"
    return f"Write [{'.'.join(path)}] on a line of its own, and its keys under it."


def _shown(value: Any) -> str:
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
        return f"`[{', '.join(_shown(item).strip('`') for item in value)}]`"
    return f"`{short(str(value))}`"


def _listed(words: Sequence[str], last: str) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"
