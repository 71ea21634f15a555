"""A result folder is there whole or not at all, whatever happens while it is written."""

from __future__ import annotations

import errno
import json
import os
import random
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from penult.errors import OutputError
from penult.outputs.folder import aside, exchange, save

CLIP, OTHER_CLIP = "a" * 64, "b" * 64


def files(sha256: str = CLIP, token: str = "1") -> list[tuple[str, bytes]]:
    """A result whose every file carries the same token, so that a mixture of two can be told."""
    analysis = {"format": "penult-analysis/1", "clip": {"sha256": sha256}, "token": token}
    return [
        ("analysis.json", json.dumps(analysis).encode()),
        ("contacts.csv", token.encode()),
        ("stills/contact_0_takeoff_touchdown.jpg", token.encode()),
        ("summary.html", token.encode()),
    ]


def tree(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def whole_token(folder: Path) -> str:
    """Return the one token of a whole result; fails for half of one or a mixture."""
    found = tree(folder)
    assert set(found) >= {name for name, _ in files()}
    tokens = {json.loads(found["analysis.json"])["token"].encode(), *(found[name] for name, _ in files()[1:])}
    assert len(tokens) == 1
    return tokens.pop().decode()


def test_a_new_result_holds_exactly_what_was_written(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "clip_analysis"

    save.write_result(folder, files(), sha256=CLIP)

    assert tree(folder) == dict(files())
    assert list(folder.parent.iterdir()) == [folder]


def test_a_result_of_the_same_clip_is_replaced_and_what_a_person_put_there_stays(tmp_path: Path) -> None:
    folder = tmp_path / "result"
    save.write_result(folder, [*files(token="old"), ("stills/contact_9_lowest.jpg", b"old")], sha256=CLIP)
    (folder / "corrections.json").write_text("corrected")
    (folder / "notes").mkdir()
    (folder / "notes" / "my notes.txt").write_text("short last step")

    save.write_result(folder, files(token="new"), sha256=CLIP)

    assert whole_token(folder) == "new"
    assert (folder / "corrections.json").read_text() == "corrected"
    assert (folder / "notes" / "my notes.txt").read_text() == "short last step"
    assert not (folder / "stills" / "contact_9_lowest.jpg").exists()
    assert list(tmp_path.iterdir()) == [folder]


def test_what_a_person_put_there_is_in_the_new_folder_before_it_takes_the_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A kill right after the swap must not lose a correction; one saved at the last moment comes along as well."""
    folder = tmp_path / "result"
    save.write_result(folder, files(token="old"), sha256=CLIP)
    (folder / "corrections.json").write_text("corrected")
    real = exchange.folders

    def watched(new: Path, old: Path) -> bool:
        assert (new / "corrections.json").read_text() == "corrected"
        (old / "late.json").write_text("saved at the last moment")
        return real(new, old)

    monkeypatch.setattr(exchange, "folders", watched)
    save.write_result(folder, files(token="new"), sha256=CLIP)

    assert (folder / "late.json").exists() or not sys.platform.startswith("linux")


@pytest.mark.parametrize("there", ["another clip", "foreign files", "damaged result", "a file"])
def test_anything_else_is_never_touched(tmp_path: Path, there: str) -> None:
    folder = tmp_path / "result"
    if there == "a file":
        folder.write_text("precious")
    elif there == "another clip":
        save.write_result(folder, files(OTHER_CLIP), sha256=OTHER_CLIP)
    else:
        folder.mkdir()
        name = "analysis.json" if there == "damaged result" else "thesis.tex"
        (folder / name).write_text("{ half of a")
    before = folder.read_bytes() if folder.is_file() else tree(folder)

    with pytest.raises(OutputError, match="result"):
        save.write_result(folder, files(), sha256=CLIP)
    with pytest.raises(OutputError):
        save.check_place(folder, CLIP)

    assert (folder.read_bytes() if folder.is_file() else tree(folder)) == before
    assert list(tmp_path.iterdir()) == [folder]


def test_an_empty_folder_may_be_used(tmp_path: Path) -> None:
    folder = tmp_path / "result"
    folder.mkdir()

    save.write_result(folder, files(), sha256=CLIP)

    assert whole_token(folder) == "1"


def test_trying_a_place_leaves_no_trace(tmp_path: Path) -> None:
    save.check_place(tmp_path / "x" / "y" / "result", CLIP)

    assert list(tmp_path.iterdir()) == []


def test_a_failure_inside_leaves_the_old_result(tmp_path: Path) -> None:
    folder = tmp_path / "result"
    save.write_result(folder, files(token="old"), sha256=CLIP)

    def failing() -> None:
        with save.building(folder, sha256=CLIP) as new:
            new.write("contacts.csv", b"new")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        failing()

    assert whole_token(folder) == "old"
    assert list(tmp_path.iterdir()) == [folder]


def test_an_error_of_a_file_being_read_is_not_taken_for_one_of_the_place(tmp_path: Path) -> None:
    """The clip lies beside the result; its absence must not be reported as a full disk."""

    def reading() -> None:
        with save.building(tmp_path / "clip_analysis", sha256=CLIP):
            (tmp_path / "clip.mp4").read_bytes()

    with pytest.raises(FileNotFoundError):
        reading()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("code", "words"), [(errno.ENOSPC, "disk is full"), (errno.EROFS, "read-only"), (errno.EACCES, "not allowed")]
)
def test_a_place_that_cannot_be_written_is_said_in_plain_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, words: str
) -> None:
    folder = tmp_path / "result"
    save.write_result(folder, files(token="old"), sha256=CLIP)

    def full(self: save.Building, name: str, content: bytes) -> None:
        (self.path / "half.csv").write_bytes(content[:1])
        raise OSError(code, os.strerror(code), str(self.path / name))

    monkeypatch.setattr(save.Building, "write", full)
    with pytest.raises(OutputError, match=words) as caught:
        save.write_result(folder, files(token="new"), sha256=CLIP)

    assert caught.value.exit_status == 2
    assert whole_token(folder) == "old"
    assert list(tmp_path.iterdir()) == [folder]


def run_python(code: str, *arguments: str, wait: bool = True) -> subprocess.Popen[bytes]:
    process = subprocess.Popen([sys.executable, "-c", textwrap.dedent(code), *arguments])
    if wait:
        process.wait(60)
    return process


@pytest.mark.skipif(sys.platform == "win32", reason="limits of this kind are a Unix thing")
def test_a_disk_that_ends_in_the_middle_of_a_file_leaves_nothing_behind(tmp_path: Path) -> None:
    """The system itself refuses the bytes beyond 50,000 here, as a full disk does, and not a stand-in of ours."""
    process = run_python(
        """
        import resource, sys
        from pathlib import Path
        from penult.errors import OutputError
        from penult.outputs.folder import save
        resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, 50_000))
        try:
            save.write_result(Path(sys.argv[1]), [("motion.npz", b"x" * 200_000)], sha256="a" * 64)
        except OutputError as error:
            sys.exit(7 if "larger than" in str(error) else 8)
        """,
        str(tmp_path / "result"),
    )

    assert process.returncode == 7
    assert list(tmp_path.iterdir()) == []


WRITER = """
    import json, sys, time
    from pathlib import Path
    from penult.outputs.folder import save
    folder, tokens = Path(sys.argv[1]), sys.argv[2].split(",")
    for token in tokens:
        with save.building(folder, sha256="a" * 64) as new:
            analysis = {"format": "penult-analysis/1", "clip": {"sha256": "a" * 64}, "token": token}
            new.write("analysis.json", json.dumps(analysis).encode())
            for name in ("contacts.csv", "stills/contact_0_takeoff_touchdown.jpg", "summary.html"):
                new.write(name, token.encode())
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is a Unix thing")
def test_a_kill_at_any_moment_leaves_a_whole_result(tmp_path: Path) -> None:
    """Twelve writers are killed without warning at random moments; the folder is always one whole result."""
    folder = tmp_path / "result"
    save.write_result(folder, files(token="first"), sha256=CLIP)
    (folder / "corrections.json").write_text("corrected")
    chance = random.Random(5)
    for _ in range(12):
        process = run_python(WRITER, str(folder), ",".join(map(str, range(4000))), wait=False)
        time.sleep(0.25 + 0.1 * chance.random())
        process.send_signal(signal.SIGKILL)
        process.wait(30)
        whole_token(folder)
        assert (folder / "corrections.json").read_text() == "corrected"

    save.write_result(folder, files(token="last"), sha256=CLIP)

    assert whole_token(folder) == "last"
    assert list(tmp_path.iterdir()) == [folder], "what killed runs left is removed by the next"


def test_two_writers_at_once_leave_a_whole_result(tmp_path: Path) -> None:
    folder = tmp_path / "result"
    both = [run_python(WRITER, str(folder), ",".join(f"{who}{i}" for i in range(60)), wait=False) for who in "AB"]
    for process in both:
        process.wait(60)

    assert [p.returncode for p in both] == [0, 0]
    assert whole_token(folder) in {"A59", "B59"}
    assert list(tmp_path.iterdir()) == [folder]


def test_a_folder_made_this_very_moment_is_left_alone(tmp_path: Path) -> None:
    """Between making the folder and locking it another run may look; and what it looks at must not be gone then."""
    folder = tmp_path / "result"
    partial, lock = aside.new_partial(folder)
    assert lock is not None
    os.close(lock)  # as it is before the lock is taken

    aside.remove_stale(folder)
    assert partial.exists()

    killed = subprocess.Popen([sys.executable, "-c", ""])
    killed.wait(30)
    gone = partial.rename(partial.with_name(partial.name.replace(f"-{os.getpid()}-", f"-{killed.pid}-")))
    aside.remove_stale(folder)
    assert not gone.exists(), "one whose maker runs no more is removed"


def test_the_old_result_under_the_partial_name_is_left_to_its_run(tmp_path: Path) -> None:
    """After the exchange the old result, without a lock, has the partial name until what a person put in is carried."""
    folder = tmp_path / "result"
    partial, lock = aside.new_partial(folder)
    assert lock is not None
    (partial / aside.LOCK).unlink()
    os.utime(partial, (0, 0))

    aside.remove_stale(folder)

    assert partial.exists()
    os.close(lock)


def test_a_folder_that_another_run_is_building_is_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "result"
    with save.building(folder, sha256=CLIP) as slow:
        os.utime(slow.path, (0, 0))
        save.write_result(folder, files(token="quick"), sha256=CLIP)
        for name, content in files(token="slow"):
            slow.write(name, content)

    assert whole_token(folder) == "slow"


def test_without_an_exchange_the_old_result_is_renamed_away_and_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Systems that cannot exchange two folders in one step take two renames; a failing second one is undone."""
    monkeypatch.setattr(exchange, "folders", lambda *_: False)
    folder = tmp_path / "result"
    save.write_result(folder, files(token="old"), sha256=CLIP)
    save.write_result(folder, files(token="new"), sha256=CLIP)
    assert whole_token(folder) == "new"
    assert list(tmp_path.iterdir()) == [folder]

    real = Path.rename

    def second_fails(self: Path, target: Path) -> Path:
        if ".partial-" in self.name:
            raise OSError(errno.EIO, "the disk reports an error", str(target))
        return real(self, target)

    monkeypatch.setattr(Path, "rename", second_fails)
    with pytest.raises(OutputError):
        save.write_result(folder, files(token="newer"), sha256=CLIP)
    assert whole_token(folder) == "new"


def test_a_result_renamed_away_by_a_run_that_died_is_put_back(tmp_path: Path) -> None:
    folder = tmp_path / "result [1]"
    save.write_result(folder, files(token="old"), sha256=CLIP)
    folder.rename(tmp_path / ".result [1].previous-4711-00ff")

    save.recover(folder)

    assert whole_token(folder) == "old"


def test_names_that_leave_the_folder_are_refused(tmp_path: Path) -> None:
    with save.building(tmp_path / "result", sha256=CLIP, commit=False) as new:
        for name in ("../outside.txt", "/etc/outside", "stills/../../outside"):
            with pytest.raises(ValueError, match="relative"):
                new.write(name, b"")


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the one-step exchange is asked for on Linux")
def test_the_exchange_swaps_two_folders(tmp_path: Path) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    for path in (first, second):
        path.mkdir()
        (path / path.name).touch()

    if not exchange.folders(first, second):
        pytest.skip("this disk cannot exchange")

    assert (first / "second").exists()
    assert (second / "first").exists()
    with pytest.raises(OSError, match="No such file"):
        exchange.folders(first, tmp_path / "nowhere")
