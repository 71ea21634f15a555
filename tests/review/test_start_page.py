"""The start page: who may ask, what is taken and handed out, and a coach's way through it in a real browser."""

from __future__ import annotations

import http.client
import re
import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import httpx
import pytest

from page_driver import PATIENCE_S, opened, sized
from penult.adapters.files.result_file import read_analysis
from penult.app.day import Day
from penult.outputs.folder.result import analysis_to_json
from penult.review.server import FILM, KEPT_FILM, KEPT_PAGE, MOST_BODY_BYTES, LocalServer
from penult.review.start_pages import FILMS, STATIC, StartPages

BYTES = {"content-type": FILM}
EMPTY_BOX = b"\0\0\0\x08free"
"""At the end of an MP4 it changes nothing but the file's hash (ISO/IEC 14496-12, 8.1.2)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """A start page, served; its day, a lane and a folder for it."""

    day: Day
    server: LocalServer
    lane: Path
    folder: Path
    film: bytes

    def wait(self, is_so: Any) -> None:
        until = time.monotonic() + 2.0 * PATIENCE_S
        while not is_so():
            assert time.monotonic() < until, "it never came to be"
            time.sleep(0.1)


@pytest.fixture
def start(analysed: Path, tmp_path: Path) -> Iterator[Desk]:
    """Return a start page whose clips 'are measured' by copying a ready result: numbers first, then the folder."""

    def ready(clip: Path, _lane: Path, plan: Any, progress: Any, told: Any) -> Any:
        progress("following the joints", 0.5)
        analysis = read_analysis(analysed / "clip_analysis")
        run = replace(analysis.run, athlete=plan.settings.athlete, kind=plan.settings.kind)
        analysis = replace(analysis, run=run, clip=replace(analysis.clip, file=clip.name, sha256=plan.sha256))
        time.sleep(0.3)
        told(analysis)
        shutil.copytree(analysed / "clip_analysis", plan.result, dirs_exist_ok=True)
        (plan.result / "analysis.json").write_text(analysis_to_json(analysis), encoding="utf-8")
        return analysis

    lane = tmp_path / "lanes" / "lane.json"
    lane.parent.mkdir()
    shutil.copy(analysed / "lane.json", lane)
    shutil.copy(analysed / "still.jpg", lane.parent)
    day = Day(ready, tmp_path / "book" / "log.sqlite")
    day.remember_lane(lane)
    pages = StartPages(day)
    server = LocalServer(pages.routes(), closing=pages.close, ends_with_page=False, films=FILMS)
    pages.attach(server)
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    yield Desk(day=day, server=server, lane=lane, folder=tmp_path / "today", film=(analysed / "clip.mp4").read_bytes())
    server.stop()
    thread.join(PATIENCE_S)


def begun(there: httpx.Client, start: Desk) -> None:
    body = {"folder": str(start.folder), "lane": str(start.lane), "logs": True}
    assert there.post("/api/open", json=body).status_code == 200


def whole_runs(there: httpx.Client) -> list[dict[str, Any]]:
    content = there.get("/api/session").json()
    return [r for r in content["runs"] if r["pictures"]] if not content["doing"]["file"] else []


def status_of_announced(there: httpx.Client, path: str, length: int) -> int:
    """Announce a body and send none of it: what is too large must be refused before."""
    connection = http.client.HTTPConnection(there.base_url.host, there.base_url.port or 80, timeout=PATIENCE_S)
    connection.putrequest("POST", path)
    cookie = "; ".join(f"{name}={value}" for name, value in there.cookies.items())
    for name, value in (("cookie", cookie), ("content-type", FILM), ("content-length", str(length))):
        connection.putheader(name, value)
    connection.endheaders()
    try:
        return connection.getresponse().status
    finally:
        connection.close()


def test_it_answers_to_its_own_page_alone(start: Desk) -> None:
    """No cookie, another host, another site, a socket, a form's content, too much: refused, the films' addresses not excepted."""
    with httpx.Client(base_url=f"http://127.0.0.1:{start.server.port}") as stranger:
        for path in ("/", "/api/start", "/session", "/page/1/"):
            assert stranger.get(path).status_code == 403, path
        assert stranger.post("/api/drop?name=a.mp4", content=start.film[:1000], headers=BYTES).status_code == 403
    with opened(start.server) as there:
        begun(there, start)
        assert there.get("/", headers={"host": "evil.example"}).status_code == 403
        for path in ("/api/drop?name=a.mp4", "/api/lane_source?name=a.mp4"):
            elsewhere = {**BYTES, "origin": "http://evil.example"}
            assert there.post(path, content=b"x", headers=elsewhere).status_code == 403
            assert there.post(path, content=b"x", headers={**BYTES, "sec-fetch-site": "same-site"}).status_code == 403
            for kind in ("text/plain", "multipart/form-data", "application/x-www-form-urlencoded", "application/json"):
                assert there.post(path, content=b"x", headers={"content-type": kind}).status_code == 415
            assert status_of_announced(there, path, FILMS["/api/drop"] + 1) == 413
        large = b"{" + b" " * MOST_BODY_BYTES + b"}"
        assert there.post("/api/open", content=large, headers={"content-type": "application/json"}).status_code == 413
        assert there.post("/api/open", content=b"{}", headers=BYTES).status_code == 415
        socket = {"connection": "upgrade", "upgrade": "websocket"}
        assert there.get("/news", headers=socket).status_code == 400
        answer = there.get("/")
        assert "default-src 'none'" in answer.headers["content-security-policy"]
        assert answer.headers["x-frame-options"] == "DENY"
    assert not list(start.folder.glob("*"))


def test_nothing_but_its_own_things_is_handed_out(start: Desk) -> None:
    with opened(start.server) as there:
        begun(there, start)
        for path in (
            "/static/..%2fserver.py",
            "/static/review.js",
            "/lane/0123456789abcdef",
            "/lane/..%2flane.json",
            "/made/1",
            "/page/1/",
            "/look?run=..%2f..%2fetc",
            "/look",
            "/result/x.mp4",
        ):
            assert there.get(path).status_code == 404, path
        for name in STATIC:
            assert there.get(f"/static/{name}").status_code == 200
        assert there.post("/api/compare", json={"runs": ["../a", "b"]}).status_code == 404
        assert there.post("/api/open", json={"folder": 3, "lane": str(start.lane)}).status_code == 422
        assert there.post("/api/lane", json={"path": str(start.folder)}).status_code == 422


def test_a_clip_is_dropped_measured_compared_and_kept_in_the_logbook(start: Desk) -> None:
    """From the drop to the comparison and the season: each says the command that does the same."""
    with opened(start.server) as there:
        refused = there.post("/api/drop?name=a.mp4", content=start.film, headers=BYTES)
        assert refused.status_code == 422  # no folder is open yet
        begun(there, start)
        command = there.get("/api/start").json()["opened"]["command"]
        assert command.startswith(f"penult session {start.folder} --calib {start.lane} --stay --log")

        assert there.post("/api/athlete", json={"athlete": "A1"}).json()["command"].startswith("penult log athlete A1")
        there.post("/api/tap", json={"file": "", "athlete": "A1", "kind": "full approach", "mats": ""})
        answer = there.post("/api/drop?name=..%2Fclip.mp4", content=start.film, headers=BYTES)
        assert answer.json() == {"file": "clip.mp4", "was_there": False, "note": ""}
        assert there.post("/api/drop?name=again.mp4", content=start.film, headers=BYTES).json()["was_there"]
        other = there.post("/api/drop?name=clip.mp4", content=start.film + EMPTY_BOX, headers=BYTES)
        assert other.json()["file"] == "clip_2.mp4"
        refused = there.post("/api/drop?name=words.mp4", content=b"no film", headers=BYTES)
        assert refused.status_code == 422
        assert refused.json()["error"]["what"] == "words.mp4 is not film that can be read"
        start.wait(lambda: len(whole_runs(there)) == 2)
        assert sorted(p.name for p in start.folder.iterdir() if p.suffix == ".mp4") == ["clip.mp4", "clip_2.mp4"]
        assert {r["athlete"] for r in whole_runs(there)} == {"A1"}

        compared = there.post("/api/compare", json={"runs": ["clip_2.mp4", "clip.mp4"]}).json()
        assert compared["command"].startswith(
            f"penult compare {start.folder}/clip_analysis {start.folder}/clip_2_analysis -o "
        )
        page = there.get(f"/{compared['address']}")
        assert page.headers["content-security-policy"] == KEPT_PAGE
        assert (start.folder / "comparison" / "comparison.html").read_bytes() == page.content
        start.wait(lambda: there.get("/api/log").json()["counts"].get("clip"))
        season = there.post("/api/season", json={"athlete": "A1"}).json()
        assert season["command"].startswith("penult season --athlete A1")
        assert there.get(f"/{season['address']}").status_code == 200


def test_results_and_marks_are_opened_below_it_and_closed_when_there_are_many(start: Desk) -> None:
    """Review and clicking page behind the same cookie; the lane file that is written there is offered next."""
    with opened(start.server) as there:
        begun(there, start)
        there.post("/api/drop?name=clip.mp4", content=start.film, headers=BYTES)
        start.wait(lambda: whole_runs(there))
        film = there.get("/film/clip.mp4", headers={"range": "bytes=0-99"})
        assert (film.status_code, len(film.content)) == (206, 100)
        assert film.headers["content-security-policy"] == KEPT_FILM
        first = there.get("/look?run=clip.mp4", follow_redirects=True)
        assert first.url.path == "/page/1/"
        assert b"review.js" in first.content
        assert there.get("/page/1/api/clip/0").json()["clips"] == 1
        assert there.get("/page/1/static/review.js").status_code == 200

        still = (start.lane.parent / "still.jpg").read_bytes()
        where = {"name": "empty.jpg", "folder": str(start.folder)}
        answer = there.post("/api/lane_source", params=where, content=still, headers=BYTES).json()
        assert answer["command"] == f"penult calibrate {start.folder}/empty.jpg -o {start.folder}/lane.json --pick"
        begin = there.get(f"/{answer['address']}api/start").json()
        assert begin["file"] == "empty.jpg"
        marks = read_marks(start.lane)
        draft = {"marks": marks, "camera_distance_m": None, "board": True, "note": ""}
        assert there.post(f"/{answer['address']}api/write", json=draft).status_code == 200
        assert there.get("/api/start").json()["lanes"][0]["path"] == str(start.folder / "lane.json")

        for _ in range(4):
            there.post("/api/mark", json={"path": str(start.folder / "empty.jpg")})
        assert there.get("/page/1/").status_code == 404  # the oldest has been closed


def read_marks(lane: Path) -> list[dict[str, Any]]:
    import json  # noqa: PLC0415 - this alone

    marks: list[dict[str, Any]] = json.loads(lane.read_text())["marks"]
    return marks


def settled(driver: Any, is_so: str) -> None:
    """Wait until a script in the page says yes."""
    until = time.monotonic() + PATIENCE_S
    while not driver.execute_script(f"return Boolean({is_so})"):
        assert time.monotonic() < until, is_so
        time.sleep(0.1)


@pytest.mark.slow
def test_a_coach_s_way_through_it_in_a_browser(start: Desk, driver: Any, axe_source: str, tmp_path: Path) -> None:
    """Choose, begin, drop, follow, correct, compare; light and dark, desk, tablet and phone: axe-core finds nothing serious."""
    (tmp_path / "IMG_1.mp4").write_bytes(start.film)
    (tmp_path / "IMG_2.mp4").write_bytes(start.film + EMPTY_BOX)
    (tmp_path / "words.mp4").write_bytes(b"no film")
    sized(driver, 1280, 800)
    driver.get("about:blank")
    driver.get_log("browser")
    driver.get(start.server.address)
    settled(driver, "document.querySelector('#facts .same')")
    looked_at(driver, axe_source)
    folder = driver.find_element("id", "folder")
    folder.clear()
    folder.send_keys(str(start.folder))
    said = driver.find_element("id", "open-command").text
    assert said == f"penult session {start.folder} --calib {start.lane} --stay --log"
    driver.find_element("id", "open").send_keys("\n")  # by keyboard
    settled(driver, "!document.getElementById('day').hidden && document.querySelector('#next button')")

    files = "\n".join(str(tmp_path / name) for name in ("IMG_1.mp4", "words.mp4", "IMG_2.mp4"))
    driver.find_element("css selector", "#drop input[type=file]").send_keys(files)
    settled(driver, "document.querySelectorAll('#runs input:enabled').length === 2")
    settled(driver, "document.querySelector('#drop .fault')")
    assert "words.mp4 is not film that can be read" in driver.find_element("css selector", "#drop .fault").text
    looked_at(driver, axe_source)

    sized(driver, 1280, 800)
    for place in (0, 1):  # the list is drawn anew after each
        driver.find_elements("css selector", "#runs input")[place].send_keys(" ")
    settled(driver, "document.querySelector('[data-key=compare]').textContent === 'Compare 2'")
    assert driver.execute_script("return document.activeElement.type") == "checkbox"  # the focus stays where it was
    driver.find_element("css selector", "[data-key=compare]").send_keys("\n")
    settled(driver, "document.querySelector('#list .made a')")
    assert "penult compare " in driver.find_element("css selector", "#list .made code").text
    for handle in driver.window_handles[1:]:
        driver.switch_to.window(handle)
        driver.close()
    driver.switch_to.window(driver.window_handles[0])

    driver.get(f"http://127.0.0.1:{start.server.port}/session")
    settled(driver, "document.querySelectorAll('#newest img').length === 2")
    looked_at(driver, axe_source)
    complaints = [e["message"] for e in driver.get_log("browser") if e["level"] == "SEVERE"]
    assert all("api/drop?name=words.mp4" in c for c in complaints), complaints


def looked_at(driver: Any, axe_source: str) -> None:
    """Look at a page as it is now, in three sizes and both schemes: no wider than the window, nothing that shuts somebody out."""
    for width, height in ((1280, 800), (820, 1180), (390, 844)):
        for dark in (False, True):
            sized(driver, width, height, dark=dark)
            time.sleep(0.1)
            assert driver.execute_script("return document.documentElement.scrollWidth") <= width, width
            if not driver.execute_script("return !!window.axe"):
                driver.execute_script(axe_source + "; window.axe = axe;")
            found = driver.execute_async_script(
                "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']}).then(r => done(r.violations))"
            )
            grave = [v for v in found if v["impact"] in ("serious", "critical")]
            assert [(v["id"], [n["target"] for n in v["nodes"]][:3]) for v in grave] == [], (width, dark)
    small = driver.execute_script(
        "return [...document.querySelectorAll('main button, main a, main input:not(.visually-hidden)')]"
        ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 24)"
        ".map(e => e.outerHTML.slice(0, 80))"
    )
    assert [one for one in small if "checkbox" not in one] == []  # 24 px: WCAG 2.2, 2.5.8


@pytest.mark.parametrize(
    "path", sorted(Path(__file__).parents[2].glob("src/penult/review/static/*")), ids=lambda p: p.name
)
def test_a_page_asks_for_its_own_things_wherever_it_stands(path: Path) -> None:
    """Every page may stand below the start page: an address of ours that begins at the root would miss it there."""
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"""["'`]/(static|api|news|picture|result|made|page|lane)\b""", text)
