"""What chance alone would show: false finds held down over the measures that a comparison looks at. Pure.

Three measures are chosen before anyone looks. The first of them, the hip drop, is judged by its own 95 % interval. The two others
and all the rest are many: of 25 measures one would pass for a difference by chance in most comparisons. So the share of false
finds among them is held at 5 % (Benjamini and Hochberg 1995), and half of that allowance belongs to the two that were chosen
(weights: Genovese, Roeder and Wasserman 2006). Where nothing changed, at most one comparison in ten shows anything at all.
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

FIRST = frozenset({"penultimate_hip_drop_m", "penultimate_hip_drop_above_support_m"})
"""The first of the chosen measures, counted both ways: where both are clear, or one of them twice as clear, it stands."""

CHOSEN_SHARE = 0.5
"""Of the allowance for false finds, what belongs to the chosen measures besides the first."""

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


def false_shares(chances: Sequence[float], weights: Sequence[float] | None = None) -> list[float]:
    """Return for each p the share of false finds among all that are at least as clear (Benjamini and Hochberg 1995).

    Parameters
    ----------
    chances : sequence of float
        p of each test, in any order.
    weights : sequence of float, optional
        How much of the allowance each has, 1 on average and more than 0.

    Returns
    -------
    list of float
        In the same order; what is at most 0.05 may be called a find at a false discovery rate of 5 %.
    """
    weighed = [p / w for p, w in zip(chances, weights or [1.0] * len(chances), strict=True)]
    order = sorted(range(len(weighed)), key=lambda i: weighed[i], reverse=True)
    least, found = 1.0, [1.0] * len(weighed)
    for place, i in enumerate(order):
        least = min(least, weighed[i] * len(weighed) / (len(weighed) - place))
        found[i] = least
    return found


def counted(tests: Sequence[tuple[MeasureKey, Interval]]) -> list[float]:
    """Return for each difference the share of false finds among all at least as clear: the hip drops apart from the rest.

    What is above `FALSE_SHARE` may be chance, whatever its own interval says.
    """
    out = [1.0] * len(tests)
    for is_first in (True, False):
        places = [i for i, (key, _) in enumerate(tests) if (key.name in FIRST and key in CHOSEN) is is_first]
        chosen = [tests[i][0] in CHOSEN for i in places]
        shares = false_shares([by_chance(tests[i][1]) for i in places], _weights(chosen))
        for i, share in zip(places, shares, strict=True):
            out[i] = share
    return out


def _weights(chosen: Sequence[bool]) -> list[float]:
    """Return weights of mean 1: half of their sum to the chosen ones where there are others as well."""
    many, few = len(chosen), sum(chosen)
    if few in (0, many) or few >= many * CHOSEN_SHARE:
        return [1.0] * many
    return [many * CHOSEN_SHARE / few if c else many * (1.0 - CHOSEN_SHARE) / (many - few) for c in chosen]


def controlled(rows: Sequence[ComparedMeasure]) -> tuple[ComparedMeasure, ...]:
    """Return the rows with false finds held down.

    A difference whose own interval leaves out zero, but that many looks may have thrown up, is said to be possible by chance.
    """
    places = [i for i, r in enumerate(rows) if r.difference is not None]
    tests = [(rows[i].key, d) for i in places if (d := rows[i].difference) is not None]
    out = list(rows)
    for i, share in zip(places, counted(tests), strict=True):
        verdict = rows[i].verdict
        if verdict.kind in ("clearly different", "apart in these runs") and share > FALSE_SHARE:
            why = f"its own interval leaves out zero, but {len(tests)} measures were looked at"
            verdict = Verdict(kind="could be chance", limit=verdict.limit, reason=why)
        out[i] = replace(rows[i], verdict=verdict, false_share=share)
    return tuple(out)
