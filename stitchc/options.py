"""What each product can be asked for: one frozen dataclass a product, each field with its option on the command line.

Only the standard library, so that it is light to import. `field: type = option(default, help, …)`: the type and the
default are the dataclass's own, the rest is what the command line and the live page need to ask for it (see
`stitchc.cli.options`, `stitchc.live.settings`). A plain field is for programs alone.
"""

# ruff: noqa: RUF009 (what these calls return is a field)
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Literal

from stitchc.option import NAME, Checked, chosen_book, chosen_form, chosen_spread, chosen_stitches, each_stitch, option

if TYPE_CHECKING:
    from stitchc.bed import Needles
    from stitchc.gauge import PlainGauge


# -- options that several products share ----------------------------------------------------------------------------

Units = Literal["cm", "in"]
Side = Literal["right", "left"]
YarnBack = Literal["cut", "free-pass", "carry"]
Face = Literal["purl", "knit"]
Meaning = Literal["knit", "tuck", "slip"]
Sort = Literal["rows", "width", "weight", "moves", "holes", "name", "file"]

_DRAWN = ("svg", "png", "pdf", "html")
_BY_PROFILE = "as the machine's profile says"

_all_stitches = partial(each_stitch, otherwise="every stitch that FILE defines")
_plain = partial(
    option,
    None,
    "Stitches x rows in 10 cm of stocking stitch, where the file gives none.",
    metavar="20x28",
    parse="stitchc.gauge.plain:parse_plain",
)
_needles = partial(option, None, "Needles in work.", metavar="80|L40-R39", parse="stitchc.bed:Needles.parse")
_units = partial(option, "cm", "Units of what is shown.")
_anyway = partial(
    option, False, "Continue despite knitting and machine errors; the output carries a warning.", own=True
)
_every_row = partial(
    option,
    False,
    "Show a line for every row. By default, text and PDF show a repeated group of rows once, with its row numbers "
    "or a box for each; HTML and JSON always show every row.",
)
_pictures = partial(
    option, True, "Draw the fabric (the slowest part).", "--pictures/--no-pictures", otherwise="--pictures"
)
_page = partial(option, "a4", "Page size of a PDF.", forms=("pdf",))
_yarn_back = partial(
    option,
    None,
    "By hand, what you do where the next yarn hangs at the other side: cut and join it, bring the carriage there with "
    "all needles held, or carry it there.",
    otherwise=_BY_PROFILE,
)


# -- one class a product --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CardOptions(Checked):
    """What `make_card` makes. name: what the file is called, without its ending; default: after the pattern's file
    and the stitch."""

    stitches: tuple[str, ...] = chosen_stitches()
    form: Literal["png", "pdf", "svg", "json", "text"] = chosen_form("png")
    rows: int | None = option(None, "The fewest rows that the card may have.", low=1, high=5000)
    paper: Literal["a4", "letter", "a3", "roll"] = option("a4", "The page; roll: one sheet as long as it must be.")
    dpi: int = option(600, "Resolution of the picture.", low=72, high=2400)
    scale_x: float = option(
        1.0,
        "Correct the scale across the page: 100 divided by the length of the check rule in mm, as you measure it.",
        metavar="F",
        low=0.95,
        high=1.05,
    )
    scale_y: float = option(1.0, "Correct the scale down the page in the same way.", metavar="F", low=0.95, high=1.05)
    start_row: int = option(1, "The stitch's row to begin the card with.", low=1, own=True)
    shift: int = option(
        0,
        "Move the repeat of this card this many needles to the right (negative: to the left). To move it for sheets "
        "and pieces as well, write a line such as `stitch b = a shifted 3`.",
        own=True,
    )
    each_row_twice: bool = option(
        False,
        "For readers that can knit each card row twice: half the rows, where rows come in equal pairs.",
        own=True,
    )
    ink: Literal["full", "light"] = option(
        "full", "How holes are drawn; light: rings with a dot to punch at, a tenth of the ink."
    )
    anyway: bool = _anyway()
    test_card: bool = option(
        False, "Without {FILE}: make a card to knit once, which shows how your reader mirrors, selects and reads."
    )
    name: str = ""


@dataclass(frozen=True)
class SheetOptions(Checked):
    """What `make_sheet` makes. name: as in CardOptions."""

    stitches: tuple[str, ...] = chosen_stitches()
    needles: "Needles | None" = _needles(otherwise="whole repeats and the edge needles, at least 24")
    rows: int | None = option(None, "Rows to knit.", low=1, high=100_000, otherwise="one repeat")
    carriage: Side = option("right", "Where the carriage stands before row 1.")
    edge: int = option(1, "Needles at each end that always knit.", low=0, high=1000)
    yarn_back: YarnBack | None = _yarn_back()
    cheapest: bool = option(
        False,
        "Also show which start side and which shift of the repeat need the fewest moves. The sheet does not change.",
    )
    every_row: bool = _every_row()
    form: Literal["text", "html", "pdf", "json"] = chosen_form("text")
    page: Literal["a4", "letter"] = _page()
    anyway: bool = _anyway()
    name: str = ""


@dataclass(frozen=True)
class PieceOptions(Checked):
    """What `plan_piece` makes. sizes and so_far are texts as on the command line. name: as in CardOptions. for_others:
    it is read by people who have neither the pattern's file nor stitchc. sizes_of_others: names of other pieces of the
    pattern and the `sizes` chosen for them, by which the yarn of all is counted."""

    piece: str | None = option(None, "Which piece, where {FILE} has several.", metavar="NAME", parse=NAME)
    plain: "PlainGauge | None" = _plain()
    spread: float | None = chosen_spread()
    book: str | None = chosen_book()
    sizes: str | None = option(
        None,
        "Finished widths in the units of {--units}, instead of the one in {FILE}; several are shown in brackets.",
        metavar="48,52,56",
        own=True,
    )
    so_far: tuple[str, ...] = option(
        (),
        "The rows knitted so far and how long they measure at rest. Rows of a stitch are counted over all its parts, "
        'in the order of knitting; "part 2: 30 rows 7.1 cm" counts one part alone, by its number in the '
        "instructions. Add `on the machine` if you measured there, and `in all` if that part ended with these rows. "
        'Or a width: "drift 40 stitches 21 cm". The rest is planned again. Repeat the option for several.',
        metavar='"drift 30 rows 7.1 cm"',
        parse=NAME,
        split=";",
        own=True,
    )
    yarn_back: YarnBack | None = _yarn_back()
    units: Units = _units()
    every_row: bool = _every_row()
    form: Literal["text", "html", "pdf", "json"] = chosen_form("text")
    page: Literal["a4", "letter"] = _page()
    anyway: bool = _anyway()
    name: str = ""
    for_others: bool = False
    sizes_of_others: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class ChartOptions(Checked):
    """What `draw_chart` makes. name: as in CardOptions. columns: of the terminal, for letters."""

    stitches: tuple[str, ...] = _all_stitches()
    form: Literal["text", "json", "svg", "png", "pdf", "html"] = chosen_form("text")
    notation: Literal["squared", "thread", "plain"] = option(
        "squared",
        "Signs of a drawn chart: squared paper (ring or cross, dot, empty), the running thread, or plain signs.",
        forms=_DRAWN,
    )
    face: Face = option(
        "purl",
        "The side of the fabric that a drawn chart shows; on the knit side, left and right are exchanged.",
        forms=_DRAWN,
    )
    carriage: Side = option(
        "right",
        "Where the carriage stands before row 1: each row number stands at the side where the row starts.",
        forms=_DRAWN,
    )
    repeats: tuple[int, int] | None = option(
        None,
        "How often to show the repeat, across and up.",
        metavar="AxB",
        parse="stitchc.option_values:repeats",
        otherwise="enough for 10 cells each way",
        forms=_DRAWN,
    )
    cell_mm: float | None = option(
        None, "Side of a cell.", metavar="MM", low=2, high=20, otherwise="3 to 6, to fit the page", forms=_DRAWN
    )
    paper: Literal["roll", "a4", "letter", "a3"] | None = option(
        None,
        "Page of a drawn chart; roll: one sheet as large as it must be.",
        otherwise="a4 for PDF, else roll",
        forms=_DRAWN,
    )
    dpi: int | None = option(
        None,
        "Pixels per inch of a PNG.",
        low=72,
        high=1200,
        otherwise="200, or fewer where the picture would be too large",
        forms=_DRAWN,
    )
    name: str = ""
    columns: int = 120


@dataclass(frozen=True)
class BitmapOptions(Checked):
    """What `make_bitmap` makes. name: as in CardOptions."""

    stitches: tuple[str, ...] = chosen_stitches()
    needles: "Needles | None" = _needles(otherwise="one repeat")
    rows: int | None = option(None, "Rows of the picture.", low=1, high=1_000_000, otherwise="one repeat")
    edge: int = option(0, "Needles at each end that always knit, with {--needles}.", low=0, high=100, needs="needles")
    first_row: Literal["bottom", "top"] | None = option(None, "Where row 1 is.", otherwise=_BY_PROFILE)
    seen_from: Face | None = option(
        None, "The side shown: purl as you face the bed, knit with left and right exchanged.", otherwise=_BY_PROFILE
    )
    dark: Literal["knit", "hold"] | None = option(None, "What a dark pixel does.", otherwise=_BY_PROFILE)
    form: Literal["png"] = "png"
    anyway: bool = _anyway()
    name: str = ""


@dataclass(frozen=True)
class GaugeOptions(Checked):
    """What `estimate_gauge` makes. name: as in CardOptions. book, here and below: for the command alone, which makes
    the pattern with it (`Pattern.with_book`)."""

    stitches: tuple[str, ...] = _all_stitches()
    plain: "PlainGauge | None" = _plain()
    spread: float | None = chosen_spread()
    book: str | None = chosen_book()
    evidence: bool = option(False, "Also show the data behind each estimate.", forms=("text",))
    mechanics: bool = option(False, "Add a second opinion, calculated loop by loop from the mechanics of yarn.")
    units: Units = _units()
    form: Literal["text", "json"] = chosen_form("text")
    name: str = ""


@dataclass(frozen=True)
class CompareOptions(Checked):
    """What `compare_stitches` makes. name: as in CardOptions."""

    stitches: tuple[str, ...] = chosen_stitches()
    sort: Sort = option(
        "rows",
        "Longest first (rows), widest first (width), fewest or lightest first (weight, moves, holes), by name, "
        "or in the order of the files (file).",
    )
    sweep: bool = option(
        False,
        "Compare a family made from one repeat: 1 needle in 2, 3, 4, 6, 8 held for 1 to 4 rows, in tuck and in slip.",
    )
    against: str | None = option(
        None,
        "Show the ratios to this stitch (plain: stocking stitch), and how often the others are wider and longer.",
        metavar="NAME",
        parse=NAME,
    )
    plain: "PlainGauge | None" = _plain()
    spread: float | None = chosen_spread()
    book: str | None = chosen_book()
    units: Units = _units()
    form: Literal["text", "json", "png"] = chosen_form("text")
    name: str = ""


@dataclass(frozen=True)
class SwatchOptions(Checked):
    """What `plan_swatch` makes. measured is for the command alone. name: as in CardOptions."""

    stitches: tuple[str, ...] = chosen_stitches()
    measured: tuple[str, ...] = option(
        (),
        "Do not plan: add this swatch, with today's date, to the file that it belongs to. Counts are over 10 cm "
        '(with {--units} in, over 4 in), unless you write the length: "drift 38 stitches per 20 cm". Repeat the '
        "option for several.",
        metavar='"drift 17.5 x 41"',
        parse=NAME,
        split=";",
    )
    within: float = option(
        2.0,
        "The largest error of the measured gauge that reading the tape may cause.",
        metavar="PERCENT",
        low=0.2,
        high=20.0,
    )
    plain: "PlainGauge | None" = _plain()
    spread: float | None = chosen_spread()
    book: str | None = chosen_book()
    units: Units = _units()
    form: Literal["text", "sheet", "html", "json"] = chosen_form("text")
    anyway: bool = _anyway()
    name: str = ""


@dataclass(frozen=True)
class PictureOptions(Checked):
    """What `draw_fabric` makes. size is a text as on the command line. name: as in CardOptions."""

    stitches: tuple[str, ...] = chosen_stitches()
    face: Literal["both", "purl", "knit"] = option(
        "both", "The side shown: purl (toward you at the machine), knit (the other side), or both in one picture."
    )
    size: str | None = option(
        None,
        "Fabric shown, in the units of {--units}: 10x10; or in repeats: '2x3 repeats'.",
        metavar="WxH",
        otherwise="at least 16 stitches and two repeats",
    )
    px: int | None = option(None, "Width of the fabric in pixels.", low=100, high=12_000, otherwise="about 60 a stitch")
    dpi: int | None = option(None, "Resolution instead of {--px}: the picture prints life size.", low=20, high=2400)
    plain: "PlainGauge | None" = _plain(otherwise="20x26 is assumed")
    book: str | None = chosen_book()
    units: Units = _units()
    form: Literal["png"] = "png"
    name: str = ""


@dataclass(frozen=True)
class TraceOptions(Checked):
    """What `trace_chart` makes. Colours: red, green, blue, 0 to 255; codes of letters: as in stitchc.chart."""

    dark: Meaning | None = option(
        None,
        "What a dark or marked cell means. Marks are then told apart by their look, not read as signs.",
        otherwise="tuck",
    )
    light: Meaning | None = option(None, "What a blank cell means.", otherwise="knit, or tuck where dark is knit")
    colours: tuple[tuple[tuple[int, int, int], int], ...] = option(
        (),
        "What a colour means, as in #c03030=S; {several}.",
        "--colour",
        metavar="#RRGGBB=LETTER",
        parse="stitchc.option_values:colour_meaning",
    )
    alike: tuple[tuple[tuple[int, int], int], ...] = option(
        (),
        "What all cells that look like this one mean, as in 3,7=T; {several}.",
        "--like",
        metavar="ROW,COLUMN=LETTER",
        parse="stitchc.option_values:cell_meaning",
    )
    notation: Literal["auto", "squared", "thread", "plain", "marks"] = option(
        "auto", "The signs in the cells, as `stitchc chart` draws them; marks: any others, told apart by their look."
    )
    face: Face | None = option(
        None, "The side of the fabric that the picture shows.", otherwise="from the file or the signs, else purl"
    )
    first_row: Literal["bottom", "top"] | None = option(
        None, "Where row 1 stands.", otherwise="bottom, or as a picture of stitchc bitmap says"
    )
    grid: Literal["auto", "lines", "pixels", "even"] = option(
        "auto",
        "lines: look for a grid; pixels: each pixel or block is a cell; even: divide the picture into {--cells}.",
    )
    cells: tuple[int, int] | None = option(
        None, "How many columns and rows there are.", metavar="WxH", parse="stitchc.option_values:size"
    )
    box: tuple[int, int, int, int] | None = option(
        None,
        "The part of the picture to look at: left, top, right, bottom in pixels.",
        metavar="L,T,R,B",
        parse="stitchc.option_values:box",
    )
    repeat: tuple[int, int] | Literal["smallest", "whole"] = option(
        "smallest",
        "What to write: the smallest repeat, the whole chart, or a repeat of this size, where each cell is what "
        "most copies show.",
        metavar="smallest|whole|WxH",
        parse="stitchc.option_values:repeat_wanted",
    )
    sure: float = option(0.9, "List cells below this certainty.", metavar="SHARE", low=0.34, high=1.0)
    stitch_name: str | None = option(
        None, "The stitch's name.", "--name", metavar="NAME", otherwise="made from the picture's name"
    )
    form: Literal["notation", "json"] = chosen_form("notation")
    name: str = ""


@dataclass(frozen=True)
class LeafletOptions(Checked):
    """What `make_leaflet` makes. date: as it is written on the leaflet, None for none. name: as in CardOptions."""

    form: Literal["both", "pdf", "html", "text"] = option(
        "both", "The form of the output; both: PDF and HTML.", "--format", otherwise="from the ending of -o, else both"
    )
    page: Literal["a4", "letter"] = option("a4", "Page size of the PDF.", forms=("both", "pdf"))
    units: Units = _units()
    plain: "PlainGauge | None" = _plain()
    spread: float | None = chosen_spread()
    book: str | None = chosen_book()
    yarn_back: YarnBack | None = _yarn_back()
    pictures: bool = _pictures()
    date: str | None = option(
        None,
        "The date that stands on the leaflet.",
        metavar="YYYY-MM-DD",
        parse="stitchc.option_values:date",
        otherwise="SOURCE_DATE_EPOCH where that is set, else today",
    )
    anyway: bool = _anyway()
    name: str = ""


@dataclass(frozen=True)
class BuildOptions(Checked):
    """What `stitchc build` makes of a pattern for each machine. date: as in LeafletOptions."""

    stitches: tuple[str, ...] = chosen_stitches()
    plain: "PlainGauge | None" = _plain()
    spread: float | None = chosen_spread()
    book: str | None = chosen_book()
    pictures: bool = _pictures()
    units: Units = _units()
    anyway: bool = _anyway()
    date: str | None = None
