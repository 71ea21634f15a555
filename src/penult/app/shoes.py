"""What the pictures say of every contact: patches of the shoe, gathered while frames pass by."""

from __future__ import annotations

import dataclasses

from penult.adapters.files.network_file import shoe_networks
from penult.adapters.pictures.patches import PatchCollector
from penult.core.measures.events import nearest_camera, rough_contact
from penult.core.pipeline import Located
from penult.core.shoe.contact import refine_all
from penult.core.shoe.light import evened
from penult.core.uncertainty.draws import noise_factor_of, white_noise_sd_m
from penult.model.arrays import Floats
from penult.model.clip import Frame
from penult.model.shoe import ShoeContact
from penult.model.skeleton import joint


class ShoeLook:
    """Gathers what is to be seen of every support of `found`.

    Parameters
    ----------
    found : Located
        Supports on the corrected clock.
    """

    def __init__(self, found: Located) -> None:
        self._found = found
        noise_factor = noise_factor_of(white_noise_sd_m(found.runway.xy_m, found.weight))
        self._roughs = [
            rough_contact(s, float(found.runway.z_m[joint(s.foot, "toe")]), noise_factor) for s in found.supports
        ]
        self._collector = PatchCollector(self._roughs)

    def wants(self, row: int) -> bool:
        """Whether the frame of a row of the track is needed."""
        return self._collector.wants(float(self._found.runway.time_s[row]))

    def places_m(self, row: int) -> Floats:
        """Return the rims (n, 3) of what the frame of a row is wanted for."""
        return self._collector.places_m(float(self._found.runway.time_s[row]))

    def add(self, frame: Frame, row: int) -> None:
        """Cut the patches out of the frame of a row."""
        time_s = float(self._found.runway.time_s[row])
        camera = nearest_camera(self._found.cameras, self._found.runway.time_s, time_s)
        self._collector.add(dataclasses.replace(frame, time_s=time_s), camera)

    def contacts(self) -> tuple[ShoeContact, ...]:
        """Return every support refined from its pictures, in order."""
        return refine_all([evened(p) for p in self._collector.patches()], self._roughs, shoe_networks())
