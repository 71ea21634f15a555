"""Three groups of clips and more in one drawing: a row of values each on one scale, and their mean hip paths.

A group has a mark, a line and a colour of its own, so that it can be told without colour.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from penult.core.clips.groups import depends_on_lane
from penult.model.arrays import Floats
from penult.model.comparison import Group
from penult.model.measured import Measured
from penult.model.trial import MeasureKey, measures_of
from penult.outputs.charts.season_charts import SHAPES
from penult.outputs.charts.svg import Drawing, scale_of, tight_scale
from penult.outputs.texts import words
from penult.outputs.texts.verdicts import full_words

_ROW_PX, _AXIS_PX = 22.0, 26.0
_MOST_DOTS = 40
_LINES = 6
MOST_BANDS = 4
"""Groups up to which the spread of each is drawn about its mean path; more bands would cover one another."""


def style_of(place: int) -> tuple[int, str]:
    """Return the number of a group's colour and line, and its mark; beyond six they share the last one."""
    i = min(place, _LINES - 1)
    return i, SHAPES[i]


def values_of(group: Group, key: MeasureKey) -> list[Measured]:
    """Return a group's values of a measure."""
    return [m for t in group.trials if isinstance(m := measures_of(t.analysis).get(key), Measured)]


def rows_chart(groups: Sequence[Group], key: MeasureKey, *, width: float) -> str:
    """Return one row a group: its clips as marks, its mean as a stroke, on one scale; '' where nothing was measured."""
    factor = words.term(key.name, key.part).scale
    values = [[factor * m.value for m in values_of(g, key)] for g in groups]
    flat = [v for row in values for v in row]
    if not flat:
        return ""
    scale = tight_scale(flat, parts=4 if width > 500.0 else 3)
    names = 130.0 if width > 500.0 else 118.0
    left, right = names, width - 12.0
    height = _ROW_PX * len(groups) + _AXIS_PX
    picture = Drawing(width, height, "rows", f"{full_words(key)}: a row a group, a mark a clip, the stroke is the mean")
    for i, (group, row) in enumerate(zip(groups, values, strict=True)):
        y = _ROW_PX * (i + 0.5)
        picture.line((left, y), (right, y), "grid")
        picture.text((0.0, y + 4.0), _short(group.name, names), "small")
        number, shape = style_of(i)
        for v in row[:_MOST_DOTS]:
            picture.mark((scale.x(v, left, right), y), shape, f"k{number} clip", size=3.2)
        if len(row) > 1 and _may_average(group, key):
            x = scale.x(float(np.mean(row)), left, right)
            picture.line((x, y - 9.0), (x, y + 9.0), f"trend k{number} middle")
        if not row:
            picture.text((left + 4.0, y + 4.0), "not measured", "tick")
    bottom = _ROW_PX * len(groups) + 2.0
    picture.line((left, bottom), (right, bottom), "axis")
    for tick in scale_of([scale.low, scale.high], parts=4 if width > 500.0 else 3).ticks:
        if scale.low <= tick <= scale.high:
            x = scale.x(tick, left, right)
            picture.line((x, bottom), (x, bottom + 4.0), "axis")
            picture.text((x, bottom + 16.0), scale.text(tick), "tick", anchor="middle")
    return picture.svg()


def _may_average(group: Group, key: MeasureKey) -> bool:
    """Lengths, heights and angles of different lane files are never averaged."""
    return not depends_on_lane(key) or len({t.lane for t in group.trials}) == 1


def paths_chart(groups: Sequence[Group], *, width: float) -> str:
    """Return the mean hip path of each group over the distance to the take-off line; '' where there are no paths."""
    found = [(i, path) for i, g in enumerate(groups) if (path := mean_path(g)) is not None]
    if not found:
        return ""
    x_low, x_high = min(p[0][0] for _, p in found), max(p[0][-1] for _, p in found)
    heights = np.concatenate([p[1] for _, p in found])
    y_low, y_high = float(heights.min()) - 0.02, float(heights.max()) + 0.02
    left, right, top, bottom = 40.0, width - 8.0, 16.0, 230.0

    def at(x: float, h: float) -> tuple[float, float]:
        across = left + (x - x_low) / (x_high - x_low) * (right - left)
        return across, bottom - (h - y_low) / (y_high - y_low) * (bottom - top)

    picture = Drawing(
        width, bottom + 36.0, "hip", f"Mean hip height of {len(found)} groups over the distance to the line."
    )
    for tick in scale_of([100.0 * y_low, 100.0 * y_high], parts=5).ticks:
        if 100.0 * y_low <= tick <= 100.0 * y_high:
            y = at(x_low, tick / 100.0)[1]
            picture.line((left, y), (right, y), "grid")
            picture.text((left - 5.0, y + 4.0), f"{tick:g}", "tick", anchor="end")
    picture.text((2.0, 10.0), "hip height above the runway, cm", "tick")
    for i, (x, mean, spread) in found:
        number, _ = style_of(i)
        if len(found) <= MOST_BANDS and np.any(spread > 0.0):
            outline = [*zip(x, mean + spread, strict=True), *zip(x[::-1], (mean - spread)[::-1], strict=True)]
            points = " ".join(f"{a:.1f},{b:.1f}" for a, b in (at(float(u), float(v)) for u, v in outline))
            picture.raw(f'<polygon class="error-band k{number}" points="{points}"/>')
        picture.path([at(float(u), float(v)) for u, v in zip(x, mean, strict=True)], f"trend k{number} path")
    for metre in range(int(np.ceil(x_low)), int(np.floor(x_high)) + 1, 1 if width > 500.0 else 2):
        picture.text(
            (at(metre, y_low)[0], bottom + 16.0), f"{metre}".replace("-", words.MINUS), "tick", anchor="middle"
        )
    picture.text((right, bottom + 32.0), "distance to the take-off line, m", "tick", anchor="end")
    return picture.svg()


def mean_path(group: Group) -> tuple[Floats, Floats, Floats] | None:
    """Return places, mean heights and their SD over a group's clips, where at least half of them have a path."""
    paths = [
        (t.hip_path.x_m, t.hip_path.height_m)
        for t in group.trials
        if t.hip_path is not None and len(t.hip_path.x_m) > 1
    ]
    if not paths:
        return None
    low = float(np.median([x.min() for x, _ in paths]))
    high = min(0.0, float(np.median([x.max() for x, _ in paths])))
    at = np.linspace(low, high, 140)
    heights = np.array([np.interp(at, x, h, left=np.nan, right=np.nan) for x, h in paths])
    seen = np.isfinite(heights).sum(axis=0) >= max(1, (len(paths) + 1) // 2)
    if seen.sum() < 2:
        return None
    at, heights = at[seen], heights[:, seen]
    spread = np.nanstd(heights, axis=0, ddof=1) if len(paths) > 2 else np.zeros(len(at))
    return at, np.nanmean(heights, axis=0), np.nan_to_num(spread)


def _short(name: str, room_px: float) -> str:
    most = int(room_px / 6.2)
    return name if len(name) <= most else f"{name[: most - 1]}…"
