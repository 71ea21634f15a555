"""One line of progress on standard error: what is being done, the share, the time left; and nothing else beside it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from rich.progress import Progress


class Shown:
    """Moves a progress line when it is called with what is being done and the share."""

    def __init__(self, move: Callable[[str, float], None], bar: Progress | None = None) -> None:
        self._move, self._bar = move, bar

    def __call__(self, what: str, share: float) -> None:
        """Say what is being done, and which share of it is done."""
        self._move(what, share)

    @contextmanager
    def aside(self) -> Iterator[None]:
        """Take the line off the terminal while something else is printed."""
        if self._bar is not None:
            self._bar.stop()
        try:
            yield
        finally:
            if self._bar is not None:
                self._bar.start()


@contextmanager
def shown_progress(*, quiet: bool) -> Iterator[Shown]:
    """Give a callback that moves a progress line while the block runs; nothing is shown when quiet."""
    with _own_words_only() as stream:
        if quiet:
            yield Shown(lambda _what, _share: None)
            return
        with _bar(stream) as show:
            yield show


@contextmanager
def _bar(stream: TextIO) -> Iterator[Shown]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(file=stream), transient=True) as bar:
        task = bar.add_task("opening the clip", total=1.0)
        last = [""]

        def show(what: str, share: float) -> None:
            if what != last[0]:
                bar.reset(task, description=what, total=1.0)
                last[0] = what
            bar.update(task, completed=min(share, 1.0))

        yield Shown(show, bar)


@contextmanager
def _own_words_only() -> Iterator[TextIO]:
    """Keep the pose library's log lines, which it writes past Python to descriptor 2, out of the terminal.

    Python's own messages still arrive: for the time of the block `sys.stderr` is a second handle on the same terminal.
    """
    try:
        real = os.dup(2)
    except OSError:  # no standard error at all, as under a window manager
        yield sys.stderr
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    before = sys.stderr
    with os.fdopen(
        os.dup(real), "w", encoding=getattr(before, "encoding", None) or "utf-8", errors="replace", buffering=1
    ) as own:
        is_ours = before is sys.__stderr__
        if is_ours:
            before.flush()
            sys.stderr = own
        os.dup2(nowhere, 2)
        try:
            yield own if is_ours else before
        finally:
            os.dup2(real, 2)
            if is_ours:
                sys.stderr = before
            os.close(nowhere)
            os.close(real)
