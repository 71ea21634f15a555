"""Stills of two groups side by side: one scale, ground lines level, as filmed."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from penult.model.comparison import Group
from penult.model.measured import Measured
from penult.model.still import StillPicture
from penult.outputs.charts.svg import Drawing, escaped

INSTANTS: tuple[tuple[int, str, str], ...] = (
    (-1, "touchdown", "Penultimate contact: touchdown"),
    (-1, "lowest", "Penultimate contact: lowest hip"),
    (0, "touchdown", "Take-off contact: touchdown"),
    (0, "toe_off", "Take-off contact: toe-off"),
)

_MOST_ABOVE_M = 2.4
_BAND_PX = 46.0  # the title across the top of every still, said again beside the pair
_BELOW_M = 0.32
_PX_PER_M = 150.0
_GAP = 8.0

Stills = Mapping[tuple[int, str], StillPicture]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two stills of one instant in one drawing; `note` says what the eye could take for a difference and is none."""

    title: str
    picture: str
    note: str


def by_middle(group: Group) -> list[int]:
    """Return the places of a group's clips, the one with the middle hip drop first: its pictures stand for the group."""
    drops = {}
    for i, trial in enumerate(group.trials):
        drop = trial.analysis.penultimate.get("penultimate_hip_drop_m")
        if isinstance(drop, Measured):
            drops[i] = drop.value
    middle = sorted(drops.values())[(len(drops) - 1) // 2] if drops else 0.0
    return sorted(range(len(group.trials)), key=lambda i: abs(drops.get(i, float("inf")) - middle))


def pairs(first: Stills, second: Stills, names: tuple[str, str]) -> list[Pair]:
    """Return the drawings for the instants that both clips have, or one of them.

    Parameters
    ----------
    first, second : mapping
        Stills of the two clips by contact and instant.
    names : (str, str)
        Of the groups.
    """
    found = []
    for contact, instant, title in INSTANTS:
        stills = (first.get((contact, instant)), second.get((contact, instant)))
        if any(stills):
            found.append(Pair(title=title, picture=_side_by_side(stills, names, title), note=_note(stills)))
    return found


def _side_by_side(stills: Sequence[StillPicture | None], names: Sequence[str], title: str) -> str:
    # the whole of the wider still, so that no label in it is cut
    across_m = max(s.size_px[0] * s.metres_per_px for s in stills if s)
    width = across_m * _PX_PER_M
    above = min([_MOST_ABOVE_M, *((s.ground_y_px - _BAND_PX) * s.metres_per_px for s in stills if s)])
    height = (above + _BELOW_M) * _PX_PER_M
    alt = f"{title}: {names[0]} on the left, {names[1]} on the right, at one scale, ground lines level"
    picture = Drawing(2.0 * width + _GAP, height + 22.0, "pair", alt)
    for i, (still, name) in enumerate(zip(stills, names, strict=True)):
        left = i * (width + _GAP)
        picture.text((left + 2.0, 14.0), name, "label")
        if still is None:
            picture.box((left, 22.0), (width, height), "empty")
            picture.text((left + width / 2.0, 22.0 + height / 2.0), "not in this clip", "tick", anchor="middle")
        else:
            picture.raw(_placed(still, left, across_m, above))
    ground = 22.0 + above * _PX_PER_M
    picture.line((0.0, ground), (2.0 * width + _GAP, ground), "level")
    return picture.svg()


def _placed(still: StillPicture, left: float, across_m: float, above_m: float) -> str:
    """Return the still in the middle of its place, the ground on the common line, at the common scale."""
    m = still.metres_per_px
    wide, high = across_m / m, (above_m + _BELOW_M) / m
    x, y = (still.size_px[0] - wide) / 2.0, still.ground_y_px - above_m / m
    data = base64.b64encode(still.jpeg).decode("ascii")
    return (
        f'<svg class="inner" x="{left:.1f}" y="22" width="{across_m * _PX_PER_M:.1f}"'
        f' height="{(above_m + _BELOW_M) * _PX_PER_M:.1f}"'
        f' viewBox="{x:.2f} {y:.2f} {wide:.2f} {high:.2f}" preserveAspectRatio="none">'
        f'<rect x="{x:.2f}" y="{y:.2f}" width="{wide:.2f}" height="{high:.2f}" class="empty"/>'
        f'<image width="{still.size_px[0]}" height="{still.size_px[1]}" href="data:image/jpeg;base64,{data}"/></svg>'
    )


def _note(stills: Sequence[StillPicture | None]) -> str:
    ways = {s.direction for s in stills if s is not None}
    return escaped("The two were filmed from opposite sides; the pictures are as filmed.") if len(ways) > 1 else ""
