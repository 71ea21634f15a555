"""Start the page, say where it is, and wait until it is closed."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from penult.app.review import Review
from penult.review.opening import open_in_browser
from penult.review.pages import Pages
from penult.review.server import LocalServer


def page_server(reviews: Sequence[Review], *, port: int = 0) -> LocalServer:
    """Return a server for one result under review, or for several side by side, not yet serving."""
    pages = Pages(reviews)
    server = LocalServer(pages.routes(), port=port, closing=pages.close)
    pages.attach(server)
    return server


def serve(reviews: Sequence[Review], *, port: int, say: Callable[[str], None], open_browser: bool) -> None:
    """Serve until the page is closed. Ctrl-C ends it too, and is the caller's to hear.

    Parameters
    ----------
    reviews : sequence of Review
        One to be reviewed, more to be compared.
    port : int
        0 takes a free one.
    say : callable
        Gets the address and what a person should know.
    open_browser : bool
        Open the address in the standard browser.
    """
    server = page_server(reviews, port=port)
    say(f"open {server.address}")
    say("it works once, in one browser on this computer; close the page or press Ctrl-C to end")
    if open_browser:
        open_in_browser(server.address)
    server.serve()
