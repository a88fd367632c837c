"""Pages as values in mm, and a writer for each file type: `png`, `pdf` and `svg`, functions from pages to bytes."""

from stitchc.page.items import BLACK as BLACK
from stitchc.page.items import MM_PER_INCH as MM_PER_INCH
from stitchc.page.items import PAPERS as PAPERS
from stitchc.page.items import Anchor as Anchor
from stitchc.page.items import Circle as Circle
from stitchc.page.items import Disc as Disc
from stitchc.page.items import Item as Item
from stitchc.page.items import Layer as Layer
from stitchc.page.items import Line as Line
from stitchc.page.items import Page as Page
from stitchc.page.items import Polygon as Polygon
from stitchc.page.items import Rectangle as Rectangle
from stitchc.page.items import Text as Text
