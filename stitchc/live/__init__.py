"""The live page: a pattern typed in the browser, and everything that follows from it seen at once.

`server` is the web server of one folder, on this computer alone; `desk` holds the files it may open and the text that
is not saved yet; `reading` is what follows at once from a text (messages, the chart); `views` is what takes longer and
is worked out by `worker` in a process of its own; `row_text` and `drawing` write what is drawn on the chart back into
the text; `sources` tells where the cells of a built stitch come from. `page/` is what the browser gets: HTML, CSS and
JavaScript without a framework or a build step.

Nothing here imports `stitchc.cli`.
"""
