"""The drawings of a season: measures over dates and over approach strides, distance against speed, take-offs a week.

A kind of clip has a mark and a colour of its own, so that it can be told without colour; the approach strides are
written at the session's mean.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from penult.core.clips.groups import depends_on_lane
from penult.model.comparison import Change, Season, SeasonMeasure, SeasonPoint
from penult.outputs.charts.bars import Scale
from penult.outputs.charts.svg import Drawing, Point, tight_scale
from penult.outputs.texts import words
from penult.outputs.texts.verdicts import full_words

SHAPES = ("circle", "diamond", "square", "up", "cross", "down")
MOST_MARKS = 150
"""Clips up to which each has its own mark; more become dots."""

_INSIDE_PX = 24.0  # first and last day from the ends, for marks beside them
_MOST_NUMBERED = 60  # session means that carry their strides; more of them would cover one another
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """How clips of one kind are drawn."""

    name: str
    shape: str
    number: int


def kinds_of(season: Season) -> dict[str, Kind]:
    """Return a mark for each kind of clip, the most frequent first; beyond six they share the last one."""
    counts: dict[str, int] = defaultdict(int)
    for trial in season.trials:
        counts[trial.analysis.run.kind] += 1
    ordered = sorted(counts, key=lambda k: (-counts[k], k))
    last = len(SHAPES) - 1
    return {
        k: Kind(name=k or "kind not given", shape=SHAPES[min(i, last)], number=min(i, last))
        for i, k in enumerate(ordered)
    }


def date_chart(measure: SeasonMeasure, kinds: Mapping[str, Kind], span: tuple[date, date], *, width: float) -> str:
    """Return a measure over the dates: clips, session means with their approach strides, and the typical error band."""
    frame = _frame(measure, width, 210.0)
    picture = Drawing(width, 248.0, "over-dates", f"{full_words(measure.key)} over the dates, a mark a clip")
    days = max(1, (span[1] - span[0]).days)

    def x(day: str, shift: float = 0.0) -> float:
        share = (date.fromisoformat(day) - span[0]).days / days
        return frame.left + _INSIDE_PX + share * (frame.right - frame.left - 2.0 * _INSIDE_PX) + shift

    shifts = _shifts(measure, kinds, width)
    groups = _conditions(measure.points)
    _grid(picture, frame)
    for key, points in groups.items():
        _band(
            picture, frame, measure, [(x(d, shifts[key]), mean) for d, mean in _means(measure, points)], kinds[key[0]]
        )
    _clips(picture, frame, measure, [(x(p.date, shifts[_condition(p)]), p) for p in measure.points], kinds)
    numbered = sum(len(_means(measure, points)) for points in groups.values()) <= _MOST_NUMBERED
    for key, points in groups.items():
        means = _means(measure, points)
        for i, (day, mean) in enumerate(means):
            if numbered or i == len(means) - 1:
                _numbered(picture, (x(day, shifts[key]), frame.y(mean)), kinds[key[0]], key[1])
    _date_axis(picture, frame, span, lambda d: x(d.isoformat()))
    return picture.svg()


def strides_chart(measure: SeasonMeasure, kinds: Mapping[str, Kind], *, width: float = 370.0) -> str:
    """Return a measure over the approach strides: clips, and the mean of each kind with its typical error band."""
    points = [p for p in measure.points if p.condition.approach_strides is not None]
    strides = sorted({p.condition.approach_strides for p in points if p.condition.approach_strides is not None})
    if len(strides) < 2:
        return ""
    frame = _frame(measure, width, 170.0)
    picture = Drawing(width, 208.0, "over-strides", f"{full_words(measure.key)} over the approach strides")
    low, high = strides[0] - 0.6, strides[-1] + 0.6
    order = {k: i for i, k in enumerate(kinds)}

    def x(value: float) -> float:
        return frame.left + (value - low) / (high - low) * (frame.right - frame.left)

    def at(p: SeasonPoint) -> float:
        return x(p.condition.approach_strides or 0) + 7.0 * (order[p.condition.kind] - (len(kinds) - 1) / 2.0)

    _grid(picture, frame)
    for kind in kinds:
        means = _stride_means(measure, [p for p in points if p.condition.kind == kind])
        shift = 7.0 * (order[kind] - (len(kinds) - 1) / 2.0)
        _band(picture, frame, measure, [(x(v) + shift, mean) for v, mean in means], kinds[kind])
    _clips(picture, frame, measure, [(at(p), p) for p in points], kinds)
    _error_bar(picture, frame, measure)
    for value in strides:
        picture.text((x(value), frame.bottom + 16.0), str(value), "tick", anchor="middle")
    picture.text((frame.right, frame.bottom + 32.0), "approach strides", "tick", anchor="end")
    return picture.svg()


def change_bar(change: Change, reach: float, *, width: float = 120.0) -> str:
    """Return a change as a dot against the band within which it could be chance; `reach` is where the scale ends."""
    middle = width / 2.0

    def x(value: float) -> float:
        return middle + max(-1.0, min(1.0, value / reach)) * (middle - 6.0)

    limit = change.difference.half_width
    picture = Drawing(width, 20.0, "change", "")
    picture.box((x(-limit), 3.0), (x(limit) - x(-limit), 14.0), "chance")
    picture.line((middle, 1.0), (middle, 19.0), "zero")
    picture.line(
        (middle, 10.0), (x(change.difference.value), 10.0), "interval clear" if change.beyond else "interval unclear"
    )
    picture.mark((x(change.difference.value), 10.0), "circle", "clear" if change.beyond else "unclear", size=4.4)
    return picture.svg()


def weeks_chart(weeks: Sequence[tuple[str, int]], *, width: float) -> str:
    """Return the take-off contacts filmed in each week as bars."""
    most = max((n for _, n in weeks), default=0) or 1
    left, right, top, bottom = 30.0, width - 6.0, 16.0, 112.0
    picture = Drawing(
        width, 146.0, "weeks", "take-off contacts filmed a week: " + ", ".join(f"{w}: {n}" for w, n in weeks[:60])
    )
    each = (right - left) / max(1, len(weeks))
    for i, (monday, n) in enumerate(weeks):
        height = (bottom - top) * n / most
        picture.box(
            (left + each * i + 0.12 * each, bottom - height), (0.76 * each, height), "contact", title=f"{monday}: {n}"
        )
        if each >= 18.0 and n:
            picture.text((left + each * (i + 0.5), bottom - height - 4.0), str(n), "tick", anchor="middle")
    picture.line((left, bottom), (right, bottom), "runway")
    step = max(1, round(60.0 / each + 0.49))
    for i in range(0, len(weeks), step):
        day = date.fromisoformat(weeks[i][0])
        picture.text((left + each * (i + 0.5), bottom + 16.0), day_text(day), "tick", anchor="middle")
    picture.text((right, bottom + 31.0), "week beginning on", "tick", anchor="end")
    return picture.svg()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    left: float
    right: float
    top: float
    bottom: float
    scale: Scale
    factor: float

    def y(self, value: float) -> float:
        share = (self.factor * value - self.scale.low) / (self.scale.high - self.scale.low)
        return self.bottom - share * (self.bottom - self.top)


def _frame(measure: SeasonMeasure, width: float, bottom: float) -> _Frame:
    factor = words.term(measure.key.name).scale
    values = [factor * p.value.value for p in measure.points]
    error = factor * (measure.typical_error.value if measure.typical_error else 0.0)
    scale = tight_scale([min(values) - error, max(values) + error])
    return _Frame(left=40.0, right=width - 6.0, top=10.0, bottom=bottom, scale=scale, factor=factor)


def _grid(picture: Drawing, frame: _Frame) -> None:
    for tick in frame.scale.ticks:
        y = frame.y(tick / frame.factor)
        picture.line((frame.left, y), (frame.right, y), "grid")
        picture.text((frame.left - 5.0, y + 4.0), frame.scale.text(tick), "tick", anchor="end")


Key = tuple[str, int | None]


def _condition(point: SeasonPoint) -> Key:
    return point.condition.kind, point.condition.approach_strides


def _conditions(points: Iterable[SeasonPoint]) -> dict[Key, list[SeasonPoint]]:
    found: dict[Key, list[SeasonPoint]] = defaultdict(list)
    for point in points:
        found[_condition(point)].append(point)
    return dict(sorted(found.items(), key=lambda item: (item[0][0], item[0][1] or 0)))


def _means(measure: SeasonMeasure, points: Iterable[SeasonPoint]) -> list[tuple[str, float]]:
    """Return the mean of each session; sessions of two versions or lane files are not put together."""
    cells: dict[tuple[object, ...], list[float]] = defaultdict(list)
    for p in points:
        cells[p.date, p.session, _lane(measure, p), p.condition.method, p.condition.mats].append(p.value.value)
    return [(str(key[0]), float(np.mean(values))) for key, values in sorted(cells.items(), key=lambda c: str(c[0]))]


def _lane(measure: SeasonMeasure, point: SeasonPoint) -> str:
    """Return the lane file of a value that depends on it; durations and rates may be put together over lane files."""
    return point.trial.lane if depends_on_lane(measure.key) else ""


def _stride_means(measure: SeasonMeasure, points: Iterable[SeasonPoint]) -> list[tuple[int, float]]:
    """Return the mean for each number of strides where one lane file and version measured all of them."""
    cells: dict[int, list[SeasonPoint]] = defaultdict(list)
    for p in points:
        cells[p.condition.approach_strides or 0].append(p)
    alike = {s: c for s, c in cells.items() if len({(_lane(measure, p), p.condition.method) for p in c}) == 1}
    return [(s, float(np.mean([p.value.value for p in c]))) for s, c in sorted(alike.items())]


def _shifts(measure: SeasonMeasure, kinds: Mapping[str, Kind], width: float) -> dict[Key, float]:
    """Return how far each condition stands beside its date, so that conditions of one day do not cover one another."""
    keys = list(_conditions(measure.points))
    days = len({p.date for p in measure.points})
    room = min(11.0, 0.8 * (width - 80.0) / max(1, days) / max(1, len(keys)))
    ordered = sorted(keys, key=lambda k: (kinds[k[0]].number, k[1] or 0))
    return {key: room * (i - (len(keys) - 1) / 2.0) for i, key in enumerate(ordered)}


def _band(
    picture: Drawing, frame: _Frame, measure: SeasonMeasure, means: Sequence[tuple[float, float]], kind: Kind
) -> None:
    """Draw the line through means with the typical error on both sides; a short band where there is one mean only."""
    if measure.typical_error is None or not means:
        return
    error = measure.typical_error.value
    at = list(means) if len(means) > 1 else [(means[0][0] - 8.0, means[0][1]), (means[0][0] + 8.0, means[0][1])]
    upper = [(px, frame.y(mean + error)) for px, mean in at]
    lower = [(px, frame.y(mean - error)) for px, mean in reversed(at)]
    picture.path(upper + lower, f"error-band k{kind.number}", closed=True)
    picture.path([(px, frame.y(mean)) for px, mean in at], f"trend k{kind.number}")


def _error_bar(picture: Drawing, frame: _Frame, measure: SeasonMeasure) -> None:
    """Draw how large the typical error is, plus and minus, at the right edge."""
    if measure.typical_error is None:
        return
    half = (
        measure.typical_error.value * frame.factor / (frame.scale.high - frame.scale.low) * (frame.bottom - frame.top)
    )
    x, y = frame.right - 4.0, frame.top + half + 2.0
    picture.line((x, y - half), (x, y + half), "error-bar")
    picture.text((x - 6.0, y + 4.0), "± typical error", "small", anchor="end")


def _clips(
    picture: Drawing,
    frame: _Frame,
    measure: SeasonMeasure,
    placed: Sequence[tuple[float, SeasonPoint]],
    kinds: Mapping[str, Kind],
) -> None:
    if len(placed) <= MOST_MARKS:
        for px, p in placed:
            kind = kinds[p.condition.kind]
            title = f"{p.date}, {p.trial.analysis.clip.file}: {words.shown(measure.key.name, p.value).text}"
            picture.mark((px, frame.y(p.value.value)), kind.shape, f"k{kind.number} clip", size=2.8, title=title)
        return
    for name, kind in kinds.items():
        dots = [f"M{px:.1f} {frame.y(p.value.value):.1f}h.01" for px, p in placed if p.condition.kind == name]
        picture.raw(f'<path class="cloud k{kind.number}" d="{"".join(dots)}"/>')


def _numbered(picture: Drawing, at: Point, kind: Kind, strides: int | None) -> None:
    """Draw a session's mean with the approach strides beside it."""
    picture.mark(at, kind.shape, f"k{kind.number} session", size=5.2)
    if strides is not None:
        picture.text((at[0], at[1] - 8.0), str(strides), "strides", anchor="middle")


def _date_axis(picture: Drawing, frame: _Frame, span: tuple[date, date], x: Callable[[date], float]) -> None:
    picture.line((frame.left, frame.bottom), (frame.right, frame.bottom), "axis")
    for day in _ticks(span, 4 if frame.right < 500.0 else 9):
        picture.line((x(day), frame.bottom), (x(day), frame.bottom + 4.0), "axis")
        picture.text((x(day), frame.bottom + 16.0), day_text(day), "tick", anchor="middle")


def _ticks(span: tuple[date, date], most: int) -> list[date]:
    days = (span[1] - span[0]).days
    if days <= 0:
        return [span[0]]
    step = next(s for s in (1, 2, 7, 14, 28, 56, 91, 182, 364, 100_000) if days / s <= most - 1 or s == 100_000)
    return [span[0] + timedelta(days=d) for d in range(0, days + 1, step)]


def day_text(day: date) -> str:
    """Return a day as charts write it: '3 Oct'."""
    return f"{day.day} {_MONTHS[day.month - 1]}"
