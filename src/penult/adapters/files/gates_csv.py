"""Timing-gate splits as a spreadsheet saves them: place along the runway and time, with the run they belong to."""

from __future__ import annotations

from pathlib import Path

from penult.adapters.files.marks_csv import Table

GATE_COLUMNS = ("place_m", "time_s")
GATE_EXTRAS = ("run",)


def read_gates(path: Path) -> dict[str, tuple[tuple[float, float], ...]]:
    """Return the splits of a table with the columns place_m, time_s and, for more than one run, run.

    Parameters
    ----------
    path : Path
        Places in metres along the runway, before the line below 0; times in seconds from any zero.

    Returns
    -------
    dict of str to tuple of (float, float)
        Place and time of each gate by run; '' where the table names no run.

    Raises
    ------
    CalibrationError
        Lists every fault with its line.
    """
    table = Table(path, GATE_COLUMNS, GATE_EXTRAS)
    found: dict[str, list[tuple[float, float]]] = {}
    for line in table.lines():
        place, time = line.number("place_m", -300.0, 300.0), line.number("time_s", -1e6, 1e6)
        found.setdefault(line.text("run"), []).append((place, time))
    table.refuse_faults()
    return {run: tuple(sorted(gates)) for run, gates in found.items()}
