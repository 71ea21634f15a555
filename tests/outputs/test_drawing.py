"""Shapes against closed forms: plane geometry of known triangles, angles and lengths worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from penult.model import catalogue
from penult.model.arrays import Floats
from penult.outputs.drawing.measures import BELOW_PX, DRAWINGS
from penult.outputs.drawing.shapes import VALUE, Arc, Guide, Known, Length, Place, as_data, points_m, where_m

PLACES = {
    "hip": (-0.3, 0.9, 0.1),
    "knee": (0.0, 0.5, 0.1),
    "ankle": (0.0, 0.1, 0.1),
    "heel": (-0.05, 0.02, 0.1),
    "toe": (0.2, 0.0, 0.1),
    "mid_hip": (-0.3, 0.92, 0.0),
    "mid_shoulder": (-0.3 + 0.5, 0.92 + 0.5, 0.0),
    "mass_centre": (-0.2, 1.0, 0.0),
    "toe_mark": (0.2, 0.0, 0.0),
    "toe_mark_before": (-2.0, 0.0, 0.0),
    "line": (0.0, 0.0, 0.0),
    "ankle_before": (-0.1, 0.2, 0.1),
    "flight_start": (-1.5, 1.0, 0.0),
    "flight_end": (-0.4, 1.05, 0.0),
}


def known(value: float = 0.2, **changed: tuple[float, float, float] | None) -> Known:
    """A body whose shank is upright, whose thigh leans back by 36.87 degrees (3-4-5) and whose trunk leans forward by 45."""
    places = {**PLACES, **changed}

    def place_m(name: str) -> Floats | None:
        place = places[name]
        return None if place is None else np.array(place)

    return Known(place_m=place_m, values={VALUE: value, "takeoff_angle": 20.0}, surface_m=0.05)


def turn_deg(line: Floats, about: tuple[float, float, float]) -> Floats:
    """Directions of points as seen from a place."""
    return np.degrees(np.unwrap(np.arctan2(line[:, 1] - about[1], line[:, 0] - about[0])))


def test_every_drawing_of_the_catalogue_is_described_and_every_description_is_used() -> None:
    """One list: what a row names is there, and nothing else but the mat."""
    named = {entry.drawing for entry in catalogue.ROWS.values() if entry.drawing}
    assert named == set(DRAWINGS) - {"mat"}


def test_the_arc_of_a_knee_goes_the_shorter_way_and_sweeps_its_angle() -> None:
    """Shank straight down, thigh up and back: 180 - 36.87 degrees between them."""
    (arc,) = DRAWINGS["knee"]
    line = points_m(arc, known())
    assert line is not None
    turn = turn_deg(line, PLACES["knee"])
    assert abs(turn[-1] - turn[0]) == pytest.approx(180.0 - np.degrees(np.arctan2(3.0, 4.0)))
    assert np.hypot(*(line[:, :2] - PLACES["knee"][:2]).T) == pytest.approx(0.14)
    assert line[:, 2] == pytest.approx(0.1)  # in the leg's own plane


@pytest.mark.parametrize(("kind", "flat"), [("leg-landing", 180.0), ("leg-leaving", 0.0)])
def test_a_leg_is_drawn_from_the_side_on_which_its_angle_counts(kind: str, flat: float) -> None:
    """Hip 0.3 behind and 0.8 above the ankle: 69.4 degrees from backward, 110.6 from forward."""
    line = points_m(DRAWINGS[kind][-1], known())
    assert line is not None
    turn = turn_deg(line, PLACES["ankle"])
    expected = abs(flat - (180.0 - np.degrees(np.arctan2(0.8, 0.3))))
    assert abs(turn[-1] - turn[0]) == pytest.approx(expected)


def test_a_trunk_is_drawn_from_the_vertical() -> None:
    """Half a metre forward for half a metre up: 45 degrees."""
    line = points_m(DRAWINGS["trunk"][-1], known())
    assert line is not None
    turn = turn_deg(line, PLACES["mid_hip"])
    assert (turn[0], turn[-1]) == pytest.approx((90.0, 45.0))


def test_the_gap_of_a_drop_is_the_drop() -> None:
    """5.4 cm, from the hip of the picture upwards."""
    line = points_m(DRAWINGS["drop"][-1], known(0.054))
    assert line is not None
    assert line[0, 1] - line[1, 1] == pytest.approx(0.054)
    assert line[1, 1] == PLACES["mid_hip"][1]


def test_lengths_along_the_runway_lie_on_it() -> None:
    """From toe to toe, and from toe to line, at height 0."""
    for kind, ends in (("step", (-2.0, 0.2)), ("toe", (0.2, 0.0)), ("ahead-hip", (-0.3, -0.3 + 0.2))):
        shape = DRAWINGS[kind][-1]
        line = points_m(shape, known(0.2))
        assert isinstance(shape, Length)
        assert shape.below_px == BELOW_PX
        assert line is not None
        assert line[:, 0] == pytest.approx(ends)
        assert line[:, 1:] == pytest.approx(0.0)


def test_a_height_above_the_support_begins_on_the_mat() -> None:
    """The mat is 5 cm thick."""
    low, high = (points_m(DRAWINGS[kind][0], known()) for kind in ("hip", "hip-above"))
    assert low is not None and high is not None  # noqa: PT018
    assert (low[0, 1], high[0, 1]) == (0.0, 0.05)


def test_a_velocity_points_up_by_the_take_off_angle() -> None:
    """20 degrees, 0.85 m long; whatever the measure's own value is."""
    line = points_m(DRAWINGS["velocity"][1], known(8.3))
    assert line is not None
    along = (line[1] - line[0])[:2]
    assert np.hypot(*along) == pytest.approx(0.85)
    assert np.degrees(np.arctan2(along[1], along[0])) == pytest.approx(20.0)


def test_what_is_not_seen_is_not_drawn() -> None:
    """A joint that is missing, or a value that nobody has."""
    assert points_m(Guide(start=Place(of="hip"), end=Place(of="knee")), known(hip=None)) is None
    nothing = Known(place_m=known().place_m, values={})
    assert where_m(Place(of="hip", value=(0.0, 1.0)), nothing) is None
    assert points_m(Arc(about=Place(of="hip"), radius_m=1.0, start=0.0, end=VALUE, colour="ink"), nothing) is None


def test_plain_data_name_each_shape() -> None:
    """What the pages get."""
    assert [shape["shape"] for shape in as_data(DRAWINGS["velocity"])] == ["guide", "arrow", "arc"]
