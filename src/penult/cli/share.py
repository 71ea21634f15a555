"""`penult share`: a copy of a result in which nobody can be known, or a film of two."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from penult.cli.film import AlignOption, LanguageOption, UnitsOption, showing_said


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("share")(share)


def share(
    results: Annotated[
        list[Path],
        typer.Argument(help="Folder of a result; of two their film on one clock is written.", metavar="RESULT..."),
    ],
    out: Annotated[Path, typer.Option("-o", "--out", help="Folder of the copy.", metavar="FOLDER")],
    label: Annotated[str, typer.Option("--label", help="Stands for the athlete in the copy.", metavar="TEXT")] = "A",
    film: Annotated[
        str, typer.Option("--film", help="landscape, portrait or whole; else as in the result.", metavar="SHAPE")
    ] = "",
    align: AlignOption = "",
    language: LanguageOption = "",
    units: UnitsOption = "",
    clip: Annotated[
        Path | None, typer.Option("--clip", help="The film, where it does not lie beside the result.", metavar="FILE")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")] = False,
) -> None:
    """Write a copy that is fit to send: no faces, no names, no sound, nothing of place, device or time."""
    from penult.app.share import share as job
    from penult.app.share import share_pair
    from penult.cli.film import check_two
    from penult.cli.progress import shown_progress
    from penult.outputs.texts.words import counted

    check_two(results, align, clip)
    showing = showing_said(film, language, units)
    with shown_progress(quiet=quiet) as progress:
        if len(results) == 2:
            done = share_pair(results, out, label=label, showing=showing, align=align or None, progress=progress)
        else:
            own = showing if film or language or units else None
            done = job(results[0], out, label=label, clip=clip, showing=own, progress=progress)
    if not quiet:
        name = "pair.mp4" if len(results) == 2 else "overlay.mp4"
        many = counted(len(done.files), "file")
        sys.stderr.write(f"{many} in {done.folder}: look at {name} there before you send it\n")
