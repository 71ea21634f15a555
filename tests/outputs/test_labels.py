"""Labels lie in free space: never over a foot, knee or hip, never over one another."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from penult.outputs.pictures.labels import Label, leader_start, place

AREA = (6.0, 50.0, 894.0, 810.0)
CLEAR_PX = 22.0
POINT = st.tuples(st.floats(250.0, 650.0), st.floats(300.0, 700.0))


def label(anchor: tuple[float, float], width: int) -> Label:
    return Label(words="leg", figures="63 ± 1°", anchor_px=np.array(anchor), colour=(0, 0, 0), size_px=(width, 34))


@given(body=st.lists(POINT, min_size=10, max_size=10), anchors=st.lists(POINT, min_size=1, max_size=5))
@settings(max_examples=40, deadline=None)
def test_no_label_covers_a_joint_or_another_label_or_leaves_the_picture(
    body: list[tuple[float, float]], anchors: list[tuple[float, float]]
) -> None:
    """The rule of the look, for bodies in any posture and up to five labels."""
    joints = np.array(body)
    boxes = place(
        [label(anchor, 200 + 20 * i) for i, anchor in enumerate(anchors)],
        AREA,
        keep_clear_px=joints,
        clear_radius_px=CLEAR_PX,
        avoid_px=np.empty((0, 2)),
    )

    for i, (x0, y0, x1, y1) in enumerate(boxes):
        assert AREA[0] <= x0 < x1 <= AREA[2]
        assert AREA[1] <= y0 < y1 <= AREA[3]
        assert not ((joints > (x0, y0)) & (joints < (x1, y1))).all(axis=1).any()
        for other in boxes[:i]:
            assert x1 < other[0] or x0 > other[2] or y1 < other[1] or y0 > other[3]


def test_a_lone_label_lies_close_to_what_it_names() -> None:
    anchor = (450.0, 400.0)

    box = place(
        [label(anchor, 200)], AREA, keep_clear_px=np.empty((0, 2)), clear_radius_px=CLEAR_PX, avoid_px=np.empty((0, 2))
    )[0]

    assert np.hypot(*(leader_start(box, np.array(anchor)) - anchor)) < 60.0


def test_joints_that_were_not_seen_are_no_obstacle() -> None:
    unseen = np.full((4, 2), np.nan)

    assert (
        len(place([label((450.0, 400.0), 200)], AREA, keep_clear_px=unseen, clear_radius_px=CLEAR_PX, avoid_px=unseen))
        == 1
    )


def test_a_label_goes_round_what_is_better_left_free() -> None:
    """A lone label beside a limb of many points: covering none of them costs nothing, so none is covered."""
    limb = np.stack([np.full(40, 450.0), np.linspace(300.0, 560.0, 40)], axis=1)
    radius = 10.0

    x0, y0, x1, y1 = place(
        [label((450.0, 400.0), 200)],
        AREA,
        keep_clear_px=np.empty((0, 2)),
        clear_radius_px=CLEAR_PX,
        avoid_px=limb,
        avoid_radius_px=radius,
    )[0]

    covered = (limb > (x0 - radius, y0 - radius)) & (limb < (x1 + radius, y1 + radius))
    assert not covered.all(axis=1).any()
