"""Kinds and numbers of phases against the table of MEASURES.md section 4a, row by row."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from penult.core.checks.said_kind import kind_notices, plain_kind
from penult.core.measures.evidence import FlightEvidence
from penult.core.measures.kinds import Flown, began_before, into_sand, kinds_of, landing_of, zero_of

G = 9.81


def flown(feet: str, flights: list[float | None], rises: list[float] | None = None, whole: str = "") -> list[Flown]:
    """Feet in the order of time, the flight after each (None: its landing is not seen), upward speeds (else g t / 2 and a drop)."""
    rises = rises or [G * t / 2.0 - 0.3 if t is not None else 0.0 for t in flights]
    return [
        Flown(
            again=None if i + 1 == len(feet) else float(feet[i] == feet[i + 1]),
            flight_s=float("nan") if t is None else t,
            falls=True,
            rise_m_per_s=rise,
            whole=not whole or whole[i] == "w",
        )
        for i, (t, rise) in enumerate(zip(flights, rises, strict=True))
    ]


CASES = {
    # feet, flights, rises, kinds, index of contact 0
    "run-through": ("LRLR", [0.12, 0.13, 0.12, None], [0.6, 0.6, 0.6, 0.6], "run run run run", None),
    "long jump": ("RLRL", [0.12, 0.14, 0.09, None], [0.6, 0.7, 0.3, 3.1], "run run run jump", 3),
    "jump from a longer last step": ("RLRL", [0.12, 0.14, 0.19, None], [0.6, 0.6, 0.7, 3.0], "run run run jump", 3),
    "bounds and a jump": (
        "RLRLRL",
        [0.12, 0.31, 0.32, 0.35, 0.33, None],
        [0.5, 1.14, 1.18, 1.35, 1.2, 2.5],
        "run bound bound bound bound jump",
        1,
    ),
    "bounds that go on": ("LRL", [0.30, 0.29, None], [1.0, 1.03, 1.07], "bound bound bound", 0),
    "hops": ("LLL", [0.32, 0.30, None], [1.24, 1.10, 1.30], "hop hop hop", 0),
    "triple jump": ("RLLR", [0.12, 0.45, 0.37, None], [0.6, 2.0, 1.71, 2.35], "run hop step jump", 1),
    "triple jump, low last phase": ("RLLR", [0.12, 0.45, 0.37, None], [0.6, 2.0, 1.9, 1.8], "run hop step jump", 1),
    "skips": (
        "RRLLR",
        [0.40, 0.08, 0.40, 0.10, None],
        [1.83, 0.14, 1.84, 0.25, 1.81],
        "skiphop skipstep skiphop skipstep skiphop",
        0,
    ),
    "take-off from a box, running on": (
        "LRLR",
        [0.15, 0.12, 0.36, None],
        [0.6, 0.6, 1.0, 0.3],
        "run run takeoff run",
        2,
    ),
    "a last small take-off whose landing is not seen": (
        "LRLRLRL",
        [0.30, 0.11, 0.12, 0.31, 0.12, 0.12, None],
        [1.15, 0.3, 0.2, 1.27, 0.3, 0.3, 1.15],
        "takeoff run run takeoff run run takeoff",
        0,
    ),
    "take-off every third step": (
        "LRLRLRL",
        [0.30, 0.11, 0.12, 0.31, 0.12, 0.12, None],
        [1.6, 0.5, 0.5, 1.7, 0.5, 0.6, 1.65],
        "takeoff run run takeoff run run takeoff",
        0,
    ),
    "hops on either leg": ("LLRR", [0.32, 0.33, 0.32, None], [1.2, 1.2, 1.2, 1.2], "hop bound hop ?", 0),
}


@pytest.mark.parametrize("case", CASES)
def test_kinds_follow_from_feet_and_flights(case: str) -> None:
    feet, flights, rises, kinds, zero = CASES[case]
    made = flown(feet, flights, rises)
    got = kinds_of(made)

    if case != "hops on either leg":
        assert " ".join(got) == kinds
    else:
        assert got[:3] == ("hop", "bound", "hop")  # a bound, not a step: no jump ends it
    assert zero_of(got, made) == zero


def test_feet_in_the_sand_are_no_support_of_the_run() -> None:
    assert landing_of(("run", "run", "jump", "run")) == 3
    assert landing_of(("run", "run", "jump")) is None
    assert landing_of(("run", "bound", "bound")) is None


def test_a_landing_in_the_sand_closes_the_jump() -> None:
    """0.62 s after leaving at 3 m/s the mass centre lies 0.03 m lower, after 0.72 s 0.38 m: no supports of a run follow."""
    made = flown("RLRLL", [0.12, 0.14, 0.09, 0.72, None], [0.6, 0.7, 0.3, 3.0, 0.2])
    flight = FlightEvidence(
        position_m=np.zeros((3, 2)),
        velocity_m_per_s=np.full((3, 2), 3.0),
        time_s=np.zeros(0),
        height_m=np.zeros((3, 0)),
    )
    assert not into_sand(flight, 0.62, 0.0)
    assert into_sand(flight, 0.72, 0.0)
    assert not into_sand(flight, 0.72, 0.25)  # from a box down to the runway
    landed = [dataclasses.replace(f, into_sand=i == 3) for i, f in enumerate(made)]
    assert kinds_of(landed) == ("run", "run", "run", "jump", "run")
    assert zero_of(kinds_of(landed), landed) == 3


def test_numbers_do_not_change_when_the_clip_is_cut_a_second_later() -> None:
    """MEASURES.md 4a: the first bound is contact 0 whatever is seen of the end."""
    long = flown("RLRLRL", [0.12, 0.31, 0.32, 0.35, 0.33, None], [0.5, 1.14, 1.18, 1.35, 1.2, 2.5])
    short = flown("RLR", [0.12, 0.31, None], [0.5, 1.14, 1.18])

    assert zero_of(kinds_of(long), long) == zero_of(kinds_of(short), short) == 1


def test_a_series_that_began_before_the_clip_starts_at_the_first_whole_contact() -> None:
    made = flown("LLLL", [0.3, 0.3, 0.3, None], [1.2, 1.2, 1.2, 1.2], whole="-www")
    kinds = kinds_of(made)

    assert zero_of(kinds, made) == 1
    assert began_before(kinds, 1)
    run_up = flown("RLRL", [0.12, 0.31, 0.3, None], [0.5, 1.1, 1.1, 1.1])
    assert not began_before(kinds_of(run_up), 1)


def test_an_order_that_is_not_certain_leaves_the_kind_open() -> None:
    """Same or other foot at 0.7: neither hop nor bound. So is a flight in which a contact was missed, and no number hangs on it."""
    made = flown("LLL", [0.32, 0.31, None], [1.2, 1.2, 1.2])
    doubted = [Flown(again=0.7, flight_s=0.32, falls=True, rise_m_per_s=1.2, whole=True), *made[1:]]
    assert kinds_of(doubted)[0] == "?"
    assert zero_of(kinds_of(doubted), doubted) == 0

    blurred = [
        Flown(again=0.4, flight_s=0.15, falls=True, rise_m_per_s=0.9, whole=True),
        *flown("RL", [0.12, None], [0.5, 3.0]),
    ]
    assert kinds_of(blurred) == ("run", "run", "jump")  # a flight that short is a running step's, whichever foot it was

    run = flown("RLRL", [0.12, 0.12, 0.1, None], [0.5, 0.5, 0.4, 3.0])
    missed = [Flown(again=1.0, flight_s=0.36, falls=False, rise_m_per_s=0.9, whole=True), *run]
    assert kinds_of(missed)[0] == "?"
    assert zero_of(kinds_of(missed), missed) == 4


@pytest.mark.parametrize(
    ("word", "plain"),
    [
        ("Bounds", "bounds"),
        ("4 alternate bounds into the pit", "bounds"),
        ("single-leg hops", "hops"),
        ("hop, step and jump", "a triple jump"),
        ("Triple jump", "a triple jump"),
        ("power skips", "skips"),
        ("box take-off", "a take-off from a box"),
        ("take-off drill", "take-offs"),
        ("take-off every third step", "take-offs"),
        ("mat drill", ""),
        ("full approach", ""),
    ],
)
def test_the_trades_words_are_understood(word: str, plain: str) -> None:
    assert plain_kind(word) == plain


def test_what_was_typed_is_checked_against_what_is_seen() -> None:
    none = float("nan")
    assert not kind_notices("bounds", ["bound", "bound", "jump"], 0.0)
    assert "show hops" in kind_notices("bounds", ["hop", "hop"], 0.0)[0].text
    assert "show bounds" in kind_notices("hops", ["bound", "bound"], none)[0].text
    assert "single take-off" in kind_notices("triple jump", ["jump"], none)[0].text
    assert not kind_notices("triple jump", ["hop", "step", "jump"], none)
    assert kind_notices("box take-off", ["jump"], 0.02)
    assert not kind_notices("box take-off", ["jump"], 0.25)
    assert not kind_notices("full approach", ["jump"], none)
    assert kind_notices("run-through", ["jump"], none)
    assert "no take-off" in kind_notices("bounds", [], none)[0].text
    assert not kind_notices("hops", ["?", "?"], none)  # where the feet are not certain nobody is contradicted
