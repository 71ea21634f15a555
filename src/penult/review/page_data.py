"""What a page shows of one result, as plain data: words are chosen and numbers rounded here, drawing is the page's."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from penult.app.review import State
from penult.core.lane.pinhole import K1, K2, LOG_FOCAL, rotation
from penult.model import catalogue
from penult.model.analysis import Analysis, Contact
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.clip import Clip
from penult.model.corrections import Correction, InstantConfirmed, InstantMoved
from penult.model.measured import Measure, Measured, Measures
from penult.model.skeleton import EDGES, JOINTS
from penult.model.track import Motion
from penult.outputs.drawing.measures import ARM, DRAWINGS, LEG, LEG_JOINTS, SHOE_M
from penult.outputs.drawing.shapes import as_data
from penult.outputs.texts import words
from penult.review import looks
from penult.review.history_words import correction_words

Plain = dict[str, Any]


def page_data(state: State) -> Plain:
    """Return everything that the page needs of a state."""
    analysis, motion, clip = state.outcome.analysis, state.outcome.motion, state.clip
    history = state.corrections
    return {
        "version": history.version,
        "is_written": state.is_written,
        "clip": _clip(clip, analysis),
        "track": _track(motion),
        "cameras": [_camera(c) for c in motion.cameras],
        "skeleton": _skeleton(),
        "drawings": {name: as_data(drawing) for name, drawing in DRAWINGS.items()},
        "contacts": [_contact(c, analysis, clip, history.done) for c in _in_time(analysis)],
        "groups": _groups(analysis, motion, clip),
        "warnings": [{"code": w.code, "text": w.text} for w in analysis.warnings],
        "history": [_entry(c, analysis, clip) for c in history.done],
        "undone": [_entry(c, analysis, clip) for c in history.undone],
    }


def _skeleton() -> Plain:
    return {
        "joints": list(JOINTS),
        "edges": [list(edge) for edge in EDGES],
        "arm_parts": [ARM[0][0], *(end for _, end in ARM)],
        "leg_bones": [list(bone) for bone in LEG],
        "leg_joints": list(LEG_JOINTS),
        "shoe_m": SHOE_M,
    }


def first_frame(state: State, numbers: tuple[int, ...] = (-1, 0)) -> int:
    """Return the frame that a page shows first: the touchdown of the first of these contacts, else the first frame."""
    analysis = state.outcome.analysis
    for number in numbers:
        contact = analysis.contact(number)
        if contact and contact.span_s:
            return frame_at(state.clip, contact.span_s[0])
    return int(state.outcome.motion.pixels.frame[0])


def frame_at(clip: Clip, time_s: float) -> int:
    """Return the frame nearest to a time."""
    return int(np.abs(clip.time_s - time_s).argmin())


def frame_position(clip: Clip, time_s: float) -> float:
    """Return a time as a frame position, beyond either end too."""
    frames = np.arange(len(clip.time_s), dtype=float)
    inside = float(np.interp(time_s, clip.time_s, frames))
    usual_s = float(np.median(np.diff(clip.time_s)))
    return inside + (time_s - min(max(time_s, float(clip.time_s[0])), float(clip.time_s[-1]))) / usual_s


def _clip(clip: Clip, analysis: Analysis) -> Plain:
    run = analysis.run
    return {
        "file": clip.file,
        "size": list(clip.size_px),
        "times": _rounded(clip.time_s, 6),
        "rate": round(clip.capture_rate_hz, 4),
        "rate_from": clip.capture_rate_from,
        "direction": run.direction,
        "kind": run.kind,
        "athlete": run.athlete,
        "has_takeoff": run.has_takeoff,
        "has_line": words.has_line(analysis),
        "mats": [{"number": m.number, "thickness_m": m.thickness_m} for m in run.mats],
    }


def _track(motion: Motion) -> Plain:
    t = len(motion.pixels.frame)
    return {
        "frames": motion.pixels.frame.tolist(),
        "px": _rounded(motion.pixels.xy_px.reshape(t, -1), 1),
        "m": _rounded(motion.runway.xy_m.reshape(t, -1), 3),
        "z": _rounded(motion.runway.z_m, 3),
        "hip": _rounded(motion.hip_m, 4),
        "mass": _rounded(motion.mass_centre_m, 3),
    }


def _camera(camera: Camera) -> Plain:
    p = camera.parameters
    return {
        "r": _rounded(rotation(p).ravel(), 9),
        "t": _rounded(p[3:6], 6),
        "f": float(np.exp(p[LOG_FOCAL])),
        "k": [float(p[K1]), float(p[K2])],
        "c": list(camera.centre_px),
    }


def _contact(contact: Contact, analysis: Analysis, clip: Clip, done: Iterable[Correction]) -> Plain:
    span = contact.span_s or (0.0, 0.0)
    frames = [frame_position(clip, s) for s in span]
    mats = {m.number: m.thickness_m for m in analysis.run.mats}
    surface = contact.measures.get("support_height_m")
    looked_at = {
        c.instant
        for c in done
        if isinstance(c, InstantConfirmed | InstantMoved) and frames[0] - 2 <= c.near_frame <= frames[1] + 2
    }
    return {
        "number": contact.number,
        "name": words.contact_words(contact.number, analysis.run),
        "foot": contact.foot,
        "told": contact.told_foot,
        "phase": analysis.run.phase_kind(contact.number),
        "span_s": [round(s, 7) for s in span],
        "span_frames": frames,
        "sd_s": [_u95(contact.measures.get(name)) for name in ("touchdown_s", "toe_off_s")],
        "toe_x_m": _value(contact.measures.get("toe_x_m")),
        "surface_m": _value(surface),
        "mat_m": mats.get(contact.number),
        "strike": contact.strike,
        "wholly_seen": contact.wholly_seen,
        "by_hand": contact.by_hand,
        "lowest_s": contact.lowest_s,
        "looked_at": sorted(looked_at),
    }


def _groups(analysis: Analysis, motion: Motion, clip: Clip) -> list[Plain]:
    """Measures in the order in which they are read: main numbers, penultimate, take-off, then the run from its start."""
    rows = _Rows(analysis, motion, clip)
    main = [rows.row(part, number, name) for part, number, name in _headlines(analysis)]
    groups = [{"title": "Main numbers", "key": "main", "rows": [row for row in main if row]}]
    named = (("penultimate", "Penultimate", analysis.penultimate), ("takeoff", "Take-off", analysis.takeoff))
    if analysis.run.is_series:
        groups += rows.of_phases()
    for part, title, measures in named:
        found = [rows.row(part, None, name) for name in measures]
        groups.append({"title": title, "key": part, "rows": [row for row in found if row]})
    for contact in _in_time(analysis):
        groups += rows.of_contact(contact)
    if any(analysis.run_up.values()):
        found = [rows.row("run_up", None, name) for name in analysis.run_up]
        groups.append({"title": "Run-up", "key": "run_up", "rows": [row for row in found if row]})
    checks = [rows.row("checks", None, name) for name in analysis.checks]
    groups.append({"title": "Check of scale and clock", "key": "checks", "rows": [row for row in checks if row]})
    return groups


def _headlines(analysis: Analysis) -> Iterable[tuple[str, int | None, str]]:
    """Of a series how far it goes and what each phase is."""
    return catalogue.headlines("series review" if analysis.run.is_series else "review")


class _Rows:
    """Rows of the list of measures."""

    def __init__(self, analysis: Analysis, motion: Motion, clip: Clip) -> None:
        self._analysis, self._motion, self._clip = analysis, motion, clip

    def of_phases(self) -> list[Plain]:
        """The whole series, then phase by phase."""
        run = self._analysis.run
        whole = [self.row("sequence", None, name) for name in self._measures("sequence", None) or ()]
        groups = [{"title": "The whole series", "key": "sequence", "rows": [row for row in whole if row]}]
        for phase in sorted(self._analysis.phases, key=lambda p: p.number):
            found = [self.row("phases", phase.number, name) for name in phase.measures]
            title = words.capitalised(words.phase_words(phase.number, phase.kind, run))
            groups.append({"title": title, "key": f"phase{phase.number}", "rows": [row for row in found if row]})
        return groups

    def of_contact(self, contact: Contact) -> list[Plain]:
        """The step that ends at a contact, then the contact itself."""
        groups = []
        step = self._analysis.step(contact.number)
        if step:
            found = [self.row("steps", step.number, name) for name in step.measures]
            title = words.capitalised(words.step_words(step.number, self._analysis.run))
            groups.append({"title": title, "key": f"step{step.number}", "rows": [row for row in found if row]})
        found = [self.row("contacts", contact.number, name) for name in contact.measures]
        name = words.capitalised(words.contact_words(contact.number, self._analysis.run))
        foot = f"{contact.foot} foot" if contact.foot_sure else "which foot is not certain"
        title = f"{name if 'contact' in name else name + ' contact'}, {foot}"
        groups.append({"title": title, "key": f"contact{contact.number}", "rows": [row for row in found if row]})
        return groups

    def row(self, part: str, number: int | None, name: str) -> Plain | None:
        """One measure, or None where there is no such contact."""
        measures = self._measures(part, number)
        if measures is None or name not in measures:
            return None
        measure = measures[name]
        shown = words.shown(name, measure)
        at_s = looks.moment_s(self._analysis, self._motion, looks.Place(part=part, number=number, name=name))
        u95 = measure.u95 * words.term(name).scale if isinstance(measure, Measured) else None
        label = words.term(name).words
        if part == "phases" and self._analysis.run.is_series and number is not None:
            kind = self._analysis.run.phase_kind(number)
            label = f"{label}, {words.phase_words(number, kind, self._analysis.run)}"
        if part == "contacts" and name == "contact_time_s":
            label = f"contact time, {words.contact_words(number or 0, self._analysis.run)}"
        return {
            "id": f"{part}/{'' if number is None else number}/{name}",
            "words": label,
            "text": shown.text,
            "value": shown.value,
            "u95": shown.u95,
            "unit": words.spaced(shown.unit),
            "width": u95,
            "reason": shown.reason,
            "by_hand": shown.by_hand,
            "extra": words.from_vertical(name, measure),
            "definition": words.term(name).definition,
            "frame": None if at_s is None else frame_at(self._clip, at_s),
            "draw": looks.drawing(looks.Place(part=part, number=number, name=name), measure),
        }

    def _measures(self, part: str, number: int | None) -> Measures | None:
        if part == "contacts":
            contact = self._analysis.contact(number or 0)
            return contact.measures if contact else None
        if part == "steps":
            step = self._analysis.step(number or 0)
            return step.measures if step else None
        if part == "phases":
            phase = self._analysis.phase(number or 0)
            return phase.measures if phase else None
        if part == "sequence":
            return self._analysis.sequence.measures if self._analysis.sequence else None
        found: Measures = getattr(self._analysis, part)
        return found


def _in_time(analysis: Analysis) -> list[Contact]:
    return sorted(analysis.contacts, key=lambda c: c.number)


def _entry(correction: Correction, analysis: Analysis, clip: Clip) -> Plain:
    return {"text": correction_words(correction, analysis, clip), "made_at": correction.made_at}


def _value(measure: Measure | None) -> float | None:
    return measure.value if isinstance(measure, Measured) else None


def _u95(measure: Measure | None) -> float | None:
    return measure.u95 if isinstance(measure, Measured) else None


def _rounded(values: Floats, places: int) -> list[Any]:
    """Return nested lists; NaN becomes null, which JSON has."""
    rounded = np.round(values, places)
    plain = np.where(np.isfinite(rounded), rounded, None)  # type: ignore[call-overload]
    out: list[Any] = plain.tolist()
    return out
