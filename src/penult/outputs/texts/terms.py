"""Every measure's name in a coach's words, the unit it is shown in, and its definition.

This is a table and nothing else: the formatting rules live in `words`. The definitions are those that the measures
are computed by; pages print them beside the numbers, because a number without its definition cannot be compared.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """How one measure is spoken of.

    Parameters
    ----------
    name : str
        As in the result file.
    part : str
        'contacts', 'steps', 'penultimate', 'takeoff' or 'checks'.
    words : str
        In a coach's words, without the unit.
    unit : str
        That a person reads; '' for a ratio.
    scale : float
        Shown value = value in the file x scale.
    definition : str
        What exactly is measured, one or two sentences.
    """

    name: str
    part: str
    words: str
    unit: str
    scale: float
    definition: str


_UNITS: dict[str, tuple[str, float]] = {
    "s": ("s", 1.0),
    "ms": ("ms", 1e3),
    "m": ("m", 1.0),
    "cm": ("cm", 1e2),
    "deg": ("°", 1.0),
    "m/s": ("m/s", 1.0),
    "hz": ("/s", 1.0),
    "%": ("%", 1.0),
    "share": ("%", 1e2),
    "ratio": ("", 1.0),
    "g": ("m/s²", 1.0),
}

_ROWS: tuple[tuple[str, str, str, str, str], ...] = (
    # part, name, words, unit, definition
    ("contacts", "touchdown_s", "touchdown", "s", "First instant at which any part of the shoe bears on the surface."),
    ("contacts", "toe_off_s", "toe-off", "s", "Last instant at which any part of the shoe bears on the surface."),
    ("contacts", "contact_time_s", "contact time", "ms", "Toe-off minus touchdown."),
    (
        "contacts",
        "toe_x_m",
        "toe tip along the runway",
        "m",
        "Place of the toe tip while the forefoot is still, from the take-off line; negative before the line.",
    ),
    (
        "contacts",
        "support_height_m",
        "surface under the foot",
        "cm",
        "Height of the surface under the forefoot above the runway: 0 on the runway, the thickness of a mat on a mat.",
    ),
    (
        "contacts",
        "foot_angle_touchdown_deg",
        "foot angle at touchdown",
        "deg",
        "Line from the rear to the front edge of the sole against the runway at touchdown; positive with the toe up.",
    ),
    (
        "contacts",
        "leg_angle_touchdown_deg",
        "leg angle at touchdown",
        "deg",
        (
            "At the ankle, between the line to the same leg's hip joint and the backward horizontal, at touchdown. "
            "90° = hip above the ankle; smaller = foot planted further ahead of the hip."
        ),
    ),
    (
        "contacts",
        "leg_angle_toe_off_deg",
        "leg angle at toe-off",
        "deg",
        (
            "At the ankle, between the line to the same leg's hip joint and the forward horizontal, at toe-off. "
            "Below 90° = hip ahead of the foot."
        ),
    ),
    (
        "contacts",
        "touchdown_distance_m",
        "foot ahead of the hips at touchdown",
        "cm",
        "Toe tip's place minus the mid-hip's place along the runway, at touchdown.",
    ),
    (
        "contacts",
        "touchdown_distance_mass_centre_m",
        "foot ahead of the centre of mass at touchdown",
        "cm",
        "Toe tip's place minus the place of the whole-body centre of mass along the runway, at touchdown.",
    ),
    (
        "contacts",
        "knee_angle_touchdown_deg",
        "knee angle at touchdown",
        "deg",
        "Angle hip - knee - ankle of the supporting leg at touchdown; 180° = straight.",
    ),
    (
        "contacts",
        "knee_angle_min_deg",
        "smallest knee angle in support",
        "deg",
        "Smallest angle hip - knee - ankle of the supporting leg between touchdown and toe-off; 180° = straight.",
    ),
    (
        "contacts",
        "knee_angle_toe_off_deg",
        "knee angle at toe-off",
        "deg",
        "Angle hip - knee - ankle of the supporting leg at toe-off; 180° = straight.",
    ),
    (
        "contacts",
        "trunk_angle_touchdown_deg",
        "trunk lean at touchdown",
        "deg",
        "Line from mid-hip to mid-shoulder from the vertical at touchdown; positive = leaning forward.",
    ),
    (
        "contacts",
        "trunk_angle_toe_off_deg",
        "trunk lean at toe-off",
        "deg",
        "Line from mid-hip to mid-shoulder from the vertical at toe-off; positive = leaning forward.",
    ),
    (
        "contacts",
        "hip_height_touchdown_m",
        "hip height at touchdown",
        "cm",
        "Mid-hip (mean of the two hip joint centres) above the runway, not above a mat, at touchdown.",
    ),
    (
        "contacts",
        "hip_height_lowest_m",
        "lowest hip height in support",
        "cm",
        "Lowest mid-hip above the runway, not above a mat, between touchdown and toe-off.",
    ),
    (
        "contacts",
        "hip_height_toe_off_m",
        "hip height at toe-off",
        "cm",
        "Mid-hip above the runway, not above a mat, at toe-off.",
    ),
    (
        "contacts",
        "hip_above_support_touchdown_m",
        "hip above the surface at touchdown",
        "cm",
        "Hip height at touchdown minus the height of the surface under the foot (mat or runway).",
    ),
    (
        "contacts",
        "hip_above_support_lowest_m",
        "lowest hip above the surface",
        "cm",
        "Lowest hip height in support minus the height of the surface under the foot (mat or runway).",
    ),
    (
        "contacts",
        "hip_above_support_toe_off_m",
        "hip above the surface at toe-off",
        "cm",
        "Hip height at toe-off minus the height of the surface under the foot (mat or runway).",
    ),
    (
        "contacts",
        "foot_speed_touchdown_m_per_s",
        "foot speed just before touchdown",
        "m/s",
        (
            "Forward speed of the ankle over the last 20 ms before touchdown, relative to the runway; "
            "the more active the strike, the smaller."
        ),
    ),
    ("steps", "step_length_m", "step length", "m", "Toe tip to toe tip of two neighbouring contacts."),
    ("steps", "flight_time_s", "flight time", "ms", "Toe-off to the next touchdown."),
    ("steps", "step_time_s", "step time", "ms", "Touchdown to the next touchdown."),
    ("steps", "step_rate_hz", "step rate", "hz", "Steps a second: one over the step time."),
    (
        "steps",
        "step_speed_m_per_s",
        "speed in the flight of the step",
        "m/s",
        "Horizontal speed of the whole-body centre of mass in the flight phase (straight-line fit).",
    ),
    (
        "steps",
        "step_length_over_time_m_per_s",
        "step length over step time",
        "m/s",
        "Step length divided by step time: a cross-check of the speed, not the speed itself.",
    ),
    ("steps", "step_length_ratio", "step length against the step before", "ratio", "This step / the one before."),
    (
        "steps",
        "step_time_ratio",
        "step time against the step before",
        "ratio",
        "This step's time / the time of the one before; of the last step: the rhythm.",
    ),
    (
        "penultimate",
        "penultimate_hip_drop_m",
        "hip drop, penultimate",
        "cm",
        (
            "Lowest hip height over the third-last support minus lowest hip height over the penultimate support, both "
            "above the runway. Positive = lower in the penultimate support. A mat under one of the feet is in it."
        ),
    ),
    (
        "penultimate",
        "penultimate_hip_drop_above_support_m",
        "hip drop, penultimate, above what each foot stood on",
        "cm",
        (
            "The same drop with each hip height counted from the surface under that foot, runway or mat. Without mats it "
            "is the drop above the runway."
        ),
    ),
    (
        "penultimate",
        "penultimate_hip_drop_share",
        "hip drop, penultimate, of standing hip height",
        "share",
        "The penultimate hip drop divided by the standing hip height.",
    ),
    (
        "penultimate",
        "hip_drop_to_takeoff_m",
        "hip drop until the take-off foot lands",
        "cm",
        (
            "Hip height at penultimate touchdown minus the lowest hip height until take-off touchdown, "
            "the flight of the last step included."
        ),
    ),
    (
        "takeoff",
        "toe_to_board_m",
        "toe behind the take-off line",
        "cm",
        "Distance of the toe tip to the take-off line; positive = behind the line, negative = over it.",
    ),
    (
        "takeoff",
        "approach_speed_m_per_s",
        "approach speed",
        "m/s",
        "Horizontal speed of the whole-body centre of mass in the flight before the take-off contact.",
    ),
    (
        "takeoff",
        "takeoff_velocity_x_m_per_s",
        "forward speed at take-off",
        "m/s",
        "Horizontal velocity of the whole-body centre of mass at toe-off, from the flight after it.",
    ),
    (
        "takeoff",
        "takeoff_velocity_y_m_per_s",
        "upward speed at take-off",
        "m/s",
        "Vertical velocity of the whole-body centre of mass at toe-off, from the flight after it (known g).",
    ),
    (
        "takeoff",
        "takeoff_speed_m_per_s",
        "speed at take-off",
        "m/s",
        "Forward and upward speed at take-off together (length of the velocity).",
    ),
    (
        "takeoff",
        "takeoff_angle_deg",
        "take-off angle",
        "deg",
        "Direction of the velocity of the whole-body centre of mass at toe-off, up from the horizontal.",
    ),
    (
        "takeoff",
        "speed_loss_m_per_s",
        "forward speed lost at take-off",
        "m/s",
        "Approach speed minus forward speed at take-off.",
    ),
    (
        "takeoff",
        "speed_loss_percent",
        "forward speed lost at take-off, share",
        "%",
        "Forward speed lost at take-off as a share of the approach speed.",
    ),
    (
        "takeoff",
        "takeoff_height_m",
        "height of the centre of mass at take-off",
        "cm",
        "Whole-body centre of mass above the runway at toe-off.",
    ),
    (
        "takeoff",
        "flight_distance_m",
        "flight distance, estimated",
        "m",
        (
            "Distance that the centre of mass flies by the projectile relation, to a landing 0.55 m lower than at "
            "take-off (that figure is uncertain by 0.15 m, counted in full). An estimate, not a measured distance."
        ),
    ),
    (
        "checks",
        "free_fall_m_per_s2",
        "free fall seen in the clip",
        "g",
        (
            "Acceleration of gravity fitted to the centre of mass in all flight phases together. It must come out as "
            "9.81: a check of scale and clock, not a measure of the athlete."
        ),
    ),
)

TERMS: dict[str, Term] = {
    name: Term(name=name, part=part, words=words, unit=_UNITS[unit][0], scale=_UNITS[unit][1], definition=definition)
    for part, name, words, unit, definition in _ROWS
}
"""Every measure, in the order in which tables and pages list it."""

PARTS: dict[str, tuple[str, ...]] = {
    part: tuple(row[1] for row in _ROWS if row[0] == part)
    for part in ("contacts", "steps", "penultimate", "takeoff", "checks")
}
"""Names of each part's measures in order."""
