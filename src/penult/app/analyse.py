"""The main job: a clip and a lane file in, a result folder out."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from penult import __version__
from penult.adapters import pose, video
from penult.adapters.corrections_file import read_corrections
from penult.adapters.corrections_text import to_plain
from penult.adapters.lane_file import read_lane
from penult.adapters.result_file import read_analysis
from penult.adapters.sighting_file import NAME as SIGHTING
from penult.adapters.sighting_file import sighting_to_bytes
from penult.app.cameras import scan
from penult.app.pictures import write_pictures
from penult.app.poses import PosePool
from penult.app.progress import Progress
from penult.app.see import Scene, see
from penult.core.camera import check_view
from penult.core.corrections import applicable, clip_with, picks_of, settings_with
from penult.core.lane import fit_lane
from penult.core.outcome import outcome_of
from penult.errors import CalibrationError, NotMeasurableError, ResultError
from penult.model.analysis import Analysis
from penult.model.calibration import LaneFile
from penult.model.clip import Clip
from penult.model.corrections import Correction
from penult.model.settings import Settings
from penult.outputs.save import building, check_place


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """An analysis and the folder it was written to."""

    analysis: Analysis
    folder: Path


def analyse(
    clip_path: Path,
    lane_path: Path,
    settings: Settings,
    out: Path | None,
    progress: Progress,
    *,
    ignore_corrections: bool = False,
) -> Result:
    """Analyse one clip and write its result folder.

    Parameters
    ----------
    clip_path, lane_path : Path
        The film and the lane file.
    settings : Settings
        What the coach said.
    out : Path or None
        Folder of the result; None: `<clip name>_analysis` beside the clip.
    progress : callable
        Told what is being done.
    ignore_corrections : bool
        Leave out what was put right by hand in an earlier result of the clip (it is kept all the same).

    Returns
    -------
    Result

    Raises
    ------
    InputError
        The clip, the lane file or the output place is at fault.
    NotMeasurableError
        The clip cannot answer.
    """
    lane = read_lane(lane_path)
    folder = out or clip_path.with_name(f"{clip_path.stem}_analysis")
    method = method_of(lane_path, settings)
    done = () if ignore_corrections else corrections_of(folder, video.sha256_of(clip_path), settings)
    record = [to_plain(c) for c in done]
    kept = unchanged(folder, clip_path, {**method, "corrections": record or None})
    if kept is not None:
        return Result(analysis=kept, folder=folder)
    fit = fit_lane(lane)
    view = check_view(fit)
    clip = video.open_clip(clip_path, capture_rate_hz=settings.capture_rate_hz)
    _check_size(clip, lane, clip_path, lane_path)
    _check_rate(clip_with(clip, done), clip_path)
    check_place(folder, clip.sha256)
    with PosePool() as pool:
        first_look = scan(clip_path, clip, fit, lane_path, progress)
        scene = Scene(
            clip=clip,
            fit=fit,
            cameras=first_look.cameras,
            profile=first_look.profile,
            notices=(*clip.notices, *((view,) if view else ()), *first_look.notices),
            method=method,
        )
        sighting = see(clip_path, scene, settings_with(settings, picks_of(done), clip), pool, progress)
    progress("measuring", 0.0)
    outcome = outcome_of(sighting, done, record=record)
    with building(folder, sha256=clip.sha256) as new:
        write_pictures(new, clip_path, clip_with(clip, done), outcome, progress)
        new.write(SIGHTING, sighting_to_bytes(sighting))
    return Result(analysis=outcome.analysis, folder=folder)


def corrections_of(folder: Path, clip_sha256: str, settings: Settings) -> tuple[Correction, ...]:
    """Return the corrections by hand that lie in a result folder and are about this athlete.

    Raises
    ------
    ResultError
        If the file has faults or belongs to another clip.
    """
    history = read_corrections(folder)
    if history is None:
        return ()
    if history.clip_sha256 != clip_sha256:
        raise ResultError(
            f"the corrections in {folder} belong to another clip",
            next_step="move corrections.json away, or leave it out with --ignore-corrections",
        )
    return applicable(history, settings)


SLOWEST_HZ = 24.0
"""Fewer frames a second give a support of 0.1 s two frames at most, and a foot at rest cannot be told from one in passing."""


def _check_rate(clip: Clip, clip_path: Path) -> None:
    if clip.capture_rate_hz < SLOWEST_HZ:
        raise NotMeasurableError(
            f"the frame rate of {clip_path.name} is too low to see a contact",
            f"it has {clip.capture_rate_hz:.3g} frames a second; {SLOWEST_HZ:.0f} are the least, 120 or 240 are good",
            next_step="film with the phone's slow-motion setting",
        )


WHOLE = (
    "analysis.json",
    "motion.npz",
    "contacts.csv",
    "steps.csv",
    "hip_path.csv",
    "overlay.mp4",
    "summary.html",
    SIGHTING,
)
"""Files without which a folder is not a whole result."""


def unchanged(folder: Path, clip_path: Path, method: Mapping[str, Any]) -> Analysis | None:
    """Return the result that is already there when clip, lane file, settings and version are the same, else None."""
    if not all((folder / name).is_file() for name in WHOLE) or not clip_path.is_file():
        return None
    try:
        known = read_analysis(folder / "analysis.json")
    except ResultError:
        return None
    same = all(known.method.get(name) == value for name, value in json.loads(json.dumps(method)).items())
    return known if same and known.clip.sha256 == video.sha256_of(clip_path) else None


def _check_size(clip: Clip, lane: LaneFile, clip_path: Path, lane_path: Path) -> None:
    """A lane file belongs to one picture size; rescaling in silence would hide another zoom or crop."""
    if clip.size_px != lane.image_size_px:
        raise CalibrationError(
            f"{lane_path.name} does not fit {clip_path.name}",
            f"it was made for {lane.image_size_px[0]} x {lane.image_size_px[1]} px; "
            f"the clip is {clip.size_px[0]} x {clip.size_px[1]} px",
            next_step="calibrate from this camera setting (penult calibrate), or pass the lane file made for it",
        )


def method_of(lane_path: Path, settings: Settings) -> dict[str, Any]:
    """Versions and settings to keep with the result, so that a number can be traced."""
    return {
        "penult": __version__,
        "pose_model": "heavy",
        "pose_model_sha256": pose.MODEL_SHA256,
        "calibration": lane_path.name,
        "calibration_sha256": hashlib.sha256(lane_path.read_bytes()).hexdigest(),
        "settings": {k: v for k, v in asdict(settings).items() if v not in (None, "", (), [])},
        "libraries": {name: version(name) for name in ("mediapipe", "opencv-python", "av", "numpy", "scipy")},
        "machine": f"{platform.system()} {platform.machine()}, Python {platform.python_version()}",
    }
