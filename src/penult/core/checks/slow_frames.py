"""Few frames a second: say so, and withhold what the leg does at touchdown, which turns too far between two pictures."""

from __future__ import annotations

from dataclasses import replace

from penult.core.measures.contact import MAX_INTERVAL_S
from penult.model.analysis import Analysis, Notice
from penult.model.measured import Measured, Measures, NotMeasured

REASON = "frame rate too low: the leg turns too far between two frames around touchdown; at least 50 frames a second are needed"

AT_TOUCHDOWN = frozenset({
    "leg_angle_touchdown_deg",
    "knee_angle_touchdown_deg",
    "touchdown_distance_m",
    "touchdown_distance_mass_centre_m",
    "hip_drop_to_takeoff_m",
})  # fmt: skip
"""What changes fastest just then. The first frame that shows a foot at rest lies up to one interval after touchdown: at 30 frames a
second and 9 m/s the hips are 30 cm farther by then and a leg of 0.9 m has turned by 19 degrees (arithmetic). The mean of many
clips can be corrected by half an interval; the one at hand can not."""


def is_slow(interval_s: float) -> bool:
    """Tell whether frames are too far apart for times of contacts and flights."""
    return interval_s > MAX_INTERVAL_S


def without_slow(analysis: Analysis, interval_s: float) -> Analysis:
    """Return the analysis with a warning, and without what a slow frame rate cannot tell; unchanged at 50 frames a second and more.

    Parameters
    ----------
    analysis : Analysis
        As measured.
    interval_s : float
        Between two frames, in capture time.
    """
    if not is_slow(interval_s):
        return analysis
    why = NotMeasured(reason=REASON)

    def without(part: str, number: int | None, measures: Measures) -> Measures:
        del number
        if part not in ("contacts", "penultimate"):
            return measures
        return {n: why if n in AT_TOUCHDOWN and isinstance(m, Measured) else m for n, m in measures.items()}

    text = (
        f"{1.0 / interval_s:.0f} frames a second: contact and flight times, and the leg at touchdown, cannot be told; "
        "film with 120 frames a second or more, 240 if the phone has it"
    )
    changed = analysis.changed(without)
    return replace(changed, warnings=(Notice(code="few-frames", text=text), *changed.warnings))
