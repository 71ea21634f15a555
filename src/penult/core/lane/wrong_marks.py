"""Which marks of a lane disagree with the others: leave-one-out refits and the mean-shift outlier test. Pure.

The test is Cook and Weisberg's (1982, section 2.2.2), for single marks and for marks that fail together: the corners
of one printed marker, and the marks on one pole, whose place was typed once.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from penult.core.lane import pinhole
from penult.core.lane.problem import Problem, metres_per_px, misfit, noise, noise_degrees, solved
from penult.model.arrays import Floats
from penult.model.calibration import Mark

NAME_BELOW = 0.01
"""Marks are named when sound ones would look so bad in fewer than one file in a hundred."""
NAME_ABOVE_CM = 1.5
_TELLS_APART = 9.21
"""Drop in chi-square, 2 degrees of freedom, at 1 %: less than this between two suspects and it may be either."""
_WHOLE_POLE = 7.0
"""Natural log of how much rarer a wrongly typed pole is taken to be than one wrong mark: a thousand times. A pole
is suspected only where no single mark explains the misfit nearly as well."""
_LEAST_KEPT = 5
_RAREST = 1e-300  # smaller chances have no logarithm
_LEAST_KEPT_SHARE = 0.6
_MARKER_CORNER = re.compile(r"(marker \d+) (?:top|bottom) (?:left|right)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sifted:
    """Rows to keep, rows that disagree (kept or not), and each mark's left-out error in centimetres (NaN: no refit)."""

    kept: tuple[int, ...]
    named: frozenset[int]
    left_out_cm: Floats


def sift(problem: Problem, robust: Floats, marks: Sequence[Mark]) -> Sifted:
    """Return which marks to keep; those left out are beyond doubt, suspects that cannot be told apart are only named.

    Parameters
    ----------
    problem : Problem
    robust : (p,) float64
        Free values that wild marks did not steer.
    marks : sequence of Mark
        In the order of the problem's rows.
    """
    kept = tuple(range(len(marks)))
    groups = _groups(marks)
    left_out_cm = np.full(len(marks), np.nan)
    named: set[int] = set()
    while True:
        trials = _trials(problem, robust, kept, groups, marks)
        for trial in reversed(trials):  # a mark's own trial, which comes first, has the last word
            for row in trial.rows:
                left_out_cm[row] = 100.0 * _miss_m(problem, trial.values, row)
        worst = min(trials, key=lambda t: t.log_chance, default=None)
        if worst is None or worst.log_chance + np.log(len(trials)) > np.log(NAME_BELOW):
            break
        if np.max(left_out_cm[list(worst.rows)]) < NAME_ABOVE_CM:
            break
        limit = worst.rest + _TELLS_APART * worst.noise
        rivals = [
            t for t in trials if t.rest < limit and len(t.rows) <= len(worst.rows) and not set(t.rows) & set(worst.rows)
        ]
        named |= set(worst.rows).union(*(t.rows for t in rivals))
        remaining = tuple(r for r in kept if r not in worst.rows)
        if rivals or len(remaining) < max(_LEAST_KEPT, _LEAST_KEPT_SHARE * len(marks)):
            break
        kept = remaining
    return Sifted(kept=kept, named=frozenset(named), left_out_cm=left_out_cm)


def _groups(marks: Sequence[Mark]) -> list[tuple[int, ...]]:
    """Return the rows that are tried together: single marks first, then poles; a marker's corners never singly."""
    markers: dict[str, list[int]] = defaultdict(list)
    poles: dict[tuple[float, float], list[int]] = defaultdict(list)
    singles = []
    for row, mark in enumerate(marks):
        corner = _MARKER_CORNER.fullmatch(mark.name)
        if corner:
            markers[corner.group(1)].append(row)
            continue
        singles.append((row,))
        x_m, _, z_m = mark.runway_m
        poles[round(x_m, 2), round(z_m, 2) + 0.0].append(row)
    together = [tuple(rows) for rows in (*poles.values(), *markers.values())]
    return [*singles, *(rows for rows in together if len(rows) > 1 or _MARKER_CORNER.fullmatch(marks[rows[0]].name))]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trial:
    """A refit without some rows: its values, what misfit remains, the noise, and the log of the test's chance."""

    rows: tuple[int, ...]
    values: Floats
    rest: float
    noise: float
    log_chance: float


def _trials(
    problem: Problem, robust: Floats, kept: Sequence[int], groups: list[tuple[int, ...]], marks: Sequence[Mark]
) -> list[_Trial]:
    now = problem.only(kept)
    whole = misfit(now, solved(now, robust))
    trials = []
    for rows in groups:
        rest_rows = [r for r in kept if r not in rows]
        if len(rest_rows) == len(kept) or len(rest_rows) < 4:
            continue
        rest = problem.only(rest_rows)
        values = solved(rest, robust)
        left = misfit(rest, values)
        spread = noise(left, rest.spare)
        freed = 2 * (len(kept) - len(rest_rows))
        strength = max(whole - left, 0.0) / freed / spread
        chance = float(np.log(max(fdtrc(freed, noise_degrees(rest.spare), strength), _RAREST)))
        if len(rows) > 1 and not _MARKER_CORNER.fullmatch(marks[rows[0]].name):
            chance += _WHOLE_POLE
        trials.append(_Trial(rows=rows, values=values, rest=left, noise=spread, log_chance=chance))
    return trials


def _miss_m(problem: Problem, values: Floats, row: int) -> float:
    """Return how far a mark's place lies from where its pixel says, in metres at the mark's own distance."""
    parameters = problem.full(values)
    off_px = pinhole.clamped_px(parameters, problem.centre_px, problem.xyz_m[row]) - problem.xy_px[row]
    return float(np.hypot(*off_px) * metres_per_px(parameters, problem.xyz_m[row]))
