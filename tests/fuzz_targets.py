"""Every reader of files that others may have written, with sound files to begin from: what `fuzzing` breaks."""

from __future__ import annotations

import io
import json
import os
import random
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from films_to_break import films
from fuzzing import Target
from penult.adapters.caches import keypoint_cache
from penult.adapters.files import (
    corrections_text,
    lens_file,
    marks_csv,
    result_file,
    result_folder,
    session_file,
    session_state,
)
from penult.adapters.files.lane_file import read_lane, read_still
from penult.adapters.files.sighting_file import NAME, read_sighting
from penult.adapters.film import video
from penult.adapters.logbook import book
from penult.adapters.logbook.csv_folder import export, import_folder
from penult.adapters.pictures.still_source import read_picture
from penult.core.lane.fit import fit_lane
from penult.errors import LogbookError
from penult.model.analysis import Mat, Notice
from penult.model.calibration import Lens
from penult.model.corrections import Corrections, FootChanged, InstantMoved, KindSet, MatsSet
from penult.model.logbook import Athlete, Choice, CoachNote, TapeResult
from penult.model.measured import NotMeasured
from penult.model.trial import Said

ROOT = Path(__file__).resolve().parents[1]


def _file(name: str, read: Callable[[Path], object], *, whole: bool = False) -> Callable[[bytes, Path], object]:
    """A reader of a path (or, `whole`, of the folder that the file lies in)."""

    def run(data: bytes, folder: Path) -> object:
        path = folder / name
        path.write_bytes(data)
        return read(folder if whole else path)

    return run


def _lane(path: Path) -> object:
    return fit_lane(read_lane(path)) if random.random() < 0.02 else read_lane(path)


def _key(folder: Path) -> object:
    """A keypoint entry: read through the cache's own folder."""
    os.environ["PENULT_CACHE"] = str(folder)
    return keypoint_cache.read("k")


def _logbook(path: Path) -> object:
    try:
        with book.opened(path) as log:
            log.check()
            return [log.contents(), log.labels(), log.trials(Choice())]
    finally:
        for beside in path.parent.glob(path.name + "-*"):
            beside.unlink()


def _clip(path: Path) -> object:
    """Open it, read every picture, and one from its middle on."""
    clip = video.open_clip(path)
    assert sum(1 for _ in video.grey_frames(path, clip)) <= len(clip.time_s)
    return next(iter(video.frames(path, clip, first=len(clip.time_s) // 2)), None)


def _import(table: str, files: dict[str, bytes], empty: bytes) -> Callable[[bytes, Path], object]:
    """Import an export, of which one table is broken, into an empty logbook; what was let in has to be readable."""

    def run(data: bytes, folder: Path) -> object:
        place = folder / "export"
        place.mkdir(exist_ok=True)
        for name, content in files.items():
            (place / name).write_bytes(content if name != table else data)
        path = folder / "import.sqlite"
        path.write_bytes(empty)
        try:
            with book.opened(path) as log:
                import_folder(log, place)
                return _all_of(log)
        finally:
            for file in folder.glob("import.sqlite*"):
                file.unlink()

    return run


def _all_of(log: book.Logbook) -> object:
    """Read whatever commands read of a logbook; what an import let in is no damage."""
    try:
        log.check()
        trials = log.trials(Choice(), last=-1000)
        paths = [log.hip_path(t) for t in trials]
        people = [(log.athlete(label), log.tape(label), log.notes(label)) for label in log.labels()]
        return trials, paths, people, log.contents()
    except LogbookError as error:
        raise AssertionError(f"imported, but: {error}") from error


def targets(result: Path, work: Path) -> list[Target]:
    """Return every reader with sound files: of a sample lane, and of a result folder."""
    lane = (ROOT / "samples" / "full_240" / "lane.json").read_bytes()
    analysis, motion = (result / "analysis.json").read_bytes(), (result / "motion.npz").read_bytes()
    corrections = _corrections()
    said = json.dumps(
        {"format": "penult-said/1", "date": "2026-05-01", "session": "x", "approach_strides": 9, "note": "n"}
    )
    state = json.dumps({"format": session_state.FORMAT, "clips": {"a.mp4": {"status": "done", "key": "x"}}})
    book, exported = _filled_logbook(result, work)
    entry = io.BytesIO()
    np.savez_compressed(entry, frame=np.arange(4), joints=np.zeros((4, 17, 3), np.float32))
    files = ["a.mp4", "b.mp4"]
    session = session_file.template(files)
    out = [
        Target("lane file", (lane,), _file("lane.json", _lane)),
        Target("corrections", (corrections,), lambda data, _: corrections_text.from_text(data)),
        Target("analysis", (analysis,), _file("analysis.json", result_file.read_analysis)),
        Target("motion", (motion,), _file("motion.npz", result_file.read_motion), "npz"),
        Target("sighting", ((result / NAME).read_bytes(),), _file(NAME, read_sighting, whole=True), "npz"),
        Target("keypoint cache", (entry.getvalue(),), _file("k.npz", _key, whole=True), "npz"),
        Target("said", (said.encode(),), _file("said.json", result_folder.read_said, whole=True)),
        Target(
            "hip path",
            ((result / "hip_path.csv").read_bytes(),),
            _file("hip_path.csv", result_folder.read_hip_path),
            "csv",
        ),
        Target(
            "session file",
            (session, SESSION),
            _file("session.csv", lambda p: session_file.read_session(p, files)),
            "csv",
        ),
        Target("session state", (state.encode(),), _file(session_state.STATE, session_state.read_state, whole=True)),
        Target("lens file", (_lens(),), _file("lens.json", lens_file.read_lens)),
        Target("table of marks", (MARKS,), _file("marks.csv", marks_csv.read_marks), "csv"),
        Target("table of markers", (PLACES,), _file("places.csv", lambda p: marks_csv.read_places(p, 0.2)), "csv"),
        Target("picture", _pictures(), _file("still.png", read_picture), "bytes"),
        Target("still of a lane", _pictures(), _still(lane), "bytes"),
        Target("clip", films(work), _file("clip.mp4", _clip), "film"),
        Target("logbook", (book,), _file("log.sqlite", _logbook), "bytes"),
    ]
    tables = sorted(n for n in exported if n.endswith(".csv"))
    empty = _empty_logbook(work)
    return out + [Target(f"logbook {n}", (exported[n],), _import(n, exported, empty), "csv") for n in tables]


MARKS = b"name,pixel_x,pixel_y,x_m,y_m,z_m\na,10,20,-6,0,0\nb,11,22.5,-6,1,0\nc,300,20,1,0,0\n"
PLACES = b"marker,x_m,y_m,z_m,side_m,lies\n3,-6.5,0.4,0,0.2,upright\n4,1,0,0,,flat\n"
ROWS = 8
STILL_SIZE_PX = (40, 30)
SESSION = b"file,athlete,kind\na.mp4,A1,full approach\nb.mp4,A2,mat drill\n"


def _lens() -> bytes:
    lens = Lens(fx_px=1500.0, fy_px=1500.0, cx_px=960.0, cy_px=540.0, k1=0.01, k2=-0.001)
    return lens_file.lens_text(lens, (1920, 1080)).encode()


def _still(lane: bytes) -> Callable[[bytes, Path], object]:
    content = {**json.loads(lane), "still": "still.jpg", "image_size_px": STILL_SIZE_PX}

    def run(data: bytes, folder: Path) -> object:
        path = folder / "with_still.json"
        path.write_text(json.dumps(content))
        (folder / "still.jpg").write_bytes(data)
        return read_still(path, read_lane(path))

    return run


def _pictures() -> tuple[bytes, ...]:
    width, height = STILL_SIZE_PX
    picture = np.random.default_rng(1).integers(0, 255, (height, width, 3), dtype=np.uint8)
    coded = [cv2.imencode(suffix, picture)[1].tobytes() for suffix in (".png", ".jpg", ".bmp", ".tiff", ".webp")]
    return tuple(coded)


def _corrections() -> bytes:
    """One correction of every kind that a sound file may hold."""
    moved = InstantMoved(near_frame=100.0, instant="touchdown", to_frame=101.5)
    done = (
        moved,
        KindSet(kind="full approach"),
        FootChanged(near_frame=90.0, foot="left"),
        MatsSet(mats=(Mat(number=-1, thickness_m=0.05),)),
    )
    return corrections_text.to_text(
        Corrections(clip_sha256="0" * 64, run=1, at=None, done=done, undone=(moved,))
    ).encode()


def _filled_logbook(result: Path, work: Path) -> tuple[bytes, dict[str, bytes]]:
    """A logbook with something in every table, and its export."""
    path = work / "seed.sqlite"
    trial = result_folder.read_trial(result)
    run = replace(trial.analysis.run, athlete="A1", mats=(Mat(number=-1, thickness_m=0.05),))
    lacking = {**trial.analysis.takeoff, "toe_to_board_m": NotMeasured(reason="r")}  # the last row of its table
    warned = replace(trial.analysis, run=run, warnings=(Notice(code="few", text="t"),), takeoff=lacking)
    said = Said(date="2026-05-01", session="s", approach_strides=9, official_distance_m=5.5, note="n")
    with book.opened(path, create=True) as log:
        log.put_trials(
            [replace(trial, analysis=warned, said=said)], session_folder="f", corrections=[_corrections().decode()]
        )
        log.put_athlete(Athlete(label="A1", sex="female", height_m=1.7, leg_length_m=0.8))
        log.put_tape([TapeResult(athlete="A1", date="2026-05-01", event="long jump", distance_m=5.5, note="t")])
        log.put_note(CoachNote(athlete="A1", date="2026-05-01", text="n"))
        export(log, work / "seed_export")
    tables = {p.name: _short(p.read_bytes()) for p in (work / "seed_export").iterdir() if p.is_file()}
    return _in_one_file(path), tables


def _empty_logbook(work: Path) -> bytes:
    path = work / "empty.sqlite"
    with book.opened(path, create=True):
        pass
    return _in_one_file(path)


def _in_one_file(path: Path) -> bytes:
    """Return a logbook's file when nothing is left beside it."""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.execute("PRAGMA journal_mode = DELETE")
    return path.read_bytes()


def _short(table: bytes) -> bytes:
    """Return a table's first and last rows, which hold every kind of row: quicker by far."""
    lines = table.splitlines(keepends=True)
    return table if len(lines) <= 2 * ROWS else b"".join([*lines[: ROWS + 1], *lines[-ROWS:]])
