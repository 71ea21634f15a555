"""Hands and eyes for the tests of the review page: a client that has opened it, and a page in a real browser."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx

from penult.app.review import open_result
from penult.review.run import page_server
from penult.review.server import LocalServer

PATIENCE_S = 60.0
"""Longest that any one answer is waited for: on a machine that does ten other things too."""

Serve = Callable[..., LocalServer]


@contextmanager
def opened(server: LocalServer) -> Iterator[httpx.Client]:
    """Give a client that has used the address once, as a browser does."""
    with httpx.Client(base_url=f"http://127.0.0.1:{server.port}", timeout=PATIENCE_S) as there:
        assert there.get(server.address, follow_redirects=True).status_code == 200
        yield there


@contextmanager
def served(*results: Path) -> Iterator[LocalServer]:
    """Give a server of results, open as long as the block runs."""
    server = page_server([open_result(folder, None, lambda _what, _share: None) for folder in results])
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.stop()
        thread.join(20.0)
    assert not thread.is_alive()
