"""Page, stills and tables of a result, made by a process of its own.

What they are made with takes half a second to load and a second to run, both of it under Python's lock: in a process
beside, the film is drawn meanwhile. That process serves one clip after another, opens no file and no connection but the two
pipes to the one that began it, and ends with it.
"""

from __future__ import annotations

import os
import pickle
import struct
import subprocess
import sys
import threading
from contextlib import suppress
from types import TracebackType
from typing import IO, Self

from penult.app.threads import worker_count
from penult.model.analysis import Analysis
from penult.model.clip import Frame
from penult.model.track import Motion

Files = list[tuple[str, bytes]]

ENDING_S = 5.0
"""A process that has nothing more to do ends in a few thousandths of a second; one that does not is ended."""


def files_here(analysis: Analysis, motion: Motion, frames: list[Frame]) -> Files:
    """Return all files of a result but the film, as names and bytes, made by this very process."""
    from penult.outputs.folder.contents import result_files

    return list(result_files(analysis, motion, frames))


class PageProcess:
    """Makes the files of results, one at a time.

    Use as a context manager, whose beginning loads what is needed while other work goes on. With one core to work on there is no
    process, and `files` makes them here; so it does where the process cannot be had or has ended early. The bytes are the same.
    """

    def __enter__(self) -> Self:
        self._process = _begun() if worker_count() > 1 else None
        self._lock, self._was_asked = threading.Lock(), False
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        process = self._process
        if process is None:
            return
        assert process.stdin is not None
        assert process.stdout is not None
        if error is not None or not self._was_asked:
            process.kill()
        with suppress(OSError):
            process.stdin.close()  # without more to do it ends by itself
        try:
            process.wait(timeout=ENDING_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        process.stdout.close()

    def files(self, analysis: Analysis, motion: Motion, frames: list[Frame]) -> Files:
        """Return all files of a result but the film.

        Parameters
        ----------
        analysis, motion : Analysis, Motion
            The result.
        frames : list of Frame
            Those that the stills are drawn on.
        """
        process = self._process
        if process is not None and process.stdin is not None and process.stdout is not None:
            with suppress(OSError, ValueError, EOFError, pickle.UnpicklingError), self._lock:
                self._was_asked = True
                _send(process.stdin, pickle.dumps((analysis, motion, frames), protocol=5))
                files: Files = pickle.loads(_received(process.stdout))
                return files
        return files_here(analysis, motion, frames)


_LENGTH = struct.Struct("<Q")


def _send(pipe: IO[bytes], data: bytes) -> None:
    """Write a message and its length."""
    pipe.write(_LENGTH.pack(len(data)))
    pipe.write(data)
    pipe.flush()


def _received(pipe: IO[bytes]) -> bytes:
    """Read a message.

    Raises
    ------
    EOFError
        If the other side has ended.
    """
    length = pipe.read(_LENGTH.size)
    data = pipe.read(_LENGTH.unpack(length)[0]) if len(length) == _LENGTH.size else b""
    if not data:
        raise EOFError
    return data


def _begun() -> subprocess.Popen[bytes] | None:
    """Start the process, None where that is refused. It finds modules where this one does, and none in the current folder."""
    if not sys.executable:  # Python is a part of another program
        return None
    surroundings = os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    command = [sys.executable, "-P", "-m", __name__]
    try:
        return subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=surroundings,
        )
    except OSError:
        return None


def serve() -> None:
    """Load, read results from standard input, and write the files of each to standard output."""
    import signal

    from penult.outputs.folder import contents

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the process that began this one decides
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever a library prints is no answer
    contents.load()
    with suppress(EOFError, OSError):
        while True:
            asked = _received(sys.stdin.buffer)
            _send(answers, pickle.dumps(files_here(*pickle.loads(asked)), protocol=5))
    os._exit(0)  # taking the libraries apart takes longer than all else here


if __name__ == "__main__":
    serve()
