"""What chance alone would show: the false discovery rate over measures that nobody had asked about beforehand. Pure.

Three measures are chosen before anyone looks and judged by their own 95 % interval. The rest are many: of 25 of them one
would pass for a difference by chance in most comparisons, so that the share of false finds among them is held at 5 %
(Benjamini and Hochberg 1995).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from scipy.special import stdtr

from penult.core.clips.statistics import CONFIDENCE, t_half_width
from penult.model.comparison import ComparedMeasure, Interval, Verdict
from penult.model.trial import MeasureKey

CHOSEN: tuple[MeasureKey, ...] = (
    MeasureKey("penultimate", None, "penultimate_hip_drop_m"),
    MeasureKey("penultimate", None, "penultimate_hip_drop_above_support_m"),
    MeasureKey("contacts", -1, "contact_time_s"),
    MeasureKey("takeoff", None, "takeoff_angle_deg"),
)
"""Chosen beforehand, as on the first screen of every result: what the hips do (the drop, counted both ways; without mats they
are one number), how long the penultimate foot stands, how the jump leaves."""

FALSE_SHARE = 1.0 - CONFIDENCE
"""Share of false finds that is allowed among the measures that were not chosen beforehand."""


def by_chance(difference: Interval) -> float:
    """Return how often a difference at least as large comes up where there is none: the two-sided p of its t interval."""
    error = difference.half_width / t_half_width(1.0, difference.freedom)
    if error <= 0.0:
        return 1.0 if difference.value == 0.0 else 0.0
    t = abs(difference.value) / error
    return (
        math.erfc(t / math.sqrt(2.0)) if math.isinf(difference.freedom) else 2.0 * float(stdtr(difference.freedom, -t))
    )


def false_shares(chances: Sequence[float]) -> list[float]:
    """Return for each p the share of false finds among all that are at least as clear (Benjamini and Hochberg 1995).

    Parameters
    ----------
    chances : sequence of float
        p of each test, in any order.

    Returns
    -------
    list of float
        In the same order; what is at most 0.05 may be called a find at a false discovery rate of 5 %.
    """
    order = sorted(range(len(chances)), key=lambda i: chances[i], reverse=True)
    least, found = 1.0, [1.0] * len(chances)
    for place, i in enumerate(order):
        least = min(least, chances[i] * len(chances) / (len(chances) - place))
        found[i] = least
    return found


def controlled(rows: Sequence[ComparedMeasure]) -> tuple[ComparedMeasure, ...]:
    """Return the rows with the false discovery rate held over those that were not chosen beforehand.

    A difference whose own interval leaves out zero, but that many looks may have thrown up, is said to be possible by chance.
    """
    rest = [i for i, r in enumerate(rows) if r.difference is not None and r.key not in CHOSEN]
    shares = false_shares([by_chance(d) for i in rest if (d := rows[i].difference) is not None])
    out = list(rows)
    for i, share in zip(rest, shares, strict=True):
        verdict = rows[i].verdict
        if verdict.kind in ("clearly different", "apart in these runs") and share > FALSE_SHARE:
            why = f"its own interval leaves out zero, but {len(rest)} measures were looked at"
            verdict = Verdict(kind="could be chance", limit=verdict.limit, reason=why)
        out[i] = replace(rows[i], verdict=verdict, false_share=share)
    return tuple(out)
