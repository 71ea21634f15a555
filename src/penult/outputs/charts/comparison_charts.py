"""The drawings of a comparison: values as dots on a common scale, and hip paths over one another.

The first group is drawn in the page's ink, solid; the second in blue, dashed or open: told apart in black and white.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from penult.model.arrays import Bools, Floats
from penult.model.comparison import ComparedMeasure, Comparison, Group, GroupValues
from penult.model.measured import Measured
from penult.model.trial import Trial
from penult.outputs.charts.bars import Scale
from penult.outputs.charts.svg import Drawing, Point, scale_of
from penult.outputs.texts import words
from penult.outputs.texts.verdicts import full_words

Over = Literal["distance", "time"]
SIDES = ("first", "second")
MOST_CURVES = 20
"""Hip paths a group that are drawn; of more clips every so-manieth is taken, and the page says so."""

MOST_SINGLE = 10
"""Clips a group up to which each path is drawn at full strength; of more the mean with its band leads."""

SHOE_M = 0.27
_MAT_BEHIND_M, _MAT_AHEAD_M = 0.45, 0.15
_ROW_PX = 5.0
_MAT_TEXT_PX = 62.0
_MOST_ROWS = 12
_MOST_DOTS = 36


def strip(row: ComparedMeasure, *, width: float = 340.0) -> str:
    """Return both groups' single values as dots with their u95, the means as ticks, on one scale with numbers."""
    factor = words.term(row.key.name).scale
    sides = (row.first, row.second)
    ends = [factor * e for s in sides for _, m in s.values for e in (m.value - m.u95, m.value + m.u95)]
    scale = scale_of(ends or [0.0, 1.0], parts=4 if width > 300.0 else 2)
    left, right = 8.0, width - 8.0
    heights = [max(14.0, _ROW_PX * min(len(s.values), _MOST_ROWS) + 6.0) for s in sides]
    picture = Drawing(width, sum(heights) + 26.0, "strip", f"{full_words(row.key)}: values of both groups on one scale")
    top = 0.0
    for name, side, height in zip(SIDES, sides, heights, strict=True):
        _dots(picture, side, name, scale, (left, right), (top + 2.0, height - 4.0), factor)
        top += height
    _axis(picture, scale, (left, right), top + 2.0)
    return picture.svg()


def difference_bar(row: ComparedMeasure, *, width: float = 150.0) -> str:
    """Return the difference with its 95 % interval against a line at zero; '' where there is none."""
    if row.difference is None:
        return ""
    reach = 1.15 * max(abs(row.difference.low), abs(row.difference.high), 1e-12)
    middle = width / 2.0

    def x(value: float) -> float:
        return middle + value / reach * (middle - 6.0)

    clear = "clear" if row.verdict.kind in ("clearly different", "apart in these runs") else "unclear"
    picture = Drawing(width, 18.0, "difference", "difference with its 95 % interval, the line in the middle is zero")
    picture.line((middle, 0.0), (middle, 18.0), "zero")
    picture.line((x(row.difference.low), 9.0), (x(row.difference.high), 9.0), f"interval {clear}")
    for end in (row.difference.low, row.difference.high):
        picture.line((x(end), 5.0), (x(end), 13.0), f"cap {clear}")
    picture.mark((x(row.difference.value), 9.0), "circle", clear, size=3.6)
    return picture.svg()


def _dots(
    picture: Drawing, side: GroupValues, name: str, scale: Scale, ends: Point, rows: Point, factor: float
) -> None:
    """Draw one group: clips under one another in the order of the group, so that no bar hides another."""
    top, height = rows
    count = max(1, min(len(side.values), _MOST_ROWS))
    if len(side.values) > _MOST_DOTS:
        _ticks(picture, side, name, scale, ends, rows, factor)
    for i, (_, m) in enumerate(side.values if len(side.values) <= _MOST_DOTS else ()):
        y = top + height * ((i % count) + 0.5) / count
        low, at, high = (scale.x(factor * v, *ends) for v in (m.value - m.u95, m.value, m.value + m.u95))
        picture.line((low, y), (high, y), f"whisker {name}")
        shape = "circle" if name == "first" else "diamond"
        picture.mark((at, y), shape, name, size=2.4 if len(side.values) > _MOST_ROWS else 3.0)
    if side.mean is not None and len(side.values) > 1:
        x = scale.x(factor * side.mean, *ends)
        picture.line((x, top - 1.0), (x, top + height + 1.0), f"mean {name}")


def _ticks(
    picture: Drawing, side: GroupValues, name: str, scale: Scale, ends: Point, rows: Point, factor: float
) -> None:
    """Draw the values of many clips as short strokes in one path, and below them how wide their u95 is on average."""
    top, height = rows
    each = (height - 8.0) / _MOST_ROWS
    strokes = [
        f"M{scale.x(factor * m.value, *ends):.1f} {top + each * (i % _MOST_ROWS):.1f}v{each:.1f}"
        for i, (_, m) in enumerate(side.values)
    ]
    picture.raw(f'<path class="strokes {name}" d="{"".join(strokes)}"/>')
    u95 = float(np.sqrt(np.mean([m.u95**2 for _, m in side.values])))
    middle = float(np.median([m.value for _, m in side.values]))
    low, high = (scale.x(factor * v, *ends) for v in (middle - u95, middle + u95))
    picture.line((low, top + height - 3.0), (high, top + height - 3.0), f"whisker {name}")


def _axis(picture: Drawing, scale: Scale, ends: Point, y: float) -> None:
    picture.line((ends[0], y), (ends[1], y), "axis")
    for tick in scale.ticks:
        x = scale.x(tick, *ends)
        picture.line((x, y), (x, y + 4.0), "axis")
        anchor = "start" if x < ends[0] + 8.0 else "end" if x > ends[1] - 8.0 else "middle"
        picture.text((x, y + 16.0), scale.text(tick), "tick", anchor=anchor)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """Where the parts of the hip chart lie, in pixels and in metres or seconds."""

    left: float
    right: float
    x_low: float
    x_high: float
    top: float
    bottom: float
    y_low: float
    y_high: float

    def x(self, value: float) -> float:
        return self.left + (value - self.x_low) / (self.x_high - self.x_low) * (self.right - self.left)

    def y(self, height_m: float) -> float:
        return self.bottom - (height_m - self.y_low) / (self.y_high - self.y_low) * (self.bottom - self.top)

    @property
    def px_per_m(self) -> float:
        return (self.bottom - self.top) / (self.y_high - self.y_low)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Curve:
    """One clip's hip path on the chart's axis, where its contacts begin and end there, and its heights in the run-up."""

    side: str
    at: Floats
    height_m: Floats
    contacts: tuple[tuple[int, float, float], ...]
    run_up_m: Floats


def hip_chart(comparison: Comparison, over: Over, *, width: float = 760.0) -> str:
    """Return the hip paths of all clips laid over one another, with contacts and mats; '' where there are none.

    Parameters
    ----------
    comparison : Comparison
        Its trials bring their hip paths.
    over : {'distance', 'time'}
        Distance to the take-off line, or time to the touchdown of contact 0.
    width : float
        Of the drawing: texts keep their size, so a narrow one suits a phone.
    """
    curves = [c for name, group in groups_of(comparison) for c in _curves(group, name, over)]
    if not curves:
        return ""
    frame = _frame(curves, over, width)
    many = [side for side in SIDES if sum(c.side == side for c in curves) > MOST_SINGLE]
    rows = _contact_rows(curves, many)
    lanes = len(rows)
    mats = max((t for _, g in groups_of(comparison) for _, t in g.trials[0].mats), default=0.0)
    ground_px = mats * frame.px_per_m + 8.0
    runway_y = frame.bottom + 14.0 + ground_px
    height = runway_y + 8.0 + _lane_px(lanes) * lanes + 40.0
    words_over = (
        "distance to the take-off line" if over == "distance" else "time to the touchdown of the take-off contact"
    )
    picture = Drawing(width, height, "hip", f"Hip height of {words.counted(len(curves), 'clip')} over {words_over}.")
    _draw_grid(picture, frame)
    for curve in curves:
        _draw_curve(picture, curve, frame, faint=curve.side in many)
    for side in many:
        _draw_mean(picture, [c for c in curves if c.side == side], frame)
    _draw_ground(picture, comparison, curves, frame, over, runway_y)
    bottom = _draw_contacts(picture, rows, frame, runway_y + 8.0)
    _draw_scale(picture, frame, over, bottom)
    return picture.svg()


def drawn_clips(group: Group) -> list[int]:
    """Return the places of the clips whose hip paths are drawn: all, or evenly picked ones of many."""
    with_path = [i for i, t in enumerate(group.trials) if t.hip_path is not None and len(t.hip_path.time_s) > 1]
    if len(with_path) <= MOST_CURVES:
        return with_path
    return [with_path[i] for i in np.linspace(0, len(with_path) - 1, MOST_CURVES).round().astype(int)]


def groups_of(comparison: Comparison) -> Iterable[tuple[str, Group]]:
    """Return both groups with the class that they are drawn in."""
    return zip(SIDES, (comparison.first, comparison.second), strict=True)


def _curves(group: Group, side: str, over: Over) -> list[_Curve]:
    found = []
    for place in drawn_clips(group):
        trial = group.trials[place]
        path = trial.hip_path
        zero_s = _takeoff_s(trial)
        if path is None or (over == "time" and zero_s is None):
            continue
        at = path.x_m if over == "distance" else path.time_s - (zero_s or 0.0)
        spans = _spans(trial, over, zero_s or 0.0)
        run_up = path.height_m[_in_run_up(trial, path.time_s)]
        found.append(_Curve(side=side, at=at, height_m=path.height_m, contacts=spans, run_up_m=run_up))
    return found


def _takeoff_s(trial: Trial) -> float | None:
    contact = trial.analysis.contact(0)
    return contact.span_s[0] if contact and contact.span_s else None


def _in_run_up(trial: Trial, time_s: Floats) -> Bools:
    """Tell which samples lie between the first drawn touchdown and the take-off: the rise after it would flatten them."""
    spans = [c.span_s for c in trial.analysis.contacts if c.span_s and c.number >= -3]
    if not spans:
        return np.ones(len(time_s), dtype=bool)
    return np.asarray((time_s >= min(spans)[0]) & (time_s <= sum(max(spans)) / 2.0))


def _spans(trial: Trial, over: Over, zero_s: float) -> tuple[tuple[int, float, float], ...]:
    found = []
    for contact in trial.analysis.contacts:
        toe = contact.measures.get("toe_x_m")
        if over == "time" and contact.span_s:
            found.append((contact.number, contact.span_s[0] - zero_s, contact.span_s[1] - zero_s))
        elif over == "distance" and isinstance(toe, Measured):
            found.append((contact.number, toe.value - SHOE_M, toe.value))
    return tuple(sorted(found))


def _frame(curves: Sequence[_Curve], over: Over, width: float) -> _Frame:
    """Choose the stretch from before the fourth-last contact to shortly after the take-off."""
    shown = [(a, b) for c in curves for n, a, b in c.contacts if n >= -3]
    pad = 0.35 if over == "distance" else 0.05
    x_low = min(a for a, _ in shown) - pad if shown else min(float(c.at.min()) for c in curves)
    x_high = max(b for _, b in shown) + 1.6 * pad if shown else max(float(c.at.max()) for c in curves)
    heights = np.concatenate([c.run_up_m for c in curves])
    if not len(heights):
        heights = np.concatenate([c.height_m for c in curves])
    y_low, y_high = float(heights.min()) - 0.01, float(heights.max()) + 0.02
    return _Frame(
        left=44.0, right=width - 8.0, x_low=x_low, x_high=x_high, top=14.0, bottom=14.0 + (230.0 if width > 500.0 else 190.0),
        y_low=y_low, y_high=max(y_high, y_low + 0.1),
    )  # fmt: skip


def _contact_rows(curves: Sequence[_Curve], many: Sequence[str]) -> list[_Curve]:
    """Return one row of contacts a clip; of a group of many one row, each contact at its middle place."""
    rows = [c for c in curves if c.side not in many]
    for side in many:
        group = [c for c in curves if c.side == side]
        spans = []
        for number in sorted({n for c in group for n, _, _ in c.contacts}):
            ends = np.array([(a, b) for c in group for n, a, b in c.contacts if n == number])
            if len(ends) > len(group) / 2.0:
                a, b = np.median(ends, axis=0)
                spans.append((number, float(a), float(b)))
        rows.append(replace(group[0], contacts=tuple(spans)))
    return sorted(rows, key=lambda c: SIDES.index(c.side))


def _draw_mean(picture: Drawing, curves: Sequence[_Curve], frame: _Frame) -> None:
    """Draw the mean path of many clips and the band of one standard deviation about it: two of three runs lie in it."""
    at = np.linspace(frame.x_low, frame.x_high, 160)
    heights = np.array([np.interp(at, c.at, c.height_m, left=np.nan, right=np.nan) for c in curves])
    seen = np.isfinite(heights).sum(axis=0) >= max(3, len(curves) // 2)
    at, heights = at[seen], heights[:, seen]
    if len(at) < 2:
        return
    mean, spread = np.nanmean(heights, axis=0), np.nanstd(heights, axis=0, ddof=1)
    inside = (mean >= frame.y_low) & (mean <= frame.y_high)
    at, mean, spread = at[inside], mean[inside], spread[inside]
    if len(at) < 2:
        return
    up, down = (np.clip(mean + sign * spread, frame.y_low, frame.y_high) for sign in (1.0, -1.0))
    outline = [*zip(at, up, strict=True), *zip(at[::-1], down[::-1], strict=True)]
    points = " ".join(f"{frame.x(float(a)):.1f},{frame.y(float(h)):.1f}" for a, h in outline)
    picture.raw(f'<polygon class="mean-band {curves[0].side}" points="{points}"/>')
    picture.path(
        [(frame.x(float(a)), frame.y(float(h))) for a, h in zip(at, mean, strict=True)], f"curve mean {curves[0].side}"
    )


def _draw_curve(picture: Drawing, curve: _Curve, frame: _Frame, *, faint: bool) -> None:
    """Draw the parts of a hip path that lie inside the frame."""
    inside = (curve.at >= frame.x_low) & (curve.at <= frame.x_high) & (curve.height_m <= frame.y_high)
    inside &= curve.height_m >= frame.y_low
    edges = np.flatnonzero(np.diff(inside.astype(np.int8))) + 1
    for part in np.split(np.arange(len(inside)), edges):
        if len(part) and inside[part[0]]:
            points = zip(curve.at[part], curve.height_m[part], strict=True)
            picture.path(
                [(frame.x(a), frame.y(h)) for a, h in points], f"curve {'faint ' if faint else ''}{curve.side}"
            )


def _draw_grid(picture: Drawing, frame: _Frame) -> None:
    scale = scale_of([100.0 * frame.y_low, 100.0 * frame.y_high], parts=5)
    for tick in scale.ticks:
        if 100.0 * frame.y_low <= tick <= 100.0 * frame.y_high:
            y = frame.y(tick / 100.0)
            picture.line((frame.left, y), (frame.right, y), "grid")
            picture.text((frame.left - 5.0, y + 4.0), scale.text(tick), "tick", anchor="end")
    picture.text((2.0, 10.0), "hip height above the runway, cm", "tick")


def _draw_ground(
    picture: Drawing, comparison: Comparison, curves: Sequence[_Curve], frame: _Frame, over: Over, y: float
) -> None:
    """Draw the runway, the line and the mats, at the hip's own scale of heights."""
    y_cut = frame.bottom + 5.0
    picture.path([(frame.left - 6.0, y_cut + 4.0), (frame.left + 6.0, y_cut - 2.0)], "axis")
    picture.path([(frame.left - 6.0, y_cut + 8.0), (frame.left + 6.0, y_cut + 2.0)], "axis")
    picture.text((frame.left + 12.0, y_cut + 7.0), "axis cut; the ground below has the same scale of heights", "small")
    for number, thickness, side in _mats(comparison):
        spans = [(a, b) for c in curves if c.side == side for n, a, b in c.contacts if n == number]
        if spans:
            a, b = (float(np.median([s[i] for s in spans])) for i in (0, 1))
            if over == "distance":
                a, b = a - _MAT_BEHIND_M, b + _MAT_AHEAD_M
            px = thickness * frame.px_per_m
            a_px, b_px = max(frame.left, frame.x(a)), min(frame.right, frame.x(b))
            picture.box((a_px, y - px), (b_px - a_px, px), f"mat {side}")
            above = b_px - a_px < _MAT_TEXT_PX  # then the words stand over the box
            at = ((a_px + b_px) / 2.0, y - px - 4.0 if above else y - px / 2.0 + 4.0)
            picture.text(at, f"mat {100.0 * thickness:g} cm", "small", anchor="middle")
    picture.line((frame.left, y), (frame.right, y), "runway")
    if frame.x_low < 0.0 < frame.x_high:
        x = frame.x(0.0)
        picture.line((x, frame.top), (x, y), "board-line")
        if over == "distance":
            board = max(frame.left, frame.x(-0.2))
            picture.box((board, y), (x - board, 5.0), "board")


def _mats(comparison: Comparison) -> list[tuple[int, float, str]]:
    return [(n, t, side) for side, g in groups_of(comparison) for n, t in g.trials[0].mats]


def _draw_contacts(picture: Drawing, curves: Sequence[_Curve], frame: _Frame, top: float) -> float:
    """Draw one line of contact bars a clip, and return where they end."""
    step = _lane_px(len(curves))
    for i, curve in enumerate(curves):
        y = top + i * step
        for number, a, b in curve.contacts:
            a_px, b_px = max(frame.left, frame.x(a)), min(frame.right, frame.x(b))
            picture.box((a_px, y), (b_px - a_px, step - 1.5), f"contact {curve.side}", title=f"contact {number}")
    return top + step * len(curves)


def _lane_px(count: int) -> float:
    return 7.0 if count <= 16 else 4.0


def _draw_scale(picture: Drawing, frame: _Frame, over: Over, top: float) -> None:
    scale = scale_of([frame.x_low, frame.x_high], parts=7 if frame.right > 500.0 else 4)
    picture.line((frame.left, top + 4.0), (frame.right, top + 4.0), "axis")
    for tick in scale.ticks:
        if frame.x_low <= tick <= frame.x_high:
            x = frame.x(tick)
            picture.line((x, top + 4.0), (x, top + 8.0), "axis")
            picture.text((x, top + 20.0), scale.text(tick), "tick", anchor="middle")
    name = (
        "distance to the take-off line, m" if over == "distance" else "time to the touchdown of the take-off contact, s"
    )
    picture.text((frame.right, top + 34.0), name, "tick", anchor="end")
