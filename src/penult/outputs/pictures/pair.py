"""Two runs in one film, put on one clock at an instant: side by side, or one above the other."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from penult.model.arrays import Image
from penult.model.clip import Planes
from penult.model.showing import Shape
from penult.model.track import Motion
from penult.outputs.pictures import ink
from penult.outputs.pictures.film import HOLD_S, Painter, playback_hz
from penult.outputs.pictures.follow import Path, follow, shown_height_m

PANES_PX: dict[str, tuple[int, int]] = {"landscape": (480, 540), "portrait": (540, 480)}
"""Side by side in landscape, one above the other in portrait: half of a film of one run."""

STAYS_S = 0.12
"""Capture time for which the last number stays to be read while both go on: about a second of the film at 240 Hz."""

Taken = Callable[[int], ink.Picture]
"""From a frame's index to its picture, cut out for the painter and not drawn on yet; indices never fall."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of the two runs.

    Parameters
    ----------
    painter : Painter
        With the path of `panes`.
    taken : callable
        Gives the pictures.
    motion : Motion
    zero_s : float
        Capture time of the instant at which the two meet.
    """

    painter: Painter
    taken: Taken
    motion: Motion
    zero_s: float

    def row(self, time_s: float) -> int:
        """Return the row nearest to a time from the meeting instant."""
        return int(np.argmin(np.abs(self.motion.pixels.time_s - (self.zero_s + time_s))))

    def drawn(self, time_s: float) -> ink.Picture:
        """Return the drawn picture at a time from the meeting instant, with the number of the last instant passed."""
        row = self.row(time_s)
        index, own_s = int(self.motion.pixels.frame[row]), float(self.motion.pixels.time_s[row])
        picture = self.taken(index)
        times_s = self.motion.pixels.time_s
        past = [h.hold for h in self.painter.held if h.row <= row and own_s - times_s[h.row] <= STAYS_S]
        self.painter.draw_on(picture, index, own_s, hold=past[-1] if past else None, clock_s=time_s)
        return picture


def panes(first: Motion, second: Motion, shape: Shape) -> tuple[Path, Path]:
    """Return where the pictures of both lie, in one scale."""
    above_m = max(shown_height_m(first), shown_height_m(second))
    size = PANES_PX[shape]
    return follow(first, shape, size_px=size, above_m=above_m), follow(second, shape, size_px=size, above_m=above_m)


def ticks_s(sides: tuple[Side, Side], rates_hz: tuple[float, float]) -> list[float]:
    """Return the times from the meeting instant, that instant among them, over which both runs are seen."""
    starts, ends = ([float(side.motion.pixels.time_s[place]) - side.zero_s for side in sides] for place in (0, -1))
    step = 1.0 / max(rates_hz)
    return [k * step for k in range(int(np.ceil(max(starts) / step)), int(np.floor(min(ends) / step)) + 1)]


def pair_frames(
    sides: tuple[Side, Side], shape: Shape, rates_hz: tuple[float, float]
) -> Iterator[tuple[Image | Planes, int]]:
    """Yield the pictures of both runs together and how often each is shown: half a second where they meet."""
    times = max(1, round(HOLD_S * playback_hz(max(rates_hz))))
    for time_s in ticks_s(sides, rates_hz):
        both = [side.drawn(time_s) for side in sides]
        yield together(both[0], both[1], shape), times if abs(time_s) < 1e-9 else 1


def together(first: ink.Picture, second: ink.Picture, shape: Shape) -> Image | Planes:
    """Return two pictures as one, a dark line between them."""
    axis = 1 if shape == "landscape" else 0
    if isinstance(first, Planes) and isinstance(second, Planes):
        luma, chroma = (
            np.concatenate(pair, axis=axis) for pair in ((first.luma, second.luma), (first.chroma, second.chroma))
        )
        one: Image | Planes = Planes(luma=luma, chroma=chroma)
    elif isinstance(first, Planes) or isinstance(second, Planes):
        raise TypeError("two pictures of one kind are wanted")
    else:
        one = np.concatenate([first, second], axis=axis)
    width, height = PANES_PX[shape]
    ends = [[width, 0], [width, height]] if axis else [[0, height], [width, height]]
    ink.stroke(one, np.array(ends, dtype=np.float64), ink.BLACK, 3.0)
    return one


def pair_size_px(shape: Shape) -> tuple[int, int]:
    """Return width and height of the film of two."""
    width, height = PANES_PX[shape]
    return (2 * width, height) if shape == "landscape" else (width, 2 * height)
