"""A session in one go: resumed, never stopped by one clip, in one process or several."""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest

from penult.adapters.logbook.book import opened
from penult.app.session import refresh_page, run_session, write_template
from penult.core.synthetic.invented import Form, trial
from penult.errors import InputError, LogbookError, NoAthleteError, OutputError
from penult.model.analysis import Analysis
from penult.model.logbook import Athlete, Choice
from penult.model.settings import Settings
from penult.model.trial import Said
from penult.outputs.folder.result import analysis_to_json
from penult.whole_file import told


def fake(calls: list[str], clip: Path, settings: Settings, out: Path) -> Analysis:
    """Stand in for the analysis: invented numbers, the failures that a clip's name asks for."""
    calls.append(clip.name)
    return fake_alone(clip, settings, out)


def fake_alone(clip: Path, settings: Settings, out: Path) -> Analysis:
    """The same for other processes; 'killer' dies the hard way."""
    if "nobody" in clip.name:
        raise NoAthleteError(f"nobody runs along the lane in {clip.name}", next_step="film again")
    if "bug" in clip.name:
        raise ZeroDivisionError("float division by zero")
    if "killer" in clip.name:
        os._exit(9)
    one = trial(
        np.random.default_rng(1), Form(athlete=settings.athlete, kind=settings.kind), Said(), file=told(clip.name)
    ).analysis
    sha256 = hashlib.sha256(clip.read_bytes()).hexdigest()
    one = replace(one, clip=replace(one.clip, sha256=sha256))
    out.mkdir(exist_ok=True)
    (out / "analysis.json").write_text(analysis_to_json(one), encoding="utf-8")
    return one


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder of four clips and a lane file."""
    path = tmp_path / "Tuesday hall"
    path.mkdir()
    for name in ("a.mp4", "b_nobody.mp4", "c_bug.MOV", "d läufer 跳.mp4"):
        (path / name).write_bytes(name.encode())
    (path / "notes.txt").write_text("no clip", encoding="utf-8")
    (tmp_path / "lane.json").write_text("{}", encoding="utf-8")
    return path


def run(folder: Path, calls: list[str], **more: object) -> object:
    return run_session(folder, folder.parent / "lane.json", partial(fake, calls), **more)  # type: ignore[arg-type]


def test_one_clips_failure_never_stops_the_rest(folder: Path) -> None:
    """A clip that cannot answer and one that meets a bug of ours: both named, the others done, status says 'our fault'."""
    calls: list[str] = []
    session = run_session(folder, folder.parent / "lane.json", partial(fake, calls))

    assert calls == ["a.mp4", "b_nobody.mp4", "c_bug.MOV", "d läufer 跳.mp4"]
    assert [c.exit_status for c in session.clips] == [0, 3, 1, 0]
    assert session.exit_status == 1
    page = (folder / "session.html").read_text(encoding="utf-8")
    assert "nobody runs along the lane" in page
    assert "ZeroDivisionError" in page


def test_an_interrupted_session_goes_on_where_it_stopped(folder: Path) -> None:
    """Ctrl-C in the third clip: the page of the first two is there, and the next run starts with the third."""
    calls: list[str] = []

    def interrupted(clip: Path, settings: Settings, out: Path) -> Analysis:
        if "bug" in clip.name:
            raise KeyboardInterrupt
        return fake(calls, clip, settings, out)

    with pytest.raises(KeyboardInterrupt):
        run_session(folder, folder.parent / "lane.json", interrupted)
    assert "a.mp4" in (folder / "session.html").read_text(encoding="utf-8")

    calls.clear()
    session = run_session(folder, folder.parent / "lane.json", partial(fake, calls))
    assert "a.mp4" not in calls
    assert calls == ["b_nobody.mp4", "c_bug.MOV", "d läufer 跳.mp4"]
    assert [c.is_new for c in session.clips] == [False, True, True, True]


def test_another_word_or_lane_file_or_clip_asks_for_a_new_result(folder: Path) -> None:
    """What is kept is kept for the same question only."""
    calls: list[str] = []
    run(folder, calls)
    calls.clear()
    run(folder, calls)
    assert "a.mp4" not in calls

    (folder / "session.csv").write_text("file,kind\na.mp4,mat drill\n", encoding="utf-8")
    run(folder, calls)
    assert calls.count("a.mp4") == 1

    (folder.parent / "lane.json").write_text("{ }", encoding="utf-8")
    run(folder, calls)
    assert calls.count("a.mp4") == 2

    (folder / "a.mp4").write_bytes(b"another film")
    run(folder, calls)
    assert calls.count("a.mp4") == 3

    (folder / "a_analysis" / "analysis.json").write_text("{broken", encoding="utf-8")
    run(folder, calls)
    assert calls.count("a.mp4") == 4


def test_what_was_said_reaches_result_and_logbook(folder: Path) -> None:
    """Athlete profile from the logbook into the settings; strides, distance, note and date into the logbook."""
    book = folder.parent / "log.sqlite"
    seen: list[Settings] = []
    with opened(book, create=True) as log:
        log.put_athlete(Athlete(label="A1", sex="female", height_m=1.7, leg_length_m=0.9))
    (folder / "session.csv").write_text(
        "file,athlete,approach strides,official distance,note\na.mp4,a1,18,6.12,flat\n", encoding="utf-8"
    )

    def one(clip: Path, settings: Settings, out: Path) -> Analysis:
        seen.append(settings)
        return fake_alone(clip, settings, out)

    run_session(folder, folder.parent / "lane.json", one, date="2026-10-06", logbook=book)

    assert (seen[0].athlete, seen[0].sex, seen[0].height_m, seen[0].leg_length_m) == ("A1", "female", 1.7, 0.9)
    with opened(book) as log:
        kept = log.trials(Choice(athlete="A1"))[0]
    assert (kept.said.approach_strides, kept.said.official_distance_m, kept.said.note) == (18, 6.12, "flat")
    assert (kept.said.date, kept.said.session) == ("2026-10-06", "Tuesday hall")
    assert kept.folder == str(folder / "a_analysis")


def test_a_faulty_session_file_stops_before_anything_is_analysed(folder: Path) -> None:
    """Better a minute at the keyboard than an hour of wrong settings."""
    calls: list[str] = []
    (folder / "session.csv").write_text("file,mats\na.mp4,thick\n", encoding="utf-8")
    with pytest.raises(LogbookError, match="faults"):
        run(folder, calls)
    assert not calls


def test_a_folder_without_clips_or_lane_file_is_named(folder: Path, tmp_path: Path) -> None:
    """Two plain errors."""
    with pytest.raises(InputError, match="no clips"):
        run_session(tmp_path, tmp_path / "lane.json", fake_alone)
    with pytest.raises(InputError, match="lane file"):
        run_session(folder, tmp_path / "missing.json", fake_alone)


def test_the_template_is_never_written_over_what_a_coach_typed(folder: Path) -> None:
    """First time written, second time refused."""
    path = write_template(folder)
    assert "a.mp4" in path.read_text(encoding="utf-8-sig")
    with pytest.raises(OutputError, match="left as it is"):
        write_template(folder)


def test_clips_that_differ_in_their_ending_only_get_their_own_results(folder: Path) -> None:
    """a.mp4 and a.mov do not overwrite one another."""
    (folder / "a.mov").write_bytes(b"other")
    session = run_session(folder, folder.parent / "lane.json", fake_alone)
    assert len({c.folder for c in session.clips}) == len(session.clips)


@pytest.mark.parametrize("killer", [False, True])
def test_processes_side_by_side_and_one_that_dies(folder: Path, killer: bool) -> None:
    """Two workers give what one gives; a worker that is killed costs its own clip only."""
    if killer:
        (folder / "e_killer.mp4").write_bytes(b"x")
    pool: Callable[[], ProcessPoolExecutor] = partial(ProcessPoolExecutor, 2, mp_context=get_context("fork"))

    session = run_session(folder, folder.parent / "lane.json", fake_alone, pool=pool)

    assert [c.exit_status for c in session.clips] == [0, 3, 1, 0, *([1] if killer else [])]
    assert session.clips[3].analysis is not None


@pytest.mark.skipif(sys.platform != "linux", reason="names that are no UTF-8")
def test_names_that_are_no_utf_8_end_nothing(tmp_path: Path) -> None:
    """T60: folder and clip with bytes of another encoding, added to the logbook; page, state and result are there."""
    folder = tmp_path / os.fsdecode(b"halle \xff")
    folder.mkdir()
    clip = folder / os.fsdecode(b"l\xe4ufer.mp4")
    clip.write_bytes(b"x")
    (tmp_path / "lane.json").write_text("{}", encoding="utf-8")
    calls: list[str] = []

    session = run(folder, calls, logbook=tmp_path / "log.sqlite", date="2026-10-03")
    again = run(folder, calls, logbook=tmp_path / "log.sqlite", date="2026-10-03")

    assert session.exit_status == 0  # type: ignore[attr-defined]
    assert [c.is_new for c in again.clips] == [False]  # type: ignore[attr-defined]
    assert b"l%E4ufer_analysis/summary.html" in (folder / "session.html").read_bytes()
    with opened(tmp_path / "log.sqlite") as log:
        assert [t.said.session for t in log.trials(Choice())] == ["halle \ufffd"]


def test_the_page_of_a_session_follows_a_result_that_was_written_anew(folder: Path) -> None:
    """As after a review: the page shows what lies in the result folders now. Fails if it keeps the old number."""
    run(folder, [])
    result = folder / "a_analysis" / "analysis.json"
    plain = json.loads(result.read_text("utf-8"))
    plain["penultimate"]["penultimate_hip_drop_m"] = {"value": 0.0777, "u95": 0.009}
    result.write_text(json.dumps(plain), encoding="utf-8")

    assert refresh_page(folder)
    assert "7.8 \u00b1 0.9 cm" in (folder / "session.html").read_text("utf-8")
    assert not refresh_page(folder.parent)


def test_the_page_stands_athlete_by_athlete_with_middle_and_spread(folder: Path) -> None:
    """Two runs of one athlete and kind: their mean, both ends and SD stand below the clips."""
    (folder / "session.csv").write_text(
        "file,athlete,kind\na.mp4,A1,mat drill\nd läufer 跳.mp4,A1,mat drill\n", encoding="utf-8"
    )
    run(folder, [])

    page = (folder / "session.html").read_text("utf-8")
    assert "Athlete by athlete" in page
    assert "2 runs" in page
    assert "approach speed" in page
