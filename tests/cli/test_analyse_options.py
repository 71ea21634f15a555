"""Options of `analyse` for a folder, the profile of an athlete, and decimal commas: applied or refused, never dropped."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from penult.adapters.logbook.book import opened
from penult.cli import build
from penult.cli.calibrate import _places
from penult.cli.numbers import number, numbers
from penult.errors import CalibrationError, InputError, NoAthleteError, PenultError
from penult.model.analysis import Mat
from penult.model.logbook import Athlete
from penult.model.settings import Settings


@pytest.fixture
def asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, Settings]:
    """A folder of two clips (`films`) and what each is analysed with, as the job itself is told."""
    monkeypatch.setenv("PENULT_LOGBOOK", str(tmp_path / "book" / "log.sqlite"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "films").mkdir()
    for name in ("a.mp4", "b.mp4"):
        (tmp_path / "films" / name).write_bytes(name.encode())
    (tmp_path / "lane.json").write_text("{}")
    said: dict[str, Settings] = {}

    def job(clip: Path, lane: Path, settings: Settings, *_: Any, **__: Any) -> Any:
        said[clip.name] = settings
        raise NoAthleteError("nobody runs here")

    monkeypatch.setattr("penult.app.analyse.analyse", job)
    return said


def analyse(*words: str) -> Result:
    return CliRunner().invoke(build(), ["analyse", words[0], "--calib", "lane.json", *words[1:]])


def test_what_is_said_for_a_folder_holds_for_every_clip_and_the_table_before_it(
    asked: dict[str, Settings], tmp_path: Path
) -> None:
    (tmp_path / "films" / "session.csv").write_text('file,kind,height\nb.mp4,full approach,"1,80"\n')

    analyse("films", "--kind", "mat drill", "--athlete", "A1", "--sex", "female", "--height", "1,71", "--mat", "-1=0,05",
            "--capture-rate", "240")  # fmt: skip

    common = {"athlete": "A1", "sex": "female", "capture_rate_hz": 240.0, "mats": (Mat(number=-1, thickness_m=0.05),)}
    assert asked == {
        "a.mp4": Settings(kind="mat drill", height_m=1.71, **common),  # type: ignore[arg-type]
        "b.mp4": Settings(kind="full approach", height_m=1.8, **common),  # type: ignore[arg-type]
    }


@pytest.mark.parametrize(
    "words", [("--out", "x"), ("--run", "2"), ("--at", "1,2,3"), ("--json",), ("--ignore-corrections",)]
)
def test_what_is_about_one_clip_is_refused_for_a_folder(asked: dict[str, Settings], words: tuple[str, ...]) -> None:
    result = analyse("films", *words)

    assert isinstance(result.exception, InputError)
    assert words[0] in result.exception.what
    assert not asked


def test_a_session_file_is_refused_for_one_clip(asked: dict[str, Settings]) -> None:
    result = analyse("films/a.mp4", "--session", "s.csv")

    assert isinstance(result.exception, InputError)
    assert not asked


@pytest.mark.parametrize("place", ["films/a.mp4", "films"])
def test_what_the_logbook_knows_of_the_athlete_is_used_where_nothing_is_said(
    asked: dict[str, Settings], tmp_path: Path, place: str
) -> None:
    with opened(tmp_path / "book" / "log.sqlite", create=True) as log:
        log.put_athlete(Athlete(label="A1", sex="male", height_m=1.83, leg_length_m=0.95))

    result = analyse(place, "--athlete", "a1", "--height", "1.90")

    assert asked["a.mp4"] == Settings(athlete="A1", sex="male", height_m=1.9, leg_length_m=0.95)
    assert place == "films" or "from the logbook" in result.stderr


def test_a_logbook_that_nobody_named_and_that_cannot_be_read_stops_no_analysis(
    asked: dict[str, Settings], tmp_path: Path
) -> None:
    (tmp_path / "book").mkdir()
    (tmp_path / "book" / "log.sqlite").write_bytes(b"no logbook")

    result = analyse("films/a.mp4", "--athlete", "A1")
    named = analyse("films/a.mp4", "--athlete", "A1", "--logbook", "book/log.sqlite")

    assert asked["a.mp4"] == Settings(athlete="A1")
    assert "not taken from the logbook" in result.stderr
    assert isinstance(named.exception, PenultError)


@pytest.mark.parametrize(("text", "value"), [("5,55", 5.55), ("5.55", 5.55), (" -0,05 ", -0.05), ("7", 7.0)])
def test_a_decimal_comma_is_a_decimal_point(text: str, value: float) -> None:
    assert number(text) == value


@pytest.mark.parametrize("text", ["1.234,5", "1,234.5", "1,2,3", "nan", "inf", "", "5 m"])
def test_what_may_mean_two_things_is_no_number(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - any reason
        number(text)


def test_lists_take_decimal_commas_between_semicolons() -> None:
    assert numbers("640,500,1.2") == numbers("640; 500; 1,2") == numbers("640 500 1,2") == [640.0, 500.0, 1.2]


def test_markers_and_the_logbook_take_decimal_commas(asked: dict[str, Settings], tmp_path: Path) -> None:
    point, comma = (
        _places(["3=-6.50,0.40,0", "4=-6.5,0,1.5,flat"], 0.2),
        _places(["3=-6,50; 0,40; 0", "4=-6,5;0;1,5;flat"], 0.2),
    )
    written = CliRunner().invoke(build(), ["log", "tape", "A1", "5,55"])
    with opened(tmp_path / "book" / "log.sqlite") as log:
        results = log.tape("A1")

    assert comma == point
    assert written.exit_code == 0
    assert [r.distance_m for r in results] == [5.55]
    with pytest.raises(CalibrationError):
        _places(["3=-6,50,0,40,0"], 0.2)
