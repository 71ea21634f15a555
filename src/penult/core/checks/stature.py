"""The athlete's height as the clip shows it, against the height that was stated: a wrong scale of the lane file shows here. Pure.

Nobody stands upright in a run, but a leg in support and the trunk above it make a chain from ankle to ear whose links can
be added up. What the joints in between are off by cancels as far as the chain is straight.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from penult.core.joints.body import middle
from penult.core.measures.evidence import ContactEvidence
from penult.core.uncertainty.draws import Draws
from penult.model.analysis import Notice
from penult.model.arrays import Floats
from penult.model.measured import Measure, Measured, NotMeasured
from penult.model.skeleton import INDEX, joint

CHAIN_SHARE = 0.862
"""Ankle to knee to hip, and mid-hip straight to the middle of the ears, over standing height. Ear 0.926 less ankle 0.039
standing (Drillis and Contini 1966 for the ankle, tragion 13 cm below the vertex; from memory), 2 to 3 % less for the bent neck and
back of a runner; films with known truth: 0.858 to 0.875 true, 0.850 to 0.865 as seen with the joints' mean bias taken out (27
films; 0.867 to 0.875 with it)."""

SHARE_SD = 0.0105
"""Of that share from person to person: ear and ankle lie 0.6 and 0.5 cm (SD) higher or lower than in the mean body (0.45 %,
survey measurements, from memory); necks and backs are carried straighter or rounder (0.8 %); how well the mean is known
(0.5 %)."""

STATED_SD_M = 0.01
"""Of a stated height: rounding, time of day, last year's."""

LEAST_ROWS = 3

FAR_U95 = 1.5
"""The bound of the free fall's alarm (MEASURES.md section 4); between one and this the height is only said."""


def chain_m(xy_m: Floats, foot: str) -> Floats:
    """Return the length of the chain ankle, knee, hip, ears (...) of joints (..., k, 2) on the side of `foot`."""
    hip, knee, ankle = (xy_m[..., joint(foot, part), :] for part in ("hip", "knee", "ankle"))
    up = xy_m[..., INDEX["head"], :] - middle(xy_m, "hip")
    links = (hip - knee, knee - ankle, up)
    return np.asarray(sum(np.linalg.norm(link, axis=-1) for link in links))


def body_height(draws: Draws, contacts: Sequence[ContactEvidence], time_s: Floats) -> Measure:
    """Return the standing height that the supports show.

    Parameters
    ----------
    draws : Draws
        Joints (s, t, k, 2), metres, first row measured; camera, depth, and joint bias are in their spread.
    contacts : sequence of ContactEvidence
        Only those wholly in the picture are used.
    time_s : (t,) float64
        Of the draws' rows, on the clock of the contacts.

    Returns
    -------
    Measured or NotMeasured
        Metres.
    """
    lengths = []
    for contact in contacts:
        event = contact.event
        rows = np.flatnonzero((time_s >= event.touchdown_s[0]) & (time_s <= event.toe_off_s[0]))
        chain = chain_m(draws.xy_m[:, rows], event.foot)
        seen = np.isfinite(chain).all(axis=0)
        if contact.wholly_seen and seen.sum() >= LEAST_ROWS:
            lengths.append(np.median(chain[:, seen], axis=1))
    if not lengths:
        return NotMeasured(reason="no support is wholly in the picture")
    height_m = np.median(np.array(lengths), axis=0) / CHAIN_SHARE
    sd_m = np.hypot(float(np.std(height_m[1:])), SHARE_SD / CHAIN_SHARE * height_m[0])
    return Measured(value=float(height_m[0]), u95=float(2.0 * sd_m))


def height_notice(measured: Measure, stated_m: float | None) -> Notice | None:
    """Return a warning where the stated height lies outside what the clip shows; it names both."""
    if stated_m is None or not isinstance(measured, Measured):
        return None
    u95_m, off = height_u95_m(measured), measured.value / stated_m - 1.0
    if abs(measured.value - stated_m) <= u95_m:
        return None
    return Notice(
        code="height-disagrees",
        text=f"the athlete looks {measured.value:.2f} +- {u95_m:.2f} m tall, {stated_m:.2f} m was stated: lengths may be "
        f"{100.0 * abs(off):.0f} % too {'long' if off > 0.0 else 'short'}. Check the stated height, then measure a distance "
        'between two marks again (penult check LANE --measured "-6.5 to 0 = 6.50")',
    )


def height_is_far(measured: Measure, stated_m: float) -> bool:
    """Whether a stated height is so far from what is seen that lengths are withheld: three SD, as for the fall."""
    return isinstance(measured, Measured) and abs(measured.value - stated_m) > FAR_U95 * height_u95_m(measured)


def height_u95_m(measured: Measured) -> float:
    """Return by how much a stated height may differ from what is seen."""
    return float(np.hypot(measured.u95, 2.0 * STATED_SD_M))


def height_method(measured: Measure) -> dict[str, float]:
    """Return what is kept with a result: the height that the clip shows, and how sure it is."""
    if not isinstance(measured, Measured):
        return {}
    return {"body_height_m": round(measured.value, 3), "body_height_u95_m": round(measured.u95, 3)}
