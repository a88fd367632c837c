"""What the page calls options, machines and commands, and messages as it shows them: what is to be typed is told from
what is to be read."""

from __future__ import annotations

import functools
import re
from typing import Any, Final

from stitchc.machines import SHIPPED, load
from stitchc.messages import Message, Refused
from stitchc.notation.reader import read_lines
from stitchc.wording import Wording

_LABELS: Final = {
    "anyway": "Continue despite errors",
    "box": "Part of the picture",
    "cell-mm": "Cell in mm",
    "dpi": "Dots per inch",
    "like": "Cells that look alike",
    "plain": "Stocking stitch",
    "px": "Width in pixels",
    "scale-x": "Scale across",
    "scale-y": "Scale down",
    "spread": "Swatches differ by",
    "within": "Largest error",
}
"""What the page calls an option whose flag is shorter than a word."""
_QUOTES: Final = '"'
"""Round a value for a terminal, which a field does not take."""
_BUTTONS: Final = {"swatch": "“Plan a swatch”", "machines": "The list “Machine”"}
"""Commands that are a part of the page."""
_OF_A_ROW: Final = re.compile(r"[KTS0-9x() ]+|[0-9][0-9, -]*")
_EXAMPLE: Final = re.compile(r"(?P<before>\s*as in )?(?P<line>.*?)(?P<hint>   \(.*\))?")


def label_of(flag: str) -> str:
    """What the page calls an option."""
    name = flag.lstrip("-")
    return _LABELS.get(name) or name.replace("-", " ").capitalize()


def _title_of(profile: str) -> str:
    return f"“{load(profile).title}”" if profile in SHIPPED else f"`{profile}`"


PAGE: Final = Wording(
    option=lambda flag: f"“{label_of(flag)}”",
    setting=lambda flag, value: f"“{label_of(flag)}: {value.strip(_QUOTES)}”",
    machine=_title_of,
    machine_choice=lambda profile: f"the machine {_title_of(profile)}",
    command=lambda command: _BUTTONS.get(command, f"`stitchc {command}`"),
    file="the pattern",
    several="separate several with {}".format,
)


def message_json(message: Message) -> dict[str, Any]:
    """The contract's fields of a message; its cure in parts, each with whether it is notation."""
    return {**message.as_json(), "cure": advice_parts(message.advice) if message.advice else []}


def sentence_json(text: str) -> dict[str, Any]:
    """A sentence that is no message, in the form of one."""
    return {"text": text, "cure": []}


@functools.lru_cache(512)
def advice_parts(advice: str) -> list[tuple[str, bool]]:
    """The advice in parts, each with whether it is a line of the notation, which is typed as it stands."""
    parts: list[tuple[str, bool]] = []
    for number, line in enumerate(advice.split("\n")):
        match = _EXAMPLE.fullmatch(line)
        assert match is not None
        is_notation = _is_notation(match["line"])
        whole = [(match["before"] or "", False), (match["line"], is_notation), (match["hint"] or "", False)]
        if not is_notation:
            whole = [(line, False)]
        next_line = ("\n" if number else "", is_notation and bool(parts) and parts[-1][1])
        for text, typed in [next_line, *whole]:
            if parts and text and parts[-1][1] == typed:
                parts[-1] = parts[-1][0] + text, typed
            elif text:
                parts.append((text, typed))
    return parts


def _is_notation(text: str) -> bool:
    """Whether the text is a line of the notation, or the cells or the numbers of a row."""
    return bool(text.strip()) and (_OF_A_ROW.fullmatch(text) is not None or not read_lines(text, "")[1])


def refusal_json(refused: Refused) -> list[dict[str, Any]]:
    """What keeps something from being made: its errors, as the page shows them."""
    return [message_json(message) for message in refused.messages if message.severity == "error"]
