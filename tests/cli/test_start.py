"""`penult` alone: it says where its page is, serves it, and waits for nobody for ever."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from penult.cli import start as cli_start
from penult.cli.start import start
from penult.review import opening

PATIENCE_S = 60.0


@pytest.fixture(autouse=True)
def own_signals() -> Iterator[None]:
    kept = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
    yield
    for number, handler in kept.items():
        signal.signal(number, handler)


@contextmanager
def alone(folder: Path, **more: object) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Start `penult` without a screen and give it with its address."""
    surroundings = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER")}
    with subprocess.Popen(
        [sys.executable, "-m", "penult"], stderr=subprocess.PIPE, text=True, cwd=folder, env=surroundings, **more
    ) as process:  # type: ignore[call-overload]
        try:
            assert process.stderr is not None
            found = re.match(r"open (http://127\.0\.0\.1:\d+/open\?token=\S{20,})", process.stderr.readline())
            assert found
            yield process, found[1]
        finally:
            if process.poll() is None:
                process.kill()


@pytest.mark.slow
def test_without_a_terminal_or_a_screen_it_says_where_it_is_and_serves(tmp_path: Path) -> None:
    """In a pipe, with nothing at standard input: the address at once, the page, and how it ends. Nothing on standard output."""
    with alone(tmp_path, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE) as (process, address):
        with httpx.Client(timeout=PATIENCE_S) as there:
            assert "<title>penult</title>" in there.get(address, follow_redirects=True).text
            assert there.get(address.split("/open")[0] + "/api/start").json()["opened"] is None
        process.send_signal(signal.SIGINT)
        assert process.wait(PATIENCE_S) == 0
        assert process.stderr is not None
        said = process.stderr.read()
        assert "open the address yourself" in said
        assert "ends by itself" in said
        assert process.stdout is not None
        assert process.stdout.read() == ""


def test_without_a_terminal_it_waits_for_nobody_for_ever(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """A script that called it by mistake goes on, and its record says what happened."""
    monkeypatch.setattr(cli_start, "ALONE_S", 0.5)
    monkeypatch.setattr(sys, "stdin", None)  # closed by who started us
    monkeypatch.setattr(opening, "has_screen", lambda: False)
    begun_s = time.monotonic()
    start()
    assert time.monotonic() - begun_s < PATIENCE_S
    said = capfd.readouterr().err
    assert "ends by itself if no page comes" in said
    assert said.rstrip().endswith("ended; what was measured is in its folders")


@pytest.mark.parametrize(("names", "has"), [((), False), (("DISPLAY",), True), (("WAYLAND_DISPLAY",), True)])
def test_a_screen_is_looked_for_before_a_browser(
    monkeypatch: pytest.MonkeyPatch, names: tuple[str, ...], has: bool
) -> None:
    """Without one a browser for terminals would take the terminal and run no script."""
    monkeypatch.setattr(sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"):
        monkeypatch.delenv(name, raising=False)
    for name in names:
        monkeypatch.setenv(name, ":0")
    asked: list[str] = []
    monkeypatch.setattr(opening.webbrowser, "open", lambda address: asked.append(address) is None)
    assert opening.open_in_browser("http://127.0.0.1:1/") is has
    assert bool(asked) is has
