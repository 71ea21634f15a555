"""Find free space for labels on a picture: never over a foot, knee or hip, near what they name, leaders uncrossed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from penult.model.arrays import Floats
from penult.outputs.pictures.ink import Colour

Box = tuple[float, float, float, float]
"""x0, y0, x1, y1 in pixels, y down."""

_STEP_PX = 12.0
_BLOCKED = 1e6
_IN_THE_WAY = 120.0
_AT_ONCE = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A text that belongs to a point of the picture.

    Parameters
    ----------
    words, figures : str
        What it is, and its number with its interval.
    anchor_px : (2,) float64
        Where the leader ends.
    colour : RGB
        Of the leader and the edge.
    size_px : (int, int)
        Width and height of the plate.
    """

    words: str
    figures: str
    anchor_px: Floats
    colour: Colour
    size_px: tuple[int, int]


def place(
    labels: Sequence[Label],
    area: Box,
    *,
    keep_clear_px: Floats,
    clear_radius_px: float,
    avoid_px: Floats,
    avoid_radius_px: float = 10.0,
    fence_px: Floats | None = None,
    taken: Sequence[Box] = (),
) -> list[Box]:
    """Return a box for every label, placed one after the other where it costs least.

    Parameters
    ----------
    labels : sequence of Label
        In the order of their importance.
    area : Box
        Where labels may lie.
    keep_clear_px : (n, 2) float64
        Points that nothing may cover (feet, knees, hips), with `clear_radius_px` around them.
    avoid_px : (m, 2) float64
        Points better left free, with `avoid_radius_px` around them: limbs, arcs, the hip path.
    fence_px : (p, 2) float64, optional
        Points that a leader should not pass on its way: the leg that is measured.
    taken : sequence of Box
        Boxes already in use.
    """
    clear = keep_clear_px[np.isfinite(keep_clear_px).all(axis=1)]
    avoid = avoid_px[np.isfinite(avoid_px).all(axis=1)]
    fence = np.empty((0, 2)) if fence_px is None else fence_px[np.isfinite(fence_px).all(axis=1)]
    boxes: list[Box] = []
    leaders: list[Floats] = []
    for label in labels:
        columns, rows = _grid(label, area)
        candidates = _candidates(label, columns, rows)
        cost = _distance_cost(candidates, label.anchor_px)
        for dear, points, radius in ((_BLOCKED, clear, clear_radius_px), (_IN_THE_WAY, avoid, avoid_radius_px)):
            across, down = (
                _within(starts, size, points[:, i], radius)
                for i, (starts, size) in enumerate(zip((columns, rows), label.size_px, strict=True))
            )
            cost += dear * (down @ across.T).ravel()
        for other in (*taken, *boxes):
            cost += _BLOCKED * _overlaps(candidates, other)

        def leader(some: Floats, anchor_px: Floats = label.anchor_px) -> Floats:
            passed = 400.0 * _passes(some, anchor_px, clear) + 150.0 * _passes(some, anchor_px, fence)
            return passed + _leader_cost(some, anchor_px, leaders, (*taken, *boxes))

        best = _cheapest(candidates, cost, leader)
        boxes.append((float(best[0]), float(best[1]), float(best[2]), float(best[3])))
        leaders.append(np.stack([leader_start(boxes[-1], label.anchor_px), label.anchor_px]))
    return boxes


def _cheapest(boxes: Floats, cost: Floats, more: Callable[[Floats], Floats]) -> Floats:
    """Return the box that costs least together with what more, never less than nothing, it costs; the first of equals.

    The dear part is worked out for the boxes that may still win: those that are cheap without it.
    """
    order = np.argsort(cost, kind="stable")
    least, best = np.inf, 0
    for start in range(0, len(order), _AT_ONCE):
        some = order[start : start + _AT_ONCE]
        if cost[some[0]] > least:
            break
        whole = cost[some] + more(boxes[some])
        at = int(np.lexsort((some, whole))[0])
        if (whole[at], some[at]) < (least, best):
            least, best = float(whole[at]), int(some[at])
    return np.asarray(boxes[best])


def leader_start(box: Box, anchor_px: Floats) -> Floats:
    """Return the point of a box's edge that is nearest to an anchor."""
    return np.array([np.clip(anchor_px[0], box[0], box[2]), np.clip(anchor_px[1], box[1], box[3])])


def _grid(label: Label, area: Box) -> tuple[Floats, Floats]:
    """Columns (n,) and rows (m,) at which a label may begin."""
    width, height = label.size_px
    x = np.arange(area[0], max(area[0] + 1.0, area[2] - width), _STEP_PX)
    y = np.arange(area[1], max(area[1] + 1.0, area[3] - height), _STEP_PX)
    return x, y


def _candidates(label: Label, columns: Floats, rows: Floats) -> Floats:
    """Boxes (m * n, 4), row by row."""
    width, height = label.size_px
    left, top = (g.ravel() for g in np.meshgrid(columns, rows))
    return np.stack([left, top, left + width, top + height], axis=1)


def _starts(boxes: Floats, anchor: Floats) -> Floats:
    return np.stack(
        [np.clip(anchor[0], boxes[:, 0], boxes[:, 2]), np.clip(anchor[1], boxes[:, 1], boxes[:, 3])], axis=1
    )


def _distance_cost(boxes: Floats, anchor: Floats) -> Floats:
    """A leader wants to be short, but long enough to be seen as one."""
    gap = np.hypot(*(_starts(boxes, anchor) - anchor).T)
    return np.asarray(gap + 4.0 * np.maximum(0.0, 26.0 - gap))


def _within(starts: Floats, size: float, points: Floats, radius: float) -> Floats:
    """Return 1 where a stretch (n,) of this size, widened by a radius, covers a point (p,) along the same axis, else 0: (n, p)."""
    inside = (points > starts[:, None] - radius) & (points < starts[:, None] + size + radius)
    return inside.astype(np.float64)


def _overlaps(boxes: Floats, other: Box, margin: float = 6.0) -> Floats:
    apart = (
        (boxes[:, 0] > other[2] + margin)
        | (boxes[:, 2] < other[0] - margin)
        | (boxes[:, 1] > other[3] + margin)
        | (boxes[:, 3] < other[1] - margin)
    )
    return np.asarray(~apart, dtype=np.float64)


def _samples(boxes: Floats, anchor: Floats) -> Floats:
    """Return points along each box's leader, (boxes, 24, 2)."""
    starts = _starts(boxes, anchor)
    return np.asarray(starts[:, None] + np.linspace(0.0, 1.0, 24)[None, :, None] * (anchor - starts)[:, None])


def _passes(boxes: Floats, anchor: Floats, points: Floats) -> Floats:
    """Return how many of the points each leader passes closely, other than those right beside its own end."""
    samples = _samples(boxes, anchor)
    passed = np.zeros(len(boxes))
    for point in points:
        if np.hypot(*(point - anchor)) > 16.0:
            passed += (np.hypot(*np.moveaxis(samples - point, -1, 0)) < 12.0).any(axis=1)
    return passed


def _leader_cost(boxes: Floats, anchor: Floats, leaders: list[Floats], used: Sequence[Box]) -> Floats:
    """A leader should cross no other leader and no label."""
    starts, samples = _starts(boxes, anchor), _samples(boxes, anchor)
    cost = np.zeros(len(boxes))
    for other in used:
        x, y = samples[..., 0], samples[..., 1]
        cost += 2000.0 * ((x > other[0]) & (x < other[2]) & (y > other[1]) & (y < other[3])).any(axis=1)
    for other_leader in leaders:
        cost += 800.0 * _crosses(starts, anchor, other_leader)
    return cost


def _crosses(starts: Floats, anchor: Floats, other: Floats) -> Floats:
    """Tell for every start whether the line to the anchor crosses another leader."""

    def turn(a: Floats, b: Floats, c: Floats) -> Floats:
        return np.asarray(
            (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
        )

    first, second = other
    between = turn(starts, anchor, first) * turn(starts, anchor, second) < 0
    beyond = turn(first, second, starts) * turn(first, second, anchor) < 0
    return np.asarray(between & beyond, dtype=np.float64)
