"""What a coder lost: how many bits it spent on what moves, and what that means for instants and edges of a shoe. Pure.

A coder sends what changed; what changes by less than its quantiser's step is not sent, and the shoe stays where it was for some
frames more. How coarse the step was shows in every codec in the bits spent for each pixel that changed.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from penult.errors import NotMeasurableError
from penult.model.analysis import Notice
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.shoe import ShoeContact

LOST_PX, AT_BITS, POWER = 3.0, 0.21, 4.0
"""A shoe moves by LOST_PX before the coder sends it at AT_BITS a changed pixel, and with that power of the bits: on one film with
known truth (full approach, 1080 lines, 240 Hz) coded anew by H.264 at CRF 28, 34 and 38 (0.30, 0.21 and 0.18 bits; quantiser of the
moving blocks 38, 44 and 47) instants were off by 0.4, 1.5 and 6.0 frames RMS, in each of which a foot moves by two pixels, and toes
by 0.9, 1.8 and 4.4 cm, 2 to 8 pixels. Of 27 films as cameras write them none spends fewer than 0.9 bits, but where it turns."""

AT_QP, QP_DOUBLE = 42.0, 3.0
"""The same from the median quantiser of all blocks, where the decoder says it: its step doubles in 6 (H.264), and a change is sent
when its square, which grows with the pixels that change, reaches that of the step. The same film: 24, 36, 43 and 48 at CRF 22, 28,
34 and 38. Films as cameras write them have 16 to 28."""

TOLD_PX, MOST_PX = 0.7, 4.5
"""Said from 0.7 pixels on, a third of a frame; beyond 4.5 a touchdown is anywhere within several frames."""

FOOT_M_PER_S = 3.0
"""Speed of a shoe that lands or leaves: 2 to 4 m/s (published vertical foot speeds at sprint touchdown and toe-off; MEMORY)."""

SHOE_M = 0.27
"""Length of a sole, over which an edge that is off tilts it."""

OVER = 12
"""Pictures over which bits and changes are averaged: coders send them out of order and at uneven sizes."""

LEAST_PX = 200.0
MOST_SHARE = 0.06
"""Of the picture changes: with a camera that moves everything does, and most of that costs no bits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Bits spent for each pixel that changed, pixels by which a shoe moves before that is sent, the quantiser where it is known."""

    bits: float
    lost_px: float
    quantiser: float | None = None

    @property
    def words(self) -> str:
        """What was seen, for people."""
        spent = f"the file spends {self.bits:.2f} bits on a pixel that changes, cameras 0.8 and more"
        return (
            spent if self.quantiser is None else f"{spent}; its quantiser is {self.quantiser:.0f}, of cameras 15 to 30"
        )


def loss_of(
    changes: Floats,
    picture_bytes: Floats,
    size_px: tuple[int, int],
    first: int,
    last: int,
    quantiser: float | None = None,
) -> Loss | None:
    """Return what was lost in a run, None where nothing tells.

    Parameters
    ----------
    changes : (t, 3) float64
        See `adapters.pictures.changes`; its pixels are of a picture reduced to about 480 in width.
    picture_bytes : (t,) float64
        Bytes of the file for every frame.
    size_px : (int, int)
        Of the clip.
    first, last : int
        Frames in which the athlete is seen.
    quantiser : float, optional
        Median of the pictures' blocks, where the decoder says it.
    """
    if len(picture_bytes) != len(changes):
        return None
    factor = max(size_px[0] // 480, 1)
    rows = slice(max(first, 1), last + 1)
    changed = np.nan_to_num(changes[rows, 0]) * factor**2
    if len(changed) < 2 * OVER or np.median(changed) > MOST_SHARE * size_px[0] * size_px[1]:
        return None
    box = np.ones(OVER) / OVER
    changed, bits = (np.convolve(values, box, "valid") for values in (changed, 8.0 * picture_bytes[rows]))
    moves = changed > LEAST_PX * factor**2 / 16.0
    if moves.sum() < OVER:
        return None
    spent = float(np.median(bits[moves] / changed[moves]))
    lost_px = LOST_PX * (AT_BITS / max(spent, 1e-3)) ** POWER
    if quantiser is not None:
        lost_px = max(lost_px, LOST_PX * 2.0 ** ((quantiser - AT_QP) / QP_DOUBLE))
    return Loss(bits=spent, lost_px=lost_px, quantiser=quantiser)


def refuse_lost(loss: Loss | None, most_px: float = MOST_PX) -> None:
    """Refuse a clip whose coder left too little of a shoe.

    Raises
    ------
    NotMeasurableError
        With what was spent.
    """
    if loss is None or loss.lost_px <= most_px:
        return
    raise NotMeasurableError(
        "the clip is compressed too strongly to tell when a foot lands",
        f"{loss.words}; so little is left that a shoe stands still in the picture for several frames after it has left",
        next_step="use the clip as the camera stored it: messengers and clouds compress it again, a cable does not",
    )


def loss_notice(loss: Loss | None) -> Notice | None:
    """Return what to say of a clip that lost some of it."""
    if loss is None or loss.lost_px < TOLD_PX:
        return None
    return Notice(
        code="compressed",
        text=f"the clip was compressed strongly: {loss.words}. Instants, contact and flight times and the places of shoes are less "
        "sure, and a knock of the camera could not be seen. Use the clip as the camera stored it",
    )


def coarser(shoes: Sequence[ShoeContact | None], loss: Loss | None, camera: Camera) -> tuple[ShoeContact | None, ...]:
    """Return what the pictures say of every support with what the coder lost in its standard deviations."""
    if loss is None:
        return tuple(shoes)
    distance_m = float(np.linalg.norm(camera.parameters[3:6]))
    lost_m = loss.lost_px * distance_m / float(np.exp(camera.parameters[6]))
    return tuple(None if shoe is None else _coarser(shoe, lost_m) for shoe in shoes)


def _coarser(shoe: ShoeContact, lost_m: float) -> ShoeContact:
    late_s, tilt_deg = lost_m / FOOT_M_PER_S, float(np.degrees(lost_m / SHOE_M))
    return dataclasses.replace(
        shoe,
        touchdown_sd_s=float(np.hypot(shoe.touchdown_sd_s, late_s)),
        toe_off_sd_s=float(np.hypot(shoe.toe_off_sd_s, late_s)),
        toe_x_sd_m=float(np.hypot(shoe.toe_x_sd_m, lost_m)),
        foot_angle_touchdown_sd_deg=float(np.hypot(shoe.foot_angle_touchdown_sd_deg, tilt_deg)),
    )


MOVEMENTS = frozenset({"camera-moved", "camera-moving"})
"""Notices of a camera whose movement may be the coder's: blocks that are sent late make the still's corners wander."""


def hides_movement(loss: Loss | None) -> bool:
    """Whether the coder lost so much that movement of the camera cannot be told from what it did."""
    return loss is not None and loss.lost_px >= TOLD_PX
