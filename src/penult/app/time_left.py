"""How long a clip, and those that wait behind it, will still take: from the clips before, and from the stage it is in."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from statistics import median

USUAL_S = 20.0
"""Time of one clip until one has been measured: what 1.4 s at 240 Hz take on two cores (DEVELOPERS.md)."""

STAGES = {
    "opening the clip": (0.0, 0.1),
    "looking for the athlete": (0.1, 0.2),
    "following the joints": (0.2, 0.85),
    "looking at shoes and trunk": (0.85, 0.92),
    "measuring": (0.92, 0.93),
    "drawing": (0.93, 1.0),
}
"""Shares of the time of a clip at which its stages begin and end (four clips at 120 Hz on two busy cores)."""

AGAIN_SHARE = 0.3
"""A clip whose joints are kept takes this share of the time (DEVELOPERS.md)."""


class TimeLeft:
    """Remembers how long clips took.

    Parameters
    ----------
    now : callable
        Seconds that only rise.
    """

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._begun_s, self._share = 0.0, 0.0
        self._measured: set[str] = set()
        self._took_s: dict[bool, list[float]] = {}  # by whether the clip was measured before

    def begin(self) -> None:
        """A clip is begun."""
        self._begun_s, self._share = self._now(), 0.0

    def progress(self, what: str, share: float) -> None:
        """Its stage, and how much of it is done."""
        begin, end = STAGES.get(what, (0.0, 0.0))
        self._share = begin + share * (end - begin)

    def end(self, name: str, *, is_measured: bool) -> None:
        """It has ended."""
        self._took_s.setdefault(name in self._measured, []).append(self._now() - self._begun_s)
        if is_measured:
            self.know(name)

    def know(self, name: str) -> None:
        """A clip has been measured before: its joints are kept, and the next time takes less."""
        self._measured.add(name)

    def left_s(self, name: str, waiting: Sequence[str]) -> tuple[float, float]:
        """Return the seconds left for the clip under way ('' for none), and for it and all that wait."""
        waiting_s = sum(self._usual_s(one) for one in waiting)
        if not name:
            return 0.0, waiting_s
        this_s = max(1.0, self._of_this_s(name, self._now() - self._begun_s))
        return this_s, this_s + waiting_s

    def _of_this_s(self, name: str, gone_s: float) -> float:
        """Return what the clips before let expect; of the first, and one that takes longer, what its stage does."""
        if self._took_s.get(name in self._measured) and self._usual_s(name) > gone_s:
            return self._usual_s(name) - gone_s
        is_telling = self._share >= STAGES["following the joints"][0]
        return gone_s * (1.0 / self._share - 1.0) if is_telling else self._usual_s(name)

    def _usual_s(self, name: str) -> float:
        again = name in self._measured
        took_s = self._took_s.get(again)
        return median(took_s) if took_s else USUAL_S * (AGAIN_SHARE if again else 1.0)
