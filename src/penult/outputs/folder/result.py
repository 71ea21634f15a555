"""The result as plain data: `penult-analysis/1` for people's other programs, and the motion behind it for our own."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from penult.model.analysis import Analysis, Contact, JumpSequence, Phase, Run
from penult.model.measured import Measure, Measures, NotMeasured
from penult.model.track import Motion

FORMAT = "penult-analysis/1"

_PLACES = 6  # micrometres, microseconds: two digits finer than any interval that a clip supports


def analysis_to_dict(analysis: Analysis) -> dict[str, Any]:
    """Return the analysis as the content of `analysis.json`.

    Parameters
    ----------
    analysis : Analysis
        SI units and degrees.

    Returns
    -------
    dict
        Only dicts, lists, strings, booleans, None and finite numbers; numbers are rounded to six decimals.
    """
    clip = analysis.clip
    return {
        "format": FORMAT,
        "clip": {
            "file": clip.file,
            "sha256": clip.sha256,
            "frames": clip.frames,
            "capture_rate_hz": round(clip.capture_rate_hz, _PLACES),
            "capture_rate_from": clip.capture_rate_from,
            "first_frame_s": round(clip.first_frame_s, _PLACES),
        },
        "run": _run_to_dict(analysis.run),
        "contacts": [_contact_to_dict(c) for c in sorted(analysis.contacts, key=lambda c: c.number)],
        "steps": [
            {"number": s.number, **_measures_to_dict(s.measures)}
            for s in sorted(analysis.steps, key=lambda s: s.number)
        ],
        "penultimate": _measures_to_dict(analysis.penultimate),
        "takeoff": _measures_to_dict(analysis.takeoff),
        "phases": [_phase_to_dict(p) for p in sorted(analysis.phases, key=lambda p: p.number)],
        "sequence": None if analysis.sequence is None else _sequence_to_dict(analysis.sequence),
        "run_up": _measures_to_dict(analysis.run_up),
        "checks": _measures_to_dict(analysis.checks),
        "warnings": [{"code": w.code, "text": w.text} for w in analysis.warnings],
        "method": _plain(analysis.method),
    }


def analysis_to_json(analysis: Analysis) -> str:
    """Return the text of `analysis.json`: one measure a line is too long to read, so short objects stay on one line."""
    return _pretty(analysis_to_dict(analysis)) + "\n"


def motion_to_bytes(motion: Motion) -> bytes:
    """Return the content of `motion.npz`: plain numeric arrays, no pickled objects."""
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        allow_pickle=False,
        frame=motion.pixels.frame,
        time_s=motion.pixels.time_s,
        xy_px=motion.pixels.xy_px,
        score=motion.pixels.score,
        filled=motion.pixels.filled,
        xy_m=motion.runway.xy_m,
        z_m=motion.runway.z_m,
        filled_m=motion.runway.filled,
        hip_m=motion.hip_m,
        mass_centre_m=motion.mass_centre_m,
        camera_parameters=np.array([c.parameters for c in motion.cameras]),
        camera_covariance=np.array([c.covariance for c in motion.cameras]),
        camera_size_px=np.array([c.image_size_px for c in motion.cameras], dtype=np.int64),
        camera_centre_px=np.array([c.centre_px for c in motion.cameras], dtype=np.float64),
    )
    return buffer.getvalue()


def _run_to_dict(run: Run) -> dict[str, Any]:
    return {
        "direction": run.direction,
        "kind": run.kind,
        "has_takeoff": run.has_takeoff,
        "mats": [{"number": m.number, "thickness_m": round(m.thickness_m, _PLACES)} for m in run.mats],
        "athlete": run.athlete,
        "takeoff_foot": run.takeoff_foot,
        "sex": run.sex,
        "height_m": run.height_m,
        **({} if run.official_m is None else {"official_m": round(run.official_m, _PLACES)}),
    }


def _contact_to_dict(contact: Contact) -> dict[str, Any]:
    return {
        "number": contact.number,
        "foot": contact.told_foot,
        **({} if contact.foot_sure else {"joints_of": contact.foot}),
        "strike": contact.strike,
        "lowest_s": None if contact.lowest_s is None else round(contact.lowest_s, _PLACES),
        "span_s": None if contact.span_s is None else [round(s, _PLACES) for s in contact.span_s],
        "wholly_seen": contact.wholly_seen,
        "by_hand": contact.by_hand,
        **_measures_to_dict(contact.measures),
    }


def _phase_to_dict(phase: Phase) -> dict[str, Any]:
    return {
        "number": phase.number,
        "kind": phase.kind,
        "foot": phase.foot,
        "lands_on": phase.lands_on,
        **_measures_to_dict(phase.measures),
    }


def _sequence_to_dict(sequence: JumpSequence) -> dict[str, Any]:
    return {
        "first_contact": sequence.first_contact,
        "feet": sequence.feet,
        "kinds": list(sequence.kinds),
        "began_before": sequence.began_before,
        "shares_of_whole_phases": [_measure_to_dict(m) for m in sequence.shares_of_whole_phases],
        **_measures_to_dict(sequence.measures),
    }


def _measures_to_dict(measures: Measures) -> dict[str, Any]:
    return {name: _measure_to_dict(measure) for name, measure in measures.items()}


def _measure_to_dict(measure: Measure) -> dict[str, Any]:
    if isinstance(measure, NotMeasured):
        return {"not_measured": measure.reason}
    if not (math.isfinite(measure.value) and math.isfinite(measure.u95)):
        # JSON has no such number, and a reader must not take one for a value
        return {"not_measured": "the calculation gave no finite number"}
    plain: dict[str, Any] = {"value": round(measure.value, _PLACES), "u95": round(measure.u95, _PLACES)}
    if measure.by_hand:
        plain["by_hand"] = True
    return plain


def _plain(value: Any) -> Any:
    """Return settings and versions as JSON can hold them; anything unusual as its text."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, bool | int | str):
        return value
    return str(value)


def _pretty(value: Any, indent: str = "") -> str:
    """Return JSON with every object or list that fits in a line written on one line."""
    flat = json.dumps(value, ensure_ascii=False, allow_nan=False)
    inner = indent + "  "
    if not isinstance(value, dict | list) or not value or (len(flat) <= 100 and indent):
        return flat
    if isinstance(value, dict):
        rows = [f"{inner}{json.dumps(k, ensure_ascii=False)}: {_pretty(v, inner)}" for k, v in value.items()]
        return "{\n" + ",\n".join(rows) + f"\n{indent}}}"
    return "[\n" + ",\n".join(inner + _pretty(v, inner) for v in value) + f"\n{indent}]"
