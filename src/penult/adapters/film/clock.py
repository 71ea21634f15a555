"""From presentation stamps to the capture time of every frame. Pure numbers; no file is touched here."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from penult.core.checks.rates import likely_rate_hz, stated_fits
from penult.errors import ClipError
from penult.model.analysis import Notice
from penult.model.arrays import Floats

_MAX_SPAN_S = 6 * 3600.0
_MAX_RATE_HZ = 20_000.0
_SAME_CLOCK = 0.01  # a stated rate this near to the frame times confirms them; they are finer than a round number


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Times of the frames and where they come from; the fields are those of `Clip`."""

    time_s: Floats
    file_time_s: Floats
    capture_rate_hz: float
    capture_rate_from: str
    notices: tuple[Notice, ...]


def clock(
    stamp_s: Floats, *, tick_s: float, header_rate_hz: float, stated_rate_hz: float | None, tag_rate_hz: float | None
) -> Clock:
    """Put the frames of one clip on their capture clock (MEASURES section 6).

    Parameters
    ----------
    stamp_s : (t,) float64
        Presentation times in the order shown, NaN where the file has none.
    tick_s : float
        Smallest step of the file's own clock.
    header_rate_hz : float
        The constant rate that the header states; used only where the stamps are useless.
    stated_rate_hz, tag_rate_hz : float, optional
        Capture rate from the command line and from the container's tag.

    Returns
    -------
    Clock

    Raises
    ------
    ClipError
        If a stated rate is no rate, or the times span hours.
    """
    shown_s, notices = _rising(stamp_s, header_rate_hz)
    if shown_s[-1] - shown_s[0] > _MAX_SPAN_S:
        raise ClipError(
            f"the frame times run over {(shown_s[-1] - shown_s[0]) / 3600:.0f} hours",
            next_step="cut the run out of the film and try again",
        )
    base_s = base_interval(np.diff(shown_s), tick_s)
    rate_hz, source = _rate(base_s, stated_rate_hz, tag_rate_hz)
    factor = 1.0 / (rate_hz * base_s)
    if abs(factor - 1.0) <= _SAME_CLOCK:
        factor, rate_hz = 1.0, 1.0 / base_s
    else:
        notices.append(_slow_motion(rate_hz, base_s, source))
    time_s = (shown_s - shown_s[0]) * factor
    notices += _spacing(time_s, base_s * factor, tick_s * factor)
    return Clock(
        time_s=time_s,
        file_time_s=stamp_s,
        capture_rate_hz=rate_hz,
        capture_rate_from=source,
        notices=tuple(notices),
    )


def base_interval(interval_s: Floats, tick_s: float) -> float:
    """Return the interval between neighbouring frames when none is missing, in seconds.

    The mean of the intervals near the (lower) median: the median alone is a whole number of ticks, at 240 frames a
    second on a clock of 1 ms 4 % off; the mean of all would count gaps.
    """
    middle_s = float(np.sort(interval_s)[(len(interval_s) - 1) // 2])  # one of them, even where two rates mix
    near = np.abs(interval_s - middle_s) <= max(0.15 * middle_s, 1.01 * tick_s)
    return float(np.mean(interval_s[near]))


def _rising(stamp_s: Floats, header_rate_hz: float) -> tuple[Floats, list[Notice]]:
    """Return times that rise strictly: the file's own, or rebuilt from frame order and a constant rate."""
    steps = np.diff(stamp_s)
    if bool(np.all(steps > 1.0 / _MAX_RATE_HZ)):
        return stamp_s, []
    known = np.unique(stamp_s[np.isfinite(stamp_s)])
    gaps = np.diff(known)
    gaps = gaps[gaps > 1.0 / _MAX_RATE_HZ]
    rate_hz = 1.0 / float(np.median(gaps)) if gaps.size >= len(stamp_s) // 2 else header_rate_hz
    rate_hz = rate_hz if 1.0 <= rate_hz <= 2000.0 else 30.0
    text = (
        "The times of the frames in the file are missing or run backwards. They were rebuilt from the order of the "
        f"frames at an assumed {rate_hz:.4g} frames a second: every time and speed rests on that."
    )
    return np.arange(len(stamp_s)) / rate_hz, [Notice(code="times-rebuilt", text=text)]


def _rate(base_s: float, stated_hz: float | None, tag_hz: float | None) -> tuple[float, str]:
    if stated_hz is not None:
        if not (math.isfinite(stated_hz) and 1.0 <= stated_hz <= _MAX_RATE_HZ):
            raise ClipError(
                f"a capture rate of {stated_hz:g} frames a second is not possible",
                next_step="give the rate that the camera was set to, such as 240",
            )
        if not stated_fits(stated_hz, 1.0 / base_s):
            likely = likely_rate_hz(stated_hz, 1.0 / base_s)
            raise ClipError(
                f"a capture rate of {stated_hz:g} frames a second does not fit the clip",
                f"its frames come at {1.0 / base_s:.4g} a second; a camera that films at {stated_hz:g} would not write that",
                next_step=f"say --capture-rate {likely:.4g} if that is what the camera was set to, or leave it out",
            )
        return stated_hz, "command line"
    if tag_hz is not None and math.isfinite(tag_hz) and 1.0 <= tag_hz <= _MAX_RATE_HZ:
        return tag_hz, "container tag"
    return 1.0 / base_s, "frame times"


def _slow_motion(rate_hz: float, base_s: float, source: str) -> Notice:
    slow = rate_hz * base_s
    change = f"divided by {slow:.4g}" if slow > 1.0 else f"multiplied by {1.0 / slow:.4g}"
    text = (
        f"The film plays at {1 / base_s:.4g} frames a second but was captured at {rate_hz:.4g} ({source}): "
        f"all its times are {change}."
    )
    return Notice(code="slow-motion", text=text)


def _spacing(time_s: Floats, base_s: float, tick_s: float) -> list[Notice]:
    """Say whether frames are uneven, and where frames are missing."""
    interval_s = np.diff(time_s)
    missing = np.maximum(np.rint(interval_s / base_s) - 1, 0).astype(int)
    whole = np.abs(interval_s - (missing + 1) * base_s) < np.maximum(0.25 * base_s, 1.5 * tick_s)
    gaps = np.flatnonzero((missing > 0) & whole)
    has_drops = 0 < len(gaps) <= len(interval_s) / 4
    notices = []
    even = np.delete(interval_s, gaps) if has_drops else interval_s
    if np.abs(even - base_s).max() > max(0.05 * base_s, 1.6 * tick_s):
        text = (
            f"The frames are not evenly spaced: {interval_s.min() * 1e3:.1f} ms at the shortest, "
            f"{np.median(interval_s) * 1e3:.1f} ms in the middle, {interval_s.max() * 1e3:.1f} ms at the longest. "
            "Every frame keeps its own time."
        )
        notices.append(Notice(code="variable-rate", text=text))
    if has_drops:
        notices.append(_drops(time_s[gaps], missing[gaps]))
    return notices


def _drops(at_s: Floats, missing: np.ndarray) -> Notice:
    places = [f"{n} after {t:.3f} s" for t, n in zip(at_s[:6], missing[:6], strict=True)]
    if len(at_s) > 6:
        places.append(f"and at {len(at_s) - 6} more places")
    count = int(missing.sum())
    text = f"{count} {'frame is' if count == 1 else 'frames are'} missing inside the film: {', '.join(places)}."
    return Notice(code="frames-dropped", text=text)
