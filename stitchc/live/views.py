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
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import stitchc
from stitchc import options as product_options
from stitchc.card.product import make_test_card
from stitchc.compare.table import Compared
from stitchc.english import listed
from stitchc.files import today
from stitchc.gauge import Range, StitchGauge
from stitchc.gauge.report import brackets
from stitchc.live.settings import OPTIONS, as_fields
from stitchc.live.words import PAGE, message_json, refusal_json, sentence_json
from stitchc.live.worker import Made
from stitchc.machines import SHIPPED, Machine, load
from stitchc.messages import Refused
from stitchc.notation import compile_text
from stitchc.pattern import Pattern
from stitchc.picture import FabricPicture, improve_fabric
from stitchc.piece.plan import Plan
from stitchc.piece.size_words import CM_PER_INCH
from stitchc.product import Product, Progress, WrongOption, call, whole_stem
from stitchc.seal import finished
from stitchc.trace.traced import KindToName, UnknownKinds
from stitchc.wording import worded

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
_drawn: dict[str, FabricPicture] = {}
"""Pictures of fabrics that were shown already, the latest of them: most of what is written changes no fabric."""
_MOST_DRAWN: Final = 8


@dataclasses.dataclass(frozen=True)
class Ask:
    """What the page asks about. machine: as `stitchc.machines.load` takes it, "" for none. settings: of each product,
    by its name, as the page's forms have them; under "own", by their names, of each stitch or piece alone. part: takes
    what is there before the rest."""

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
        given = settings_of(self.settings, name, fields.get("piece") or self.stitch)
        if name == "piece":
            fields["sizes_of_others"] = tuple(
                (piece, str(sizes))
                for piece in self.pattern.pieces
                if (sizes := settings_of(self.settings, name, piece).get("sizes"))
            )
        options = kind(**as_fields(kind, given, form, self.units) | fields)
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


def settings_of(settings: Mapping[str, Any], product: str, owner: str) -> dict[str, Any]:
    """What is set for a product of this stitch or piece: for all of them, and over it for this one."""
    common = settings.get(product, {})
    return {**common, **common.get("own", {}).get(owner, {})}


def _shelf() -> dict[str, bytes]:
    while len(_relaxed) > _MOST_RELAXED:
        del _relaxed[next(iter(_relaxed))]
    return _relaxed


# -- what the page shows -----------------------------------------------------------------------------------------------


@worded(PAGE)
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
        return {"refused": [sentence_json("The text has a mistake in it. Fix it first.")]}
    except Refused as refused:
        return {"refused": refusal_json(refused)}
    except (WrongOption, ValueError) as wrong:
        return {"refused": [sentence_json(str(wrong))]}


def _document(product: Product[Any]) -> Any:
    """The JSON among the product's files."""
    return json.loads(next(file.content for file in product.files if file.name.endswith(".json")))


def _shared(product: Product[Any], machine: Machine | None) -> dict[str, Any]:
    return {
        "machine": machine.title if machine else None,
        "remarks": list(product.remarks),
        "warnings": [message.text for message in product.messages],
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
    for product in improve_fabric(ask.pattern, machine, options, ask.progress, _shelf(), _drawn):
        if product.values[-1].done < 1:
            ask.part(shown(product))
    while len(_drawn) > _MOST_DRAWN:
        del _drawn[next(iter(_drawn))]
    return shown(product)


def _gauge(ask: Ask) -> dict[str, Any]:
    product, _ = ask.product("gauge", "json", stitches=(ask.stitch,))
    document = _document(product)
    first, *in_yarns = product.values
    # A stitch that only the pieces give a yarn has no size of its own where each yarn has a gauge of its own.
    shown = [*([] if in_yarns and first.stitches_per_10cm is None else [first]), *in_yarns]
    figures = [
        (f"{gauge.name}: {head}" if in_yarns else head, figure)
        for gauge in shown
        for head, figure in _sizes_of(gauge, ask.units)
    ]
    words = next(each["words"] for each in document["stitches"] if each["name"] == shown[0].name)
    bases = [gauge.basis_words + (f" ({gauge.name})" if in_yarns else "") for gauge in shown]
    kept = {"words": words, "basis": listed(bases)}
    return {"baseline": document["baseline"], **kept, "figures": figures, **_shared(product, None)}


def _sizes_of(gauge: StitchGauge, units: str) -> Iterator[tuple[str, str]]:
    """Heads and figures: counts to 10 cm (4 in), and 100 needles and rows, or what is known against stocking stitch."""
    per, cm = ("4 in", 10.16) if units == "in" else ("10 cm", 10.0)
    across = f"{gauge.counted.capitalize()} to {per}{gauge.counted_how.removeprefix(gauge.counted)}"
    for head, count in ((across, gauge.stitches_per_10cm), (f"Rows to {per}", gauge.rows_per_10cm)):
        if count is not None:
            yield head, _in_one_line(count.times(cm / 10), 1)
    wide, long = gauge.stitches_per_10cm, gauge.rows_per_10cm
    if wide is not None and long is not None:
        yield "100 needles", f"{_length(wide.under(1000), units)} wide"
        yield "100 rows", f"{_length(long.under(1000), units)} long"
    elif gauge.stitch_factor is not None and gauge.row_factor is not None:
        how = gauge.counted_how
        yield f"{how[0].upper()}{how[1:]}", f"{_in_one_line(gauge.stitch_factor, 2)} times stocking stitch"
        yield "Rows", f"{_in_one_line(gauge.row_factor, 2)} times stocking stitch"


def _in_one_line(size: Range, digits: int) -> str:
    """As the commands write it, with no-break spaces."""
    return brackets(size, digits).replace(" ", "\N{NO-BREAK SPACE}")


def _length(cm: Range | None, units: str) -> str:
    """As the commands round it; of what is not known, what to do."""
    if cm is None:
        return "not known: enter a swatch"
    return f"{_in_one_line(cm.times(1 / CM_PER_INCH) if units == 'in' else cm, 1)} {'in' if units == 'in' else 'cm'}"


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


_OF_A_PIECE: Final = ("needles", "totals", "size", "size_cm", "yarn", "notes", "so_far", "make", "yarn_of_all_pieces")


def _piece(ask: Ask) -> dict[str, Any]:
    pieces = []
    for name in ask.pattern.pieces:

        def planned(name: str = name) -> dict[str, Any]:
            product, machine = ask.product("piece", "json", piece=name)
            document = _document(product)
            several = isinstance(document, list)  # sizes that were asked for
            documents = document if several else [document, *(document.get("other_sizes") or [])]
            first, *others = (
                _planned(plan, each, ask.units) for plan, each in zip(product.values, documents, strict=True)
            )
            return {**first, "other_sizes": others, **_shared(product, machine)}

        pieces.append({**_or_refused(planned), "name": name})
    return {"pieces": pieces}


def _planned(plan: Plan, document: Mapping[str, Any], units: str) -> dict[str, Any]:
    """A piece in one size, with its measures in words."""
    sections = [
        {
            **{key: getattr(each, key) for key in ("stitch", "rows", "from_row", "to_row")},
            "length": _length(plan.length_of(each), units),
            "part": plan.parts.index(each) + 1 if each.step is not None else None,
        }
        for each in plan.sections
    ]
    measures = {"width": _length(plan.width_cm, units), "length": _length(plan.length_cm, units)}
    return {**{key: document.get(key) for key in _OF_A_PIECE}, "sections": sections, **measures}


def _compare(ask: Ask) -> dict[str, Any]:
    """The comparison as a table; its figures are those of the command, as shares of stocking stitch without a gauge."""
    product, _ = ask.product("compare", "json", stitches=_all_own(ask.pattern))
    lines, documents = product.values, _document(product)["stitches"]
    known = all(line.size_cm is not None for line in lines)
    against = next((each["against"]["name"] for each in documents if "against" in each), "")
    unit = "in" if ask.units == "in" else "cm"
    sizes = (f"Width of 100 needles, {unit}", f"Length of 100 rows, {unit}")
    heads = ["Stitch", *(sizes if known else ("Width against stocking stitch", "Length against stocking stitch"))]
    heads += [f"Width against {against}", f"Length against {against}"] if against else []
    rows = [
        [line.stitch.name, *_compared(line, known, unit), *(_ratios(each) if against else ()), line.gauge.basis_words]
        for line, each in zip(lines, documents, strict=True)
    ]
    return {"heads": [*heads, "Basis"], "rows": rows, "against": against, **_shared(product, None)}


def _compared(line: Compared, known: bool, unit: str) -> Iterator[str]:
    for size, factor in zip(
        line.size_cm or (None, None), (line.gauge.stitch_factor, line.gauge.row_factor), strict=True
    ):
        if known and size is not None:
            yield _in_one_line(size.times(1 / CM_PER_INCH) if unit == "in" else size, 1)
        else:
            yield "not known" if factor is None else _in_one_line(factor.under(1), 2)


def _ratios(document: Mapping[str, Any]) -> Iterator[str]:
    """How much as wide and as long as the stitch that it is compared with; nothing of that stitch itself."""
    against = document.get("against")
    for which, word, often in (("width_ratio", "wider", "wider_in_100"), ("length_ratio", "longer", "longer_in_100")):
        yield f"{_in_one_line(Range(**against[which]), 2)}, {word} in {against[often]} of 100" if against else ""


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


@worded(PAGE)
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


@worded(PAGE)
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
            "doubts": list(map(message_json, product.messages)),
            "remarks": list(map(sentence_json, product.remarks)),
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
