"""`import stitchc`: every name is there, documented and light, and the examples of the documentation hold."""

from __future__ import annotations

import doctest
import inspect
import subprocess
import sys
from contextlib import nullcontext
from typing import Any

import pytest

import stitchc
from stitchc.option import options_in


def test_the_examples_hold() -> None:
    result = doctest.testmod(stitchc)
    assert result.attempted > 15 and result.failed == 0


@pytest.mark.parametrize("name", stitchc.__all__)
def test_every_name_is_there_and_says_what_it_is(name: str) -> None:
    value = getattr(stitchc, name)
    assert inspect.getdoc(value), name
    if inspect.isfunction(value):
        signature = inspect.signature(value)
        assert signature.return_annotation is not inspect.Signature.empty
        assert all(each.annotation is not inspect.Parameter.empty for each in signature.parameters.values())
    if name.endswith("Options"):
        assert value() == value(), "every option has a default"


@pytest.mark.parametrize(
    ("make", "given", "wanted"),
    [
        (stitchc.CardOptions, {"form": "bogus"}, "'png' or 'pdf'"),
        (stitchc.CardOptions, {"rows": -5}, "a whole number from 1 to 5,000"),
        (stitchc.CardOptions, {"scale_x": float("nan")}, "a number from 0.95 to 1.05"),
        (stitchc.SheetOptions, {"rows": 0}, "a whole number from 1 to 100,000"),
        (stitchc.SheetOptions, {"rows": 2.5}, "a whole number"),
        (stitchc.SheetOptions, {"stitches": "rib"}, "a tuple, as in ('rib',)"),
        (stitchc.SheetOptions, {"stitches": (3,)}, "a tuple of these: a text"),
        (stitchc.SheetOptions, {"needles": "80"}, "a Needles"),
        (stitchc.PieceOptions, {"sizes": (41,)}, "a text, as in 48,52,56"),
        (stitchc.PieceOptions, {"anyway": 1}, "True or False"),
        (stitchc.ChartOptions, {"repeats": 2}, "a tuple"),
    ],
)
def test_a_value_that_an_option_cannot_have_is_refused(make: Any, given: dict[str, Any], wanted: str) -> None:
    with pytest.raises(stitchc.WrongOption) as refused:
        make(**given)
    (name,) = given
    assert refused.value.field == name and str(refused.value).startswith(f"`{name}` is ")
    assert wanted in str(refused.value)


def test_a_file_that_cannot_be_read_is_refused_with_a_class_of_its_own() -> None:
    with pytest.raises(stitchc.FileTrouble) as refused:
        stitchc.compile_file("nowhere.stitch")
    assert isinstance(refused.value, stitchc.Refused) and refused.value.messages[0].code == "F501"


def test_importing_it_imports_nothing_else() -> None:
    code = "import sys, stitchc; print([name for name in ('numpy', 'lark', 'PIL', 'click') if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_what_is_not_there_is_no_attribute() -> None:
    with pytest.raises(AttributeError, match="has no attribute"):
        _ = stitchc.make_jumper  # type: ignore[attr-defined]


PATTERN = """\
stitch tide
    1: K T
    2: K
gauge plain 20 stitches 28 rows per 10 cm
piece cuff
    needles 24
    knit tide for 8 rows
"""


@pytest.mark.parametrize(
    ("make", "machine", "options"),
    [
        (stitchc.make_card, "card24-standard", stitchc.CardOptions(form="text")),
        (stitchc.make_bitmap, "bitmap-standard", stitchc.BitmapOptions()),
        (stitchc.make_sheet, "hand-standard", stitchc.SheetOptions(form="json")),
        (stitchc.plan_piece, "hand-standard", stitchc.PieceOptions(form="html")),
        (stitchc.draw_chart, "hand-standard", stitchc.ChartOptions(form="svg")),
    ],
)
def test_a_product_function_says_writes_and_opens_nothing(
    make: object, machine: str, options: object, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    pattern = stitchc.compile_text(PATTERN).pattern
    loaded = stitchc.load_machine(machine)
    product = make(pattern, loaded, options)  # type: ignore[operator]
    again = make(pattern, loaded, options)  # type: ignore[operator]
    assert (
        product.values
        and product.files
        and [each.content for each in again.files] == [each.content for each in product.files]
    )
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("kind", [getattr(stitchc, name) for name in stitchc.__all__ if name.endswith("Options")])
def test_what_makes_a_value_of_a_text_is_there_and_needs_no_command_line(kind: type) -> None:
    for _, option in options_in(kind):
        if option.parse:
            assert not option.parse.startswith("stitchc.cli")
            with pytest.raises(ValueError) if option.metavar != "NAME" and not option.split else nullcontext():
                option.parsed("?")
