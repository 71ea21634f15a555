"""A session that stays open: clips still being copied wait, what is tapped holds, nothing is lost when it is killed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from penult.adapters.files.session_state import read_state
from penult.adapters.files.tapped import NAME, Tap, read_taps, tap_of
from penult.app import staying as app_staying
from penult.app.arriving import STILL_S, UNREADABLE_S, Arrivals
from penult.app.session import Plan, run_session
from penult.app.staying import Staying
from penult.core.synthetic.invented import Form, trial
from penult.errors import InputError, NoAthleteError
from penult.model.analysis import Analysis, Mat
from penult.model.session import ClipOutcome
from penult.model.settings import Settings
from penult.model.trial import Said
from penult.outputs.folder.result import analysis_to_json
from penult.outputs.pages.run_card import longest


def fake_alone(clip: Path, settings: Settings, out: Path) -> Analysis:
    """Stand in for the analysis: invented numbers of the very clip, or nobody in it."""
    if "nobody" in clip.name:
        raise NoAthleteError(f"nobody runs along the lane in {clip.name}", next_step="film again")
    form = Form(athlete=settings.athlete, kind=settings.kind)
    one = trial(np.random.default_rng(1), form, Said(), file=clip.name).analysis
    one = replace(one, clip=replace(one.clip, sha256=hashlib.sha256(clip.read_bytes()).hexdigest()))
    out.mkdir(exist_ok=True)
    (out / "analysis.json").write_text(analysis_to_json(one), encoding="utf-8")
    return one


class Clock:
    """Seconds that go on when the test says so."""

    def __init__(self) -> None:
        self.s = 0.0

    def __call__(self) -> float:
        return self.s


def readable(clip: Path) -> bool:
    return clip.read_bytes().endswith(b"end")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    path = tmp_path / "today"
    path.mkdir()
    (tmp_path / "lane.json").write_text("{}")
    return path


def test_a_clip_counts_once_it_stands_still_and_can_be_read(folder: Path) -> None:
    """Copied in three pieces: not while it grows, not at full length without its end, once when it is whole."""
    clock = Clock()
    arrivals = Arrivals(folder, readable, clock)
    clip = folder / "a.mp4"
    for piece in (b"one", b"onetwo", b"onetwo..."):
        clip.write_bytes(piece)
        clock.s += 0.8 * STILL_S
        assert arrivals.look() == []
        assert arrivals.coming() == ["a.mp4"]
    clock.s += 2.0 * STILL_S
    assert arrivals.look() == []  # stands still, but its end has not come

    clip.write_bytes(b"onetwo...end")
    arrivals.look()
    clock.s += 1.1 * STILL_S
    assert arrivals.look() == [clip]
    assert arrivals.coming() == []
    clock.s += 10.0 * STILL_S
    assert arrivals.look() == []


def test_what_never_becomes_a_film_is_handed_on_to_be_named(folder: Path) -> None:
    clock = Clock()
    arrivals = Arrivals(folder, readable, clock)
    (folder / "text.mp4").write_bytes(b"no film")
    (folder / "empty.mp4").write_bytes(b"")
    (folder / ".hidden.mp4").write_bytes(b"end")
    (folder / "b.mp4.part").write_bytes(b"end")
    arrivals.look()
    clock.s += 1.01 * UNREADABLE_S

    assert [c.name for c in arrivals.look()] == ["text.mp4"]


def test_a_clip_that_is_written_anew_comes_again_and_one_that_goes_is_forgotten(folder: Path) -> None:
    clock = Clock()
    arrivals = Arrivals(folder, readable, clock)
    clip = folder / "a.mp4"
    for content in (b"first end", b"second, longer end"):
        clip.write_bytes(content)
        arrivals.look()
        clock.s += 1.1 * STILL_S
        assert arrivals.look() == [clip]
    clip.unlink()
    assert arrivals.look() == []
    assert arrivals.coming() == []


def measuring(calls: list[tuple[str, str, str]]) -> Callable[..., Analysis]:
    def one(
        clip: Path, lane: Path, plan: Plan, progress: Callable[[str, float], None], told: Callable[[Analysis], None]
    ) -> Analysis:
        del lane
        calls.append((clip.name, plan.settings.athlete, plan.settings.kind))
        progress("measuring", 0.5)
        made = fake_alone(clip, plan.settings, plan.result)
        told(made)
        return made

    return one


def staying_in(folder: Path, calls: list[tuple[str, str, str]], date: str = "2026-11-28") -> Staying:
    found = Staying(folder, folder.parent / "lane.json", measuring(calls), date=date)
    found._arrivals = Arrivals(folder, lambda _clip: True, now=Clock())
    found._arrivals._now.s = 100.0  # type: ignore[attr-defined]
    return found


def settle(staying: Staying) -> None:
    """Let everything that lies in the folder become whole, and measure it."""
    staying.step()
    staying._arrivals._now.s += 10.0  # type: ignore[attr-defined]
    while staying.step():
        pass


def test_the_page_hears_of_numbers_before_the_result_is_whole(folder: Path) -> None:
    """Between the numbers and the pictures the clip stands there without pictures. Fails if pictures are promised early."""
    calls: list[tuple[str, str, str]] = []
    staying = staying_in(folder, calls)
    heard: list[tuple[int, bool]] = []
    staying.told = lambda: heard.append((len(staying.moment().outcomes), "a.mp4" in staying.moment().has_pictures))
    (folder / "a.mp4").write_bytes(b"a")
    settle(staying)

    assert (1, False) in heard
    assert heard[-1] == (1, True)
    assert (folder / "session.html").exists()
    assert "a.mp4" in read_state(folder)


def test_one_tap_holds_for_this_clip_and_those_to_come(folder: Path) -> None:
    calls: list[tuple[str, str, str]] = []
    staying = staying_in(folder, calls)
    (folder / "a.mp4").write_bytes(b"a")
    settle(staying)

    staying.tap("a.mp4", Tap(athlete="A1", kind="mat drill", mats=(Mat(number=-1, thickness_m=0.05),)), also_next=True)
    settle(staying)
    (folder / "b.mp4").write_bytes(b"b")
    settle(staying)
    staying.tap("a.mp4", Tap(kind="full approach"), also_next=False)
    settle(staying)

    assert calls == [
        ("a.mp4", "", ""),
        ("a.mp4", "A1", "mat drill"),
        ("b.mp4", "A1", "mat drill"),
        ("a.mp4", "A1", "full approach"),
    ]
    assert [c.file for c in staying.moment().outcomes] == ["a.mp4", "b.mp4"]  # a clip measured again keeps its place


def test_killed_and_started_again_it_goes_on_where_it_was(folder: Path) -> None:
    """A new process knows results and taps; only the clip that came meanwhile is measured."""
    calls: list[tuple[str, str, str]] = []
    first = staying_in(folder, calls)
    first.tap("", Tap(athlete="A1"), also_next=True)
    (folder / "a.mp4").write_bytes(b"a")
    settle(first)
    del first  # no farewell
    (folder / "b.mp4").write_bytes(b"b")

    again = staying_in(folder, calls)
    settle(again)

    assert calls == [("a.mp4", "A1", ""), ("b.mp4", "A1", "")]
    assert [(c.file, c.is_new) for c in again.moment().outcomes] == [("a.mp4", False), ("b.mp4", True)]


def test_a_folder_opened_on_another_day_keeps_the_days_of_its_clips(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is measured again and no clip gets the later date. Fails if the day of the program is put on old clips."""
    calls: list[tuple[str, str, str]] = []
    monkeypatch.setattr(app_staying, "today_text", lambda: "2026-11-28")
    first = staying_in(folder, calls, date="")
    (folder / "a.mp4").write_bytes(b"a")
    settle(first)
    (folder / "b.mp4").write_bytes(b"b")

    monkeypatch.setattr(app_staying, "today_text", lambda: "2026-11-29")
    later = staying_in(folder, calls, date="")
    settle(later)

    assert [name for name, _, _ in calls] == ["a.mp4", "b.mp4"]
    assert [c.said.date for c in later.moment().outcomes] == ["2026-11-28", "2026-11-29"]


def test_a_plain_session_afterwards_measures_nothing_again(folder: Path) -> None:
    """What was tapped holds there too. Fails if the plain session takes the clips for clips of nobody."""
    calls: list[tuple[str, str, str]] = []
    staying = staying_in(folder, calls)
    staying.tap("", Tap(athlete="A1", kind="mat drill"), also_next=True)
    (folder / "a.mp4").write_bytes(b"a")
    settle(staying)

    def never(*_: object) -> Analysis:
        raise AssertionError("measured again")

    done = run_session(folder, folder.parent / "lane.json", never, date="2026-11-28")
    assert done.exit_status == 0
    assert done.clips[0].analysis is not None
    assert done.clips[0].analysis.run.athlete == "A1"


def test_a_clip_without_an_answer_stands_there_with_its_reason(folder: Path) -> None:
    calls: list[tuple[str, str, str]] = []
    staying = staying_in(folder, calls)
    (folder / "a_nobody.mp4").write_bytes(b"a")
    (folder / "b.mp4").write_bytes(b"b")
    settle(staying)

    one, other = staying.moment().outcomes
    assert "nobody runs along the lane" in one.error
    assert other.analysis is not None


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b'{"format": "else"}', b'{"format": "penult-tapped/1", "clips": {"a": 3}, "next": {}}', b"[" * 5000],
)
def test_a_damaged_file_of_taps_costs_the_taps_and_nothing_else(folder: Path, content: bytes) -> None:
    (folder / NAME).write_bytes(content)

    assert read_taps(folder).clips == {}


@pytest.mark.parametrize("content", [{"athlete": 3}, {"kind": "x" * 300}, {"mats": "penultimate=5"}, {"mats": ["x"]}])
def test_a_tap_that_cannot_be_read_is_refused(content: dict[str, object]) -> None:
    with pytest.raises(InputError):
        tap_of(json.loads(json.dumps(content)))


def test_the_longest_is_told_by_the_tape_before_the_estimate() -> None:
    def outcome(file: str, tape: float | None) -> ClipOutcome:
        one = trial(
            np.random.default_rng(len(file)), Form(athlete="A1", kind="full approach"), Said(), file=file
        ).analysis
        return ClipOutcome(file=file, folder="x", said=replace(Said(), official_distance_m=tape), analysis=one)

    best, words = longest([outcome("a", 6.1), outcome("bb", 6.4), outcome("ccc", None)], "A1")
    assert (best.file if best else "", words) == ("bb", "longest today, 6.40 m by tape")
    best, words = longest([outcome("a", None), outcome("bb", None)], "A1")
    assert best is not None
    assert "estimated" in words
    assert longest([], "A1") == (None, "")
