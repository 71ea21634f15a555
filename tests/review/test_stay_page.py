"""The page of a session that stays open: who may ask, what is handed out, and that a browser shows what it should."""

from __future__ import annotations

import math
import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest

from page_driver import PATIENCE_S, opened, sized
from penult.app.analyse import analyse
from penult.app.staying import Staying
from penult.review.server import KEPT_PAGE, LocalServer
from penult.review.stay_pages import StayPages

TABLET_MM_PER_PX = 158.0 / 820.0
"""A tablet of 10.9 inches (its diagonal) with 820 x 1180 pixels of the page; digits are 0.72 of the type's size high."""

TWO_METRES_MM = 2000.0 * math.tan(math.radians(16.0 / 60.0))
"""16 minutes of arc, the least height of characters that are read at ease (ISO 9241-303, from memory), at two metres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Live:
    """A staying session over a folder, served."""

    staying: Staying
    server: LocalServer
    folder: Path


def _measure(clip: Path, lane: Path, plan: Any, progress: Any, measured: Any) -> Any:
    return analyse(clip, lane, plan.settings, plan.result, progress, measured=measured).analysis


@pytest.fixture
def live(analysed: Path, tmp_path: Path) -> Iterator[Live]:
    """Return a session whose clip is measured already (its result lies beside it), watched and served."""
    folder = tmp_path / "today"
    folder.mkdir()
    shutil.copy(analysed / "clip.mp4", folder / "clip.mp4")
    staying = Staying(folder, analysed / "lane.json", _measure, date="2026-11-28")
    pages = StayPages(staying, lambda: ["A7"])
    server = LocalServer(pages.routes(), closing=staying.stop, ends_with_page=False)
    pages.attach(server)
    threads = [threading.Thread(target=job, daemon=True) for job in (staying.run, server.serve)]
    for thread in threads:
        thread.start()
    yield Live(staying=staying, server=server, folder=folder)
    staying.stop()
    server.stop()
    for thread in threads:
        thread.join(PATIENCE_S)


def measured(there: httpx.Client) -> dict[str, Any]:
    """Return the page's content once the clip is whole."""
    until = time.monotonic() + 2.0 * PATIENCE_S
    while time.monotonic() < until:
        content: dict[str, Any] = there.get("/api/session").json()
        if (
            content["runs"]
            and content["runs"][-1]["pictures"]
            and not content["doing"]["file"]
            and not content["waiting"]
        ):
            return content
        time.sleep(0.2)
    raise AssertionError("never measured")


@pytest.mark.slow
def test_a_clip_comes_is_measured_tapped_and_its_page_handed_out(live: Live) -> None:
    """From the folder to the page: numbers with their interval, pictures, the result's own page without a script."""
    with opened(live.server) as there:
        content = measured(there)
        run = content["runs"][0]
        assert run["rows"][0]["said"] == "hip drop above the runway"
        assert run["rows"][0]["u95"]
        assert "A7" in content["athletes"]
        assert there.get("/picture/clip.mp4/99/lowest").content[:2] == b"\xff\xd8"
        page = there.get("/result/clip.mp4")
        assert page.headers["content-security-policy"] == KEPT_PAGE
        assert b"<script" not in page.content

        answer = there.post("/api/tap", json={"file": "clip.mp4", "athlete": "A7", "also_next": True})
        assert answer.status_code == 200
        assert answer.json()["next"]["athlete"] == "A7"
        content = measured(there)
        assert content["runs"][0]["athlete"] == "A7"


def test_nothing_but_the_session_is_handed_out(analysed: Path, tmp_path: Path) -> None:
    """Names that point elsewhere, instants that are none, another site, no cookie: refused before a file is opened."""
    folder = tmp_path / "today"
    folder.mkdir()
    staying = Staying(folder, analysed / "lane.json", _measure)
    pages = StayPages(staying)
    server = LocalServer(pages.routes(), ends_with_page=False)
    pages.attach(server)
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{server.port}") as stranger:
            assert stranger.get("/api/session").status_code == 403
        with opened(server) as there:
            for path in (
                "/picture/..%2f..%2fetc/99/lowest",
                "/result/..%2flane.json",
                "/static/..%2fserver.py",
                "/result/none.mp4",
            ):
                assert there.get(path).status_code == 404, path
            assert there.post("/api/tap", json={"file": "../x", "athlete": "A"}).status_code == 404
            assert there.post("/api/tap", json={"file": "", "mats": "penultimate=5"}).status_code == 422
            assert (
                there.post("/api/tap", json={"athlete": "A"}, headers={"origin": "http://evil.example"}).status_code
                == 403
            )
            assert there.get("/api/session").json()["runs"] == []
    finally:
        server.stop()
        thread.join(PATIENCE_S)


@pytest.mark.slow
def test_a_browser_shows_it_on_tablet_and_phone_in_light_and_dark(live: Live, driver: Any, axe_source: str) -> None:
    """Numbers stand there, nothing is wider than the window, axe-core finds nothing, one tap by keyboard holds."""
    driver.get("about:blank")
    driver.get_log("browser")  # a page of an earlier test, whose server is gone, may have complained last
    driver.get(live.server.address)
    sized(driver, 1180, 820)
    until = time.monotonic() + 2.0 * PATIENCE_S
    while not driver.execute_script("return !!document.querySelector('#newest img')"):
        assert time.monotonic() < until
        time.sleep(0.2)
    sized(driver, 820, 1180)
    large_px = driver.execute_script(
        "return parseFloat(getComputedStyle(document.querySelector('table.big .headline .value')).fontSize)"
    )
    assert 0.72 * large_px * TABLET_MM_PER_PX > TWO_METRES_MM
    driver.execute_script(axe_source + "; window.axe = axe;")
    for width, height, dark in ((1180, 820, False), (820, 1180, True), (390, 844, False), (390, 844, True)):
        sized(driver, width, height, dark=dark)
        assert driver.execute_script("return document.documentElement.scrollWidth") <= width
        found = driver.execute_async_script(
            "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']}).then(r => done(r.violations))"
        )
        assert [(v["id"], [n["target"] for n in v["nodes"]][:3]) for v in found] == []
    button = next(b for b in driver.find_elements("css selector", "#set button") if b.text == "mat drill")
    button.send_keys("\n")
    until = time.monotonic() + 2.0 * PATIENCE_S
    label = "return document.querySelector('#newest .label').innerText"  # in one go: the page is drawn anew meanwhile
    while "mat drill" not in driver.execute_script(label):
        assert time.monotonic() < until
        time.sleep(0.2)
    assert driver.execute_script("return document.activeElement.textContent") == "mat drill"  # the focus stays
    assert [e for e in driver.get_log("browser") if e["level"] == "SEVERE"] == []
