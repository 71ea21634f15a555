"""T61: a pipe, a device, or a link to one where a file is wanted: our own error at once, no waiting, no filling of the memory."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import pytest

from penult.adapters.caches import keypoint_cache
from penult.adapters.files import (
    csv_text,
    lane_file,
    lens_file,
    panorama_file,
    result_file,
    result_folder,
    session_state,
    sighting_file,
)
from penult.adapters.files.corrections_file import read_corrections
from penult.adapters.logbook.book import opened
from penult.adapters.logbook.csv_folder import is_export
from penult.adapters.pictures import still_source
from penult.errors import PenultError
from penult.outputs.folder.save import sha256_of_result
from penult.outputs.pages.page_files import write_files
from penult.whole_file import NotOrdinaryError, TooLargeError, read_whole

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes and devices of Unix")


def fifo(path: Path) -> None:
    os.mkfifo(path)


def device(path: Path) -> None:
    path.symlink_to("/dev/zero")


def socket_file(path: Path) -> None:
    import socket  # noqa: PLC0415

    with socket.socket(socket.AF_UNIX) as server:
        here = Path.cwd()
        os.chdir(path.parent)  # a socket's name may not be long
        try:
            server.bind(path.name)
        finally:
            os.chdir(here)


def huge(path: Path) -> None:
    """A file that is said to be 5 TB long and holds nothing."""
    with path.open("wb") as stream:
        stream.truncate(5 << 40)


def a_logbook(path: Path) -> object:
    with opened(path, create=True) as log:
        return log.contents()


READERS: dict[str, tuple[str, Callable[[Path], object]]] = {
    "lane file": ("lane.json", lane_file.read_lane),
    "lens file": ("lens.json", lens_file.read_lens),
    "picture": ("still.png", still_source.read_picture),
    "panorama": ("sweep.npz", panorama_file.read_panorama),
    "table": ("t.csv", csv_text.rows_of),
    "analysis": ("analysis.json", result_file.read_analysis),
    "motion": ("motion.npz", result_file.read_motion),
    "hip path": ("hip_path.csv", result_folder.read_hip_path),
    "sighting": (sighting_file.NAME, lambda p: sighting_file.read_sighting(p.parent)),
    "corrections": ("corrections.json", lambda p: read_corrections(p.parent)),
    "logbook": ("log.sqlite", a_logbook),
    "page": ("session.html", lambda p: write_files(p.parent, {p.name: b"x"})),
}
QUIET: dict[str, tuple[str, Callable[[Path], object]]] = {
    "said": ("said.json", lambda p: result_folder.read_said(p.parent)),
    "corrections as text": ("corrections.json", lambda p: result_folder.read_corrections(p.parent)),
    "session state": (session_state.STATE, lambda p: session_state.read_state(p.parent)),
    "export": ("logbook.json", lambda p: is_export(p.parent)),
    "result": ("analysis.json", lambda p: sha256_of_result(p.parent)),
    "keypoints": ("k.npz", lambda _: keypoint_cache.read("k")),
}
"""Readers that pass over what is not theirs."""

MAKERS = [fifo, device, socket_file]


@pytest.mark.parametrize("make", [*MAKERS, huge])
@pytest.mark.parametrize("name", READERS)
def test_a_reader_names_it_at_once(name: str, make: Callable[[Path], None], tmp_path: Path) -> None:
    """A reader that waits for a pipe would hang the test; one that fills the memory from a device would end it."""
    if make is huge and name in ("page", "logbook"):
        pytest.skip("an ordinary file: its first bytes are looked at")
    file, read = READERS[name]
    make(tmp_path / file)

    with pytest.raises(PenultError):
        read(tmp_path / file)


@pytest.mark.parametrize("make", [*MAKERS, huge])
@pytest.mark.parametrize("name", QUIET)
def test_a_reader_passes_over_it_at_once(
    name: str, make: Callable[[Path], None], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PENULT_CACHE", str(tmp_path))
    file, read = QUIET[name]
    make(tmp_path / file)

    found = read(tmp_path / file)

    assert not found or found == result_folder.Said()


def test_the_one_reader_of_bounded_files(tmp_path: Path) -> None:
    """Exactly the limit is read; one byte more is not; a link to a file is followed."""
    path = tmp_path / "x"
    path.write_bytes(b"12345")
    (tmp_path / "link").symlink_to(path)

    assert read_whole(tmp_path / "link", 5) == b"12345"
    with pytest.raises(TooLargeError):
        read_whole(path, 4)
    with pytest.raises(IsADirectoryError):
        read_whole(tmp_path, 4)
    with pytest.raises(NotOrdinaryError):
        read_whole(Path("/dev/null"), 4)


@pytest.mark.parametrize("words", [["analyse", "X", "--calib", "X"], ["session", ".", "--calib", "X"], ["check", "X"],
                                   ["log", "show", "--logbook", "X"]], ids=" ".join)  # fmt: skip
def test_commands_end_with_a_sentence_in_reasonable_time(words: list[str], tmp_path: Path) -> None:
    fifo(tmp_path / "X")
    (tmp_path / "a.mp4").write_bytes(b"x")
    done = subprocess.run(
        [sys.executable, "-m", "penult", *words], cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False
    )

    assert done.returncode == 2, done.stderr
    assert "error: " in done.stderr
    assert "Traceback" not in done.stderr


RIGHTS = textwrap.dedent("""
    import os, sys
    os.umask(0o022)
    from pathlib import Path
    from penult.adapters.logbook.book import opened
    from penult.adapters.logbook.csv_folder import export
    from penult.adapters.files.corrections_file import write_corrections
    from penult.model.corrections import Corrections
    from penult.outputs.folder.save import building
    from penult.outputs.pages.page_files import write_files
    root = Path(sys.argv[1])
    old = root / "old.sqlite"
    old.touch(); old.chmod(0o644)
    for path in (root / "data" / "log.sqlite", old):
        with opened(path, create=True) as log:
            log.connection.execute("INSERT INTO athlete (label) VALUES ('A1')")
            for beside in path.parent.glob(path.name + "*"):
                assert beside.stat().st_mode & 0o777 == 0o600, beside
            if path != old:
                export(log, root / "export")
    for name, is_private in (("result", True), ("copy", False)):
        with building(root / name, sha256="a" * 64, is_private=is_private) as new:
            new.write("analysis.json", b'{"format": "penult-analysis/1", "clip": {"sha256": "' + b"a" * 64 + b'"}}')
            new.write("stills/contact_0_lowest.jpg", b"x")
            (new.path / "overlay.mp4").write_bytes(b"x")  # as a library writes it
    write_corrections(root / "result", Corrections(clip_sha256="a" * 64, version=1), over_version=0)
    write_files(root / "pages", {"session.html": b"x"})
    for path in sorted(root.rglob("*")):
        print(oct(path.stat().st_mode & 0o777), path.relative_to(root))
""")


def test_logbook_and_results_are_their_owners_alone_exports_and_copies_as_the_system_has_it(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, "-c", RIGHTS, str(tmp_path)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    rights = {name: mode for mode, name in (line.split(" ", 1) for line in done.stdout.splitlines())}

    assert rights["data"] == "0o700"
    assert rights["data/log.sqlite"] == rights["old.sqlite"] == "0o600"
    assert {m for n, m in rights.items() if n.startswith("result/") and "." in n} == {"0o600"}
    assert rights["result"] == rights["result/stills"] == "0o700"
    assert rights["pages/session.html"] == "0o600"
    assert {m for n, m in rights.items() if n.startswith("export/")} == {"0o644"}
    assert {m for n, m in rights.items() if n.startswith("copy/") and "." in n} == {"0o644"}
    assert rights["copy"] == rights["copy/stills"] == rights["export"] == "0o755"
