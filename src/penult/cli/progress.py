"""One line of progress on standard error: what is being done, the share, the time left."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def shown_progress(*, quiet: bool) -> Iterator[Callable[[str, float], None]]:
    """Give a callback that moves a progress line while the block runs; nothing is shown when quiet."""
    if quiet:
        yield lambda _what, _share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("opening the clip", total=1.0)
        last = [""]

        def show(what: str, share: float) -> None:
            if what != last[0]:
                bar.reset(task, description=what, total=1.0)
                last[0] = what
            bar.update(task, completed=min(share, 1.0))

        yield show
