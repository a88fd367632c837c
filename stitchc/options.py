"""What each product can be asked for: one frozen dataclass a product, each field with its option on the command line.

Only the standard library, so that it is light to import. A field is `Annotated[type, Option(…)]`: the type and the
default are the dataclass's own, `Option` adds what the command line needs (see `stitchc.cli.options`). A field without
an `Option` is for programs alone.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.gauge import PlainGauge


class Option:
    """How a field is given on the command line, and from the environment as STITCHC_ and the long flag's name.

    flags: "--dpi", or "--pictures/--no-pictures". help: a sentence. metavar: the word for the value in the help.
    low, high: bounds of a number, both allowed. default: words for what happens without the option, where the field's
    default does not say it. parse: "package.module:function" that makes the value of the text and raises ValueError
    with a sentence; of a field that takes several values it makes each. split: what separates several values in the
    environment (default: spaces). forms: the option is for these forms only. needs: the field that must be given with
    it. complete: "machine" or "file", what the shell completes.
    """

    def __init__(
        self,
        flags: str,
        help: str = "",
        *,
        metavar: str | None = None,
        low: float | None = None,
        high: float | None = None,
        default: str = "",
        parse: str = "",
        split: str | None = None,
        forms: tuple[str, ...] = (),
        needs: str = "",
        complete: str = "",
    ) -> None:
        self.flags, self.help, self.metavar, self.low, self.high = flags, help, metavar, low, high
        self.default, self.parse, self.split, self.forms = default, parse, split, forms
        self.needs, self.complete = needs, complete


# -- options that several products share ----------------------------------------------------------------------------

Units = Literal["cm", "in"]
Side = Literal["right", "left"]
Face = Literal["purl", "knit"]

_ONLY = "Only this stitch; repeat the option for several."
_NAME = "stitchc.notation.tree:composed"

StitchesOption = Annotated[
    tuple[str, ...],
    Option(
        "--stitch",
        _ONLY,
        metavar="NAME",
        parse=_NAME,
        default="every stitch that is not part of another; skipped ones are listed",
    ),
]
AllStitchesOption = Annotated[
    tuple[str, ...], Option("--stitch", _ONLY, metavar="NAME", parse=_NAME, default="every stitch that FILE defines")
]
PlainOption = Annotated[
    "PlainGauge | None",
    Option(
        "--plain",
        "Stitches x rows in 10 cm of stocking stitch, where the file gives none.",
        metavar="20x28",
        parse="stitchc.gauge.plain:parse_plain",
    ),
]
SpreadOption = Annotated[
    float | None,
    Option(
        "--spread",
        "How much two swatches that you knit in the same way differ.",
        metavar="PERCENT",
        low=0.5,
        high=20.0,
        default="learnt from repeated swatches; without any, 4",
    ),
]
UnitsOption = Annotated[Units, Option("--units", "Units of what is shown.")]
AnywayOption = Annotated[
    bool, Option("--anyway", "Continue despite knitting and machine errors; the output carries a warning.")
]
EveryRowOption = Annotated[
    bool,
    Option(
        "--every-row",
        "Show a line for every row. By default, text and PDF show a repeated group of rows once, with its row numbers "
        "or a box for each; HTML and JSON always show every row.",
    ),
]
CarriageOption = Annotated[Side, Option("--carriage", "Where the carriage stands before row 1.")]

_FORMAT = "The form of the output."
_BY_ENDING = "from the ending of -o, else {}"
"""The default of --format; the braces stand for the field's default."""


# -- one class a product --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CardOptions:
    """What `make_card` makes. name: what the file is called, without its ending; default: after the pattern's file
    and the stitch."""

    stitches: StitchesOption = ()
    form: Annotated[Literal["png", "pdf", "svg", "json", "text"], Option("--format", _FORMAT, default=_BY_ENDING)] = (
        "png"
    )
    rows: Annotated[
        int | None, Option("--rows", "The fewest rows that the card may have.", metavar="N", low=1, high=5000)
    ] = None
    paper: Annotated[
        Literal["a4", "letter", "a3", "roll"],
        Option("--paper", "The page; roll: one sheet as long as it must be."),
    ] = "a4"
    dpi: Annotated[int, Option("--dpi", "Resolution of the picture.", metavar="N", low=72, high=2400)] = 600
    scale_x: Annotated[
        float,
        Option(
            "--scale-x",
            "Correct the scale across the page: 100 divided by the length of the check rule in mm, as you measure it.",
            metavar="F",
            low=0.95,
            high=1.05,
        ),
    ] = 1.0
    scale_y: Annotated[
        float, Option("--scale-y", "Correct the scale down the page in the same way.", metavar="F", low=0.95, high=1.05)
    ] = 1.0
    start_row: Annotated[int, Option("--start-row", "The stitch's row to begin the card with.", metavar="N", low=1)] = 1
    shift: Annotated[
        int, Option("--shift", "Move the repeat N needles to the right (negative: to the left).", metavar="N")
    ] = 0
    each_row_twice: Annotated[
        bool,
        Option(
            "--each-row-twice",
            "For readers that can knit each card row twice: half the rows, where rows come in equal pairs.",
        ),
    ] = False
    ink: Annotated[
        Literal["full", "light"],
        Option("--ink", "How holes are drawn; light: rings with a dot to punch at, a tenth of the ink."),
    ] = "full"
    anyway: AnywayOption = False
    test_card: Annotated[
        bool,
        Option(
            "--test-card",
            "Without FILE: make a card to knit once, which shows how your reader mirrors, selects and reads.",
        ),
    ] = False
    name: str = ""


@dataclass(frozen=True)
class SheetOptions:
    """What `make_sheet` makes. name: as in CardOptions."""

    stitches: StitchesOption = ()
    needles: Annotated[
        "Needles | None",
        Option(
            "--needles",
            "Needles in work.",
            metavar="80|L40-R39",
            parse="stitchc.bed:Needles.parse",
            default="whole repeats and the edge needles, at least 24",
        ),
    ] = None
    rows: Annotated[
        int | None, Option("--rows", "Rows to knit.", metavar="N", low=1, high=100_000, default="one repeat")
    ] = None
    carriage: CarriageOption = "right"
    edge: Annotated[int, Option("--edge", "Needles at each end that always knit.", metavar="N", low=0, high=1000)] = 1
    cheapest: Annotated[
        bool,
        Option(
            "--cheapest",
            "Also show which start side and which shift of the repeat need the fewest moves. The sheet does not "
            "change.",
        ),
    ] = False
    every_row: EveryRowOption = False
    form: Annotated[Literal["text", "html", "pdf", "json"], Option("--format", _FORMAT, default=_BY_ENDING)] = "text"
    page: Annotated[Literal["a4", "letter"], Option("--page", "Page size of a PDF.", forms=("pdf",))] = "a4"
    anyway: AnywayOption = False
    name: str = ""


@dataclass(frozen=True)
class PieceOptions:
    """What `plan_piece` makes. sizes and so_far are texts as on the command line. name: as in CardOptions. for_others:
    it is read by people who have neither the pattern's file nor stitchc."""

    piece: Annotated[
        str | None, Option("--piece", "Which piece, where FILE has several.", metavar="NAME", parse=_NAME)
    ] = None
    plain: PlainOption = None
    spread: SpreadOption = None
    sizes: Annotated[
        str | None,
        Option(
            "--sizes",
            "Finished widths in the units of --units, instead of the one in FILE; several are shown in brackets.",
            metavar="48,52,56",
        ),
    ] = None
    so_far: Annotated[
        tuple[str, ...],
        Option(
            "--so-far",
            "The rows knitted so far and how long they measure at rest. Add `on the machine` if you measured there, "
            "and "
            '`in all` if that part ended with these rows. Or a width: "drift 40 stitches 21 cm". The rest is planned '
            "again. Repeat the option for several.",
            metavar='"drift 30 rows 7.1 cm"',
            parse=_NAME,
            split=";",
        ),
    ] = ()
    units: UnitsOption = "cm"
    every_row: EveryRowOption = False
    form: Annotated[Literal["text", "html", "pdf", "json"], Option("--format", _FORMAT, default=_BY_ENDING)] = "text"
    page: Annotated[Literal["a4", "letter"], Option("--page", "Page size of a PDF.", forms=("pdf",))] = "a4"
    anyway: AnywayOption = False
    name: str = ""
    for_others: bool = False


_DRAWN = ("svg", "png", "pdf", "html")


@dataclass(frozen=True)
class ChartOptions:
    """What `draw_chart` makes. name: as in CardOptions. columns: of the terminal, for letters."""

    stitches: AllStitchesOption = ()
    form: Annotated[
        Literal["text", "json", "svg", "png", "pdf", "html"], Option("--format", _FORMAT, default=_BY_ENDING)
    ] = "text"
    notation: Annotated[
        Literal["squared", "thread", "plain"],
        Option(
            "--notation",
            "Signs of a drawn chart: squared paper (ring or cross, dot, empty), the running thread, or plain signs.",
            forms=_DRAWN,
        ),
    ] = "squared"
    face: Annotated[
        Face,
        Option(
            "--face",
            "The side of the fabric that a drawn chart shows; on the knit side, left and right are exchanged.",
            forms=_DRAWN,
        ),
    ] = "purl"
    carriage: Annotated[
        Side,
        Option(
            "--carriage",
            "Where the carriage stands before row 1: each row number stands at the side where the row starts.",
            forms=_DRAWN,
        ),
    ] = "right"
    repeats: Annotated[
        tuple[int, int] | None,
        Option(
            "--repeats",
            "How often to show the repeat, across and up.",
            metavar="AxB",
            parse="stitchc.values:repeats",
            default="enough for 10 cells each way",
            forms=_DRAWN,
        ),
    ] = None
    cell_mm: Annotated[
        float | None,
        Option(
            "--cell-mm",
            "Side of a cell.",
            metavar="MM",
            low=2,
            high=20,
            default="3 to 6, to fit the page",
            forms=_DRAWN,
        ),
    ] = None
    paper: Annotated[
        Literal["roll", "a4", "letter", "a3"] | None,
        Option(
            "--paper",
            "Page of a drawn chart; roll: one sheet as large as it must be.",
            default="a4 for PDF, else roll",
            forms=_DRAWN,
        ),
    ] = None
    dpi: Annotated[
        int | None,
        Option(
            "--dpi",
            "Pixels per inch of a PNG.",
            metavar="N",
            low=72,
            high=1200,
            default="200, or fewer where the picture would be too large",
            forms=_DRAWN,
        ),
    ] = None
    name: str = ""
    columns: int = 120


@dataclass(frozen=True)
class BitmapOptions:
    """What `make_bitmap` makes. name: as in CardOptions."""

    stitches: StitchesOption = ()
    needles: Annotated[
        "Needles | None",
        Option(
            "--needles",
            "Needles in work.",
            metavar="80|L40-R39",
            parse="stitchc.bed:Needles.parse",
            default="one repeat",
        ),
    ] = None
    rows: Annotated[
        int | None, Option("--rows", "Rows of the picture.", metavar="N", low=1, high=1_000_000, default="one repeat")
    ] = None
    edge: Annotated[
        int,
        Option(
            "--edge",
            "Needles at each end that always knit, with --needles.",
            metavar="N",
            low=0,
            high=100,
            needs="needles",
        ),
    ] = 0
    first_row: Annotated[
        Literal["bottom", "top"] | None,
        Option("--first-row", "Where row 1 is.", default="as the machine's profile says"),
    ] = None
    seen_from: Annotated[
        Face | None,
        Option(
            "--seen-from",
            "The side shown: purl as you face the bed, knit with left and right exchanged.",
            default="as the machine's profile says",
        ),
    ] = None
    dark: Annotated[
        Literal["knit", "hold"] | None,
        Option("--dark", "What a dark pixel does.", default="as the machine's profile says"),
    ] = None
    form: Literal["png"] = "png"
    anyway: AnywayOption = False
    name: str = ""


@dataclass(frozen=True)
class GaugeOptions:
    """What `estimate_gauge` makes. book is for the command alone. name: as in CardOptions."""

    stitches: AllStitchesOption = ()
    plain: PlainOption = None
    spread: SpreadOption = None
    book: Annotated[
        str | None,
        Option(
            "--book",
            "Also use the swatches of this file, knitted in the same yarn.",
            metavar="FILE",
            complete="file",
        ),
    ] = None
    evidence: Annotated[bool, Option("--evidence", "Also show the data behind each estimate.", forms=("text",))] = False
    mechanics: Annotated[
        bool,
        Option(
            "--mechanics",
            "Add a second opinion, calculated loop by loop from the mechanics of yarn.",
        ),
    ] = False
    units: UnitsOption = "cm"
    form: Annotated[Literal["text", "json"], Option("--format", _FORMAT, default=_BY_ENDING)] = "text"
    name: str = ""


Sort = Literal["rows", "width", "weight", "moves", "holes", "name", "file"]


@dataclass(frozen=True)
class CompareOptions:
    """What `compare_stitches` makes. name: as in CardOptions."""

    stitches: StitchesOption = ()
    sort: Annotated[
        Sort,
        Option(
            "--sort",
            "Longest first (rows), widest first (width), fewest or lightest first (weight, moves, holes), by name, or "
            "in the order of the files (file).",
        ),
    ] = "rows"
    sweep: Annotated[
        bool,
        Option(
            "--sweep",
            "Compare a family made from one repeat: 1 needle in 2, 3, 4, 6, 8 held for 1 to 4 rows, in tuck and in "
            "slip.",
        ),
    ] = False
    against: Annotated[
        str | None,
        Option(
            "--against",
            "Show the ratios to this stitch, and how often the others are wider and longer.",
            metavar="NAME",
            parse=_NAME,
        ),
    ] = None
    plain: PlainOption = None
    spread: SpreadOption = None
    units: UnitsOption = "cm"
    form: Annotated[Literal["text", "json", "png"], Option("--format", _FORMAT, default=_BY_ENDING)] = "text"
    name: str = ""


@dataclass(frozen=True)
class SwatchOptions:
    """What `plan_swatch` makes. measured is for the command alone. name: as in CardOptions."""

    stitches: StitchesOption = ()
    measured: Annotated[
        tuple[str, ...],
        Option(
            "--measured",
            "Do not plan: add this swatch, with today's date, to the file that it belongs to. Counts are over 10 cm "
            "(with "
            '--units in, over 4 in), unless you write the length: "drift 38 stitches per 20 cm". Repeat the option '
            "for several.",
            metavar='"drift 17.5 x 41"',
            parse=_NAME,
            split=";",
        ),
    ] = ()
    within: Annotated[
        float,
        Option(
            "--within",
            "The largest error of the measured gauge that reading the tape may cause.",
            metavar="PERCENT",
            low=0.2,
            high=20.0,
        ),
    ] = 2.0
    plain: PlainOption = None
    units: UnitsOption = "cm"
    form: Annotated[Literal["text", "sheet", "html", "json"], Option("--format", _FORMAT, default=_BY_ENDING)] = "text"
    anyway: AnywayOption = False
    name: str = ""


@dataclass(frozen=True)
class PictureOptions:
    """What `draw_fabric` makes. size is a text as on the command line. name: as in CardOptions."""

    stitches: StitchesOption = ()
    face: Annotated[
        Literal["both", "purl", "knit"],
        Option(
            "--face",
            "The side shown: purl (toward you at the machine), knit (the other side), or both in one picture.",
        ),
    ] = "both"
    size: Annotated[
        str | None,
        Option(
            "--size",
            "Fabric shown, in the units of --units: 10x10; or in repeats: '2x3 repeats'.",
            metavar="WxH",
            default="at least 16 stitches and two repeats",
        ),
    ] = None
    px: Annotated[
        int | None,
        Option(
            "--px", "Width of the fabric in pixels.", metavar="N", low=100, high=12_000, default="about 60 a stitch"
        ),
    ] = None
    dpi: Annotated[
        int | None,
        Option("--dpi", "Resolution instead of --px: the picture prints life size.", metavar="N", low=20, high=2400),
    ] = None
    plain: PlainOption = None
    units: UnitsOption = "cm"
    form: Literal["png"] = "png"
    name: str = ""


Meaning = Literal["knit", "tuck", "slip"]


@dataclass(frozen=True)
class TraceOptions:
    """What `trace_chart` makes. Colours: red, green, blue, 0 to 255; codes of letters: as in stitchc.chart."""

    dark: Annotated[
        Meaning | None,
        Option(
            "--dark",
            "What a dark or marked cell means. Marks are then told apart by their look, not read as signs.",
            default="tuck",
        ),
    ] = None
    light: Annotated[
        Meaning | None, Option("--light", "What a blank cell means.", default="knit, or tuck where dark is knit")
    ] = None
    colours: Annotated[
        tuple[tuple[tuple[int, int, int], int], ...],
        Option(
            "--colour",
            "What a colour means, as in #c03030=S; repeat the option for several.",
            metavar="#RRGGBB=LETTER",
            parse="stitchc.values:colour_meaning",
        ),
    ] = ()
    alike: Annotated[
        tuple[tuple[tuple[int, int], int], ...],
        Option(
            "--like",
            "What all cells that look like this one mean, as in 3,7=T; repeat the option for several.",
            metavar="ROW,COLUMN=LETTER",
            parse="stitchc.values:cell_meaning",
        ),
    ] = ()
    notation: Annotated[
        Literal["auto", "squared", "thread", "plain", "marks"],
        Option(
            "--notation",
            "The signs in the cells, as `stitchc chart` draws them; marks: any others, told apart by their look.",
        ),
    ] = "auto"
    face: Annotated[
        Face | None,
        Option(
            "--face",
            "The side of the fabric that the picture shows.",
            default="from the file or the signs, else purl",
        ),
    ] = None
    first_row: Annotated[
        Literal["bottom", "top"] | None,
        Option("--first-row", "Where row 1 stands.", default="bottom, or as a picture of stitchc bitmap says"),
    ] = None
    grid: Annotated[
        Literal["auto", "lines", "pixels", "even"],
        Option(
            "--grid",
            "lines: look for a grid; pixels: each pixel or block is a cell; even: divide the picture into --cells.",
        ),
    ] = "auto"
    cells: Annotated[
        tuple[int, int] | None,
        Option("--cells", "How many columns and rows there are.", metavar="WxH", parse="stitchc.values:size"),
    ] = None
    box: Annotated[
        tuple[int, int, int, int] | None,
        Option(
            "--box",
            "The part of the picture to look at: left, top, right, bottom in pixels.",
            metavar="L,T,R,B",
            parse="stitchc.values:box",
        ),
    ] = None
    repeat: Annotated[
        tuple[int, int] | Literal["smallest", "whole"],
        Option(
            "--repeat",
            "What to write: the smallest repeat, the whole chart, or a repeat of this size, where each cell is what "
            "most copies show.",
            metavar="smallest|whole|WxH",
            parse="stitchc.values:repeat_wanted",
        ),
    ] = "smallest"
    sure: Annotated[
        float, Option("--sure", "List cells below this certainty.", metavar="SHARE", low=0.34, high=1.0)
    ] = 0.9
    stitch_name: Annotated[
        str | None,
        Option("--name", "The stitch's name.", metavar="NAME", default="made from the picture's name"),
    ] = None
    form: Annotated[Literal["notation", "json"], Option("--format", _FORMAT, default=_BY_ENDING)] = "notation"
    name: str = ""


@dataclass(frozen=True)
class BuildOptions:
    """What `stitchc build` makes of a pattern for each machine."""

    stitches: StitchesOption = ()
    plain: PlainOption = None
    pictures: Annotated[
        bool, Option("--pictures/--no-pictures", "Draw the fabric (the slowest part).", default="--pictures")
    ] = True
    units: UnitsOption = "cm"
    anyway: AnywayOption = False
