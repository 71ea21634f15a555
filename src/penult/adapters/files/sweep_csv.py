"""Tables of a sweep as a spreadsheet saves them: where marks stand along the runway, and where they were clicked."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from penult.adapters.files.csv_text import rows_of
from penult.adapters.files.marks_csv import Table
from penult.errors import CalibrationError, LogbookError

PLACE_COLUMNS = ("name", "x_m", "z_m")
CLICK_COLUMNS = ("name", "pixel_x", "pixel_y")
_MOST_M = 300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Click:
    """A mark clicked in a picture of the sweep: its frame, or its time where no frame is given."""

    name: str
    frame: int | None
    time_s: float
    pixel_px: tuple[float, float]


def is_table_of_names(path: Path) -> bool:
    """Tell whether a table of places speaks of named marks (a sweep), not of numbered markers."""
    try:
        header, _ = rows_of(path, 1_000_000)
    except LogbookError:
        return False
    columns = [cell.strip().lower() for cell in header]
    return "name" in columns and "marker" not in columns


def read_named_places(path: Path) -> dict[str, tuple[float, float, float]]:
    """Return the places of a table with the columns name, x_m, z_m and, if wanted, y_m.

    Raises
    ------
    CalibrationError
        Lists every fault with its line.
    """
    table = Table(path, PLACE_COLUMNS, ("y_m",))
    found: dict[str, tuple[float, float, float]] = {}
    for line in table.lines():
        name = plain(line.text("name"))
        place = [
            line.number(c, -_MOST_M, _MOST_M) if line.text(c) or c != "y_m" else 0.0 for c in ("x_m", "y_m", "z_m")
        ]
        if not name or name in found:
            table.faults.append(
                f"line {line.number_in_file}: the name {name!r} is {'missing' if not name else 'there twice'}"
            )
        found[name] = (place[0], place[1], place[2])
    table.refuse_faults()
    return found


def read_clicks(path: Path, names: dict[str, tuple[float, float, float]]) -> tuple[Click, ...]:
    """Return the clicks of a table with the columns name, pixel_x, pixel_y, and frame or time_s.

    Parameters
    ----------
    path : Path
    names : dict
        The marks that have a place.

    Raises
    ------
    CalibrationError
        Lists every fault with its line.
    """
    table = Table(path, CLICK_COLUMNS, ("frame", "time_s"))
    clicks = []
    for line in table.lines():
        name = plain(line.text("name"))
        if name not in names:
            table.faults.append(f"line {line.number_in_file}: {name!r} has no place in the table of places")
        has_frame, has_time = bool(line.text("frame")), bool(line.text("time_s"))
        if not (has_frame or has_time):
            table.faults.append(f"line {line.number_in_file}: frame or time_s is missing")
        pixel = (line.number("pixel_x", -1e5, 1e5), line.number("pixel_y", -1e5, 1e5))
        frame = int(line.number("frame", 0, 1e6)) if has_frame else None
        time_s = line.number("time_s", 0.0, 1e5) if has_time else 0.0
        clicks.append(Click(name=name, frame=frame, time_s=time_s, pixel_px=pixel))
    table.refuse_faults()
    if not clicks:
        raise CalibrationError(f"{path} holds no click", next_step="a row a click: name,frame,pixel_x,pixel_y")
    return tuple(clicks)


def plain(name: str) -> str:
    """Return a mark's name as tables may write it: spaces and underlines are one."""
    return " ".join(name.replace("_", " ").split())[:80]
