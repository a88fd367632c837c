"""Where a product goes: its messages and remarks to standard error, its texts to standard output, its files to disk.

Files are called after FILE and the stitch, in the current folder, unless -o names the file or the folder.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from stitchc.cli import common
from stitchc.messages import has_errors

if TYPE_CHECKING:
    from stitchc.product import File, Product

PRINTED: Final = ("text", "json", "sheet", "notation")
"""Forms that go to standard output where -o names no place."""


@dataclass(frozen=True)
class Target:
    """What -o, --force and the form mean together. path: as typed, None if it was not."""

    path: Path | None
    force: bool = False
    form: str = ""

    @property
    def prints(self) -> bool:
        return self.path is None and self.form in PRINTED

    @property
    def names_a_file(self) -> bool:
        """Whether -o names one file, and not a folder for what is made. A name without a known ending is a file for
        what could be printed as well, and a folder for pictures and pages."""
        if self.path is None or common.is_folder(self.path):
            return False
        return self.path.is_file() or self.path.suffix.lower() in common.ENDINGS or self.form in PRINTED

    def place(self, file: File, first: bool) -> Path:
        """Where a file of the product goes. first: it is the product's main file."""
        if not self.names_a_file or self.path is None:
            return (self.path or Path()) / file.name
        name, ending = Path(file.name), self.path.suffix.lower()
        same_form = common.ENDINGS.get(name.suffix) == common.ENDINGS.get(ending) if ending in common.ENDINGS else first
        return self.path if name.stem == self.path.stem and same_form else self.path.with_name(file.name)


def put_product(product: Product[Any], target: Target, sources: Mapping[str, Sequence[str]] | None = None) -> None:
    """Show the messages and remarks of a product, then print it or write its files (all or none). Leaves with 1 where
    an error kept a part of it from being made."""
    show_remarks(product, sources)
    if target.prints:
        common.put_text(_joined([file.content.decode("utf-8") for file in product.files]), None, False)
    else:
        contents = [(target.place(file, number == 0), file.content) for number, file in enumerate(product.files)]
        common.put_files(contents, target.force, signed=target.form != "notation")
    if has_errors(product.messages):
        raise SystemExit(1)


def show_remarks(product: Product[Any], sources: Mapping[str, Sequence[str]] | None = None) -> None:
    """Show the messages and remarks of a product, on standard error."""
    common.show(product.messages, sources)
    for remark in product.remarks:
        common.say(remark)


def _joined(texts: Sequence[str]) -> str:
    """Several texts one after another, each JSON document on a line of its own."""
    if len(texts) > 1 and all(text.startswith(("{", "[")) for text in texts):
        import json

        return "\n".join(json.dumps(json.loads(text), ensure_ascii=False) for text in texts)
    return "\n\n".join(text.rstrip("\n") for text in texts)
