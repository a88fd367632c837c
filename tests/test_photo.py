"""Photographs: what is one, and that nothing but its pixels is shown to others."""

from __future__ import annotations

import io
import os
from pathlib import Path

import pytest
from PIL import Image, ImageCms

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
    ["\ud800.jpg", "a\0b.jpg", "x" * 5000 + ".jpg", "..", ".", "/etc/hostname", "pipe", "loop", "outside", "~/a.jpg"],
)
def test_odd_paths_are_refused_in_words(tmp_path: Path, path: str) -> None:
    folder = tmp_path / "patterns"
    folder.mkdir()
    os.mkfifo(folder / "pipe")
    (folder / "loop").symlink_to("loop")
    (tmp_path / "secret.jpg").write_bytes(picture())
    (folder / "outside").symlink_to(tmp_path / "secret.jpg")
    text = f'photo "{path}" "a picture"\nstitch a\n1: K\n'
    found = compile_text(text, str(folder / "top.stitch"), folder)
    assert [message.code for message in found.messages] == ["N114"], found.messages


def test_without_a_folder_no_photo_is_read() -> None:
    (message,) = compile_text('photo "front.jpg" "the cowl"\nstitch a\n1: K\n').messages
    assert message.code == "N114" and "folder of its own" in message.text
