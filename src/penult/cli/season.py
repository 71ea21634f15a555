"""`penult season`: one athlete over the weeks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from penult.app.season import Written

WIDTH = 80


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("season")(season)


def season(
    athlete: Annotated[str, typer.Option("--athlete", help="Label of the athlete.", metavar="LABEL")],
    since: Annotated[
        str,
        typer.Option("--since", help="Count changes from this day on (else from the first session).", metavar="DATE"),
    ] = "",
    date_from: Annotated[str, typer.Option("--from", help="Only clips from this day on.", metavar="DATE")] = "",
    date_to: Annotated[str, typer.Option("--to", help="Only clips up to this day.", metavar="DATE")] = "",
    logbook: Annotated[
        Path | None, typer.Option("--logbook", help="Logbook, or a folder exported from one.", metavar="FILE")
    ] = None,
    out: Annotated[
        Path, typer.Option("--out", "-o", help="Folder of the page and the table.", metavar="FOLDER")
    ] = Path("season"),
    matters: Annotated[
        list[str] | None,
        typer.Option(
            "--matters",
            help="A change that matters: 'hip drop=1 cm' (may be repeated), or a file with measure and change in two columns.",
            metavar="TEXT",
        ),
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")] = False,
) -> None:
    """Show one athlete's season: measures over the dates, what changed, distance against speed."""
    from penult.adapters.logbook.place import default_place
    from penult.app.season import write_season
    from penult.cli.choices import base_choice, day, matters_of

    choice = base_choice(athlete, "", date_from, date_to, "")
    done = write_season(
        choice,
        since=day(since) if since else "",
        logbook=logbook or default_place(),
        out=out,
        matters=matters_of(matters),
    )
    if not quiet:
        _print(done)


def _print(done: Written) -> None:
    from rich.console import Console

    from penult.outputs.texts import words
    from penult.outputs.texts.plain import shown
    from penult.outputs.texts.season_findings import season_findings
    from penult.outputs.texts.verdicts import amount, full_words

    console = Console(highlight=False, markup=False, soft_wrap=True)
    s = done.season
    days = sorted({t.said.date for t in s.trials})
    span = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
    console.print(
        f"{shown(s.athlete)}: {words.counted(len(s.trials), 'clip')} on {words.counted(len(days), 'day')}, {span}",
        style="bold",
    )
    console.print(shown(f"from {done.source}", 400), style="dim")
    for text in season_findings(s):
        console.print(shown(text, 900), width=min(WIDTH, console.width), soft_wrap=False)
    beyond = [c for c in s.changes if c.beyond]
    console.print(f"\nsince {s.since}: {len(beyond)} of {len(s.changes)} changes beyond what could be chance")
    for c in beyond[:12]:
        term, limit = words.term(c.key.name), c.difference.half_width
        change = words.number(term.scale * c.difference.value, words.decimals(term.scale * limit), sign=True)
        strides = f", {c.condition.approach_strides} strides" if c.condition.approach_strides else ""
        about = f"{shown(c.condition.kind, 40) or 'kind not given'}{strides}"
        console.print(
            f"  {full_words(c.key)} ({about}): {change}{words.spaced(term.unit)}, detectable from {amount(limit, c.key.name)}"
        )
    for notice in s.notices:
        console.print(f"note: {shown(notice.text, 900)}", width=min(WIDTH, console.width), soft_wrap=False)
    console.print(f"\nfiles: {done.folder}: {', '.join(done.files)}")
