"""`penult compare`: two groups of clips, measure by measure."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from penult.app.compare import Compared, ComparedSeveral

WIDTH = 80


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("compare")(compare)


def compare(
    results: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Result folders, or folders with results in them, split into two groups by --by.", metavar="RESULT..."
        ),
    ] = None,
    first: Annotated[
        list[str] | None,
        typer.Option(
            "--first",
            help="First group: a result folder (may be repeated), or 'kind=mat drill,strides=12-15'.",
            metavar="GROUP",
        ),
    ] = None,
    second: Annotated[
        list[str] | None, typer.Option("--second", help="Second group, likewise.", metavar="GROUP")
    ] = None,
    by: Annotated[
        str,
        typer.Option(
            "--by",
            help="Split by kind, athlete, date, session, strides, mats, pattern, month or year; two results need none.",
            metavar="WORD",
        ),
    ] = "",
    athlete: Annotated[
        str, typer.Option("--athlete", help="From the logbook: this athlete's clips.", metavar="LABEL")
    ] = "",
    kind: Annotated[str, typer.Option("--kind", help="From the logbook: this kind of clip.", metavar="TEXT")] = "",
    date_from: Annotated[str, typer.Option("--from", help="From the logbook: from this day on.", metavar="DATE")] = "",
    date_to: Annotated[str, typer.Option("--to", help="From the logbook: up to this day.", metavar="DATE")] = "",
    strides: Annotated[
        str, typer.Option("--strides", help="From the logbook: approach strides, 18 or 12-15.", metavar="N")
    ] = "",
    weeks: Annotated[
        str,
        typer.Option(
            "--weeks", help="Only these weeks of any year, 40-44: with --by year the same weeks of each.", metavar="N"
        ),
    ] = "",
    logbook: Annotated[
        Path | None, typer.Option("--logbook", help="Logbook, or a folder exported from one.", metavar="FILE")
    ] = None,
    out: Annotated[
        Path, typer.Option("--out", "-o", help="Folder of the page and the tables.", metavar="FOLDER")
    ] = Path("comparison"),
    across_lanes: Annotated[
        bool,
        typer.Option(
            "--across-lanes", help="Groups without a common lane file: each lane file's mean counts as one value."
        ),
    ] = False,
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
    """Compare two groups of clips: values, differences with their 95 % interval, curves and pictures."""
    from penult.adapters.logbook.place import default_place
    from penult.app.compare import Compared, compare_split, compare_two
    from penult.app.groups import SPLITS, Wanted, two_runs
    from penult.cli.choices import base_choice, matters_of, refuse, wanted_of, weeks_of

    place = logbook or default_place()
    base = base_choice(athlete, kind, date_from, date_to, strides)
    if bool(first) != bool(second) or (first and results):
        refuse("the groups", "half given", "both --first and --second, or results to be split with --by")
    done: Compared | ComparedSeveral
    pair = two_runs(results or []) if not by else None
    if (first and second) or pair:
        one, other = pair or (wanted_of(first or [], base), wanted_of(second or [], base))
        done = compare_two(
            one,
            other,
            logbook=place,
            out=out,
            across_lanes=across_lanes,
            matters=matters_of(matters),
        )
    else:
        by = by or "kind"
        if by not in SPLITS:
            refuse("--by", by, ", ".join(SPLITS))
        wanted = Wanted(places=tuple(results)) if results else Wanted(choice=base)
        done = compare_split(
            wanted,
            by,
            logbook=place,
            out=out,
            across_lanes=across_lanes,
            matters=matters_of(matters),
            weeks=weeks_of(weeks) if weeks else None,
        )
    if quiet:
        return
    if isinstance(done, Compared):
        _print(done)
    else:
        _print_several(done)


def _print_several(done: ComparedSeveral) -> None:
    from rich.console import Console

    from penult.outputs.pages.comparison import group_title
    from penult.outputs.texts.plain import shown
    from penult.outputs.texts.several_findings import several_findings

    console = Console(highlight=False, markup=False, soft_wrap=True)
    s = done.several
    console.print(shown(f"{len(s.groups)} groups against {s.groups[s.against].name}"), style="bold")
    console.print(shown(f"from {done.source}", 400), style="dim")
    for group in s.groups:
        console.print(shown(f"  {group_title(group)}"))
    for text in several_findings(s):
        console.print(shown(text, 900), width=min(WIDTH, console.width), soft_wrap=False)
    console.print(f"\nfiles: {done.folder}: {', '.join(done.files)}")


def _print(done: Compared) -> None:
    from rich.console import Console

    from penult.outputs.pages.comparison import group_title
    from penult.outputs.texts.plain import shown

    console = Console(highlight=False, markup=False, soft_wrap=True)
    c = done.comparison
    console.print(shown(f"{group_title(c.first)} against {group_title(c.second)}"), style="bold")
    console.print(shown(f"from {done.source}", 400), style="dim")
    from penult.outputs.texts.findings import comparison_findings

    for text in comparison_findings(c):
        console.print(shown(text, 900), width=min(WIDTH, console.width), soft_wrap=False)
    _print_headlines(done, console)
    for notice in c.notices:
        console.print(f"note: {shown(notice.text, 900)}", width=min(WIDTH, console.width), soft_wrap=False)
    console.print(f"\nfiles: {done.folder}: {', '.join(done.files)}")


def _print_headlines(done: Compared, console: Console) -> None:
    from penult.outputs.pages.comparison import headlines
    from penult.outputs.texts.verdicts import shown_row

    for key in headlines(done.comparison):
        row = done.comparison.row(key)
        if row is None:
            continue
        s = shown_row(row)
        name = ", ".join(w for w in (s.words, s.where) if w)
        console.print(f"\n{name}: {s.first} | {s.second}")
        reason = f" ({s.reason})" if s.reason else ""
        text = f"{s.verdict}{reason}" if row.difference is None else f"difference {s.difference}: {s.verdict}{reason}"
        console.print(f"  {text}", width=min(WIDTH, console.width), soft_wrap=False)
