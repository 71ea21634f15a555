"""The main job: a clip and a lane file in, a result folder out. A result still good is found before anything heavy loads."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from penult import __version__
from penult.adapters import pose
from penult.adapters.files import written_places
from penult.adapters.files.corrections_file import read_corrections
from penult.adapters.files.corrections_text import to_plain
from penult.adapters.files.lane_file import read_lane
from penult.adapters.files.result_file import read_analysis
from penult.adapters.files.sighting_file import NAME as SIGHTING
from penult.adapters.film import video
from penult.adapters.logbook.place import default_place
from penult.app.address_space import check_memory
from penult.app.job import Job
from penult.app.progress import Progress
from penult.app.showing import language_here
from penult.errors import ResultError
from penult.model.analysis import Analysis
from penult.model.corrections import Correction
from penult.model.method import METHOD
from penult.model.settings import Settings
from penult.model.showing import Showing
from penult.whole_file import read_whole, told

if TYPE_CHECKING:
    from penult.app.workshop import Workshop


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
    showing: Showing | None = None,
    measured: Callable[[Analysis], None] = lambda analysis: None,
    workshop: Workshop | None = None,
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
    showing : Showing, optional
        The film's shape, language and units; None: the usual ones in the language of this computer.
    measured : callable
        Told the numbers as soon as they are there, before pictures and film are.
    workshop : Workshop, optional
        What several clips in a row are measured with; without it the clip has its own.

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
    shown = (showing or Showing(language=language_here())).plain()
    done = () if ignore_corrections else corrections_of(folder, video.sha256_of(clip_path), settings)
    record = [to_plain(c) for c in done]
    kept = unchanged(folder, clip_path, {**method, "corrections": record or None, "showing": shown})
    if kept is not None:
        return Result(analysis=kept, folder=folder)
    check_memory()
    from penult.app.fresh import fresh  # heavy: only when there is something to measure

    job = Job(
        clip_path=clip_path,
        lane_path=lane_path,
        lane=lane,
        settings=settings,
        done=done,
        method=method if shown is None else {**method, "showing": shown},
        measured=measured,
    )
    analysis = fresh(job, folder, progress, workshop)
    if settings.athlete:  # so that the person can be found again, and forgotten
        written_places.record(folder.parent, default_place())
    return Result(analysis=analysis, folder=folder)


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
    from penult.core.corrections.apply import applicable

    return applicable(history, settings)


LARGEST_LANE_BYTES = 50_000_000
"""Far more than a lane file may have: its own reader says so first."""

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
    """Return the result that is already there when clip, lane file, settings, version and method are the same, else None."""
    if not all((folder / name).is_file() for name in WHOLE) or not clip_path.is_file():
        return None
    try:
        known = read_analysis(folder / "analysis.json")
    except ResultError:
        return None
    same = all(known.method.get(name) == value for name, value in json.loads(json.dumps(method)).items())
    return known if same and known.clip.sha256 == video.sha256_of(clip_path) else None


def method_of(lane_path: Path, settings: Settings) -> dict[str, Any]:
    """Versions and settings to keep with the result, so that a number can be traced."""
    return {
        "method": METHOD,
        "penult": __version__,
        "pose_model": "heavy",
        "pose_model_sha256": pose.MODEL_SHA256,
        "calibration": told(lane_path.name),
        "calibration_sha256": hashlib.sha256(read_whole(lane_path, LARGEST_LANE_BYTES)).hexdigest(),
        "settings": {k: v for k, v in asdict(settings).items() if v not in (None, "", (), [])},
        "libraries": {name: version(name) for name in ("ai-edge-litert", "opencv-python", "av", "numpy", "scipy")},
        "machine": f"{platform.system()} {platform.machine()}, Python {platform.python_version()}",
    }
