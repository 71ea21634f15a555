"""The take-off board as the lane file says it, against that of the rules: yards, or a stretched tape, show. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from penult.core.lane import pinhole
from penult.model.arrays import Floats
from penult.model.calibration import Camera, LaneFit, Mark

BOARD_M = (0.20, 1.22)
"""Along the run and across it (World Athletics, Technical Rules, take-off board: 20 cm +- 2 mm by 1.22 m +- 1 cm; from memory)."""

RULE_U95 = 0.01
"""Of a board of the rules: 2 mm of 20 cm."""

NOTICED_SHARE = 0.02
"""A board across the runway is 1 cm longer or shorter by the rules, and marks are typed to the centimetre: 1.6 % together."""

ALIKE_SHARE = 0.03
"""Both sizes of a wrong scale are wrong alike; 0.20 m typed to the centimetre is known to 2.5 %. Home-made boards differ in one."""

MOST_SHARE = 0.5


def board_share(marks: Sequence[Mark]) -> float | None:
    """Return how many times too large the lane file says the board is, in both directions alike; None where nothing is odd.

    Parameters
    ----------
    marks : sequence of Mark
        Those with 'board' in their names are its corners; all four sides must be there.
    """
    places = np.array([m.runway_m for m in marks if "board" in m.name.lower()], dtype=np.float64).reshape(-1, 3)
    if len(places) < 3:
        return None
    along, across = np.ptp(places[:, 0]) / BOARD_M[0], np.ptp(places[:, 2]) / BOARD_M[1]
    is_odd = NOTICED_SHARE < abs(across - 1.0) < MOST_SHARE
    alike = abs(along / across - 1.0) <= ALIKE_SHARE and abs(along - 1.0) > 0.5 * abs(across - 1.0)
    return float(across) if is_odd and alike else None


LEAST_NOISE_PX = 0.3
"""Nobody clicks better than that, however well the marks of one lane happen to fit."""

MOST_SEEN = 0.15
"""Farther off it is no board of the rules that was clicked, or other edges of it."""


def board_seen(fit: LaneFit) -> tuple[float, float] | None:
    """Return how much larger the other marks make the board than the rules do (a share), and its u95; None if nothing tells.

    The board's corners are typed from the rules, the other marks from a tape: with both in one picture each scale is known without
    the other. Board and camera are solved together, to first order about the fitted camera (Gauss and Markov).

    Parameters
    ----------
    fit : LaneFit
        Corners of its board have 'board' in their names and lie as the rules have it, or nothing is told.
    """
    marks, camera = fit.lane.marks, fit.camera
    if fit.lane.panorama is not None:  # its scale comes from marks of many pictures
        return None
    is_board = np.array(["board" in m.name.lower() for m in marks])
    places = np.array([m.runway_m for m in marks], dtype=np.float64)
    if is_board.sum() < 3:
        return None
    off_rule = np.ptp(places[is_board][:, [0, 2]], axis=0) / np.array(BOARD_M) - 1.0
    if np.abs(off_rule).max() > NOTICED_SHARE or any(r.disagrees and "board" in r.name.lower() for r in fit.residuals):
        return None
    seen_px = np.array([m.pixel_px for m in marks])
    columns = [_slope(lambda p: _seen(p, camera, places), camera.parameters, i) for i in _free(camera)]
    for axis in (0, 2):
        stretch = np.where(is_board[:, None] & (np.arange(3) == axis), places, 0.0)
        columns.append(
            (_seen(camera.parameters, camera, places + STEP * stretch) - _seen(camera.parameters, camera, places))
            / STEP
        )
    design = np.stack(columns, axis=1)
    spare = design.shape[0] - design.shape[1]
    left_px = (seen_px - _seen(camera.parameters, camera, places).reshape(-1, 2)).ravel()
    if spare < 4 or not np.isfinite(design).all():
        return None
    scale = np.linalg.norm(design, axis=0)
    found, *_ = np.linalg.lstsq(design / scale, left_px, rcond=1e-10)
    noise_px = max(float(np.sqrt(((left_px - design / scale @ found) ** 2).sum() / spare)), LEAST_NOISE_PX)
    spread = np.linalg.pinv((design / scale).T @ (design / scale)) * noise_px**2 / np.outer(scale, scale)
    weight = np.linalg.inv(spread[-2:, -2:])
    share = float(weight.sum(axis=0) @ (found / scale)[-2:] / weight.sum())
    return None if abs(share) > MOST_SEEN else (share, float(np.hypot(2.0 / np.sqrt(weight.sum()), RULE_U95)))


STEP = 1e-6


def _free(camera: Camera) -> list[int]:
    """Return which parameters of a camera were fitted."""
    return np.flatnonzero(np.diag(camera.covariance) > 0.0).tolist()


def _seen(parameters: Floats, camera: Camera, places_m: Floats) -> Floats:
    return pinhole.seen_px(parameters, camera.centre_px, places_m).ravel()


def _slope(seen: Callable[[Floats], Floats], at: Floats, which: int) -> Floats:
    nudge = np.where(np.arange(len(at)) == which, STEP, 0.0)
    return np.asarray((seen(at + nudge) - seen(at - nudge)) / (2.0 * STEP))
