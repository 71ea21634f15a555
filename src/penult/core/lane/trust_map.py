"""What a calibration can be trusted with before anyone jumps: expected uncertainty along the approach, and advice. Pure.

Only what the camera brings is in the map: joints and shoes that the pictures show badly come on top in a result.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from penult.core.lane import pinhole
from penult.core.lane.aside import FOOT_FROM_LINE_M, FOOT_SD_M, LINE_SD_M
from penult.core.lane.camera import WARN_VIEW_DEG, at_depth, metres_per_px, position_m, project
from penult.core.lane.camera_draws import sample_cameras
from penult.model.arrays import Floats
from penult.model.calibration import Camera, LaneFit, MarkResidual

STEP_M, HIP_M = 2.2, 0.95
"""A step before take-off and a hip over the runway, as they are at a walk through this map; rounded adult values."""
FOOT_PX, HIP_PX = 1.0, 2.0
"""How well a toe and a hip are found in a picture of 1920 pixels (SD)."""
FOOT_ASIDE_M, HIP_ASIDE_M = math.hypot(LINE_SD_M, FOOT_FROM_LINE_M, FOOT_SD_M), LINE_SD_M
"""How far a foot, left or right, and the hips lie from the lane's middle plane unseen (SD): 6 and 4 cm."""
_MARKER_CORNER = re.compile(r"(marker \d+) (?:top|bottom) (?:left|right)")
_DRAWS = 200
_NEAR_M = 7.0
_LOW_M = 0.5
_SPAN_SHARE = 0.5
_SPAN_M = 5.0
_SLOW_HZ = 100.0
_POOR_STEP_M, _POOR_HIP_M = 0.05, 0.03
_MOST_SHARE = 0.7
"""Of an uncertainty (half of its variance): then it comes mostly from there."""
_BENDS_PX = 3.0
_LOOSE_M = 0.03
_LOOSE_DRAWS = 60
_SIDES = {True: "beyond the lane", False: "on the camera's side of the lane"}
"""Where marks are missing: most lie nearer to the camera than the lane's middle (True), or beyond it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One place along the approach.

    Parameters
    ----------
    x_m : float
        Of the step's end.
    cm_per_px : float
    step_u95_m, hip_u95_m : float
        Expected expanded uncertainty of a step's length and a hip's height from camera and picture alone.
    """

    x_m: float
    cm_per_px: float
    step_u95_m: float
    hip_u95_m: float


def visible_m(camera: Camera) -> tuple[float, float]:
    """Return the first and the last x of the runway's middle line that is in the picture."""
    x_m = np.arange(-60.0, 20.01, 0.1)
    line = np.column_stack([x_m, np.zeros_like(x_m), np.zeros_like(x_m)])
    seen = project(camera, line)
    width_px, height_px = camera.image_size_px
    with np.errstate(invalid="ignore"):
        inside = (seen >= 0.0).all(axis=1) & (seen[:, 0] <= width_px - 1) & (seen[:, 1] <= height_px - 1)
    if not inside.any():
        return (np.nan, np.nan)
    return float(x_m[inside].min()), float(x_m[inside].max())


def expected_map(fit: LaneFit, *, every_m: float = 1.0, seed: int = 0) -> tuple[Stretch, ...]:
    """Return expected uncertainties along the visible approach (Monte Carlo over the camera, the picture, and depth).

    Parameters
    ----------
    fit : LaneFit
    every_m : float
    seed : int
        Of the draws.
    """
    low_m, high_m = visible_m(fit.camera)
    if not np.isfinite(low_m) or high_m - low_m < STEP_M:
        return ()
    first_m = np.ceil(low_m + STEP_M) if high_m - low_m > STEP_M + 1.0 else low_m + STEP_M
    ends_m = np.arange(first_m, min(high_m, 0.0) + 1e-9, every_m)
    rng = np.random.default_rng(seed)
    cameras = sample_cameras(fit.camera, _DRAWS, rng)
    if not ends_m.size:
        ends_m = np.array([high_m])
    return tuple(_stretch(fit.camera, cameras, float(x), rng) for x in ends_m)


def _stretch(camera: Camera, cameras: Sequence[Camera], x_m: float, rng: np.random.Generator) -> Stretch:
    px = max(camera.image_size_px) / 1920.0
    toes = [_read(camera, cameras, (x, 0.0), FOOT_PX * px, FOOT_ASIDE_M, rng)[:, 0] for x in (x_m, x_m - STEP_M)]
    hip = _read(camera, cameras, (x_m, HIP_M), HIP_PX * px, HIP_ASIDE_M, rng)[:, 1]
    return Stretch(
        x_m=x_m,
        cm_per_px=100.0 * float(metres_per_px(camera, x_m, HIP_M)),
        step_u95_m=2.0 * float(np.std(toes[0] - toes[1])),
        hip_u95_m=2.0 * float(np.std(hip)),
    )


def _read(
    camera: Camera,
    cameras: Sequence[Camera],
    place_m: tuple[float, float],
    pixel_sd_px: float,
    aside_sd_m: float,
    rng: np.random.Generator,
) -> Floats:
    """Return what drawn cameras read in the middle plane (n, 2) for a point that is a little aside of it."""
    aside_m = aside_sd_m * rng.standard_normal(len(cameras))
    truth = np.column_stack([np.tile(place_m, (len(cameras), 1)), aside_m])
    seen = project(camera, truth) + pixel_sd_px * rng.standard_normal((len(cameras), 2))
    return np.array([at_depth(drawn, pixel) for drawn, pixel in zip(cameras, seen, strict=True)])


def advice(fit: LaneFit, stretches: Sequence[Stretch], capture_rate_hz: float | None = None) -> tuple[str, ...]:
    """Return what a coach can do better, in plain words; nothing where nothing is amiss."""
    return (
        *disagreeing(fit),
        *_placed(fit),
        *_loose(fit),
        *_spread(fit),
        *_bent(fit),
        *_poor(fit, stretches),
        *_slow(capture_rate_hz),
    )


def good_for(fit: LaneFit, stretches: Sequence[Stretch]) -> str:
    """Return in one line what the lane file is good enough for, at its worst stretch."""
    if not stretches:
        return "good enough for times only: too little of the run-up is in the picture"
    step_m, hip_m = max(s.step_u95_m for s in stretches), max(s.hip_u95_m for s in stretches)
    found = ["contact and flight times"]
    if not any(r.disagrees for r in fit.residuals):
        found += ["step lengths"] if step_m < _POOR_STEP_M else []
        found += ["hip heights"] if hip_m < _POOR_HIP_M else []
        found += ["angles"] if fit.view_angle_deg <= WARN_VIEW_DEG else []
    missing = [name for name in ("step lengths", "hip heights", "angles") if name not in found]
    line = f"good enough for {', '.join(found)}"
    return f"{line}; not for {', '.join(missing)}" if missing else line


def together(residuals: Sequence[MarkResidual]) -> tuple[MarkResidual, ...]:
    """Return residuals with the four corners of a marker, which are measured once, as one with their worst."""
    groups: dict[str, list[MarkResidual]] = {}
    for r in residuals:
        corner = _MARKER_CORNER.fullmatch(r.name)
        groups.setdefault(corner.group(1) if corner else r.name, []).append(r)
    return tuple(
        replace(
            rows[0],
            name=name,
            residual_px=max(r.residual_px for r in rows),
            residual_cm=max(r.residual_cm for r in rows),
            left_out_cm=max(r.left_out_cm for r in rows),
            disagrees=any(r.disagrees for r in rows),
        )
        for name, rows in groups.items()
    )


def disagreeing(fit: LaneFit) -> list[str]:
    """Return a sentence that names the marks that disagree with the others, if there are such."""
    names = [repr(r.name) for r in together(fit.residuals) if r.disagrees]
    if not names:
        return []
    shown = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
    if len(names) == 1:
        return [f"This mark disagrees with the others: {shown}. Measure it again, or correct what was typed."]
    return [f"These marks disagree with the others: {shown}. Measure them again, or correct what was typed."]


def _placed(fit: LaneFit) -> list[str]:
    lines = []
    away_m = abs(float(position_m(fit.camera)[2]))
    if away_m < _NEAR_M:
        share = 100.0 * 0.1 / away_m
        lines.append(
            f"The camera is near ({away_m:.1f} m): an athlete 10 cm beside the middle of the lane looks {share:.1f} % "
            "larger or smaller. Step back to 10 m or more and zoom in."
        )
    if fit.view_angle_deg > WARN_VIEW_DEG:
        lines.append(
            f"The camera is turned by {fit.view_angle_deg:.0f} degrees from square to the run; turn it to less than 10."
        )
    if not fit.depth_known:
        lines.append(
            "How far away the camera stands is not known: lengths and heights in the middle of the lane are sound, what "
            "lies beside it (step width, a runner off the middle, feet on the edge lines) is not corrected. Add marks "
            "beside the lane, or the taped distance from camera to lane (--distance)."
        )
    return lines


def _loose(fit: LaneFit) -> list[str]:
    """Say where the marks leave open where along the run things are, and on which side of the lane marks are missing."""
    marked_m = [m.runway_m[0] for m in fit.lane.marks]
    low_m, high_m = np.clip(visible_m(fit.camera), min(marked_m), max(marked_m))
    if not np.isfinite(low_m):
        return []
    seen = project(fit.camera, [(x, 0.0, 0.0) for x in np.linspace(low_m, high_m, 4)])
    cameras = sample_cameras(fit.camera, _LOOSE_DRAWS, np.random.default_rng(0))
    u95_m = 2.0 * float(np.nanmax(np.std([at_depth(drawn, seen)[:, 0] for drawn in cameras], axis=0)))
    if u95_m < _LOOSE_M:
        return []
    aside_m = float(np.median([m.runway_m[2] for m in fit.lane.marks])) * float(np.sign(position_m(fit.camera)[2]))
    where = "on the other side of the lane" if abs(aside_m) < 0.3 else _SIDES[aside_m > 0.0]
    missing = f"marks {where} and in its middle, near both ends of the picture"
    open_cm = f"Places along the run are uncertain by up to {100 * u95_m:.0f} cm from the marks alone."
    return [f"{open_cm} Add {missing}{_or_distance(fit)}."]


def _spread(fit: LaneFit) -> list[str]:
    places = np.array([m.runway_m for m in fit.lane.marks])
    lines = []
    if np.ptp(places[:, 1]) < _LOW_M:
        lines.append("All marks lie at one height: heights are carried by the camera alone. Add marks 1 to 2 m up.")
    low_m, high_m = visible_m(fit.camera)
    span_m, seen_m = float(np.ptp(places[:, 0])), high_m - low_m
    if np.isfinite(seen_m) and (span_m < _SPAN_SHARE * seen_m or span_m < min(_SPAN_M, 0.8 * seen_m)):
        lines.append(
            f"The marks span {span_m:.1f} m of the {seen_m:.1f} m in the picture: an error of 1 cm between them is "
            f"{seen_m / max(span_m, 0.1):.0f} cm over the whole. Put marks near both ends of what is filmed."
        )
    return lines


def _bent(fit: LaneFit) -> list[str]:
    """Say where the lens bends straight lines visibly and only the marks tell by how much."""
    if fit.lane.lens is not None:
        return []
    camera = fit.camera
    half = 0.5 * np.hypot(*camera.image_size_px) / np.exp(camera.parameters[pinhole.LOG_FOCAL])
    corner_px = float(camera.parameters[pinhole.K1]) * half**3 * float(np.exp(camera.parameters[pinhole.LOG_FOCAL]))
    sd = float(np.sqrt(camera.covariance[pinhole.K1, pinhole.K1]))
    sure = abs(camera.parameters[pinhole.K1]) > 2.0 * sd
    if not sure or abs(corner_px) < _BENDS_PX * max(camera.image_size_px) / 1920.0:
        return []
    said = f"The lens bends lines (by {abs(corner_px):.0f} pixels in the corners)."
    return [f"{said} 'penult lens' with pictures of a chessboard measures it once for all."]


def _or_distance(fit: LaneFit) -> str:
    """Name the tape as another way, where it was not used yet."""
    return "" if fit.lane.camera_distance_m else ", or the taped distance from camera to lane (--distance)"


def _poor(fit: LaneFit, stretches: Sequence[Stretch]) -> list[str]:
    """Say where a step or a hip is the least certain, and what most of that comes from."""
    if not stretches:
        return ["Less than one step of the approach is in the picture: film from farther away."]
    lines, camera = [], fit.camera
    missing = f"the marks say little there. Add marks{_or_distance(fit)}"
    step = max(stretches, key=lambda s: s.step_u95_m)
    hip = max(stretches, key=lambda s: s.hip_u95_m)
    if step.step_u95_m > _POOR_STEP_M:
        cause = missing
        if _aslant_u95_m(camera, step.x_m) > _MOST_SHARE * step.step_u95_m:
            cause = "a foot beside the middle line is seen aslant there. Film from farther away and zoom in"
        lines.append(
            f"A step that ends at x = {step.x_m:.0f} m is uncertain by {100 * step.step_u95_m:.1f} cm: {cause}."
        )
    if hip.hip_u95_m > _POOR_HIP_M:
        cause = missing
        if 2.0 * HIP_PX * max(camera.image_size_px) / 1920.0 * hip.cm_per_px / 100.0 > _MOST_SHARE * hip.hip_u95_m:
            cause = f"a pixel is {hip.cm_per_px:.1f} cm. Zoom in, or film from nearer"
        lines.append(f"A hip height at x = {hip.x_m:.0f} m is uncertain by {100 * hip.hip_u95_m:.1f} cm: {cause}.")
    return lines


def _aslant_u95_m(camera: Camera, x_m: float) -> float:
    """Return what feet that stray from the middle plane bring to a step's length, seen from the side of it."""
    lens_m = position_m(camera)
    slants = [(x - lens_m[0]) / lens_m[2] for x in (x_m, x_m - STEP_M)]
    return float(2.0 * FOOT_ASIDE_M * np.hypot(*slants))


def _slow(capture_rate_hz: float | None) -> list[str]:
    """Say what the spacing of frames alone does: each end of a contact falls evenly between two frames."""
    if capture_rate_hz is None or capture_rate_hz >= _SLOW_HZ:
        return []
    u95_ms = 2.0 * 1000.0 / capture_rate_hz / np.sqrt(6.0)
    said = f"{capture_rate_hz:.0f} frames a second: whole frames leave a contact time uncertain by {u95_ms:.0f} ms."
    return [f"{said} Film at 120 or 240."]
