"""Measures of a run-up, and of many run-ups of one athlete together (MEASURES.md section 4a)."""

from __future__ import annotations

from penult.model.catalogue.entry import CM, M_PER_S, RATIO, SHARE, Entry

RUN_UP: tuple[Entry, ...] = (
    Entry(
        name="zone_speed_11_to_6_m_per_s",
        part="run_up",
        words="mean speed from 11 to 6 m before the line",
        shown_in=M_PER_S,
        definition=(
            "Five metres over the time that the whole-body centre of mass takes from 11 to 6 m before the take-off line: a zone "
            "of published competition reports."
        ),
        clock=True,
        board=True,
        headline={"season": {None: 23}},
    ),
    Entry(
        name="zone_speed_6_to_1_m_per_s",
        part="run_up",
        words="mean speed from 6 to 1 m before the line",
        shown_in=M_PER_S,
        definition="The same from 6 to 1 m before the take-off line.",
        clock=True,
        board=True,
        headline={"season": {None: 24}},
    ),
    Entry(
        name="stride_count",
        part="run_up",
        words="contacts of the whole run-up",
        shown_in=RATIO,
        definition="Contacts of the run-up up to contact 0, where its start is in the clip.",
        lane=False,
    ),
)

RUN_UPS: tuple[Entry, ...] = (
    Entry(
        name="approach_scatter_m",
        part="run_ups",
        words="scatter of the toe's place",
        shown_in=CM,
        definition=(
            "Standard deviation of the toe's place at one contact over at least three like run-ups, contacts counted back from the "
            "board, measurement uncertainty taken out."
        ),
        compared=False,
    ),
    Entry(
        name="steering_from_number",
        part="run_ups",
        words="contact from which the athlete steers",
        shown_in=RATIO,
        definition=(
            "The contact of the largest scatter, from which on it falls for good: from five run-ups on, with the probability that "
            "it is this one (resampling over the runs)."
        ),
        compared=False,
    ),
    Entry(
        name="adjustment_share",
        part="run_ups",
        words="share of the adjustment",
        shown_in=SHARE,
        definition=(
            "Share of one step in what is made up for between the largest scatter and the board, and its parts in flight time and "
            "contact time."
        ),
        compared=False,
    ),
)
"""Of many run-ups: their values stand on the page of the run-ups, none in the result of one clip."""
