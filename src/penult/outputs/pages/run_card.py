"""One run as the page of a running session shows it: a few numbers in large digits, beside other runs on one scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from penult.core.clips.groups import mats_words
from penult.model.analysis import Analysis
from penult.model.measured import Measure, Measured
from penult.model.session import ClipOutcome
from penult.model.trial import Trial
from penult.outputs.texts import drops, words
from penult.outputs.texts.plain import shown

Row = tuple[str, str, Measure | None]


def card(outcome: ClipOutcome, *, has_pictures: bool) -> dict[str, Any]:
    """Return one run as plain data for the page."""
    analysis = outcome.analysis
    base = {
        "file": outcome.file,
        "shown": shown(outcome.file, 80),
        "error": [shown(line, 400) for line in outcome.error.split("\n") if line],
        "pictures": has_pictures,
        "distance": outcome.said.official_distance_m,
        "note": shown(outcome.said.note, 300),
    }
    if analysis is None:
        return {**base, "athlete": "", "kind": "", "mats": "", "rows": [], "warnings": [], "finding": ""}
    return {
        **base,
        "athlete": shown(analysis.run.athlete, 60),
        "kind": shown(analysis.run.kind, 60),
        "mats": mats_words(Trial(analysis=analysis, said=outcome.said).mats),
        "rows": [_row(*row) for row in rows_of(analysis)],
        "warnings": [words.code_words(w.code) for w in analysis.warnings],
        "finding": drops.finding(analysis),
    }


def rows_of(analysis: Analysis) -> list[Row]:
    """Return the measures that stand large, in the order of the run: name, words, value."""
    before, last = analysis.contact(-1), analysis.contact(0)
    step = analysis.step(0)
    names = (drops.RUNWAY, drops.SUPPORT) if drops.has_mats(analysis) else (drops.RUNWAY,)
    found: list[Row] = [(n, f"hip drop {drops.NAMES[n]}", analysis.penultimate.get(n)) for n in names]
    found += [
        ("contact_time_s:-1", "penultimate contact", before.measures.get("contact_time_s") if before else None),
        ("contact_time_s:0", "take-off contact", last.measures.get("contact_time_s") if last else None),
    ]
    found += [
        (name, said, analysis.takeoff[name])
        for name, said in (
            ("takeoff_angle_deg", "take-off angle"),
            ("approach_speed_m_per_s", "approach speed"),
            ("toe_to_board_m", "toe behind the line"),
        )
        if name in analysis.takeoff
    ]
    if step and "step_length_ratio" in step.measures:
        found.append(("step_length_ratio", "last step to the one before", step.measures["step_length_ratio"]))
    return found


def longest(outcomes: Sequence[ClipOutcome], athlete: str) -> tuple[ClipOutcome | None, str]:
    """Return an athlete's longest jump of the day and what that rests on: the tape, else the estimated flight, else the speed."""
    own = [c for c in outcomes if c.analysis is not None and c.analysis.run.athlete == athlete]
    taped = [(c.said.official_distance_m, c) for c in own if c.said.official_distance_m is not None]
    if taped:
        length, best = max(taped, key=lambda pair: pair[0])
        return best, f"longest today, {length:.2f} m by tape"
    for name, what in (
        ("flight_distance_m", "longest flight today, estimated"),
        ("approach_speed_m_per_s", "fastest today"),
    ):
        known = [
            (m.value, m, c)
            for c in own
            if c.analysis is not None and isinstance(m := c.analysis.takeoff.get(name), Measured)
        ]
        if known:
            _, measure, best = max(known, key=lambda one: one[0])
            return best, f"{what} {words.shown(name, measure).text}"
    return None, ""


def change(now: Analysis, before: Analysis) -> list[dict[str, Any]]:
    """Return each large number's difference to another run, with what the measurement leaves open."""
    others = {key: measure for key, _, measure in rows_of(before)}
    out = []
    for key, said, measure in rows_of(now):
        other = others.get(key)
        if isinstance(measure, Measured) and isinstance(other, Measured):
            term = words.term(key.partition(":")[0])
            half = term.scale * math.hypot(measure.u95, other.u95)
            places = words.decimals(half)
            value = term.scale * (measure.value - other.value)
            text = f"{words.number(value, places, sign=True)} {words.PLUS_MINUS} {words.number(half, places)}"
            out.append({"key": key, "said": said, "text": text + words.spaced(term.unit), "apart": abs(value) > half})
    return out


def _row(key: str, said: str, measure: Measure | None) -> dict[str, Any]:
    name = key.partition(":")[0]
    text = words.shown(name, measure)
    term = words.term(name)
    known = isinstance(measure, Measured)
    return {
        "key": key,
        "said": said,
        "value": text.value,
        "u95": text.u95,
        "unit": words.spaced(text.unit),
        "reason": text.reason,
        "at": term.scale * measure.value if isinstance(measure, Measured) else None,
        "half": term.scale * measure.u95 if known and isinstance(measure, Measured) else None,
    }
