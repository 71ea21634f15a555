"""`penult session`: every clip of a folder in one go."""

from __future__ import annotations

import os
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor

    from penult.app.workshop import Workshop
    from penult.model.analysis import Analysis
    from penult.model.session import Session
    from penult.model.settings import Settings


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("session")(session)


def session(
    folder: Annotated[Path, typer.Argument(help="Folder with the clips of a session.", metavar="FOLDER")],
    calib: Annotated[
        Path | None, typer.Option("--calib", help="Lane file of this lane and camera place.", metavar="FILE")
    ] = None,
    table: Annotated[
        Path | None,
        typer.Option("--session", help="What you say of the clips (else session.csv in the folder).", metavar="CSV"),
    ] = None,
    template: Annotated[bool, typer.Option("--template", help="Only write a session.csv to be filled in.")] = False,
    date: Annotated[str, typer.Option("--date", help="Day of the session, year-month-day.", metavar="DATE")] = "",
    log: Annotated[bool, typer.Option("--log", help="Add the results to the logbook.")] = False,
    logbook: Annotated[
        Path | None, typer.Option("--logbook", help="Which logbook (with --log).", metavar="FILE")
    ] = None,
    jobs: Annotated[int, typer.Option("--jobs", help="Clips at the same time; 0: one for each core.", metavar="N")] = 1,
    cluster: Annotated[
        str, typer.Option("--cluster", help="Analyse on the Dask cluster with this scheduler.", metavar="ADDRESS")
    ] = "",
    stay: Annotated[
        bool,
        typer.Option("--stay", help="Stay: measure each clip as it comes into the folder, and show it on a page."),
    ] = False,
    port: Annotated[int, typer.Option("--port", help="Of that page; 0 takes a free one.", metavar="NUMBER")] = 0,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open that page at once.")] = True,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")] = False,
) -> None:
    """Analyse every clip of a folder; an interrupted session goes on where it stopped."""
    from penult.cli.choices import day
    from penult.cli.slips import lane_of

    if template:
        from penult.app.session import write_template

        sys.stdout.write(f"written: {write_template(folder)}\n")
        return
    calib = lane_of(folder, calib, "session")
    place = None
    if log or logbook:
        from penult.adapters.logbook.place import default_place

        place = logbook or default_place()
    if stay:
        from penult.cli.staying import stay_with

        stay_with(folder, calib, date=day(date) if date else "", logbook=place, port=port, open_browser=browser)
        return
    done = analyse_folder(
        folder,
        calib,
        table=table,
        date=day(date) if date else "",
        logbook=place,
        jobs=jobs,
        cluster=cluster,
        quiet=quiet,
    )
    if done.exit_status:
        raise typer.Exit(done.exit_status)


def analyse_folder(
    folder: Path,
    calib: Path,
    *,
    table: Path | None = None,
    date: str = "",
    logbook: Path | None = None,
    jobs: int = 1,
    cluster: str = "",
    said: Settings | None = None,
    quiet: bool = False,
) -> Session:
    """Analyse a session's folder with one progress display and print what came of it."""
    from penult.app.session import run_session
    from penult.app.workshop import Workshop
    from penult.cli.neighbours import Neighbours
    from penult.cli.progress import shown_progress

    with shown_progress(quiet=quiet) as progress:
        status = ["first clip"]

        def tell(what: str, share: float) -> None:
            status[0] = what
            progress(what, share)

        # in one process the clip under way is shown; from several only how many are done
        elsewhere = jobs != 1 or cluster
        with Workshop(lasts=True) as workshop:
            one = partial(_analyse_one, calib.resolve()) if elsewhere else _shown_one(calib, status, progress, workshop)
            pool = _pool(jobs, cluster) if elsewhere else Neighbours
            place = folder.resolve() if elsewhere else folder
            done = run_session(
                place, calib, one, table=table, date=date, logbook=logbook, said=said, pool=pool, progress=tell
            )
    if not quiet:
        _print(done, logbook)
    return done


def _pool(jobs: int, cluster: str) -> Callable[[], Executor] | None:
    if cluster:
        from penult.app import cluster as dask

        return partial(dask.cluster, cluster)
    if jobs == 1:
        return None
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    from penult.app.cluster import one_thread_a_clip

    # a fresh process each: decoders and the pose model do not survive a fork
    return partial(
        ProcessPoolExecutor,
        jobs or os.cpu_count() or 1,
        mp_context=get_context("spawn"),
        initializer=one_thread_a_clip,
    )


def _analyse_one(calib: Path, clip: Path, settings: Settings, out: Path) -> Analysis:
    from penult.app.analyse import analyse

    return analyse(clip, calib, settings, out, lambda what, share: None).analysis


def _shown_one(
    calib: Path, status: list[str], progress: Callable[[str, float], None], workshop: Workshop
) -> Callable[[Path, Settings, Path], Analysis]:
    def one(clip: Path, settings: Settings, out: Path) -> Analysis:
        from penult.app.analyse import analyse
        from penult.cli.neighbours import going_on
        from penult.outputs.texts.plain import shown

        name = shown(clip.name, 40)

        def show(what: str, share: float) -> None:
            going_on()
            if what != "drawing":  # the next clip is being looked at already
                progress(f"{status[0]}; {name}: {what}", share)

        return analyse(clip, calib, settings, out, show, workshop=workshop).analysis

    return one


def _print(done: Session, logbook: Path | None) -> None:
    from rich.console import Console

    from penult.outputs.texts import drops, words
    from penult.outputs.texts.plain import shown
    from penult.outputs.texts.session_findings import session_findings

    console = Console(highlight=False, markup=False, soft_wrap=True)
    console.print(f"{shown(done.name)}: {words.counted(len(done.clips), 'clip')}", style="bold")
    for clip in done.clips:
        if clip.analysis is None:
            first = clip.error.split("\n")[0]
            console.print(f"  {shown(clip.file, 40)}: no result: {shown(first, 300)}")
            continue
        flags = ", ".join(shown(words.code_words(w.code), 40) for w in clip.analysis.warnings)
        there = "" if clip.is_new else " (was there already)"
        console.print(
            f"  {shown(clip.file, 40)}: hip drop {drops.headline(clip.analysis)}{there}{f'; {flags}' if flags else ''}"
        )
    for athlete, texts in session_findings(done):
        who = f"{shown(athlete, 40)}: " if athlete else ""
        console.print(f"{who}{shown(' '.join(texts), 900)}", width=min(80, console.width), soft_wrap=False)
    if any(c.analysis is not None and not c.said.date for c in done.clips):
        console.print(
            "note: clips without a date do not appear in a season; give --date, or a date column in session.csv"
        )
    if logbook is not None:
        console.print(f"\nlogbook: {logbook}")
    console.print(f"\nfiles: {Path(done.folder) / 'session.html'}")
