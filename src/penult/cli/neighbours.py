"""Two clips of a session at a time in one process: the film of one is drawn while the next is looked at."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from types import TracebackType
from typing import Any, Self

from penult.cli.fault import StoppedError

_STOPPED = threading.Event()


class Neighbours(ThreadPoolExecutor):
    """Two threads; left early, both stop at their next word of progress and take away what is half built."""

    def __init__(self) -> None:
        _STOPPED.clear()
        super().__init__(2, thread_name_prefix="clip")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None, /
    ) -> Any:
        if error is not None:
            _STOPPED.set()
        self.shutdown(wait=True, cancel_futures=error is not None)


def going_on() -> None:
    """To be called by the threads now and then.

    Raises
    ------
    StoppedError
        If the session is being left.
    """
    if _STOPPED.is_set():
        raise StoppedError
