"""A trial as rows of the logbook's tables, and back."""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import zip_longest
from typing import Any, get_args

import numpy as np

from penult.adapters.logbook.schema import NO_NUMBER
from penult.model.analysis import (
    Analysis,
    ClipRecord,
    Contact,
    Direction,
    Foot,
    JumpSequence,
    Mat,
    Notice,
    Phase,
    PhaseKind,
    Run,
    Step,
)
from penult.model.measured import Measure, Measured, NotMeasured
from penult.model.trial import HipPath, MeasureKey, Said, Trial, measures_of

PATH_POINTS = 120
"""Points of a hip path that are kept: 10 ms apart in a clip of 1.2 s, finer than a page can show."""

CLIP_COLUMNS = (
    "sha256", "run", "file", "athlete_id", "session_id", "kind", "approach_strides", "takeoff_foot", "direction",
    "has_takeoff", "official_distance_m", "note", "frames", "capture_rate_hz", "capture_rate_from", "first_frame_s",
    "penult", "pose_model_sha256", "calibration", "calibration_sha256", "method", "folder",
)  # fmt: skip


def clip_row(trial: Trial, athlete_id: int | None, session_id: int | None) -> tuple[Any, ...]:
    """Return the values of CLIP_COLUMNS."""
    a, said = trial.analysis, trial.said
    method = a.method
    return (
        a.clip.sha256, run_number(a), a.clip.file, athlete_id, session_id, a.run.kind, said.approach_strides,
        a.run.takeoff_foot, a.run.direction, int(a.run.has_takeoff), said.official_distance_m, said.note,
        a.clip.frames, a.clip.capture_rate_hz, a.clip.capture_rate_from, a.clip.first_frame_s,
        str(method.get("penult", "")), str(method.get("pose_model_sha256", "")), str(method.get("calibration", "")),
        str(method.get("calibration_sha256", "")),
        json.dumps(method, ensure_ascii=False, sort_keys=True, default=str), trial.folder,
    )  # fmt: skip


def run_number(analysis: Analysis) -> int:
    """Return which run of its clip a result is about."""
    settings = analysis.method.get("settings")
    run = settings.get("run", 1) if isinstance(settings, Mapping) else 1
    return run if isinstance(run, int) else 1


def contact_rows(clip_id: int, analysis: Analysis) -> list[tuple[Any, ...]]:
    """Return one row a contact, without its measures."""
    kinds = {p.number: p.kind for p in analysis.phases}
    return [
        (
            clip_id, c.number, c.foot, c.strike, int(c.wholly_seen), int(c.by_hand),
            *(c.span_s or (None, None)), c.lowest_s, kinds.get(c.number, "run"), int(c.foot_sure),
        )
        for c in analysis.contacts
    ]  # fmt: skip


def measure_rows(
    clip_id: int, analysis: Analysis, names: Mapping[tuple[str, str], int], reasons: Mapping[str, int]
) -> list[tuple[Any, ...]]:
    """Return one row a measure; `names` and `reasons` give the ids of the words."""
    rows: list[tuple[Any, ...]] = []
    for key, measure in measures_of(analysis).items():
        number = NO_NUMBER if key.number is None else key.number
        head = (clip_id, names[key.part, key.name], number)
        if isinstance(measure, Measured):
            rows.append((*head, measure.value, measure.u95, int(measure.by_hand), None))
        else:
            rows.append((*head, None, None, 0, reasons[measure.reason]))
    return rows


def path_blob(path: HipPath) -> bytes:
    """Return a hip path thinned out, as little-endian 32-bit floats: time, x, height of one point after the other."""
    n = len(path.time_s)
    keep = np.unique(np.linspace(0, n - 1, min(n, PATH_POINTS)).round().astype(int)) if n else np.zeros(0, dtype=int)
    points = np.stack([path.time_s, path.x_m, path.height_m], axis=1)[keep]
    return bytes(points.astype("<f4").tobytes())


def path_of(blob: bytes) -> HipPath:
    """Return the hip path in a blob; ValueError if it is not one."""
    points = np.frombuffer(blob, dtype="<f4").reshape(-1, 3).astype(np.float64)
    if not np.isfinite(points).all():
        raise ValueError("a hip path with a value that is no number")
    return HipPath(time_s=points[:, 0], x_m=points[:, 1], height_m=points[:, 2])


def method_of(text: str) -> dict[str, Any]:
    """Return the object that a clip's column `method` holds; TypeError or ValueError if it holds anything else."""
    found = json.loads(text)
    if not isinstance(found, dict):
        raise TypeError(f"method {text[:40]!r} is no object")
    return found


def _one_of(words: Sequence[Any], got: Any) -> Any:
    """Return one of the words that penult writes; ValueError if it is none, because pages and measures choose by it."""
    if got not in words:
        raise ValueError(f"{str(got)[:40]!r} is none of {', '.join(map(str, words))}")
    return got


class Reader:
    """Rows of chosen clips put back together as trials.

    Parameters
    ----------
    connection : sqlite3.Connection
        Of a logbook.
    ids : sequence of int
        Of the clips, in the order in which the trials are wanted.
    last : int
        Contacts and steps before this number are left out.
    """

    def __init__(self, connection: sqlite3.Connection, ids: Sequence[int], last: int) -> None:
        self.connection, self.ids, self.last = connection, list(ids), last
        connection.execute("CREATE TEMP TABLE IF NOT EXISTS chosen (id INTEGER PRIMARY KEY)")
        connection.execute("DELETE FROM chosen")
        connection.executemany("INSERT INTO chosen VALUES (?)", ((i,) for i in self.ids))

    def trials(self, names: Sequence[str] | None = None) -> list[Trial]:
        """Return the trials; with `names` only those measures."""
        measures = self._measures(names)
        contacts = self._grouped("SELECT clip_id, number, foot, strike, wholly_seen, by_hand, start_s, end_s, lowest_s,"
                                 " kind, foot_sure FROM contact JOIN chosen ON id = clip_id ORDER BY number")  # fmt: skip
        mats = self._grouped("SELECT clip_id, number, thickness_m FROM mat JOIN chosen ON id = clip_id")
        warnings = self._grouped("SELECT clip_id, code, text FROM warning JOIN chosen ON id = clip_id ORDER BY place")
        found = {
            int(row["id"]): _trial(row, measures[row["id"]], contacts[row["id"]], mats[row["id"]], warnings[row["id"]])
            for row in self._clips()
        }
        return [found[i] for i in self.ids if i in found]

    def _clips(self) -> Iterable[dict[str, Any]]:
        cursor = self.connection.execute(
            "SELECT clip.*, athlete.label AS label, athlete.sex AS sex, athlete.height_m AS height_m,"
            " session.name AS session, session.date AS date FROM clip JOIN chosen USING (id)"
            " LEFT JOIN athlete ON athlete.id = athlete_id LEFT JOIN session ON session.id = session_id"
        )
        columns = [c[0] for c in cursor.description]
        return (dict(zip(columns, row, strict=True)) for row in cursor)

    def _grouped(self, sql: str) -> defaultdict[int, list[tuple[Any, ...]]]:
        found: defaultdict[int, list[tuple[Any, ...]]] = defaultdict(list)
        for clip_id, *row in self.connection.execute(sql):
            found[clip_id].append(tuple(row))
        return found

    def _measures(self, names: Sequence[str] | None) -> defaultdict[int, list[tuple[MeasureKey, Measure]]]:
        words = {
            int(i): (str(part), str(name))
            for i, part, name in self.connection.execute("SELECT id, part, name FROM name")
        }
        wanted = [i for i, (_, name) in words.items() if names is None or name in names]
        reasons = {
            int(i): NotMeasured(reason=str(t)) for i, t in self.connection.execute("SELECT id, text FROM reason")
        }
        # a plain loop: a season reads tens of thousands of rows here
        keys: dict[tuple[int, int], MeasureKey] = {}
        found: defaultdict[int, list[tuple[MeasureKey, Measure]]] = defaultdict(list)
        marks = ",".join("?" * len(wanted))
        rows = self.connection.execute(
            "SELECT clip_id, name_id, number, value, u95, by_hand, reason_id FROM chosen CROSS JOIN measure"
            f" ON clip_id = id WHERE number >= ? AND name_id IN ({marks})",
            (self.last, *wanted),
        )
        for clip_id, name_id, number, value, u95, by_hand, reason_id in rows:
            key = keys.get((name_id, number))
            if key is None:
                key = keys[name_id, number] = MeasureKey(
                    words[name_id][0], None if number == NO_NUMBER else number, words[name_id][1]
                )
            measure: Measure
            measure = reasons[reason_id] if value is None else Measured(value=value, u95=u95, by_hand=bool(by_hand))
            found[clip_id].append((key, measure))
        return found


def _trial(
    row: Mapping[str, Any],
    measures: Sequence[tuple[MeasureKey, Measure]],
    contacts: Sequence[tuple[Any, ...]],
    mats: Sequence[tuple[Any, ...]],
    warnings: Sequence[tuple[Any, ...]],
) -> Trial:
    parts: defaultdict[tuple[str, int | None], dict[str, Measure]] = defaultdict(dict)
    for key, measure in measures:
        parts[key.part, key.number][key.name] = measure
    steps = sorted(n for part, n in parts if part == "steps" and n is not None)
    known = tuple(_contact(c, parts["contacts", c[0]]) for c in contacts if ("contacts", c[0]) in parts)
    phases = _phases(known, {c[0]: _one_of(get_args(PhaseKind), c[8]) for c in contacts}, parts)
    analysis = Analysis(
        clip=ClipRecord(
            file=row["file"],
            sha256=row["sha256"],
            frames=row["frames"],
            capture_rate_hz=row["capture_rate_hz"],
            capture_rate_from=row["capture_rate_from"],
            first_frame_s=row["first_frame_s"],
        ),
        run=Run(
            direction=_one_of(get_args(Direction), row["direction"]),
            kind=row["kind"],
            has_takeoff=bool(row["has_takeoff"]),
            mats=tuple(Mat(number=n, thickness_m=t) for n, t in mats),
            athlete=row["label"] or "",
            takeoff_foot=_one_of((*get_args(Foot), None), row["takeoff_foot"]),
            sex=row["sex"],
            height_m=row["height_m"],
            phases=tuple((p.number, p.kind) for p in phases),
        ),
        contacts=known,
        steps=tuple(Step(number=n, measures=parts["steps", n]) for n in steps),
        penultimate=parts["penultimate", None],
        takeoff=parts["takeoff", None],
        run_up=parts["run_up", None],
        checks=parts["checks", None],
        warnings=tuple(Notice(code=code, text=text) for code, text in warnings),
        method=method_of(row["method"]),
        phases=phases,
        sequence=_sequence(known, phases, parts["sequence", None]),
    )
    said = Said(
        date=row["date"] or "",
        session=row["session"] or "",
        approach_strides=row["approach_strides"],
        official_distance_m=row["official_distance_m"],
        note=row["note"],
    )
    return Trial(analysis=analysis, said=said, folder=row["folder"])


def _phases(
    contacts: Sequence[Contact],
    kinds: Mapping[int, PhaseKind],
    parts: Mapping[tuple[str, int | None], Mapping[str, Measure]],
) -> tuple[Phase, ...]:
    """Phases from the kinds of the contacts; a landing in the sand is one with a distance and no contact after it."""
    ordered = sorted(contacts, key=lambda c: c.number)
    found = []
    for contact, after in zip_longest(ordered, ordered[1:]):
        if (kind := kinds[contact.number]) == "run" or contact.number < 0:
            continue
        measures = parts.get(("phases", contact.number), {})
        sand = isinstance(measures.get("distance_m"), Measured)
        lands: Any = after.told_foot if after else "sand" if sand else ""
        found.append(Phase(number=contact.number, kind=kind, foot=contact.told_foot, lands_on=lands, measures=measures))
    return tuple(found)


def _sequence(
    contacts: Sequence[Contact], phases: Sequence[Phase], measures: Mapping[str, Measure]
) -> JumpSequence | None:
    if not phases:
        return None
    ordered = sorted(contacts, key=lambda c: c.number)
    first = next((i for i, c in enumerate(ordered) if c.wholly_seen), 0)
    kinds = {p.number: p.kind for p in phases}
    lengths = [m for p in phases if isinstance(m := p.measures.get("distance_m"), Measured)]
    total = sum(m.value for m in lengths)
    return JumpSequence(
        first_contact=ordered[first].number,
        feet="".join(c.told_foot[0].upper() for c in ordered[first:]),
        kinds=tuple(kinds.get(c.number, "run") for c in ordered[first:]),
        measures=measures,
        shares_of_whole_phases=tuple(
            Measured(value=m.value / total, u95=m.u95 / total) for m in lengths if total > 0.0
        ),
        began_before=all(c.number >= 0 for c in ordered),
    )


def _contact(row: tuple[Any, ...], measures: Mapping[str, Measure]) -> Contact:
    number, foot, strike, wholly_seen, by_hand, start_s, end_s, lowest_s, _, foot_sure = row
    span = None if start_s is None or end_s is None else (start_s, end_s)
    return Contact(
        number=number,
        foot=_one_of(get_args(Foot), foot),
        measures=measures,
        lowest_s=lowest_s,
        span_s=span,
        strike=strike,
        wholly_seen=bool(wholly_seen),
        foot_sure=bool(foot_sure),
        by_hand=bool(by_hand),
    )
