"""`penult film`: the film of a result in another shape, language or unit, or of two results on one clock."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from penult.model.showing import Shape, Showing

FilmOption = Annotated[
    str,
    typer.Option(
        "--film",
        help="landscape or portrait (both follow the athlete), or whole (the picture as filmed).",
        metavar="SHAPE",
    ),
]
LanguageOption = Annotated[
    str, typer.Option("--language", help="en, de, fr or es; else that of this computer.", metavar="WORD")
]
AlignOption = Annotated[
    str,
    typer.Option(
        "--align",
        help="Of two: where they meet. 'penultimate touchdown', 'lowest hips', 'take-off touchdown', 'toe-off', or "
        "'landing 1', 'landing 2' ... of bounds, hops and triple jumps.",
        metavar="INSTANT",
    ),
]
UnitsOption = Annotated[str, typer.Option("--units", help="metres or feet (and inches), for lengths.", metavar="WORD")]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("film")(film)


def film(
    results: Annotated[
        list[Path], typer.Argument(help="Folder of a result, or of two to see together.", metavar="RESULT...")
    ],
    film: FilmOption = "landscape",
    align: AlignOption = "",
    language: LanguageOption = "",
    units: UnitsOption = "",
    out: Annotated[
        Path | None, typer.Option("-o", "--out", help="The film's file (else in the first result).", metavar="FILE")
    ] = None,
    clip: Annotated[
        Path | None, typer.Option("--clip", help="The film, where it does not lie beside the result.", metavar="FILE")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")] = False,
) -> None:
    """Write the film of a result in another shape; of two: side by side, or with --film portrait one above the other."""
    from penult.app.film import PAIR, film_of_one, film_of_two
    from penult.cli.progress import shown_progress

    check_two(results, align, clip)
    showing = showing_said(film, language, units)
    with shown_progress(quiet=quiet) as progress:
        if len(results) == 1:
            place = film_of_one(results[0], out, showing, clip=clip, progress=progress)
        else:
            place = film_of_two(results, out or results[0] / PAIR, showing, align=align or None, progress=progress)
    if not quiet:
        size = place.stat().st_size / 1e6
        sys.stderr.write(f"{place}: {size:.1f} MB; faces are to be seen in it ('penult share' hides them)\n")


def check_two(results: list[Path], align: str, clip: Path | None) -> None:
    """Refuse what does not go with the number of results.

    Raises
    ------
    InputError
        With what to do instead.
    """
    from penult.errors import InputError

    if len(results) > 2:
        raise InputError(f"a film shows one result or two, not {len(results)}", next_step="name two")
    if align and len(results) == 1:
        raise InputError("--align goes with two results", next_step="name the second one too")
    if clip is not None and len(results) == 2:
        raise InputError("--clip goes with one result", next_step="keep each film beside its result")


def showing_said(film: str, language: str, units: str) -> Showing:
    """Return how a result is to be shown, from what was typed; the language of this computer where none was."""
    from penult.app.showing import language_here
    from penult.cli.choices import refuse
    from penult.model.showing import LANGUAGES, SHAPES, UNITS, Showing

    for option, word, wanted in (
        ("--film", film, SHAPES),
        ("--language", language, LANGUAGES),
        ("--units", units, UNITS),
    ):
        if word and word not in wanted:
            refuse(option, word, ", ".join(wanted))
    shape: Shape = next((s for s in SHAPES if s == film), "landscape")
    tongue = next((s for s in LANGUAGES if s == language), None) or language_here()
    return Showing(film=shape, language=tongue, units=next((s for s in UNITS if s == units), "metres"))
