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


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_ctrl_c_while_the_libraries_load_gets_our_own_word(tmp_path: Path) -> None:
    """From the moment that our code runs (its first line writes a file here) to well into the loading."""
    mark = tmp_path / "begun"
    code = (
        "import sys, pathlib\n"
        "from penult.cli import _stop_at_once_until_it_runs, main\n"
        "_stop_at_once_until_it_runs()\n"
        f"pathlib.Path({str(mark)!r}).touch()\n"
        "sys.argv = ['penult', 'log', 'show']\n"
        "main()"
    )
    for pause_s in (0.0, 0.02, 0.05, 0.1):
        mark.unlink(missing_ok=True)
        with subprocess.Popen([sys.executable, "-c", code], stderr=subprocess.PIPE, text=True) as run:
            while not mark.exists() and run.poll() is None:
                time.sleep(0.002)
            time.sleep(pause_s)
            run.send_signal(signal.SIGINT)
            _, said = run.communicate(timeout=60)

        assert "Traceback" not in said
        assert run.returncode in (130, 2)  # 2: it had ended already, without a logbook
        assert run.returncode != 130 or "stopped" in said


def test_the_command_line_is_imported_without_what_takes_time() -> None:
    """Until `main` runs, Ctrl-C gets Python's own traceback: what is loaded before it has to be next to nothing."""
    code = "import sys; before = set(sys.modules); import penult.cli; print(*sorted(set(sys.modules) - before))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    loaded = set(done.stdout.split())
    assert {m for m in loaded if m.startswith("penult")} == {"penult", "penult.cli"}
    assert not loaded & {"typer", "rich", "click", "re", "typing", "traceback", "logging", "enum"}


@pytest.mark.skipif(sys.platform == "win32", reason="descriptors of POSIX")
@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-", "<&-", "</dev/null >/dev/null"])
def test_closed_outputs_are_no_fault_of_ours(closed: str, tmp_path: Path) -> None:
    command = f"{sys.executable} -m penult log tape A1 5.5 {closed}"
    env = {**os.environ, "PENULT_LOGBOOK": str(tmp_path / "log.sqlite")}
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, env=env, check=False)

    assert done.returncode == 0
    assert done.stderr == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
def test_a_full_disk_under_the_output_is_said() -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "penult", "cache"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )

    assert done.returncode != 0
    assert "our fault" not in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(sys.platform != "linux", reason="names that are no UTF-8")
def test_a_name_that_is_no_utf_8_is_said_with_its_bytes(tmp_path: Path) -> None:
    name = os.fsdecode(bytes(tmp_path) + b"/l\xe4ufer.mp4")
    done = subprocess.run(
        [sys.executable, "-m", "penult", "analyse", name, "--calib", name], capture_output=True, text=True, check=False
    )

    assert done.returncode == 2
    assert "our fault" not in done.stderr
    assert "ufer.mp4" in done.stderr


@pytest.mark.skipif(sys.platform != "linux", reason="limits of Linux")
@pytest.mark.parametrize("kilobytes", [600_000, 1_500_000, 3_000_000])
def test_too_little_memory_is_a_sentence_and_no_crash(kilobytes: int, samples: Path, tmp_path: Path) -> None:
    """`ulimit -v`: libraries that find no room end the whole process with a segmentation fault."""
    film = samples / "full_240"
    words = f"-m penult analyse {film / 'clip.mp4'} --calib {film / 'lane.json'} --out {tmp_path / 'out'} --quiet"
    env = {**os.environ, "PENULT_CACHE": str(tmp_path / "cache")}
    command = f"ulimit -v {kilobytes}; exec {sys.executable} {words}"
    done = subprocess.run(["sh", "-c", command], capture_output=True, text=True, env=env, check=False)

    assert done.returncode == 2, done.stderr
    assert "this program may use too little memory" in done.stderr
    assert not (tmp_path / "out").exists()
