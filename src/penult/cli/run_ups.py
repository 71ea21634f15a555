"""`penult run-ups`: many run-ups of one athlete."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from penult.app.run_ups import Written

WIDTH = 80


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("run-ups")(run_ups)


def run_ups(
    results: Annotated[
        list[Path] | None,
        typer.Argument(help="Result folders of one athlete, or folders with results in them.", metavar="RESULT..."),
    ] = None,
    athlete: Annotated[
        str, typer.Option("--athlete", help="From the logbook: this athlete's clips.", metavar="LABEL")
    ] = "",
    kind: Annotated[str, typer.Option("--kind", help="From the logbook: this kind of clip.", metavar="TEXT")] = "",
    date_from: Annotated[str, typer.Option("--from", help="From the logbook: from this day on.", metavar="DATE")] = "",
    date_to: Annotated[str, typer.Option("--to", help="From the logbook: up to this day.", metavar="DATE")] = "",
    strides: Annotated[
        str, typer.Option("--strides", help="From the logbook: approach strides, 18 or 12-15.", metavar="N")
    ] = "",
    zone: Annotated[
        list[str] | None,
        typer.Option(
            "--zone", help="Mean speed between two places before the line, 11-6 (may be repeated).", metavar="M-M"
        ),
    ] = None,
    gates: Annotated[
        Path | None, typer.Option("--gates", help="Timing gates: CSV with place_m, time_s and run.", metavar="CSV")
    ] = None,
    logbook: Annotated[
        Path | None, typer.Option("--logbook", help="Logbook, or a folder exported from one.", metavar="FILE")
    ] = None,
    out: Annotated[
        Path, typer.Option("--out", "-o", help="Folder of the page and the tables.", metavar="FOLDER")
    ] = Path("run_ups"),
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")] = False,
) -> None:
    """Put many run-ups of one athlete together: where the feet scatter, from where they steer, what changed beyond speed."""
    from penult.adapters.logbook.place import default_place
    from penult.app.groups import Wanted
    from penult.app.run_ups import write_run_ups
    from penult.cli.choices import base_choice, refuse

    if not results and not athlete:
        refuse("the run-ups", "nothing given", "result folders, or --athlete LABEL for those in the logbook")
    choice = base_choice(athlete, kind, date_from, date_to, strides)
    wanted = Wanted(places=tuple(results)) if results else Wanted(choice=choice)
    zones = [_zone(z) for z in zone] if zone else [(-11.0, -6.0), (-6.0, -1.0)]
    done = write_run_ups(wanted, logbook=logbook or default_place(), out=out, zones_m=zones, gates=gates)
    if not quiet:
        _print(done)


def _zone(text: str) -> tuple[float, float]:
    """Return a zone along the runway from '11-6': metres before the line, the farther one first."""
    from penult.cli.choices import refuse

    first, _, last = text.replace("–", "-").partition("-")
    try:
        ends = float(first), float(last)
    except ValueError:
        refuse("--zone", text, "two distances to the line, such as 11-6")
    if not 0.0 <= ends[1] < ends[0] <= 300.0:
        refuse("--zone", text, "two distances to the line, the farther one first, such as 11-6")
    return -ends[0], -ends[1]


def _print(done: Written) -> None:
    from rich.console import Console

    from penult.core.clips.run_ups import run_names
    from penult.core.clips.steering import counted
    from penult.outputs.texts.plain import shown
    from penult.outputs.texts.run_up_words import (
        change_text,
        contact_name,
        day_text,
        run_line,
        scatter_text,
        shares_text,
        steering_text,
        told_scatter,
        trend_text,
    )

    console = Console(highlight=False, markup=False, soft_wrap=True)
    runs = done.runs
    console.print(f"{shown(runs.name)}: {counted(len(runs.trials))}, {shown(runs.group)}", style="bold")
    console.print(shown(f"from {done.source}", 400), style="dim")
    told = told_scatter(runs)
    needs = "" if told else ": needs three run-ups that show the same contact"
    console.print(f"\nscatter of the toe's place (95 %){needs}")
    for s in told:
        console.print(f"  {contact_name(s.number):<18}{scatter_text(s)}")
    console.print()
    for name, trial, splits in zip(run_names(runs.trials), runs.trials, runs.splits, strict=True):
        console.print(shown(run_line(name, trial, splits), 400), width=min(WIDTH, console.width), soft_wrap=False)
    console.print()
    sentences = [
        steering_text(runs.steering),
        shares_text(runs),
        trend_text(runs.drift, "the number of the run"),
        *(change_text(c) for c in runs.changes),
        *(day_text(d) for d in runs.days),
        *(f"note: {shown(n.text, 900)}" for n in runs.notices),
    ]
    for sentence in sentences:
        console.print(shown(sentence, 2000), width=min(WIDTH, console.width), soft_wrap=False)
    console.print(f"\nfiles: {done.folder}: {', '.join(done.files)}")
