"""What may be said on the command line, how a slip is answered, and that help comes at once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from penult.app import analyse as app_analyse
from penult.cli import analyse_main, joined_negative, main
from penult.errors import NoAthleteError
from penult.model.analysis import Mat
from penult.model.settings import Settings

OPTIONS = (
    "--calib",
    "--out",
    "--capture-rate",
    "--kind",
    "--athlete",
    "--sex",
    "--height",
    "--mat",
    "--run",
    "--at",
    "--quiet",
    "--json",
)
HEAVY = ("numpy", "scipy", "pandas", "cv2", "ai_edge_litert", "av", "matplotlib", "jinja2", "starlette")


class Said(BaseException):
    """Raised in place of the job, with what reached it; no error that the command line may catch."""


@pytest.fixture(autouse=True)
def own_signals() -> Iterator[None]:
    """Give the test process its own handlers back: the command line puts in some for Ctrl-C and the like."""
    kept = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    yield
    for number, handler in kept.items():
        signal.signal(number, handler)


@pytest.fixture
def said(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Return a function that gives the arguments that would reach the job."""

    def job(clip: Path, calib: Path, settings: Settings, out: Path | None, *_: Any, **others: Any) -> None:
        raise Said(clip, calib, settings, out, others)

    monkeypatch.setattr(app_analyse, "analyse", job)

    def run(*words: str) -> tuple[Any, ...]:
        with pytest.raises(Said) as caught:
            analyse_main(["clip.mp4", "--calib", "lane3.json", "--quiet", *words])
        return caught.value.args

    return run


def test_the_shortest_call_says_nothing_else(said: Any) -> None:
    """The main job needs a clip and a lane file; all else is 'find out' or 'not said'."""
    clip, calib, settings, out, _ = said()

    assert (clip, calib, out) == (Path("clip.mp4"), Path("lane3.json"), None)
    assert settings == Settings()


def test_everything_that_can_be_said_arrives(said: Any) -> None:
    """Each option with its value, mats several times, spaces around words taken off. Fails if one is dropped or mixed up."""
    _, _, settings, out, _ = said(
        *("--out", "läufer 跳", "--capture-rate", "240", "--kind", " mat drill ", "--athlete", "A1", "--sex", "female"),
        *("--height", "1.68", "--mat", "-1=0.05", "--mat", "0=0.1", "--run", "2", "--at", "960,540.5,0.31"),
    )

    assert out == Path("läufer 跳")
    assert settings == Settings(
        capture_rate_hz=240.0,
        kind="mat drill",
        athlete="A1",
        sex="female",
        height_m=1.68,
        mats=(Mat(number=-1, thickness_m=0.05), Mat(number=0, thickness_m=0.1)),
        run=2,
        at=(960.0, 540.5, 0.31),
    )


@pytest.mark.parametrize("words", [("--mat", "-1=0.05"), ("--mat=-1=0.05",)])
def test_a_value_that_begins_with_a_minus_is_a_value(said: Any, words: tuple[str, ...]) -> None:
    """`--mat -1=0.05` as the coach types it. Fails if -1=0.05 is taken for an unknown option."""
    assert said(*words)[2].mats == (Mat(number=-1, thickness_m=0.05),)


def test_a_point_left_of_the_picture_is_a_value_too(said: Any) -> None:
    """`--at -5,300,0.2`: the athlete may be half in the picture."""
    assert said("--at", "-5,300,0.2")[2].at == (-5.0, 300.0, 0.2)


@given(st.lists(st.text(alphabet="-ab=.01m", min_size=1), max_size=8))
def test_joining_never_loses_or_reorders_anything(words: list[str]) -> None:
    """Property: only a value after --mat or --at is joined to it; everything typed is still there, in order."""
    typed = [w for word in words for w in (word, "--mat", "-2=0.1")]

    joined = joined_negative(typed)

    assert joined.count("--mat=-2=0.1") >= len(words)
    assert "".join(joined).replace("--mat=", "--mat").replace("--at=", "--at") == "".join(typed).replace(
        "--mat=", "--mat"
    ).replace("--at=", "--at")


BAD = [
    (("--capture-rate", "0"), "'0", "5 to 2000 frames a second"),
    (("--capture-rate", "-240"), "'-240", "5 to 2000 frames a second"),
    (("--capture-rate", "nan"), "'nan'", "5 to 2000 frames a second"),
    (("--height", "168"), "'168", "0.8 to 2.5 metres"),
    (("--sex", "f"), "'f'", "female or male"),
    (("--run", "0"), "'0'", "1 to 100"),
    (("--mat", "-1"), "'-1'", "such as -1=0.05"),
    (("--mat", "-1=5ft"), "'-1=5ft'", "such as -1=0.05"),
    (("--mat", "-1=5"), "'-1=5'", "up to 0.5 m"),
    (("--mat", "1=0.05"), "'1=0.05'", "-20 to 0"),
    (("--mat", "-1=nan"), "'-1=nan'", "up to 0.5 m"),
    (("--mat", "-1=-0.05"), "'-1=-0.05'", "up to 0.5 m"),
    (("--at", "960,540"), "'960,540'", "X,Y,SECONDS"),
    (("--at", "960;540"), "'960;540'", "X,Y,SECONDS"),
    (("--capture-rate", "fast"), "'fast'", "5 to 2000 frames a second"),
    (("--height", "1.6,8"), "'1.6,8'", "0.8 to 2.5 metres"),
    (("--run", "two"), "'two'", "1 to 100"),
    (("--at", "nan,540,1"), "'nan,540,1'", "X,Y,SECONDS"),
    (("--at", ""), "''", "X,Y,SECONDS"),
]
"""Option and value, what the message must quote, what it must ask for."""


@pytest.mark.parametrize(("words", "got", "wanted"), BAD)
def test_a_slip_gives_exit_2_with_option_got_and_wanted(
    words: tuple[str, ...], got: str, wanted: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before any file is opened; no traceback. Fails if a bad value is passed on or the message leaves the coach guessing."""
    with pytest.raises(SystemExit) as caught:
        analyse_main(["no-such-clip.mp4", "--calib", "no-such-lane.json", *words])

    printed = capsys.readouterr()
    assert caught.value.code == 2
    assert printed.out == ""
    for part in (words[0], got, wanted):
        assert part in printed.err
    assert "Traceback" not in printed.err
    assert "no-such" not in printed.err


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["clip.mp4"], "--calib"),
        (["--calib", "lane3.json"], "CLIP"),
        (["clip.mp4", "--calib", "lane3.json", "--heigth", "1.7"], "--heigth"),
        (["clip.mp4", "--calib"], "--calib"),
    ],
    ids=["no lane file", "no clip", "a misspelt option", "an option without its value"],
)
def test_a_missing_or_unknown_word_is_named(words: list[str], part: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit status 2 and the word that is missing or not known."""
    with pytest.raises(SystemExit) as caught:
        analyse_main(words)

    assert caught.value.code == 2
    assert part in capsys.readouterr().err


def test_our_own_errors_are_printed_with_their_exit_status(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A clip that cannot answer: exit status 3, what, details and the next step on standard error, nothing on output."""

    def job(*_: Any, **__: Any) -> None:
        raise NoAthleteError("nobody runs here", "seen: two people who stand", next_step="choose another clip")

    monkeypatch.setattr(app_analyse, "analyse", job)
    with pytest.raises(SystemExit) as caught:
        main(["analyse", "clip.mp4", "--calib", "lane3.json", "--quiet"])

    printed = capsys.readouterr()
    assert caught.value.code == 3
    assert printed.out == ""
    assert printed.err == "error: nobody runs here\n  seen: two people who stand\n  next: choose another clip\n"


def helped(*words: str) -> subprocess.CompletedProcess[str]:
    """Ask for help in a process of its own that tells, in the end, which modules it loaded."""
    code = (
        "import atexit, sys\n"
        "atexit.register(lambda: print('LOADED', *sorted(m.split('.')[0] for m in sys.modules), file=sys.stderr))\n"
        "from penult.cli import main\n"
        f"main({list(words)!r})"
    )
    return subprocess.run(
        [sys.executable, "-c", code],
        check=False,
        capture_output=True,
        text=True,
        env={**os.environ, "COLUMNS": "200", "NO_COLOR": "1"},
    )


@pytest.mark.parametrize("words", [("--help",), ("analyse", "--help"), ("analyse", "-h")], ids=" ".join)
def test_help_lists_everything_and_loads_nothing_heavy(words: tuple[str, ...]) -> None:
    """Help of a command names each of its options; neither pictures nor numbers are loaded for it."""
    done = helped(*words)

    assert done.returncode == 0
    loaded = done.stderr.split("LOADED", 1)[1].split()
    assert [name for name in HEAVY if name in loaded] == []
    for word in OPTIONS if "analyse" in words else ("analyse",):
        assert word in done.stdout


def test_analyse_alone_is_penult_analyse(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Both console commands are the same command."""
    monkeypatch.setenv("COLUMNS", "200")
    texts = []
    for name, call in (("analyse", lambda: analyse_main(["--help"])), ("penult", lambda: main(["analyse", "--help"]))):
        monkeypatch.setattr(sys, "argv", [name])
        with pytest.raises(SystemExit) as caught:
            call()
        assert caught.value.code == 0
        usage, text = capsys.readouterr().out.lstrip().split("\n", 1)
        assert usage.count("analyse") == 1  # not 'analyse analyse'
        texts.append(text)

    assert texts[0] == texts[1]


@pytest.mark.parametrize(
    ("words", "next_step"),
    [
        (["lane3.json", "--calib", "clip.mp4"], "penult analyse clip.mp4 --calib lane3.json"),
        (["clip.mp4", "--calib", "other.mov"], "calibrate"),
        (["clip.mp4"], "penult analyse clip.mp4 --calib"),
        (["clip.mp4", "--calib", "lane3.json", "--mat", "penultimate=5"], "penultimate=5cm"),
    ],
    ids=["exchanged", "a film for a lane file", "no lane file", "a mat in centimetres"],
)
def test_a_usual_slip_is_answered_with_the_very_next_step(
    words: list[str], next_step: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as caught:
        analyse_main(words)

    assert caught.value.code == 2
    assert next_step in capsys.readouterr().err


def test_the_lane_files_at_hand_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Beside the clip lies one lane file and one that is none: the first is offered, ready to be copied."""
    (tmp_path / "lane3.json").write_text('{"format": "penult-calibration/1"}')
    (tmp_path / "other.json").write_text('{"format": "else"}')
    with pytest.raises(SystemExit):
        analyse_main([str(tmp_path / "clip.mp4")])

    said = capsys.readouterr().err
    assert f"--calib {tmp_path / 'lane3.json'}" in said
    assert "other.json" not in said


def test_a_film_given_to_review_is_answered_with_how_to_measure_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    clip = tmp_path / "run.mp4"
    clip.write_bytes(b"film")
    with pytest.raises(SystemExit) as caught:
        main(["review", str(clip), "--no-browser"])

    assert caught.value.code == 2
    assert f"penult analyse {clip} --calib" in capsys.readouterr().err
