"""What a held picture of the film shows: the measure of that instant, drawn where it is, and its number."""

from __future__ import annotations

from typing import cast

import numpy as np

from penult.model.analysis import Analysis
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.measured import Measured
from penult.model.track import Motion
from penult.outputs.pictures import angles, ink
from penult.outputs.pictures.angles import MomentPicture
from penult.outputs.pictures.figure import View
from penult.outputs.pictures.moments import Instant, moment_of
from penult.outputs.texts.captions import Hold

TITLE_PX, NUMBER_PX = 17, 29
_LEAST_PX = 13
_PAD_PX = 10


def draw_measured(
    picture: ink.Picture, hold: Hold, place: tuple[View, Camera], result: tuple[Analysis, Motion]
) -> None:
    """Draw what is measured at a hold on the picture of its frame."""
    view, camera = place
    analysis, motion = result
    moment = moment_of(hold.contact, cast("Instant", hold.instant), motion)
    if moment is not None:
        scene = MomentPicture(image=picture, view=view, camera=camera, moment=moment, analysis=analysis, motion=motion)
        _draw(scene, hold)


def caption_sizes(hold: Hold, width_px: int) -> tuple[int, int]:
    """Return the sizes of title and number in which every line of a caption fits into a picture's width."""
    room = width_px - 2 * _PAD_PX
    title = _fitting([hold.title], TITLE_PX, room)
    return title, _fitting(hold.numbers, NUMBER_PX if len(hold.numbers) < 2 else NUMBER_PX - 7, room, bold=True)


def write_caption(picture: ink.Picture, hold: Hold, size_px: tuple[int, int]) -> None:
    """Write title and number on a light band below the line with the time."""
    small, large = caption_sizes(hold, size_px[0])
    lines = [(hold.title, small, False), *((text, large, True) for text in hold.numbers)]
    y = 30.0
    height = sum(ink.text_size(text, size, bold=bold)[1] for text, size, bold in lines) + 6
    widest = max(ink.text_size(text, size, bold=bold)[0] for text, size, bold in lines)
    ink.plate(picture, (0, y, widest + 2 * _PAD_PX, y + height), ink.WHITE, 0.9)
    ink.plate(picture, (0, y, 4, y + height), ink.SUPPORT, 1.0)
    y += 3.0
    for text, size, bold in lines:
        ink.write(picture, text, (_PAD_PX, y), size, ink.BLACK, bold=bold)
        y += ink.text_size(text, size, bold=bold)[1]


def _fitting(lines: tuple[str, ...] | list[str], size: int, room_px: float, *, bold: bool = False) -> int:
    while size > _LEAST_PX and max(ink.text_size(line, size, bold=bold)[0] for line in lines) > room_px:
        size -= 1
    return size


def _draw(scene: MomentPicture, hold: Hold) -> None:
    drawn = {"drop": angles.hip_drop, "leg": angles.leg_angle, "angle": angles.takeoff_angle}
    if hold.drawing in drawn:
        drawn[hold.drawing](scene)
    elif hold.drawing in ("step", "distance"):
        _draw_length(scene)


def _draw_length(scene: MomentPicture) -> None:
    """Draw the way from the toe of the contact before to this one's, a hand above the runway."""
    here = scene.moment.contact
    before = scene.analysis.contact(here.number - 1)
    toes = [c.measures.get("toe_x_m") if c else None for c in (before, here)]
    if not all(isinstance(toe, Measured) for toe in toes):
        return
    x_m = [toe.value for toe in toes if isinstance(toe, Measured)]
    ends: Floats = scene.at(np.array([[x, 0.0] for x in x_m]), 0.0) + np.array([0.0, 28.0])
    angles.measure_line(scene, ends)
