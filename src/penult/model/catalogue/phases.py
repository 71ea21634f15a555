"""Measures of one phase and of the whole sequence (MEASURES.md section 4a); a phase carries the number of its contact."""

from __future__ import annotations

import dataclasses

from penult.model.catalogue.entry import (
    CM,
    DEG,
    FLIGHT_AFTER,
    FLIGHT_BEFORE,
    LEAVES,
    M_PER_S,
    MS,
    PHASE,
    RATIO,
    SHARE,
    SUPPORT,
    Entry,
    Instant,
    M,
)

FIRST = range(6)
"""Phases that pages with main numbers name: of a longer series the first so many."""

BEFORE: tuple[Instant, ...] = ((-2, "touchdown"), (-2, "toe_off"), (-1, "touchdown"), (-1, "toe_off"))

PHASES: tuple[Entry, ...] = (
    Entry(
        name="distance_m",
        part="phases",
        words="distance",
        shown_in=M,
        definition=(
            "Toe to toe: place of the next contact's toe minus that of this one. Of a closing jump with a typed "
            "official distance: from the toe to the mark."
        ),
        moment="middle",
        headline={
            "season": {n: 11 + n for n in FIRST},
            "series comparison": {n: 3 + n for n in FIRST},
            "series review": {n: 2 + n for n in FIRST},
        },
    ),
    Entry(
        name="hop_from_board_m",
        part="phases",
        words="hop from the board",
        shown_in=M,
        definition="From the board's edge to the toe of the next contact, as officials measure it.",
        board=True,
        moment="middle",
    ),
    Entry(
        name="contact_time_s",
        part="phases",
        words="contact time",
        shown_in=MS,
        definition="Toe-off minus touchdown.",
        clock=True,
        lane=False,
        instants=SUPPORT,
        is_time=True,
        bound="share",
        moment="middle",
        headline={
            "season": {n: 17 + n for n in FIRST},
            "series comparison": {n: 9 + n for n in FIRST},
            "series review": {n: 8 + n for n in FIRST},
        },
    ),
    Entry(
        name="flight_time_s",
        part="phases",
        words="flight time",
        shown_in=MS,
        definition="Toe-off to the next touchdown.",
        clock=True,
        lane=False,
        instants=FLIGHT_AFTER,
        is_time=True,
        bound="share",
        moment="toe_off",
    ),
    Entry(
        name="phase_time_s",
        part="phases",
        words="phase time",
        shown_in=MS,
        definition="Touchdown to the next touchdown.",
        clock=True,
        lane=False,
        instants=PHASE,
        is_time=True,
        moment="touchdown",
    ),
    Entry(
        name="takeoff_velocity_x_m_per_s",
        part="phases",
        words="forward speed at take-off",
        shown_in=M_PER_S,
        definition="Horizontal velocity of the whole-body centre of mass at toe-off, from the flight after it.",
        clock=True,
        instants=LEAVES,
        moment="toe_off",
    ),
    Entry(
        name="takeoff_velocity_y_m_per_s",
        part="phases",
        words="upward speed at take-off",
        shown_in=M_PER_S,
        definition="Vertical velocity of the whole-body centre of mass at toe-off, from the flight after it (known g).",
        clock=True,
        instants=LEAVES,
        moment="toe_off",
    ),
    Entry(
        name="takeoff_angle_deg",
        part="phases",
        words="take-off angle",
        shown_in=DEG,
        definition="Direction of the velocity of the whole-body centre of mass at toe-off, up from the horizontal.",
        clock=True,
        instants=LEAVES,
        moment="toe_off",
    ),
    Entry(
        name="speed_in_m_per_s",
        part="phases",
        words="speed into the contact",
        shown_in=M_PER_S,
        definition="Horizontal speed of the whole-body centre of mass in the flight before the contact.",
        clock=True,
        instants=FLIGHT_BEFORE,
        moment="flight",
    ),
    Entry(
        name="speed_loss_m_per_s",
        part="phases",
        words="forward speed lost in the contact",
        shown_in=M_PER_S,
        definition="Speed into the contact minus forward speed at take-off; negative = gained.",
        clock=True,
        instants=(*FLIGHT_BEFORE, *LEAVES),
        moment="toe_off",
    ),
    Entry(
        name="flight_height_m",
        part="phases",
        words="rise in the flight",
        shown_in=CM,
        definition=(
            "How far the whole-body centre of mass rises above its height at toe-off: upward speed squared over 2 g. Not "
            "g t squared over 8, which overstates it because landings are lower than take-offs."
        ),
        clock=True,
        instants=LEAVES,
        moment="toe_off",
    ),
    Entry(
        name="mass_centre_rise_m",
        part="phases",
        words="rise from the contact's lowest point",
        shown_in=CM,
        definition="Highest whole-body centre of mass in the flight minus its lowest in the contact.",
        clock=True,
        instants=SUPPORT,
        moment="lowest",
    ),
    Entry(
        name="flight_contact_ratio",
        part="phases",
        words="flight time over contact time",
        shown_in=RATIO,
        definition=(
            "Flight time divided by contact time. Only like phases may be compared; it is not the ratio of the drop jump."
        ),
        clock=True,
        lane=False,
        instants=(*SUPPORT, *FLIGHT_AFTER),
        is_time=True,
        moment="toe_off",
    ),
    Entry(
        name="penultimate_hip_drop_m",
        part="phases",
        words="hip drop, penultimate",
        shown_in=CM,
        definition=(
            "Of a take-off that is one of several in a run: lowest hip height over the support two before it minus that over the "
            "support before it."
        ),
        instants=BEFORE,
        moment="touchdown",
        above_runway=True,
    ),
    Entry(
        name="penultimate_hip_drop_above_support_m",
        part="phases",
        words="hip drop, penultimate, above what each foot stood on",
        shown_in=CM,
        definition="The same drop with each hip height counted from the surface under that foot, runway or mat.",
        instants=BEFORE,
        moment="touchdown",
    ),
    Entry(
        name="penultimate_hip_drop_share",
        part="phases",
        words="hip drop, penultimate, of standing hip height",
        shown_in=SHARE,
        definition="The same divided by the standing hip height.",
        instants=BEFORE,
        moment="touchdown",
        above_runway=True,
    ),
    Entry(
        name="hip_drop_to_takeoff_m",
        part="phases",
        words="hip drop until the take-off foot lands",
        shown_in=CM,
        definition=(
            "Hip height at the touchdown before it minus the lowest hip height until its own touchdown, flight included."
        ),
        instants=((-1, "touchdown"), (0, "touchdown")),
        moment="touchdown",
        above_runway=True,
    ),
)

SEQUENCE: tuple[Entry, ...] = (
    Entry(
        name="distance_of_whole_phases_m",
        part="sequence",
        words="distance of the phases seen whole",
        shown_in=M,
        definition="Sum of the distances of the phases that were measured whole.",
        headline={"season": {None: 9}, "series comparison": {None: 1}, "series review": {None: 1}},
    ),
    Entry(
        name="speed_kept_share",
        part="sequence",
        words="speed kept",
        shown_in=SHARE,
        definition="Forward speed after the last take-off over the speed into contact 0.",
        clock=True,
        headline={"season": {None: 10}, "series comparison": {None: 2}},
    ),
    Entry(
        name="left_right_difference_distance_m",
        part="sequence",
        words="left minus right, distance",
        shown_in=CM,
        definition="Mean distance of the bounds off the left foot minus that of those off the right, at least two each.",
    ),
    Entry(
        name="left_right_difference_contact_time_s",
        part="sequence",
        words="left minus right, contact time",
        shown_in=MS,
        definition=(
            "Mean contact time of the bounds off the left foot minus that of those off the right, at least two each."
        ),
        clock=True,
        lane=False,
    ),
    Entry(
        name="left_right_difference_flight_time_s",
        part="sequence",
        words="left minus right, flight time",
        shown_in=MS,
        definition=(
            "Mean flight time of the bounds off the left foot minus that of those off the right, at least two each."
        ),
        clock=True,
        lane=False,
    ),
)


def _over_takeoffs() -> tuple[Entry, ...]:
    """Mean and spread of some measures over the take-offs that are repeated in one run; each rests on what its measure rests on."""
    rows = {e.name: e for e in PHASES}
    told = (("mean", "mean", "Mean"), ("sd", "spread", "Standard deviation"))
    return tuple(
        dataclasses.replace(
            rows[name],
            name=f"takeoffs_{which}_{name}",
            part="sequence",
            words=f"{word} of the take-offs, {rows[name].words}",
            definition=f"{defined} of that measure over the take-offs of the run.",
            instants=(),
            is_time=False,
            bound="",
            moment="none",
            drawing="",
            headline={},
        )
        for name in REPEATED
        for which, word, defined in told
    )


REPEATED: tuple[str, ...] = (
    "distance_m",
    "contact_time_s",
    "flight_time_s",
    "takeoff_velocity_y_m_per_s",
    "takeoff_angle_deg",
    "speed_loss_m_per_s",
    "penultimate_hip_drop_m",
)
"""Of take-offs that are repeated in one run the mean and the spread of these are given."""

SEQUENCE += _over_takeoffs()
