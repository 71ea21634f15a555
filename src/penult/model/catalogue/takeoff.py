"""Measures of the last two contacts together, of the take-off, and the check of scale and clock (MEASURES.md section 4)."""

from __future__ import annotations

from penult.model.catalogue.entry import (
    CM,
    DEG,
    FLIGHT_BEFORE,
    LEAVES,
    M_PER_S,
    M_PER_S2,
    PERCENT,
    SHARE,
    STEP,
    Entry,
    Instant,
    M,
)

LOST_HIPS = "the hips were lost, or not wholly in the picture, in one of the two supports"
LAST_TWO_SUPPORTS: tuple[Instant, ...] = ((-2, "touchdown"), (-2, "toe_off"), (-1, "touchdown"), (-1, "toe_off"))
"""Third-last and penultimate; a part without numbers counts from contact 0."""

PENULTIMATE: tuple[Entry, ...] = (
    Entry(
        name="penultimate_hip_drop_m",
        part="penultimate",
        words="hip drop, penultimate",
        shown_in=CM,
        definition=(
            "Lowest hip height over the third-last support minus lowest hip height over the penultimate support, both "
            "above the runway. Positive = lower in the penultimate support. A mat under one of the feet is in it."
        ),
        reason=LOST_HIPS,
        instants=LAST_TWO_SUPPORTS,
        moment="lowest",
        drawing="drop",
        above_runway=True,
        headline={"season": {None: 1}, "comparison": {None: 1}, "review": {None: 1}},
    ),
    Entry(
        name="penultimate_hip_drop_above_support_m",
        part="penultimate",
        words="hip drop, penultimate, above what each foot stood on",
        shown_in=CM,
        definition=(
            "The same drop with each hip height counted from the surface under that foot, runway or mat. Without mats it "
            "is the drop above the runway."
        ),
        reason=LOST_HIPS,
        instants=LAST_TWO_SUPPORTS,
        moment="lowest",
        drawing="drop",
        headline={"comparison": {None: 2}},
    ),
    Entry(
        name="penultimate_hip_drop_share",
        part="penultimate",
        words="hip drop, penultimate, of standing hip height",
        shown_in=SHARE,
        definition="The penultimate hip drop divided by the standing hip height.",
        reason=LOST_HIPS,
        instants=LAST_TWO_SUPPORTS,
        moment="lowest",
        drawing="hip",
        above_runway=True,
    ),
    Entry(
        name="hip_drop_to_takeoff_m",
        part="penultimate",
        words="hip drop until the take-off foot lands",
        shown_in=CM,
        definition=(
            "Hip height at penultimate touchdown minus the lowest hip height until take-off touchdown, the "
            "flight of the last step included."
        ),
        reason=LOST_HIPS,
        instants=STEP,
        moment="lowest",
        drawing="drop",
        above_runway=True,
    ),
)

TAKEOFF: tuple[Entry, ...] = (
    Entry(
        name="toe_to_board_m",
        part="takeoff",
        words="toe behind the take-off line",
        shown_in=CM,
        definition="Distance of the toe tip to the take-off line; positive = behind the line, negative = over it.",
        reason="the foot is hidden",
        board=True,
        moment="middle",
        drawing="board",
    ),
    Entry(
        name="approach_speed_m_per_s",
        part="takeoff",
        words="approach speed",
        shown_in=M_PER_S,
        definition="Horizontal speed of the whole-body centre of mass in the flight before the take-off contact.",
        clock=True,
        instants=FLIGHT_BEFORE,
        moment="flight",
        drawing="approach",
        headline={"season": {None: 6}},
    ),
    Entry(
        name="takeoff_velocity_x_m_per_s",
        part="takeoff",
        words="forward speed at take-off",
        shown_in=M_PER_S,
        definition="Horizontal velocity of the whole-body centre of mass at toe-off, from the flight after it.",
        clock=True,
        instants=LEAVES,
        moment="toe_off",
        drawing="velocity",
    ),
    Entry(
        name="takeoff_velocity_y_m_per_s",
        part="takeoff",
        words="upward speed at take-off",
        shown_in=M_PER_S,
        definition=(
            "Vertical velocity of the whole-body centre of mass at toe-off, from the flight after it (known g)."
        ),
        clock=True,
        instants=LEAVES,
        moment="toe_off",
        drawing="velocity",
        headline={"season": {None: 7}},
    ),
    Entry(
        name="takeoff_speed_m_per_s",
        part="takeoff",
        words="speed at take-off",
        shown_in=M_PER_S,
        definition="Forward and upward speed at take-off together (length of the velocity).",
        clock=True,
        instants=LEAVES,
        moment="toe_off",
        drawing="velocity",
    ),
    Entry(
        name="takeoff_angle_deg",
        part="takeoff",
        words="take-off angle",
        shown_in=DEG,
        definition="Direction of the velocity of the whole-body centre of mass at toe-off, up from the horizontal.",
        clock=True,
        instants=LEAVES,
        moment="toe_off",
        drawing="velocity",
        headline={"season": {None: 8}, "comparison": {None: 7}, "review": {None: 4}},
    ),
    Entry(
        name="speed_loss_m_per_s",
        part="takeoff",
        words="forward speed lost at take-off",
        shown_in=M_PER_S,
        definition="Approach speed minus forward speed at take-off.",
        clock=True,
        instants=(*FLIGHT_BEFORE, *LEAVES),
        moment="toe_off",
        drawing="velocity",
    ),
    Entry(
        name="speed_loss_percent",
        part="takeoff",
        words="forward speed lost at take-off, share",
        shown_in=PERCENT,
        definition="Forward speed lost at take-off as a share of the approach speed.",
        clock=True,
        instants=(*FLIGHT_BEFORE, *LEAVES),
        moment="toe_off",
        drawing="velocity",
    ),
    Entry(
        name="takeoff_height_m",
        part="takeoff",
        words="height of the centre of mass at take-off",
        shown_in=CM,
        definition="Whole-body centre of mass above the runway at toe-off.",
        clock=True,
        instants=LEAVES,
        moment="toe_off",
        drawing="mass",
    ),
    Entry(
        name="flight_distance_m",
        part="takeoff",
        words="flight distance, estimated",
        shown_in=M,
        definition=(
            "Distance that the centre of mass flies by the projectile relation, to a landing 0.55 m lower "
            "than at take-off (that figure is uncertain by 0.15 m, counted in full). An estimate, not a "
            "measured distance."
        ),
        clock=True,
        instants=LEAVES,
        moment="toe_off",
    ),
)

CHECKS: tuple[Entry, ...] = (
    Entry(
        name="free_fall_m_per_s2",
        part="checks",  # rests on the clock, and is what tells that it is wrong: never withheld for it
        words="free fall seen in the clip",
        shown_in=M_PER_S2,
        definition=(
            "Acceleration of gravity fitted to the centre of mass in all flight phases together. It must come "
            "out as 9.81: a check of scale and clock, not a measure of the athlete."
        ),
        reason="no flight with enough frames of the whole body",
    ),
)
