"""The process that makes page and tables: the same bytes as without it, whatever becomes of it, and nothing left behind."""

from __future__ import annotations

import os
import select
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from penult.app import page
from penult.app.page import PageProcess, files_here
from penult.outputs.folder.contents import wanted_frames

LONG_S = 60.0


@pytest.fixture(autouse=True)
def _two_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PENULT_WORKERS", "2")


@pytest.fixture
def asked(scene: Any) -> tuple[Any, ...]:
    frames = [scene.frame(i) for i in wanted_frames(scene.analysis, scene.motion)]
    return scene.analysis, scene.motion, frames


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[subprocess.Popen[bytes]]:
    """The processes that were started."""
    started: list[subprocess.Popen[bytes]] = []
    start = subprocess.Popen

    def counted(*given: Any, **named: Any) -> Any:
        started.append(start(*given, **named))
        return started[-1]

    monkeypatch.setattr(page.subprocess, "Popen", counted)
    return started


def test_a_process_of_its_own_makes_the_same_bytes(
    asked: Any, begun: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    here = files_here(*asked)
    monkeypatch.setattr(page, "files_here", lambda *_: pytest.fail("made here"))

    with PageProcess() as maker:
        files = maker.files(*asked)

    assert files == here
    assert {"summary.html", "analysis.json", "hip_height.png"} <= {name for name, _ in files}
    assert [p.returncode for p in begun] == [0], "it ended by itself"


def test_what_lies_in_the_current_folder_is_not_taken_for_a_library(
    asked: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A coach's folder may hold a file called numpy.py."""
    for name in ("numpy", "json", "penult", "matplotlib"):
        (tmp_path / f"{name}.py").write_text("open('was_run', 'w').close(); raise SystemExit(3)")
    monkeypatch.chdir(tmp_path)

    with PageProcess() as maker:
        monkeypatch.setattr(page, "files_here", lambda *_: pytest.fail("made here"))
        assert maker.files(*asked)

    assert not (tmp_path / "was_run").exists()


@pytest.mark.parametrize("how", ["killed", "no such program", "another program", "no program", "one core"])
def test_without_the_process_the_files_are_made_here(
    asked: Any, begun: list[Any], monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    if how == "one core":
        monkeypatch.setenv("PENULT_WORKERS", "1")
    elif how != "killed":
        programs = {"no such program": "/no/such/program", "another program": "/bin/false", "no program": ""}
        monkeypatch.setattr(page.sys, "executable", programs[how])

    with PageProcess() as maker:
        if how == "killed":
            begun[0].kill()
        files = maker.files(*asked)

    assert files == files_here(*asked)
    assert len(begun) == (how in ("killed", "another program"))


def test_a_fault_of_what_is_drawn_is_told_as_if_there_were_no_process(scene: Any) -> None:
    with PageProcess() as maker, pytest.raises(AttributeError):
        maker.files(scene.analysis, None, [])  # type: ignore[arg-type]


def test_it_ends_with_a_run_that_breaks_off(begun: list[Any]) -> None:
    with pytest.raises(ZeroDivisionError), PageProcess():
        raise ZeroDivisionError

    assert begun[0].returncode is not None


def test_it_ends_with_the_program_that_began_it() -> None:
    """Killed outright, a program cleans up nothing: the process sees its pipe end."""
    code = (
        "import os, signal; from penult.app import page; p = page.PageProcess().__enter__(); "
        "print(p._process.pid, flush=True); os.kill(os.getpid(), signal.SIGKILL)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=LONG_S, check=False)
    handle = _watch(int(run.stdout))

    assert handle is None or _ended(handle), "it still runs"


def _watch(pid: int) -> int | None:
    try:
        return os.pidfd_open(pid)
    except ProcessLookupError:
        return None


def _ended(handle: int) -> bool:
    try:
        return bool(select.select([handle], [], [], LONG_S)[0])
    finally:
        os.close(handle)
