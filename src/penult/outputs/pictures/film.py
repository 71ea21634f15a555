"""Frames of the annotated film: body, hip path so far, ground line, a bar for every contact made, the time.

A generator from pictures to pictures, a few milliseconds each; reading and writing are the caller's. How fast the
film plays is the caller's choice too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import cv2
import numpy as np

from penult.core.lane.camera import project
from penult.model.analysis import Analysis, Contact
from penult.model.arrays import Floats, Image
from penult.model.calibration import Camera
from penult.model.clip import Frame
from penult.model.measured import Measured
from penult.model.track import Motion
from penult.outputs.pictures import ink
from penult.outputs.pictures.figure import (
    View,
    draw_athlete,
    draw_ground,
    draw_hip_path,
    draw_mat_at,
    joints_px,
    mats_of,
    on_plane,
)
from penult.outputs.pictures.moments import instant_s, leg_in_question, support_at
from penult.outputs.texts import words

WIDEST_PX = 960
"""Half of full HD: quick to reduce to, and a run in this size fits into memory beside what else is kept of it."""

FAR_PX = 1e4
"""Farther out of the picture nothing of a bar is seen."""

_SHOE_M = 0.27


def film_size_px(clip_size_px: tuple[int, int]) -> tuple[int, int]:
    """Return width and height of the film's picture: the clip's, reduced to at most 960 wide."""
    width, height = clip_size_px
    scale = min(1.0, WIDEST_PX / width)
    return round(width * scale), round(height * scale)


def film_frames(frames: Iterable[Frame], analysis: Analysis, motion: Motion) -> Iterator[Image]:
    """Yield the annotated picture of every frame.

    Parameters
    ----------
    frames : iterable of Frame
        Upright pictures of the clip, in order; any stretch of it.
    analysis, motion : Analysis, Motion
        The result that is drawn.

    Yields
    ------
    (h, w, 3) uint8
        RGB, at most 960 wide, all of one size.
    """
    painter = Painter(analysis, motion)
    for frame in frames:
        yield painter.paint(frame)


class Painter:
    """Draws frames in any order and from several threads; keeps what stays the same from frame to frame."""

    def __init__(self, analysis: Analysis, motion: Motion) -> None:
        self._analysis = analysis
        self._motion = motion
        self._row_of = {int(frame): row for row, frame in enumerate(motion.pixels.frame)}
        self._mats = mats_of(analysis)
        self._x_range_m: tuple[float, float] | None = None
        self._hip_px: Floats | None = None
        self._layers: dict[tuple[object, ...], ink.Layer] = {}
        self._bars = {c.number: bar for c in analysis.contacts if (bar := _bar_m(c)) is not None}

    def paint(self, frame: Frame) -> Image:
        """Return the annotated picture of a frame."""
        size = film_size_px((frame.image.shape[1], frame.image.shape[0]))
        image = _reduced(frame.image, size)
        self.draw_on(image, frame.index, frame.time_s)
        return image

    def draw_on(self, picture: ink.Picture, index: int, time_s: float) -> None:
        """Annotate the picture of a frame, of the film's size."""
        row = self._row_of.get(index)
        camera = self._motion.camera_of(row if row is not None else self._nearest_row(index))
        size = film_size_px(camera.image_size_px)
        view = View(origin_px=(0.0, 0.0), scale=size[0] / camera.image_size_px[0], size_px=size)
        if len(self._motion.cameras) > 1:
            self._draw_lane(picture, view, camera, time_s)
        else:
            self._standing(picture, view, camera, time_s).lay_on(picture)
        if row is not None:
            self._draw_body(picture, view, camera, row, time_s)
        self._write(picture, time_s)

    def _draw_lane(self, image: ink.Picture, view: View, camera: Camera, time_s: float) -> None:
        has_line = words.has_line(self._analysis)
        draw_ground(image, view, camera, self._range_m(view, camera), text_px=15, has_line=has_line)
        self._draw_contacts(image, view, camera, time_s)

    def _standing(self, picture: ink.Picture, view: View, camera: Camera, time_s: float) -> ink.Layer:
        """Return what stays from frame to frame while the camera stands and no foot comes or goes."""
        spans = [(instant_s(c, "touchdown"), instant_s(c, "toe_off")) for c in self._analysis.contacts]
        state = (
            len(ink.sheets(picture)),
            *(start is not None and time_s >= start for start, _ in spans),
            *(end is not None and time_s > end for _, end in spans),
        )
        if state not in self._layers:
            self._layers[state] = ink.layer(picture, lambda blank: self._draw_lane(blank, view, camera, time_s))
        return self._layers[state]

    def _nearest_row(self, index: int) -> int:
        return int(np.argmin(np.abs(self._motion.pixels.frame - index)))

    def _range_m(self, view: View, camera: Camera) -> tuple[float, float]:
        if self._x_range_m is None or len(self._motion.cameras) > 1:
            seen_m = self._motion.hip_m[np.isfinite(self._motion.hip_m[:, 0]), 0]
            middle = float(np.median(seen_m)) if len(seen_m) else 0.0
            x_m = middle + np.arange(-15.0, 15.01, 0.1)
            px = view.project(camera, on_plane(np.stack([x_m, 0.0 * x_m], axis=1)))[:, 0]
            seen = x_m[(px >= 0) & (px <= view.size_px[0])]
            self._x_range_m = (float(seen.min()), float(seen.max())) if len(seen) else (0.0, 0.0)
        return self._x_range_m

    def _draw_contacts(self, image: ink.Picture, view: View, camera: Camera, time_s: float) -> None:
        """Draw a bar where each foot stood, from its touchdown on, and write its contact time once it has left."""
        for contact in self._analysis.contacts:
            start_s, bar = instant_s(contact, "touchdown"), self._bars.get(contact.number)
            if start_s is None or time_s < start_s or bar is None:
                continue
            ends = view.project(camera, on_plane(bar))
            if not (np.isfinite(ends).all() and np.abs(ends).max() < FAR_PX):
                continue  # a camera that turns has left it behind
            if contact.number in self._mats:
                draw_mat_at(image, view, camera, float(bar[1, 0]), self._mats[contact.number])
            ink.stroke(image, ends, ink.SUPPORT, 7.0, outline=ink.WHITE)
            end_s = instant_s(contact, "toe_off")
            done = end_s is not None and time_s > end_s
            self._write_contact(image, contact, ends.mean(axis=0), done=done)

    def _write_contact(self, image: ink.Picture, contact: Contact, at_px: Floats, *, done: bool) -> None:
        lines = [words.side(contact)]
        shown = words.shown("contact_time_s", contact.measures.get("contact_time_s"))
        if done and not shown.reason:
            lines.append(f"{shown.value} ms")
        y = float(at_px[1]) + 42.0
        for line in lines:
            width, height = ink.text_size(line, 18, bold=True)
            x = float(at_px[0]) - width / 2.0
            ink.plate(image, (x - 4, y, x + width + 4, y + height), ink.WHITE, 0.8)
            ink.write(image, line, (x, y), 18, ink.BLACK, bold=True)
            y += height

    def _draw_body(self, image: ink.Picture, view: View, camera: Camera, row: int, time_s: float) -> None:
        self._draw_path(image, view, camera, row)
        leg = leg_in_question(self._analysis, time_s)
        draw_athlete(image, joints_px(self._motion, row, view), leg.foot if leg else None, width=3.0)

    def _draw_path(self, image: ink.Picture, view: View, camera: Camera, row: int) -> None:
        if len(self._motion.cameras) > 1:
            draw_hip_path(image, view, camera, self._motion.hip_m[: row + 1], width=2.0)
            return
        if self._hip_px is None:
            self._hip_px = view.of(project(camera, on_plane(self._motion.hip_m)))
        ink.stroke(image, self._hip_px[: row + 1], ink.BLACK, 2.0, outline=ink.WHITE)

    def _write(self, image: ink.Picture, time_s: float) -> None:
        contact = support_at(self._analysis, time_s)
        now = f"{words.contact_words(contact.number, self._analysis.run)} ({words.side(contact)})" if contact else ""
        arrow = "run →" if self._analysis.run.direction == "left to right" else "← run"
        text = f"{time_s:6.3f} s   {arrow}   {now}".rstrip()
        width, height = ink.text_size(text, 20)
        ink.plate(image, (0, 0, width + 24, height + 10), ink.BLACK, 0.8)
        ink.write(image, text, (12, 5), 20, ink.WHITE)


def _reduced(image: Image, size_px: tuple[int, int]) -> Image:
    """Return a copy of the film's size."""
    if image.shape[1::-1] == size_px:
        return image.copy()
    return np.asarray(cv2.resize(image, size_px, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _bar_m(contact: Contact) -> Floats | None:
    """Return where the shoe stood: from a shoe's length behind the toe tip to the toe tip, at the surface's height."""
    toe, surface = contact.measures.get("toe_x_m"), contact.measures.get("support_height_m")
    if not isinstance(toe, Measured):
        return None
    height_m = max(0.0, surface.value) if isinstance(surface, Measured) and surface.value > surface.u95 else 0.0
    return np.array([[toe.value - _SHOE_M, height_m], [toe.value, height_m]])
