"""`penult log ...`: the logbook."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from penult.app.log import Forgotten
    from penult.model.logbook import Contents

Place = Annotated[
    Path | None,
    typer.Option("--logbook", help="Which logbook (else $PENULT_LOGBOOK or the user's data folder).", metavar="FILE"),
]

_TABLES = {"clip": "clips", "session": "sessions", "tape": "tape results", "note": "notes", "correction": "corrections"}


def register(app: typer.Typer) -> None:
    """Add the commands."""
    log = typer.Typer(
        name="log",
        help="The logbook: athletes, clips and their measures, notes and tape results, in one file on this machine.",
        no_args_is_help=True,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    for name, command in _COMMANDS.items():
        log.command(name)(command)
    app.add_typer(log)


def show(logbook: Place = None) -> None:
    """Show what the logbook holds."""
    from penult.app.log import contents

    place = _place(logbook)
    _print_contents(contents(place), place)


def check(logbook: Place = None) -> None:
    """Read the whole file for damage."""
    from penult.app.log import check as checked

    place = _place(logbook)
    found = checked(place)
    _console().print("the file is sound")
    _print_contents(found, place)


def add(
    results: Annotated[
        list[Path], typer.Argument(help="Result folders, or folders with results in them.", metavar="RESULT...")
    ],
    athlete: Annotated[
        str, typer.Option("--athlete", help="Instead of what stands in the result.", metavar="LABEL")
    ] = "",
    kind: Annotated[str, typer.Option("--kind", help="Instead of what stands in the result.", metavar="TEXT")] = "",
    date: Annotated[str, typer.Option("--date", help="Day of the session, year-month-day.", metavar="DATE")] = "",
    session: Annotated[str, typer.Option("--session", help="Name of the session.", metavar="TEXT")] = "",
    strides: Annotated[int | None, typer.Option("--strides", help="Approach strides.", metavar="N")] = None,
    distance: Annotated[str | None, typer.Option("--distance", help="Tape-measured jump.", metavar="METRES")] = None,
    note: Annotated[str, typer.Option("--note", help="In your words.", metavar="TEXT")] = "",
    logbook: Place = None,
) -> None:
    """Add results; a result of the same run of the same clip is replaced."""
    from penult.app.log import add_results
    from penult.cli.choices import day, metres
    from penult.model.trial import Said
    from penult.outputs.texts.words import counted

    _between("--strides", strides, 1, 99)
    said = Said(
        date=day(date) if date else "",
        session=session.strip(),
        approach_strides=strides,
        official_distance_m=None if distance is None else metres("--distance", distance, 0.5, 30.0),
        note=note.strip(),
    )
    place = _place(logbook)
    done = add_results(results, said, athlete=athlete.strip(), kind=kind.strip(), logbook=place)
    console = _console()
    console.print(
        f"{counted(len(done.trials), 'result')} added, {done.replaced} of them in the place of an earlier one"
    )
    if any(not t.said.date for t in done.trials):
        console.print("note: clips without a date do not appear in a season; add them again with --date")
    console.print(f"logbook: {place}")


def athlete(
    label: Annotated[str, typer.Argument(help="A label, not necessarily a name.", metavar="LABEL")],
    sex: Annotated[
        str | None, typer.Option("--sex", help="female or male: the body's mass table.", metavar="female|male")
    ] = None,
    height: Annotated[float | None, typer.Option("--height", help="Standing height.", metavar="METRES")] = None,
    leg_length: Annotated[
        float | None, typer.Option("--leg-length", help="Hip joint to floor.", metavar="METRES")
    ] = None,
    logbook: Place = None,
) -> None:
    """Add an athlete, or change what is known of one."""
    from penult.app.log import put_athlete
    from penult.cli.choices import refuse
    from penult.model.logbook import Athlete

    if sex not in (None, "female", "male"):
        refuse("--sex", str(sex), "female or male")
    _between("--height", height, 0.8, 2.5)
    _between("--leg-length", leg_length, 0.4, 1.4)
    place = _place(logbook)
    put_athlete(Athlete(label=_label(label), sex=sex, height_m=height, leg_length_m=leg_length), logbook=place)
    _console().print(f"written\nlogbook: {place}")


def tape(
    label: Annotated[str, typer.Argument(help="Label of the athlete.", metavar="LABEL")],
    distance: Annotated[str, typer.Argument(help="Tape-measured distance.", metavar="METRES")],
    event: Annotated[
        str, typer.Option("--event", help="Such as 'long jump' or 'four bounds and a jump'.", metavar="TEXT")
    ] = "long jump",
    date: Annotated[str, typer.Option("--date", help="Day, year-month-day.", metavar="DATE")] = "",
    note: Annotated[str, typer.Option("--note", help="In your words.", metavar="TEXT")] = "",
    logbook: Place = None,
) -> None:
    """Add a tape-measured result: a jump, or a bound series."""
    from penult.app.log import put_tape
    from penult.cli.choices import metres
    from penult.model.logbook import TapeResult

    distance_m = metres("METRES", distance, 0.5, 100.0)
    place = _place(logbook)
    result = TapeResult(
        athlete=_label(label), date=_day_or_today(date), event=event.strip(), distance_m=distance_m, note=note.strip()
    )
    put_tape(result, logbook=place)
    _console().print(f"written for {result.date}\nlogbook: {place}")


def note(
    label: Annotated[str, typer.Argument(help="Label of the athlete.", metavar="LABEL")],
    text: Annotated[str, typer.Argument(help="In your words.", metavar="TEXT")],
    date: Annotated[str, typer.Option("--date", help="Day, year-month-day.", metavar="DATE")] = "",
    logbook: Place = None,
) -> None:
    """Add a note on an athlete."""
    from penult.app.log import put_note
    from penult.model.logbook import CoachNote

    place = _place(logbook)
    put_note(CoachNote(athlete=_label(label), date=_day_or_today(date), text=text.strip()), logbook=place)
    _console().print(f"written\nlogbook: {place}")


def export(
    folder: Annotated[Path, typer.Argument(help="New or empty folder, or an earlier export.", metavar="FOLDER")],
    logbook: Place = None,
) -> None:
    """Write the whole logbook as CSV files, which `penult log import` reads back."""
    from penult.app.log import export_logbook

    place = _place(logbook)
    counts = export_logbook(folder, logbook=place)
    _console().print(f"{sum(counts.values())} rows written to {folder}\nlogbook: {place}")


def import_(
    folder: Annotated[Path, typer.Argument(help="Folder that `penult log export` wrote.", metavar="FOLDER")],
    logbook: Place = None,
) -> None:
    """Add an exported logbook to this one; what is here already stays as it is."""
    from penult.app.log import import_logbook

    place = _place(logbook)
    done = import_logbook(folder, logbook=place)
    added = ", ".join(f"{done.added[t]} {word}" for t, word in _TABLES.items() if done.added[t]) or "nothing new"
    _console().print(f"added: {added}; {done.kept_clips} clips were here already and stayed\nlogbook: {place}")


def forget(
    label: Annotated[str, typer.Argument(help="Label of the athlete.", metavar="LABEL")],
    results: Annotated[
        list[Path] | None,
        typer.Option("--results", help="More folders with results of this person (may be repeated).", metavar="FOLDER"),
    ] = None,
    keep_results: Annotated[
        bool, typer.Option("--keep-results", help="Leave the result folders where they are.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    logbook: Place = None,
) -> None:
    """Remove a person from the logbook, its backups, their results and the cache, and prove it."""
    from penult.app.log import contents, forget_athlete
    from penult.outputs.texts.plain import shown

    place = _place(logbook)
    clips = next((n for a, n in contents(place).athletes if a.label.casefold() == label.casefold()), 0)
    if not yes:
        typer.confirm(
            f"Remove {shown(label)} with {clips} clips and their result folders for good?", abort=True, err=True
        )
    done = forget_athlete(label, logbook=place, results=results or [], keep_results=keep_results)
    _print_forgotten(done, label, place)


def _print_forgotten(done: Forgotten, label: str, place: Path) -> None:
    from penult.outputs.texts.plain import shown

    console, e = _console(), done.erased
    rows = ", ".join(f"{n} {table}" for table, n in e.rows.items() if n)
    console.print(f"removed: {rows}; blacked out in {e.rewritten} texts of others")
    for folder in done.removed:
        console.print(f"deleted: {shown(str(folder), 400)}")
    for folder, why in done.left:
        console.print(f"left: {shown(str(folder), 400)}: {why}")
    console.print(f"cache of joints emptied: {done.cache_bytes / 1e6:.1f} MB")
    console.print(
        f"proof: {shown(label)} stands in {e.left_in_text} texts of {len(e.files)} files searched byte by byte:"
    )
    for file in e.files:
        console.print(f"  {file}")
    if e.left_in_bytes:
        console.print(f"  (the same bytes stand {e.left_in_bytes} times inside longer words or numbers of others)")
    console.print("the films themselves are yours to delete")
    console.print(f"logbook: {place}")


def _print_contents(found: Contents, place: Path) -> None:
    from penult.outputs.texts.plain import shown

    console = _console()
    console.print(f"logbook: {place}", style="bold")
    days = f", {found.first_date} to {found.last_date}" if found.first_date else ""
    counts = (f"{n} {word[:-1] if n == 1 else word}" for t, word in _TABLES.items() for n in [found.counts[t]])
    console.print(", ".join(counts) + days)
    for one, clips in found.athletes:
        facts = [
            f"{clips} clip{'' if clips == 1 else 's'}",
            one.sex or "",
            f"{one.height_m:.2f} m" if one.height_m else "",
        ]
        facts += [f"leg {one.leg_length_m:.2f} m"] if one.leg_length_m else []
        console.print(f"  {shown(one.label, 60)}: {', '.join(f for f in facts if f)}")


def _console() -> Console:
    from rich.console import Console

    return Console(highlight=False, markup=False, soft_wrap=True)


def _place(logbook: Path | None) -> Path:
    from penult.adapters.logbook.book import default_place

    return logbook or default_place()


def _label(text: str) -> str:
    from penult.cli.choices import refuse

    plain = text.strip()
    if not 1 <= len(plain) <= 200:
        refuse("a label", text, "1 to 200 characters")
    return plain


def _day_or_today(text: str) -> str:
    import datetime as dt

    from penult.cli.choices import day

    return day(text) if text else dt.datetime.now().astimezone().date().isoformat()


def _between(option: str, value: float | None, low: float, high: float) -> None:
    from penult.cli.choices import refuse

    if value is not None and not low <= value <= high:
        refuse(option, str(value), f"{low:g} to {high:g}")


_COMMANDS: dict[str, Callable[..., None]] = {
    "show": show,
    "add": add,
    "athlete": athlete,
    "tape": tape,
    "note": note,
    "export": export,
    "import": import_,
    "forget": forget,
    "check": check,
}
