"""`penult log ...`: the logbook."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from penult.cli.entries import COMMANDS as ENTRY_COMMANDS
from penult.cli.numbers import typed

if TYPE_CHECKING:
    from rich.console import Console

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
    for name, command in {**_COMMANDS, **ENTRY_COMMANDS}.items():
        log.command(name)(command)
    app.add_typer(log)


def show(logbook: Place = None) -> None:
    """Show what the logbook holds."""
    from penult.app.log import contents, unfinished

    place = _place(logbook)
    _print_contents(contents(place), place)
    _print_unfinished(unfinished(place))


def check(logbook: Place = None) -> None:
    """Read the whole file for damage."""
    from penult.app.log import check as checked
    from penult.app.log import unfinished

    place = _place(logbook)
    found = checked(place)
    _console().print("the file is sound")
    _print_contents(found, place)
    _print_unfinished(unfinished(place))


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
    distance: Annotated[
        float | None, typer.Option("--distance", help="Tape-measured jump.", metavar="METRES", parser=typed)
    ] = None,
    note: Annotated[str, typer.Option("--note", help="In your words.", metavar="TEXT")] = "",
    logbook: Place = None,
) -> None:
    """Add results; a result of the same run of the same clip is replaced."""
    from penult.app.log import add_results
    from penult.cli.choices import day
    from penult.model.trial import Said
    from penult.outputs.texts.words import counted

    between("--strides", strides, 1, 99)
    between("--distance", distance, 0.5, 30.0)
    said = Said(
        date=day(date) if date else "",
        session=session.strip(),
        approach_strides=strides,
        official_distance_m=distance,
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
    height: Annotated[
        float | None, typer.Option("--height", help="Standing height.", metavar="METRES", parser=typed)
    ] = None,
    leg_length: Annotated[
        float | None, typer.Option("--leg-length", help="Hip joint to floor.", metavar="METRES", parser=typed)
    ] = None,
    logbook: Place = None,
) -> None:
    """Add an athlete, or change what is known of one."""
    from penult.app.log import put_athlete
    from penult.cli.choices import refuse
    from penult.model.logbook import Athlete

    if sex not in (None, "female", "male"):
        refuse("--sex", str(sex), "female or male")
    between("--height", height, 0.8, 2.5)
    between("--leg-length", leg_length, 0.4, 1.4)
    place = _place(logbook)
    put_athlete(Athlete(label=plain_label(label), sex=sex, height_m=height, leg_length_m=leg_length), logbook=place)
    _console().print(f"written\nlogbook: {place}")


def tape(
    label: Annotated[str, typer.Argument(help="Label of the athlete.", metavar="LABEL")],
    distance: Annotated[float, typer.Argument(help="Tape-measured distance.", metavar="METRES", parser=typed)],
    event: Annotated[
        str, typer.Option("--event", help="Such as 'long jump' or 'four bounds and a jump'.", metavar="TEXT")
    ] = "long jump",
    date: Annotated[str, typer.Option("--date", help="Day, year-month-day.", metavar="DATE")] = "",
    note: Annotated[str, typer.Option("--note", help="In your words.", metavar="TEXT")] = "",
    logbook: Place = None,
) -> None:
    """Add a tape-measured result: a jump, or a bound series."""
    from penult.app.log import put_tape
    from penult.model.logbook import TapeResult

    between("METRES", distance, 0.5, 100.0)
    place = _place(logbook)
    result = TapeResult(
        athlete=plain_label(label),
        date=_day_or_today(date),
        event=event.strip(),
        distance_m=distance,
        note=note.strip(),
    )
    name = put_tape(result, logbook=place)
    _console().print(f"{f'written as {name}' if name else 'there already'} for {result.date}\nlogbook: {place}")


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
    said = CoachNote(athlete=plain_label(label), date=_day_or_today(date), text=text.strip())
    name = put_note(said, logbook=place)
    _console().print(f"{f'written as {name}' if name else 'there already'}\nlogbook: {place}")


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
    from penult.outputs.texts.words import counted

    place = _place(logbook)
    done = import_logbook(folder, logbook=place)
    added = ", ".join(f"{done.added[t]} {word}" for t, word in _TABLES.items() if done.added[t]) or "nothing new"
    _console().print(f"added: {added}; {counted(done.kept_clips, 'clip')} here already, kept\nlogbook: {place}")


def forget(
    label: Annotated[str, typer.Argument(help="Label of the athlete.", metavar="LABEL")],
    results: Annotated[
        list[Path] | None,
        typer.Option("--results", help="Search this folder too (may be repeated).", metavar="FOLDER"),
    ] = None,
    keep_results: Annotated[
        bool, typer.Option("--keep-results", help="Leave all folders as they are: only the logbook.")
    ] = False,
    everywhere: Annotated[
        bool | None,
        typer.Option(
            "--everywhere/--not-everywhere",
            help="Black the label out in texts about others; by itself only where it is no plain word or number.",
        ),
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only list what would go.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    logbook: Place = None,
) -> None:
    """Remove a person: logbook, backups, results, pages, exports, copies, cache; then search all of it again."""
    from penult.app.forget import forget_athlete, plan
    from penult.cli.fault import StoppedError
    from penult.cli.forgetting import print_forgotten, print_plan, stopped
    from penult.core.label import is_plain
    from penult.outputs.texts.plain import shown

    place = _place(logbook)
    said = results or []
    if dry_run or not yes:
        found = plan(label, logbook=place, results=said)
        blacks_out = everywhere if everywhere is not None else not is_plain(label)
        print_plan(found, keep_results=keep_results, blacks_out=blacks_out)
    if dry_run:
        _console().print(f"nothing was changed\nlogbook: {place}")
        return
    if not yes:
        typer.confirm(f"Remove {shown(label)} for good?", abort=True, err=True)
    try:
        done = forget_athlete(label, logbook=place, results=said, keep_results=keep_results, everywhere=everywhere)
    except StoppedError:
        stopped()
    print_forgotten(done, label, place)


def _print_unfinished(begun: list[str]) -> None:
    for when in begun:
        _console().print(
            f"forgetting somebody was begun on {when[:10]} and is not finished: say it again with their label"
        )


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
    from penult.adapters.logbook.place import default_place

    return logbook or default_place()


def plain_label(text: str) -> str:
    """Return a label without blanks around it; raise if it is none."""
    from penult.cli.choices import refuse

    plain = text.strip()
    if not 1 <= len(plain) <= 200:
        refuse("a label", text, "1 to 200 characters")
    return plain


def _day_or_today(text: str) -> str:
    import datetime as dt

    from penult.cli.choices import day

    return day(text) if text else dt.datetime.now().astimezone().date().isoformat()


def between(option: str, value: float | None, low: float, high: float) -> None:
    """Raise unless a number lies in its range."""
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
