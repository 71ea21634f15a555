"""A day at the track: a folder, a lane file, whether the logbook is kept; and the session that measures what comes into the folder.

Everything here is what commands do too: `penult session --stay`, `compare`, `season`, `log`. Only one folder is watched at a time;
another one may be chosen, and the clip under way is finished first.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from penult.adapters.files import session_state as state
from penult.adapters.files import written_places
from penult.adapters.files.lane_file import read_lane
from penult.adapters.files.result_file import read_analysis
from penult.adapters.files.start_file import Remembered, read_start, write_start
from penult.adapters.files.tapped import Taps, read_taps, write_taps
from penult.app.known_lanes import KnownLane, known_lane, lanes_in
from penult.app.staying import Measure, Staying, today_text
from penult.errors import InputError, OutputError, PenultError

_MOST_SHOWN = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """What is open: folder, lane file, and whether results go into the logbook."""

    folder: Path
    lane: Path
    logs: bool


class Day:
    """What is chosen and open, and the thread that measures.

    Parameters
    ----------
    measure : callable
        Measures one clip; see `staying.Measure`.
    logbook : Path
        Where results are added, labels come from, and beside which it is remembered what was chosen last.
    told : callable
        Called after every change.
    """

    def __init__(self, measure: Measure, logbook: Path, told: Callable[[], None] = lambda: None) -> None:
        self.logbook, self.told = logbook, told
        self._measure = measure
        self.remembered: Remembered = read_start(logbook)
        self.staying: Staying | None = None
        self.opened: Opened | None = None
        self._thread: threading.Thread | None = None
        self._lock = threading.RLock()

    def lanes(self) -> list[KnownLane]:
        """Return the lane files at hand, those used last first."""
        last = [Path(p) for p in self.remembered.lanes]
        folders = [Path(), *map(Path, self.remembered.folders), *self._written()]
        found = dict.fromkeys([*last, *(p.resolve() for p in lanes_in(dict.fromkeys(folders)))])
        known = (known_lane(path) for path in found)
        return [lane for lane in known if lane is not None][:_MOST_SHOWN]

    def suggested_folder(self) -> Path:
        """Return a folder for today's clips: the last one if it was used today, else one of today's date beside it or at home."""
        today = today_text()
        last = Path(self.remembered.folders[0]) if self.remembered.folders else None
        if last is not None and (today in last.name or _used_on(last) == today):
            return last
        return (last.parent if last is not None and last.parent.is_dir() else Path.home() / "penult") / today

    def open(self, folder: Path, lane: Path, *, logs: bool, again: bool = False) -> Opened:
        """Begin, or go on, in a folder with a lane file.

        Parameters
        ----------
        folder : Path
            Made where it is not there.
        lane : Path
        logs : bool
            Add results to the logbook.
        again : bool
            Measure clips again that were measured with another lane file; else that is refused.

        Raises
        ------
        InputError
            A lane file with faults; a folder whose clips belong to another lane file.
        OutputError
            A folder that cannot be made.
        """
        folder, lane = absolute(folder), absolute(lane)
        read_lane(lane)
        _make(folder)
        others = measured_with_other_lane(folder, lane)
        if others and not again:
            raise InputError(
                f"{len(others)} of the clips in {folder.name} were measured with another lane file",
                f"such as {others[0]}; with {lane.name} all of them would be measured again",
                next_step="choose a folder of its own for each camera place, or say that they are to be measured again",
            )
        with self._lock:
            self.close()
            self._carry_over(folder)
            self.opened = Opened(folder=folder, lane=lane, logs=logs)
            self.staying = Staying(
                folder,
                lane,
                self._measure,
                logbook=self.logbook if logs else None,
                told=self.told,
            )
            self._thread = threading.Thread(
                target=_after, args=(self._thread, self.staying), daemon=True, name="measuring"
            )
            self._thread.start()
            self.remembered = self.remembered.with_day(folder, lane, logs=logs)
            write_start(self.logbook, self.remembered)
        written_places.record(folder, self.logbook)
        self.told()
        return self.opened

    def remember_lane(self, lane: Path) -> None:
        """Put a lane file first among those that are offered."""
        with self._lock:
            self.remembered = self.remembered.with_lane(lane)
            write_start(self.logbook, self.remembered)
        self.told()

    @property
    def is_idle(self) -> bool:
        """Whether no clip is being measured any more, once it is closed."""
        if self._thread is not None:
            self._thread.join(0.1)
        return self._thread is None or not self._thread.is_alive()

    def close(self) -> None:
        """End the session that is open, after the clip under way; what was measured is in its folder."""
        with self._lock:
            staying, self.staying, self.opened = self.staying, None, None
        if staying is not None:
            staying.told = lambda: None
            staying.stop()

    def _carry_over(self, folder: Path) -> None:
        """What was tapped for the next clip of the last folder holds in a new one, where nothing has been tapped yet."""
        if self.remembered.folders and read_taps(folder) == Taps():
            before = read_taps(Path(self.remembered.folders[0])).next
            try:
                write_taps(folder, Taps(next=before))
            except OSError as error:
                raise OutputError(f"nothing can be written into {folder}", error.strerror or str(error)) from error

    def _written(self) -> list[Path]:
        places = [Path(p) for p in reversed(written_places.recorded(self.logbook))]
        return list(dict.fromkeys(f for p in places[:30] for f in (p, p.parent)))


def measured_with_other_lane(folder: Path, lane: Path) -> list[str]:
    """Return the clips of a folder that have a sound result of another lane file."""
    known = state.read_state(folder)
    if not known:
        return []
    wanted = hashlib.sha256(lane.read_bytes()).hexdigest()
    clips = state.clips_in(folder)
    found = []
    for clip, result in state.result_folders(clips).items():
        if clip.name in known and (used := _lane_of(result)) and used != wanted:
            found.append(clip.name)
    return found


def _lane_of(result: Path) -> str:
    try:
        return str(read_analysis(result).method.get("calibration_sha256", ""))
    except PenultError:
        return ""


def absolute(path: Path) -> Path:
    """Return a path as it was typed ('~' is the home folder), whole.

    Raises
    ------
    InputError
        If it cannot be one.
    """
    try:
        return path.expanduser().resolve()
    except (OSError, RuntimeError, ValueError) as error:
        raise InputError(f"{str(path)[:200]!r} cannot be used as a place", str(error)) from error


def _used_on(folder: Path) -> str:
    """Return the day on which a clip of a folder was measured last; '' where none was."""
    try:
        changed_s = (folder / state.STATE).stat().st_mtime
    except OSError:
        return ""
    return dt.datetime.fromtimestamp(changed_s).astimezone().date().isoformat()


def _after(before: threading.Thread | None, staying: Staying) -> None:
    if before is not None:
        before.join()  # one clip at a time, whatever folder it lies in
    staying.run()


def _make(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is not a folder", next_step="choose another name")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"the folder {folder} cannot be made", error.strerror or str(error)) from error
