"""Measure a clip and write its result folder; the order of the stages, and what goes on beside what."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from statistics import median

from penult.adapters.caches import keypoint_cache
from penult.adapters.files.corrections_text import to_plain
from penult.adapters.files.sighting_file import NAME as SIGHTING
from penult.adapters.film import video
from penult.app.job import Job
from penult.app.plan import cache_key
from penult.app.progress import Progress
from penult.app.workshop import Turn, Workshop
from penult.errors import CalibrationError, NotMeasurableError
from penult.model.analysis import Analysis
from penult.model.calibration import LaneFile
from penult.model.clip import Clip


def fresh(job: Job, folder: Path, progress: Progress, workshop: Workshop | None = None) -> Analysis:
    """Measure a clip and write all files of its result, with a workshop of its own or one that other clips share.

    Raises
    ------
    InputError
        The clip, the lane file or the output place is at fault.
    NotMeasurableError
        The clip cannot answer.
    """
    with ExitStack() as open_:
        workshop = workshop or open_.enter_context(Workshop())
        turn = workshop.begin()
        open_.callback(turn.end)
        beside = open_.enter_context(ThreadPoolExecutor(1, thread_name_prefix="beside"))
        opening = beside.submit(video.FirstReading, job.clip_path, capture_rate_hz=job.settings.capture_rate_hz)
        if not job.done and not keypoint_cache.is_kept(cache_key(video.sha256_of(job.clip_path))):
            turn.pool.warm_up()
        return _measured(job, opening.result, folder, (workshop, turn), progress)


def _measured(
    job: Job,
    opened: Callable[[], video.FirstReading],
    folder: Path,
    at: tuple[Workshop, Turn],
    progress: Progress,
) -> Analysis:
    # these take a second to load, in which the clip's packets are looked through
    from penult.adapters.files.sighting_file import sighting_to_bytes
    from penult.app.cameras import first_look
    from penult.app.lanes import place_of
    from penult.app.panned import panned_look
    from penult.app.pictures import write_pictures
    from penult.app.see import Surroundings, see
    from penult.core.checks.camera_place import camera_unchecked
    from penult.core.corrections.apply import clip_with, picks_of, settings_with
    from penult.core.corrections.outcome import outcome_of
    from penult.core.lane.camera import check_view
    from penult.core.lane.view import check_upright
    from penult.outputs.folder.save import building, check_place

    fit, place = place_of(job.lane_path, job.lane)
    view = check_view(fit)
    check_upright(fit.camera, median(mark.runway_m[0] for mark in fit.lane.marks))
    reading = opened()
    clip = reading.expected or reading.clip()
    _check_size(clip, job.lane, job.clip_path, job.lane_path)
    _check_rate(clip_with(clip, job.done), job.clip_path)
    check_place(folder, clip.sha256)
    workshop, turn = at
    if place is None:
        clip, found = first_look(reading, fit, job.lane_path, progress)
    else:
        clip = reading.clip()
        found = panned_look(job.clip_path, clip, place, progress)
    _check_rate(clip_with(clip, job.done), job.clip_path)
    settings = settings_with(job.settings, picks_of(job.done), clip)
    unchecked = camera_unchecked(job.lane.still, found.marks)
    scene = Surroundings(
        clip=clip,
        fit=fit,
        cameras=found.cameras,
        profile=found.profile,
        notices=(*((unchecked,) if unchecked else ()), *clip.notices, *((view,) if view else ()), *found.notices),
        method=job.method,
        changes=found.changes,
        loss=found.loss,
    )
    sighting, footage = see(job.clip_path, scene, settings, turn.pool, progress)
    progress("measuring", 0.0)
    workshop.looked()
    outcome = outcome_of(sighting, job.done, record=[to_plain(c) for c in job.done])
    job.measured(outcome.analysis)
    turn.end()
    with building(folder, sha256=clip.sha256) as new:
        write_pictures(new, footage, clip_with(clip, job.done), outcome, progress, turn.page.files)
        new.write(SIGHTING, sighting_to_bytes(sighting))
    return outcome.analysis


SLOWEST_HZ = 24.0
"""Fewer frames a second give a support of 0.1 s two frames at most, and a foot at rest cannot be told from one in passing."""


def _check_rate(clip: Clip, clip_path: Path) -> None:
    if clip.capture_rate_hz < SLOWEST_HZ:
        raise NotMeasurableError(
            f"the frame rate of {clip_path.name} is too low to see a contact",
            f"it has {clip.capture_rate_hz:.3g} frames a second; {SLOWEST_HZ:.0f} are the least, 120 or 240 are good",
            next_step="film with the phone's slow-motion setting",
        )


def _check_size(clip: Clip, lane: LaneFile, clip_path: Path, lane_path: Path) -> None:
    """A lane file belongs to one picture size; rescaling in silence would hide another zoom or crop."""
    if clip.size_px != lane.image_size_px:
        lies = clip.size_px == lane.image_size_px[::-1]
        raise CalibrationError(
            f"{lane_path.name} does not fit {clip_path.name}",
            f"it was made for {lane.image_size_px[0]} x {lane.image_size_px[1]} px; "
            f"the clip is {clip.size_px[0]} x {clip.size_px[1]} px"
            + (": does its picture lie on its side?" if lies else ""),
            next_step="turn the clip upright (the phone's gallery can), or use a lane file made from the picture as it is"
            if lies
            else "calibrate from this camera setting (penult calibrate), or pass the lane file made for it",
        )
