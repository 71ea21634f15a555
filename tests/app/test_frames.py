"""Results and logbooks as tables for a notebook."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np

from penult.app.frames import logbook_frame
from penult.core.synthetic.invented import Form, trial
from penult.model.logbook import Choice
from penult.model.trial import Said, measures_of
from penult.outputs.folder.frames import COLUMNS, to_frame

ROOT = Path(__file__).resolve().parents[2]


def test_every_measure_has_a_row_with_its_unit_or_its_reason() -> None:
    said = Said(date="2026-10-03", session="hall", approach_strides=18, official_distance_m=6.12)
    one = trial(np.random.default_rng(2), Form(athlete="A1", kind="mat drill"), said)

    frame = to_frame([one])

    assert tuple(frame.columns) == COLUMNS
    assert len(frame) == len(measures_of(one.analysis))
    assert set(frame["date"]) == {"2026-10-03"}
    time = frame[(frame["part"] == "contacts") & (frame["number"] == -1) & (frame["measure"] == "contact_time_s")].iloc[
        0
    ]
    contact = one.analysis.contact(-1)
    assert contact is not None
    assert (time["value"], time["u95"], time["unit"]) == (
        contact.measures["contact_time_s"].value, contact.measures["contact_time_s"].u95, "s",  # type: ignore[union-attr]
    )  # fmt: skip
    share = frame[frame["measure"] == "penultimate_hip_drop_share"].iloc[0]
    assert np.isnan(share["value"])
    assert share["not_measured"] == "neither height nor leg length of the athlete is known"
    assert frame["number"].dtype == "Int64"
    assert len(to_frame([])) == 0


def test_a_logbook_is_read_whole_or_by_choice() -> None:
    """The sample season: two kinds; the drill lowers the hip by 3 to 5 cm (its README)."""
    place = ROOT / "samples" / "season" / "logbook"

    whole, drills = logbook_frame(place), logbook_frame(place, Choice(kind="mat drill"))

    assert set(drills["kind"]) == {"mat drill"}
    assert set(drills["kind"]) < set(whole["kind"])
    drop = drills[drills["measure"] == "penultimate_hip_drop_m"]
    assert drop["value"].notna().all()
    assert set(drop["unit"]) == {"m"}


def test_pandas_is_loaded_only_when_a_table_is_made() -> None:
    """It costs 0.4 s that nobody who analyses a clip should wait for."""
    code = "import sys, penult.app.frames, penult.cli; print('pandas' in sys.modules)"

    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert said.stdout.strip() == "False"
