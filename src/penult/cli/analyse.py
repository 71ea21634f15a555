"""`penult analyse`: the main job on the command line."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from penult.cli.film import FilmOption, LanguageOption, UnitsOption, showing_said
from penult.cli.numbers import number as decimal
from penult.cli.numbers import numbers

if TYPE_CHECKING:
    from penult.model.analysis import Analysis, Mat
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
            "--kind",
            help="full approach, short approach, mat drill, run-through, bounds, hops, skips, triple jump, box take-off, "
            "take-off drill, or your own word.",
            metavar="TEXT",
        ),
    ] = "",
    official: Annotated[
        str | None,
        typer.Option(
            "--official", help="Measured distance of the jump, board to mark, such as 13.42.", metavar="METRES"
        ),
    ] = None,
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
    logbook: Annotated[
        Path | None,
        typer.Option(
            "--logbook",
            help="Where sex, height and leg length of --athlete stand (else $PENULT_LOGBOOK or the user's data folder).",
            metavar="FILE",
        ),
    ] = None,
    film: FilmOption = "landscape",
    language: LanguageOption = "",
    units: UnitsOption = "",
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="The result as JSON instead of the table.")] = False,
) -> None:
    """Measure the last contacts and steps, the penultimate and the take-off of one clip, or of every clip of a folder."""
    from penult.cli.slips import lane_of

    showing = showing_said(film, language, units)
    calib = lane_of(clip, calib)
    said = _settings(capture_rate, kind, athlete, sex, height, mat or [], run, at, official)
    if clip.is_dir():
        of_one = {"--out": out, "--run": said.run != 1, "--at": at, "--json": as_json,
                  "--ignore-corrections": ignore_corrections, "--logbook": logbook, "--film": film != "landscape",
                  "--language": language, "--units": units}  # fmt: skip
        _refuse_for_folder([name for name, value in of_one.items() if value])
        _whole_session(clip, calib, session, said, quiet=quiet)
        return
    if session:
        _refuse(
            "--session",
            str(session),
            "a folder of clips; say what there is to say of one clip with --kind, --athlete ...",
        )
    from rich.console import Console

    from penult.app.analyse import analyse as job
    from penult.app.profile import with_profile
    from penult.cli.choices import day
    from penult.cli.progress import shown_progress
    from penult.cli.table import print_files, print_numbers
    from penult.outputs.folder.result import analysis_to_json
    from penult.outputs.texts.plain import shown

    if date:
        said = replace(said, date=day(date))
    said, taken = with_profile(said, logbook)
    if taken and not quiet:
        sys.stderr.write(f"{shown(taken, 400)}\n")
    console, printed = Console(), []
    with shown_progress(quiet=quiet) as progress:

        def numbers(analysis: Analysis) -> None:  # a coach reads them while page and film are made
            if as_json or quiet:
                return
            with progress.aside():
                print_numbers(analysis, console)
                console.file.flush()
            printed.append(analysis)

        result = job(
            clip,
            calib,
            said,
            out,
            progress,
            ignore_corrections=ignore_corrections,
            showing=showing,
            measured=numbers,
        )
    if as_json:
        sys.stdout.write(analysis_to_json(result.analysis) + "\n")
    elif not quiet:
        if not printed:
            print_numbers(result.analysis, console)
        print_files(result.folder, console)


def _refuse_for_folder(given: list[str]) -> None:
    """An option that is about one clip is not passed over in silence where a folder is named."""
    if given:
        from penult.errors import InputError

        raise InputError(
            f"{', '.join(given)} cannot be said for a folder of clips",
            "results of a folder lie beside its clips; runs stand in the column 'run' of session.csv",
            next_step="leave it out, or analyse the one clip",
        )


def _whole_session(folder: Path, calib: Path, table: Path | None, said: Settings, *, quiet: bool) -> None:
    """Analyse a folder of clips, the same as `penult session`."""
    from penult.cli.session import analyse_folder

    done = analyse_folder(folder, calib, table=table, said=said, quiet=quiet)
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
    official: str | None = None,
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
        official_m=_number("--official", official, (0.5, 25.0), "metres"),
    )


def _mat(text: str) -> Mat:
    from penult.core.typed import mat

    try:
        return mat(text)
    except ValueError as error:
        _refuse("--mat", text, str(error))


def _at(text: str) -> tuple[float, float, float]:
    try:
        x, y, seconds = numbers(text)
    except ValueError:
        _refuse("--at", text, "three numbers X,Y,SECONDS, or 'X; Y; SECONDS' with decimal commas")
    if not all(map(math.isfinite, (x, y, seconds))):
        _refuse("--at", text, "three numbers X,Y,SECONDS, or 'X; Y; SECONDS' with decimal commas")
    return x, y, seconds


def _number(option: str, text: str | None, bounds: tuple[float, float], unit: str) -> float | None:
    """Read a number within bounds; what was typed stands in the message, whatever is wrong with it."""
    if text is None:
        return None
    low, high = bounds
    try:
        value = decimal(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        _refuse(option, text, f"{low:g} to {high:g} {unit}")
    return value


def _refuse(option: str, got: str, wanted: str) -> NoReturn:
    from penult.errors import InputError

    raise InputError(f"{option} cannot be {got!r}", f"wanted: {wanted}", next_step="see analyse --help")
