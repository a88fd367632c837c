"""The leaflet: a pattern as it is handed to other knitters, for every class of machine, as a PDF and as a page.

It puts beside each other what the other products say and tells nothing a second time. `ways` plans the pieces for each
machine, `parts` makes what is read before them, `whole` and `page` put it together for paper and for a screen.
"""
