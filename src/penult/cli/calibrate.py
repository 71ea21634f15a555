"""`penult markers`, `calibrate`, `check` and `lens`: from an empty runway to a trusted lane file."""

from __future__ import annotations

from math import isfinite, nan
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from penult.cli.numbers import number as decimal
from penult.core.units import metres_of_other

if TYPE_CHECKING:
    from rich.console import Console

    from penult.app.calibrate import Calibrated
    from penult.app.check import Checked
    from penult.app.lanes import LaneFacts
    from penult.model.calibration import LaneFit
    from penult.model.marker import MarkerPlace

WIDTH = 80
_WORST_SHOWN = 6
_FAR_CM = 1000.0


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("markers")(markers)
    app.command("calibrate")(calibrate)
    app.command("check")(check)
    app.command("lens")(lens)


def markers(
    out: Annotated[Path, typer.Option("--out", "-o", help="The PDF.", metavar="FILE")] = Path("markers.pdf"),
    count: Annotated[int, typer.Option("--count", help="How many.", min=1, max=50)] = 8,
    first: Annotated[int, typer.Option("--first", help="Number of the first.", min=0, max=49)] = 0,
    paper: Annotated[str, typer.Option("--paper", help="a4, letter, a3 or tabloid.")] = "a4",
) -> None:
    """Make sheets of markers to print; set up beside the runway, they calibrate a lane by themselves."""
    from penult.app.calibrate import write_markers
    from penult.errors import InputError
    from penult.outputs.pictures.marker_sheet import PAPER_MM, SIDE_MM

    paper = paper.strip().lower()
    if paper not in PAPER_MM:
        raise InputError(f"paper {paper!r} is not known", next_step=f"choose one of {', '.join(PAPER_MM)}")
    numbers = [n for n in range(first, first + count) if n < 50]
    place = write_markers(out, numbers, paper)
    console = _console()
    console.print(f"{place}: markers {numbers[0]} to {numbers[-1]}, {SIDE_MM[paper] / 10:g} cm", style="bold")
    console.print("print at 100 %, check the bar with a rule, and set them up as calibration/README.md says")


def calibrate(
    source: Annotated[Path, typer.Argument(help="Still or short clip of the empty runway.", metavar="STILL_OR_CLIP")],
    out: Annotated[
        Path, typer.Option("--out", "-o", help="The lane file; its still goes beside it.", metavar="FILE")
    ] = Path("lane.json"),
    marker: Annotated[
        list[str] | None,
        typer.Option(
            "--marker", help="Where a printed marker's middle stands, in metres (,flat if it lies).", metavar="N=X,Y,Z"
        ),
    ] = None,
    places: Annotated[
        Path | None,
        typer.Option(
            "--places",
            help="The same as a table: marker, x_m, y_m, z_m (side_m, lies). Of a sweep: name, x_m, z_m (y_m).",
            metavar="CSV",
        ),
    ] = None,
    clicks: Annotated[
        Path | None,
        typer.Option(
            "--clicks",
            help="Of a sweep: where marks are seen: name, frame (or time_s), pixel_x, pixel_y.",
            metavar="CSV",
        ),
    ] = None,
    side: Annotated[str, typer.Option("--side", help="Side of the markers' black square.", metavar="METRES")] = "0.15",
    marks: Annotated[
        Path | None,
        typer.Option("--marks", help="Marks: name, pixel_x, pixel_y, x_m, y_m, z_m.", metavar="CSV"),
    ] = None,
    distance: Annotated[
        str | None,
        typer.Option("--distance", help="Camera to the lane's middle line, taped, square to it.", metavar="METRES"),
    ] = None,
    lens_file: Annotated[Path | None, typer.Option("--lens", help="From 'penult lens'.", metavar="FILE")] = None,
    no_board: Annotated[
        bool, typer.Option("--no-board", help="x = 0 is a chosen mark, not the take-off line.")
    ] = False,
    note: Annotated[str, typer.Option("--note", help="Kept in the lane file.", metavar="TEXT")] = "",
    pick: Annotated[bool, typer.Option("--pick", help="Click the marks in a page in the browser.")] = False,
    port: Annotated[int, typer.Option("--port", help="Of that page; 0 takes a free one.")] = 0,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Only print the page's address; do not open it.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")] = False,
) -> None:
    """Make the lane file of one camera place: printed markers, marks clicked in a page, or a table of marks."""
    from penult.app.calibrate import calibrate_from_csv, calibrate_from_markers
    from penult.app.lanes import LaneFacts
    from penult.errors import InputError

    if sum([bool(marker), places is not None, marks is not None, pick]) > 1:
        hint = "give one of --marker, --places, --marks, --pick"
        raise InputError("more than one way to calibrate was given", next_step=hint)
    side_m = _option_m("--side", side, 0.02, 2.0)
    distance_m = None if distance is None else _option_m("--distance", distance, 0.5, 300.0)
    said = LaneFacts(camera_distance_m=distance_m, lens_file=lens_file, board=not no_board, note=note)
    if clicks is not None or (places is not None and _is_sweep(places)):
        done = _sweep(source, places, clicks, out, said, quiet=quiet)
        if done is not None and not quiet:
            _print_done(done)
        return
    if pick:
        _pick(source, out, said, port=port, open_browser=not no_browser)
        return
    if marks is not None:
        done = calibrate_from_csv(source, marks, out, said)
    elif places is not None or marker:
        where = places if places is not None else _places(marker or [], side_m)
        done = calibrate_from_markers(source, where, out, said, side_m=side_m)
    else:
        raise _nothing_given(source)
    if not quiet:
        _print_done(done)


def _print_done(done: Calibrated) -> None:
    from penult.core.lane.trust_map import disagreeing

    console = _console()
    _print_fit(done.fit, console)
    for line in (*disagreeing(done.fit), *done.notes):
        _print_wrapped("  ! ", line, console)
    console.print(f"\nfiles: {done.path}, {done.still.name}", soft_wrap=True)
    console.print(f"next: penult check {done.path}", style="dim", soft_wrap=True)


def _is_sweep(places: Path) -> bool:
    from penult.adapters.files.sweep_csv import is_table_of_names

    return is_table_of_names(places)


def _sweep(
    source: Path, places: Path | None, clicks: Path | None, out: Path, said: LaneFacts, *, quiet: bool
) -> Calibrated | None:
    """Make the lane file of a panned place from a sweep; without clicks, the page on which they are made."""
    from penult.app.sweep import calibrate_from_sweep, write_clicks_page
    from penult.cli.progress import shown_progress
    from penult.errors import CalibrationError

    if places is None:
        raise CalibrationError(
            "where the marks stand is not given",
            "given: --clicks alone",
            next_step="add --places CSV (name,x_m,z_m)",
        )
    with shown_progress(quiet=quiet) as progress:
        if clicks is None:
            page = write_clicks_page(source, places, out, progress)
        else:
            return calibrate_from_sweep(source, places, clicks, out, said, progress)
    if not quiet:
        _console().print(
            f"open {page}, click the marks, save the table, then run this again with --clicks", soft_wrap=True
        )
    return None


def _pick(source: Path, out: Path, said: LaneFacts, *, port: int, open_browser: bool) -> None:
    """Open the page in which marks are clicked."""
    from penult.app.calibrate import picture_of
    from penult.app.picking import picking
    from penult.review.picking import serve_picking

    console = _console()

    def say(line: str) -> None:
        console.print(line, soft_wrap=True)

    task = picking(picture_of(source), source, out, said)
    if serve_picking(task, port=port, say=say, open_browser=open_browser):
        console.print(f"files: {out}, {out.stem}.jpg", soft_wrap=True)
        console.print(f"next: penult check {out}", style="dim", soft_wrap=True)
    else:
        console.print("closed without saving; nothing was written")


def _nothing_given(source: Path) -> Exception:
    """Return what is said where no places were given: which markers are there, and how to type them."""
    from penult.app.calibrate import found_numbers
    from penult.errors import CalibrationError

    numbers = found_numbers(source)
    example = " ".join(f"--marker {n}=X,Y,Z" for n in numbers[:3])
    return CalibrationError(
        "where the markers stand is not given",
        f"found in the picture: marker {', '.join(map(str, numbers))}",
        next_step=f"add {example}{' ...' if len(numbers) > 3 else ''}, or --places CSV (calibration/README.md)",
    )


def _places(words: list[str], side_m: float) -> list[MarkerPlace]:
    """Read `3=-6.5,0.4,0`, `3=-6.5,0,1.5,flat`, and with decimal commas `3=-6,5; 0,4; 0`; lists every fault."""
    from penult.errors import CalibrationError
    from penult.model.marker import MarkerPlace

    found, faults = [], []
    for word in words:
        number, _, place = word.partition("=")
        parts = [p.strip() for p in place.split(";" if ";" in place else ",")]
        is_flat = parts[-1].lower() == "flat"
        try:
            x_m, y_m, z_m = (_metres(p) for p in (parts[:-1] if is_flat else parts))
            found.append(MarkerPlace(number=int(number), centre_m=(x_m, y_m, z_m), side_m=side_m, is_flat=is_flat))
        except ValueError as error:
            reason = str(error) if "metres" in str(error) else "a whole number, '=', and three numbers are wanted"
            faults.append(f"--marker {word}: {reason}")
    if faults:
        raise CalibrationError(
            "a marker's place cannot be read",
            *faults,
            next_step="write it like --marker 3=-6.50,0.40,0, or '3=-6,50; 0,40; 0'",
        )
    return found


def _option_m(option: str, text: str, low_m: float, high_m: float) -> float:
    """Read metres, with a decimal point or comma; what was typed stands in the message."""
    from penult.errors import InputError

    try:
        value = decimal(text)
    except ValueError:
        value = nan
    if not low_m <= value <= high_m:
        meant = metres_of_other(text)
        wanted = f"wanted: {low_m:g} to {high_m:g} metres" + (f"; that is {meant:.3f}" if meant is not None else "")
        raise InputError(f"{option} cannot be {text!r}", wanted, next_step="give metres, such as 12.30 or 0.15")
    return value


def _metres(text: str) -> float:
    try:
        value = decimal(text)
    except ValueError as error:
        meant = metres_of_other(text)
        told = f": metres are wanted, which is {meant:.3f}" if meant is not None else ""
        raise ValueError(f"{text!r} is not a number of metres{told}") from error
    if not -300.0 <= value <= 300.0:
        raise ValueError(f"{text!r} is not a place on a runway, in metres")
    return value


def check(
    lane: Annotated[Path, typer.Argument(help="Lane file.", metavar="LANE_FILE")],
    clip: Annotated[Path | None, typer.Argument(help="A clip to be measured with it.", metavar="[CLIP]")] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", help="Picture with the grid (else beside the lane file).", metavar="JPG"),
    ] = None,
    measured: Annotated[
        list[str] | None,
        typer.Option(
            "--measured",
            help="A distance measured once more, between two marks or two x: '-8 to 1.5 = 9.12'. Shows a wrong scale.",
            metavar="TEXT",
        ),
    ] = None,
    keep: Annotated[
        bool,
        typer.Option(
            "--keep", help="Write these distances into the lane file: results then say that the scale was checked."
        ),
    ] = False,
) -> None:
    """Say how good a lane file is, what uncertainty to expect, and what to do better."""
    from penult.app.check import check_lane
    from penult.cli.table import print_certainty
    from penult.core.lane.trust_map import good_for
    from penult.errors import InputError

    if keep and not measured:
        raise InputError("--keep keeps distances, and none was given", next_step='add --measured "-8 to 1.5 = 9.12"')
    done = check_lane(lane, clip, out, measured or (), keep=keep)
    console = _console()
    _print_fit(done.fit, console, every=True)
    _print_map(done, console)
    _print_wrapped("", good_for(done.fit, done.stretches), console)
    places = {
        "same": "the clip was filmed from the place of the still",
        "moved": "the camera was moved since the still; it is found again through the background",
        "moving": "the camera moves in the clip; it is followed through the background",
    }
    if done.place:
        console.print(f"\n{places[done.place]}")
    for distance in done.distances:
        _print_wrapped("  ! " if distance.differs else "    ", distance.text, console)
    if done.advice or done.notices:
        console.print("\nadvice", style="bold")
    for line in (*done.notices, *done.advice):
        _print_wrapped("  ! ", line, console)
    print_certainty(done.costs, done.look_first, console)
    if done.picture is not None:
        console.print(f"\nfiles: {done.picture}", soft_wrap=True)


def lens(
    sources: Annotated[
        list[Path], typer.Argument(help="Pictures of a flat chessboard, or one clip of it.", metavar="PICTURES_OR_CLIP")
    ],
    board: Annotated[
        str,
        typer.Option("--board", help="Where four squares meet, along by across (10 x 7 squares: 9x6).", metavar="NxM"),
    ] = "9x6",
    out: Annotated[Path, typer.Option("--out", "-o", help="The lens file.", metavar="FILE")] = Path("lens.json"),
    into: Annotated[
        Path | None, typer.Option("--into", help="Put the lens into this lane file too.", metavar="LANE_FILE")
    ] = None,
) -> None:
    """Measure a phone's lens, for one whose wide lens bends straight lines."""
    from penult.app.lens import into_lane, lens_from, write_lens

    found = lens_from(sources, _board(board))
    write_lens(found, out)
    console = _console()
    size = f"{found.image_size_px[0]} x {found.image_size_px[1]} px"
    console.print(f"lens at {size}, from {found.views} views of the board", style="bold")
    console.print(f"  focal length {found.lens.fx_px:.0f} +- {2 * found.focal_sd_px:.0f} px")
    console.print(f"  middle {found.lens.cx_px:.0f}, {found.lens.cy_px:.0f} px")
    console.print(
        f"  bends a corner of the picture by {abs(found.bend_px):.0f} px; corners fit to {found.rms_px:.2f} px"
    )
    if into is not None:
        _print_fit(into_lane(found, into), console)
    console.print(f"\nfiles: {out}" + (f", {into}" if into is not None else ""), soft_wrap=True)
    if into is None:
        console.print(f"next: penult calibrate ... --lens {out}", style="dim", soft_wrap=True)


def _board(text: str) -> tuple[int, int]:
    from penult.errors import InputError

    row, _, column = text.lower().partition("x")
    if not (row.isdigit() and column.isdigit() and 3 <= int(row) <= 40 and 3 <= int(column) <= 40):
        raise InputError(f"board {text!r} cannot be read", next_step="give inner corners, 3 or more each way, like 9x6")
    return int(row), int(column)


def _print_fit(fit: LaneFit, console: Console, *, every: bool = False) -> None:
    from penult.core.lane.camera import position_m
    from penult.core.lane.trust_map import together
    from penult.outputs.texts.plain import shown

    place = position_m(fit.camera)
    side = "right" if place[2] > 0.0 else "left"
    away = f"{abs(place[2]):.1f} m away" if fit.depth_known else f"about {abs(place[2]):.0f} m away (not known well)"
    console.print(f"{len(fit.residuals)} marks, RMS {fit.rms_px:.2f} px", style="bold")
    angle = f"{fit.view_angle_deg:.0f}"
    turned = f"turned {angle} degree{'' if angle == '1' else 's'} from square"
    _print_wrapped("", f"camera on the athlete's {side}, {away}, {place[1]:.1f} m up, {turned}", console)
    rows = sorted(together(fit.residuals), key=lambda r: -r.residual_cm)
    console.print("\n  mark                             residual cm   left out cm")
    for r in rows if every else rows[:_WORST_SHOWN]:
        flag = "  disagrees" if r.disagrees else ""
        off, left_out = _cm(r.residual_cm), _cm(r.left_out_cm)
        console.print(f"  {shown(r.name, 32):<32} {off:>11}   {left_out:>11}{flag}", soft_wrap=True)
    if not every and len(rows) > _WORST_SHOWN:
        console.print(f"  and {len(rows) - _WORST_SHOWN} more, better ones", style="dim")


def _cm(value: float) -> str:
    """Return centimetres as they are printed; how far off a wild mark is does not matter beyond 10 m."""
    if not isfinite(value):
        return "-"
    return f"{value:.1f}" if value < _FAR_CM else f"over {_FAR_CM:.0f}"


def _print_map(done: Checked, console: Console) -> None:
    if not done.stretches:
        return
    console.print("\nexpected from camera and view alone (19 times in 20)", style="bold")
    console.print("  at x m   cm per px   step length +- cm   hip height +- cm")
    for s in done.stretches:
        console.print(
            f"  {s.x_m:>6.1f}   {s.cm_per_px:>9.2f}   {100 * s.step_u95_m:>17.1f}   {100 * s.hip_u95_m:>16.1f}"
        )


def _print_wrapped(lead: str, text: str, console: Console) -> None:
    import textwrap

    lines = textwrap.wrap(text, width=min(WIDTH, console.width), initial_indent=lead, subsequent_indent=" " * len(lead))
    console.print("\n".join(lines), soft_wrap=True)


def _console() -> Console:
    from rich.console import Console

    return Console(highlight=False, markup=False)
