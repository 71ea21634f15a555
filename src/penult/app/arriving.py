"""Clips that come into a folder while it is watched: which of them are whole.

A clip that is still being copied grows, or has its full length but no content yet. One whose container is filled to its last
byte counts as whole as soon as it has stood still for a blink; of another kind of file nobody can tell, so that its size and
time must stand still for a moment and it must be readable as a film. What never becomes readable is handed on after a
while, so that the coach is told why.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from penult.adapters.files import session_state as state

STILL_S = 1.0
"""Copying programs write at least every few tenths of a second (watched with common ones: common practice, no source)."""

COMPLETE_STILL_S = 0.25
"""For a file that is complete by its own lengths: only a copy that writes its parts out of order could look so too early."""

UNREADABLE_S = 12.0
"""After so long without a change a film that cannot be read is no longer taken for one that is still coming."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """How a file looked, since when it has looked so, and whether it has been handed on so."""

    size: int
    changed_ns: int
    since_s: float
    given: bool


class Arrivals:
    """Tells which clips of a folder are new and whole, each once for each content.

    Parameters
    ----------
    folder : Path
    is_readable : callable
        Whether a clip can be read as a film.
    now : callable
        Seconds that only rise.
    is_complete : callable
        Whether a clip is known to be there to its last byte; False where that cannot be told.
    """

    def __init__(
        self,
        folder: Path,
        is_readable: Callable[[Path], bool],
        now: Callable[[], float] = time.monotonic,
        is_complete: Callable[[Path], bool] = lambda clip: False,
    ) -> None:
        self._folder, self._is_readable, self._now, self._is_complete = folder, is_readable, now, is_complete
        self._looks: dict[str, _Look] = {}

    def look(self) -> list[Path]:
        """Return clips that have become whole since the last look, oldest first; a clip written anew counts again."""
        now_s = self._now()
        found = []
        clips = state.clips_in(self._folder) if self._folder.is_dir() else []
        for clip in clips:
            look = self._seen(clip, now_s)
            if look is None or look.given or look.size == 0:
                continue
            if self._is_whole(clip, now_s - look.since_s):
                self._looks[clip.name] = _Look(
                    size=look.size, changed_ns=look.changed_ns, since_s=look.since_s, given=True
                )
                found.append(clip)
        gone = set(self._looks) - {clip.name for clip in clips}
        for name in gone:
            del self._looks[name]
        return sorted(found, key=lambda clip: (self._looks[clip.name].changed_ns, clip.name))

    def _is_whole(self, clip: Path, still_s: float) -> bool:
        if still_s < COMPLETE_STILL_S:
            return False
        if still_s < STILL_S:
            return self._is_complete(clip) and self._is_readable(clip)
        return self._is_readable(clip) or still_s >= UNREADABLE_S

    def coming(self) -> list[str]:
        """Return the names of clips that are still being copied, as far as the last look knows."""
        return [name for name, look in self._looks.items() if not look.given]

    def _seen(self, clip: Path, now_s: float) -> _Look | None:
        try:
            info = clip.stat()
        except OSError:  # moved away between two looks
            return None
        before = self._looks.get(clip.name)
        if before is None or (before.size, before.changed_ns) != (info.st_size, info.st_mtime_ns):
            before = _Look(size=info.st_size, changed_ns=info.st_mtime_ns, since_s=now_s, given=False)
            self._looks[clip.name] = before
        return before
