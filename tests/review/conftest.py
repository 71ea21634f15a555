"""A real analysis of a sample film, its review page served on this computer, and a real browser to use it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest

from page_driver import PATIENCE_S, Page, Serve, opened, served, sized
from penult.review import frames, server
from penult.review.server import LocalServer

CHROMIUM, DRIVER = Path("/usr/bin/chromium"), Path("/usr/bin/chromedriver")


@pytest.fixture(scope="session", autouse=True)
def patient_servers_that_read_little_ahead() -> Iterator[None]:
    """Servers of tests read a hundred frames ahead, not all, which costs the most; and stay without a page for a while."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(frames, "BUDGET_BYTES", 22_000_000)
        patch.setattr(server, "GONE_AFTER_S", 600.0)
        yield


@pytest.fixture(scope="session")
def analysed(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the film full_240 and its result, analysed once."""
    return _analysed(samples / "full_240", tmp_path_factory.mktemp("full"), "full approach", "A1")


@pytest.fixture(scope="session")
def analysed_mat(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the film mat_one_240 and its result, analysed once."""
    return _analysed(samples / "mat_one_240", tmp_path_factory.mktemp("mat"), "mat drill", "A2")


def _analysed(sample: Path, folder: Path, kind: str, athlete: str) -> Path:
    for name in ("clip.mp4", "lane.json", "still.jpg"):
        shutil.copy(sample / name, folder / name)
    command = [sys.executable, "-m", "penult", "analyse", str(folder / "clip.mp4"), "--quiet"]
    more = ["--calib", str(folder / "lane.json"), "--kind", kind, "--athlete", athlete]
    done = subprocess.run([*command, *more], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def result(analysed: Path, tmp_path: Path) -> Path:
    """Return a result of the test's own, with its film beside it."""
    folder = tmp_path / "own"
    shutil.copytree(analysed, folder)
    return folder / "clip_analysis"


@pytest.fixture
def serve() -> Iterator[Serve]:
    """Return a function that serves results until the test ends."""
    with ExitStack() as running:
        yield lambda *results: running.enter_context(served(*results))


@pytest.fixture
def client(result: Path, serve: Serve) -> Iterator[httpx.Client]:
    """Return a client that has opened the page of a result of the test's own."""
    with opened(serve(result)) as there:
        yield there


@pytest.fixture(scope="module")
def looking(analysed: Path) -> Iterator[httpx.Client]:
    """Return a client that has opened the page of a result in which nothing may be changed."""
    with served(analysed / "clip_analysis") as seen, opened(seen) as there:
        yield there


@pytest.fixture(scope="session")
def driver() -> Iterator[Any]:
    """Return a headless browser; skips the test where there is none."""
    webdriver = pytest.importorskip("selenium.webdriver")
    if not (CHROMIUM.exists() and DRIVER.exists()):
        pytest.skip("no Chromium with its driver on this machine")
    options = webdriver.ChromeOptions()
    options.binary_location = str(CHROMIUM)
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--window-size=1366,768",
    ):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    service = webdriver.ChromeService(executable_path=str(DRIVER))
    browser = webdriver.Chrome(options=options, service=service)
    browser.set_script_timeout(PATIENCE_S)
    yield browser
    browser.quit()


@pytest.fixture(scope="module")
def seen_server(analysed: Path) -> Iterator[LocalServer]:
    """Return a server of a result in which nothing may be changed."""
    with served(analysed / "clip_analysis") as seen:
        yield seen


@pytest.fixture
def view(driver: Any, seen_server: LocalServer) -> Page:
    """Return the review page of a result in which nothing may be changed, freshly loaded."""
    sized(driver)
    return Page(driver, seen_server.address)


@pytest.fixture
def page(driver: Any, result: Path, serve: Serve) -> Page:
    """Return the review page of a result of the test's own, in the browser."""
    sized(driver)
    return Page(driver, serve(result).address)


@pytest.fixture
def contention() -> Callable[[], float]:
    """Return a function that says how many times slower than alone this process runs just now (1: it is alone)."""

    def measure() -> float:
        wall, cpu = time.perf_counter(), time.process_time()
        while time.process_time() - cpu < 0.1:
            sum(range(1000))
        return max(1.0, (time.perf_counter() - wall) / (time.process_time() - cpu))

    return measure


@pytest.fixture(scope="session")
def axe_source(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the accessibility checker axe-core: from $AXE_CORE or node_modules, else fetched by npm; skips without it."""
    places = [os.environ.get("AXE_CORE", ""), str(Path(__file__).parents[2] / "node_modules/axe-core/axe.min.js")]
    there = next((Path(place) for place in places if place and Path(place).is_file()), None)
    if there is None:
        npm = shutil.which("npm")
        if npm is None:
            pytest.skip("neither axe-core nor npm is on this machine")
        folder = tmp_path_factory.mktemp("npm")
        fetch = [npm, "install", "--prefix", str(folder), "--no-audit", "--no-fund", "--ignore-scripts", "axe-core@4"]
        try:
            done = subprocess.run(fetch, capture_output=True, text=True, check=False, timeout=120)
        except subprocess.TimeoutExpired:
            pytest.skip("npm does not answer")
        there = folder / "node_modules/axe-core/axe.min.js"
        if done.returncode != 0 or not there.is_file():
            pytest.skip("npm cannot fetch axe-core")
    return there.read_text()
