"""Tables of marks, and of where printed markers stand, as a spreadsheet saves them; every fault listed with its line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from pathlib import Path

from penult.adapters.files.csv_text import number_of, rows_of
from penult.core.units import metres_of_other
from penult.errors import CalibrationError, LogbookError
from penult.model.calibration import Mark
from penult.model.marker import MarkerPlace

MARK_COLUMNS = ("name", "pixel_x", "pixel_y", "x_m", "y_m", "z_m")
PLACE_COLUMNS = ("marker", "x_m", "y_m", "z_m")
PLACE_EXTRAS = ("side_m", "lies")
LIES = {"upright": False, "flat": True, "": False}
_LARGEST_BYTES = 1_000_000
_MOST_ROWS = 500
_MOST_M = 300.0


def read_marks(path: Path) -> tuple[Mark, ...]:
    """Return the marks of a table with the columns name, pixel_x, pixel_y, x_m, y_m, z_m.

    Raises
    ------
    CalibrationError
        Lists every fault with its line.
    """
    table = Table(path, MARK_COLUMNS, ())
    marks = []
    for line in table.lines():
        numbers = [line.number(name, -1e5, 1e5) for name in ("pixel_x", "pixel_y")]
        place = [line.number(name, -_MOST_M, _MOST_M) for name in ("x_m", "y_m", "z_m")]
        name = line.text("name")[:80]
        if not name:
            table.faults.append(f"line {line.number_in_file}: the mark has no name")
        marks.append(Mark(name=name, pixel_px=(numbers[0], numbers[1]), runway_m=(place[0], place[1], place[2])))
    table.refuse_faults()
    return tuple(marks)


def read_places(path: Path, side_m: float) -> tuple[MarkerPlace, ...]:
    """Return the places of a table with the columns marker, x_m, y_m, z_m and, if wanted, side_m and lies.

    Parameters
    ----------
    path : Path
    side_m : float
        Side of the black square where the table does not say.

    Raises
    ------
    CalibrationError
        Lists every fault with its line.
    """
    table = Table(path, PLACE_COLUMNS, PLACE_EXTRAS)
    places = []
    for line in table.lines():
        number = line.number("marker", 0, 49)
        place = [line.number(name, -_MOST_M, _MOST_M) for name in ("x_m", "y_m", "z_m")]
        own_m = line.number("side_m", 0.02, 2.0) if line.text("side_m") else side_m
        lies = line.text("lies").lower()
        if number != int(number):
            table.faults.append(f"line {line.number_in_file}: marker {number:g} is not a whole number")
        if lies not in LIES:
            table.faults.append(f"line {line.number_in_file}: lies is {lies!r}; 'upright' or 'flat' is wanted")
        places.append(
            MarkerPlace(
                number=int(number),
                centre_m=(place[0], place[1], place[2]),
                side_m=own_m,
                is_flat=LIES.get(lies, False),
            )
        )
    table.refuse_faults()
    return tuple(places)


class Line:
    """One row: its cells by column, and where faults go."""

    def __init__(self, number_in_file: int, cells: dict[str, str], faults: list[str]) -> None:
        self.number_in_file, self._cells, self._faults = number_in_file, cells, faults

    def text(self, column: str) -> str:
        """Return a cell; '' where there is none."""
        return self._cells.get(column, "").strip()

    def number(self, column: str, low: float, high: float) -> float:
        """Return a cell as a number; one that is none or out of bounds is a fault, and 0."""
        written = self.text(column)
        metres = metres_of_other(written) if column.endswith("_m") else None
        if metres is not None:
            self._faults.append(
                f"line {self.number_in_file}: {column} is {written!r}; metres are wanted, which is {metres:.3f}"
            )
            return 0.0
        try:
            value = number_of(written)
        except ValueError:
            self._faults.append(f"line {self.number_in_file}: {column} is {written!r}; a number is wanted")
            return 0.0
        if not low <= value <= high:
            self._faults.append(f"line {self.number_in_file}: {column} is {value:g}; {low:g} to {high:g} is possible")
        return value


class Table:
    """A CSV file with known columns."""

    def __init__(self, path: Path, needed: Sequence[str], extras: Sequence[str]) -> None:
        self.path = path
        self.faults: list[str] = []
        try:
            header, self._rows = rows_of(path, _LARGEST_BYTES)
        except LogbookError as error:
            raise CalibrationError(error.what, *error.details, next_step="give a table saved as CSV") from error
        self._columns = [cell.strip().lower() for cell in header]
        self._check_header(needed, extras)

    def _check_header(self, needed: Sequence[str], extras: Sequence[str]) -> None:
        known = [*needed, *extras]
        faults = [f"line 1: column {name!r} is missing" for name in needed if name not in self._columns]
        for name in self._columns:
            if name and name not in known:
                near = get_close_matches(name, known, n=1, cutoff=0.0)
                faults.append(f"line 1: unknown column {name!r}; the nearest known one is {near[0]!r}")
        faults += [f"line 1: column {n!r} stands twice" for n in known if self._columns.count(n) > 1]
        if faults:
            raise CalibrationError(
                f"{self.path} has other columns than wanted",
                *faults,
                next_step=f"the first line must be: {','.join(needed)}",
            )

    def lines(self) -> Iterator[Line]:
        """Yield the rows."""
        try:
            for count, (number, cells) in enumerate(self._rows):
                if count >= _MOST_ROWS:
                    self.faults.append(f"line {number}: more than {_MOST_ROWS} rows")
                    return
                yield Line(number, dict(zip(self._columns, cells, strict=False)), self.faults)
        except LogbookError as error:
            raise CalibrationError(error.what, *error.details) from error

    def refuse_faults(self) -> None:
        """Raise one error with every fault found so far."""
        if self.faults:
            count = len(self.faults)
            raise CalibrationError(
                f"{self.path} has {count} fault{'s' if count > 1 else ''}",
                *self.faults[:20],
                next_step="correct these places in the table",
            )
