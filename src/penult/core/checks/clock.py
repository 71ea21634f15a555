"""Is the clip's clock right? Asked of the step rate and of the free fall, answered before anything is said in seconds."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from penult.core.checks.withheld import without_clock
from penult.core.numeric.fits import GRAVITY_M_PER_S2
from penult.model.analysis import Analysis, Notice
from penult.model.measured import Measure, Measured

STEP_RATES_HZ = (2.2, 5.6)
"""Steps a second in a run or drill: sprinters reach 5.0 to 5.4 at most, slow drills about 2.5 (common practice, no source)."""

USUAL_RATIOS = (2.0, 4.0, 8.0)
"""Ratios of the capture rates that phones offer (240, 120, 60, 30 Hz)."""

RATIO_TOLERANCE = 0.05
ALARM_U95 = 1.5
VISIBLE_U95 = 2.5
"""MEASURES.md section 4, free fall: the alarm's bound, and the smallest error that can be seen, in u95."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockVerdict:
    """What the free fall and the step rate say: 'clock', 'scale' or '' (nothing wrong), and how many times too slow."""

    cause: str
    slow_by: float = 1.0
    visible_scale_error: float = float("nan")


def likely_slowness(step_rate_hz: float, free_fall_m_per_s2: float) -> float:
    """How many times too slowly the clip plays: 1, or a ratio of usual rates that makes its step rate possible.

    Parameters
    ----------
    step_rate_hz : float
        On the clip's own clock; NaN when fewer than two contacts were seen.
    free_fall_m_per_s2 : float
        On the clip's own clock; decides between ratios that are both possible; NaN when there was no flight to fit.
    """
    if not np.isfinite(step_rate_hz) or STEP_RATES_HZ[0] <= step_rate_hz <= STEP_RATES_HZ[1]:
        return 1.0
    ratios = [*USUAL_RATIOS, *(1.0 / r for r in USUAL_RATIOS)]
    possible = [r for r in ratios if STEP_RATES_HZ[0] <= step_rate_hz * r <= STEP_RATES_HZ[1]]
    if not possible:
        return 1.0
    if np.isfinite(free_fall_m_per_s2) and free_fall_m_per_s2 > 0:
        wanted = np.sqrt(GRAVITY_M_PER_S2 / free_fall_m_per_s2)
        return min(possible, key=lambda r: abs(np.log(r / wanted)))
    middle = np.sqrt(STEP_RATES_HZ[0] * STEP_RATES_HZ[1])
    return min(possible, key=lambda r: abs(np.log(step_rate_hz * r / middle)))


def judge(free_fall: Measure, step_rate_hz: float) -> ClockVerdict:
    """Judge clock and scale by the free fall (both on the clip's stated clock) and the step rate.

    The fall scales with the length scale and with the square of the clock, so a factor near a ratio of usual rates
    is a clock, anything else a scale (MEASURES.md section 4).
    """
    slow = likely_slowness(step_rate_hz, free_fall.value if isinstance(free_fall, Measured) else float("nan"))
    if isinstance(free_fall, Measured) and abs(free_fall.value - GRAVITY_M_PER_S2) <= ALARM_U95 * free_fall.u95:
        slow = 1.0  # bounds and hops have two contacts a second: a fall that fits outweighs the step rate
    if not isinstance(free_fall, Measured):
        return ClockVerdict(cause="clock" if slow != 1.0 else "", slow_by=slow)
    visible = VISIBLE_U95 * free_fall.u95 / GRAVITY_M_PER_S2
    if slow != 1.0:
        return ClockVerdict(cause="clock", slow_by=slow, visible_scale_error=visible)
    if abs(free_fall.value - GRAVITY_M_PER_S2) <= ALARM_U95 * free_fall.u95:
        return ClockVerdict(cause="", visible_scale_error=visible)
    ratio = np.sqrt(GRAVITY_M_PER_S2 / free_fall.value) if free_fall.value > 0 else np.inf
    for usual in (*USUAL_RATIOS, *(1.0 / r for r in USUAL_RATIOS)):
        if abs(ratio / usual - 1.0) <= RATIO_TOLERANCE:
            return ClockVerdict(cause="clock", slow_by=usual, visible_scale_error=visible)
    return ClockVerdict(cause="scale", visible_scale_error=visible)


def apply(result: Analysis, time_scale: float) -> Analysis:
    """Put the free fall on the clip's stated clock, judge it, and withhold what a doubted clock cannot support.

    Parameters
    ----------
    result : Analysis
        Measured on the corrected clock.
    time_scale : float
        How many times the stated clock is too slow.
    """
    fall = result.checks["free_fall_m_per_s2"]
    if isinstance(fall, Measured):
        fall = Measured(value=fall.value / time_scale**2, u95=fall.u95 / time_scale**2)
    rate = _step_rate_hz(result) / time_scale
    verdict = judge(fall, rate)
    out = dataclasses.replace(result, checks={**result.checks, "free_fall_m_per_s2": fall})
    if np.isfinite(verdict.visible_scale_error):
        out = dataclasses.replace(
            out, method={**out.method, "smallest_visible_scale_error": round(verdict.visible_scale_error, 3)}
        )
    if verdict.cause == "clock":
        return _withhold(out, verdict, _facts(fall, rate))
    if verdict.cause == "scale" and isinstance(fall, Measured):
        return dataclasses.replace(out, warnings=(_scale_notice(fall), *out.warnings))
    return out


def _step_rate_hz(result: Analysis) -> float:
    """Median over the steps, NaN without one."""
    rates = [m.value for s in result.steps if isinstance(m := s.measures["step_rate_hz"], Measured)]
    return float(np.median(rates)) if rates else float("nan")


def _facts(fall: Measure, rate_hz: float) -> str:
    """What on the stated clock cannot be; either may be missing."""
    facts = [f"{rate_hz:.1f} steps a second"] if np.isfinite(rate_hz) else []
    facts += [f"a free fall of {fall.value:.1f} m/s2"] if isinstance(fall, Measured) else []
    return " with ".join(facts)


def _withhold(result: Analysis, verdict: ClockVerdict, facts: str) -> Analysis:
    """Every time, rate, speed and what the flight fit gives becomes 'not measured' until the coach confirms the clock."""
    likely = result.clip.capture_rate_hz * verdict.slow_by
    notice = Notice(
        code="clock-doubted",
        text=(
            f"the clip's clock seems {_times(verdict.slow_by)}: {facts} would not be possible at "
            f"{result.clip.capture_rate_hz:.0f} frames a second ({result.clip.capture_rate_from}); the capture rate was likely "
            f"{likely:.0f}. Run again with --capture-rate {likely:.0f} if that is right"
        ),
    )
    out = without_clock(result, f"the clip's clock is doubted; confirm with --capture-rate {likely:.0f}")
    return dataclasses.replace(out, warnings=(notice, *out.warnings))  # what all times hang on is said first


def _times(slow_by: float) -> str:
    return f"{slow_by:.0f} times too slow" if slow_by > 1 else f"{1 / slow_by:.0f} times too fast"


def _scale_notice(fall: Measured) -> Notice:
    """Lengths cannot be believed: say by how much, and what to do."""
    percent = 100.0 * (fall.value / GRAVITY_M_PER_S2 - 1.0)
    return Notice(
        code="scale-doubted",
        text=f"the body falls with {fall.value:.1f} +- {fall.u95:.1f} m/s2 instead of 9.81: lengths seem {abs(percent):.0f} % too "
        f"{'long' if percent > 0 else 'short'}. Measure two marks of the lane file again",
    )
