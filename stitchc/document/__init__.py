"""Documents as values, and a writer for each form: `text`, `html` and `pdf`, functions from a document to its content.

A document is made once, by whoever knows the subject (a sheet, a piece, a swatch, a punching list); the writers know
these values alone, so that every form shows the same words.
"""

from stitchc.document.text import to_text as to_text
from stitchc.document.values import Block as Block
from stitchc.document.values import ByHand as ByHand
from stitchc.document.values import Document as Document
from stitchc.document.values import Dots as Dots
from stitchc.document.values import Drawing as Drawing
from stitchc.document.values import Entry as Entry
from stitchc.document.values import Heading as Heading
from stitchc.document.values import Label as Label
from stitchc.document.values import Lines as Lines
from stitchc.document.values import Listing as Listing
from stitchc.document.values import Part as Part
from stitchc.document.values import PassRow as PassRow
from stitchc.document.values import Path as Path
from stitchc.document.values import Picture as Picture
from stitchc.document.values import Rows as Rows
from stitchc.document.values import Sheet as Sheet
from stitchc.document.values import Step as Step
from stitchc.document.values import Table as Table
from stitchc.document.values import Terms as Terms
