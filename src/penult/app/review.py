"""Open a result, put right what is wrong in it, and have every number again: without the film and the pose model."""

from __future__ import annotations

import dataclasses
import datetime as dt
import os
import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Literal

from penult.adapters.files.corrections_file import OutdatedError, read_corrections, write_corrections
from penult.adapters.files.corrections_text import from_plain, to_plain
from penult.adapters.files.result_file import read_analysis
from penult.adapters.files.sighting_file import NAME as SIGHTING
from penult.adapters.files.sighting_file import read_sighting, sighting_to_bytes
from penult.adapters.film import video
from penult.app.pictures import footage_of, write_pictures
from penult.app.poses import PosePool
from penult.app.progress import Progress
from penult.app.see import Surroundings, see
from penult.app.session import refresh_page
from penult.core.corrections import history
from penult.core.corrections.apply import clip_with, picks_of, settings_among, settings_with
from penult.core.corrections.outcome import outcome_with, plain_of
from penult.core.pipeline import Outcome
from penult.errors import InputError, PenultError, ResultError
from penult.model.analysis import Analysis
from penult.model.clip import Clip
from penult.model.corrections import AthletePicked, Correction, Corrections
from penult.model.method import METHOD
from penult.model.settings import Settings
from penult.model.sighting import Sighting
from penult.outputs.folder.save import building, recover

Turn = Literal["undo", "redo"]


class ClashError(InputError):
    """Somebody else (another tab, another program) has changed the same thing meanwhile."""


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """One moment of a review: the corrections and what follows from them."""

    corrections: Corrections
    sighting: Sighting
    outcome: Outcome
    is_written: bool

    @property
    def clip(self) -> Clip:
        """The clip on the clock set by hand."""
        return clip_with(self.sighting.clip, self.corrections.done)


class Review:
    """A result under review. One lock: what is computed and saved comes one after the other.

    Parameters
    ----------
    folder, clip_path : Path
        The result and its film.
    sighting : Sighting
        Of the athlete that the corrections end up with.
    corrections : Corrections
        As they lie beside the result.
    written : sequence of Correction
        Those that the files of the result already hold.
    """

    def __init__(
        self,
        folder: Path,
        clip_path: Path,
        sighting: Sighting,
        corrections: Corrections,
        written: Sequence[Correction],
    ) -> None:
        self.folder, self.clip_path = folder, clip_path
        self._lock = threading.RLock()
        self._sightings = {_whom(sighting.settings): sighting}
        self._written = tuple(written)
        self._news: list[tuple[int, Correction]] = []  # what changed, by the version that it made
        self._since = corrections.version
        self._plain: dict[tuple[Correction, ...], Analysis] = {}
        self.state = self._state_of(corrections)[0]

    def correct(self, plain: object, version: int, progress: Progress) -> State:
        """Make one more correction.

        Parameters
        ----------
        plain : object
            The correction as `corrections.json` would hold it.
        version : int
            Version that the person saw; what was changed elsewhere since then is kept, unless it is about the same thing.
        progress : callable
            Told what is being done when another athlete has to be looked for.

        Raises
        ------
        ClashError
            The same thing was changed meanwhile; nothing has happened.
        InputError
            It is no correction, or finds nothing to act on; nothing has happened.
        """
        correction = dataclasses.replace(from_plain(plain), made_at=_now())
        with self._lock:
            self._look_again()
            meanwhile = self._changed_since(version)
            if meanwhile is None or history.clashing(correction, meanwhile):
                raise ClashError("this was changed in another window meanwhile", next_step="look at it and do it again")
            if isinstance(correction, AthletePicked):
                self._look_for(correction, progress)
            after = history.added(self.state.corrections, correction)
            state, unused = self._state_of(after)
            if correction in unused:
                raise InputError("this correction finds nothing to act on", _why_not(correction))
            return self._take(state, correction)

    def turn(self, which: Turn, version: int, progress: Progress) -> State:
        """Take the latest correction back, or make the one taken back last again.

        Raises
        ------
        ClashError
            Something was changed meanwhile; nothing has happened.
        """
        with self._lock:
            self._look_again()
            now = self.state.corrections
            if version != now.version:
                raise ClashError("something was changed in another window meanwhile", next_step="look at it first")
            pile = now.done if which == "undo" else now.undone
            if not pile:
                return self.state
            after = history.undone(now) if which == "undo" else history.redone(now)
            self._look_for_all(after, progress)
            return self._take(self._state_of(after)[0], pile[-1])

    def reload(self) -> State:
        """Return the state, after a look at what lies in the folder."""
        with self._lock:
            self._look_again()
            return self.state

    def write(self, progress: Progress) -> State:
        """Write all files of the result anew, with the corrections.

        Raises
        ------
        OutputError
            If the folder cannot be written; then nothing there has changed.
        """
        with self._lock:
            state = self.state
        with building(self.folder, sha256=state.clip.sha256) as new:
            footage = footage_of(self.clip_path, state.clip, state.outcome)
            write_pictures(new, footage, state.clip, state.outcome, progress)
            new.write(SIGHTING, sighting_to_bytes(state.sighting))
        with self._lock:
            self._written = state.corrections.done
            with suppress(PenultError):  # the page of a session that the result belongs to; the result itself is safe
                refresh_page(self.folder.resolve().parent)
            self.state = dataclasses.replace(self.state, is_written=self._written == self.state.corrections.done)
            return self.state

    def _take(self, state: State, about: Correction) -> State:
        """Save, then show: what a person sees as done is on the disk."""
        try:
            write_corrections(self.folder, state.corrections, over_version=self.state.corrections.version)
        except OutdatedError:
            self._look_again()
            raise ClashError("another program has changed the corrections", next_step="look at them first") from None
        self._news.append((state.corrections.version, about))
        self.state = state
        return state

    def _changed_since(self, version: int) -> list[Correction] | None:
        """What was done or undone since a version; None when nobody knows."""
        if not self._since <= version <= self.state.corrections.version:
            return None
        return [correction for made, correction in self._news if made > version]

    def _look_again(self) -> None:
        """Take over what another program has saved."""
        there = read_corrections(self.folder)
        if there is None or there == self.state.corrections or there.version == self.state.corrections.version:
            return
        self._look_for_all(there, lambda _what, _share: None)
        self._news, self._since = [], there.version
        self.state = self._state_of(there)[0]

    def _look_for(self, pick: AthletePicked, progress: Progress) -> None:
        self._look_for_all(history.added(self.state.corrections, pick), progress)

    def _look_for_all(self, corrections: Corrections, progress: Progress) -> None:
        known = next(iter(self._sightings.values()))
        wanted = athlete_settings(known, corrections)
        if _whom(wanted) not in self._sightings:
            self._sightings[_whom(wanted)] = seen_again(self.clip_path, known, wanted, progress)

    def _state_of(self, corrections: Corrections) -> tuple[State, tuple[Correction, ...]]:
        done = corrections.done
        known = next(iter(self._sightings.values()))
        sighting = self._sightings[_whom(athlete_settings(known, corrections))]
        said = settings_among(done)
        if said not in self._plain:
            self._plain[said] = plain_of(sighting, said)
        record = [to_plain(c) for c in done]
        outcome, unused = outcome_with(sighting, done, plain=self._plain[said], record=record)
        is_written = done == self._written
        return State(corrections=corrections, sighting=sighting, outcome=outcome, is_written=is_written), unused


def open_result(folder: Path, clip: Path | None, progress: Progress) -> Review:
    """Open a result for review.

    Parameters
    ----------
    folder : Path
        As `analyse` wrote it.
    clip : Path, optional
        Its film; None looks beside and in the folder.
    progress : callable
        Told what is being done where the film has to be looked at again (another athlete was picked).

    Raises
    ------
    ResultError
        If it is no result, or its film is not at hand.
    """
    folder = folder.expanduser()
    recover(folder)
    analysis = read_analysis(folder)
    sighting = read_sighting(folder)
    if sighting.clip.sha256 != analysis.clip.sha256:
        raise ResultError(f"the files in {folder} belong to different clips", next_step="analyse the clip again")
    if (made := analysis.method.get("method")) != METHOD:
        old = "an older one without a number" if made is None else f"method {made}"
        raise ResultError(
            f"the result in {folder} was measured by another method",
            f"it is of {old}; this version measures by method {METHOD}",
            next_step="analyse the clip again: corrections in the folder are applied to the new result",
        )
    clip_path = film_of(folder, sighting.clip, clip)
    corrections = read_corrections(folder)
    if corrections is None:
        whom = sighting.settings
        corrections = Corrections(clip_sha256=sighting.clip.sha256, run=whom.run, at=whom.at)
    if corrections.clip_sha256 != sighting.clip.sha256:
        raise ResultError(
            f"the corrections in {folder} belong to another clip", next_step="move corrections.json away and try again"
        )
    wanted = athlete_settings(sighting, corrections)
    if _whom(wanted) != _whom(sighting.settings):
        sighting = seen_again(clip_path, sighting, wanted, progress)
    return Review(folder, clip_path, sighting, corrections, _written_in(analysis))


def film_of(folder: Path, clip: Clip, said: Path | None = None) -> Path:
    """Return the film of a result: the one that was said, else beside or in the folder.

    Raises
    ------
    ResultError
        If it is not there, or is another film.
    """
    name = Path(clip.file).name
    real = folder.resolve()
    places = [said] if said else [real.parent / name, real / name, Path(os.curdir) / name]
    there = next((place for place in places if place.is_file()), None)
    if there is None:
        raise ResultError(
            f"the film of {folder} is not at hand",
            f"{name} was looked for beside the folder and in it" if said is None else f"there is no file {said}",
            next_step=f"say where it is with --clip PATH/{name}",
        )
    if video.sha256_of(there) != clip.sha256:
        raise ResultError(
            f"{there} is not the film that {folder} was made from",
            "its content differs",
            next_step="say where the right one is with --clip, or analyse it again",
        )
    return there


def athlete_settings(sighting: Sighting, corrections: Corrections) -> Settings:
    """Return the settings with the athlete that the corrections end up with."""
    said = dataclasses.replace(sighting.settings, run=corrections.run, at=corrections.at)
    return settings_with(said, picks_of(corrections.done), sighting.clip)


def seen_again(clip_path: Path, known: Sighting, settings: Settings, progress: Progress) -> Sighting:
    """Look at another athlete in the same film."""
    scene = Surroundings(
        clip=known.clip,
        fit=known.fit,
        cameras=known.cameras,
        profile=known.profile,
        notices=tuple(n for n in known.notices if n.code != "crossed"),  # that was about the other one
        method=known.method,
    )
    with PosePool() as pool:
        return see(clip_path, scene, settings, pool, progress)[0]


def _whom(settings: Settings) -> tuple[int, tuple[float, float, float] | None]:
    return settings.run, settings.at


def _written_in(analysis: Analysis) -> tuple[Correction, ...]:
    """The corrections that a result was written with; one that cannot be read counts as none."""
    record = analysis.method.get("corrections", [])
    try:
        return tuple(from_plain(entry) for entry in record) if isinstance(record, list) else ()
    except ResultError:
        return ()


def _now() -> str:
    return dt.datetime.now(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


_REASONS: dict[str, str] = {
    "InstantMoved": "a contact must end after it begins, and not reach into another one",
    "ContactAdded": "there is a contact already, or the foot is not seen there",
    "ContactDeleted": "no contact is there, or it is the only one",
    "JointDragged": "the athlete is not seen in that frame",
    "LegsSwapped": "the athlete is not seen in those frames",
}


def _why_not(correction: Correction) -> str:
    return _REASONS.get(type(correction).__name__, "no contact is there")
