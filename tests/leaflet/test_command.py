"""`stitchc leaflet`: its files, dates, refusals and what it warns of."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import pytest
from PIL import Image

from stitchc import LeafletOptions, compile_text, load_machine, make_leaflet
from stitchc.machines import SHIPPED
from tests.leaflet.made import EXAMPLES
from tests.proof.running import stitchc

CUFF = """\
pattern "Cuff"
stitch tide
    1: K T
    2: K
gauge plain 20 stitches 28 rows per 10 cm
gauge tide 38 stitches 80 rows per 20 cm
piece cuff
    width 18 cm
    knit tide for 8 cm
    do "Cast off."
"""


@pytest.fixture
def cuff(tmp_path: Path) -> Path:
    path = tmp_path / "cuff.stitch"
    path.write_text(CUFF, "utf-8")
    return path


def test_both_forms_by_default_named_after_the_file(cuff: Path, tmp_path: Path) -> None:
    said = stitchc("leaflet", cuff, "--no-pictures", "-o", tmp_path)
    assert said.status == 0 and said.out.split() == [str(tmp_path / f"cuff-leaflet.{end}") for end in ("pdf", "html")]


@pytest.mark.parametrize(
    ("ending", "head"), [("pdf", b"%PDF"), ("html", b"<!DOCTYPE"), ("txt", b"Cuff: a pattern for single-bed")]
)
def test_the_ending_chooses_the_form(cuff: Path, tmp_path: Path, ending: str, head: bytes) -> None:
    said = stitchc("leaflet", cuff, "--no-pictures", "-o", tmp_path / f"it.{ending}")
    assert said.status == 0 and said.out.split() == [str(tmp_path / f"it.{ending}")]
    assert (tmp_path / f"it.{ending}").read_bytes().startswith(head)


def test_a_leaflet_of_one_piece_is_refused_in_words(cuff: Path) -> None:
    said = stitchc("leaflet", cuff, "--piece", "cuff")
    assert said.status == 2 and "A leaflet holds all pieces of FILE. Leave `--piece cuff` out" in said.err


def edition(text: str) -> tuple[str, str]:
    found = re.search(r"Edition: +([0-9a-f]{12}), (\S+), made with stitchc", text)
    assert found
    return found[1], found[2]


def test_the_edition_is_of_the_pattern_and_the_date_can_be_given(cuff: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SOURCE_DATE_EPOCH: reproducible-builds.org; 86400 seconds after 1970 began it was the second of January."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    common = ("leaflet", cuff, "--no-pictures", "--format", "text", "--machine", "hand-standard")
    first, again = stitchc(*common), stitchc(*common)
    assert first.out == again.out and edition(first.out)[1] == "1970-01-02"
    dated = edition(stitchc(*common, "--date", "2026-05-01").out)
    assert dated == (edition(first.out)[0], "2026-05-01")
    cuff.write_text(CUFF.replace("8 cm", "9 cm"), "utf-8")
    assert edition(stitchc(*common).out)[0] != dated[0]
    assert stitchc(*common, "--date", "1 May").status == 2


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (('piece cuff\n    width 18 cm\n    knit tide for 8 cm\n    do "Cast off."\n', ""), "P401"),
        (("gauge plain 20 stitches 28 rows per 10 cm\ngauge tide 38 stitches 80 rows per 20 cm\n", ""), "P402"),
        (("width 18 cm", "width 180 cm"), "M303"),
        (("K T", "K T T T"), "K203"),
    ],
)
def test_what_no_machine_can_knit_is_refused(cuff: Path, tmp_path: Path, change: tuple[str, str], code: str) -> None:
    cuff.write_text(CUFF.replace(*change), "utf-8")
    said = stitchc("leaflet", cuff, "--no-pictures", "-o", tmp_path)
    assert said.status == 1 and code in said.codes and not said.out
    assert not list(tmp_path.glob("*.pdf"))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("gauge tide 38 stitches 80 rows per 20 cm\n", ""), "The gauge of `tide` is estimated"),
        (
            ("gauge plain 20 stitches 28 rows per 10 cm\ngauge tide 38 stitches 80 rows per 20 cm\n", ""),
            "No gauge is known",
        ),
    ],
)
def test_what_nobody_measured_is_warned_of(change: tuple[str, str], words: str) -> None:
    text = CUFF.replace(*change).replace("width 18 cm", "needles 36").replace("8 cm", "30 rows")
    pattern = compile_text(text).pattern
    assert pattern is not None
    product = make_leaflet(pattern, [load_machine("hand-standard")], LeafletOptions(form="text", pictures=False))
    assert [words in message.text for message in product.messages if message.code == "L901"] == [True]


def test_a_machine_whose_needles_do_not_suit_is_named_with_the_reason() -> None:
    said = stitchc("leaflet", EXAMPLES / "cowl.stitch", "--no-pictures", "--format", "text")
    told = " ".join(said.out.split())
    assert "Hand bed, fine gauge, 3.6 mm, no patterning: Stocking stitch of 22 stitches in 10 cm does not suit" in told
    assert "Electronic patterning, bulky gauge, 9 mm: Stocking stitch of 22 stitches in 10 cm does not suit" in told


def test_photos_are_shown_without_what_their_files_tell(cuff: Path, tmp_path: Path) -> None:
    """Exif 2.32 (CIPA DC-008): GPS data and the maker's name are in the file, and not in the leaflet."""
    image = Image.new("RGB", (400, 300), "#7f9f5f")
    told = Image.Exif()
    told[0x010F] = "Maker of cameras"
    told.get_ifd(0x8825)[1] = "N"
    out = io.BytesIO()
    image.save(out, "JPEG", exif=told)
    assert b"Maker of cameras" in out.getvalue()
    (tmp_path / "front.jpg").write_bytes(out.getvalue())
    cuff.write_text(CUFF + 'photo "front.jpg" "the cuff on a bollard"\n', "utf-8")
    said = stitchc("leaflet", cuff, "--no-pictures", "-o", tmp_path)
    assert said.status == 0, said
    page, pdf = ((tmp_path / f"cuff-leaflet.{end}").read_bytes() for end in ("html", "pdf"))
    assert b'alt="the cuff on a bollard"' in page and b"(the cuff on a bollard)" in pdf
    assert b"Maker of cameras" not in page + pdf and b"Exif" not in pdf
    import base64

    (shown,) = re.findall(rb"data:image/jpeg;base64,([^\"]+)", page)
    with Image.open(io.BytesIO(base64.b64decode(shown))) as again:
        assert again.size == (400, 300) and not again.getexif()


def test_several_pieces_have_their_parts_and_rows_each() -> None:
    text = CUFF + 'piece band\n    make 2\n    needles 12\n    knit tide for 10 rows\n    do "Sew it on."\n'
    text += "piece strap\n    needles 8\n    knit plain for 90 rows\n"
    pattern = compile_text(text).pattern
    assert pattern is not None
    machines = [load_machine(name) for name in ("hand-standard", "card24-standard")]
    (whole,) = make_leaflet(pattern, machines, LeafletOptions(form="text", pictures=False)).values
    *first, by_hand, _, _ = whole.chapters
    assert [chapter.title for chapter in first] == ["cuff", "band", "strap", "strap on every machine"]
    assert by_hand.title == "By hand" and [chapter.title for chapter in by_hand.chapters] == ["cuff", "band"]
    assert all(chapter.rows is not None for chapter in (*by_hand.chapters, first[-1]))


def test_the_boxes_of_a_plain_piece_are_printed_once_for_all_machines() -> None:
    text = (
        CUFF.split("piece")[0] + "piece strap\n    needles 8\n    knit plain for 90 rows\npiece band\n    needles 12\n"
    )
    pattern = compile_text(text + "    knit tide for 10 rows\n").pattern
    assert pattern is not None
    machines = [load_machine(name) for name in ("hand-standard", "card24-standard", "bitmap-standard")]
    (file,) = make_leaflet(pattern, machines, LeafletOptions(form="text", pictures=False)).files
    told = file.content.decode()
    assert told.count("Rows 1 to 90, ") == 1
    for title in ("By hand", "With a hole card of 24 columns"):  # the piece that is left keeps its name
        assert re.search(rf"\n{title}\n=+\n[^=]*\nband\n===", told)


def test_build_makes_it_too(cuff: Path, tmp_path: Path) -> None:
    assert stitchc("build", cuff, "--no-pictures", "-o", tmp_path / "all").status == 0
    assert {"leaflet.pdf", "leaflet.html"} <= {path.name for path in (tmp_path / "all").iterdir()}
    index = (tmp_path / "all" / "index.html").read_text("utf-8")
    assert 'href="leaflet.pdf"' in index and json.dumps("leaflet.html") in index


def test_what_no_machine_can_knit_is_said_once_for_all_of_them(cuff: Path, tmp_path: Path) -> None:
    cuff.write_text(CUFF.replace("width 18 cm", "width 180 cm"), "utf-8")
    said = stitchc("leaflet", cuff, "--no-pictures", "-o", tmp_path)
    assert sorted(said.codes) == ["G609", "M303"]
    told = " ".join(said.err.split())
    for name in SHIPPED:
        assert told.count(load_machine(name).title) == 1, name
    assert "and such a machine has 200 (Hand bed, standard gauge, 4.5 mm, no patterning; Card reader of 24" in told
    assert told.count("the widest that goes") == len({load_machine(name).needles for name in SHIPPED} - {250})
