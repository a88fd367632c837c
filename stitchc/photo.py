"""Photographs of a finished piece: whether a file is one, and the same picture to be shown to others.

What is shown is drawn anew from the pixels alone: the place, the time and the camera that a file tells stay behind.
"""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from PIL.Image import Image

MOST_BYTES: Final = 16 * 1024 * 1024
MOST_PIXELS: Final = 50_000_000
"""Those of a good camera; more are not unpacked."""
FORMATS: Final = ("JPEG", "PNG", "WEBP", "GIF", "TIFF", "BMP")
"""Forms that are opened. Others are left alone, some because their readers run other programs."""

_looked_at: dict[bytes, NoPhoto | None] = {}
"""What was found, by the digest of the file: while a pattern is typed its photos are met again and again."""
_MOST_REMEMBERED: Final = 200


class NoPhoto(ValueError):
    """What is wrong with a file that should be a photograph, as the end of a sentence that begins with its name."""

    def __init__(self, trouble: str, too_large: bool = False) -> None:
        super().__init__(trouble)
        self.too_large = too_large


class ShownPhoto(NamedTuple):
    """A JPEG file without metadata, and its size in pixels."""

    content: bytes
    width: int
    height: int


def check_photo(content: bytes) -> None:
    """Raise NoPhoto unless the whole of a file can be opened as a picture."""
    import hashlib  # a pattern without photos begins faster without it

    digest = hashlib.sha256(content).digest()
    if digest not in _looked_at:
        if len(_looked_at) >= _MOST_REMEMBERED:
            _looked_at.clear()
        try:
            _opened(content, 64)
            _looked_at[digest] = None
        except NoPhoto as error:
            _looked_at[digest] = error.with_traceback(None)
    if (trouble := _looked_at[digest]) is not None:
        raise trouble


def encode_photo(content: bytes, most_px: int = 1600, quality: int = 85) -> ShownPhoto:
    """The photograph upright, in sRGB on white, at most `most_px` on its longer side, as a JPEG without metadata.

    The same bytes always give the same file. Raises NoPhoto.
    """
    image = _opened(content, most_px)
    image.thumbnail((most_px, most_px))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, optimize=True)
    return ShownPhoto(out.getvalue(), *image.size)


def _opened(content: bytes, least_px: int) -> Image:
    """The picture with all its pixels read; a JPEG may come out smaller, but not below `least_px`, which is fast."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    if not content:
        raise NoPhoto("is empty")
    if len(content) > MOST_BYTES:
        raise NoPhoto(f"is larger than {MOST_BYTES // 2**20} MiB", too_large=True)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the size is judged here, and damage shows when the pixels are read
            with Image.open(io.BytesIO(content), formats=FORMATS) as opened:
                width, height = opened.size
                if width * height > MOST_PIXELS:
                    raise NoPhoto(f"has {width:,} by {height:,} pixels, more than can be opened", too_large=True)
                opened.draft("RGB", (least_px, least_px))
                opened.load()
                return _in_srgb(ImageOps.exif_transpose(opened))
    except (NoPhoto, MemoryError):
        raise
    except Image.DecompressionBombError:
        raise NoPhoto("has more pixels than any photograph", too_large=True) from None
    except UnidentifiedImageError:
        raise NoPhoto("is not a picture that can be opened") from None
    except Exception:  # damaged files make the decoders raise nearly anything
        raise NoPhoto("is damaged or cut short: its pixels can't be read") from None


def _in_srgb(image: Image) -> Image:
    """Red, green and blue of sRGB, on white where the picture is clear; nothing but pixels is kept."""
    from PIL import Image, ImageCms

    profile = image.info.get("icc_profile")
    if "A" in image.getbands() or "transparency" in image.info:
        clear = image.convert("RGBA")
        paper = Image.new("RGBA", clear.size, "white")
        image = Image.alpha_composite(paper, clear)
    elif profile is not None and image.mode in ("RGB", "CMYK", "L"):
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            image = ImageCms.profileToProfile(image, source, ImageCms.createProfile("sRGB"), outputMode="RGB") or image
        except (OSError, ImageCms.PyCMSError):
            pass  # a profile that is wrong in itself is left out of account, as browsers do
    plain = Image.new("RGB", image.size)
    plain.paste(image.convert("RGB"))
    return plain
