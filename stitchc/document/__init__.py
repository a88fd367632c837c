"""Documents as values, and a writer for each form: `text`, `html` and `pdf`, functions from a document to its content.

A document is made once, by whoever knows the subject (a sheet, a piece, a swatch, a punching list); the writers know
these values alone, so that every form shows the same words.
"""

from stitchc.document.document import Block as Block
from stitchc.document.document import ByHand as ByHand
from stitchc.document.document import Document as Document
from stitchc.document.document import Dots as Dots
from stitchc.document.document import Drawing as Drawing
from stitchc.document.document import Entry as Entry
from stitchc.document.document import Heading as Heading
from stitchc.document.document import Label as Label
from stitchc.document.document import Lines as Lines
from stitchc.document.document import Listing as Listing
from stitchc.document.document import Part as Part
from stitchc.document.document import PassRow as PassRow
from stitchc.document.document import Path as Path
from stitchc.document.document import Picture as Picture
from stitchc.document.document import Rows as Rows
from stitchc.document.document import Sheet as Sheet
from stitchc.document.document import Step as Step
from stitchc.document.document import Table as Table
from stitchc.document.document import Terms as Terms
from stitchc.document.text import to_text as to_text
