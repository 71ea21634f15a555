"""`penult session FOLDER --calib LANE --stay`: measure clips as they come, show them on a page of this computer."""

from __future__ import annotations

import contextlib
import sys
import threading
from functools import partial
from pathlib import Path

from penult.cli.fault import StoppedError


def stay_with(folder: Path, calib: Path, *, date: str, logbook: Path | None, port: int, open_browser: bool) -> None:
    """Watch a folder until Ctrl-C; every result is on disk as soon as the page shows its picture."""
    from penult.adapters.files.lane_file import read_lane
    from penult.app.staying import Staying, load, measured_in
    from penult.app.workshop import Workshop
    from penult.cli.progress import shown_progress
    from penult.errors import InputError
    from penult.review.opening import open_in_browser
    from penult.review.server import LocalServer
    from penult.review.stay_pages import StayPages

    if not folder.is_dir():
        raise InputError(
            f"{folder} is not a folder of clips", "there is no such folder", next_step="make it, then start again"
        )
    read_lane(calib)  # a fault in it is told now, not at the first clip
    workshop = Workshop(lasts=True)
    staying = Staying(folder, calib, partial(measured_in, workshop), date=date, logbook=logbook)
    labels = _labels(logbook)
    pages = StayPages(staying, lambda: labels)
    server = LocalServer(pages.routes(), port=port, closing=staying.stop, ends_with_page=False)
    pages.attach(server)
    _say(f"open {server.address}")
    _say(f"it works once, in one browser on this computer; clips that come into {folder} are measured; Ctrl-C ends it")
    if open_browser:
        open_in_browser(server.address)
    with shown_progress(quiet=True):
        threading.Thread(target=load, daemon=True).start()
        worker = threading.Thread(target=staying.run, daemon=True, name="measuring")
        worker.start()
        with contextlib.suppress(KeyboardInterrupt, StoppedError):  # the usual way to end it
            server.serve()
        staying.stop()
    _say(f"ended; what was measured is in {folder}; the same command goes on")


def _labels(logbook: Path | None) -> tuple[str, ...]:
    """Return the athletes that the logbook knows; a logbook that is not there knows none."""
    if logbook is None or not logbook.exists():
        return ()
    from penult.adapters.logbook.book import opened

    with opened(logbook) as log:
        return tuple(log.labels())


def _say(text: str) -> None:
    sys.stderr.write(text + "\n")
    sys.stderr.flush()
