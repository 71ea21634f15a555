"""Angles, heights and distances drawn where they are measured; each gives back the label that names it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from penult.core.joints.body import knee_angle_deg
from penult.model.analysis import Analysis, Contact
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.measured import Measure, Measured, Measures
from penult.model.skeleton import joint
from penult.model.track import Motion
from penult.outputs.drawing.measures import DRAWINGS
from penult.outputs.drawing.shapes import TAKEOFF_ANGLE, VALUE, Arc, Arrow, Guide, Known, Length, Path, Shape, points_m
from penult.outputs.pictures import ink
from penult.outputs.pictures.figure import View, draw_mat_at, mats_of, on_plane
from penult.outputs.pictures.labels import Label
from penult.outputs.pictures.moments import Moment, mid_shoulder_m, places_m
from penult.outputs.texts import drops, words

_TEXT_PX = 23
_PAD_PX = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class MomentPicture:
    """What an annotation needs: the picture, where it lies, and the body at that instant.

    Parameters
    ----------
    image : (h, w, 3) uint8 or Planes
        Changed in place.
    view, camera : View, Camera
        From runway to drawn pixels.
    moment : Moment
        Contact, instant and row.
    analysis, motion : Analysis, Motion
        The whole result.
    drawn_px : list of (n, 2) float64
        Lines drawn so far, that labels keep off.
    """

    image: ink.Picture
    view: View
    camera: Camera
    moment: Moment
    analysis: Analysis
    motion: Motion
    drawn_px: list[Floats] = field(default_factory=list)

    def body(self, name: str) -> Floats:
        """Return a joint of the supporting leg, (3,) metres."""
        return np.asarray(places_m(self.motion, self.moment.row)[joint(self.moment.contact.foot, name)])

    def at(self, xy_m: Floats, z_m: float) -> Floats:
        """Return places of one depth, (n, 2) metres, as drawn pixels (n, 2)."""
        return self.view.project(self.camera, on_plane(xy_m, z_m))

    @property
    def hip_m(self) -> Floats:
        """Mid-hip, (2,) metres."""
        return np.asarray(self.motion.hip_m[self.moment.row])

    def place_m(self, name: str) -> Floats | None:
        """Return a named place of `outputs.drawing`, (3,) metres; None where it is not seen."""
        row = self.moment.row
        if name == "mid_hip":
            place = np.append(self.hip_m, 0.0)
        elif name == "mid_shoulder":
            place = np.append(mid_shoulder_m(self.motion, row), 0.0)
        elif name == "mass_centre":
            place = np.append(self.motion.mass_centre_m[row], 0.0)
            place = place if np.isfinite(place).all() else np.append(self.hip_m, 0.0)
        else:
            place = self.body(name)
        return place if np.isfinite(place).all() else None

    def contact_label(self, name: str, kind: str, short: str) -> Label | None:
        """Draw a measure of the contact and return its label."""
        return self.label(name, self.moment.contact.measures, kind, short)

    def label(self, name: str, measures: Measures, kind: str, short: str) -> Label | None:
        """Draw a measure and return its label, or None where the measure or what it is drawn on is missing.

        Parameters
        ----------
        name : str
            Of the measure, among `measures`.
        kind : str
            Of `drawing.measures.DRAWINGS`.
        short : str
            What the label says before the figures.
        """
        measure = measures.get(name)
        if not isinstance(measure, Measured):
            return None
        angle = self.analysis.takeoff.get("takeoff_angle_deg")
        values = {VALUE: measure.value} | ({TAKEOFF_ANGLE: angle.value} if isinstance(angle, Measured) else {})
        known = Known(place_m=self.place_m, values=values)
        lines = [(shape, points_m(shape, known)) for shape in DRAWINGS[kind]]
        anchor: Floats | None = None
        colour = ink.BLACK
        for shape, line_m in lines:
            if line_m is None or any(line is None for _, line in lines):
                return None
            anchor, colour = _draw(self, shape, self.view.project(self.camera, line_m))
        return None if anchor is None else label_for(name, short, measure, anchor, colour)


Annotation = Callable[[MomentPicture], "Label | None"]


def label_for(name: str, short: str, measure: Measure | None, anchor_px: Floats, colour: ink.Colour) -> Label | None:
    """Return the label of a measured value, or None where there is none."""
    if not isinstance(measure, Measured) or not np.isfinite(anchor_px).all():
        return None
    figures = words.shown(name, measure).text
    if measure.by_hand:
        short, colour = f"{short} (by hand)", ink.BY_HAND
    width = ink.text_size(short, _TEXT_PX - 3)[0] + ink.text_size(figures, _TEXT_PX, bold=True)[0]
    height = ink.text_size(figures, _TEXT_PX, bold=True)[1]
    size = (width + 3 * _PAD_PX, height + _PAD_PX)
    return Label(words=short, figures=figures, anchor_px=anchor_px, colour=colour, size_px=size)


def draw_label(image: ink.Picture, label: Label, box: tuple[float, float, float, float], start_px: Floats) -> None:
    """Draw a label's leader, plate and text."""
    ink.stroke(image, np.stack([start_px, label.anchor_px]), ink.BLACK, 1.0, outline=ink.WHITE)
    ink.plate(image, box, ink.WHITE, 0.92)
    x0, y0, x1, y1 = box
    edge = np.array([[x0, y0], [x0, y1]])
    ink.stroke(image, edge, label.colour, 5.0)
    ink.stroke(image, np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]), ink.BODY, 1.0)
    x, y = x0 + _PAD_PX + 2, y0 + _PAD_PX / 2
    ink.write(image, label.words, (x, y + 2), _TEXT_PX - 3, ink.BLACK)
    wide = ink.text_size(label.words, _TEXT_PX - 3)[0]
    ink.write(image, label.figures, (x + wide + _PAD_PX, y), _TEXT_PX, ink.BLACK, bold=True)


def leg_angle(scene: MomentPicture) -> Label | None:
    """At the ankle, between the line to the hip joint and the horizontal: backward at touchdown, forward at toe-off."""
    lands = scene.moment.instant == "touchdown"
    return scene.contact_label(
        f"leg_angle_{scene.moment.instant}_deg", "leg-landing" if lands else "leg-leaving", "leg"
    )


def knee_angle(scene: MomentPicture) -> Label | None:
    """Hip - knee - ankle, drawn on the side where it is measured; the smallest only where the leg is as bent as that."""
    is_smallest = scene.moment.instant == "lowest"
    name = "knee_angle_min_deg" if is_smallest else f"knee_angle_{scene.moment.instant}_deg"
    measure = scene.moment.contact.measures.get(name)
    if is_smallest and isinstance(measure, Measured):
        bent = knee_angle_deg(scene.motion.runway.xy_m[scene.moment.row][None], scene.moment.contact.foot)[0]
        if not abs(bent - measure.value) <= measure.u95:
            return None  # a take-off leg bends on after the hips were lowest: the number belongs to another picture
    return scene.contact_label(name, "knee", "knee, smallest" if is_smallest else "knee")


def foot_angle(scene: MomentPicture) -> Label | None:
    """Sole against the runway at touchdown."""
    return scene.contact_label("foot_angle_touchdown_deg", "foot", "foot")


def trunk_angle(scene: MomentPicture) -> Label | None:
    """Mid-hip to mid-shoulder line from the vertical."""
    return scene.contact_label(f"trunk_angle_{scene.moment.instant}_deg", "trunk", "trunk")


def hip_height(scene: MomentPicture) -> Label | None:
    """A vertical measure line from the runway up to the mid-hip at its lowest."""
    return scene.contact_label("hip_height_lowest_m", "hip", "hip height")


def hip_drop(scene: MomentPicture) -> Label | None:
    """The headline: how much lower the hip is than at its lowest over the third-last support."""
    before = scene.analysis.contact(-2)
    if before is None or not isinstance(before.measures.get("hip_height_lowest_m"), Measured):
        return None
    what = "hip drop above the runway" if drops.has_mats(scene.analysis) else "hip drop"
    return scene.label("penultimate_hip_drop_m", scene.analysis.penultimate, "drop", what)


def touchdown_distance(scene: MomentPicture) -> Label | None:
    """How far the toe is ahead of the hips, as a bracket below the ground line."""
    return scene.contact_label("touchdown_distance_m", "ahead-hip", "foot ahead of hips")


def mat(scene: MomentPicture) -> Label | None:
    """The height of the mat's surface, as a bracket from the runway up to it, just ahead of the toe."""
    contact = scene.moment.contact
    measure, toe = contact.measures.get("support_height_m"), scene.body("toe")
    thickness_m = mats_of(scene.analysis).get(contact.number)
    if thickness_m is None or not np.isfinite(toe).all():
        return None
    top = draw_mat_at(scene.image, scene.view, scene.camera, float(toe[0]), thickness_m)
    return label_for("support_height_m", "mat", measure, top, ink.MAT) if scene.moment.instant == "lowest" else None


def takeoff_angle(scene: MomentPicture) -> Label | None:
    """The velocity of the centre of mass as an arrow, and its angle from the horizontal."""
    return scene.label("takeoff_angle_deg", scene.analysis.takeoff, "velocity", "take-off angle")


def drawn_at(contact: Contact, instant: str, *, has_takeoff: bool) -> tuple[Annotation, ...]:
    """Return what is drawn at an instant of a contact, the most important first."""
    if instant == "touchdown":
        return (mat, leg_angle, knee_angle, foot_angle, trunk_angle, touchdown_distance)
    if instant == "lowest":
        return (mat, hip_drop, hip_height, knee_angle) if contact.number == -1 else (mat, hip_height, knee_angle)
    if contact.number == 0 and has_takeoff:
        return (mat, takeoff_angle, leg_angle, knee_angle, trunk_angle)
    return (mat, leg_angle, knee_angle, trunk_angle)


def _draw(scene: MomentPicture, shape: Shape, line_px: Floats) -> tuple[Floats, ink.Colour]:
    """Draw a shape through its points (n, 2), drawn pixels; return where its label begins and in which colour."""
    colour = ink.BLACK if isinstance(shape, Guide | Length) else ink.COLOURS[shape.colour]
    if isinstance(shape, Guide):
        ink.stroke(scene.image, line_px, colour, 1.5, outline=ink.WHITE, dash=(7.0, 5.0))
    elif isinstance(shape, Arc):
        ink.stroke(scene.image, line_px, colour, 3.0, outline=ink.WHITE)
    elif isinstance(shape, Length):
        line_px = line_px + np.array([0.0, shape.below_px])
        measure_line(scene, line_px)
    elif isinstance(shape, Arrow):
        ink.arrow(scene.image, line_px[0], line_px[1], colour, 4.0, outline=ink.WHITE)
    else:
        ink.stroke(scene.image, line_px, colour, 3.0, outline=ink.WHITE)
    if isinstance(shape, Arc):
        scene.drawn_px.append(line_px[::4])
        return line_px[len(line_px) // 2], colour
    if isinstance(shape, Path):
        return line_px[shape.label], colour
    scene.drawn_px.append(line_px[0] + np.linspace(0.0, 1.0, 17)[:, None] * (line_px[1] - line_px[0]))
    share = 0.5 if isinstance(shape, Guide) else shape.label
    return line_px[0] + share * (line_px[1] - line_px[0]), colour


def measure_line(scene: MomentPicture, ends_px: Floats) -> None:
    """Draw a measured length: a line with a bar across each end."""
    along = ends_px[1] - ends_px[0]
    unit = along / max(1e-9, float(np.hypot(*along)))
    across = 8.0 * np.array([-unit[1], unit[0]])
    ink.stroke(scene.image, ends_px, ink.BLACK, 2.5, outline=ink.WHITE)
    for end in ends_px:
        ink.stroke(scene.image, np.array([end - across, end + across]), ink.BLACK, 2.5, outline=ink.WHITE)
