"""Many run-ups of one athlete (MEASURES section 4a): which runs may stand together, and what they show.

The formulas are in `steering`, `equal_speed`, `zones` and `statistics`; here they meet the results.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from penult.core.clips import statistics
from penult.core.clips.equal_speed import clear_together, equal_speed_difference
from penult.core.clips.groups import condition_of, lane_names, mats_words
from penult.core.clips.steering import FEWEST_TO_STEER, adjustment_shares, counted, scatter_of, steering
from penult.core.measures.zones import DEFAULT_ZONES_M, Course, course_of, stride_count, zone_speed
from penult.errors import InputError
from penult.model.analysis import Analysis, Notice
from penult.model.arrays import Floats
from penult.model.comparison import Condition, Interval
from penult.model.measured import Measured, NotMeasured
from penult.model.run_ups import (
    AdjustmentShare,
    Between,
    ChangedMeasure,
    Day,
    PatternChange,
    RunUps,
    Scatter,
    Splits,
    Steering,
    Trend,
)
from penult.model.trial import MeasureKey, Trial, measures_of

Gates = Mapping[str, Sequence[tuple[float, float]]]
"""Timing gates of each run: places (m, before the line below 0) and times (s)."""

PATTERN: tuple[MeasureKey, ...] = tuple(
    MeasureKey(part, number, name)
    for part, name in (
        ("steps", "step_length_m"),
        ("steps", "flight_time_s"),
        ("contacts", "contact_time_s"),
        ("steps", "step_length_ratio"),
    )
    for number in range(-5, 1)
)
"""The rhythm of the last six steps."""

_SPEED_IN_STEPS = (-3, -2)
_SEED = 20


def run_ups(
    name: str,
    trials: Sequence[Trial],
    *,
    zones_m: Sequence[tuple[float, float]] = DEFAULT_ZONES_M,
    gates: Gates | None = None,
) -> RunUps:
    """Return what several run-ups of one athlete show.

    Parameters
    ----------
    name : str
        Label of the athlete, or of the folder.
    trials : sequence of Trial
        In the order in which they were run.
    zones_m : sequence of (float, float)
        Zones whose mean speed is wanted: from and to, along the runway.
    gates : mapping, optional
        Timing-gate splits by `run_name`.

    Raises
    ------
    InputError
        If there is no run-up, or they are of several athletes.
    """
    _check(trials)
    group, members = _main_group(trials)
    chosen = [trials[i] for i in members]
    scatter = _scatter(chosen)
    steers, shares = _steering(chosen)
    courses = [course_of(t.analysis) for t in trials]
    names = run_names(trials)
    return RunUps(
        name=name,
        trials=tuple(trials),
        group=condition_words(group),
        members=members,
        scatter=scatter,
        steering=steers,
        shares=shares,
        drift=_drift(chosen),
        by_strides=_by_strides(trials),
        splits=tuple(_splits(c, zones_m, (gates or {}).get(n, ())) for n, c in zip(names, courses, strict=True)),
        stride_count=tuple(stride_count(t.analysis) for t in trials),
        changes=_changes(trials),
        notices=tuple(_notices(trials, chosen)),
        days=_days(chosen),
    )


def run_names(trials: Sequence[Trial]) -> tuple[str, ...]:
    """Return a name for each run: its clip's file, with its result folder's name where files share one."""
    files = [t.analysis.clip.file for t in trials]
    names = [
        f if files.count(f) == 1 else t.folder.replace("\\", "/").rsplit("/", 1)[-1] or f
        for f, t in zip(files, trials, strict=True)
    ]
    return tuple(n if names.count(n) == 1 else f"run {i}" for i, n in enumerate(names, 1))


def condition_words(condition: Condition) -> str:
    """Return kind, strides and mats of a group of run-ups in words."""
    strides = f", {condition.approach_strides} strides" if condition.approach_strides else ""
    mats = f", {mats_words(condition.mats)}" if condition.mats else ""
    return f"{condition.kind or 'kind not given'}{strides}{mats}"


def toe_places(trials: Sequence[Trial], numbers: Sequence[int]) -> tuple[Floats, Floats]:
    """Return toe places and their u95, (runs, contacts) each, NaN where not measured."""
    found = [[_value(t.analysis, MeasureKey("contacts", n, "toe_x_m")) for n in numbers] for t in trials]
    table = np.array(found, dtype=float).reshape(len(trials), len(numbers), 2)
    return table[..., 0], table[..., 1]


def speed_in(trial: Trial) -> float | None:
    """Return the speed before the last steps, m/s: mean of the steps that end at the fourth- and third-last contact."""
    found = [_value(trial.analysis, MeasureKey("steps", n, "step_speed_m_per_s"))[0] for n in _SPEED_IN_STEPS]
    return float(np.mean(found)) if np.isfinite(found).all() else None


def _check(trials: Sequence[Trial]) -> None:
    if not trials:
        raise InputError("there are no run-ups", next_step="add results: penult log add RESULT --athlete LABEL")
    athletes = list(dict.fromkeys(t.analysis.run.athlete or "athlete not given" for t in trials))
    if len(athletes) > 1:
        raise InputError(
            f"the run-ups are of {len(athletes)} athletes",
            *athletes[:5],
            next_step="give the run-ups of one athlete: a folder of theirs, or --athlete LABEL",
        )


def _grouped(trials: Sequence[Trial]) -> dict[Condition, tuple[int, ...]]:
    conditions = [condition_of(t) for t in trials]
    return {c: tuple(i for i, d in enumerate(conditions) if d == c) for c in dict.fromkeys(conditions)}


def _main_group(trials: Sequence[Trial]) -> tuple[Condition, tuple[int, ...]]:
    """Return the like run-ups of which there are most, without mats where there is a choice."""
    return max(
        _grouped(trials).items(), key=lambda item: (min(len(item[1]), FEWEST_TO_STEER), not item[0].mats, len(item[1]))
    )


def _scatter(trials: Sequence[Trial]) -> tuple[Scatter, ...]:
    numbers = sorted({c.number for t in trials for c in t.analysis.contacts if c.number <= 0})
    places, u95 = toe_places(trials, numbers)
    found = []
    for i, number in enumerate(numbers):
        there = np.isfinite(places[:, i])
        if there.any():
            found.append(scatter_of(number, places[there, i], u95[there, i]))
    return tuple(found)


def _steering(
    trials: Sequence[Trial],
) -> tuple[Steering | NotMeasured, tuple[AdjustmentShare, ...] | NotMeasured]:
    numbers, rows = common_contacts(trials)
    places, _ = toe_places(rows, numbers)
    found = steering(numbers, places, np.random.default_rng(_SEED))
    if not isinstance(found, Steering):
        return found, NotMeasured(reason="it is not told from where the athlete steers")
    flight, contact = (_time_lengths(rows, numbers, part) for part in ("flight", "contact"))
    return found, adjustment_shares(numbers, places, found.from_number, flight, contact)


def common_contacts(trials: Sequence[Trial]) -> tuple[tuple[int, ...], list[Trial]]:
    """Return the contacts before the board that most runs have, and the runs that have them all.

    From contact 0 back, as long as at least five runs and two thirds of all have every contact from there on.
    """
    numbers: list[int] = []
    rows = list(trials)
    for number in range(0, -100, -1):
        places, _ = toe_places(rows, [number])
        having = [t for t, x in zip(rows, places[:, 0], strict=True) if math.isfinite(x)]
        enough = min(max(FEWEST_TO_STEER, math.ceil(2 * len(trials) / 3)), len(trials))
        if len(having) < max(1, enough):
            break
        numbers.insert(0, number)
        rows = having
    return tuple(numbers), rows


def _time_lengths(trials: Sequence[Trial], numbers: Sequence[int], part: str) -> Floats:
    """Return the time in flight, or in the contact that a step begins with, times the step's mean speed, (runs, contacts)."""

    def of(trial: Trial, number: int) -> float:
        if part == "flight":
            return _value(trial.analysis, MeasureKey("steps", number, "flight_time_s"))[0]
        return _value(trial.analysis, MeasureKey("contacts", number - 1, "contact_time_s"))[0]

    times = np.array([[of(t, n) for n in numbers] for t in trials], dtype=float).reshape(len(trials), len(numbers))
    keys = [MeasureKey("steps", n, "step_speed_m_per_s") for n in numbers]
    speeds = np.array([[_value(t.analysis, k)[0] for k in keys] for t in trials], dtype=float).reshape(times.shape)
    means = [float(c[np.isfinite(c)].mean()) if np.isfinite(c).any() else math.nan for c in speeds.T]
    found: Floats = times * np.array(means)
    return found


def _drift(trials: Sequence[Trial]) -> Trend | NotMeasured:
    """Return how the toe's distance to the board goes with the number of the run of its session."""
    points: list[tuple[float, float, str]] = []
    counts: dict[str, int] = {}
    for trial in trials:
        session = f"{trial.said.date} {trial.said.session}"
        counts[session] = counts.get(session, 0) + 1
        place = _to_board(trial)
        if math.isfinite(place):
            points.append((counts[session], place, session))
    return _slope(points, "with a measured place at the board")


def _days(trials: Sequence[Trial]) -> tuple[Day, ...]:
    """Return the like run-ups day by day; nothing where they are of one day, or of unknown ones."""
    dates = sorted({t.said.date for t in trials if t.said.date})
    if len(dates) < 2:
        return ()
    found = []
    for date in dates:
        own = [t for t in trials if t.said.date == date]
        scatter = tuple((s.number, s.sd_m) for s in _scatter(own) if isinstance(s.sd_m, Between))
        speeds = [v for t in own if (v := speed_in(t)) is not None]
        found.append(
            Day(
                date=date,
                runs=len(own),
                scatter_m=scatter,
                to_board_m=_mean([v for t in own if math.isfinite(v := _to_board(t))]),
                speed_m_per_s=_mean(speeds),
            )
        )
    return tuple(found)


def _mean(values: Sequence[float]) -> Interval | NotMeasured:
    """Return the mean with Student's interval, from three values on."""
    if len(values) < statistics.FEWEST:
        return NotMeasured(reason=f"measured in {counted(len(values))} of that day; {statistics.FEWEST} are needed")
    error = float(np.std(values, ddof=1)) / math.sqrt(len(values))
    freedom = len(values) - 1
    half = statistics.t_half_width(error, freedom)
    return Interval(value=float(np.mean(values)), half_width=half, freedom=freedom, how="mean of the day")


def _by_strides(trials: Sequence[Trial]) -> Trend | NotMeasured:
    """Return how the toe's distance to the board goes with the length of the run-up."""
    points = [
        (float(t.said.approach_strides), _to_board(t), "")
        for t in trials
        if t.said.approach_strides and math.isfinite(_to_board(t))
    ]
    return _slope(points, "with a known number of strides")


def _slope(points: Sequence[tuple[float, float, str]], of: str) -> Trend | NotMeasured:
    """Return the common slope within blocks by least squares, each block with a level of its own."""
    blocks = list(dict.fromkeys(b for _, _, b in points))
    freedom = len(points) - len(blocks) - 1
    if len(points) < statistics.FEWEST or freedom < 1:
        return NotMeasured(reason=f"{counted(len(points))} {of}: too few for a trend")
    x, y = (np.array([p[i] for p in points], dtype=float) for i in (0, 1))
    for block in blocks:
        rows = np.array([p[2] == block for p in points])
        x[rows], y[rows] = x[rows] - x[rows].mean(), y[rows] - y[rows].mean()
    squares = float(x @ x)
    if squares <= 0.0:
        return NotMeasured(reason=f"the {counted(len(points))} {of} are all alike in it")
    slope = float(x @ y) / squares
    left = y - slope * x
    half = statistics.t_half_width(math.sqrt(float(left @ left) / freedom / squares), freedom)
    return Trend(slope=Interval(value=slope, half_width=half, freedom=freedom, how="straight line"), runs=len(points))


def _to_board(trial: Trial) -> float:
    return _value(trial.analysis, MeasureKey("takeoff", None, "toe_to_board_m"))[0]


def _splits(course: Course, zones_m: Sequence[tuple[float, float]], gate: Sequence[tuple[float, float]]) -> Splits:
    """Return the film's and the gate's speeds over the wanted zones and over those between neighbouring gates."""
    at = sorted(gate)
    zones = list(dict.fromkeys([*zones_m, *((a[0], b[0]) for a, b in itertools.pairwise(at))]))
    times = dict(at)
    by_gate = [
        (end - start) / (times[end] - times[start])
        if start in times and end in times and times[end] > times[start]
        else None
        for start, end in zones
    ]
    return Splits(zones_m=tuple(zones), film=tuple(zone_speed(course, *z) for z in zones), gate=tuple(by_gate))


def _changes(trials: Sequence[Trial]) -> tuple[PatternChange, ...]:
    """Return the rhythm of every other kind of run-up against the one it is held against.

    That is the run-through where there are three of them, else the longest run-up without mats.
    """
    groups = {c: m for c, m in _grouped(trials).items() if len(m) >= statistics.FEWEST}
    if len(groups) < 2:
        return ()
    order: Callable[[Condition], tuple[bool, bool, int, int]] = lambda c: (  # noqa: E731
        not trials[groups[c][0]].analysis.run.has_takeoff,
        not c.mats,
        c.approach_strides or 0,
        len(groups[c]),
    )
    against = max(groups, key=order)
    first = [trials[i] for i in groups[against]]
    return tuple(
        _change(condition_words(against), first, condition_words(c), [trials[i] for i in m])
        for c, m in groups.items()
        if c != against
    )


def _change(first_name: str, first: Sequence[Trial], second_name: str, second: Sequence[Trial]) -> PatternChange:
    found = []
    for key in PATTERN:
        sides = [_points(g, key) for g in (first, second)]
        if not all(sides):
            continue
        values = [[v for _, v in s] for s in sides]
        plain: Interval | NotMeasured = NotMeasured(reason="fewer than three run-ups of one kind")
        if min(map(len, values)) >= statistics.FEWEST and any(np.ptp(v) > 0.0 for v in values):
            plain = statistics.welch_difference(*values)
        found.append((key, equal_speed_difference(*sides), plain))
    judged = [d for _, d, _ in found if isinstance(d, Interval)]
    clear = iter(clear_together(judged))
    rows = tuple(
        ChangedMeasure(key=k, difference=d, plain=p, clear=isinstance(d, Interval) and next(clear)) for k, d, p in found
    )
    return PatternChange(
        first=first_name, second=second_name, first_runs=len(first), second_runs=len(second), rows=rows
    )


def _points(trials: Sequence[Trial], key: MeasureKey) -> list[tuple[float, float]]:
    pairs = [(speed_in(t), _value(t.analysis, key)[0]) for t in trials]
    return [(s, v) for s, v in pairs if s is not None and math.isfinite(v)]


def _value(analysis: Analysis, key: MeasureKey) -> tuple[float, float]:
    measure = measures_of(analysis).get(key)
    return (measure.value, measure.u95) if isinstance(measure, Measured) else (math.nan, math.nan)


def _notices(trials: Sequence[Trial], chosen: Sequence[Trial]) -> list[Notice]:
    found = []
    if len(chosen) < len(trials):
        of = condition_words(condition_of(chosen[0]))
        text = f"Scatter and steering rest on the {len(chosen)} like run-ups ({of}) of {len(trials)}."
        found.append(Notice(code="other-kinds", text=text))
    lanes = lane_names(chosen)
    if len(lanes) > 1:
        text = f"These run-ups were measured with {len(lanes)} lane files: their differences are part of the scatter."
        found.append(Notice(code="several-lanes", text=text))
    if any(
        "board" in m.reason for t in chosen if isinstance(m := t.analysis.takeoff.get("toe_to_board_m"), NotMeasured)
    ):
        text = "Some lane files have no board: places are counted from their first mark, not from the take-off line."
        found.append(Notice(code="no-board", text=text))
    return found
