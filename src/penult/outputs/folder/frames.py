"""Results as one table for a notebook: one row a measure, with its unit, what it belongs to, and why it is missing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pandas as pd

from penult.model import catalogue
from penult.model.measured import Measure, Measured
from penult.model.trial import Trial, measures_of

COLUMNS = (
    "file", "athlete", "kind", "date", "session", "approach_strides", "official_distance_m", "part", "number", "measure",
    "words", "value", "u95", "unit", "by_hand", "not_measured",
)  # fmt: skip


def to_frame(trials: Iterable[Trial]) -> pd.DataFrame:
    """Return every measure of some clips.

    Parameters
    ----------
    trials : iterable of Trial
        From result folders or a logbook.

    Returns
    -------
    pandas.DataFrame
        One row a measure, columns `COLUMNS`. `value` and `u95` (k = 2) are in SI units and degrees, as in `analysis.json`;
        `unit` is that of `value`. Both are NaN where the measure is missing, and `not_measured` says why. `number` is that of the
        contact, step or phase, missing for what there is once a clip.
    """
    rows = [row for trial in trials for row in _rows(trial)]
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    integers = ("number", "approach_strides")
    return frame.astype(
        {**dict.fromkeys(integers, "Int64"), "value": float, "u95": float, "official_distance_m": float}
    )


def _rows(trial: Trial) -> Iterable[dict[str, Any]]:
    run, said = trial.analysis.run, trial.said
    about = {
        "file": trial.analysis.clip.file,
        "athlete": run.athlete,
        "kind": run.kind,
        "date": said.date,
        "session": said.session,
        "approach_strides": said.approach_strides,
        "official_distance_m": said.official_distance_m,
    }
    for key, measure in measures_of(trial.analysis).items():
        entry = catalogue.described(key.name, key.part)
        yield {
            **about,
            "part": key.part,
            "number": key.number,
            "measure": key.name,
            "words": entry.words,
            "unit": entry.shown_in.si,
            **_value(measure),
        }


def _value(measure: Measure) -> dict[str, Any]:
    if isinstance(measure, Measured):
        return {"value": measure.value, "u95": measure.u95, "by_hand": measure.by_hand, "not_measured": ""}
    return {"value": None, "u95": None, "by_hand": False, "not_measured": measure.reason}
