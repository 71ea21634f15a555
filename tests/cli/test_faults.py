"""Errors in plain words: the list of `penult help errors` holds every one, and the unforeseen is our fault with what to send."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from error_table import CLASSES, DETAILS, LIST, errors_of, table
from penult import cli
from penult.cli.fault import StoppedError, fault_text
from penult.errors import InputError


def test_the_list_holds_every_error_that_the_source_can_raise() -> None:
    """The fix is `python tests/error_table.py --write`."""
    assert LIST.read_text(encoding="utf-8") == table()


def test_help_errors_prints_the_list_and_looks_words_up(capsys: pytest.CaptureFixture[str]) -> None:
    """Words find an error whatever the names in it: what stands in capitals is a fact of the clip at hand."""
    with pytest.raises(SystemExit) as whole:
        cli.run(["help", "errors"])
    said = capsys.readouterr().out
    with pytest.raises(SystemExit):
        cli.run(["help", "errors", "cut", "camera", "one piece"])
    found = capsys.readouterr().out

    assert whole.value.code == 0
    assert said == LIST.read_text(encoding="utf-8")
    assert "the clip has a cut in the run\n    use the clip as it came from the camera" in found
    assert "disk is full" in said
    assert "disk is full" not in found
    assert found.startswith("Exit 3")
    assert DETAILS in said


def test_every_error_says_in_its_first_line_what_is_wrong_without_code_names() -> None:
    """A first line that is a bare variable, or that talks in code, cannot be read by a coach."""
    poor = [
        e for e in errors_of() if (len(e.what) < 12 and not e.what.isupper()) or "()" in e.what or "Error" in e.what
    ]

    assert poor == []


@pytest.mark.parametrize(
    ("kind", "status"), [("InputError", 2), ("OutputError", 2), ("NotMeasurableError", 3), ("ViewError", 3)]
)
def test_exit_statuses_follow_the_tree(kind: str, status: int) -> None:
    assert CLASSES[kind].exit_status == status


def failing(error: BaseException) -> Exception:
    try:
        thrown(error)
    except Exception as caught:
        return caught
    raise AssertionError


def thrown(error: BaseException) -> None:
    raise error


def test_the_unforeseen_names_no_folder_of_this_computer() -> None:
    text = fault_text(failing(ValueError("bad thing in /home/anna/films/2026/clip.mp4 and C:\\Users\\anna\\x.json")))

    assert "our fault" in text
    assert "never the film" in text
    assert "clip.mp4" in text
    assert "anna" not in text


@pytest.mark.parametrize(
    ("error", "status", "words"),
    [
        (KeyError("x"), 1, "our fault"),
        (RecursionError("deep"), 1, "our fault"),
        (MemoryError(), 1, "our fault"),
        (InputError("no such thing", next_step="look again"), 2, "next: look again"),
        (StoppedError(), 130, "stopped"),
    ],
)
def test_every_end_has_its_status_and_words(
    error: BaseException, status: int, words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken() -> None:
        raise error

    monkeypatch.setattr(cli, "build", broken)
    monkeypatch.setattr(cli, "stop_politely", lambda: None)

    with pytest.raises(SystemExit) as end:
        cli.run([])

    assert end.value.code == status
    assert words in capsys.readouterr().err


def test_a_name_that_the_terminal_cannot_show_does_not_break_the_message(tmp_path: Path) -> None:
    command = [
        sys.executable,
        "-m",
        "penult",
        "analyse",
        str(tmp_path / "läufer 跳.mp4"),
        "--calib",
        str(tmp_path / "x.json"),
    ]
    env = {**os.environ, "PYTHONIOENCODING": "ascii"}

    done = subprocess.run(command, capture_output=True, env=env, check=False)

    assert done.returncode == 2
    assert b"error: " in done.stderr
    assert b"next: " in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_ctrl_c_ends_with_words_and_no_traceback(samples: Path, tmp_path: Path) -> None:
    film = samples / "full_240"
    command = [sys.executable, "-m", "penult", "analyse", str(film / "clip.mp4"), "--calib", str(film / "lane.json")]
    env = {**os.environ, "PENULT_CACHE": str(tmp_path / "cache")}
    with subprocess.Popen(
        [*command, "--out", str(tmp_path / "out"), "--quiet"], stderr=subprocess.PIPE, env=env, text=True
    ) as run:
        time.sleep(3.0)
        run.send_signal(signal.SIGINT)
        _, said = run.communicate(timeout=60)

    assert run.returncode == 130
    assert "stopped" in said
    assert "Traceback" not in said
    assert list(tmp_path.glob(".out*")) == []
