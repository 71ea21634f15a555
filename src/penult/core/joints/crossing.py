"""When somebody else passes in front of the athlete or behind, as the movement over the lane shows it. Pure."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from penult.core.joints.runs import BIN_M, BODY_M, MIN_COVER, Path, best_streak, erase, position_at
from penult.model.analysis import Notice
from penult.model.arrays import Floats
from penult.model.lane_profile import LaneProfile
from penult.model.shoe import ShoeContact

NEAR_M = 1.0
"""Two runners whose middles are this near in the picture overlap: a stride reaches half a metre either way."""

TRAVEL_M = 0.8
"""Somebody who strolls covers this in the time that a run takes; who moves less has become part of the background."""

APART_M = 1.3
"""Somebody who never gets this far from the athlete is the athlete's own shadow, mirror image or leg."""

BEHIND_M = 0.4
"""Feet that come down farther than this beyond the lane's centre line are behind the athlete, and hide nothing."""

AROUND_S = 0.02
"""An instant this near to a crossing is judged from pictures of the crossing."""

HIDDEN = "somebody else crosses the athlete in the picture at that moment"


LEAST_COVER = 0.1
"""Of a standing body's height: a shin."""

HIDES_M = 0.8
"""A body hides a foot whose place is this near to its middle in the picture: half a stride (0.5 m) and half a shoe, and what
a body nearer to the camera looks larger."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Somebody else overlaps the athlete in the picture from `start_s` to `end_s`, in front (or in the lane) or behind.

    `way` holds (time_s, x_m) of their middle, where it is known: x on the lane behind or before which they are seen.
    """

    start_s: float
    end_s: float
    in_front: bool = True
    way: tuple[tuple[float, float], ...] = ()

    def hides(self, instant_s: float, place_m: float) -> bool:
        """Whether a foot at a place may be hidden at an instant."""
        if not self.in_front or not self.start_s - AROUND_S <= instant_s <= self.end_s + AROUND_S:
            return False
        if not self.way:
            return True
        time_s, x_m = np.array(self.way).T
        return bool(abs(float(np.interp(instant_s, time_s, x_m)) - place_m) < HIDES_M)


def crossings(profile: LaneProfile, run: Path, lens_z_m: float) -> tuple[Crossing, ...]:
    """Return when other movers, of either direction, overlap the athlete; in the order of time.

    Parameters
    ----------
    profile : LaneProfile
        With the athlete in it.
    run : Path
        Of the athlete.
    lens_z_m : float
        On which side of the lane the camera stands.
    """
    # a column in which nothing stands over the lane may show the head of somebody near the camera: that is no foot
    near_z_m = np.where(profile.cover > LEAST_COVER, profile.ground_z_m * np.sign(lens_z_m), np.nan)
    gain = uniform_filter1d(profile.cover, max(int(BODY_M / BIN_M), 1), axis=1) - MIN_COVER
    rows = np.searchsorted(profile.time_s, run.time_s).clip(0, len(profile.time_s) - 1)
    bins = np.abs(profile.x_m[None, :] - run.x_m[:, None]).argmin(axis=1)
    erase(gain, rows.tolist(), bins.tolist())
    athlete_m = position_at(run, profile.time_s)
    found: list[Crossing] = []
    views = ((profile.x_m, gain, near_z_m), (profile.x_m[::-1], gain[:, ::-1].copy(), near_z_m[:, ::-1]))
    for towards_m, view, z_m in views:
        for _ in range(6):
            rows_o, bins_o = best_streak(view, profile.time_s)
            if len(rows_o) < 2 or abs(towards_m[bins_o[-1]] - towards_m[bins_o[0]]) < TRAVEL_M:
                break
            apart_m = np.abs(towards_m[bins_o] - athlete_m[rows_o])
            in_front = _near_side(z_m, rows_o, bins_o, apart_m) > -BEHIND_M
            found += _overlaps(profile.time_s[rows_o], towards_m[bins_o], apart_m, in_front=in_front)
            erase(view, rows_o, bins_o)
    return tuple(sorted(found, key=lambda c: c.start_s))


def _near_side(z_m: Floats, rows: list[int], bins: list[int], apart_m: Floats) -> float:
    """How far on the camera's side of the lane somebody's feet come down, where they do not overlap the athlete."""
    reach = int(BODY_M / BIN_M)
    lowest = []
    for row, i, apart in zip(rows, bins, apart_m.tolist(), strict=True):
        z = z_m[row, max(i - reach, 0) : i + reach + 1]
        if not apart < NEAR_M:  # nothing down to the far end of what is followed: farther behind than that
            lowest.append(float(np.nanmax(z)) if np.isfinite(z).any() else -np.inf)
    return sorted(lowest)[int(0.8 * len(lowest))] if lowest else np.inf


def _overlaps(time_s: Floats, x_m: Floats, apart_m: Floats, *, in_front: bool) -> list[Crossing]:
    """Stretches in which one other mover is near the athlete."""
    if not np.isfinite(apart_m).any() or np.nanmax(apart_m) < APART_M:
        return []
    fine = np.arange(time_s[0], time_s[-1], 0.002)
    near = np.interp(fine, time_s, np.where(np.isfinite(apart_m), apart_m, 9.0)) < NEAR_M
    way = tuple(zip(time_s.tolist(), x_m.tolist(), strict=True))
    parts = np.split(np.arange(len(fine)), np.flatnonzero(np.diff(near.astype(int))) + 1)
    return [
        Crossing(start_s=float(fine[p[0]]), end_s=float(fine[p[-1]]), in_front=in_front, way=way)
        for p in parts
        if len(p) and near[p[0]]
    ]


def without_crossed(
    shoes: Sequence[ShoeContact], crossed: Sequence[Crossing], time_scale: float = 1.0
) -> tuple[ShoeContact, ...]:
    """Return the contacts, those whose instants somebody in front hides with NaN there and the reason.

    Crossings are on the clip's clock, contacts on one that runs `time_scale` times as fast.
    """
    return tuple(_hidden(shoe, crossed, time_scale) for shoe in shoes)


def _hidden(shoe: ShoeContact, crossed: Sequence[Crossing], time_scale: float) -> ShoeContact:
    touchdown_s, toe_off_s = (
        float("nan") if any(c.hides(t * time_scale, shoe.toe_x_m) for c in crossed) else t
        for t in (shoe.touchdown_s, shoe.toe_off_s)
    )
    if np.array_equal([touchdown_s, toe_off_s], [shoe.touchdown_s, shoe.toe_off_s], equal_nan=True):
        return shoe
    return dataclasses.replace(shoe, touchdown_s=touchdown_s, toe_off_s=toe_off_s, reason=shoe.reason or HIDDEN)


def crossing_notices(crossed: Sequence[Crossing]) -> tuple[Notice, ...]:
    """Return one warning for all crossings; of those that overlap the whole time is said once."""
    if not crossed:
        return ()
    spans: list[tuple[float, float]] = []
    for start_s, end_s in sorted((c.start_s, c.end_s) for c in crossed):
        if spans and start_s <= spans[-1][1]:
            spans[-1] = spans[-1][0], max(end_s, spans[-1][1])
        else:
            spans.append((start_s, end_s))
    when = ", ".join(f"{start_s:.2f} to {end_s:.2f} s" for start_s, end_s in spans)
    text = (
        f"Somebody else overlaps the athlete in the picture ({when}); what cannot be told apart there is not measured."
    )
    return (Notice(code="crossed", text=text),)
