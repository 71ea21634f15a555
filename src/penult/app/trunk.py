"""What the pictures say of the trunk in every flight: patches gathered in one pass, then registered."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from penult.adapters import video
from penult.adapters.torso import TrunkCollector
from penult.app.progress import Progress
from penult.app.threads import worker_count
from penult.core.camera import position_m
from penult.core.events import ROUGH_END_S, ROUGH_START_S, nearest_camera
from penult.core.evidence import LONGEST_FLIGHT_S
from penult.core.pipeline import Located
from penult.core.trunk import follow_trunk, trunk_window
from penult.model.clip import Clip
from penult.model.trunk import TrunkMotion, TrunkWindow

SLACK_S = 0.005
"""Rough supports end and begin by up to this much off."""


def trunk_windows(found: Located) -> tuple[TrunkWindow, ...]:
    """Return where the trunk is to be looked at: every flight between supports, and what follows the last."""
    starts = [s.end_s + ROUGH_END_S - SLACK_S for s in found.supports]
    ends = [s.start_s + ROUGH_START_S + SLACK_S for s in found.supports[1:]]
    ends.append(starts[-1] + SLACK_S + LONGEST_FLIGHT_S)
    out = []
    for start, end in zip(starts, ends, strict=True):
        lens_m = position_m(nearest_camera(found.cameras, found.runway.time_s, (start + end) / 2.0))
        window = trunk_window(found.runway, found.inside, start, end, lens_m)
        if window is not None:
            out.append(window)
    return tuple(out)


def look_at_trunk(path: Path, clip: Clip, found: Located, progress: Progress) -> tuple[TrunkMotion, ...]:
    """Follow the trunk through every flight.

    Parameters
    ----------
    path, clip
        The film.
    found : Located
        Joints and supports.

    Returns
    -------
    tuple of TrunkMotion
        One for every flight with enough of the body in the picture.
    """
    windows = trunk_windows(found)
    if not windows:
        return ()
    collector = TrunkCollector(windows)
    row_of = {int(frame): row for row, frame in enumerate(found.runway.frame)}
    wanted = [frame for frame, row in row_of.items() if collector.wants(row)]
    for frame in video.frames(path, clip, first=min(wanted), last=max(wanted)):
        row = row_of.get(frame.index)
        if row is None or not collector.wants(row):
            continue
        camera = found.cameras[0] if len(found.cameras) == 1 else found.cameras[row]
        collector.add(frame, camera, row)
        progress("looking at the trunk", (frame.index - wanted[0]) / max(wanted[-1] - wanted[0], 1))
    progress("following the trunk", 0.0)
    with ThreadPoolExecutor(worker_count()) as threads:  # most of the work is numpy's, which lets go of the lock
        return tuple(threads.map(lambda patches: follow_trunk(patches, found.runway), collector.patches()))
