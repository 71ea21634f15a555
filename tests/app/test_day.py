"""A day at the track: what is remembered, which lanes are known, and that no clip is measured with the wrong lane unasked."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from penult.adapters.files import start_file
from penult.adapters.files.session_state import write_state
from penult.adapters.files.start_file import Remembered, read_start
from penult.adapters.files.tapped import Tap, Taps, read_taps, write_taps
from penult.app import desk
from penult.app.day import Day
from penult.app.known_lanes import known_lane
from penult.app.session import Plan
from penult.app.staying import today_text
from penult.errors import CalibrationError, InputError, OutputError
from penult.model.analysis import Analysis


def never(
    clip: Path, lane: Path, plan: Plan, progress: Callable[[str, float], None], told: Callable[[Analysis], None]
) -> Analysis:
    raise AssertionError("nothing is to be measured here")


@pytest.fixture
def lane(samples: Path, tmp_path: Path) -> Path:
    for name in ("lane.json", "still.jpg"):
        shutil.copy(samples / "full_240" / name, tmp_path / name)
    return tmp_path / "lane.json"


@pytest.fixture
def logbook(tmp_path: Path) -> Path:
    return tmp_path / "book" / "log.sqlite"


def test_what_was_chosen_is_remembered_by_the_next_start(lane: Path, logbook: Path, tmp_path: Path) -> None:
    """Folder, lane and logbook; a new folder takes over what was tapped for the next clip of the last one."""
    first = Day(never, logbook)
    first.open(tmp_path / "monday", lane, logs=False)
    write_taps(tmp_path / "monday", Taps(next=Tap(athlete="A1", kind="mat drill")))
    first.close()

    again = Day(never, logbook)
    assert again.remembered.folders == (str(tmp_path / "monday"),)
    assert not again.remembered.logs
    assert again.lanes()[0].path == lane
    assert again.suggested_folder() == tmp_path / today_text()
    again.open(tmp_path / "tuesday", lane, logs=False)
    again.close()
    assert read_taps(tmp_path / "tuesday").next == Tap(athlete="A1", kind="mat drill")


@pytest.mark.parametrize("content", [b"", b"{", b"[" * 5000, b'{"format": "penult-start/1"}', b'{"format": "x"}'])
def test_a_damaged_memory_costs_the_remembering_alone(logbook: Path, content: bytes) -> None:
    logbook.parent.mkdir()
    (logbook.parent / start_file.NAME).write_bytes(content)
    assert read_start(logbook) == Remembered()


def test_a_folder_measured_with_another_lane_is_not_measured_again_unasked(
    lane: Path, logbook: Path, tmp_path: Path
) -> None:
    """The morning's clips keep the morning's camera place. Fails if the afternoon's lane file is taken for them in silence."""
    folder = tmp_path / "morning"
    result = folder / "a_analysis"
    result.mkdir(parents=True)
    (folder / "a.mp4").write_bytes(b"a")
    (result / "analysis.json").write_text(_analysis(), encoding="utf-8")
    write_state(folder, {"a.mp4": {"sha256": "0", "key": "0"}})
    day = Day(never, logbook)

    with pytest.raises(InputError, match="measured with another lane file"):
        day.open(folder, lane, logs=False)
    assert day.staying is None


def _analysis() -> str:
    """Return a sound result of another lane file: invented numbers."""
    import numpy as np  # noqa: PLC0415 - this test alone

    from penult.core.synthetic.invented import Form, trial  # noqa: PLC0415
    from penult.model.trial import Said  # noqa: PLC0415
    from penult.outputs.folder.result import analysis_to_json  # noqa: PLC0415

    one = trial(np.random.default_rng(1), Form(athlete="A1", kind="mat drill"), Said(), file="a.mp4").analysis
    assert one.method.get("calibration_sha256")
    return analysis_to_json(one)


def test_a_lane_with_faults_or_a_folder_that_cannot_be_is_refused(lane: Path, logbook: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.json"
    broken.write_text('{"format": "penult-calibration/1"}', encoding="utf-8")
    file = tmp_path / "file"
    file.write_bytes(b"")
    day = Day(never, logbook)
    with pytest.raises(CalibrationError):
        day.open(tmp_path / "new", broken, logs=False)
    assert not (tmp_path / "new").exists()
    with pytest.raises(OutputError, match="not a folder"):
        day.open(file, lane, logs=False)


def test_a_lane_tells_what_it_is_and_what_it_is_good_for(lane: Path, tmp_path: Path) -> None:
    """The same words as 'penult check'; a file that is none is no lane."""
    known = known_lane(lane)
    assert known is not None
    assert known.still == tmp_path / "still.jpg"
    assert known.marks == 16
    facts = desk.lane_facts(lane)
    assert facts["good"].startswith("good enough for")
    assert facts["command"] == f"penult check {lane}"
    (tmp_path / "other.json").write_text("[]", encoding="utf-8")
    assert known_lane(tmp_path / "other.json") is None
    assert known_lane(tmp_path / "none.json") is None


def test_every_job_says_the_command_that_does_the_same(logbook: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An athlete, a tape result and a note; with the logbook named where it is not the usual one."""
    assert desk.add_athlete({"athlete": "A 1", "height": "1,72", "sex": "female"}, logbook) == (
        f"penult log athlete 'A 1' --sex female --height 1.72 --logbook {logbook}"
    )
    assert desk.add_tape({"athlete": "A 1", "distance": "6,45"}, logbook)["said"] == "written as tape-1"
    assert desk.add_note({"athlete": "A 1", "text": "tired"}, logbook)["said"].startswith("written")
    monkeypatch.setenv("PENULT_LOGBOOK", str(logbook))
    assert desk.log_content(logbook)["command"] == "penult log show"
    assert [one["label"] for one in desk.log_content(logbook)["athletes"]] == ["A 1"]


@pytest.mark.parametrize(
    "said",
    [{"athlete": ""}, {"athlete": "A", "height": "9"}, {"athlete": "A", "sex": "x"}, {"athlete": 3}, {}],
)
def test_an_athlete_that_cannot_be_is_refused(said: dict[str, object], logbook: Path) -> None:
    with pytest.raises(InputError):
        desk.add_athlete(said, logbook)
    assert not logbook.exists()
