"""A closer look at shoes and trunk, in one pass over the frames that show them."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from penult.adapters import video
from penult.app.progress import Progress
from penult.app.shoes import ShoeLook
from penult.app.threads import in_order, worker_count
from penult.app.trunk import TrunkLook
from penult.core.pipeline import Located
from penult.model.clip import Clip
from penult.model.shoe import ShoeContact
from penult.model.trunk import TrunkMotion


def look_closer(
    path: Path, clip: Clip, found: Located, progress: Progress
) -> tuple[tuple[ShoeContact, ...], tuple[TrunkMotion, ...]]:
    """Refine every support from the pictures of its shoe, and follow the trunk through every flight.

    Parameters
    ----------
    path, clip
        The film.
    found : Located
        Joints and supports, on the corrected clock.

    Returns
    -------
    tuple of ShoeContact
        One for every support, in order.
    tuple of TrunkMotion
        One for every flight with enough of the body in the picture.
    """
    shoes, trunk, workers = ShoeLook(found), TrunkLook(found), worker_count()
    row_of = {frame: row for row, frame in enumerate(found.runway.frame.tolist())}
    wanted = {frame for frame, row in row_of.items() if shoes.wants(row) or trunk.wants(row)}
    with ThreadPoolExecutor(workers, thread_name_prefix="closer") as threads:
        for frame in in_order(_passing(path, clip, wanted), video.Raw.frame, threads, workers):
            row = row_of[frame.index]
            if shoes.wants(row):
                shoes.add(frame, row)
            if trunk.wants(row):
                trunk.add(frame, row)
            progress("looking at shoes and trunk", (frame.index - min(wanted)) / len(row_of))
        contacts = threads.submit(
            shoes.contacts
        )  # beside the trunk: most of both is numpy's, which lets go of the lock
        motions = tuple(trunk.motions(threads))
        return contacts.result(), motions


def _passing(path: Path, clip: Clip, wanted: set[int]) -> Iterator[video.Raw]:
    if not wanted:
        return
    for raw in video.raw_frames(path, clip, first=min(wanted), last=max(wanted)):
        if raw.index in wanted:
            yield raw
