"""A closer look at shoes and trunk, in one pass over the frames that show them."""

from __future__ import annotations

from penult.app.footage import Footage, Shot
from penult.app.joints import Looking
from penult.app.progress import Progress
from penult.app.shoes import ShoeLook
from penult.app.trunk import TrunkLook
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
        if more[row_of[shot.index]]:
            looking.look(shot)
        return shot.surroundings()

    for frame in footage.passing(looking.pool.in_order, seen, wanted.__contains__):
        row = row_of[frame.index]
        if shoes.wants(row):
            shoes.add(frame, row)
        if trunk.wants(row):
            trunk.add(frame, row)
        progress("looking at shoes and trunk", (frame.index - min(wanted)) / len(row_of))
    contacts = threads.submit(shoes.contacts)  # beside the trunk: most of both is numpy's, which lets go of the lock
    return contacts.result(), *trunk.motions()
