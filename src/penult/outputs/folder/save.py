"""The only writer. A result folder is built aside and swapped in whole, so that no moment shows half of one.

The folder is built aside (see `aside`). Where the system can exchange two folders in
one step (Linux, macOS) the new result takes the old one's place in that step; elsewhere the old one is renamed away
first, and `recover` puts it back if the program dies in between. Whatever else lies in a result folder (corrections
made by hand, a coach's own notes) is carried into the new one; a folder that is not a result of the same clip is
never touched.
"""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath

from penult.errors import OutputError
from penult.outputs.folder import aside, exchange
from penult.whole_file import read_whole

OURS = frozenset({
    "analysis.json",
    "contacts.csv",
    "steps.csv",
    "phases.csv",
    "whole.csv",
    "hip_path.csv",
    "tables.xlsx",
    "motion.npz",
    "sighting.npz",
    "summary.html",
    "hip_height.png",
    "overlay.mp4",
    "film_landscape.mp4",
    "film_portrait.mp4",
    "film_whole.mp4",
    "pair.mp4",
    "sheet.html",
    "stills/index.json",
})  # fmt: skip
"""Files that a new result replaces or drops; anything else in the folder is kept."""

_OUR_STILL = re.compile(r"stills/(?:contact|[0-9]{1,3})_[a-z0-9_-]+\.jpg\Z")
_LARGEST_ANALYSIS_BYTES = 16_000_000

_PLAIN = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EFBIG: "the file would become larger than this disk or account allows",
    errno.EROFS: "the disk is read-only",
    errno.EACCES: "writing there is not allowed",
    errno.EPERM: "writing there is not allowed",
    errno.ENAMETOOLONG: "the name is too long for this disk",
    errno.ENOTDIR: "a part of the path is a file, not a folder",
    errno.EIO: "the disk reports an error",
    errno.EXDEV: "the folder is the root of another disk",
    errno.EBUSY: "the folder is in use or the root of a disk",
}
_DISK = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EIO})


def is_ours(name: str) -> bool:
    """Tell whether a file of a result folder (relative, with forward slashes) is one that a new result replaces or drops."""
    return name in OURS or bool(_OUR_STILL.match(name))


class Building:
    """A result folder under construction.

    Parameters
    ----------
    path : Path
        Where it is being built; a film is written straight into it.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    def write(self, name: str, content: bytes) -> None:
        """Write one file of the result; `name` is relative with forward slashes."""
        parts = PurePosixPath(name)
        if parts.is_absolute() or ".." in parts.parts:
            raise ValueError(f"not a relative name: {name}")
        target = self.path.joinpath(*parts.parts)
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("wb") as stream:
            stream.write(content)


def check_place(folder: Path, sha256: str) -> None:
    """Raise unless a result of the clip `sha256` may be written to `folder`; to be asked before the long work.

    Parameters
    ----------
    folder : Path
        Of the result; need not exist.
    sha256 : str
        Of the clip.

    Raises
    ------
    OutputError
        If something else is there, or the place cannot be written.
    """
    folder = _real(folder)
    recover(folder)
    _refuse_foreign(folder, sha256)
    with building(folder, sha256=sha256, commit=False):
        pass


def write_result(folder: Path, files: Iterable[tuple[str, bytes]], *, sha256: str) -> None:
    """Write a whole result from its files in one go.

    Raises
    ------
    OutputError
        If something else is there, or the place cannot be written; then nothing has changed.
    """
    with building(folder, sha256=sha256) as new:
        for name, content in files:
            new.write(name, content)


@contextmanager
def building(folder: Path, *, sha256: str, commit: bool = True, is_private: bool = True) -> Iterator[Building]:
    """Build a result aside; swap it in when the block ends without an error, remove it otherwise.

    Parameters
    ----------
    folder : Path
        Of the result; its parents are made where they are missing.
    sha256 : str
        Of the clip: an existing result of the same clip is replaced.
    commit : bool
        False only tries the place.
    is_private : bool
        Its owner alone may read the result; else as the system has it for new files.

    Yields
    ------
    Building
        To write the files into.

    Raises
    ------
    OutputError
        If something else is there, or the place cannot be written.
    """
    folder = _real(folder)
    made: list[Path] = []
    partial: Path | None = None
    lock: int | None = None
    try:
        made = _make_parents(folder.parent)
        recover(folder)
        _refuse_foreign(folder, sha256)
        aside.remove_stale(folder)
        partial, lock = aside.new_partial(folder, is_private=is_private)
        _refuse_locked(folder)
        yield Building(partial)
        if commit:
            if is_private:
                _make_private(partial)
            _carry_over(folder, partial)
            _settle(partial)
            _swap(partial, folder, sha256)
            made = []
    except OSError as error:
        if _is_about(error, folder):
            raise _plain_words(error, folder) from error
        raise
    finally:
        _release(partial, lock)
        for parent in reversed(made):
            with suppress(OSError):
                parent.rmdir()


def recover(folder: Path) -> None:
    """Put a result back that was renamed away by a program that died before it could put the new one in its place."""
    if folder.exists() or not folder.parent.is_dir():
        return
    for old in sorted(folder.parent.glob(f".{aside.escaped(folder.name)}.previous-*")):
        with suppress(OSError):
            old.rename(folder)
            return


def sha256_of_result(folder: Path) -> str | None:
    """Return the clip hash that a result folder names, or None if there is no readable result in it."""
    path = folder / "analysis.json"
    try:
        content = json.loads(read_whole(path, _LARGEST_ANALYSIS_BYTES))
        found = content["clip"]["sha256"] if str(content["format"]).startswith("penult-analysis/") else None
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return found if isinstance(found, str) else None


def _real(folder: Path) -> Path:
    """Return the folder without symbolic links, so that the swap happens beside the real one."""
    try:
        return folder.expanduser().resolve()
    except (OSError, RuntimeError) as error:
        raise OutputError(f"the result folder {folder} cannot be used", str(error)) from error


def _refuse_foreign(folder: Path, sha256: str) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise OutputError(
            f"{folder} is a file; the result needs a folder", next_step="choose another place with --out FOLDER"
        )
    if sha256_of_result(folder) == sha256 or not any(folder.iterdir()):
        return
    found = "a result of another clip" if sha256_of_result(folder) else "other files"
    raise OutputError(
        f"{folder} holds {found} and was left as it is",
        "a result only ever replaces an earlier result of the same clip",
        next_step="choose another place with --out FOLDER, or move that folder away",
    )


def _refuse_locked(folder: Path) -> None:
    """A result that was made read-only is to stay, although the folder around it would let it be exchanged."""
    if folder.is_dir() and not os.access(folder, os.W_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(folder))


def _make_parents(parent: Path) -> list[Path]:
    """Make the folders above the result and return those that were not there."""
    missing = []
    while not parent.exists():
        missing.append(parent)
        parent = parent.parent
    missing.reverse()
    for path in missing:
        path.mkdir(exist_ok=True)
    return missing


def _carry_over(source: Path, target: Path) -> None:
    """Bring everything that is not ours from the old result into the new one (linked, or copied where links fail)."""
    for old in sorted(source.rglob("*")) if source.is_dir() else ():
        name = old.relative_to(source).as_posix()
        if (old.is_dir() and not old.is_symlink()) or is_ours(name) or name == aside.LOCK:
            continue
        new = target / name
        if os.path.lexists(new):
            if old.is_symlink() or old.samefile(new) or old.stat().st_mtime_ns <= new.stat().st_mtime_ns:
                continue
            new.unlink()
        new.parent.mkdir(parents=True, exist_ok=True)
        _link_or_copy(old, new)


def _link_or_copy(old: Path, new: Path) -> None:
    if old.is_symlink():
        new.symlink_to(old.readlink())
        return
    try:
        os.link(old, new)
    except OSError:
        shutil.copy2(old, new)


def _make_private(partial: Path) -> None:
    """Let the owner alone read what was written, the film by another library too."""
    for path in partial.rglob("*"):
        if not path.is_symlink():
            with suppress(OSError):  # a disk without rights
                path.chmod(0o700 if path.is_dir() else 0o600)


def _settle(partial: Path) -> None:
    """Wait until the new files are on the disk, so that a power cut cannot leave empty ones under the final name."""
    for path in partial.rglob("*"):
        if path.is_file() and not path.is_symlink():
            with path.open("rb") as stream, suppress(OSError):
                os.fsync(stream.fileno())


def _swap(partial: Path, folder: Path, sha256: str) -> None:
    """Give the new result the folder's name."""
    for _ in range(5):  # another run may make or remove the folder between the look and the rename
        _refuse_foreign(folder, sha256)
        try:
            if folder.exists():
                _replace(partial, folder)
            else:
                partial.rename(folder)
            break
        except OSError as error:
            if error.errno not in (errno.EEXIST, errno.ENOTEMPTY, errno.ENOENT):
                raise
    else:
        raise OutputError(f"{folder} keeps changing while the result is written", next_step="try again")
    with suppress(OSError):
        (folder / aside.LOCK).unlink(missing_ok=True)


def _replace(partial: Path, folder: Path) -> None:
    if exchange.folders(partial, folder):
        # the old result now has the partial name and is removed with it; what a person saved into it at the last
        # moment (a correction by hand) still comes along
        _carry_over(partial, folder)
        return
    previous = folder.parent / f".{folder.name}.previous-{aside.mark()}"
    folder.rename(previous)
    try:
        partial.rename(folder)
    except OSError:
        with suppress(OSError):
            previous.rename(folder)
        raise
    _remove(previous)


def _remove(folder: Path) -> None:
    """Remove a folder with all that is in it, read-only folders (of an old result) too."""
    for inner in (folder, *(p for p in folder.rglob("*") if p.is_dir() and not p.is_symlink())):
        with suppress(OSError):
            inner.chmod(0o700)
    shutil.rmtree(folder, ignore_errors=True)


def _release(partial: Path | None, lock: int | None) -> None:
    if partial is not None:
        _remove(partial)
    if lock is not None:
        os.close(lock)


def _is_about(error: OSError, folder: Path) -> bool:
    """Tell whether a failure inside the block came from the place written to, not from a file being read."""
    if error.errno in _DISK:
        return True
    beside = str(folder.parent / f".{folder.name}.")
    paths = [Path(os.fsdecode(n)) for n in (error.filename, error.filename2) if isinstance(n, str | bytes)]
    return any(p == folder or p in folder.parents or folder in p.parents or str(p).startswith(beside) for p in paths)


def _plain_words(error: OSError, folder: Path) -> OutputError:
    why = _PLAIN.get(error.errno or 0, error.strerror or str(error))
    return OutputError(
        f"the result cannot be written to {folder}",
        why,
        "nothing there has been changed",
        next_step="make room or choose another place with --out FOLDER",
    )
