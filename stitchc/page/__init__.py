"""Pages as values in mm, and a writer for each file type: `png`, `pdf` and `svg`, functions from pages to bytes."""

from stitchc.page.values import BLACK as BLACK
from stitchc.page.values import MM_PER_INCH as MM_PER_INCH
from stitchc.page.values import PAPERS as PAPERS
from stitchc.page.values import Anchor as Anchor
from stitchc.page.values import Circle as Circle
from stitchc.page.values import Disc as Disc
from stitchc.page.values import Item as Item
from stitchc.page.values import Layer as Layer
from stitchc.page.values import Line as Line
from stitchc.page.values import Page as Page
from stitchc.page.values import Polygon as Polygon
from stitchc.page.values import Rectangle as Rectangle
from stitchc.page.values import Text as Text
