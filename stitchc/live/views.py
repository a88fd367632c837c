"""What takes longer than a keystroke, for the worker: the products as the page shows them, and as files to take away.

Each product comes from the function that its command calls (`import stitchc`), and what the page shows is read from
the product's own JSON, so that page and command can't say different things.
"""

from __future__ import annotations

import dataclasses
import importlib
import importlib.util
import io
import json
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from stitchc import options as product_options
from stitchc.live.values import Made
from stitchc.messages import Message, Refused
from stitchc.notation import compile_text
from stitchc.product import Product, Progress, WrongOption, whole_stem
from stitchc.seal import finished

if TYPE_CHECKING:
    from stitchc.machines import Machine
    from stitchc.pattern import Pattern

Part = Callable[[Any], None]

USUAL: Final = {
    "card": "card24-standard",
    "bitmap": "bitmap-standard",
    "sheet": "hand-standard",
    "piece": "hand-standard",
}
"""The machine of a product where the chosen one can't use it, or none is chosen; as the commands have it."""
ONE_OF_EACH: Final = ("hand-standard", "card24-standard", "bitmap-standard")
"""What everything is made for where no machine is chosen."""
_NEEDS: Final = {"card": "card", "bitmap": "bitmap"}
_FIRST_PASSES: Final = 12


class _NotReady(Exception):
    """The text has an error, so that nothing follows from it."""


# -- the pattern and the machine ---------------------------------------------------------------------------------------

_last: dict[tuple[str, str, str], Pattern] = {}


def _pattern(text: str, file: str, folder: str) -> Pattern:
    """The text compiled; the last one is kept, since several views are asked of it."""
    key = text, file, folder
    if key not in _last:
        pattern = compile_text(text, file, Path(folder)).pattern
        if pattern is None:
            raise _NotReady
        _last.clear()
        _last[key] = pattern
    return _last[key]


def _machine_for(product: str, chosen: str) -> Machine | None:
    """The chosen machine, or the usual one where it can't use this product."""
    from stitchc.machines import load

    machine = load(chosen) if chosen else None
    if machine is None or machine.reader != _NEEDS.get(product, machine.reader):
        return load(USUAL[product]) if product in USUAL else machine
    return machine


# -- asking a product --------------------------------------------------------------------------------------------------

_HOMES: Final = {
    "chart": ("stitchc.drawn.product", "draw_chart", product_options.ChartOptions),
    "picture": ("stitchc.picture", "draw_fabric", product_options.PictureOptions),
    "gauge": ("stitchc.gauge.product", "estimate_gauge", product_options.GaugeOptions),
    "card": ("stitchc.card.product", "make_card", product_options.CardOptions),
    "bitmap": ("stitchc.bitmap", "make_bitmap", product_options.BitmapOptions),
    "sheet": ("stitchc.sheet.product", "make_sheet", product_options.SheetOptions),
    "piece": ("stitchc.piece.product", "plan_piece", product_options.PieceOptions),
    "compare": ("stitchc.compare.product", "compare_stitches", product_options.CompareOptions),
    "swatch": ("stitchc.swatch.product", "plan_swatch", product_options.SwatchOptions),
    "trace": ("stitchc.trace.product", "trace_chart", product_options.TraceOptions),
}
READY: Final = tuple(name for name, (module, *_) in _HOMES.items() if importlib.util.find_spec(module))
"""Products that can be asked for as values."""
_WITH_PROGRESS: Final = ("chart", "card", "bitmap")

_relaxed: dict[str, bytes] = {}
"""Fabrics that were relaxed already, the latest of them."""
_MOST_RELAXED: Final = 60


def _ask(
    product: str, pattern: Pattern, machine: str, settings: Mapping[str, Any], progress: Progress
) -> tuple[Product[Any], Machine | None]:
    """The product, and the machine it was made for."""
    options = _HOMES[product][2](**settings)
    chosen = _machine_for(product, machine)
    return _called(product, pattern, chosen, options, progress), chosen


def _called(product: str, pattern: Pattern, machine: Machine | None, options: Any, progress: Progress) -> Product[Any]:
    module, name, _ = _HOMES[product]
    function = getattr(importlib.import_module(module), name)
    made: Product[Any]
    if product == "gauge":
        made = function(pattern, options, progress)
    elif product == "picture":
        made = function(pattern, machine, options, progress, _shelf())
    elif product == "compare":
        made = function([pattern], machine, options)
    elif product in _WITH_PROGRESS:
        made = function(pattern, machine, options, progress)
    else:
        made = function(pattern, machine, options)
    return made


def _shelf() -> dict[str, bytes]:
    while len(_relaxed) > _MOST_RELAXED:
        del _relaxed[next(iter(_relaxed))]
    return _relaxed


def _settings(product: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Settings from the page as the fields of the product's options. Raises ValueError with a sentence."""
    kind = _HOMES[product][2]
    fields = {field.name for field in dataclasses.fields(kind)}
    out: dict[str, Any] = {}
    for key, value in given.items():
        if key not in fields:
            raise ValueError(f"There is no setting {key}.")
        out[key] = tuple(value) if isinstance(value, list) else value
    return out


# -- what the page shows -----------------------------------------------------------------------------------------------


def look(
    text: str,
    file: str,
    folder: str,
    machine: str,
    stitch: str,
    view: str,
    progress: Progress,
    part: Part,
) -> dict[str, Any]:
    """One view of the text, as the page shows it; `refused` has what keeps it from being made."""
    try:
        pattern = _pattern(text, file, folder)
        return _VIEWS[view](pattern, machine, stitch, progress, part)
    except _NotReady:
        return {"refused": ["The text has a mistake in it."]}
    except Refused as refused:
        return {"refused": [_words(message) for message in refused.messages if message.severity == "error"]}
    except WrongOption as wrong:
        return {"refused": [str(wrong)]}


def _words(message: Message) -> str:
    return f"{message.text} {message.cure}" if message.cure and "\n" not in message.cure else message.text


def _document(product: Product[Any]) -> Any:
    """The JSON among the product's files."""
    return json.loads(next(file.content for file in product.files if file.name.endswith(".json")))


def _shared(product: Product[Any], machine: Machine | None) -> dict[str, Any]:
    return {
        "machine": machine.title if machine else None,
        "remarks": list(product.remarks),
        "warnings": [message.text for message in product.messages],
    }


def _fabric(pattern: Pattern, machine: str, stitch: str, progress: Progress, part: Part) -> dict[str, Any]:
    """Both sides, coarse first and then finer."""
    from stitchc.picture import FabricPicture, improve_fabric

    def shown(product: Product[FabricPicture]) -> dict[str, Any]:
        picture = product.values[-1]
        sides: dict[str, Any] = {face: Made(f"{stitch}-{face}.png", picture.png(face)) for face in picture.sides}
        return {**sides, **_shared(product, None)}

    options = product_options.PictureOptions((stitch,), px=700)
    for product in improve_fabric(pattern, _machine_for("picture", machine), options, progress, _shelf()):
        if not product.files:
            part(shown(product))
    return shown(product)


def _gauge(pattern: Pattern, machine: str, stitch: str, progress: Progress, part: Part) -> dict[str, Any]:
    product, _ = _ask("gauge", pattern, machine, {"stitches": (stitch,), "form": "json"}, progress)
    document = _document(product)
    return {"baseline": document["baseline"], **document["stitches"][0], **_shared(product, None)}


def _card(pattern: Pattern, machine: str, stitch: str, progress: Progress, part: Part) -> dict[str, Any]:
    wanted = {"stitches": (stitch,), "form": "png", "dpi": 100, "paper": "roll"}
    product, made_for = _ask("card", pattern, machine, wanted, progress)
    document = _document(product)
    picture = product.files[0]
    return {
        "picture": Made(picture.name, picture.content),
        "rows": document["rows"],
        "columns": document["columns"],
        "holes": sum(map(sum, document["holes"])),
        "hole_means": document["hole_means"],
        "size_mm": document["size_mm"],
        **_shared(product, made_for),
    }


def _bitmap(pattern: Pattern, machine: str, stitch: str, progress: Progress, part: Part) -> dict[str, Any]:
    product, made_for = _ask("bitmap", pattern, machine, {"stitches": (stitch,)}, progress)
    return {"picture": Made(product.files[0].name, product.files[0].content), **_shared(product, made_for)}


def _sheet(pattern: Pattern, machine: str, stitch: str, progress: Progress, part: Part) -> dict[str, Any]:
    product, made_for = _ask("sheet", pattern, machine, {"stitches": (stitch,), "form": "json"}, progress)
    document = _document(product)
    passes = [{key: each[key] for key in ("row", "direction", "words", "moves")} for each in document["passes"]]
    return {
        "needles": document["needles"],
        "passes": passes[:_FIRST_PASSES],
        "totals": document["totals"],
        **_shared(product, made_for),
    }


def _piece(pattern: Pattern, machine: str, stitch: str, progress: Progress, part: Part) -> dict[str, Any]:
    pieces = []
    for name in pattern.pieces:
        try:
            product, made_for = _ask("piece", pattern, machine, {"piece": name, "form": "json"}, progress)
            document = _document(product)
            kept = {key: document.get(key) for key in ("needles", "width_cm", "length_cm", "sections", "yarn", "notes")}
            pieces.append({"name": name, **kept, **_shared(product, made_for)})
        except Refused as refused:
            pieces.append({"name": name, "refused": [_words(m) for m in refused.messages if m.severity == "error"]})
    return {"pieces": pieces}


def _compare(pattern: Pattern, machine: str, stitch: str, progress: Progress, part: Part) -> dict[str, Any]:
    product, _ = _ask("compare", pattern, machine, {"form": "json"}, progress)
    return {"stitches": _document(product)["stitches"], **_shared(product, None)}


_VIEWS: Final = {
    "fabric": _fabric,
    "gauge": _gauge,
    "card": _card,
    "bitmap": _bitmap,
    "sheet": _sheet,
    "piece": _piece,
    "compare": _compare,
}


# -- what is taken away -----------------------------------------------------------------------------------------------


def make(
    text: str,
    file: str,
    folder: str,
    machine: str,
    product: str,
    stitch: str,
    settings: Mapping[str, Any],
    progress: Progress,
) -> dict[str, Any]:
    """The files of a product, byte for byte as its command writes them; of everything, in one packed folder."""
    try:
        pattern = _pattern(text, file, folder)
        if product == "everything":
            return _everything(pattern, machine, progress)
        asked = dict(settings)
        if stitch and product != "piece":
            asked["stitches"] = (stitch,)
        made, _ = _ask(product, pattern, machine, _settings(product, asked), progress)
    except _NotReady:
        return {"refused": ["The text has a mistake in it. Fix it first."]}
    except Refused as refused:
        return {"refused": [_words(message) for message in refused.messages if message.severity == "error"]}
    except (WrongOption, ValueError) as wrong:
        return {"refused": [str(wrong)]}
    files = [Made(each.name, finished(each.content, source=Path(file).name)) for each in made.files]
    return {"files": files, "remarks": list(made.remarks), "warnings": [message.text for message in made.messages]}


def _everything(pattern: Pattern, machine: str, progress: Progress) -> dict[str, Any]:
    """All that `stitchc build` makes, in one packed folder."""
    from stitchc.gallery.build import build_pattern
    from stitchc.machines import load

    machines = [load(name) for name in ([machine] if machine else ONE_OF_EACH)]
    made = build_pattern(pattern, machines, product_options.BuildOptions(), progress)
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in made.files:
            place = zipfile.ZipInfo(file.name, (1980, 1, 1, 0, 0, 0))
            archive.writestr(place, finished(file.content, source=Path(pattern.file).name))
    name = f"{whole_stem(pattern, 'all')}.zip"
    return {"files": [Made(name, content.getvalue())], "remarks": list(made.remarks), "warnings": []}


def trace(picture: bytes, name: str) -> dict[str, Any]:
    """The notation of a picture of a chart, with its doubts."""
    try:
        trace_chart = importlib.import_module(_HOMES["trace"][0]).trace_chart
        product = trace_chart(picture, product_options.TraceOptions(), name)
    except Refused as refused:
        return {"refused": [_words(message) for message in refused.messages if message.severity == "error"]}
    return {
        "text": product.files[0].content.decode("utf-8"),
        "doubts": [_words(message) for message in product.messages],
        "remarks": list(product.remarks),
    }


JOBS: Final[Mapping[str, Callable[[Mapping[str, Any], Progress, Part], Any]]] = {
    "look": lambda given, progress, part: look(**given, progress=progress, part=part),
    "make": lambda given, progress, part: make(**given, progress=progress),
    "trace": lambda given, progress, part: trace(**given),
}
