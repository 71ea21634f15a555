"""The result in the terminal: 80 columns, readable without colour."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from penult.cli.phases import phases_table, sequence_lines
from penult.model.measured import Measured
from penult.outputs.texts import certainty, drops, words

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rich.console import Console
    from rich.table import Table

    from penult.model.analysis import Analysis, Contact
    from penult.model.measured import Measures

WIDTH = 80

_PENULTIMATE = ("penultimate_hip_drop_share", "hip_drop_to_takeoff_m")
_TAKEOFF = (
    "toe_to_board_m",
    "approach_speed_m_per_s",
    "takeoff_velocity_x_m_per_s",
    "takeoff_velocity_y_m_per_s",
    "takeoff_angle_deg",
    "speed_loss_percent",
    "flight_distance_m",
)


def print_result(analysis: Analysis, folder: Path, console: Console) -> None:
    """Print a result: what was filmed, the step ladder, penultimate and take-off, warnings, where the files are.

    Parameters
    ----------
    analysis : Analysis
        The result.
    folder : Path
        Where its files are.
    console : rich.console.Console
        Honours NO_COLOR and a terminal without colours by itself.
    """
    print_numbers(analysis, console)
    print_files(folder, console)


def print_files(folder: Path, console: Console) -> None:
    """Print where the files of a result are."""
    console.print(f"\nfiles: {folder}", highlight=False, markup=False, soft_wrap=True)
    console.print("open summary.html there first", style="dim", highlight=False, markup=False)


def print_numbers(analysis: Analysis, console: Console) -> None:
    """Print all of a result but where its files are: they may not be there yet."""
    width = min(WIDTH, console.width)
    console.print(_first_line(analysis), style="bold", highlight=False, markup=False, width=width)
    ladder = _ladder(analysis, f" {words.PLUS_MINUS} ")
    unbounded = console.options.update(max_width=10 * width)
    if console.measure(ladder, options=unbounded).maximum > width:  # without the spaces nothing need be cut off
        ladder = _ladder(analysis, words.PLUS_MINUS)
    series = analysis.run.is_series
    if series:
        _print_phases(analysis, console, width)
    console.print(ladder, width=width)
    if not series or any(analysis.penultimate.values()):
        _print_drops(analysis, console)
        _print_lines("", _PENULTIMATE, analysis.penultimate, console)
    last = analysis.contact(0)
    title = "take-off" if analysis.run.has_takeoff else "last contact"
    if series:
        title = f"take-off of {words.contact_words(0, analysis.run)}"
    _print_lines(title, [n for n in _TAKEOFF if not (series and n == "flight_distance_m")], analysis.takeoff, console)
    if last and analysis.run.has_takeoff and not series:
        names = ("leg_angle_touchdown_deg", "knee_angle_min_deg")
        _print_lines("take-off leg", names, last.measures, console)
    if any(analysis.run_up.values()):
        _print_lines("run-up", [n for n, m in analysis.run_up.items() if m], analysis.run_up, console)
    _print_warnings(analysis, console)
    print_certainty(certainty.costs(analysis), certainty.look_first(analysis), console)
    checked = analysis.method.get("scale_check")
    if checked:
        console.print()
        _print_wrapped("", str(checked), console)


def _print_phases(analysis: Analysis, console: Console, width: int) -> None:
    """The phases come first: they are what such a clip was filmed for."""
    table = phases_table(analysis, f" {words.PLUS_MINUS} ")
    if console.measure(table, options=console.options.update(max_width=10 * width)).maximum > width:
        table = phases_table(analysis, words.PLUS_MINUS)
    console.print(table, width=width)
    for label, text in sequence_lines(analysis):
        console.print(f"  {label:<40} {text}", highlight=False, markup=False, soft_wrap=True)
    if analysis.sequence and analysis.sequence.began_before:
        _print_wrapped(
            "  - ", "the series began before the clip: 0 is the first contact wholly in the picture", console
        )
    console.print("")


def _first_line(analysis: Analysis) -> str:
    clip, run = analysis.clip, analysis.run
    parts = [clip.file, run.athlete, run.kind or "kind not given"]
    parts.append(f"{clip.capture_rate_hz:.4g} frames a second ({clip.capture_rate_from})")
    return ", ".join(part for part in parts if part)


def _ladder(analysis: Analysis, between: str) -> Table:
    """Return one row a contact; flight and step are those that end at it. `between` stands before an interval."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1), collapse_padding=True, show_edge=False)
    table.add_column("contact", no_wrap=True)
    table.add_column("foot", no_wrap=True)
    for head in ("flight\nms", "step\nm", "speed\nm/s", "contact\nms", "lowest\nhip cm"):
        table.add_column(head, justify="right", no_wrap=True)
    for contact in sorted(analysis.contacts, key=lambda c: c.number):
        table.add_row(*_ladder_row(analysis, contact, between), style="bold" if contact.number == -1 else None)
    return table


def _ladder_row(analysis: Analysis, contact: Contact, between: str) -> Iterable[str]:
    step = analysis.step(contact.number)
    yield words.contact_words(contact.number, analysis.run).replace(words.MINUS, "-")
    yield words.side(contact)
    for name in ("flight_time_s", "step_length_m", "step_speed_m_per_s"):
        yield _figures(name, step.measures, between) if step else ""
    yield _figures("contact_time_s", contact.measures, between)
    yield _figures("hip_height_lowest_m", contact.measures, between)


def _figures(name: str, measures: Measures, between: str) -> str:
    shown = words.shown(name, measures.get(name), minus="-")
    return "-" if shown.reason else f"{shown.value}{between}{shown.u95}"


def _print_lines(title: str, names: Iterable[str], measures: Measures, console: Console) -> None:
    """Print measures one a line, those with the same reason for having no value together."""
    from rich.text import Text

    if title:
        console.print(f"\n{title}", style="bold", highlight=False, markup=False)
    missing: dict[str, list[str]] = {}
    for name in names:
        measure = measures.get(name)
        shown = words.shown(name, measure, minus="-")
        if isinstance(measure, Measured):
            line = Text(f"  {words.term(name).words:<39} ")  # a longer name keeps its gap
            line.append(shown.text, style="bold")
            leaning = words.from_vertical(name, measure).replace(words.MINUS, "-").replace("the ", "")
            for extra in (leaning, "by hand" * shown.by_hand):
                line.append(f"  {extra}" if extra else "", style="dim")
            console.print(line, soft_wrap=True)
        else:
            missing.setdefault(shown.reason, []).append(words.term(name).words)
    for reason, which in missing.items():
        _print_wrapped("  - ", f"{'; '.join(which)}: not measured: {reason}", console)


def _print_drops(analysis: Analysis, console: Console) -> None:
    """Print the hip drop above the runway and, with mats, above what each foot stood on; then the mats, said and measured."""
    from rich.text import Text

    console.print("\npenultimate", style="bold", highlight=False, markup=False)
    for drop in drops.drops(analysis, minus="-"):
        if drop.shown.reason:
            _print_wrapped("  - ", f"hip drop {drop.above}: not measured: {drop.shown.reason}", console)
            continue
        line = Text(f"  {'hip drop ' + drop.above:<39} ")
        line.append(drop.shown.text, style="bold")
        line.append("  by hand" if drop.shown.by_hand else "", style="dim")
        console.print(line, soft_wrap=True)
    for mat in drops.mats_said_and_measured(analysis):
        console.print(f"  mat, {mat}", highlight=False, markup=False, soft_wrap=True)
    if finding := drops.finding(analysis):
        _print_wrapped("  ", finding.replace(words.MINUS, "-"), console)


def _print_warnings(analysis: Analysis, console: Console) -> None:
    if analysis.warnings:
        console.print("\nwarnings", style="bold", highlight=False, markup=False)
    for warning in analysis.warnings:
        _print_wrapped("  ! ", f"{warning.text} ({words.code_words(warning.code)})", console)


def print_certainty(costs: Sequence[str], look_first: Sequence[str], console: Console) -> None:
    """Print what costs certainty in a scene, and what to look at first because of it; nothing where nothing stands out."""
    if not costs:
        return
    console.print("\nwhat costs certainty here", style="bold", highlight=False, markup=False)
    for cost in costs:
        _print_wrapped("  - ", cost, console)
    if look_first:
        _print_wrapped("  look first at: ", "; ".join(look_first), console)


def _print_wrapped(lead: str, text: str, console: Console) -> None:
    """Print a sentence with its further lines indented under the first."""
    import textwrap

    lines = textwrap.wrap(
        text,
        width=min(WIDTH, console.width),
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_on_hyphens=False,
        break_long_words=False,
    )
    console.print("\n".join(lines), highlight=False, markup=False, soft_wrap=True)
