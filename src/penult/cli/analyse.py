"""`penult analyse`: the main job on the command line."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

if TYPE_CHECKING:
    from penult.model.analysis import Mat
    from penult.model.settings import Settings


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("analyse")(analyse)


def analyse(
    clip: Annotated[Path, typer.Argument(help="The clip, or a folder of clips with --session.", metavar="CLIP")],
    calib: Annotated[
        Path | None, typer.Option("--calib", help="Lane file of this lane and camera place.", metavar="FILE")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="Folder of the result (else <clip>_analysis beside the clip).", metavar="FOLDER"),
    ] = None,
    capture_rate: Annotated[
        str | None, typer.Option("--capture-rate", help="True frames a second of a slow-motion clip.", metavar="HZ")
    ] = None,
    kind: Annotated[
        str,
        typer.Option(
            "--kind", help="full approach, short approach, mat drill, run-through, or your own word.", metavar="TEXT"
        ),
    ] = "",
    athlete: Annotated[str, typer.Option("--athlete", help="A label, not necessarily a name.", metavar="LABEL")] = "",
    sex: Annotated[
        str | None, typer.Option("--sex", help="female or male: the body's mass table.", metavar="female|male")
    ] = None,
    height: Annotated[str | None, typer.Option("--height", help="Of the athlete.", metavar="METRES")] = None,
    mat: Annotated[
        list[str] | None,
        typer.Option(
            "--mat",
            help="A mat that was put down: contact = thickness, e.g. penultimate=5cm or -1=0.05.",
            metavar="CONTACT=METRES",
        ),
    ] = None,
    run: Annotated[str, typer.Option("--run", help="Which run of the clip, from 1.", metavar="K")] = "1",
    at: Annotated[
        str | None,
        typer.Option(
            "--at", help="Where and when the athlete is: upright pixels and capture time.", metavar="X,Y,SECONDS"
        ),
    ] = None,
    date: Annotated[str, typer.Option("--date", help="Day of the clip, year-month-day.", metavar="DATE")] = "",
    ignore_corrections: Annotated[
        bool, typer.Option("--ignore-corrections", help="Leave out what was put right by hand in an earlier result.")
    ] = False,
    session: Annotated[
        Path | None,
        typer.Option(
            "--session", help="For a folder: what you say of its clips (else session.csv in it).", metavar="CSV"
        ),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="The result as JSON instead of the table.")] = False,
) -> None:
    """Measure the last contacts and steps, the penultimate and the take-off of one clip, or of every clip of a folder."""
    from penult.cli.slips import lane_of

    calib = lane_of(clip, calib)
    if clip.is_dir():
        _whole_session(clip, calib, session, quiet=quiet)
        return
    from rich.console import Console

    from penult.app.analyse import analyse as job
    from penult.cli.choices import day
    from penult.cli.progress import shown_progress
    from penult.cli.table import print_result
    from penult.outputs.folder.result import analysis_to_json

    said = _settings(capture_rate, kind, athlete, sex, height, mat or [], run, at)
    if date:
        said = replace(said, date=day(date))
    with shown_progress(quiet=quiet) as progress:
        result = job(clip, calib, said, out, progress, ignore_corrections=ignore_corrections)
    if as_json:
        sys.stdout.write(analysis_to_json(result.analysis) + "\n")
    elif not quiet:
        print_result(result.analysis, result.folder, Console())


def _whole_session(folder: Path, calib: Path, table: Path | None, *, quiet: bool) -> None:
    """Analyse a folder of clips, the same as `penult session`."""
    from penult.cli.session import analyse_folder

    done = analyse_folder(folder, calib, table=table, quiet=quiet)
    if done.exit_status:
        raise typer.Exit(done.exit_status)


def _settings(
    capture_rate: str | None,
    kind: str,
    athlete: str,
    sex: str | None,
    height: str | None,
    mats: list[str],
    run: str,
    at: str | None,
) -> Settings:
    """Check what was said and put it into a record."""
    from penult.model.settings import Settings

    rate_hz = _number("--capture-rate", capture_rate, (5.0, 2000.0), "frames a second")
    height_m = _number("--height", height, (0.8, 2.5), "metres")
    number = _number("--run", run, (1, 100), "as a whole number")
    if number is None or number != int(number):
        _refuse("--run", run, "1 to 100 as a whole number")
    if sex not in (None, "female", "male"):
        _refuse("--sex", sex, "female or male")
    return Settings(
        capture_rate_hz=rate_hz,
        kind=kind.strip(),
        athlete=athlete.strip(),
        sex=sex,
        height_m=height_m,
        mats=tuple(_mat(m) for m in mats),
        run=int(number),
        at=None if at is None else _at(at),
    )


def _mat(text: str) -> Mat:
    from penult.core.typed import mat

    try:
        return mat(text)
    except ValueError as error:
        _refuse("--mat", text, str(error))


def _at(text: str) -> tuple[float, float, float]:
    try:
        x, y, seconds = (float(part) for part in text.split(","))
    except ValueError:
        _refuse("--at", text, "three numbers X,Y,SECONDS")
    if not all(map(math.isfinite, (x, y, seconds))):
        _refuse("--at", text, "three numbers X,Y,SECONDS")
    return x, y, seconds


def _number(option: str, text: str | None, bounds: tuple[float, float], unit: str) -> float | None:
    """Read a number within bounds; what was typed stands in the message, whatever is wrong with it."""
    if text is None:
        return None
    low, high = bounds
    from penult.core.typed import number

    try:
        value = number(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        _refuse(option, text, f"{low:g} to {high:g} {unit}")
    return value


def _refuse(option: str, got: str, wanted: str) -> NoReturn:
    from penult.errors import InputError

    raise InputError(f"{option} cannot be {got!r}", f"wanted: {wanted}", next_step="see analyse --help")
