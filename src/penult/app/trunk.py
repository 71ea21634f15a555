"""What the pictures say of the trunk in every flight: patches gathered while frames pass by, then registered."""

from __future__ import annotations

from concurrent.futures import Executor, Future
from itertools import pairwise

from penult.adapters.pictures.torso import TrunkCollector
from penult.app.athlete import camera_of
from penult.core.lane.camera import position_m
from penult.core.measures.events import ROUGH_END_S, ROUGH_START_S, nearest_camera
from penult.core.measures.evidence import LONGEST_FLIGHT_S
from penult.core.pipeline import Located
from penult.core.trunk.registration import follow_trunk
from penult.core.trunk.window import stride_window, trunk_window
from penult.model.arrays import Floats
from penult.model.clip import Frame
from penult.model.trunk import TrunkMotion, TrunkPatches, TrunkWindow

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


def stride_windows(found: Located) -> tuple[TrunkWindow, ...]:
    """Return where the trunk is to be looked at from each support into the next."""
    out = []
    for one, other in pairwise(found.supports):
        lens_m = position_m(nearest_camera(found.cameras, found.runway.time_s, (one.end_s + other.start_s) / 2.0))
        window = stride_window(found.runway, found.inside, one.start_s, other.end_s, lens_m)
        if window is not None:
            out.append(window)
    return tuple(out)


class TrunkLook:
    """Gathers what is to be seen of the trunk in every flight and stride, and works each out once all of it has passed.

    Parameters
    ----------
    found : Located
        Joints and supports.
    threads : Executor
        Compute beside whatever passes on the frames.
    """

    def __init__(self, found: Located, threads: Executor) -> None:
        self._found, self._threads = found, threads
        flights, strides = trunk_windows(found), stride_windows(found)
        both = [(window, True) for window in flights] + [(window, False) for window in strides]
        both.sort(key=lambda entry: int(entry[0].rows[-1]))  # in the order in which they are whole
        self._is_flight = [is_flight for _, is_flight in both]
        self._collector = TrunkCollector([window for window, _ in both])
        self._motions: list[Future[TrunkMotion]] = []

    def wants(self, row: int) -> bool:
        """Whether the frame of a row of the track is needed."""
        return self._collector.wants(row)

    def places_m(self, row: int) -> Floats:
        """Return the rims (n, 3) of what the frame of a row is wanted for."""
        return self._collector.places_m(row)

    def add(self, frame: Frame, row: int) -> None:
        """Cut the patches out of the frame of a row; rows come in order."""
        self._collector.add(frame, camera_of(self._found.cameras, row), row)
        while (whole := self._collector.whole(len(self._motions))) is not None:
            self._begin(whole)

    def motions(self) -> tuple[tuple[TrunkMotion, ...], tuple[TrunkMotion, ...]]:
        """Return the trunk's motion in every flight, and in every stride, with enough of the body in the picture."""
        for patches in self._collector.patches()[len(self._motions) :]:
            self._begin(patches)
        found = [(motion.result(), is_flight) for motion, is_flight in zip(self._motions, self._is_flight, strict=True)]
        return tuple(m for m, is_flight in found if is_flight), tuple(m for m, is_flight in found if not is_flight)

    def _begin(self, patches: TrunkPatches) -> None:
        self._motions.append(self._threads.submit(follow_trunk, patches, self._found.runway))
