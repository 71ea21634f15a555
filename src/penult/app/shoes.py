"""What the pictures say of every contact: patches of the shoe, gathered in one pass."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from penult.adapters import video
from penult.adapters.patches import PatchCollector
from penult.app.progress import Progress
from penult.core.events import nearest_camera, rough_contact
from penult.core.light import evened
from penult.core.pipeline import Located
from penult.core.shoe import refine_all
from penult.model.clip import Clip
from penult.model.shoe import ShoeContact
from penult.model.skeleton import joint


def look_at_shoes(path: Path, clip: Clip, found: Located, progress: Progress) -> tuple[ShoeContact, ...]:
    """Refine every support of `found` from the pictures of its shoe.

    Parameters
    ----------
    path, clip
        The film.
    found : Located
        Supports on the corrected clock.

    Returns
    -------
    tuple of ShoeContact
        One for every support, in order.
    """
    roughs = [rough_contact(s, float(found.runway.z_m[joint(s.foot, "toe")])) for s in found.supports]
    collector = PatchCollector(roughs)
    time_of = dict(zip(found.runway.frame.tolist(), found.runway.time_s.tolist(), strict=True))
    wanted = [frame for frame, time_s in time_of.items() if collector.wants(time_s)]
    for frame in video.frames(path, clip, first=min(wanted), last=max(wanted)):
        time_s = time_of.get(frame.index)
        if time_s is None or not collector.wants(time_s):
            continue
        camera = nearest_camera(found.cameras, found.runway.time_s, time_s)
        collector.add(dataclasses.replace(frame, time_s=time_s), camera)
        progress("looking at the shoes", (frame.index - wanted[0]) / max(wanted[-1] - wanted[0], 1))
    return refine_all([evened(p) for p in collector.patches()], roughs)
