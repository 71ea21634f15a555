"""`penult review`: look at a result on a page of this computer, and put it right."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from penult.cli.fault import StoppedError

if TYPE_CHECKING:
    from penult.app.review import Review


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("review")(review)


def review(
    results: Annotated[
        list[Path], typer.Argument(help="Folder of a result; two or more are shown side by side.", metavar="RESULT...")
    ],
    clip: Annotated[
        Path | None, typer.Option("--clip", help="The film, where it does not lie beside its result.", metavar="FILE")
    ] = None,
    port: Annotated[int, typer.Option("--port", help="Of this computer; 0 takes a free one.", metavar="NUMBER")] = 0,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the page at once.")] = True,
) -> None:
    """Look at a result frame by frame and put it right; with two or more, compare them side by side."""
    # The matrices here are small: a second thread in their solver costs more than it gives, most of all on a busy machine.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from penult.app.review import open_result
    from penult.cli.progress import shown_progress
    from penult.errors import InputError
    from penult.review.run import serve

    if clip is not None and len(results) > 1:
        raise InputError("--clip goes with one result", next_step="keep each film beside its result to compare them")
    if not 0 <= port <= 65535:
        raise InputError(f"--port cannot be {port}", "wanted: 0 to 65535")
    results = [_result_of(place) for place in results]
    with shown_progress(quiet=False) as progress:
        opened = [open_result(folder, clip, progress) for folder in results]
    with contextlib.suppress(KeyboardInterrupt, StoppedError):  # the usual way to end it
        serve(opened, port=port, say=_say, open_browser=browser)
    _last_words(opened)


def _result_of(place: Path) -> Path:
    """Return the result of a film where the film itself was named; everything else as it is.

    Raises
    ------
    InputError
        If the film has not been analysed yet, with the command that does it.
    """
    from penult.cli.slips import is_film, lanes_near
    from penult.errors import InputError

    if not is_film(place) or place.is_dir():
        return place
    folder = place.with_name(f"{place.stem}_analysis")
    if folder.is_dir():
        return folder
    lane = next(iter(lanes_near(place)), Path("lane.json"))
    raise InputError(
        f"{place} is a film and has no result yet",
        "a result is a folder that 'analyse' writes",
        next_step=f"penult analyse {place} --calib {lane}",
    )


def _last_words(opened: Sequence[Review]) -> None:
    """Say what is saved where, so that nobody takes old numbers for new ones."""
    if len(opened) > 1 or opened[0].state.is_written:
        return
    count = len(opened[0].state.corrections.done)
    _say(
        f"{count} {'correction is' if count == 1 else 'corrections are'} saved; the files of the result do not hold this yet"
    )
    _say("  next: open it again and press 'Update files', or analyse the clip again")


def _say(text: str) -> None:
    sys.stderr.write(text + "\n")
    sys.stderr.flush()
