"""The options of the products as the page asks for them."""

from __future__ import annotations

import pytest

from stitchc.live.settings import OPTIONS, as_fields, settings_of_products


def test_forms_speak_of_no_command_line() -> None:
    for product, settings in settings_of_products().items():
        for setting in settings:
            assert "--" not in setting["help"] + setting["label"], (product, setting)
            assert "repeat the option" not in setting["help"], (product, setting)
            assert "FILE" not in setting["help"], (product, setting)


@pytest.mark.parametrize(
    ("product", "form", "given", "fields"),
    [
        (
            "piece",
            "json",
            {"so_far": "drift 30 rows 7.1 cm; drift 8 rows 2 cm"},
            {"so_far": ("drift 30 rows 7.1 cm", "drift 8 rows 2 cm")},
        ),
        (
            "card",
            "pdf",
            {"rows": "48", "paper": "letter", "test_card": True},
            {"rows": 48, "paper": "letter", "test_card": True},
        ),
        ("bitmap", "", {"edge": "2"}, {}),
        ("chart", "text", {"repeats": "2x3"}, {}),
        ("chart", "svg", {"repeats": "2x3"}, {"repeats": (2, 3)}),
        ("gauge", "json", {"spread": "2,5", "book": "/etc/passwd"}, {"spread": 2.5}),
    ],
)
def test_what_a_form_gives_are_the_options_of_the_product(
    product: str, form: str, given: dict[str, object], fields: dict[str, object]
) -> None:
    expected = fields | ({"form": form} if form else {})
    assert as_fields(OPTIONS[product], given, form, "") == expected


@pytest.mark.parametrize(
    ("product", "given", "words"),
    [
        ("card", {"rows": "many"}, "Rows must be a whole number, not `many`"),
        ("card", {"rows": "0"}, "Rows must be at least 1"),
        ("card", {"paper": "a9"}, "Paper is one of a4"),
        ("gauge", {"plain": "twenty"}, "Stocking stitch: "),
    ],
)
def test_a_wrong_value_is_refused_in_words(product: str, given: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        as_fields(OPTIONS[product], given, "", "cm")
