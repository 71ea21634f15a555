"""What change matters: set by the coach, measure by measure, and kept apart from what can be seen. Pure.

'Seen' is a question to the clips, 'matters' one to the coach: a change may be certain and too small to matter, or large enough to
matter and not certain yet. Nothing is set beforehand.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from penult.core.clips.statistics import clips_needed
from penult.core.typed import number
from penult.model import catalogue
from penult.model.catalogue.entry import UNITS, Entry
from penult.model.comparison import ComparedMeasure

Matters = Mapping[str, float]
"""Name of a measure in the result -> change in its own unit (metres, seconds, degrees)."""

SHORT: dict[str, str] = {
    "hip drop": "penultimate_hip_drop_m",
    "contact time": "contact_time_s",
    "take-off angle": "takeoff_angle_deg",
    "takeoff angle": "takeoff_angle_deg",
    "approach speed": "approach_speed_m_per_s",
    "step length": "step_length_m",
    "foot angle": "foot_angle_touchdown_deg",
    "leg angle": "leg_angle_touchdown_deg",
    "toe to board": "toe_to_board_m",
}
"""Plain words that a coach may type besides a measure's full words or its name in the result."""

ALIKE: dict[str, str] = {"penultimate_hip_drop_above_support_m": "penultimate_hip_drop_m"}
"""Counted above what each foot stood on it is the same movement: one size matters for both."""


def matter(text: str) -> tuple[str, float]:
    """Return the measure and the change of 'hip drop = 1 cm', 'contact_time_s=0,005' or 'take-off angle 1.5'.

    A number without a unit is read in the unit that pages show.

    Raises
    ------
    ValueError
        With what is wanted, in plain words.
    """
    found = re.fullmatch(r"\s*([^=:;]*?)\s*[=:;]?\s*([\d.,]+)\s*(%|°|deg|degrees|[a-zA-Z/²0-9]+)?\s*", text)
    if found is None or not found[1]:
        raise ValueError("a measure and a size, such as 'hip drop=1 cm'")
    entry = named(found[1])
    try:
        size = number(found[2]) / _scale(entry, (found[3] or "").strip())
    except ValueError:
        raise ValueError(f"a size in {entry.unit or 'plain numbers'}, such as '{found[1]}=1 {entry.unit}'") from None
    if not size > 0.0:
        raise ValueError("a size above 0")
    return entry.name, size


def named(text: str) -> Entry:
    """Return the measure that plain words or a name mean; ValueError with the words that are known."""
    plain = " ".join(text.casefold().split())
    name = SHORT.get(plain, plain.replace(" ", "_"))
    for entry in catalogue.ROWS.values():
        if entry.compared and (entry.name == name or entry.words.casefold() == plain):
            return entry
    raise ValueError(f"a measure: {', '.join(sorted(SHORT))}, or its full words or name as in comparison.csv")


def judged(rows: Sequence[ComparedMeasure], matters: Matters) -> tuple[ComparedMeasure, ...]:
    """Return the rows with what matters beside them, and how many clips would settle what is open."""
    return tuple(_judged(row, size) if (size := size_of(row.key.name, matters)) else row for row in rows)


def size_of(name: str, matters: Matters) -> float | None:
    """Return the change from which on a measure matters; None where nothing was set."""
    return matters.get(name) or matters.get(ALIKE.get(name, ""))


def _judged(row: ComparedMeasure, size: float) -> ComparedMeasure:
    row = replace(row, matters=size)
    error = row.typical_error
    is_open = row.verdict.kind in ("not seen", "could be chance") and not row.is_small
    if not is_open or error is None or not error.from_repeats:
        return row
    return replace(row, clips_needed=clips_needed(error.value, size))


def _scale(entry: Entry, unit: str) -> float:
    """Return shown = value x scale for the unit that was typed, of the same kind as the measure's own."""
    plain = {"deg": "°", "degrees": "°"}.get(unit.casefold(), unit)
    if not plain:
        return entry.scale
    alike = [u for u in UNITS if u.sign == plain and (u.si == entry.shown_in.si or u == entry.shown_in)]
    if not alike:
        raise ValueError(unit)
    return alike[0].scale
