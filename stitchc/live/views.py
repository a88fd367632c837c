"""What takes longer than a keystroke, for the worker: the products as the page shows them, and as files to take away.

Each product comes from the function that its command calls (`import stitchc`), and what the page shows is read from
the product's own JSON, so that page and command can't say different things.
"""

from __future__ import annotations

import base64
import dataclasses
import io
import json
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import stitchc
from stitchc import options as product_options
from stitchc.card.product import make_test_card
from stitchc.files import today
from stitchc.live.settings import OPTIONS, as_fields, in_page_words
from stitchc.live.worker import Made
from stitchc.machines import SHIPPED, Machine, load
from stitchc.messages import Message, Refused
from stitchc.notation import compile_text
from stitchc.pattern import Pattern
from stitchc.picture import FabricPicture, improve_fabric
from stitchc.product import Product, Progress, WrongOption, call, whole_stem
from stitchc.seal import finished
from stitchc.trace.values import KindToName, UnknownKinds

Part = Callable[[Any], None]

USUAL: Final = {
    "card": "card24-standard",
    "bitmap": "bitmap-standard",
    "sheet": "hand-standard",
    "piece": "hand-standard",
    "swatch": "hand-standard",
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
    machine = load(chosen) if chosen else None
    if machine is None or machine.reader != _NEEDS.get(product, machine.reader):
        return load(USUAL[product]) if product in USUAL else machine
    return machine


# -- asking a product --------------------------------------------------------------------------------------------------

_MAKE: Final = {
    "chart": "draw_chart",
    "picture": "draw_fabric",
    "gauge": "estimate_gauge",
    "card": "make_card",
    "bitmap": "make_bitmap",
    "sheet": "make_sheet",
    "piece": "plan_piece",
    "leaflet": "make_leaflet",
    "compare": "compare_stitches",
    "swatch": "plan_swatch",
}
"""The function of each product, as `stitchc` offers it."""


_relaxed: dict[str, bytes] = {}
"""Fabrics that were relaxed already, the latest of them."""
_MOST_RELAXED: Final = 60


@dataclasses.dataclass(frozen=True)
class Ask:
    """What the page asks about. machine: as `stitchc.machines.load` takes it, "" for none. settings: of each product,
    by its name, as the page's forms have them. part: takes what is there before the rest."""

    pattern: Pattern
    machine: str
    stitch: str
    settings: Mapping[str, Mapping[str, Any]]
    units: str
    progress: Progress
    part: Part

    def product(self, name: str, form: str = "", **fields: Any) -> tuple[Product[Any], Machine | None]:
        """The product in this form, and the machine it is made for. fields: of its options, over the settings."""
        kind = OPTIONS[name]
        options = kind(**as_fields(kind, self.settings.get(name, {}), form, self.units) | fields)
        machine = _machine_for(name, self.machine)
        make = make_test_card if name == "card" and options.test_card else getattr(stitchc, _MAKE[name])
        machines: list[Machine] = []
        if name == "leaflet":
            options = dataclasses.replace(options, date=today())
            machines = [machine] if machine else [load(each) for each in SHIPPED]
        product = call(
            make,
            pattern=self.pattern,
            patterns=[self.pattern],
            machine=machine,
            machines=machines,
            options=options,
            progress=self.progress,
            kept=_shelf(),
        )
        return product, machine


def _shelf() -> dict[str, bytes]:
    while len(_relaxed) > _MOST_RELAXED:
        del _relaxed[next(iter(_relaxed))]
    return _relaxed


# -- what the page shows -----------------------------------------------------------------------------------------------


def look(view: str, progress: Progress, part: Part, **given: Any) -> dict[str, Any]:
    """One view of the text, as the page shows it; `refused` has what keeps it from being made."""
    return _or_refused(lambda: _VIEWS[view](_asked(progress, part, **given)))


def _asked(
    progress: Progress,
    part: Part,
    text: str,
    file: str,
    folder: str,
    machine: str,
    stitch: str,
    settings: Mapping[str, Any],
    units: str,
) -> Ask:
    pattern = _pattern(text, file, folder)
    compare = settings.get("compare", {})
    if compare.get("against") not in _all_own(pattern):  # it has another name by now
        settings = {**settings, "compare": {**compare, "against": None}}
    return Ask(pattern, machine, stitch, settings, units, progress, part)


def _or_refused(work: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    try:
        return work()
    except _NotReady:
        return {"refused": ["The text has a mistake in it. Fix it first."]}
    except Refused as refused:
        return {"refused": [_words(message) for message in refused.messages if message.severity == "error"]}
    except (WrongOption, ValueError) as wrong:
        return {"refused": [in_page_words(str(wrong))]}


def _words(message: Message) -> str:
    whole = f"{message.text} {message.advice}" if message.advice and "\n" not in message.advice else message.text
    return in_page_words(whole)


def _document(product: Product[Any]) -> Any:
    """The JSON among the product's files."""
    return json.loads(next(file.content for file in product.files if file.name.endswith(".json")))


def _shared(product: Product[Any], machine: Machine | None) -> dict[str, Any]:
    return {
        "machine": machine.title if machine else None,
        "remarks": list(map(in_page_words, product.remarks)),
        "warnings": [in_page_words(message.text) for message in product.messages],
    }


def _fabric(ask: Ask) -> dict[str, Any]:
    """Both sides, coarse first and then finer."""

    def shown(product: Product[FabricPicture]) -> dict[str, Any]:
        picture = product.values[-1]
        sides: dict[str, Any] = {face: Made(f"{ask.stitch}-{face}.png", picture.png(face)) for face in picture.sides}
        return {**sides, **_shared(product, None)}

    given = as_fields(product_options.PictureOptions, ask.settings.get("picture", {}), "", ask.units)
    options = product_options.PictureOptions(
        **{**given, "stitches": (ask.stitch,), "face": "both", "px": 700, "dpi": None}
    )
    machine = _machine_for("picture", ask.machine)
    for product in improve_fabric(ask.pattern, machine, options, ask.progress, _shelf()):
        if not product.files:
            ask.part(shown(product))
    return shown(product)


def _gauge(ask: Ask) -> dict[str, Any]:
    product, _ = ask.product("gauge", "json", stitches=(ask.stitch,))
    document = _document(product)
    return {"baseline": document["baseline"], **document["stitches"][0], **_shared(product, None)}


def _card(ask: Ask) -> dict[str, Any]:
    product, machine = ask.product("card", "png", stitches=(ask.stitch,), dpi=100, paper="roll")
    document = _document(product)
    return {
        "picture": Made(product.files[0].name, product.files[0].content),
        "rows": document["rows"],
        "columns": document["columns"],
        "holes": sum(map(sum, document["holes"])),
        "hole_means": document["hole_means"],
        **_shared(product, machine),
    }


def _bitmap(ask: Ask) -> dict[str, Any]:
    product, machine = ask.product("bitmap", stitches=(ask.stitch,))
    return {"picture": Made(product.files[0].name, product.files[0].content), **_shared(product, machine)}


def _sheet(ask: Ask) -> dict[str, Any]:
    product, machine = ask.product("sheet", "json", stitches=(ask.stitch,))
    document = _document(product)
    passes = [{key: each[key] for key in ("row", "direction", "words", "moves")} for each in document["passes"]]
    return {
        "needles": document["needles"],
        "passes": passes[:_FIRST_PASSES],
        "totals": document["totals"],
        **_shared(product, machine),
    }


_OF_A_SIZE: Final = ("needles", "width_cm", "length_cm", "totals", "size_cm")
_OF_A_PIECE: Final = (*_OF_A_SIZE, "sections", "yarn", "notes", "so_far", "make", "yarn_of_all_pieces")


def _piece(ask: Ask) -> dict[str, Any]:
    pieces = []
    for name in ask.pattern.pieces:

        def planned(name: str = name) -> dict[str, Any]:
            product, machine = ask.product("piece", "json", piece=name)
            document = _document(product)
            kept = {key: document.get(key) for key in _OF_A_PIECE}
            sizes = [{key: each.get(key) for key in _OF_A_SIZE} for each in document.get("other_sizes") or []]
            return {**kept, "other_sizes": sizes, **_shared(product, machine)}

        pieces.append({**_or_refused(planned), "name": name})
    return {"pieces": pieces}


def _compare(ask: Ask) -> dict[str, Any]:
    product, _ = ask.product("compare", "json", stitches=_all_own(ask.pattern))
    return {"stitches": _document(product)["stitches"], **_shared(product, None)}


def _all_own(pattern: Pattern) -> tuple[str, ...]:
    """The file's own stitches, parts of others among them: whoever compares densities wants every one."""
    return tuple(stitch.name for stitch in pattern.own())


_VIEWS: Final[Mapping[str, Callable[[Ask], dict[str, Any]]]] = {
    "fabric": _fabric,
    "gauge": _gauge,
    "card": _card,
    "bitmap": _bitmap,
    "sheet": _sheet,
    "piece": _piece,
    "compare": _compare,
}


# -- what is taken away -----------------------------------------------------------------------------------------------


def make(product: str, form: str, piece: str, face: str, progress: Progress, **given: Any) -> dict[str, Any]:
    """The files of a product, byte for byte as its command writes them beside the pattern; of everything, packed."""

    def work() -> dict[str, Any]:
        ask = _asked(progress, lambda _: None, **given)
        if product == "everything":
            return _everything(ask)
        fields: dict[str, Any] = {"piece": piece} if piece else {}
        fields |= {"stitches": (ask.stitch,)} if ask.stitch and product not in ("piece", "leaflet") else {}
        fields |= {"stitches": _all_own(ask.pattern)} if product == "compare" else {}
        fields |= {"face": face} if face in ("purl", "knit") else {}
        made, _ = ask.product(product, form, **fields)
        files = [Made(each.name, finished(each.content, source=Path(ask.pattern.file).name)) for each in made.files]
        return {"files": files, "remarks": list(made.remarks), "warnings": [each.text for each in made.messages]}

    return _or_refused(work)


def _everything(ask: Ask) -> dict[str, Any]:
    """All that `stitchc build` makes in a folder beside the pattern, packed."""
    pattern, kind = ask.pattern, product_options.BuildOptions
    machines = [load(name) for name in ([ask.machine] if ask.machine else ONE_OF_EACH)]
    options = kind(**as_fields(kind, ask.settings.get("gauge", {}), "", ask.units), date=today())
    made = stitchc.build_pattern(pattern, machines, options, ask.progress, _shelf())
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in made.files:
            place = zipfile.ZipInfo(file.name, (1980, 1, 1, 0, 0, 0))
            archive.writestr(place, finished(file.content, source=f"../{Path(pattern.file).name}"))
    name = f"{whole_stem(pattern, 'all')}.zip"
    return {"files": [Made(name, content.getvalue())], "remarks": list(made.remarks), "warnings": []}


def trace(picture: bytes, name: str, settings: Mapping[str, Any]) -> dict[str, Any]:
    """The notation of a picture of a chart, with its doubts. settings: of the options, as the page's form has them."""

    def work() -> dict[str, Any]:
        kind = product_options.TraceOptions
        try:
            product = stitchc.trace_chart(picture, kind(**as_fields(kind, settings, "", "")), name)
        except UnknownKinds as unknown:
            return {"size": unknown.size, "kinds": [_kind_to_name(each) for each in unknown.kinds]}
        return {
            "text": product.files[0].content.decode("utf-8"),
            "doubts": [_words(message) for message in product.messages],
            "remarks": list(map(in_page_words, product.remarks)),
        }

    return _or_refused(work)


def _kind_to_name(kind: KindToName) -> dict[str, Any]:
    row, column = kind.place
    cut = f"data:image/png;base64,{base64.b64encode(kind.cut).decode()}"
    return {"cell": f"{row},{column}", "letter": kind.letter, "count": kind.cells, "picture": cut}


JOBS: Final[Mapping[str, Callable[[Mapping[str, Any], Progress, Part], Any]]] = {
    "look": lambda given, progress, part: look(progress=progress, part=part, **given),
    "make": lambda given, progress, part: make(progress=progress, **given),
    "trace": lambda given, progress, part: trace(**given),
}
