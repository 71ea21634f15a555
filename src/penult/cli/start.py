"""`penult` alone: the start page, on this computer."""

from __future__ import annotations

import contextlib
import sys
import threading
from functools import partial

from penult.cli.fault import StoppedError

ALONE_S = 120.0
"""Without a terminal nobody may be there: after so long without a page it ends by itself."""


def start() -> None:
    """Open the start page and serve it until Ctrl-C or until it is ended there."""
    from penult.adapters.logbook.place import default_place
    from penult.app.day import Day
    from penult.app.staying import load, measured_in
    from penult.app.workshop import Workshop
    from penult.cli.progress import shown_progress
    from penult.review.opening import open_in_browser
    from penult.review.server import LocalServer
    from penult.review.start_pages import FILMS, StartPages

    is_attended = _is_terminal()
    workshop = Workshop(lasts=True)
    day = Day(partial(measured_in, workshop), default_place())
    pages = StartPages(day)
    waits_s = None if is_attended else ALONE_S
    server = LocalServer(pages.routes(), closing=pages.close, ends_with_page=False, waits_s=waits_s, films=FILMS)
    pages.attach(server)
    _say(f"open {server.address}")
    _say("it works once, in one browser on this computer; Ctrl-C ends it; 'penult --help' lists the commands")
    if not open_in_browser(server.address):
        _say("no browser could be opened here: open the address yourself")
    if not is_attended:
        _say(f"there is no terminal: it ends by itself if no page comes within {ALONE_S:.0f} s")
    with shown_progress(quiet=True):
        threading.Thread(target=load, daemon=True).start()
        with contextlib.suppress(KeyboardInterrupt, StoppedError):  # the usual way to end it
            server.serve()
    if day.is_idle:  # else a clip is at work with it, and ends with the process
        workshop.close()
    _say("ended; what was measured is in its folders")


def _is_terminal() -> bool:
    """Tell whether somebody sits at a terminal that this was started from."""
    try:
        return sys.stdin is not None and sys.stdin.isatty()
    except ValueError:  # closed
        return False


def _say(text: str) -> None:
    sys.stderr.write(text + "\n")
    sys.stderr.flush()
