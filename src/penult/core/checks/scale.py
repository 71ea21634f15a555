"""How the scale and the camera's place were checked, in one sentence each: marks that are all wrong alike fit together. Pure."""

from __future__ import annotations

from penult.model.analysis import Analysis, Notice
from penult.model.measured import Measure, Measured

SCALE_CHECK = "scale_check"
"""Under this name a result's method says how its scale was checked."""

DOUBTS = frozenset({"scale-doubted", "height-disagrees"})


def scale_check(result: Analysis, body_height: Measure, stated_m: float | None) -> str:
    """Return how the lengths of a result were checked, and what the check could have shown.

    Parameters
    ----------
    result : Analysis
        After the fall was judged: `smallest_visible_scale_error` stands in its method where there is one.
    body_height : Measure
        As the supports show it, metres.
    stated_m : float, optional
        The athlete's height as it was said.
    """
    if {w.code for w in result.warnings} & DOUBTS:
        return "The scale is doubted: see the notes."
    told = []
    if stated_m and isinstance(body_height, Measured):
        told.append(
            f"by the stated height, which would have shown an error of {100.0 * body_height.u95 / stated_m:.0f} %"
        )
    seen = result.method.get("smallest_visible_scale_error")
    is_doubted = any(w.code == "clock-doubted" for w in result.warnings)
    if isinstance(seen, float) and not is_doubted:
        told.append(f"by the free fall, which would have shown an error of {100.0 * seen:.0f} %")
    if not told:
        return (
            "The scale was not checked: no height is stated and no flight shows the fall. Marks that are all wrong by the same "
            "share make every length wrong by it. Say --height, or measure two marks again (penult check LANE --measured)."
        )
    more = "" if stated_m else " A smaller one nobody has looked for: say --height, or measure two marks again."
    return f"The scale was checked {' and '.join(told)}.{more}"


def camera_unchecked(still: str | None) -> Notice | None:
    """Return the warning that a lane file without a still cannot show whether the camera stood where it was calibrated."""
    if still is not None:
        return None
    return Notice(
        code="camera-unchecked",
        text="the lane file has no still: nobody can tell whether the camera stood where it was calibrated, with the same zoom. "
        "A zoom of 3 % or a knock of a few pixels makes lengths and places wrong by more than is said here. Calibrate from a "
        "picture of this very setting, and keep the picture beside the lane file",
    )
