"""`penult sheet`: one page for the athlete."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from penult.cli.film import LanguageOption, UnitsOption, showing_said


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("sheet")(sheet)


def sheet(
    result: Annotated[Path, typer.Argument(help="Folder of a result.", metavar="RESULT")],
    say: Annotated[str, typer.Option("--say", help="One sentence of the coach on it.", metavar="TEXT")] = "",
    language: LanguageOption = "",
    units: UnitsOption = "",
    out: Annotated[
        Path | None,
        typer.Option("-o", "--out", help="The sheet's file (else sheet.html in the result).", metavar="FILE"),
    ] = None,
    logbook: Annotated[
        Path | None,
        typer.Option("--logbook", help="Where last time is looked up, or a folder exported from it.", metavar="FILE"),
    ] = None,
    clip: Annotated[
        Path | None, typer.Option("--clip", help="The film, where it does not lie beside the result.", metavar="FILE")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")] = False,
) -> None:
    """Write one page for the athlete: three pictures, three numbers, last time, and your sentence. It prints on A4."""
    from penult.adapters.logbook.place import default_place
    from penult.app.sheet import write_sheet
    from penult.cli.progress import shown_progress

    showing = showing_said("", language, units)
    place = logbook or default_place()
    with shown_progress(quiet=quiet) as progress:
        done = write_sheet(result, out, showing, sentence=say, logbook=place, clip=clip, progress=progress)
    if not quiet:
        sys.stderr.write(f"{done}: open it in a browser, print or send it; faces are to be seen in it\n")
