"""The PDF opened with another library: its structure, its contents, how full its pages are, its cards' pages."""

from __future__ import annotations

import html
import io
import itertools
import re
from dataclasses import replace

import pypdfium2
import pypdfium2.raw as raw
import pytest

from stitchc import LeafletOptions, compile_text, load_machine, make_leaflet
from stitchc.document.pdf import PageSize
from stitchc.machines import SHIPPED
from tests.leaflet.made import DATE, content, leaflet

SIZES = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}


def opened(name: str, page: str = "a4") -> tuple[pypdfium2.PdfDocument, list[str]]:
    document = pypdfium2.PdfDocument(io.BytesIO(content(name, ".pdf", page)))
    return document, [" ".join(each.get_textpage().get_text_range().split()) for each in document]


def cards(document: pypdfium2.PdfDocument) -> list[int]:
    """The pages of the cards, from 0."""
    return [item.get_dest().get_index() for item in document.get_toc() if item.get_title().startswith("Card of")]


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize("name", ["cowl", "pilot-cap"])
def test_the_contents_and_the_bookmarks_lead_to_where_the_headings_are(name: str, page: str) -> None:
    document, texts = opened(name, page)
    assert all(each.get_size() == pytest.approx(SIZES[page], abs=0.1) for each in document)
    told = {item.get_title(): item.get_dest().get_index() for item in document.get_toc() if item.level < 2}
    for title, at in told.items():
        assert " ".join(title.split()) in texts[at], title
    first = texts[0] + texts[1]
    for title, at in told.items():
        if item_is_listed(title):
            assert re.search(rf"{re.escape(title)} {at + 1}\b", first), f"{title} is not in the contents with its page"
    assert all(f"Page {at} of {len(texts)}" in text for at, text in enumerate(texts, start=1))
    assert {"Size", "Yarn", "Gauge", "Swatch", "By hand", "With electronic patterning", "Terms"} <= set(told)
    assert links_of(document[0]) >= 15


def item_is_listed(title: str) -> bool:
    return title in ("Size", "Yarn", "Gauge", "Swatch", "Machines", "By hand", "With electronic patterning", "Terms")


def links_of(page: pypdfium2.PdfPage) -> int:
    """Links of a page that lead to another."""
    count = raw.FPDFPage_GetAnnotCount(page.raw)
    kinds = [raw.FPDFAnnot_GetSubtype(raw.FPDFPage_GetAnnot(page.raw, at)) for at in range(count)]
    return kinds.count(raw.FPDF_ANNOT_LINK)


def test_what_those_who_listen_need_is_in_it() -> None:
    """PDF 1.7 (ISO 32000-1), 12.2, 14.7 and 14.8: no print scaling, language, headings as such, figures with words."""
    bytes_of_it = content("cowl", ".pdf")
    for wanted in (
        b"/Lang (en)",
        b"/PrintScaling /None",
        b"/S /H1",
        b"/S /H2",
        b"/S /H3",
        b"/Alt (",
        b"/StructTreeRoot",
    ):
        assert wanted in bytes_of_it, wanted
    fonts = set(re.findall(rb"/FontName /([^ \n/]+)", bytes_of_it))
    assert fonts and len(re.findall(rb"/FontFile2 ", bytes_of_it)) >= len(fonts), "every font is embedded"
    assert not re.findall(rb"/Subtype /Type1\b", bytes_of_it), "a font that every reader is supposed to have"
    assert b"CreationDate" not in bytes_of_it


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize("name", ["cowl", "pilot-cap", "cushion", "wrist-warmers"])
def test_no_page_is_half_empty_but_the_last_before_the_cards(name: str, page: PageSize) -> None:
    """Or the one before a repeat that stands whole on the next page."""
    document, words = opened(name, page)
    on_cards = set(cards(document))
    texts = [at for at in range(len(document)) if at not in on_cards]
    for at in texts[:-1]:
        sheet = document[at]
        text, height = sheet.get_textpage(), sheet.get_height()
        bottoms = [text.get_rect(place)[1] for place in range(text.count_rects())]
        lowest = min(bottom for bottom in bottoms if bottom > 14 / 25.4 * 72)  # over the foot
        whole_repeat = "Tick each row" in words[at + 1][:600]
        assert (height - lowest) / height > 0.6 or whole_repeat, f"page {at + 1}"


@pytest.mark.parametrize("page", ["a4", "letter"])
@pytest.mark.parametrize("name", ["cowl", "pilot-cap", "cushion", "wrist-warmers"])
def test_a_heading_has_the_beginning_of_its_part_under_it(name: str, page: PageSize) -> None:
    """At least three lines, or all that there is before the next heading."""
    document, texts = opened(name, page)
    on_cards = set(cards(document))
    headings = [(item.get_title(), item.get_dest().get_index()) for item in document.get_toc()]
    for (title, at), (following, next_at) in itertools.pairwise(headings):
        if next_at in (at, *on_cards):
            continue
        lines = [line for line in document[at].get_textpage().get_text_range().split("\n") if line.strip()]
        under = len(lines) - 2 - max(place for place, line in enumerate(lines) if line.strip() == title)
        begins = texts[next_at].startswith(following)
        assert under >= 3 or begins, f"{title}, page {at + 1}, has {under} lines under it"


def test_the_cards_say_that_they_must_not_be_scaled() -> None:
    document, texts = opened("cowl")
    assert cards(document) == [len(document) - 1]
    for at in cards(document):
        assert "Print at 100 % (actual size), never fitted to the page." in texts[at]
        assert "--scale" not in texts[at] and "stitchc card" not in texts[at]


def test_it_can_be_read_in_order_from_the_title_to_the_cards() -> None:
    _, texts = opened("pilot-cap")
    whole, place = " ".join(texts), 0
    for words in (
        *("Pilot cap", "By the harbour workshop", "Difficulty Easy", DATE, "The sizes are the cap's width", "Contents"),
        *("What the sizes come to", "Hand bed, fine gauge", "tar: dark blue", "a tapestry needle"),
        *(
            "22.0 stitches and 30.0 rows",
            "Mark rows",
            "as here",
            "The repeat of cleat",
            "knit 1, tuck 1, knit 4",
            "L1, R1",
        ),
        *("Hooks and latches", "Working the rows", "Turn up the hem", "With a hole card", "If your reader differs"),
        "The picture to enter",
        "Pages at true scale",
    ):
        place = whole.index(words, place)


@pytest.mark.parametrize("name", ["cowl", "pilot-cap", "tuck-lace"])
def test_the_instructions_speak_to_people_who_have_neither_pattern_file_nor_stitchc(name: str) -> None:
    from stitchc.document import to_text

    (whole,) = leaflet(name).values
    styles = r"<style.*?</style>|href=\"[^\"]*\"|<!--.*?-->"
    page = html.unescape(re.sub(styles, "", content(name, ".html").decode(), flags=re.DOTALL))
    for told in (to_text(whole), " ".join(opened(name)[1]), page):
        assert not re.findall(r"`stitchc|stitchc (?!0\.)[a-z]+|--[a-z]+ [A-Z0-9]|`carriage|`gauge|you asked", told)
        assert not [profile for profile in SHIPPED if profile in told]


def test_how_to_print_a_card_is_said_on_its_page_and_nowhere_else() -> None:
    document, texts = opened("cowl")
    assert [at for at, text in enumerate(texts) if "100 %" in text] == cards(document)


def test_the_signs_of_the_bed_are_explained_only_where_a_bed_is_drawn() -> None:
    """A card or an electronic reader moves the needles of a stretch of rows, for which no bed is drawn."""
    _, texts = opened("cowl")
    assert " ".join(texts).count("The bed as you face it") == 1


@pytest.mark.parametrize("page", ["a4", "letter"])
def test_a_short_table_is_never_divided(page: str) -> None:
    _, texts = opened("cowl", page)
    for head in ("Your swatch Stitches", "Your swatch Rows"):
        assert sum(text.count(head) for text in texts) == 1, "the head of a table stands again where it goes on"


def test_a_card_that_several_machines_read_names_them_all_on_its_page() -> None:
    text = "gauge plain 14 stitches 20 rows per 10 cm\nstitch net over 6\n    1: K2 T K3\n    2: K\n"
    found = compile_text(f"{text}piece scarf\n    width 30 cm\n    knit net for 20 cm\n").pattern
    assert found is not None
    machines = [load_machine(name) for name in ("card24-standard", "card24-bulky")]
    machines = [replace(machine, pitch_mm=6.5) for machine in machines]
    (file,) = make_leaflet(found, machines, LeafletOptions(form="pdf", pictures=False)).files
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(file.content)]
    (line,) = re.findall(r"Hole card for: (.*?)[\r\n]", "\n".join(pages))
    assert line == " or ".join(machine.title for machine in machines)
