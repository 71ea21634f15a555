"""A closer look at shoes and trunk, in one pass over the frames that show them."""

from __future__ import annotations

import numpy as np

from penult.app.athlete import camera_of
from penult.app.footage import ROOM_PX, Footage, Shot, box_about
from penult.app.joints import Looking
from penult.app.progress import Progress
from penult.app.shoes import ShoeLook
from penult.app.trunk import TrunkLook
from penult.core.lane.camera import project
from penult.core.pipeline import Located
from penult.model.clip import Frame
from penult.model.shoe import ShoeContact
from penult.model.trunk import TrunkMotion


def look_closer(
    footage: Footage, found: Located, looking: Looking, progress: Progress
) -> tuple[tuple[ShoeContact, ...], tuple[TrunkMotion, ...], tuple[TrunkMotion, ...]]:
    """Refine every support from the pictures of its shoe, follow the trunk through every flight, look for missing joints.

    Parameters
    ----------
    footage : Footage
        The run's pictures.
    found : Located
        Joints and supports, on the corrected clock.
    looking : Looking
        Told the frames of supports in which the pose model has not looked yet.

    Returns
    -------
    tuple of ShoeContact
        One for every support, in order.
    tuple of TrunkMotion
        One for every flight with enough of the body in the picture.
    tuple of TrunkMotion
        One from each support into the next, likewise.
    """
    threads = looking.pool.threads
    shoes, trunk, more = ShoeLook(found), TrunkLook(found, threads), looking.more(found)
    row_of = {frame: row for row, frame in enumerate(found.runway.frame.tolist())}
    wanted = {frame for frame, row in row_of.items() if shoes.wants(row) or trunk.wants(row) or more[row]}

    def seen(shot: Shot) -> Frame:
        row = row_of[shot.index]
        if more[row]:
            looking.look(shot)
        places = np.concatenate([shoes.places_m(row), trunk.places_m(row)])
        camera = camera_of(found.cameras, row)
        return shot.around(box_about(project(camera, places), camera.image_size_px, ROOM_PX))

    for frame in footage.passing(looking.pool.in_order, seen, wanted.__contains__):
        row = row_of[frame.index]
        if shoes.wants(row):
            shoes.add(frame, row)
        if trunk.wants(row):
            trunk.add(frame, row)
        progress("looking at shoes and trunk", (frame.index - min(wanted)) / len(row_of))
    contacts = threads.submit(shoes.contacts)  # beside the trunk: most of both is numpy's, which lets go of the lock
    return contacts.result(), *trunk.motions()
