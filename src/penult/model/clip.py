"""What is known of a clip without looking into its pictures, and one of its pictures."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from penult.model.analysis import Notice
from penult.model.arrays import Floats, Image, locked


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """A clip's frames by their own times.

    Parameters
    ----------
    file : str
        File name without its folder.
    sha256 : str
        Of the file's bytes.
    size_px : (int, int)
        Width and height of the upright picture.
    time_s : (t,) float64
        Capture time of every shown frame from the first one, strictly rising: file times, scaled where the
        capture rate is known to differ from the playback rate.
    file_time_s : (t,) float64
        Presentation time as the file gives it, of the same frames.
    capture_rate_hz : float
        One over the median capture interval.
    capture_rate_from : str
        'command line', 'container tag' or 'frame times'.
    notices : tuple of Notice
        What a person should know of the file: cut off, variable rate, HDR source, times rebuilt ...
    """

    file: str
    sha256: str
    size_px: tuple[int, int]
    time_s: Floats
    file_time_s: Floats
    capture_rate_hz: float
    capture_rate_from: str
    notices: tuple[Notice, ...] = field(default=())

    def __post_init__(self) -> None:
        object.__setattr__(self, "time_s", locked(self.time_s))
        object.__setattr__(self, "file_time_s", locked(self.file_time_s))


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One shown picture: its place in the clip, its capture time, and its upright RGB pixels.

    Parameters
    ----------
    index : int
    time_s : float
    image : (h, w, 3) uint8
        The whole picture, or a part of it.
    corner_px : (int, int)
        Where the top left pixel of `image` lies in the picture.
    """

    index: int
    time_s: float
    image: Image
    corner_px: tuple[int, int] = (0, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Planes:
    """An upright picture as films store it: brightness in full, colour in half the resolution (BT.709, limited range).

    Half the memory of RGB, and nothing to convert on the way into a film.

    Parameters
    ----------
    luma : (h, w) uint8
        Both sides even.
    chroma : (h / 2, w / 2, 2) uint8
        Cb and Cr.
    """

    luma: NDArray[np.uint8]
    chroma: NDArray[np.uint8]

    def copy(self) -> Planes:
        """Return a picture of its own, to be drawn on."""
        return Planes(luma=self.luma.copy(), chroma=self.chroma.copy())
