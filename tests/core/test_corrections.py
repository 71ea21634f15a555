"""Corrections by hand in the measuring chain, on synthetic runs whose truth is known."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.core.corrections.apply import applicable, clip_with
from penult.core.corrections.apply_joints import REACH_S, HandTrack
from penult.core.corrections.history import added, clashing, redone, undone
from penult.core.corrections.outcome import outcome_of, outcome_with
from penult.core.lane.fit import fit_lane
from penult.core.pipeline import Outcome
from penult.core.synthetic.film import Faults, ShoeSpread, clip_of, film, frame_times_s, lane_file, shoes
from penult.core.synthetic.run import Runner
from penult.core.trunk import flight_drift
from penult.core.uncertainty import draws
from penult.model.analysis import Analysis, Mat
from penult.model.calibration import Camera
from penult.model.corrections import (
    AthletePicked,
    CaptureRateSet,
    ContactAdded,
    ContactDeleted,
    ContactRelabelled,
    Correction,
    Corrections,
    FootChanged,
    Instant,
    InstantConfirmed,
    InstantMoved,
    JointDragged,
    KindSet,
    LegsSwapped,
    MatsSet,
)
from penult.model.lane_profile import LaneProfile
from penult.model.measured import Measured
from penult.model.settings import Settings
from penult.model.sighting import Sighting
from penult.model.skeleton import INDEX, JOINTS, joint
from penult.model.track import PixelTrack
from penult.outputs.folder.result import analysis_to_json

RATE_HZ = 240.0
FRAME_S = 1.0 / RATE_HZ


@pytest.fixture(scope="module", autouse=True)
def fewer_draws() -> Iterator[None]:
    """80 draws instead of 250 give an SD within 8 % and take a third of the time."""
    with pytest.MonkeyPatch.context() as patch:
        for module in (draws, flight_drift):
            patch.setattr(module, "COUNT", 80)
        yield


@pytest.fixture(scope="module")
def sighting(runner: Runner, camera: Camera) -> Sighting:
    """Return a film of the full approach with ordinary noise."""
    rng = np.random.default_rng(6)
    time_s = frame_times_s(runner, RATE_HZ) - frame_times_s(runner, RATE_HZ)[0]
    track = film(runner, camera, frame_times_s(runner, RATE_HZ), Faults(noise_px=1.0), rng)
    late = frame_times_s(runner, RATE_HZ)[0]
    seen = shoes(list(runner.shown().values()), ShoeSpread(time_s=0.001), rng)
    return Sighting(
        clip=clip_of(time_s, camera),
        fit=fit_lane(lane_file(camera, 0.5, rng)),
        cameras=(camera,),
        settings=Settings(kind="full approach"),
        joints=dataclasses.replace(track, time_s=time_s),
        profile=LaneProfile(time_s=np.zeros(1), x_m=np.zeros(1), cover=np.zeros((1, 1)), ground_z_m=np.zeros((1, 1))),
        shoes=tuple(
            dataclasses.replace(s, touchdown_s=s.touchdown_s - late, toe_off_s=s.toe_off_s - late) for s in seen
        ),
    )


@pytest.fixture(scope="module")
def automatic(sighting: Sighting) -> Outcome:
    """Return the result without any correction."""
    return outcome_of(sighting)


def frame_of(analysis: Analysis, number: int, instant: Instant) -> float:
    span = analysis.contact(number).span_s  # type: ignore[union-attr]
    assert span is not None
    return span[0 if instant == "touchdown" else 1] * RATE_HZ


def near(analysis: Analysis, number: int) -> float:
    return (frame_of(analysis, number, "touchdown") + frame_of(analysis, number, "toe_off")) / 2.0


def moved(analysis: Analysis, number: int, instant: Instant, by: float) -> InstantMoved:
    to = frame_of(analysis, number, instant) + by
    return InstantMoved(near_frame=near(analysis, number), instant=instant, to_frame=to)


def value(analysis: Analysis, part: str, number: int | None, name: str) -> Measured:
    if part == "contacts":
        measure = analysis.contact(number or 0).measures[name]  # type: ignore[union-attr]
    elif part == "steps":
        measure = analysis.step(number or 0).measures[name]  # type: ignore[union-attr]
    else:
        measure = getattr(analysis, part)[name]
    assert isinstance(measure, Measured), measure
    return measure


def by_hand(analysis: Analysis) -> set[tuple[str, int | None, str]]:
    out: set[tuple[str, int | None, str]] = set()
    for part, items in (("contacts", analysis.contacts), ("steps", analysis.steps)):
        for item in items:
            out |= {(part, item.number, n) for n, m in item.measures.items() if isinstance(m, Measured) and m.by_hand}
    for part in ("penultimate", "takeoff", "checks"):
        found = getattr(analysis, part).items()
        out |= {(part, None, n) for n, m in found if isinstance(m, Measured) and m.by_hand}
    return out


@pytest.mark.parametrize("frames", [3.0, -3.0, 1.0])
def test_a_touchdown_moved_by_frames_changes_contact_and_step_times_by_exactly_that(
    sighting: Sighting, automatic: Outcome, frames: float
) -> None:
    """Contact -1 begins later by d: its contact lasts d shorter, the flight before it d longer, the next step d shorter."""
    was = automatic.analysis
    now = outcome_of(sighting, [moved(was, -1, "touchdown", frames)]).analysis

    d = frames * FRAME_S
    for part, number, name, change in (
        ("contacts", -1, "contact_time_s", -d),
        ("contacts", -1, "touchdown_s", d),
        ("contacts", -1, "toe_off_s", 0.0),
        ("steps", -1, "flight_time_s", d),
        ("steps", -1, "step_time_s", d),
        ("steps", 0, "step_time_s", -d),
        ("steps", 0, "flight_time_s", 0.0),
        ("steps", -1, "step_length_m", 0.0),
    ):
        difference = value(now, part, number, name).value - value(was, part, number, name).value
        assert difference == pytest.approx(change, abs=1e-9), name


def test_a_hand_set_instant_is_as_sure_as_a_frame_allows(sighting: Sighting, automatic: Outcome) -> None:
    """Uniform between two pictures (SD 1/sqrt 12 frame) and half a frame of reading: u95 of 2 x 0.577 frames, within 20 %."""
    now = outcome_of(sighting, [moved(automatic.analysis, -1, "touchdown", 2.0)]).analysis

    expected = 2.0 * FRAME_S * np.hypot(1.0 / np.sqrt(12.0), 0.5)
    assert value(now, "contacts", -1, "touchdown_s").u95 == pytest.approx(expected, rel=0.20)


def test_values_that_rest_on_the_hand_are_marked_and_no_others(sighting: Sighting, automatic: Outcome) -> None:
    """A moved touchdown marks what is read at it or over the support, not the toe, the toe-off or another contact."""
    now = outcome_of(sighting, [moved(automatic.analysis, -1, "touchdown", 2.0)]).analysis

    marks = by_hand(now)
    assert {
        ("contacts", -1, "touchdown_s"),
        ("contacts", -1, "contact_time_s"),
        ("contacts", -1, "knee_angle_touchdown_deg"),
        ("steps", -1, "flight_time_s"),
        ("steps", 0, "step_time_s"),
    } <= marks
    assert ("contacts", -1, "toe_x_m") not in marks
    assert ("contacts", -1, "knee_angle_toe_off_deg") not in marks
    assert not {m for m in marks if m[0] == "contacts" and m[1] != -1}
    assert now.contact(-1).by_hand  # type: ignore[union-attr]
    assert not by_hand(automatic.analysis)


def test_moved_there_and_back_is_automatic_again(sighting: Sighting, automatic: Outcome) -> None:
    """Fails if the hand's uncertainty sticks to an instant that stands where the pictures put it."""
    was = automatic.analysis
    back = dataclasses.replace(moved(was, -1, "touchdown", 0.0))

    now = outcome_of(sighting, [moved(was, -1, "touchdown", 2.0), back]).analysis

    assert value(now, "contacts", -1, "touchdown_s") == value(was, "contacts", -1, "touchdown_s")
    assert not by_hand(now)


@pytest.mark.parametrize(
    ("by", "instant"), [(40.0, "touchdown"), (-60.0, "touchdown"), (-40.0, "toe_off"), (60.0, "toe_off")]
)
def test_an_instant_cannot_leave_its_place_between_its_neighbours(
    sighting: Sighting, automatic: Outcome, by: float, instant: Instant
) -> None:
    """Past its other end or into another contact: the correction is passed over, named, and nothing changes."""
    correction = moved(automatic.analysis, -1, instant, by)

    out, unused = outcome_with(sighting, [correction])

    assert unused == (correction,)
    assert out.analysis.contacts == automatic.analysis.contacts
    assert "corrections-left-out" in {w.code for w in out.analysis.warnings}


def test_a_deleted_contact_is_gone_and_an_added_one_is_measured(sighting: Sighting, automatic: Outcome) -> None:
    """The third-last contact deleted and set again by hand: the same places within 5 cm, times as set, marked by hand."""
    was = automatic.analysis
    delete = ContactDeleted(near_frame=near(was, -2))

    without = outcome_of(sighting, [delete]).analysis
    assert len(without.contacts) == len(was.contacts) - 1

    start, end = np.round(frame_of(was, -2, "touchdown")), np.round(frame_of(was, -2, "toe_off"))
    add = ContactAdded(foot=was.contact(-2).foot, touchdown_frame=float(start), toe_off_frame=float(end))  # type: ignore[union-attr]
    again = outcome_of(sighting, [delete, add]).analysis

    assert [c.number for c in again.contacts] == [c.number for c in was.contacts]
    contact = again.contact(-2)
    assert contact is not None
    assert contact.by_hand
    assert contact.span_s == pytest.approx((start * FRAME_S, end * FRAME_S), abs=1e-9)
    place = value(again, "contacts", -2, "toe_x_m").value - value(was, "contacts", -2, "toe_x_m").value
    assert abs(place) < 0.05


def test_contacts_cannot_overlap_and_the_last_one_cannot_be_deleted(sighting: Sighting, automatic: Outcome) -> None:
    """Fails if two feet bear at once or a result is left without any contact."""
    was = automatic.analysis
    overlap = ContactAdded(
        foot="left", touchdown_frame=near(was, -1) - 4.0, toe_off_frame=frame_of(was, -1, "toe_off") + 8.0
    )
    assert outcome_with(sighting, [overlap])[1] == (overlap,)

    everything = [ContactDeleted(near_frame=near(was, c.number)) for c in was.contacts if c.number != 0]
    last = ContactDeleted(near_frame=near(was, 0))
    assert outcome_with(sighting, [*everything, last])[1] == (last,)


def test_changing_the_foot_changes_the_leg_that_is_measured(sighting: Sighting, automatic: Outcome) -> None:
    """One foot: that contact only, its knee angle stays that of the leg that stands there. Everywhere: all of them."""
    was = automatic.analysis
    foot = was.contact(-1).foot  # type: ignore[union-attr]
    other = "left" if foot == "right" else "right"
    one = FootChanged(near_frame=near(was, -1), foot=other)

    now = outcome_of(sighting, [one]).analysis
    assert [c.foot for c in now.contacts if c.number != -1] == [c.foot for c in was.contacts if c.number != -1]
    assert now.contact(-1).foot == other  # type: ignore[union-attr]
    knees = [value(a, "contacts", -1, "knee_angle_toe_off_deg").value for a in (was, now)]
    assert knees[1] == pytest.approx(knees[0], abs=3.0)  # the legs' labels go with the foot

    every = outcome_of(sighting, [dataclasses.replace(one, everywhere=True)]).analysis
    assert all(a.foot != b.foot for a, b in zip(every.contacts, was.contacts, strict=True))
    assert every.run.takeoff_foot != was.run.takeoff_foot


def test_what_a_contact_takes_off_into_can_be_set(sighting: Sighting, automatic: Outcome) -> None:
    """The take-off as a hop, in a person's words; the last running step as a bound begins the series one contact earlier."""
    was = automatic.analysis
    assert was.run.phases == ((0, "jump"),)

    hop = outcome_of(sighting, [ContactRelabelled(near_frame=near(was, 0), phase="hop")]).analysis
    assert hop.run.phases == ((0, "hop"),)

    earlier = outcome_of(sighting, [ContactRelabelled(near_frame=near(was, -1), phase="bound")]).analysis
    assert earlier.run.phases == ((0, "bound"), (1, "jump"))
    assert [c.number for c in earlier.contacts] == [c.number + 1 for c in was.contacts]


def test_a_dragged_joint_stands_where_it_was_put_and_its_neighbours_follow_smoothly(
    sighting: Sighting, automatic: Outcome
) -> None:
    """20 px up: all of it in the frame, less and less beside it, nothing beyond the reach; other joints stay."""
    pixels = automatic.motion.pixels
    k, row = INDEX["left_knee"], 150
    place = pixels.xy_px[row, k] - np.array([0.0, 20.0])
    drag = JointDragged(frame=int(pixels.frame[row]), joint="left_knee", to_px=(float(place[0]), float(place[1])))

    now = outcome_of(sighting, [drag]).motion.pixels

    shift = pixels.xy_px[:, :, 1] - now.xy_px[:, :, 1]
    assert shift[row, k] == pytest.approx(20.0, abs=1e-9)
    reach = int(REACH_S * RATE_HZ)
    beside = shift[row : row + reach + 2, k]
    assert (np.diff(beside[: reach + 1]) < 0).all()
    assert beside[-1] == 0.0
    assert shift[row - reach - 1, k] == 0.0
    assert shift[row - 5, k] == pytest.approx(shift[row + 5, k], abs=1e-9)
    assert not np.delete(shift, k, axis=1).any()


def test_a_joint_dragged_in_a_frame_that_was_not_looked_at_takes_its_neighbours_along() -> None:
    """On a joint that moves evenly, looked at in every third frame, a drag of 12 px is the raised cosine over its reach."""
    time_s = np.arange(31) / 240.0
    xy_px = np.full((31, len(JOINTS), 2), np.nan)
    xy_px[::3] = np.stack([4.0 * np.arange(0, 31, 3), 300.0 - np.arange(0, 31, 3)], axis=1)[:, None]
    track = PixelTrack(
        time_s=time_s,
        frame=np.arange(31),
        xy_px=xy_px,
        score=np.isfinite(xy_px[..., 0]).astype(float),
        filled=np.zeros(xy_px.shape[:2], dtype=bool),
    )
    hand = HandTrack(tuple(range(31)))
    assert hand.take(JointDragged(frame=16, joint="left_knee", to_px=(4.0 * 16, 300.0 - 16 + 12.0)))

    now, _ = hand.on(track)

    moved = now.xy_px[::3, INDEX["left_knee"]] - xy_px[::3, INDEX["left_knee"]]
    away = np.clip(np.abs(time_s[::3] - time_s[16]) / REACH_S, 0.0, 1.0)
    assert moved[:, 1] == pytest.approx(12.0 * (1.0 + np.cos(np.pi * away)) / 2.0)
    assert np.abs(moved[:, 0]).max() < 1e-9
    assert now.xy_px[16, INDEX["left_knee"]] == pytest.approx([64.0, 296.0])


def test_two_drags_of_one_joint_leave_each_other_where_they_are(sighting: Sighting, automatic: Outcome) -> None:
    """Six frames apart, within each other's reach: both frames stand exactly where the hand put them."""
    pixels = automatic.motion.pixels
    k = INDEX["right_ankle"]
    drags: list[Correction] = []
    for row, up in ((120, 10.0), (126, -8.0)):
        x, y = pixels.xy_px[row, k]
        drags.append(JointDragged(frame=int(pixels.frame[row]), joint="right_ankle", to_px=(float(x), float(y - up))))

    now = outcome_of(sighting, drags).motion.pixels

    shift = pixels.xy_px[:, k, 1] - now.xy_px[:, k, 1]
    assert shift[120] == pytest.approx(10.0, abs=1e-9)
    assert shift[126] == pytest.approx(-8.0, abs=1e-9)
    assert (np.abs(shift) <= 10.0 + 1e-9).all()


def test_a_knee_put_right_reaches_the_angle(sighting: Sighting, automatic: Outcome) -> None:
    """The knee at touchdown, dragged 5 cm forward of where it is, bends the leg by the angle that geometry gives, within 2 deg."""
    was = automatic.analysis
    foot = was.contact(-1).foot  # type: ignore[union-attr]
    pixels, runway = automatic.motion.pixels, automatic.motion.runway
    row = round(frame_of(was, -1, "touchdown"))
    k = joint(foot, "knee")
    metre_px = np.linalg.norm(pixels.xy_px[row, joint(foot, "hip")] - pixels.xy_px[row, k]) / np.linalg.norm(
        runway.xy_m[row, joint(foot, "hip")] - runway.xy_m[row, k]
    )
    x, y = pixels.xy_px[row, k]
    drag = JointDragged(
        frame=int(pixels.frame[row]), joint=f"{foot}_knee", to_px=(float(x + 0.05 * metre_px), float(y))
    )

    now = outcome_of(sighting, [drag]).analysis

    hip, knee, ankle = (runway.xy_m[row, joint(foot, part)] for part in ("hip", "knee", "ankle"))

    def bend(at: np.ndarray) -> float:
        u, v = hip - at, ankle - at
        return float(np.degrees(np.arccos(u @ v / np.linalg.norm(u) / np.linalg.norm(v))))

    expected = bend(knee + np.array([0.05, 0.0])) - bend(knee)
    name = "knee_angle_touchdown_deg"
    change = value(now, "contacts", -1, name).value - value(was, "contacts", -1, name).value
    assert change == pytest.approx(expected, abs=2.0)
    assert ("contacts", -1, name) in by_hand(now)
    assert ("contacts", 0, name) not in by_hand(now)


def test_legs_swapped_twice_are_as_before_and_drags_go_with_their_leg(sighting: Sighting, automatic: Outcome) -> None:
    """Fails if an exchange forgets a joint, or a drag made before it moves the other leg after it."""
    swap = LegsSwapped(first_frame=100, last_frame=110)
    once = outcome_of(sighting, [swap]).motion.pixels.xy_px
    was = automatic.motion.pixels.xy_px
    left, right = INDEX["left_knee"], INDEX["right_knee"]
    assert np.array_equal(once[105, left], was[105, right])
    assert np.array_equal(once[99, left], was[99, left])

    twice = outcome_of(sighting, [swap, swap]).motion.pixels.xy_px
    assert np.array_equal(twice, was)

    drag = JointDragged(frame=105, joint="left_knee", to_px=(700.0, 500.0))
    after = outcome_of(sighting, [drag, swap]).motion.pixels.xy_px
    assert after[105, right].tolist() == [700.0, 500.0]


def test_settings_by_hand_replace_what_was_said(sighting: Sighting) -> None:
    """Mats and kind are those of the latest correction; the values stay automatic."""
    done = [MatsSet(mats=(Mat(number=-1, thickness_m=0.05),)), KindSet(kind="mat drill"), KindSet(kind="drill")]

    now = outcome_of(sighting, done).analysis

    assert now.run.mats == (Mat(number=-1, thickness_m=0.05),)
    assert now.run.kind == "drill"
    assert not by_hand(now)


def test_a_capture_rate_by_hand_scales_times_and_keeps_lengths(sighting: Sighting, automatic: Outcome) -> None:
    """A run said to be captured at 220 instead of 240 a second: times longer by 240/220, step lengths the same."""
    now = outcome_of(sighting, [CaptureRateSet(capture_rate_hz=220.0)]).analysis

    assert now.clip.capture_rate_hz == pytest.approx(220.0)
    assert now.clip.capture_rate_from == "set by hand"
    ratio = (
        value(now, "contacts", -1, "contact_time_s").value
        / value(automatic.analysis, "contacts", -1, "contact_time_s").value
    )
    assert ratio == pytest.approx(240.0 / 220.0, rel=1e-9)
    length = value(now, "steps", 0, "step_length_m").value
    assert length == pytest.approx(value(automatic.analysis, "steps", 0, "step_length_m").value, abs=1e-9)


def test_a_moved_instant_keeps_its_frame_under_another_capture_rate(sighting: Sighting, automatic: Outcome) -> None:
    """Corrections are in frames: a rate set before or after them gives the same."""
    move, rate = moved(automatic.analysis, -1, "toe_off", 2.0), CaptureRateSet(capture_rate_hz=220.0)

    one, other = outcome_of(sighting, [move, rate]).analysis, outcome_of(sighting, [rate, move]).analysis

    assert one.contacts == other.contacts


def test_a_rate_near_the_frame_times_confirms_them(sighting: Sighting) -> None:
    """239 of 240 is the same clock; the finer frame times stay."""
    clip = clip_with(sighting.clip, [CaptureRateSet(capture_rate_hz=239.0)])

    assert np.allclose(clip.time_s, sighting.clip.time_s, rtol=0.0, atol=1e-12)
    assert clip.capture_rate_from == "set by hand"


def test_confirming_changes_no_value(sighting: Sighting, automatic: Outcome) -> None:
    """A nod is in the history and nowhere else."""
    was = automatic.analysis
    now = outcome_of(sighting, [InstantConfirmed(near_frame=near(was, 0), instant="touchdown")]).analysis

    assert now.contacts == was.contacts
    assert now.steps == was.steps
    assert {w.code for w in now.warnings} - {w.code for w in was.warnings} == {"by-hand"}


def test_corrections_of_one_athlete_are_not_applied_to_another() -> None:
    """Asked for run 2, what was put right in run 1 is left out, what was said of the clip stays."""
    history = Corrections(
        clip_sha256="0" * 64, done=(ContactDeleted(near_frame=10.0), KindSet(kind="drill")), run=1, at=None
    )

    assert applicable(history, Settings(run=1)) == history.done
    assert applicable(history, Settings(run=2)) == (KindSet(kind="drill"),)


def test_what_was_put_right_before_another_athlete_was_picked_is_left_out(
    sighting: Sighting, automatic: Outcome
) -> None:
    """Fails if a contact of the first athlete is deleted from the second."""
    delete = ContactDeleted(near_frame=near(automatic.analysis, -1))

    now = outcome_of(sighting, [delete, AthletePicked(run=1)]).analysis

    assert len(now.contacts) == len(automatic.analysis.contacts)


def test_the_result_without_corrections_is_the_same_to_the_last_byte(sighting: Sighting, automatic: Outcome) -> None:
    """Corrected and taken back: no trace is left in the result."""
    history = Corrections(clip_sha256="0" * 64)
    history = added(history, moved(automatic.analysis, -1, "touchdown", 3.0))
    corrected = analysis_to_json(outcome_of(sighting, history.done).analysis)
    history = undone(history)

    again = analysis_to_json(outcome_of(sighting, history.done).analysis)

    assert again == analysis_to_json(automatic.analysis)
    assert corrected != again


CORRECTIONS = st.one_of(
    st.builds(
        InstantMoved,
        near_frame=st.floats(0, 300),
        instant=st.sampled_from(["touchdown", "toe_off"]),
        to_frame=st.floats(0, 300),
    ),
    st.builds(ContactDeleted, near_frame=st.floats(0, 300)),
    st.builds(FootChanged, near_frame=st.floats(0, 300), foot=st.sampled_from(["left", "right"])),
    st.builds(LegsSwapped, first_frame=st.integers(0, 100), last_frame=st.integers(100, 300)),
    st.builds(KindSet, kind=st.text(max_size=5)),
)


@given(corrections=st.lists(CORRECTIONS, max_size=8), steps=st.integers(0, 10))
def test_taking_back_and_making_again_ends_where_it_began(corrections: list[Correction], steps: int) -> None:
    """Any history, any number of steps back and as many on: the same corrections; the version only ever rises."""
    history = Corrections(clip_sha256="0" * 64)
    for correction in corrections:
        history = added(history, correction)
    before = history
    taken = min(steps, len(corrections))
    for _ in range(taken):
        history = undone(history)
    assert history.done == tuple(corrections[: len(corrections) - taken])
    for _ in range(taken):
        history = redone(history)

    assert (history.done, history.undone) == (before.done, ())
    assert history.version == before.version + 2 * taken


@given(a=CORRECTIONS, b=CORRECTIONS)
def test_two_corrections_clash_the_same_either_way_round(a: Correction, b: Correction) -> None:
    """Whoever was first: the same pairs are about the same thing, and each is about the same thing as itself."""
    assert bool(clashing(a, [b])) == bool(clashing(b, [a]))
    assert clashing(a, [a]) == (a,)


def test_what_is_about_different_things_does_not_clash() -> None:
    """Two ends of one contact, two contacts, two joints, a joint and a contact may be put right in two windows."""
    start = InstantMoved(near_frame=100.0, instant="touchdown", to_frame=90.0)
    end = InstantMoved(near_frame=100.0, instant="toe_off", to_frame=115.0)
    elsewhere = InstantMoved(near_frame=160.0, instant="touchdown", to_frame=150.0)
    knee = JointDragged(frame=100, joint="left_knee", to_px=(1.0, 1.0))
    hip = JointDragged(frame=100, joint="left_hip", to_px=(1.0, 1.0))

    assert not clashing(start, [end, elsewhere, knee])
    assert not clashing(knee, [hip, start])
    assert clashing(start, [ContactDeleted(near_frame=101.0)])
    assert clashing(knee, [LegsSwapped(first_frame=90, last_frame=110)])
