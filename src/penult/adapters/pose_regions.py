"""From the raw numbers of the pose networks to people and landmarks (numpy alone).

Two networks make up the pose model. One says of 2,254 places of a square whether a person's middle is near, and how the
person stands; the other reads the landmarks of one person in an upright square about the body. What lies between is defined by
how the networks were trained, as their makers publish it: places and strides, regions a quarter larger than the body, landmarks
drawn towards the centre of gravity of their heat map. The numbers below are theirs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from penult.model.arrays import Floats

Floats32 = NDArray[np.float32]

FINDER_PX = 224
"""Side of the picture in which people are looked for."""

READER_PX = 256
"""Side of the picture in which landmarks are read."""

LANDMARKS = 33
"""Landmarks of the published topology; the network adds six that are not used here."""

_ROOM = 1.25
"""A region's side over the diameter of the circle about the hips that holds the body."""

_SAME_PERSON = 0.3
"""Boxes that overlap by more (intersection over union) are one person, seen from several places."""

_SURE = 0.5
"""Least score of a person, of a body in a region, and of a heat map that may move its landmark."""

_REACH = 3
"""Cells of the heat map looked at to either side of a landmark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """A square about a person: centre (the hips), side in pixels, and turn of the body, clockwise, in radians."""

    centre_px: tuple[float, float]
    side_px: float
    turn_rad: float


def regions_of(raw: Floats32, logit: Floats32, side_px: float) -> list[Region]:
    """Return a region for every person found in a square picture, the surest first.

    Parameters
    ----------
    raw : (2254, 12) float32
        Of every place: middle, width and height of a box, then four points, in pixels of the finder's picture, from the place.
    logit : (2254,) float32
        How sure a person is there.
    side_px : float
        Of the square picture, whose pixels the regions are in.
    """
    sure = np.flatnonzero(logit >= 0.0)  # a score of one half
    score = 1.0 / (1.0 + np.exp(-np.minimum(logit[sure].astype(np.float64), 100.0)))
    numbers = raw[sure].astype(np.float64) / FINDER_PX
    place = _places()[sure]
    middle, half = numbers[:, :2] + place, numbers[:, 2:4] / 2.0
    boxes = np.concatenate([middle - half, middle + half], axis=1)
    hips, rim = numbers[:, 4:6] + place, numbers[:, 6:8] + place
    out = []
    for rows in _people(boxes, score):
        weight = score[rows] / score[rows].sum()
        out.append(_region(side_px * (weight @ hips[rows]), side_px * (weight @ rim[rows])))
    return out


@cache
def _places() -> Floats:
    """Middles (2254, 2) of the cells from which people are looked for, as shares of the picture: of 8, 16 and 32 pixels."""
    out = []
    for pixels, times in ((8, 2), (16, 2), (32, 6)):
        cells = FINDER_PX // pixels
        rows, columns = np.mgrid[:cells, :cells]
        middles = (np.stack([columns, rows], axis=-1).reshape(-1, 2) + 0.5) / cells
        out.append(np.repeat(middles, times, axis=0))
    return np.concatenate(out)


def _people(boxes: Floats, score: Floats) -> list[Floats]:
    """Return the rows that are about one person, for every person, the surest first."""
    left, out = np.argsort(-score, kind="stable"), []
    while len(left):
        first, rest = boxes[left[0]], boxes[left]
        sides = np.minimum(rest[:, 2:], first[2:]) - np.maximum(rest[:, :2], first[:2])
        common = np.prod(np.maximum(sides, 0.0), axis=1)
        whole = np.prod(rest[:, 2:] - rest[:, :2], axis=1)
        same = common > _SAME_PERSON * (whole + whole[0] - common)
        if not same[0]:  # a box without an area
            left = left[1:]
            continue
        out.append(left[same])
        left = left[~same]
    return out


def _region(hips: Floats, rim: Floats) -> Region:
    """Return the region about the hips of a body whose circle passes through `rim`, straight above them in an upright body."""
    x, y = (rim - hips).tolist()
    turn = np.pi / 2.0 - np.arctan2(-y, x)
    return Region(
        centre_px=(float(hips[0]), float(hips[1])),
        side_px=2.0 * _ROOM * float(np.hypot(x, y)),
        turn_rad=float((turn + np.pi) % (2.0 * np.pi) - np.pi),
    )


def is_body(score: float) -> bool:
    """Whether the reader saw a body in its region."""
    return score > _SURE


def landmarks_of(raw: Floats32, heat: Floats32, region: Region, wanted: tuple[int, ...]) -> Floats:
    """Return landmarks (33, 3) of a region: x, y in the square picture's pixels, and visibility.

    Parameters
    ----------
    raw : (195,) float32
        Of 39 landmarks x and y in the reader's pixels, depth, visibility and presence.
    heat : (h, w, 39) float32
        Where each landmark may be, as logits.
    wanted : tuple of int
        Landmarks whose heat map is looked at; the others are left where they are.
    """
    numbers = raw.astype(np.float64).reshape(-1, 5)[:LANDMARKS]
    share = numbers[:, :2] / READER_PX
    for number in wanted:
        share[number] = _drawn(share[number], heat[:, :, number])
    x, y = region.side_px * (share - 0.5).T
    cos, sin = np.cos(region.turn_rad), np.sin(region.turn_rad)
    place = np.stack([cos * x - sin * y, sin * x + cos * y], axis=-1) + np.array(region.centre_px)
    return np.concatenate([place, 1.0 / (1.0 + np.exp(-numbers[:, 3:4]))], axis=1)


def _drawn(share: Floats, heat: Floats32) -> Floats:
    """Return a place (2,) drawn to the centre of gravity of the heat about it, where that is hot enough."""
    height, width = heat.shape
    column, row = int(share[0] * width), int(share[1] * height)
    if not (0 <= column < width and 0 <= row < height):
        return share
    rows = np.arange(max(row - _REACH, 0), min(row + _REACH + 1, height))
    columns = np.arange(max(column - _REACH, 0), min(column + _REACH + 1, width))
    hot = 1.0 / (1.0 + np.exp(-heat[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1].astype(np.float64)))
    if hot.max() < _SURE:
        return share
    centre: Floats = np.array([(hot @ columns).sum() / width, (rows @ hot).sum() / height]) / hot.sum()
    return centre
