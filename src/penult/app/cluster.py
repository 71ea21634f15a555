"""Clips of a session on a Dask cluster (the optional extra `penult[cluster]`): the same function, on other machines.

Workers read the clips and write the result folders under the same paths as the machine that asks, on a file system that
all of them see. A clip whose worker dies is given to another; results are written whole or not at all, and every clip
gives the same bytes wherever it is analysed.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import Any, TypeVar

from penult.errors import InputError

R = TypeVar("R")

RETRIES = 2
"""Times that a clip is tried again after a fault of the machine."""

PATIENCE_S = 15.0
"""Time to wait for the scheduler's answer."""


def cluster(address: str) -> Executor:
    """Connect to a cluster.

    Parameters
    ----------
    address : str
        Of the scheduler, such as tcp://192.0.2.7:8786.

    Returns
    -------
    Executor
        Context manager; the connection is closed at its end, the cluster goes on.

    Raises
    ------
    InputError
        If Dask is not installed or no scheduler answers.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise InputError(
            "--cluster needs Dask, which is not installed",
            str(error),
            next_step='install it with: pip install "penult[cluster]"',
        ) from error
    try:
        client = Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise InputError(
            f"no Dask scheduler answers at {address}",
            str(error)[:200],
            next_step="start one with: dask scheduler, and workers with: dask worker ADDRESS --nthreads 1",
        ) from error
    return _Cluster(client)


class _Cluster(Executor):
    """Dask's own executor, with retries, one thread a clip, and the connection closed at the end."""

    def __init__(self, client: Any) -> None:
        self._client = client
        # not pure: the same call may be made again after its result was deleted
        self._inner = client.get_executor(retries=RETRIES, pure=False)

    def submit(self, fn: Callable[..., R], /, *args: Any, **kwargs: Any) -> Future[R]:
        future: Future[R] = self._inner.submit(_single, fn, *args, **kwargs)
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        if cancel_futures:
            self._client.close()
            return
        self._inner.shutdown(wait=wait)
        self._client.close()


def _single(fn: Callable[..., R], *args: Any, **kwargs: Any) -> R:
    """Run on a worker: its clips share the cores as they are, so each takes one thread."""
    one_thread_a_clip()
    return fn(*args, **kwargs)


def one_thread_a_clip() -> None:
    """Let every clip of this process use one thread for itself, unless something else was said."""
    os.environ.setdefault("PENULT_WORKERS", "1")
