"""How good a lane file is before anyone jumps, and whether a clip still fits it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from penult.adapters.files.lane_file import read_lane, read_still, write_lane
from penult.adapters.files.result_file import read_analysis
from penult.adapters.film import video
from penult.adapters.pictures.background import follow_clip
from penult.adapters.pictures.still_source import frames_at
from penult.app.lanes import place_of
from penult.core.lane.remeasured import Remeasured, remeasured
from penult.core.lane.trust_map import Stretch, advice, expected_map
from penult.errors import CalibrationError, ClipError, OutputError, ResultError
from penult.model.analysis import Analysis
from penult.model.arrays import Image
from penult.model.calibration import LaneFit
from penult.model.clip import Clip
from penult.outputs.pictures.lane_picture import grid_picture
from penult.outputs.texts import certainty

_FRAMES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What a check found.

    Parameters
    ----------
    fit : LaneFit
    stretches : tuple of Stretch
        Expected uncertainties along the approach.
    advice : tuple of str
        What to do better, in plain words.
    place : str
        'same', 'moved' or 'moving' for a clip, '' without one or without a still to compare with.
    notices : tuple of str
        Of the clip.
    picture : Path, optional
        The still with the grid drawn over it.
    distances : tuple of Remeasured
        Distances that were measured once more.
    costs, look_first : tuple of str
        What costs certainty in the clip's scene, and which instants to look at first, as its result shows them.
    """

    fit: LaneFit
    stretches: tuple[Stretch, ...]
    advice: tuple[str, ...]
    place: str = ""
    notices: tuple[str, ...] = ()
    picture: Path | None = None
    distances: tuple[Remeasured, ...] = ()
    costs: tuple[str, ...] = ()
    look_first: tuple[str, ...] = ()


def check_lane(
    lane_path: Path,
    clip_path: Path | None = None,
    picture: Path | None = None,
    measured: Sequence[str] = (),
    *,
    keep: bool = False,
) -> Checked:
    """Check a lane file, alone or against a clip.

    Parameters
    ----------
    lane_path : Path
    clip_path : Path, optional
    picture : Path, optional
        Where the still with the grid goes (default: <lane file>_check.jpg beside it, if the lane has a still).
    measured : sequence of str
        Distances measured once more, such as 'pole 1 foot to pole 3 foot = 6.48'.
    keep : bool
        Write them into the lane file, instead of what was kept there.

    Raises
    ------
    CalibrationError
        If the lane file has faults, or the clip has another picture size.
    ViewError
        If the clip was filmed from elsewhere.
    """
    lane = read_lane(lane_path)
    distances = tuple(remeasured(words, lane.marks) for words in measured or lane.measured_again)
    if keep:
        lane = replace(lane, measured_again=tuple(measured))
        write_lane(lane_path, lane)
    fit, panned = place_of(lane_path, lane)
    clip = None if clip_path is None else video.open_clip(clip_path)
    still = read_still(lane_path, lane)
    place = ""
    notices: tuple[str, ...] = ()
    if clip is not None and clip_path is not None:
        _refuse_size(lane_path, fit, clip)
        notices = tuple(n.text for n in clip.notices)
        if still is not None and panned is None:
            place, more = _place(fit, still, clip_path, clip)
            notices += more
    if panned is not None:
        turned = f"A panned place: {len(panned[1])} pictures on one centre; below is what its square view gives."
        notices += (turned,)
    stretches = expected_map(fit)
    result = None if clip is None or clip_path is None else result_of(clip_path, clip)
    return Checked(
        fit=fit,
        stretches=stretches,
        # a panned place rests on the marks of all its pictures, not on those of its still
        advice=() if panned else advice(fit, stretches, None if clip is None else clip.capture_rate_hz),
        place=place,
        notices=notices,
        picture=None if still is None else _drawn(fit, still, picture or _beside(lane_path)),
        distances=distances,
        costs=() if clip is None else costs_of(clip, result),
        look_first=() if result is None else tuple(certainty.look_first(result)),
    )


UNSEEN = (
    "What clothes, passers-by and shoes like the ground cost is said once the clip is analysed: then check it again."
)
"""Said of a clip without a result: only an analysis looks at the athlete."""


def result_of(clip_path: Path, clip: Clip) -> Analysis | None:
    """Return the result that lies beside the clip, if it is of this very clip."""
    file = clip_path.with_name(f"{clip_path.stem}_analysis") / "analysis.json"
    if not file.is_file():
        return None
    try:
        known = read_analysis(file)
    except ResultError:
        return None
    return known if known.clip.sha256 == clip.sha256 else None


def costs_of(clip: Clip, result: Analysis | None) -> tuple[str, ...]:
    """Return what costs certainty: all of it from a result, from the clip alone its rate and what it leaves to be seen."""
    if result is not None:
        return tuple(certainty.costs(result))
    rate = certainty.rate_costs(clip.capture_rate_hz)
    return (*rate, UNSEEN)


def _refuse_size(lane_path: Path, fit: LaneFit, clip: Clip) -> None:
    made_for_px = fit.lane.image_size_px
    if clip.size_px != made_for_px:
        raise CalibrationError(
            f"{lane_path} does not fit {clip.file}",
            f"it was made for {made_for_px[0]} x {made_for_px[1]} px; the clip is {clip.size_px[0]} x {clip.size_px[1]} px",
            next_step="calibrate from this camera setting (calibration/README.md), or pass the lane file made for it",
        )


def _place(fit: LaneFit, still: Image, clip_path: Path, clip: Clip) -> tuple[str, tuple[str, ...]]:
    """Return how the clip's camera stands to the still, from a few frames, and what to know of it."""
    rows = np.unique(np.linspace(0, len(clip.time_s) - 1, _FRAMES).astype(int)).tolist()
    followed = follow_clip(fit, still, frames_at(clip_path, clip, rows))
    return followed.kind, tuple(n.text for n in followed.notices)


def _beside(lane_path: Path) -> Path:
    return lane_path.with_name(f"{lane_path.stem}_check.jpg")


def _drawn(fit: LaneFit, still: Image, place: Path) -> Path:
    done, data = cv2.imencode(".jpg", grid_picture(fit, still)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
    if not done:
        raise ClipError("the picture with the grid could not be encoded")
    try:
        place.write_bytes(data.tobytes())
    except OSError as error:
        raise OutputError(f"{place} cannot be written", error.strerror or str(error)) from error
    return place
