"""The options of a product as the page asks for them: the same fields, words and bounds as on the command line."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any, Final, Literal, get_args, get_origin

from stitchc import options
from stitchc.live.words import PAGE, label_of
from stitchc.option import Option, options_in, value_type, words_for
from stitchc.wording import worded

_ASKED_ELSEWHERE: Final = ("form", "stitches", "piece", "units", "name", "measured", "date")
"""Fields that the page has its own places for."""
_OWN_BUTTONS: Final = ("test_card", "so_far", "against")
"""Options that a knitter finds where they belong, not among the settings."""

OPTIONS: Final[Mapping[str, type[Any]]] = {
    name.removesuffix("Options").lower(): kind
    for name, kind in vars(options).items()
    if name.endswith("Options") and name != "BuildOptions"
}
"""The options of each product, by the name of its command."""

Field = dataclasses.Field[Any]


def settings_of_products() -> dict[str, list[dict[str, Any]]]:
    return {name: described(kind) for name, kind in OPTIONS.items()}


@worded(PAGE)
def described(kind: type[Any]) -> list[dict[str, Any]]:
    """What a form needs to ask for each option of a dataclass: its name, words, kind of value and bounds, and whether
    it is kept for each stitch or piece."""
    fields = []
    for field, option in _asked(kind):
        if field.name in _OWN_BUTTONS:
            continue
        value = value_type(field)
        fields.append(
            {
                "name": field.name,
                "label": label_of(option.flag),
                "help": option.help_words(),
                "kind": "flag" if value is bool else "choice" if get_origin(value) is Literal else "text",
                "choices": list(get_args(value)) if get_origin(value) is Literal else [],
                "example": option.metavar or "",
                "default": option.otherwise.format(words_for(field.default)) or words_for(field.default),
                "value": field.default if value is bool or isinstance(field.default, str) else "",
                "own": option.own,
            }
        )
    return fields


def as_fields(kind: type[Any], given: Mapping[str, Any], form: str, units: str) -> dict[str, Any]:
    """What was given, as the fields of the dataclass; what is empty or not for this form is left out.

    Raises ValueError with a sentence.
    """
    fields = {field.name: field for field in dataclasses.fields(kind)}
    out: dict[str, Any] = {"units": units} if "units" in fields and units in ("cm", "in") else {}
    if form and "form" in fields:
        out["form"] = _chosen(fields["form"], form, "The form")
    for field, option in _asked(kind):
        value = given.get(field.name)
        if value in (None, "", False, field.default) or (option.forms and form not in option.forms):
            continue
        if option.needs and given.get(option.needs) in (None, ""):
            continue
        out[field.name] = _value(field, option, value)
    return out


def _asked(kind: type[Any]) -> Iterator[tuple[Field, Option]]:
    for field, option in options_in(kind):
        if field.name in _ASKED_ELSEWHERE or option.complete == "file":
            continue
        if get_origin(value_type(field)) is not tuple or option.parse:
            yield field, option


def _value(field: Field, option: Option, value: Any) -> Any:
    label = label_of(option.flag)
    kind = value_type(field)
    if kind is bool:
        return bool(value)
    text = str(value).strip()
    if option.parse:
        several = Ellipsis in get_args(kind)
        try:
            if several:
                return tuple(option.parsed(part.strip()) for part in text.split(option.split) if part.strip())
            return option.parsed(text)
        except ValueError as error:
            raise ValueError(f"{label}: {error}.") from None
    if get_origin(kind) is Literal:
        return _chosen(field, text, label)
    return text if kind is str else _number(text, kind, option, label)


def _chosen(field: Field, text: str, label: str) -> str:
    choices = get_args(value_type(field))
    if text not in choices:
        raise ValueError(f"{label} is one of {', '.join(choices)}.")
    return text


def _number(text: str, kind: Any, option: Option, label: str) -> float:
    number: float
    try:
        number = kind(text.replace(",", "."))
    except ValueError:
        raise ValueError(f"{label} must be a {'whole ' if kind is int else ''}number, not `{text[:40]}`.") from None
    low, high = option.low, option.high
    if (low is not None and number < low) or (high is not None and number > high) or number != number:
        bounds = [f"at least {low:,g}"] * (low is not None) + [f"at most {high:,g}"] * (high is not None)
        raise ValueError(f"{label} must be {' and '.join(bounds)}.")
    return number
