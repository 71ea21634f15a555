"""Who is the athlete: the mover that crosses the calibrated lane. From a profile of movement over place and time.

The profile holds, for every sampled time and every 10 cm of the lane, how much of a standing body's height is
covered by moving foreground there, and where that foreground ends below. Runners are streaks in it; standing
people are not in it at all; people in other lanes touch the ground elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from penult.errors import NoAthleteError
from penult.model.arrays import Floats
from penult.model.lane_profile import LaneProfile

BIN_M = 0.1
BODY_M = 0.5
"""Length of lane that a runner's trunk and thighs cover (common practice, no source)."""

MIN_SPEED_M_PER_S = 0.5
MAX_SPEED_M_PER_S = 26.0
"""From a sprint whose clock runs eight times too slow to one whose clock runs twice too fast (the fastest run near 12.5 m/s,
from memory): whether the clock is right is asked later, of the free fall and the step rate."""

MIN_COVER = 0.15
"""Least share of a body's height that moving foreground must cover, averaged over BODY_M, to count as somebody: half of what a
runner in low contrast, or with the legs tucked up in flight, covers (0.3 on films of both)."""

PASSING_PERCENT = 75
"""A place that is covered for more than a quarter of the clip is covered by somebody who stands there (common practice, no
source); a runner covers each place for about a body's length of their way."""

MIN_TRAVEL_M = 2.0
"""Somebody who crosses less than this of the lane has not run along it."""

MAX_OFF_LANE_M = 1.6
"""Ground contact farther than this from the lane's centre line is another lane: a lane is 1.22 m wide, and the lowest
foreground pixel of a small camera tilt places a foot to about a metre."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """Where the athlete is: x on the lane at each time (n,), within the picture."""

    time_s: Floats
    x_m: Floats


def find_runs(profile: LaneProfile, at: tuple[float, float] | None = None) -> tuple[Path, ...]:
    """Find every run along the lane, in the order of time.

    Parameters
    ----------
    profile : LaneProfile
        Sampled at about 30 Hz.
    at : (float, float), optional
        Time and x at which a person says the athlete is: then the run nearest to it, in whatever lane.

    Returns
    -------
    tuple of Path
        At least one.

    Raises
    ------
    NoAthleteError
        If nobody runs along the lane; says whether somebody moved elsewhere or the other way.
    """
    gain = _gain(profile.cover)
    found: list[Path] = []
    elsewhere: list[Path] = []
    for _ in range(12):
        rows, bins = best_streak(gain, profile.time_s)
        travel = abs(profile.x_m[bins[-1]] - profile.x_m[bins[0]]) if len(rows) else 0.0
        if travel < MIN_TRAVEL_M:
            break
        path = Path(time_s=profile.time_s[rows], x_m=profile.x_m[bins])
        (found if _on_lane(profile, rows, bins) else elsewhere).append(path)
        erase(gain, rows, bins)
    if at is not None:
        return _nearest_to(at, [*found, *elsewhere])
    if not found:
        raise _nobody(profile, len(elsewhere))
    return tuple(sorted(found, key=lambda p: float(p.time_s[0])))


def _gain(cover: Floats) -> Floats:
    """Cover beyond MIN_COVER, averaged over a body; what covers a place for long stands there and is taken off."""
    passing = cover - np.percentile(cover, PASSING_PERCENT, axis=0)
    return np.asarray(uniform_filter1d(passing, max(int(BODY_M / BIN_M), 1), axis=1)) - MIN_COVER


def _nearest_to(at: tuple[float, float], paths: list[Path]) -> tuple[Path, ...]:
    """The run that passes nearest to a place and time, within 1.5 m."""
    gaps = [
        abs(float(np.interp(at[0], p.time_s, p.x_m)) - at[1]) for p in paths if p.time_s[0] <= at[0] <= p.time_s[-1]
    ]
    passing = [p for p in paths if p.time_s[0] <= at[0] <= p.time_s[-1]]
    if not gaps or min(gaps) > 1.5:
        raise NoAthleteError(
            "nobody who moves along the lane is near the place and time given with --at",
            f"at {at[0]:.2f} s the nearest is {min(gaps):.1f} m away" if gaps else f"nobody moves at {at[0]:.2f} s",
            next_step="give X,Y in pixels of the upright picture and SECONDS of capture time at which the athlete is there",
        )
    return (passing[int(np.argmin(gaps))],)


def best_streak(gain: Floats, time_s: Floats) -> tuple[list[int], list[int]]:
    """Rows and bins of the forward-moving path with the greatest summed gain, beginning and ending anywhere."""
    n, width = gain.shape
    total = np.maximum(gain[0], 0.0)
    back = np.full((n, width), -1)
    totals = [total]
    for i in range(1, n):
        dt = time_s[i] - time_s[i - 1]
        low = max(round(MIN_SPEED_M_PER_S * dt / BIN_M), 0)
        high = max(round(MAX_SPEED_M_PER_S * dt / BIN_M), low + 1)
        best = np.zeros(width)
        for step in range(int(low), int(high) + 1):
            shifted = np.full(width, -np.inf)
            shifted[step:] = totals[-1][: width - step]
            better = shifted > best
            back[i][better] = np.flatnonzero(better) - step
            best[better] = shifted[better]
        totals.append(np.maximum(best + gain[i], 0.0))
    end = divmod(int(np.argmax(totals)), width)
    rows, bins = [end[0]], [end[1]]
    while back[rows[-1], bins[-1]] >= 0 and totals[rows[-1]][bins[-1]] > gain[rows[-1], bins[-1]]:
        bins.append(int(back[rows[-1], bins[-1]]))
        rows.append(rows[-1] - 1)
    return rows[::-1], bins[::-1]


def _on_lane(profile: LaneProfile, rows: list[int], bins: list[int]) -> bool:
    """Somebody on the lane: the lowest foreground of the streak, when a foot is down, lies near the lane's centre line."""
    reach = int(BODY_M / BIN_M)
    nearest = []
    for i, j in zip(rows, bins, strict=True):
        z = profile.ground_z_m[i, max(j - reach, 0) : j + reach + 1]
        if np.isfinite(z).any():
            nearest.append(z[np.nanargmin(np.abs(z))])
    return len(nearest) > 0 and float(np.percentile(np.abs(nearest), 30)) <= MAX_OFF_LANE_M


def erase(gain: Floats, rows: list[int], bins: list[int]) -> None:
    """Take a streak out of the profile, a body's length either side."""
    reach = int(1.5 * BODY_M / BIN_M)
    for i, j in zip(rows, bins, strict=True):
        gain[i, max(j - reach, 0) : j + reach + 1] = -MIN_COVER


def _nobody(profile: LaneProfile, elsewhere: int) -> NoAthleteError:
    """Say what was seen instead of a run along the lane."""
    rows, bins = best_streak(_gain(profile.cover)[:, ::-1], profile.time_s)
    if len(rows) and abs(profile.x_m[bins[-1]] - profile.x_m[bins[0]]) >= MIN_TRAVEL_M:
        return NoAthleteError(
            "nobody runs along the lane in its direction",
            "somebody moves the other way, towards smaller x of the lane file",
            next_step="check that the marks of the lane file count up in the direction of the run",
        )
    seen = (
        "somebody moves in another lane" if elsewhere else f"nothing crosses {MIN_TRAVEL_M:g} m of the calibrated lane"
    )
    return NoAthleteError(
        "nobody runs along the calibrated lane in this clip",
        seen,
        next_step="choose a clip with a whole run in it, or point at the athlete with --at X,Y,SECONDS",
    )


def position_at(path: Path, time_s: Floats) -> Floats:
    """Smoothed x of the athlete at other times (t,), NaN outside the path's own times."""
    smooth = uniform_filter1d(path.x_m, 5, mode="nearest") if len(path.x_m) >= 6 else path.x_m
    if len(path.x_m) >= 6:  # the mean of five is late at the ends; keep the slope of the run there
        smooth = _straight_ends(path.time_s, smooth)
    x = np.interp(time_s, path.time_s, smooth)
    usual = float(np.median(np.diff(path.time_s))) if len(path.time_s) > 1 else 0.0
    outside = (time_s < path.time_s[0] - usual) | (time_s > path.time_s[-1] + usual)
    return np.where(outside, np.nan, x)


def _straight_ends(time_s: Floats, x_m: Floats) -> Floats:
    """Continue the inner slope over the two samples at either end."""
    out = np.array(x_m)
    first = (x_m[3] - x_m[2]) / (time_s[3] - time_s[2]) if len(x_m) > 5 else 0.0
    last = (x_m[-3] - x_m[-4]) / (time_s[-3] - time_s[-4]) if len(x_m) > 5 else 0.0
    out[:2] = x_m[2] + first * (time_s[:2] - time_s[2])
    out[-2:] = x_m[-3] + last * (time_s[-2:] - time_s[-3])
    return out
