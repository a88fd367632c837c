"""Photographs: what is one, and that nothing but its pixels is shown to others."""

from __future__ import annotations

import io
import os
import re
from pathlib import Path

import pytest
from PIL import Image, ImageCms, PngImagePlugin

from stitchc import photo
from stitchc.notation import compile_file, compile_text
from stitchc.photo import NoPhoto, check_photo, encode_photo

SIZE = (120, 80)


def picture(form: str = "JPEG", mode: str = "RGB", **settings: object) -> bytes:
    """Left half dark, right half light, top left corner red."""
    image = Image.new("RGB", SIZE, (40, 60, 80))
    image.paste((220, 200, 160), (60, 0, 120, 80))
    image.paste((200, 30, 30), (0, 0, 20, 20))
    out = io.BytesIO()
    image.convert(mode).save(out, form, **settings)
    return out.getvalue()


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "GIF", "TIFF", "BMP"])
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_a_picture_of_every_form_is_shown_as_the_same_jpeg_each_time(form: str, mode: str) -> None:
    content = picture(form, mode)
    check_photo(content)
    shown = encode_photo(content)
    assert shown == encode_photo(content)
    with Image.open(io.BytesIO(shown.content)) as opened:
        assert (opened.format, opened.mode, opened.size) == ("JPEG", "RGB", SIZE)
        assert (shown.width, shown.height) == SIZE
        light = opened.convert("L")
        assert light.getpixel((100, 40)) > light.getpixel((40, 60)) + 80  # type: ignore[operator]


def test_place_time_camera_and_words_stay_behind() -> None:
    exif = Image.Exif()
    exif[0x010E] = "the net loft"  # ImageDescription
    exif[0x0132] = "2026:05:04 10:11:12"  # DateTime
    exif[0x0110] = "a camera"  # Model
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 12.0)  # GPSLatitude; numbers of the tags: Exif 2.32
    content = picture(exif=exif, comment=b"a secret", dpi=(300, 300))
    shown = encode_photo(content).content
    for word in (b"net loft", b"2026", b"camera", b"Exif", b"secret"):
        assert word in content or word == b"Exif"
        assert word not in shown
    with Image.open(io.BytesIO(shown)) as opened:
        assert not opened.getexif() and not {"exif", "icc_profile", "comment", "xmp"} & set(opened.info)


def test_words_in_a_png_and_what_is_hung_on_at_the_end_stay_behind() -> None:
    """Chunks of PNG, 3rd ed.: tEXt, zTXt, iTXt (XMP is one), eXIf, tIME; and bytes after the end of a JPEG."""
    told = PngImagePlugin.PngInfo()
    told.add_text("Author", "the net loft")
    told.add_text("Comment", "taken at home", zip=True)
    told.add_itxt("XML:com.adobe.xmp", "<x:xmpmeta>51.5 N</x:xmpmeta>")
    told.add(b"tIME", bytes([7, 234, 5, 4, 10, 11, 12]))
    exif = Image.Exif()
    exif[0x0110] = "a camera"
    for content in (
        picture("PNG", pnginfo=told, exif=exif),
        picture() + b"PK\x03\x04 the net loft, another file",
        picture(exif=exif, xmp=b"<x:xmpmeta>the net loft</x:xmpmeta>"),
    ):
        check_photo(content)
        shown = encode_photo(content).content
        for word in (b"net loft", b"at home", b"xmpmeta", b"51.5", b"a camera", b"PK", b"Exif"):
            assert word not in shown
        assert shown.endswith(b"\xff\xd9"), "EOI ends it (ITU-T T.81, B.2.1)"
        with Image.open(io.BytesIO(shown)) as opened:
            assert set(opened.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}, opened.info


CORNERS = {1: (10, 10), 2: (110, 10), 3: (110, 70), 4: (10, 70), 5: (10, 10), 6: (70, 10), 7: (70, 110), 8: (10, 110)}
"""Where the top left corner of the picture as it is stored comes to lie, in pixels (Exif 2.32, Orientation)."""


@pytest.mark.parametrize("form", ["JPEG", "PNG", "TIFF", "WEBP"])
@pytest.mark.parametrize("orientation", CORNERS)
def test_every_way_to_hold_a_camera_is_turned_upright(form: str, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    shown = encode_photo(picture(form, exif=exif))
    assert (shown.width, shown.height) == (SIZE if orientation < 5 else SIZE[::-1])
    with Image.open(io.BytesIO(shown.content)) as opened:
        red, green, _ = opened.getpixel(CORNERS[orientation])  # type: ignore[misc]
        assert red > 150 > 100 > green and not opened.getexif()


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "GIF", "TIFF", "BMP"])
def test_a_file_cut_short_anywhere_is_refused_or_shown_and_never_fails(form: str) -> None:
    whole = picture(form)
    for stop in range(0, len(whole), max(1, len(whole) // 60)):
        try:
            check_photo(whole[:stop])
        except NoPhoto as error:
            assert re.match(r"is (empty|damaged or cut short|not a picture)", str(error))
        else:
            assert encode_photo(whole[:stop]).width == SIZE[0]
    with pytest.raises(NoPhoto):
        check_photo(whole[: len(whole) // 2])


def test_a_picture_that_was_taken_on_its_side_stands_upright() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation: turn a quarter clockwise to see it upright (Exif 2.32, 4.6.4)
    shown = encode_photo(picture(exif=exif))
    assert (shown.width, shown.height) == (80, 120)
    with Image.open(io.BytesIO(shown.content)) as opened:
        red, green, _ = opened.getpixel((70, 10))  # type: ignore[misc]
        assert red > 150 > 100 > green  # the corner came to the top right


def test_colours_of_another_profile_become_those_of_srgb() -> None:
    """A profile whose red is the blue of sRGB: the tags of the two primaries exchanged (ICC.1:2010, 9.2)."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    exchanged = profile.replace(b"rXYZ", b"????").replace(b"bXYZ", b"rXYZ").replace(b"????", b"bXYZ")
    assert exchanged != profile
    for icc_profile, expected in ((exchanged, (30, 30, 200)), (profile, (200, 30, 30)), (b"no profile", (200, 30, 30))):
        shown = encode_photo(picture("PNG", icc_profile=icc_profile), quality=95)
        with Image.open(io.BytesIO(shown.content)) as opened:
            assert opened.getpixel((8, 8)) == pytest.approx(expected, abs=6)


def test_what_is_clear_is_shown_on_white_and_large_pictures_become_smaller() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (900, 300), (0, 0, 0, 0)).save(out, "PNG")
    shown = encode_photo(out.getvalue(), most_px=300)
    assert (shown.width, shown.height) == (300, 100)
    with Image.open(io.BytesIO(shown.content)) as opened:
        assert opened.getpixel((150, 50)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("content", "trouble"),
    [
        (b"", "is empty"),
        (b"%PDF-1.7", "is not a picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "is not a picture"),
        (picture()[:600], "is damaged"),
        (picture("PNG")[:120], "is damaged"),
        (b"\0" * (photo.MOST_BYTES + 1), "is larger than 16 MiB"),
    ],
)
def test_what_is_no_photo(content: bytes, trouble: str) -> None:
    for _ in range(2):  # what is remembered is said again
        with pytest.raises(NoPhoto, match=trouble):
            check_photo(content)
    with pytest.raises(NoPhoto, match=trouble):
        encode_photo(content)


def test_a_picture_of_very_many_pixels_is_not_unpacked(tmp_path: Path) -> None:
    out = io.BytesIO()
    Image.new("1", (20_000, 3_000)).save(out, "PNG")
    with pytest.raises(NoPhoto, match="20,000 by 3,000 pixels"):
        check_photo(out.getvalue())
    (tmp_path / "wide.png").write_bytes(out.getvalue())
    top = tmp_path / "top.stitch"
    top.write_text('photo "wide.png" "very wide"\nstitch a\n1: K\n', "utf-8")
    (message,) = compile_file(str(top)).messages
    assert message.code == "N110" and message.span is not None and message.span.line == 1


def test_a_pattern_holds_its_photos(tmp_path: Path) -> None:
    (tmp_path / "Photos").mkdir()
    (tmp_path / "Photos" / "front.jpg").write_bytes(picture())
    top = tmp_path / "top.stitch"
    text = 'photo "Photos/front.jpg" "the cowl, worn"\nstitch a\n1: K\n'
    top.write_text(f'include "more.stitch"\n{text}', "utf-8")
    (tmp_path / "more.stitch").write_text('photo "nowhere.jpg" "of another leaflet"\nby "another"\n', "utf-8")
    pattern = compile_file(str(top)).pattern
    assert pattern is not None and pattern.by is None
    (held,) = pattern.photos
    assert (held.file, held.shows, held.content) == ("Photos/front.jpg", "the cowl, worn", picture())


def test_photos_together_have_a_limit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from stitchc.notation import gather

    monkeypatch.setattr(gather, "MOST_BYTES_OF_PHOTOS", len(picture()) + 10)
    (tmp_path / "a.jpg").write_bytes(picture())
    top = tmp_path / "top.stitch"
    top.write_text('photo "a.jpg" "one"\nphoto "a.jpg" "two"\nstitch a\n1: K\n', "utf-8")
    assert [m.code for m in compile_file(str(top)).messages] == ["N110"]


@pytest.mark.parametrize(
    "path",
    [
        *(
            "\ud800.jpg",
            "a\0b.jpg",
            "x" * 5000 + ".jpg",
            "..",
            ".",
            "/etc/hostname",
            "pipe",
            "loop",
            "outside",
            "~/a.jpg",
        ),
        *("folder-outside/secret.jpg", "round/../../secret.jpg", "outside-by-two", "gone"),
    ],
)
def test_odd_paths_are_refused_in_words(tmp_path: Path, path: str) -> None:
    folder = tmp_path / "patterns"
    folder.mkdir()
    os.mkfifo(folder / "pipe")
    (folder / "loop").symlink_to("loop")
    (tmp_path / "secret.jpg").write_bytes(picture())
    (folder / "outside").symlink_to(tmp_path / "secret.jpg")
    (folder / "folder-outside").symlink_to(tmp_path, target_is_directory=True)
    (folder / "round").mkdir()
    (folder / "outside-by-two").symlink_to("outside")
    (folder / "gone").symlink_to("nowhere.jpg")
    text = f'photo "{path}" "a picture"\nstitch a\n1: K\n'
    found = compile_text(text, str(folder / "top.stitch"), folder)
    assert [message.code for message in found.messages] == ["N114"], found.messages


def test_a_link_that_stays_in_the_folder_is_a_photo(tmp_path: Path) -> None:
    (tmp_path / "front.jpg").write_bytes(picture())
    (tmp_path / "link.jpg").symlink_to("front.jpg")
    found = compile_text('photo "link.jpg" "the cowl"\nstitch a\n1: K\n', str(tmp_path / "top.stitch"), tmp_path)
    assert found.pattern is not None and found.pattern.photos[0].content == picture()


def test_without_a_folder_no_photo_is_read() -> None:
    (message,) = compile_text('photo "front.jpg" "the cowl"\nstitch a\n1: K\n').messages
    assert message.code == "N114" and "folder of its own" in message.text
