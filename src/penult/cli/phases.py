"""The phases of a series in the terminal: one row a phase, then what they show together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from penult.core.checks.said_kind import seen_words
from penult.model import catalogue
from penult.model.measured import Measured
from penult.outputs.texts import references, words

if TYPE_CHECKING:
    from rich.table import Table

    from penult.model.analysis import Analysis, Phase

_COLUMNS = (
    ("distance_m", "distance\nm"),
    ("contact_time_s", "contact\nms"),
    ("flight_time_s", "flight\nms"),
    ("speed_in_m_per_s", "in\nm/s"),
    ("takeoff_velocity_y_m_per_s", "up\nm/s"),
    ("takeoff_angle_deg", "angle\n°"),
)


def phases_table(analysis: Analysis, between: str) -> Table:
    """Return one row a phase, in the order of time; `between` stands before an interval."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1), collapse_padding=True, show_edge=False)
    table.add_column("phase", no_wrap=True)
    table.add_column("foot", no_wrap=True)
    for _, head in _COLUMNS:
        table.add_column(head, justify="right", no_wrap=True)
    for phase in sorted(analysis.phases, key=lambda p: p.number):
        table.add_row(*_row(analysis, phase, between))
    return table


def _row(analysis: Analysis, phase: Phase, between: str) -> list[str]:
    feet = {"left": "L", "right": "R", "?": "?", "sand": "sand", "": ""}
    cells = [words.phase_words(phase.number, phase.kind, analysis.run), f"{feet[phase.foot]} {feet[phase.lands_on]}"]
    for name, _ in _COLUMNS:
        shown = words.shown(name, phase.measures.get(name), minus="-")
        cells.append("-" if shown.reason else f"{shown.value}{between}{shown.u95}")
    return cells


def sequence_lines(analysis: Analysis) -> list[tuple[str, str]]:
    """Return what all phases together show: words and value, or the reason why there is none."""
    sequence = analysis.sequence
    if sequence is None:
        return []
    seen = seen_words([kind for _, kind in analysis.run.phases])
    lines = [("seen", f"{seen}, feet {sequence.feet} from contact {sequence.first_contact} on")]
    hop = analysis.phases[0].measures.get("hop_from_board_m") if analysis.phases else None
    if isinstance(hop, Measured):
        lines.append((words.term("hop_from_board_m").words, words.shown("hop_from_board_m", hop, minus="-").text))
    for name in catalogue.names("sequence"):
        shown = words.shown(name, sequence.measures.get(name), minus="-")
        if not shown.reason:
            lines.append((words.term(name).words, shown.text))
    ratio, published = words.ratio_text(analysis), references.ratio_beside(analysis)
    told = (("shares of the distance", ratio), ("published, for orientation", published))
    return [*lines, *((label, text) for label, text in told if text)]
