"""The files that a live page may open, how they are saved, and the text that is not saved yet.

One folder; nothing outside it is opened. A file is written only when the knitter saves it, and never over a version
that the page has not seen: then both are there, side by side. Text that is not saved is kept in the user's cache
folder, in a file that only the user can read.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NamedTuple

from stitchc import files
from stitchc.messages import Message, Refused, Span
from stitchc.naming import file_stem, is_device
from stitchc.notation.decoding import decoded
from stitchc.notation.gather import MOST_BYTES

ENDING: Final = ".stitch"
_MOST_LISTED: Final = 60
_MARK: Final = b"\xef\xbb\xbf"


class Opened(NamedTuple):
    """A file as it stands: its text with "\\n" line ends, and the digest of its bytes ("" if it is not there)."""

    name: str
    text: str
    digest: str


@dataclass(frozen=True)
class Draft:
    """Text that is not saved. base: the digest of the version of the file that it was made from."""

    name: str
    text: str
    base: str
    saved_at: float


class ChangedElsewhere(Exception):
    """The file is not the version that the page knows."""

    def __init__(self, now: Opened) -> None:
        self.now = now
        super().__init__(now.name)


class NoSuchPlace(Exception):
    """A name that is no pattern of this folder."""


def digest_of(content: bytes) -> str:
    """What a version of a file is known by."""
    return hashlib.sha256(content).hexdigest()


class Desk:
    """A folder and, where the command named one, the file that it was opened for."""

    def __init__(self, folder: Path, opened_for: str | None = None) -> None:
        self.folder, self.opened_for = folder.resolve(), opened_for

    # -- files ------------------------------------------------------------------------------------------------------

    def path(self, name: str) -> Path:
        """The place of a pattern of this folder. Raises NoSuchPlace for anything else."""
        plain = name and name == Path(name).name and "\\" not in name and "\0" not in name and not name.startswith(".")
        if not plain or not (name == self.opened_for or name.lower().endswith(ENDING)):
            raise NoSuchPlace(name)
        return self.folder / name

    def listed(self) -> list[dict[str, Any]]:
        """The patterns of the folder, the last changed first."""
        changed_at = []
        with contextlib.suppress(OSError):
            for path in self.folder.glob(f"*{ENDING}"):
                with contextlib.suppress(OSError):
                    changed_at.append((path.stat().st_mtime, path.name))
        return [{"name": name, "changed": changed} for changed, name in sorted(changed_at, reverse=True)[:_MOST_LISTED]]

    def profiles(self) -> list[str]:
        with contextlib.suppress(OSError):
            return sorted(path.name for path in self.folder.glob("*.toml"))[:_MOST_LISTED]
        return []

    def open(self, name: str) -> Opened:
        """The file as it stands, empty where it is not there yet. Raises Refused (N112, F501) and NoSuchPlace."""
        path = self.path(name)
        if not path.exists():
            return Opened(name, "", "")
        content = files.read_bytes(str(path), MOST_BYTES)
        if len(content) > MOST_BYTES:
            text = f"`{name}` is larger than {MOST_BYTES // 2**20} MiB."
            raise Refused(Message("N110", "error", text, Span(name, 1), advice="Split it, and include the parts."))
        text, problem = decoded(content, name)
        if problem is not None:
            raise Refused(problem)
        return Opened(name, text, digest_of(content))

    def changed_at(self, name: str) -> tuple[int, int] | None:
        """Something that differs when the file was written: time and size; None where it is not there."""
        try:
            status = self.path(name).stat()
        except OSError:
            return None
        return status.st_mtime_ns, status.st_size

    def save(self, name: str, text: str, base: str) -> Opened:
        """Write the text over the version whose digest is `base` ("": a file that is not there yet).

        The file keeps its line ends and its byte-order mark. Raises ChangedElsewhere where another version stands
        there, and FileTrouble.
        """
        path = self.path(name)
        standing = files.read_bytes(str(path), MOST_BYTES) if path.exists() else None
        if (digest_of(standing) if standing is not None else "") != base:
            raise ChangedElsewhere(self.open(name))
        if standing is None and is_device(path.stem):
            text = (
                f"`{name}` is the name of a device on some computers. Choose another, such as `{file_stem(path.stem)}`."
            )
            raise Refused(Message("F502", "error", text))
        content = _as_before(text, standing or b"")
        if content != standing:
            files.write_files([(path, content)], force=standing is not None, in_place=True)
        self.forget(name)
        return Opened(name, text, digest_of(content))

    def save_beside(self, name: str, text: str) -> str:
        """Write the text into a new file beside the named one; its name."""
        stem = Path(name).stem
        for number in range(1, 1000):
            other = f"{stem}-other-{number}{ENDING}"
            if not (self.folder / other).exists():
                files.write_files([(self.folder / other, text.encode("utf-8"))])
                return other
        raise NoSuchPlace(name)

    # -- text that is not saved ----------------------------------------------------------------------------------------

    def _draft_file(self, name: str) -> Path | None:
        folder = private_folder()
        key = hashlib.sha256(str(self.folder / name).encode("utf-8", "surrogateescape")).hexdigest()[:24]
        return folder / f"draft-{key}.json" if folder else None

    def keep(self, name: str, text: str, base: str) -> bool:
        """Keep text that is not saved; whether there is a place for it."""
        place = self._draft_file(name)
        if place is None:
            return False
        draft = {
            "format": "stitchc-draft/1",
            "folder": str(self.folder),
            "name": name,
            "text": text,
            "base": base,
            "at": time.time(),
        }
        with contextlib.suppress(files.FileTrouble):
            files.write_files([(place, json.dumps(draft).encode("utf-8", "surrogatepass"))], force=True, in_place=True)
            return True
        return False

    def draft(self, name: str) -> Draft | None:
        place = self._draft_file(name)
        return _draft_in(place) if place is not None and place.exists() else None

    def drafts(self) -> Iterator[Draft]:
        """All kept texts of this folder, the latest first."""
        folder = private_folder()
        drafts = [_draft_in(place, self.folder) for place in folder.glob("draft-*.json")] if folder else []
        yield from sorted((draft for draft in drafts if draft), key=lambda draft: -draft.saved_at)

    def forget(self, name: str) -> None:
        """Take away the kept text of a name: it is saved, or not wanted."""
        place = self._draft_file(name)
        if place is not None:
            files.remove(place)


def _draft_in(place: Path, folder: Path | None = None) -> Draft | None:
    try:
        kept = json.loads(place.read_bytes())
        if folder is not None and kept["folder"] != str(folder):
            return None
        return Draft(str(kept["name"]), str(kept["text"]), str(kept["base"]), float(kept["at"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def private_folder() -> Path | None:
    """Where the live page keeps what nobody else may read; None where the user has no place for it."""
    folder = files.cache_folder()
    return files.make_private_folder(folder / "live") if folder is not None else None


def _as_before(text: str, standing: bytes) -> bytes:
    """The text with the line ends and the byte-order mark of what stands there."""
    end = b"\r\n" if b"\r\n" in standing else b"\r" if b"\r" in standing and b"\n" not in standing else b"\n"
    content = text.encode("utf-8").replace(b"\n", end)
    return _MARK + content if standing.startswith(_MARK) else content
