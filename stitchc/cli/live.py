"""`stitchc live`: a page in the browser where a pattern is typed and everything that follows is seen at once."""

from __future__ import annotations

import sys

import click

from stitchc.cli.common import examples, file_names, option, say


@click.command(epilog=examples("live", "live cowl.stitch", "live cowl.stitch --no-open"))
@click.argument("file", metavar="[FILE]", required=False, shell_complete=file_names)
@option("--open/--no-open", "opens", default=True, show_default=True, help="Open the page in the browser.")
def command(file: str | None, opens: bool) -> None:
    """Open a page in the browser where you type a pattern and see everything that follows from it.

    Only this computer can open the page, and nothing goes to the internet. Its address is the first line printed.
    Without FILE it offers a first pattern, the examples and the patterns of this folder; FILE may be another folder.
    FILE is written only when you press Save; unsaved text is kept and offered again the next time.
    Ctrl-C ends the page.
    """
    if file == "-":
        raise click.UsageError("The page needs a file that it can save to, such as tide.stitch.")
    from stitchc.live.run import serve

    def announce(address: str, served_already: bool) -> None:
        print(address, flush=True)
        if served_already:
            say("This page is already open at the address above.")
        else:
            say("Open this address in a browser on this computer. Ctrl-C ends the page; unsaved text is kept.")
        if opens:
            _open_browser(address)

    serve(file, announce)
    if sys.stderr.isatty():
        say("The page has ended.")


def _open_browser(address: str) -> None:
    """In the background: some systems' browsers hold up whoever starts them."""
    import threading
    import webbrowser

    def open_it() -> None:
        if not webbrowser.open(address):
            say("No browser could be opened. Copy the address into your browser.")

    threading.Thread(target=open_it, daemon=True).start()
