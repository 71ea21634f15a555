"""`penult share`: a copy of a result in which nobody can be known."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("share")(share)


def share(
    result: Annotated[Path, typer.Argument(help="Folder of a result.", metavar="RESULT")],
    out: Annotated[Path, typer.Option("-o", "--out", help="Folder of the copy.", metavar="FOLDER")],
    label: Annotated[str, typer.Option("--label", help="Stands for the athlete in the copy.", metavar="TEXT")] = "A",
    clip: Annotated[
        Path | None, typer.Option("--clip", help="The film, where it does not lie beside the result.", metavar="FILE")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")] = False,
) -> None:
    """Write a copy that is fit to send: no faces, no names, no sound, nothing of place, device or time."""
    from penult.app.share import share as job
    from penult.cli.progress import shown_progress
    from penult.outputs.texts.words import counted

    with shown_progress(quiet=quiet) as progress:
        done = job(result, out, label=label, clip=clip, progress=progress)
    if not quiet:
        sys.stderr.write(
            f"{counted(len(done.files), 'file')} in {done.folder}: look at overlay.mp4 there before you send it\n"
        )
