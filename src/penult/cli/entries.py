"""`penult log entries`, `correct`, `remove`, `undo`, `history`: the logbook entry by entry."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from penult.cli.numbers import typed

if TYPE_CHECKING:
    from rich.console import Console

Place = Annotated[
    Path | None,
    typer.Option("--logbook", help="Which logbook (else $PENULT_LOGBOOK or the user's data folder).", metavar="FILE"),
]
Name = Annotated[str, typer.Argument(help="Name of the entry, such as tape-12.", metavar="ENTRY")]


def entries(
    athlete: Annotated[str, typer.Option("--athlete", help="Of this athlete alone.", metavar="LABEL")] = "",
    only: Annotated[str, typer.Option("--only", help="One kind: athlete, clip, tape or note.", metavar="KIND")] = "",
    logbook: Place = None,
) -> None:
    """List entries with their names, by which they are corrected and removed."""
    from penult.app.log import listed
    from penult.cli.choices import refuse
    from penult.outputs.texts.plain import shown

    kinds = ("athlete", "clip", "tape", "note")
    if only and only.rstrip("s") not in kinds:
        refuse("--only", only, "athlete, clip, tape or note")
    place, console = _place(logbook), _console()
    for e in listed(logbook=place, athlete=athlete, kinds=[only.rstrip("s")] if only else kinds):
        whose = shown(e.athlete, 40) or "nobody"
        console.print(f"{e.name:<12} {e.date:<10} {': '.join(w for w in (whose, shown(e.words, 200)) if w)}")
    console.print(f"logbook: {place}")


def correct(
    entry: Name,
    athlete: Annotated[str | None, typer.Option("--athlete", help="Whose it is.", metavar="LABEL")] = None,
    label: Annotated[str | None, typer.Option("--label", help="Of an athlete: the new label.", metavar="LABEL")] = None,
    date: Annotated[str | None, typer.Option("--date", help="Day, year-month-day.", metavar="DATE")] = None,
    session: Annotated[str | None, typer.Option("--session", help="Name of the session.", metavar="TEXT")] = None,
    kind: Annotated[str | None, typer.Option("--kind", help="Of a clip.", metavar="TEXT")] = None,
    strides: Annotated[int | None, typer.Option("--strides", help="Approach strides of a clip.", metavar="N")] = None,
    event: Annotated[str | None, typer.Option("--event", help="Of a tape result.", metavar="TEXT")] = None,
    distance: Annotated[
        float | None, typer.Option("--distance", help="Tape-measured.", metavar="METRES", parser=typed)
    ] = None,
    note: Annotated[str | None, typer.Option("--note", help="In your words.", metavar="TEXT")] = None,
    logbook: Place = None,
) -> None:
    """Correct an entry; what it was stays in the history."""
    from penult.app.log import corrected
    from penult.cli.choices import day
    from penult.cli.log import between, plain_label
    from penult.outputs.texts.plain import shown

    between("--distance", distance, 0.5, 100.0)
    between("--strides", strides, 1, 99)
    of_kind = entry.strip().lower().split("-")[0]
    said = {
        "athlete": None if athlete is None else plain_label(athlete),
        "label": None if label is None else plain_label(label),
        "date": None if date is None else day(date),
        "session": session,
        "kind": kind,
        "approach_strides": strides,
        "event": event,
        "official_distance_m" if of_kind == "clip" else "distance_m": distance,
        "text" if of_kind == "note" else "note": note,
    }
    changes = {k: v.strip() if isinstance(v, str) else v for k, v in said.items() if v is not None}
    place = _place(logbook)
    now = corrected(entry, changes, logbook=place)
    _console().print(f"{now.name}: {now.date} {shown(now.athlete, 60)}: {shown(now.words, 200)}\nlogbook: {place}")


def remove(
    entry: Annotated[list[str], typer.Argument(help="Names of entries, such as tape-12.", metavar="ENTRY...")],
    logbook: Place = None,
) -> None:
    """Take entries out; 'penult log undo' puts the last one back."""
    from penult.app.log import taken_out

    place = _place(logbook)
    taken_out(entry, logbook=place)
    _console().print(f"{len(entry)} taken out; 'penult log undo' puts them back, the last first\nlogbook: {place}")


def undo(logbook: Place = None) -> None:
    """Take the latest change of an entry back; say it again for the one before."""
    from penult.app.log import undone

    place = _place(logbook)
    done = undone(place)
    _console().print(f"taken back: {done.what} ({done.made_at[:10]})\nlogbook: {place}")


def history(logbook: Place = None) -> None:
    """List the changes of entries, the latest first."""
    from penult.app.log import changes_of

    place, console = _place(logbook), _console()
    for change in changes_of(place):
        undone = " (taken back)" if change.is_undone else ""
        console.print(f"{change.made_at[:16].replace('T', ' ')}  {change.what}{undone}")
    console.print(f"logbook: {place}")


COMMANDS: dict[str, Callable[..., None]] = {
    "entries": entries,
    "correct": correct,
    "remove": remove,
    "undo": undo,
    "history": history,
}


def _console() -> Console:
    from rich.console import Console

    return Console(highlight=False, markup=False, soft_wrap=True)


def _place(logbook: Path | None) -> Path:
    from penult.adapters.logbook.place import default_place

    return logbook or default_place()
