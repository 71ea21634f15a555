"""One athlete over a season: headline measures with their typical error, what changed, distance against speed.

Sessions are the unit: a change is read between two sessions, each measured with one lane file, never between means over
several lane files or versions (MEASURES section 7).
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from penult.core.clips import statistics
from penult.core.clips.chance import FALSE_SHARE, counted
from penult.core.clips.groups import condition_of, depends_on_lane, lane_names
from penult.core.clips.matters import Matters, size_of
from penult.errors import InputError
from penult.model import catalogue
from penult.model.analysis import Notice
from penult.model.comparison import Change, Condition, Season, SeasonMeasure, SeasonPoint, Slope, TypicalError
from penult.model.measured import Measured
from penult.model.trial import MeasureKey, Trial, measures_of

SPEEDS: tuple[MeasureKey, ...] = (
    MeasureKey("takeoff", None, "approach_speed_m_per_s"),
    MeasureKey("takeoff", None, "takeoff_speed_m_per_s"),
)


def headlines() -> tuple[MeasureKey, ...]:
    """Return the main numbers of a season in their order."""
    return tuple(MeasureKey(*key) for key in catalogue.headlines("season"))


def names() -> tuple[str, ...]:
    """Return all that a season needs of a clip, so that a logbook need not read the rest."""
    return tuple(dict.fromkeys(k.name for k in (*headlines(), *SPEEDS)))


def season(athlete: str, trials: Sequence[Trial], *, since: str = "", matters: Matters | None = None) -> Season:
    """Return an athlete's season.

    Parameters
    ----------
    athlete : str
        Label.
    trials : sequence of Trial
        Of this athlete.
    since : str
        ISO date from which changes are counted; '' means from the first session.
    matters : mapping, optional
        The change from which on a measure matters, as the coach set it.

    Raises
    ------
    InputError
        If there are no clips, or none with a date.
    """
    if not trials:
        raise InputError(
            f"there are no clips of {athlete}", next_step="add results: penult log add RESULT --athlete LABEL"
        )
    dated = sorted((t for t in trials if _day(t.said.date)), key=lambda t: (t.said.date, t.said.session))
    if not dated:
        raise InputError(
            f"none of the clips of {athlete} ({len(trials)}) has a date",
            next_step="add them with --date, or in session.csv",
        )
    measures = tuple(m for key in headlines() if (m := _measure(key, dated)).points)
    since = since or dated[0].said.date
    return Season(
        athlete=athlete,
        trials=tuple(dated),
        measures=measures,
        since=since,
        changes=_told([c for m in measures for c in _changes(m, since)], matters or {}),
        slopes=tuple(s for key in SPEEDS if (s := _slope(key, dated)).points),
        takeoffs_a_week=_takeoffs_a_week(dated),
        notices=tuple(_notices(trials, dated)),
    )


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _measure(key: MeasureKey, trials: Sequence[Trial]) -> SeasonMeasure:
    points = []
    for trial in trials:
        value = measures_of(trial.analysis).get(key)
        if isinstance(value, Measured):
            points.append(
                SeasonPoint(
                    date=trial.said.date,
                    session=trial.said.session,
                    condition=condition_of(trial),
                    trial=trial,
                    value=value,
                )
            )
    error = _typical_error(key, points)
    change = None if error is None else statistics.minimal_detectable_change(error)
    return SeasonMeasure(key=key, points=tuple(points), typical_error=error, minimal_detectable_change=change)


def _typical_error(key: MeasureKey, points: Sequence[SeasonPoint]) -> TypicalError | None:
    """Return the spread of repeats within a session, or the measurement uncertainty where there are too few."""
    cells: dict[tuple[object, ...], list[float]] = defaultdict(list)
    for p in points:
        lane = p.trial.lane if depends_on_lane(key) else ""
        cells[p.condition, p.date, p.session, lane].append(p.value.value)
    found = statistics.typical_error(list(cells.values()))
    if found is None or found.value == 0.0:
        return statistics.measurement_error([p.value.u95 for p in points])
    return found


def _changes(measure: SeasonMeasure, since: str) -> list[Change]:
    """Return, for each condition, the latest session against the last one on or before the date."""
    by_condition: dict[Condition, list[SeasonPoint]] = defaultdict(list)
    for point in measure.points:
        by_condition[point.condition].append(point)
    found = (_change(measure, condition, points, since) for condition, points in by_condition.items())
    return [change for change in found if change is not None]


def _change(measure: SeasonMeasure, condition: Condition, points: Sequence[SeasonPoint], since: str) -> Change | None:
    sessions = sorted({(p.date, p.session) for p in points})
    error = measure.typical_error
    base = next((s for s in reversed(sessions) if s[0] <= since), sessions[0])
    last = sessions[-1]
    if last == base or error is None:
        return None
    before, note_1 = _of_one_lane(measure.key, [p for p in points if (p.date, p.session) == base])
    after, note_2 = _of_one_lane(measure.key, [p for p in points if (p.date, p.session) == last])
    notes = [n for n in (note_1, note_2) if n]
    values = [[p.value.value for p in side] for side in (before, after)]
    u95 = [[p.value.u95 for p in side] for side in (before, after)]
    if error.from_repeats:
        difference = statistics.known_error_difference(values[0], values[1], error)
        if depends_on_lane(measure.key) and before[0].trial.lane != after[0].trial.lane:
            difference = statistics.widened(difference, u95[0], u95[1])
            notes.append("two lane files, counted in")
    else:  # what the measurement leaves open is in u95 whole, the lane file's share included
        whole = tuple(math.sqrt(float(np.mean(np.square(side)))) for side in u95)
        difference = statistics.measured_difference(values[0], values[1], (whole[0], whole[1]))
    return Change(
        key=measure.key,
        condition=condition,
        before_date=base[0],
        since_date=last[0],
        before=tuple(values[0]),
        since=tuple(values[1]),
        difference=difference,
        typical_error=error,
        beyond=difference.low > 0.0 or difference.high < 0.0,
        notes=tuple(notes),
    )


def _told(changes: Sequence[Change], matters: Matters) -> tuple[Change, ...]:
    """Return the changes with what chance among so many of them would show taken out, and what matters beside them."""
    chances = counted([(c.key, c.difference) for c in changes])
    return tuple(
        replace(c, beyond=c.beyond and p <= FALSE_SHARE, false_share=p, matters=size_of(c.key.name, matters))
        for c, p in zip(changes, chances, strict=True)
    )


def _of_one_lane(key: MeasureKey, points: Sequence[SeasonPoint]) -> tuple[list[SeasonPoint], str]:
    """Return the clips of a session that were measured with its most used lane file, and a note where that left some out."""
    if not depends_on_lane(key):
        return list(points), ""
    counts = Counter(p.trial.lane for p in points)
    most = counts.most_common(1)[0][0]
    if len(counts) == 1:
        return list(points), ""
    name = lane_names(p.trial for p in points)[most]
    return [p for p in points if p.trial.lane == most], f"{points[0].date}: only the clips measured with {name}"


def _slope(key: MeasureKey, trials: Iterable[Trial]) -> Slope:
    """Return distance against speed over the measured jumps, with the athlete's own straight line (least squares)."""
    points = []
    for trial in trials:
        speed, distance = measures_of(trial.analysis).get(key), trial.said.official_distance_m
        if isinstance(speed, Measured) and distance is not None and trial.analysis.run.has_takeoff:
            points.append((speed.value, distance, trial))
    line = Slope(key=key, points=tuple(points), slope_s=None, half_width_s=None, intercept_m=None)
    if len(points) < statistics.FEWEST or len({p[0] for p in points}) < statistics.FEWEST:
        return line
    slope, intercept, half = statistics.straight_line([p[0] for p in points], [p[1] for p in points])
    return replace(line, slope_s=slope, half_width_s=half, intercept_m=intercept)


def _takeoffs_a_week(trials: Sequence[Trial]) -> tuple[tuple[str, int], ...]:
    """Return how many take-off contacts were filmed in each week, by the week's Monday, weeks without any included."""
    days = [d for t in trials if (d := _day(t.said.date))]
    mondays = [d - timedelta(days=d.weekday()) for d in days]
    counts = Counter(m for m, t in zip(mondays, trials, strict=True) if t.analysis.run.has_takeoff)
    first, weeks = min(mondays), (max(mondays) - min(mondays)).days // 7 + 1
    return tuple(
        ((first + timedelta(weeks=w)).isoformat(), counts[first + timedelta(weeks=w)]) for w in range(min(weeks, 530))
    )


def _notices(trials: Sequence[Trial], dated: Sequence[Trial]) -> list[Notice]:
    found = []
    if missing := len(trials) - len(dated):
        found.append(
            Notice(
                code="no-date",
                text=f"{missing} clip{'s have' if missing != 1 else ' has'} no date, left out.",
            )
        )
    methods = sorted({t.method for t in dated})
    if len(methods) > 1:
        versions = ", ".join(dict.fromkeys(words for words, _ in methods))
        text = (
            f"The clips were measured by {len(methods)} versions of the method ({versions}). Their values are never "
            "averaged or compared with one another."
        )
        found.append(Notice(code="mixed-methods", text=text))
    lanes = list(lane_names(dated).values())
    if len(lanes) > 1:
        text = (
            f"The clips were measured with {len(lanes)} lane files ({', '.join(lanes[:6])}{' …' if len(lanes) > 6 else ''}). "
            "Sessions with different lane files are compared with the uncertainty of both counted in."
        )
        found.append(Notice(code="mixed-lanes", text=text))
    return found
