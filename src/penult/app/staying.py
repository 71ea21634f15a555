"""A session that stays open: clips are measured one after the other as they come, and everybody who looks is told.

One thread looks for clips, one measures. What is known of every clip can be asked for at any time; what a coach taps is written
down at once and the clip measured again (its joints are kept, so that this takes seconds). Killed and started again it goes on
where it was.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from penult.adapters.files import session_state as state
from penult.adapters.files.result_file import read_analysis
from penult.adapters.files.result_folder import read_said
from penult.adapters.files.tapped import Tap, Taps, read_taps, write_taps
from penult.adapters.film.boxes import is_complete
from penult.adapters.film.probe import packets
from penult.app.arriving import Arrivals
from penult.app.session import (
    Plan,
    failure_of,
    outcome_of_plan,
    plan_of,
    record_outcome,
    said_in,
    write_page,
)
from penult.app.time_left import TimeLeft
from penult.errors import PenultError
from penult.model.analysis import Analysis
from penult.model.session import ClipOutcome, Session
from penult.model.settings import Settings

if TYPE_CHECKING:
    from penult.app.workshop import Workshop

PAUSE_S = 0.15
"""Between two looks into the folder: each asks for the size and time of its clips alone."""

Measure = Callable[[Path, Path, Plan, Callable[[str, float], None], Callable[[Analysis], None]], Analysis]
"""(clip, lane file, plan, progress, told the numbers) -> the result, whole."""


def measured_in(
    workshop: Workshop,
    clip: Path,
    lane: Path,
    plan: Plan,
    progress: Callable[[str, float], None],
    told: Callable[[Analysis], None],
) -> Analysis:
    """Measure one clip as `penult analyse` does, with what the workshop has loaded."""
    from penult.app.analyse import analyse

    return analyse(clip, lane, plan.settings, plan.result, progress, measured=told, workshop=workshop).analysis


def today_text() -> str:
    """Return today's date as the clocks here have it."""
    return dt.datetime.now().astimezone().date().isoformat()


def load() -> None:
    """Load what measuring needs, so that the first clip does not wait for it."""
    import penult.app.cameras
    import penult.app.fresh
    import penult.app.pictures
    import penult.app.see
    import penult.outputs.folder.save  # noqa: F401


@dataclass(frozen=True, slots=True, kw_only=True)
class Doing:
    """What is being worked on: clip, stage, and the time left for it and for all that wait in seconds; '' and 0 when nothing is."""

    file: str = ""
    what: str = ""
    left_s: float = 0.0
    left_all_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """Everything about a staying session at one moment; `version` rises with every change.

    `outcomes` stand in the order in which the clips came, `has_pictures` names those whose result folder is whole.
    """

    version: int
    name: str
    outcomes: tuple[ClipOutcome, ...]
    has_pictures: frozenset[str]
    waiting: tuple[str, ...]
    coming: tuple[str, ...]
    doing: Doing
    taps: Taps


class Staying:
    """A folder under watch.

    Parameters
    ----------
    folder, lane : Path
    measure : callable
        Measures one clip; see `Measure`.
    date : str
        Day of clips without one of their own; '' is the day on which each is measured first.
    logbook : Path, optional
        Where results are added.
    told : callable
        Called after every change, from the measuring thread.
    """

    def __init__(
        self,
        folder: Path,
        lane: Path,
        measure: Measure,
        *,
        date: str = "",
        logbook: Path | None = None,
        told: Callable[[], None] = lambda: None,
    ) -> None:
        self.folder, self.lane, self.logbook, self.date = folder, lane, logbook, date
        self.told = told
        self._measure = measure
        self._arrivals = Arrivals(folder, _is_film, is_complete=is_complete)
        self._lock = threading.RLock()
        self._has_work = threading.Event()
        self._taps = read_taps(folder)
        self._queue: list[Path] = []
        self._coming: tuple[str, ...] = ()
        self._outcomes: dict[str, ClipOutcome] = {}
        self._pictures: set[str] = set()
        self._written_ns: dict[str, int] = {}
        self._doing = Doing()
        self._time = TimeLeft()
        self._version = 0
        self._is_over = threading.Event()

    def run(self) -> None:
        """Watch and measure until `stop`."""
        watcher = threading.Thread(target=self._watch, daemon=True, name="watching")
        watcher.start()
        while not self._is_over.is_set():
            self._has_work.wait()
            self._has_work.clear()
            while not self._is_over.is_set() and self._measure_next():
                pass
        watcher.join(10.0 * PAUSE_S)

    def stop(self) -> None:
        """End after the clip under way."""
        self._is_over.set()
        self._has_work.set()

    def step(self) -> bool:
        """Look for new clips and measure the next one; False where there was nothing to do."""
        self.look()
        return self._measure_next()

    def look(self) -> None:
        """Look for new clips once, and put them into the queue."""
        coming = self._coming
        arrived = self._arrivals.look()
        with self._lock:
            self._queue += [clip for clip in arrived if clip not in self._queue]
            self._coming = tuple(self._arrivals.coming())
        if arrived:
            self._has_work.set()
        if arrived or coming != self._coming:
            self._change()

    def look_again(self) -> None:
        """Read results anew that somebody put right in the meantime, as on the review page."""
        with self._lock:
            busy = {self._doing.file, *(clip.name for clip in self._queue)}
            whole = [o for name, o in self._outcomes.items() if name in self._pictures and name not in busy]
        for outcome in whole:
            changed_ns = _written_ns(self.folder / outcome.folder)
            if changed_ns in (0, self._written_ns.setdefault(outcome.file, changed_ns)):
                continue
            self._written_ns[outcome.file] = changed_ns
            with suppress(PenultError):
                again = replace(outcome, analysis=read_analysis(self.folder / outcome.folder))
                with self._lock:
                    if self._outcomes.get(outcome.file) is outcome:  # else it has been measured again meanwhile
                        self._outcomes[outcome.file] = again
                self._change()

    def _watch(self) -> None:
        while not self._is_over.wait(PAUSE_S):
            with suppress(OSError):  # a folder that is away for a moment: a disk, a share
                self.look()
                self.look_again()

    def _measure_next(self) -> bool:
        with self._lock:
            clip = self._queue.pop(0) if self._queue else None
        if clip is not None:
            self._one(clip)
        return clip is not None

    def moment(self) -> Moment:
        """Return everything as it is now."""
        with self._lock:
            left_s, left_all_s = self._time.left_s(self._doing.file, [clip.name for clip in self._queue])
            return Moment(
                version=self._version,
                name=self.folder.resolve().name,
                outcomes=tuple(self._outcomes.values()),
                has_pictures=frozenset(self._pictures),
                waiting=tuple(c.name for c in self._queue),
                coming=self._coming,
                doing=replace(self._doing, left_s=left_s, left_all_s=left_all_s),
                taps=self._taps,
            )

    def tap(self, file: str, tap: Tap, *, also_next: bool) -> None:
        """Note what was tapped of a clip ('' for the next ones only), and measure the clip again with it.

        Raises
        ------
        OutputError
            If it cannot be written down.
        """
        with self._lock:
            clips = dict(self._taps.clips)
            if file:
                clips[file] = _over(clips.get(file, Tap()), tap)
            following = _over(self._taps.next, tap) if also_next or not file else self._taps.next
            self._taps = Taps(clips=clips, next=following)
            write_taps(self.folder, self._taps)
            self._say_at_once(file, tap)
            path = self.folder / file
            if file and path.is_file() and path not in self._queue:
                self._queue.insert(0 if tap.mats is not None else len(self._queue), path)
        self._has_work.set()
        self._change()

    def _say_at_once(self, file: str, tap: Tap) -> None:
        """Whose run it is and of what kind are words: they stand there before the clip has been measured again with them."""
        outcome = self._outcomes.get(file)
        words = {n: v for n in ("athlete", "kind") if (v := getattr(tap, n)) is not None}
        if outcome is not None and outcome.analysis is not None and words:
            run = replace(outcome.analysis.run, **words)
            self._outcomes[file] = replace(outcome, analysis=replace(outcome.analysis, run=run))

    def _one(self, clip: Path) -> None:
        with self._lock:
            if clip.name not in self._taps.clips:  # what holds for the next clip holds for this one from now on
                self._taps = Taps(clips={**self._taps.clips, clip.name: self._taps.next}, next=self._taps.next)
                with suppress(PenultError, OSError):
                    write_taps(self.folder, self._taps)
            self._doing = Doing(file=clip.name, what="opening the clip")
            self._time.begin()
        self._change()
        outcome, plan = self._measured(clip)
        with self._lock:
            if outcome.is_new:
                self._time.end(clip.name, is_measured=outcome.analysis is not None)
            elif outcome.analysis is not None:
                self._time.know(clip.name)
            self._doing = Doing()
            self._outcomes[clip.name] = outcome  # a clip measured again keeps its place
            if outcome.analysis is not None:
                self._pictures.add(clip.name)
                self._written_ns[clip.name] = _written_ns(self.folder / outcome.folder)
        self._change()
        self._keep(plan, outcome)

    def _measured(self, clip: Path) -> tuple[ClipOutcome, Plan | None]:
        try:
            said = said_in(self.folder)
            told = (said.row(clip.name), self._taps.of(clip.name), Settings())
            plan = plan_of(clip, self.lane, told, self._day_of(clip), self.logbook)
        except (PenultError, OSError) as error:
            return failure_of(clip, error), None
        known = state.read_state(self.folder).get(clip.name)
        there = state.finished(known, plan.sha256, plan.key, plan.result)
        if there is not None:
            return replace(outcome_of_plan(plan, there), is_new=False), plan

        def numbers(analysis: Analysis) -> None:
            with self._lock:
                self._pictures.discard(clip.name)
                self._outcomes[clip.name] = outcome_of_plan(plan, analysis)
            self._change()

        try:
            analysis = self._measure(clip, self.lane, plan, self._progress, numbers)
        except Exception as error:  # whatever happens to one clip, the others go on
            return failure_of(clip, error, plan), plan
        return outcome_of_plan(plan, analysis), plan

    def _day_of(self, clip: Path) -> str:
        """Return the day of a clip: the one said for all, else that of its result (a later start does not move it), else today."""
        if self.date:
            return self.date
        result = state.result_folders(state.clips_in(self.folder)).get(clip)
        with suppress(PenultError, OSError):
            known = read_said(result).date if result is not None and clip.name in state.read_state(self.folder) else ""
            if known:
                return known
        return today_text()

    def _keep(self, plan: Plan | None, outcome: ClipOutcome) -> None:
        """Write down that the clip is done, and the session's page; what cannot be written is told, not fatal."""
        try:
            if plan is not None and outcome.analysis is not None:
                record_outcome(self.folder, plan, outcome, self.logbook)
            clips = sorted(self.moment().outcomes, key=lambda c: c.file)
            write_page(
                self.folder, Session(name=self.folder.resolve().name, folder=str(self.folder), clips=tuple(clips))
            )
        except PenultError as error:
            with self._lock:
                self._doing = Doing(what=str(error).split("\n")[0])
            self._change()

    def _progress(self, what: str, share: float) -> None:
        self._time.progress(what, share)
        if what != self._doing.what:
            with self._lock:
                self._doing = replace(self._doing, what=what)
            self._change()

    def _change(self) -> None:
        with self._lock:
            self._version += 1
        self.told()


def _over(before: Tap, tap: Tap) -> Tap:
    given = {n: v for n in ("athlete", "kind", "mats") if (v := getattr(tap, n)) is not None}
    return replace(before, **given)


def _written_ns(result: Path) -> int:
    """Return when a result was written; 0 where it is away just now, as while its folder is exchanged."""
    try:
        return (result / "analysis.json").stat().st_mtime_ns
    except OSError:
        return 0


def _is_film(clip: Path) -> bool:
    try:
        return not packets(clip).is_cut_off
    except (PenultError, OSError):
        return False
