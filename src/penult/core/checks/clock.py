"""Is the clip's clock right? Asked of the fall, the step rate and the frame rate, answered before anything is said in seconds."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from penult.core.checks.rates import nearest_usual_hz, usual_rate_hz
from penult.core.checks.withheld import without_clock, without_everything, without_scale
from penult.core.numeric.fits import GRAVITY_M_PER_S2
from penult.core.units import other_unit
from penult.model.analysis import Analysis, Notice
from penult.model.measured import Measure, Measured

STEP_RATES_HZ = (2.2, 5.6)
"""Steps a second in a run or drill: sprinters reach 5.0 to 5.4 at most, slow drills about 2.5 (common practice, no source).
Bounds and jogs have two: there the fall is the witness (MEASURES.md section 4a)."""

USUAL_RATIOS = (2.0, 4.0, 8.0)
"""Ratios of the capture rates that phones offer (240, 120, 60, 30 Hz)."""

RATIO_TOLERANCE = 0.05
ALARM_U95 = 1.5
VISIBLE_U95 = 2.5
"""MEASURES.md section 4, free fall: the alarm's bound, and the smallest error that can be seen, in u95."""

FOUND_LATE = 1.5
"""A clock that turns out so many times off another than the one on which contacts were found and numbered: flights seem those of
bounds, or supports too short."""

RETIMED_MOST = 1.2
"""An editor that stretches a clip to another project's rate changes it by 24 to 25, 25 to 30 or the like, not by more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockVerdict:
    """What fall, step rate and frame rate say: 'clock', 'scale' or '' (nothing wrong), and how many times too slow.

    `is_unusual`: no camera films at the frame rate.
    """

    cause: str
    slow_by: float = 1.0
    is_unusual: bool = False
    visible_scale_error: float = float("nan")


def likely_slowness(step_rate_hz: float, free_fall_m_per_s2: float, fall_u95: float = 0.0) -> float:
    """How many times too slowly the clip plays: 1, or a ratio of usual rates that makes its step rate possible.

    Parameters
    ----------
    step_rate_hz : float
        On the clip's own clock; NaN when fewer than two contacts were seen.
    free_fall_m_per_s2 : float
        On the clip's own clock; NaN when there was no flight to fit.
    fall_u95 : float
        Of it. A fall that tells one ratio from the next outweighs the step rate: it fixes scale and clock together.
    """
    if not np.isfinite(step_rate_hz) or STEP_RATES_HZ[0] <= step_rate_hz <= STEP_RATES_HZ[1]:
        return 1.0
    ratios = [*USUAL_RATIOS, *(1.0 / r for r in USUAL_RATIOS)]
    falls = bool(np.isfinite(free_fall_m_per_s2)) and free_fall_m_per_s2 > 0
    if falls and fall_tells(free_fall_m_per_s2, fall_u95) and 0.5 < free_fall_m_per_s2 / GRAVITY_M_PER_S2 < 2.0:
        return 1.0
    possible = [r for r in ratios if STEP_RATES_HZ[0] <= step_rate_hz * r <= STEP_RATES_HZ[1]]
    if not possible:
        return 1.0
    if falls:
        wanted = np.sqrt(GRAVITY_M_PER_S2 / free_fall_m_per_s2)
        return min(possible, key=lambda r: abs(np.log(r / wanted)))
    middle = np.sqrt(STEP_RATES_HZ[0] * STEP_RATES_HZ[1])
    return min(possible, key=lambda r: abs(np.log(step_rate_hz * r / middle)))


def fall_tells(value: float, u95: float) -> bool:
    """Whether a fall tells the clip's clock from one twice as fast or slow, at which it would be four times or a quarter."""
    return bool(value - ALARM_U95 * u95 > value / 2.0)


def ratio_of_fall(value: float) -> float:
    """Return the ratio of usual rates that a rough fall speaks for; 1 unless it is nearer to another in logarithms."""
    wanted = float(np.sqrt(GRAVITY_M_PER_S2 / value)) if value > 0.0 else 1.0
    return min((1.0, *USUAL_RATIOS, *(1.0 / r for r in USUAL_RATIOS)), key=lambda r: abs(np.log(r / wanted)))


def judge(
    free_fall: Measure, step_rate_hz: float, *, is_stated: bool = False, rate_hz: float = float("nan")
) -> ClockVerdict:
    """Judge clock and scale by the free fall (on the clip's stated clock), the step rate and the frame rate.

    The fall scales with the length scale and with the square of the clock, so a factor near a ratio of usual rates
    is a clock, anything else a scale (MEASURES.md section 4), unless the frame rate is one that no camera has.

    Parameters
    ----------
    free_fall : Measure
    step_rate_hz : float
    is_stated : bool
        A person stated the rate: the step rate alone does not overrule it.
    rate_hz : float
        The capture rate, where it is not stated and the frame times are even: one that no camera has was made by an editor.
    """
    if not isinstance(free_fall, Measured):
        slow = 1.0 if is_stated else likely_slowness(step_rate_hz, float("nan"))
        return (
            ClockVerdict(cause="clock", slow_by=slow) if slow != 1.0 else _by_rate(rate_hz, float("nan"), float("nan"))
        )
    value, u95 = free_fall.value, free_fall.u95
    visible = VISIBLE_U95 * u95 / GRAVITY_M_PER_S2
    agrees = abs(value - GRAVITY_M_PER_S2) <= ALARM_U95 * u95
    slow = 1.0 if is_stated and (agrees or not fall_tells(value, u95)) else likely_slowness(step_rate_hz, value, u95)
    if slow != 1.0:
        return ClockVerdict(cause="clock", slow_by=slow, visible_scale_error=visible)
    unusual = _by_rate(rate_hz, value, u95)
    if unusual.cause:
        return dataclasses.replace(unusual, visible_scale_error=visible)
    if agrees:
        return ClockVerdict(cause="", visible_scale_error=visible)
    ratio = np.sqrt(GRAVITY_M_PER_S2 / value) if value > 0 else np.inf
    for usual in (*USUAL_RATIOS, *(1.0 / r for r in USUAL_RATIOS)):
        if abs(ratio / usual - 1.0) <= RATIO_TOLERANCE:
            return ClockVerdict(cause="clock", slow_by=usual, visible_scale_error=visible)
    return ClockVerdict(cause="scale", visible_scale_error=visible)


def _by_rate(rate_hz: float, fall: float, u95: float) -> ClockVerdict:
    """Doubt a rate that no camera has, unless the fall agrees with it better than with the usual one that it was made from."""
    if not np.isfinite(rate_hz) or rate_hz <= 0.0 or usual_rate_hz(rate_hz) is not None:
        return ClockVerdict(cause="")
    slow = nearest_usual_hz(rate_hz) / rate_hz
    if not np.isfinite(fall):
        return ClockVerdict(cause="clock", slow_by=slow, is_unusual=True)
    if fall > 0.0:
        wanted = float(np.sqrt(GRAVITY_M_PER_S2 / fall))
        meant = nearest_usual_hz(rate_hz * wanted)
        slow = meant / rate_hz if 1.0 / RETIMED_MOST <= meant / rate_hz <= RETIMED_MOST else slow
    at_usual = fall * slow**2
    confirmed = abs(fall - GRAVITY_M_PER_S2) <= u95 and abs(at_usual - GRAVITY_M_PER_S2) > ALARM_U95 * u95
    return ClockVerdict(cause="") if confirmed else ClockVerdict(cause="clock", slow_by=slow, is_unusual=True)


FROM_FRAMES, FROM_COACH, BY_HAND = "frame times", "command line", "set by hand"
"""Where a capture rate comes from, in the words of the clip."""

UNEVEN = frozenset({"variable-rate", "times-rebuilt", "slow-motion"})
"""Notices of a clip whose frame times do not say at what rate it was filmed."""


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
    is_even = result.clip.capture_rate_from == FROM_FRAMES and not any(w.code in UNEVEN for w in result.warnings)
    is_stated = result.clip.capture_rate_from in {FROM_COACH, BY_HAND}
    frame_rate_hz = result.clip.capture_rate_hz if is_even else float("nan")
    verdict = judge(fall, rate, is_stated=is_stated, rate_hz=frame_rate_hz)
    if verdict.cause != "clock" and time_scale != 1.0:  # measured on another clock than the one that turned out right
        verdict = dataclasses.replace(verdict, cause="clock", slow_by=time_scale)
    out = dataclasses.replace(result, checks={**result.checks, "free_fall_m_per_s2": fall})
    if np.isfinite(verdict.visible_scale_error):
        out = dataclasses.replace(
            out, method={**out.method, "smallest_visible_scale_error": round(verdict.visible_scale_error, 3)}
        )
    if verdict.cause == "clock":
        late = abs(np.log(verdict.slow_by / time_scale)) > np.log(FOUND_LATE)
        return _withhold(out, verdict, _facts(fall, rate), is_late=bool(late))
    if verdict.cause == "scale" and isinstance(fall, Measured):
        if result.clip.capture_rate_from != BY_HAND:  # else the rate that was set may be at fault as well
            out = without_scale(out, "the lane file's lengths are doubted; measure two of its marks again")
        return dataclasses.replace(out, warnings=(_scale_notice(fall, result.clip.capture_rate_from), *out.warnings))
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


def _withhold(result: Analysis, verdict: ClockVerdict, facts: str, *, is_late: bool = False) -> Analysis:
    """Every time, rate, speed and what the flight fit gives becomes 'not measured' until the coach confirms the clock.

    `is_late`: contacts were found and numbered on the wrong clock, so that nothing of them can be believed.
    """
    likely = result.clip.capture_rate_hz * verdict.slow_by
    rate = f"{result.clip.capture_rate_hz:.4g}"
    if verdict.is_unusual:
        facts = f" ({facts} on its clock)" if facts else ""
        text = (
            f"the clip's clock seems {_times(verdict.slow_by)}: it has {rate} frames a second, at which no camera films, so a "
            f"program changed its pace after it was filmed{facts}; the capture rate was likely {likely:.0f}. Run again with "
            f"--capture-rate {likely:.0f} if that is right, or with --capture-rate {rate} if your camera does film at that rate"
        )
    else:
        text = (
            f"the clip's clock seems {_times(verdict.slow_by)}: {facts} would not be possible at {float(rate):.0f} frames a "
            f"second ({result.clip.capture_rate_from}); the capture rate was likely {likely:.0f}. Run again with --capture-rate "
            f"{likely:.0f} if that is right"
        )
    notice = Notice(code="clock-doubted", text=text)
    out = without_clock(result, f"the clip's clock is doubted; confirm with --capture-rate {likely:.0f}")
    if is_late:
        out = without_everything(
            out, f"contacts were found on a clock that is doubted; say --capture-rate {likely:.0f}"
        )
    return dataclasses.replace(out, warnings=(notice, *out.warnings))  # what all times depend on is said first


def _times(slow_by: float) -> str:
    if 0.75 < slow_by < 1.5:
        return f"{100.0 * abs(1.0 / slow_by - 1.0):.0f} % too {'slow' if slow_by > 1 else 'fast'}"
    return f"{slow_by:.0f} times too slow" if slow_by > 1 else f"{1 / slow_by:.0f} times too fast"


def _scale_notice(fall: Measured, rate_from: str) -> Notice:
    """Lengths cannot be believed: say by how much, and what to do."""
    factor = fall.value / GRAVITY_M_PER_S2
    percent = 100.0 * (factor - 1.0)
    meant = other_unit(factor)
    unit = f", as if {meant} had been typed for metres" if meant else ""
    pace = 100.0 * abs(np.sqrt(factor) - 1.0) if factor > 0 else 0.0
    if rate_from == BY_HAND:
        held, rate = "", ", or the rate that was set by hand is wrong"
    else:
        held, rate = "Lengths and speeds are not given. ", ""
    return Notice(
        code="scale-doubted",
        text=f"the body falls with {fall.value:.1f} +- {fall.u95:.1f} m/s2 instead of 9.81: lengths seem "
        f"{abs(percent):.0f} % too {'long' if percent > 0 else 'short'}{unit}, or a program made the clip {pace:.0f} % too "
        f"{'fast' if percent > 0 else 'slow'}{rate}. {held}"
        "Measure two marks of the lane file again, and use the clip as the camera stored it",
    )
