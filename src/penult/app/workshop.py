"""What clips are measured with, loaded once for as many as follow one another; and whose turn it is to use it.

Clips share the pose model and the process that makes pages. One clip at a time is looked at and measured, by every core; while its
film is drawn, which keeps one core busy and a half, the next one may begin.
"""

from __future__ import annotations

import threading
from contextlib import ExitStack
from types import TracebackType
from typing import Self

from penult.app.page import PageProcess
from penult.app.poses import PosePool


class Workshop:
    """A page process and a pose model. Use as a context manager; `lasts` says that more than one clip is to come.

    Nothing is loaded before the first clip asks.
    """

    def __init__(self, *, lasts: bool = False) -> None:
        self._lasts = lasts
        self._open = ExitStack()
        self._turn = threading.Lock()
        self._helpers: tuple[PageProcess, PosePool] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of everything."""
        self._open.close()

    def begin(self) -> Turn:
        """Wait until the clip before has been measured."""
        turn = Turn(self._turn)
        try:
            if self._helpers is None:
                self._helpers = self._open.enter_context(PageProcess()), self._open.enter_context(PosePool())
        except BaseException:
            turn.end()
            raise
        turn.page, turn.pool = self._helpers
        return turn

    def looked(self) -> None:
        """Let go of the pose model's memory, unless another clip follows."""
        if not self._lasts and self._helpers is not None:
            self._helpers[1].close()


class Turn:
    """The right to look at a clip, until `end`; with it what there is to do so."""

    page: PageProcess
    pool: PosePool

    def __init__(self, lock: threading.Lock) -> None:
        lock.acquire()
        self._lock, self._is_over = lock, False

    def end(self) -> None:
        """Let the next clip begin; once is enough, more does no harm."""
        if not self._is_over:
            self._is_over = True
            self._lock.release()
