"""Clips that are dropped into a page: copied into the coach's folder, on this machine, whole or not at all."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from penult.adapters.files.incoming import Incoming, safe_name
from penult.adapters.files.session_state import CLIP_ENDINGS, clips_in, sha256_of
from penult.adapters.film.probe import packets
from penult.adapters.pictures.still_source import PICTURES
from penult.errors import InputError, OutputError, PenultError

MOST_BYTES = 4_000_000_000
"""A minute of a phone's slow motion is below 0.5 GB, ten minutes of 4K below 4 GB; FAT disks hold no larger file."""

SPARE_BYTES = 500_000_000
"""Stays free on the disk: results take a few MB a clip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """A file that has been copied: where it lies, and whether it was there already."""

    path: Path
    was_there: bool = False
    note: str = ""


class Drop:
    """One file on its way. Use as a context manager; `piece` for each piece, `done` at the end.

    Parameters
    ----------
    folder : Path
        The coach's; exists.
    name : str
        As the browser tells it: nothing of it is trusted.
    size : int
        Bytes that were announced; 0 where nothing was.
    is_lane_source : bool
        Whether it is to calibrate a lane from: then a picture will do.

    Raises
    ------
    InputError
        A kind of file that is not read here, too large, or not film.
    OutputError
        No room on the disk, or a folder that cannot be written.
    """

    def __init__(self, folder: Path, name: str, size: int, *, is_lane_source: bool = False) -> None:
        self._folder, self._name, self._seen = folder, safe_name(name), 0
        self._is_lane_source = is_lane_source
        self._check(name, size)
        self._file = Incoming(folder, self._name)

    def __enter__(self) -> Drop:
        try:
            self._file.__enter__()
        except OSError as error:
            raise _unwritable(self._folder, error) from error
        return self

    def __exit__(self, *about: object) -> None:
        self._file.__exit__(None, None, None)

    def piece(self, data: bytes) -> None:
        """Write a piece."""
        self._seen += len(data)
        if self._seen > MOST_BYTES:
            raise _too_large(self._name)
        try:
            self._file.write(data)
        except OSError as error:
            raise _unwritable(self._folder, error) from error

    def done(self) -> Dropped:
        """Look whether it is what it says, and give it its place; one that is there already is not copied twice."""
        try:
            self._file.end()
            note = self._looked_at()
            twin = self._twin()
            return Dropped(path=twin, was_there=True) if twin else Dropped(path=self._file.give(), note=note)
        except OSError as error:
            raise _unwritable(self._folder, error) from error

    def _check(self, name: str, size: int) -> None:
        ending = Path(self._name).suffix.lower()
        if not self._name or ending not in (CLIP_ENDINGS | set(PICTURES) if self._is_lane_source else CLIP_ENDINGS):
            wanted = f"films end in {' '.join(sorted(CLIP_ENDINGS))}"
            raise InputError(f"{name[:100]!r} is no film", wanted, next_step="drop the clip as the phone saved it")
        if size > MOST_BYTES:
            raise _too_large(self._name)
        try:
            free = shutil.disk_usage(self._folder).free
        except OSError as error:  # the folder has been taken away meanwhile
            raise _unwritable(self._folder, error) from error
        if size + SPARE_BYTES > free:
            raise OutputError(
                f"there is no room for {self._name}",
                f"{size / 1e6:.0f} MB are to be copied; {free / 1e6:.0f} MB are free on the disk of {self._folder}",
                next_step="choose a folder on another disk, or make room",
            )

    def _looked_at(self) -> str:
        if Path(self._name).suffix.lower() in PICTURES:
            return ""  # read when it is calibrated from
        try:
            is_cut = packets(self._file.path).is_cut_off
        except PenultError as error:
            details = [d.replace(self._file.path.name, self._name) for d in error.details]
            raise InputError(
                f"{self._name} is not film that can be read", *details, next_step=error.next_step
            ) from error
        return "its end is missing: copy it again from the phone if the run is cut" if is_cut else ""

    def _twin(self) -> Path | None:
        """Return the file of the same bytes that lies there already, if there is one."""
        alike = [c for c in clips_in(self._folder) if c.stat().st_size == self._seen]
        if not alike:
            return None
        sha256 = sha256_of(self._file.path)
        return next((c for c in alike if sha256_of(c) == sha256), None)


def _too_large(name: str) -> InputError:
    return InputError(
        f"{name} is too large", f"at most {MOST_BYTES / 1e9:.0f} GB a clip", next_step="cut the run out of it"
    )


def _unwritable(folder: Path, error: OSError) -> OutputError:
    return OutputError(
        f"nothing can be copied into {folder}", error.strerror or str(error), next_step="choose another folder"
    )
