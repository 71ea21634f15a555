"""Which frames show which instant."""

from __future__ import annotations

from typing import Any

from penult.outputs.pictures.moments import instant_s, leg_in_question, moments, support_at


def test_three_instants_of_the_last_three_contacts_in_the_order_of_the_run(scene: Any) -> None:
    found = moments(scene.analysis, scene.motion)

    assert [(m.contact.number, m.instant) for m in found] == [
        (number, instant) for number in (-2, -1, 0) for instant in ("touchdown", "lowest", "toe_off")
    ]
    assert [m.time_s for m in found] == sorted(m.time_s for m in found)


def test_the_frame_is_the_one_nearest_to_the_instant(scene: Any) -> None:
    """At 120 frames a second no instant is further than 1/240 s from a frame."""
    for moment in moments(scene.analysis, scene.motion):
        wanted = instant_s(moment.contact, moment.instant)
        assert wanted is not None
        assert abs(moment.time_s - wanted) <= 0.5 / 120.0 + 1e-9
        assert moment.frame == scene.motion.pixels.frame[moment.row]


def test_pictures_are_found_though_a_doubted_clock_gives_no_times(doubted: Any) -> None:
    assert len(moments(doubted.analysis, doubted.motion)) == 9


def test_the_leg_in_question_bears_or_comes_next(scene: Any) -> None:
    contact = scene.analysis.contact(-1)
    start_s, end_s = contact.span_s

    assert support_at(scene.analysis, (start_s + end_s) / 2.0) is contact
    assert support_at(scene.analysis, start_s - 0.02) is None
    assert leg_in_question(scene.analysis, start_s - 0.02) is contact
    assert leg_in_question(scene.analysis, 99.0).number == 0
