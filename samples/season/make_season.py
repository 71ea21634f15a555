"""Make the demo season beside this file: `python samples/season/make_season.py`. The athletes and all numbers are invented.

Two months of a small group before the indoor season: drills over a mat, shortened run-ups, full approaches, a few
run-throughs. The same numbers come out every time.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from penult.adapters.logbook.book import opened
from penult.adapters.logbook.csv_folder import export
from penult.core.synthetic.invented import Form, Made, trial
from penult.model.analysis import Mat, Notice
from penult.model.logbook import Athlete, CoachNote, TapeResult
from penult.model.measured import Measured
from penult.model.trial import HipPath, Said, Trial
from penult.outputs.pictures.invented_still import INSTANTS, draw_invented

HERE = Path(__file__).parent
FIRST_DAY = date(2026, 9, 29)
SESSIONS = 9
PICTURED_SESSIONS = (2, 7)
PENULTIMATE_MAT = (Mat(number=-1, thickness_m=0.05),)


def main() -> None:
    """Write the exported logbook and the result folders with pictures."""
    rng = np.random.default_rng(20260929)
    shutil.rmtree(HERE / "results", ignore_errors=True)
    with tempfile.TemporaryDirectory() as aside, opened(Path(aside) / "season.sqlite", create=True) as log:
        log.put_athlete(Athlete(label="A1", sex="female", height_m=1.72, leg_length_m=0.91))
        log.put_athlete(Athlete(label="A2", sex="male", height_m=1.83))
        for number in range(SESSIONS):
            log.put_trials([_kept(t, number) for t in _session(rng, number)])
        log.put_tape(_tape())
        log.put_note(
            CoachNote(athlete="A1", date="2026-10-20", text="Foot set down flat on the mat for the first time.")
        )
        log.put_note(
            CoachNote(athlete="A1", date="2026-11-10", text="Tired from school week, two full approaches only.")
        )
        export(log, HERE / "logbook")


def _session(rng: np.random.Generator, number: int) -> list[Trial]:
    day = (FIRST_DAY + timedelta(days=7 * number)).isoformat()
    gone = number / (SESSIONS - 1)  # share of the two months that is over
    made = Made(lane=f"lane3-{'autumn' if number < 4 else 'winter'}.json")
    a1 = Form(athlete="A1", kind="full approach", hip_m=0.905, rise_m_per_s=2.75 + 0.12 * gone, speed_m_per_s=8.15)
    plans = [
        (3, replace(a1, kind="mat drill", approach_strides=13, mats=PENULTIMATE_MAT, speed_m_per_s=7.35,
                    hip_m=0.925, drop_m=0.036 - 0.030 * gone, foot_angle_deg=9.0 - 9.0 * gone)),
        (2, replace(a1, kind="short approach", approach_strides=12 + number // 3, speed_m_per_s=7.4 + 0.06 * (number // 3),
                    drop_m=0.045 - 0.016 * gone, foot_angle_deg=8.0 - 4.0 * gone)),
        (2, replace(a1, approach_strides=18, drop_m=0.058 - 0.03 * max(0.0, gone - 0.3), foot_angle_deg=9.0 - 4.0 * gone)),
    ]  # fmt: skip
    if number % 4 == 3:
        plans.append((1, replace(a1, kind="run-through", approach_strides=18, has_takeoff=False, drop_m=0.01)))
    if number % 2 == 0:
        a2 = Form(athlete="A2", kind="full approach", hip_m=0.965, takeoff_foot="right", speed_m_per_s=9.0, drop_m=0.04)
        plans.append(
            (
                2,
                replace(
                    a2, kind="mat drill", approach_strides=14, mats=PENULTIMATE_MAT, speed_m_per_s=8.1, drop_m=0.015
                ),
            )
        )
        plans.append((2, replace(a2, approach_strides=20, rise_m_per_s=3.0)))
    return [_clip(rng, form, day, number, made) for count, form in plans for form in [form] * count]


def _clip(rng: np.random.Generator, form: Form, day: str, number: int, made: Made) -> Trial:
    if rng.uniform() < 0.08:
        made = replace(
            made, warnings=(Notice(code="camera-moved", text="The camera moved by 3 mm; the clip was followed."),)
        )
    said = Said(date=day, session="Tuesday hall", approach_strides=form.approach_strides)
    one = trial(rng, form, said, made=made)
    flight, kind = one.analysis.takeoff.get("flight_distance_m"), form.kind.replace(" ", "-")
    if form.kind == "full approach" and isinstance(flight, Measured):
        distance = round(flight.value + 0.28 + float(rng.normal(0.0, 0.06)), 2)
        said = replace(said, official_distance_m=distance)
    file = f"{form.athlete}_{day[5:]}_{kind}_{int(rng.integers(100, 999))}.mp4"
    return replace(one, analysis=replace(one.analysis, clip=replace(one.analysis.clip, file=file)), said=said)


def _kept(one: Trial, number: int) -> Trial:
    """Return a clip as the demo keeps it: the last three contacts, a thin hip path, pictures for a few."""
    a = one.analysis
    a = replace(
        a, contacts=tuple(c for c in a.contacts if c.number >= -2), steps=tuple(s for s in a.steps if s.number >= -1)
    )
    one = replace(one, analysis=a, hip_path=_thin(one.hip_path))
    first = not (HERE / "results" / _folder(one)).exists()
    if number in PICTURED_SESSIONS and first and a.run.kind in ("mat drill", "full approach"):
        _draw(one, HERE / "results" / _folder(one))
        return replace(one, folder=f"../results/{_folder(one)}")
    return one


def _folder(one: Trial) -> str:
    return f"{one.analysis.run.athlete}_{one.said.date}_{one.analysis.run.kind.replace(' ', '-')}"


def _thin(path: HipPath | None) -> HipPath | None:
    if path is None:
        return None
    keep = np.linspace(0, len(path.time_s) - 1, 56).round().astype(int)
    return HipPath(
        time_s=path.time_s[keep].round(4), x_m=path.x_m[keep].round(3), height_m=path.height_m[keep].round(4)
    )


def _draw(one: Trial, folder: Path) -> None:
    stills = folder / "stills"
    stills.mkdir(parents=True)
    rows = []
    for contact, instant in INSTANTS:
        jpeg, row = draw_invented(one, contact, instant)
        (stills / row["file"]).write_bytes(jpeg)
        rows.append(row)
    text = json.dumps({"format": "penult-stills/1", "stills": rows}, indent=1) + "\n"
    (stills / "index.json").write_text(text, encoding="utf-8")


def _tape() -> list[TapeResult]:
    rows = [
        ("A1", "2026-09-29", "four bounds and a jump", 12.35, ""),
        ("A1", "2026-10-13", "four bounds and a jump", 12.52, ""),
        ("A1", "2026-11-03", "four bounds and a jump", 12.80, "new shoes"),
        ("A1", "2026-11-24", "four bounds and a jump", 12.94, ""),
        ("A1", "2026-10-11", "long jump, autumn meeting", 5.72, ""),
        ("A2", "2026-10-13", "four bounds and a jump", 15.10, ""),
        ("A2", "2026-11-24", "four bounds and a jump", 15.22, ""),
    ]
    return [TapeResult(athlete=a, date=d, event=e, distance_m=m, note=n) for a, d, e, m, n in rows]


if __name__ == "__main__":
    main()
