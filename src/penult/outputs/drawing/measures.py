"""What is drawn for a measure, by the name that its row of the catalogue gives (`Entry.drawing`), and how the body is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from penult.outputs.drawing.shapes import TAKEOFF_ANGLE, VALUE, Arc, Arrow, Drawing, Guide, Length, Path, Place

RGB: Mapping[str, tuple[int, int, int]] = MappingProxyType(
    {
        "support": (0xD5, 0x5E, 0x00),  # vermillion: the leg of the contact in question
        "other": (0x56, 0xB4, 0xE9),  # sky blue: the other leg
        "body": (0x77, 0x77, 0x77),  # grey: trunk and arms
        "track": (0x00, 0x9E, 0x73),  # bluish green: the runway's surface
        "mat": (0xE6, 0x9F, 0x00),  # orange
        "hand": (0xCC, 0x79, 0xA7),  # reddish purple: corrected by a person
        "ink": (0x11, 0x11, 0x11),
        "paper": (0xFF, 0xFF, 0xFF),
    }
)
"""Okabe and Ito's set (Color Universal Design, 2008): told apart by colour-blind people."""

ARM = (("shoulder", "elbow"), ("elbow", "wrist"))
LEG = (("hip", "knee"), ("knee", "ankle"), ("ankle", "heel"), ("heel", "toe"), ("ankle", "toe"))
"""Bones of a side, from joint to joint."""
LEG_JOINTS = ("hip", "knee", "ankle", "heel", "toe")

SHOE_M = 0.27
"""Length of a bar that stands for a shoe (common practice, no source: a shoe of an adult's size)."""
BELOW_PX = 44.0
"""Lengths along the runway are drawn so far below it, under its metres."""

_HIP, _MASS = Place(of="mid_hip"), Place(of="mass_centre")


def _along(start: Place, end: Place) -> Length:
    return Length(start=start, end=end, below_px=BELOW_PX)


def _ground(of: str) -> Place:
    return Place(of=of, level="runway")


def _leg(flat_deg: float) -> Drawing:
    """At the ankle, between the line to the hip joint and the horizontal."""
    ankle = Place(of="ankle")
    return (
        Guide(start=ankle, end=Place(of="hip")),
        Guide(start=ankle, end=Place(of="ankle", reach_m=0.5, turn=flat_deg)),
        Arc(about=ankle, radius_m=0.32, start=flat_deg, end="hip", colour="support"),
    )


def _up_to(end: Place, level: str = "runway") -> Drawing:
    """A height, from below."""
    below = Place(of=end.of, level="surface" if level == "surface" else "runway")
    return (Length(start=below, end=end, label=0.45),)


def _ahead(of: str) -> Drawing:
    """How far the toe is ahead, as a bracket below the ground line."""
    end = Place(of=of, level="runway", value=(1.0, 0.0))
    return (Guide(start=Place(of=of), end=_ground(of)), _along(_ground(of), end))


def _drop() -> Drawing:
    """From this picture's own hip, so that the gap drawn is the drop measured."""
    above, below = (
        [Place(of="mid_hip", plus_m=(x, 0.0), value=(0.0, up)) for x in (-0.78, -0.62, 0.05)] for up in (1.0, 0.0)
    )
    return (
        Guide(start=above[0], end=above[2]),
        Guide(start=below[0], end=below[2]),
        Length(start=above[1], end=below[1], label=0.0),
    )


def _shoe() -> Drawing:
    heel = Place(of="toe_mark", level="surface", plus_m=(-SHOE_M, 0.0))
    return (Path(places=(heel, Place(of="toe_mark", level="surface")), colour="support"),)


def _flight() -> Drawing:
    return (Arrow(start=Place(of="flight_start"), end=Place(of="flight_end"), colour="ink"),)


def _mat() -> Drawing:
    """A bracket just ahead of the toe from the runway up to the mat's surface: how far the mat reaches is not known."""
    edges = ((0.06, 0.0), (0.22, 0.0), (0.22, 1.0), (0.06, 1.0))
    corners = [Place(of="toe_mark", level="runway", plus_m=(x, 0.0), value=(0.0, up)) for x, up in edges]
    return (Path(places=tuple(corners), colour="mat", label=2),)


DRAWINGS: Mapping[str, Drawing] = MappingProxyType(
    {
        "knee": (Arc(about=Place(of="knee"), radius_m=0.14, start="hip", end="ankle", colour="support"),),
        "leg-landing": _leg(180.0),
        "leg-leaving": _leg(0.0),
        "trunk": (
            Guide(start=_HIP, end=Place(of="mid_hip", plus_m=(0.0, 0.62))),
            Arc(about=_HIP, radius_m=0.56, start=90.0, end="mid_shoulder", colour="body"),
        ),
        "foot": (
            Guide(start=Place(of="heel"), end=Place(of="heel", reach_m=0.42, turn=VALUE)),
            Guide(start=Place(of="heel"), end=Place(of="heel", plus_m=(0.42, 0.0))),
            Arc(about=Place(of="heel"), radius_m=0.38, start=0.0, end=VALUE, colour="support"),
        ),
        "hip": _up_to(_HIP),
        "hip-above": _up_to(_HIP, "surface"),
        "mass": _up_to(_MASS),
        "drop": _drop(),
        "ahead-hip": _ahead("mid_hip"),
        "ahead-mass": _ahead("mass_centre"),
        "toe": (_along(_ground("toe_mark"), _ground("line")),),
        "board": (_along(_ground("toe_mark"), _ground("line")),),
        "step": (_along(_ground("toe_mark_before"), _ground("toe_mark")),),
        "surface": (
            Length(
                start=Place(of="toe_mark", level="runway", plus_m=(0.12, 0.0)),
                end=Place(of="toe_mark", level="surface", plus_m=(0.12, 0.0)),
            ),
        ),
        "support": _shoe(),
        "instant": _shoe(),
        "step-time": _shoe(),
        "foot-speed": (Arrow(start=Place(of="ankle_before"), end=Place(of="ankle"), colour="support", label=1.0),),
        "flight": _flight(),
        "approach": _flight(),
        "velocity": (
            Guide(start=_MASS, end=Place(of="mass_centre", plus_m=(0.8, 0.0))),
            Arrow(start=_MASS, end=Place(of="mass_centre", reach_m=0.85, turn=TAKEOFF_ANGLE), colour="ink"),
            Arc(about=_MASS, radius_m=0.6, start=0.0, end=TAKEOFF_ANGLE, colour="ink"),
        ),
        "mat": _mat(),
    }
)
"""Name -> shapes. `mat` is no measure: it stands under a foot that lands on one."""
