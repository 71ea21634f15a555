"""Frames of the annotated film: it goes along with the athlete, thin lines, hip path so far, a bar for every contact made.

At the instants that matter it holds, with what is measured there drawn and the one number written. From pictures to
pictures, a few milliseconds each; reading and writing are the caller's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.core.lane.camera import project
from penult.model.analysis import Analysis, Contact
from penult.model.arrays import Floats, Image
from penult.model.calibration import Camera
from penult.model.clip import Frame, Planes
from penult.model.measured import Measured
from penult.model.showing import Showing
from penult.model.track import Motion
from penult.outputs.pictures import ink
from penult.outputs.pictures.figure import View, draw_athlete, draw_hip_path, draw_mat_at, joints_px, mats_of, on_plane
from penult.outputs.pictures.film_ground import draw_ground_line
from penult.outputs.pictures.film_holds import draw_measured, write_caption
from penult.outputs.pictures.follow import Path, follow
from penult.outputs.pictures.moments import Instant, instant_s, leg_in_question, moment_of, support_at
from penult.outputs.texts import captions, words
from penult.outputs.texts.captions import Hold
from penult.outputs.texts.tongue import Tongue, tongue_of

HOLD_S = 0.5
"""The film stands still for so long: long enough to read one number, short enough not to lose the movement (common
practice, no source)."""

SLOWED, SLOWEST_HZ, QUICKEST_HZ = 8.0, 20.0, 60.0
"""Eight times slowed a support of 0.11 s lasts 0.9 s; fewer than 20 pictures a second are seen as single ones, more than 60
no phone shows."""

_SHOE_M = 0.27
_LINE_PX = 1.6
_CLOCK_PX = 16
_BESIDE_PX = 40.0


def playback_hz(capture_rate_hz: float) -> float:
    """Return how many pictures a second the film shows; every captured frame is one of them."""
    return float(np.clip(round(capture_rate_hz / SLOWED), SLOWEST_HZ, QUICKEST_HZ))


def film_frames(
    frames: Iterable[Frame], analysis: Analysis, motion: Motion, showing: Showing | None = None
) -> Iterator[tuple[Image, int]]:
    """Yield the annotated picture of every frame and how often it is shown.

    Parameters
    ----------
    frames : iterable of Frame
        Upright pictures of the clip, in order; any stretch of it.
    analysis, motion : Analysis, Motion
        The result that is drawn.
    showing : Showing, optional
        Shape, language, units.

    Yields
    ------
    (h, w, 3) uint8, int
        RGB, all of one size; 1, or the pictures of a hold.
    """
    painter = Painter(analysis, motion, showing or Showing())
    for frame in frames:
        yield painter.paint(frame), painter.times(frame.index)


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A hold, and the row whose picture is held."""

    hold: Hold
    row: int


def held_rows(analysis: Analysis, motion: Motion, tongue: Tongue) -> tuple[Held, ...]:
    """Return where the film holds, as far as a frame is near."""
    found = []
    for hold in captions.holds(analysis, tongue):
        moment = moment_of(hold.contact, cast("Instant", hold.instant), motion)
        if moment is not None:
            found.append(Held(hold=hold, row=moment.row))
    return tuple(found)


def cut_image(image: Image, corner_px: tuple[int, int], view: View) -> Image:
    """Return what a view shows, out of an RGB picture or a part of it whose corner lies at a pixel of the whole one."""
    left, top = (o - c for o, c in zip(view.origin_px, corner_px, strict=True))
    shown = _cut(image, (left, top), view.scale, view.size_px)
    return shown.copy() if np.shares_memory(shown, image) else shown


def cut_planes(planes: Planes, corner_px: tuple[int, int], view: View) -> Planes:
    """Return what a view of even sides shows, out of a picture or a part of it whose corner lies at an even pixel.

    Where the clip's own pixels are shown, it is a window into the given picture.
    """
    left, top = (o - c for o, c in zip(view.origin_px, corner_px, strict=True))
    half = (view.size_px[0] // 2, view.size_px[1] // 2)
    lift = 0.25 / view.scale - 0.25  # colour lies between two lines of brightness, as in MPEG-2
    return Planes(
        luma=_cut(planes.luma, (left, top), view.scale, view.size_px),
        chroma=_cut(planes.chroma, _half(left, top + 2.0 * lift, view.scale), view.scale, half),
    )


def _half(left: float, top: float, scale: float) -> tuple[float, float]:
    """Return a corner in pixels of colour; whole ones where pixels are taken over as they are (half of one is not seen)."""
    if scale == 1.0:
        return float(left // 2), float(top // 2)
    return left / 2.0, top / 2.0


_REDUCED = 0.67
"""Below this every output pixel is the mean of what it covers: straight interpolation would leave lines out."""


def _cut(
    pixels: NDArray[np.uint8], origin: tuple[float, float], scale: float, size: tuple[int, int]
) -> NDArray[np.uint8]:
    x, y = (round(v) for v in origin)
    if scale == 1.0 and max(abs(origin[0] - x), abs(origin[1] - y)) < 1e-6 and _holds(pixels, (x, y), size):
        return pixels[y : y + size[1], x : x + size[0]]
    if scale < _REDUCED:
        x0, y0 = (max(0, round(v)) for v in origin)
        part = pixels[y0 : y0 + round(size[1] / scale), x0 : x0 + round(size[0] / scale)]
        return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    move = np.array([[1.0 / scale, 0.0, origin[0]], [0.0, 1.0 / scale, origin[1]]])
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(pixels, move, size, flags=how, borderMode=cv2.BORDER_REPLICATE), dtype=np.uint8)


def _holds(pixels: NDArray[np.uint8], corner: tuple[int, int], size: tuple[int, int]) -> bool:
    x, y = corner
    return x >= 0 and y >= 0 and x + size[0] <= pixels.shape[1] and y + size[1] <= pixels.shape[0]


class Painter:
    """Draws frames in any order and from several threads."""

    def __init__(
        self, analysis: Analysis, motion: Motion, showing: Showing, path: Path | None = None, name: str = ""
    ) -> None:
        self._analysis, self._motion, self._name = analysis, motion, name
        self._tongue = tongue_of(showing)
        self.path = path or follow(motion, showing.film)
        self._row_of = {int(frame): row for row, frame in enumerate(motion.pixels.frame)}
        self._mats = mats_of(analysis)
        self._bars = {c.number: bar for c in analysis.contacts if (bar := _bar_m(c)) is not None}
        self.held = held_rows(analysis, motion, self._tongue)
        self._held = {held.row: held.hold for held in self.held}
        self._hip_px: Floats | None = None
        self._is_still = len(motion.cameras) == 1
        self._is_steady = self._is_still and bool(np.ptp(self.path.scale) == 0.0)
        at = np.rint(self.path.origin_px * self.path.scale[:, None]).astype(int)
        self._corners = [(x, y) for x, y in (at - at.min(axis=0)).tolist()]
        self._low_px = at.min(axis=0)
        self._layers: dict[tuple[object, ...], ink.Layer] = {}
        self._times = max(1, round(HOLD_S * playback_hz(analysis.clip.capture_rate_hz)))

    def view(self, index: int) -> View:
        """Return where the picture of a frame lies in the clip's picture."""
        return self.path.view(self._row(index))

    def times(self, index: int) -> int:
        """Return how often the picture of a frame is shown."""
        return self._times if self._row_of.get(index) in self._held else 1

    def paint(self, frame: Frame) -> Image:
        """Return the annotated picture of a frame."""
        image = cut_image(frame.image, frame.corner_px, self.view(frame.index))
        self.draw_on(image, frame.index, frame.time_s)
        return image

    def still(self, frame: Frame, hold: Hold) -> Image:
        """Return the picture of a hold without a word on it: body, runway and what is measured."""
        row = self._row(frame.index)
        camera, view = self._motion.camera_of(row), self.path.view(row)
        image = cut_image(frame.image, frame.corner_px, view)
        self._draw_lane(image, view, camera, frame.time_s, with_words=False)
        self._draw_body(image, view, camera, row, frame.time_s)
        draw_measured(image, hold, (view, camera), (self._analysis, self._motion))
        return image

    def draw_on(
        self,
        picture: ink.Picture,
        index: int,
        time_s: float,
        hold: Hold | None = None,
        clock_s: float | None = None,
    ) -> None:
        """Annotate the picture of a frame, cut out already; `hold` is written here too, `clock_s` instead of the time."""
        row = self._row(index)
        camera, view = self._motion.camera_of(row), self.path.view(row)
        if self._is_steady:
            self._layer(picture, camera, time_s).lay_on(picture, self._corners[row])
        else:
            self._draw_lane(picture, view, camera, time_s)
        if index in self._row_of:
            self._draw_body(picture, view, camera, row, time_s)
        self._write(picture, time_s, clock_s)
        shown = hold or (self._held.get(row) if index in self._row_of else None)
        if shown is not None:
            if self._held.get(row) is shown:
                draw_measured(picture, shown, (view, camera), (self._analysis, self._motion))
            write_caption(picture, shown, view.size_px)

    def _row(self, index: int) -> int:
        row = self._row_of.get(index)
        return int(np.argmin(np.abs(self._motion.pixels.frame - index))) if row is None else row

    def _draw_lane(
        self, picture: ink.Picture, view: View, camera: Camera, time_s: float, *, with_words: bool = True
    ) -> None:
        """Draw what lies on the runway: the ground line, and where feet stood so far."""
        reach_m = seen_reach_m(view, camera, self._motion.hip_m)
        draw_ground_line(picture, view, camera, reach_m, self._tongue, has_line=words.has_line(self._analysis))
        self._draw_contacts(picture, view, camera, time_s, with_words=with_words)

    def _layer(self, picture: ink.Picture, camera: Camera, time_s: float) -> ink.Layer:
        """Return what lies on the runway along the whole way of the picture: it changes when a foot comes or goes."""
        spans = [(instant_s(c, "touchdown"), instant_s(c, "toe_off")) for c in self._analysis.contacts]
        state = (
            len(ink.sheets(picture)),
            *(start is not None and time_s >= start for start, _ in spans),
            *(end is not None and time_s > end for _, end in spans),
        )
        if state not in self._layers:
            far = np.max(self._corners, axis=0) + np.array(self.path.size_px)
            width, height = (int(v) for v in (far + 1) // 2 * 2)
            origin = self._low_px / self.path.scale[0]
            whole = View(
                origin_px=(float(origin[0]), float(origin[1])), scale=float(self.path.scale[0]), size_px=(width, height)
            )
            blank: Image = np.zeros((height, width, 3), np.uint8)
            like: ink.Picture = blank
            if isinstance(picture, Planes):
                like = Planes(luma=blank[..., 0].copy(), chroma=blank[::2, ::2, :2].copy())
            self._layers[state] = ink.layer(like, lambda on: self._draw_lane(on, whole, camera, time_s))
        return self._layers[state]

    def _draw_contacts(
        self, image: ink.Picture, view: View, camera: Camera, time_s: float, *, with_words: bool
    ) -> None:
        """Draw a bar where each foot stood, from its touchdown on, and write its contact time once it has left."""
        for contact in self._analysis.contacts:
            start_s, bar = instant_s(contact, "touchdown"), self._bars.get(contact.number)
            if start_s is None or time_s < start_s or bar is None:
                continue
            ends = view.project(camera, on_plane(bar))
            if not (np.isfinite(ends).all() and -300.0 < ends[:, 0].mean() < view.size_px[0] + 300.0):
                continue  # the picture has left it behind
            if contact.number in self._mats:
                draw_mat_at(image, view, camera, float(bar[1, 0]), self._mats[contact.number], width=2.0)
            ink.stroke(image, ends, ink.SUPPORT, 5.0, outline=ink.WHITE)
            if not with_words:
                continue
            end_s = instant_s(contact, "toe_off")
            done = end_s is not None and time_s > end_s
            self._write_contact(image, contact, ends.mean(axis=0), done=done)

    def _write_contact(self, image: ink.Picture, contact: Contact, at_px: Floats, *, done: bool) -> None:
        lines = [captions.side_said(contact, self._tongue)]
        measure = contact.measures.get("contact_time_s")
        if done and isinstance(measure, Measured):
            lines.append(f"{self._tongue.number(1e3 * measure.value, words.decimals(1e3 * measure.u95))} ms")
        y = float(at_px[1]) + 34.0
        for line in lines:
            width, height = ink.text_size(line, 16, bold=True)
            x = float(at_px[0]) - width / 2.0
            ink.plate(image, (x - 3, y, x + width + 3, y + height), ink.WHITE, 0.8)
            ink.write(image, line, (x, y), 16, ink.BLACK, bold=True)
            y += height

    def _draw_body(self, image: ink.Picture, view: View, camera: Camera, row: int, time_s: float) -> None:
        self._draw_path(image, view, camera, row)
        leg = leg_in_question(self._analysis, time_s)
        draw_athlete(image, joints_px(self._motion, row, view), leg.foot if leg else None, width=_LINE_PX)

    def _draw_path(self, image: ink.Picture, view: View, camera: Camera, row: int) -> None:
        if not self._is_still:
            draw_hip_path(image, view, camera, self._motion.hip_m[: row + 1], width=1.5)
            return
        if self._hip_px is None:
            self._hip_px = project(camera, on_plane(self._motion.hip_m))
        left, _, right, _ = view.box_px().tolist()
        x = self._hip_px[: row + 1, 0]
        seen = np.flatnonzero((x > left - _BESIDE_PX) & (x < right + _BESIDE_PX))  # a run goes one way: one stretch
        first = int(seen[0]) if len(seen) else row
        ink.stroke(image, view.of(self._hip_px[first : row + 1]), ink.BLACK, 1.5, outline=ink.WHITE)

    def _write(self, image: ink.Picture, time_s: float, clock_s: float | None) -> None:
        contact = support_at(self._analysis, time_s)
        name = captions.contact_said(contact, self._analysis, self._tongue) if contact else ""
        now = f"{name} ({captions.side_said(contact, self._tongue)})".lstrip() if contact else ""
        run = self._tongue.say("run")
        arrow = f"{run} →" if self._analysis.run.direction == "left to right" else f"← {run}"
        clock = self._tongue.number(time_s if clock_s is None else clock_s, 2)
        # sign by sign: the same masks serve every frame
        parts = [*([f"{self._name}   "] if self._name else []), *clock, f" s   {arrow}   {now}".rstrip()]
        widths = [ink.text_size(part, _CLOCK_PX)[0] - 1 for part in parts]
        ink.plate(image, (0, 0, sum(widths) + 20, ink.text_size(clock[-1], _CLOCK_PX)[1] + 8), ink.BLACK, 0.75)
        x = 10
        for part, width in zip(parts, widths, strict=True):
            ink.write(image, part, (x, 4), _CLOCK_PX, ink.WHITE)
            x += width


def seen_reach_m(view: View, camera: Camera, hip_m: Floats) -> tuple[float, float]:
    """Return the stretch of the runway that a picture shows, as far as within 15 m of the run's middle."""
    seen_m = hip_m[np.isfinite(hip_m[:, 0]), 0]
    middle = float(np.median(seen_m)) if len(seen_m) else 0.0
    far = 15.0 + (float(np.ptp(seen_m)) if len(seen_m) else 0.0) / 2.0
    x_m = middle + np.arange(-far, far + 0.01, 0.1)
    px = view.project(camera, on_plane(np.stack([x_m, 0.0 * x_m], axis=1)))[:, 0]
    seen = x_m[(px >= -20.0) & (px <= view.size_px[0] + 20.0)]
    return (float(seen.min()), float(seen.max())) if len(seen) else (middle, middle)


def _bar_m(contact: Contact) -> Floats | None:
    """Return where the shoe stood: from a shoe's length behind the toe tip to the toe tip, at the surface's height."""
    toe, surface = contact.measures.get("toe_x_m"), contact.measures.get("support_height_m")
    if not isinstance(toe, Measured):
        return None
    height_m = max(0.0, surface.value) if isinstance(surface, Measured) and surface.value > surface.u95 else 0.0
    return np.array([[toe.value - _SHOE_M, height_m], [toe.value, height_m]])
