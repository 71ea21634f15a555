"""What the page says of a series: the ground line, three numbers, and one row a phase. Data for the template."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from penult.core.checks.said_kind import seen_words
from penult.model import catalogue
from penult.model.analysis import Analysis, Phase
from penult.outputs.charts import ground_line
from penult.outputs.texts import references, words

_COLUMNS = (
    "distance_m",
    "contact_time_s",
    "flight_time_s",
    "speed_in_m_per_s",
    "speed_loss_m_per_s",
    "takeoff_velocity_x_m_per_s",
    "takeoff_velocity_y_m_per_s",
    "takeoff_angle_deg",
    "flight_height_m",
    "mass_centre_rise_m",
    "flight_contact_ratio",
)
_FEET = {"left": "L", "right": "R", "?": "?", "sand": "sand", "": words.DASH}


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Everything that the page shows of a series."""

    seen: str
    feet: str
    drawing_wide: Markup
    drawing_narrow: Markup
    alt: str
    heights: str
    headlines: list[dict[str, Any]]
    columns: tuple[str, ...]
    rows: list[dict[str, Any]]
    facts: list[tuple[str, str, words.Shown]]
    missing: str
    ratio: str
    published_ratio: str
    began_before: bool


def series(analysis: Analysis) -> Series | None:
    """Return what is to be shown of bounds, hops, skips, a triple jump or several take-offs; None for a single one or a run."""
    sequence = analysis.sequence
    if sequence is None or not analysis.run.is_series:
        return None
    phases = sorted(analysis.phases, key=lambda p: p.number)
    facts = [
        (n, words.term(n).words, words.shown(n, sequence.measures.get(n)))
        for n in catalogue.names("sequence")
        if n in sequence.measures
    ]
    if (hop := phases[0].measures.get("hop_from_board_m")) is not None:
        facts.insert(
            0, ("hop_from_board_m", words.term("hop_from_board_m").words, words.shown("hop_from_board_m", hop))
        )
    return Series(
        seen=words.capitalised(seen_words([p.kind for p in phases])),
        feet=" ".join(sequence.feet),
        drawing_wide=Markup(ground_line.ground_line_svg(analysis, "wide")),
        drawing_narrow=Markup(ground_line.ground_line_svg(analysis, "narrow")),
        alt=ground_line.alt_text(analysis),
        heights=f"{ground_line.HEIGHTS:g}",
        headlines=_headlines(analysis),
        columns=_COLUMNS,
        rows=[_row(analysis, phase) for phase in phases],
        facts=[f for f in facts if not f[2].reason],
        missing=_missing([(label, shown.reason) for _, label, shown in facts if shown.reason]),
        ratio=words.ratio_text(analysis),
        published_ratio=references.ratio_beside(analysis),
        began_before=sequence.began_before,
    )


def _missing(told: list[tuple[str, str]]) -> str:
    """What has no value, those with the same reason together."""
    reasons = dict.fromkeys(reason for _, reason in told)
    return "; ".join(
        f"{', '.join(label for label, r in told if r == reason)}: not measured, {reason}" for reason in reasons
    )


def _row(analysis: Analysis, phase: Phase) -> dict[str, Any]:
    return {
        "name": words.phase_words(phase.number, phase.kind, analysis.run),
        "feet": f"{_FEET[phase.foot]} → {_FEET[phase.lands_on]}",
        "cells": [words.shown(n, phase.measures.get(n)) for n in _COLUMNS],
    }


def _headlines(analysis: Analysis) -> list[dict[str, Any]]:
    """Return three numbers: how far, how fast it stayed, and how long the feet stood."""
    sequence = analysis.sequence
    measures = sequence.measures if sequence else {}
    names = ("distance_of_whole_phases_m", "speed_kept_share")
    out = [
        {"name": n, "words": words.term(n).words, "values": [("", "", words.shown(n, measures.get(n)))]} for n in names
    ]
    phases = sorted(analysis.phases, key=lambda p: p.number)
    ends = [phases[0], phases[-1]] if len(phases) > 1 else phases
    times = [
        (
            _FEET[p.foot],
            words.phase_words(p.number, p.kind, analysis.run),
            words.shown("contact_time_s", p.measures.get("contact_time_s")),
        )
        for p in ends
    ]
    return [*out, {"name": "contact_time_s", "words": "first and last contact time", "values": times}]
