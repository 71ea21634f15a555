"""The page on which marks are clicked: its answers, its gate, and a person's way through it in real Chromium."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import httpx
import numpy as np
import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from penult.adapters.files.lane_file import read_lane, read_still
from penult.adapters.files.lens_file import lens_text
from penult.app.lanes import LaneFacts
from penult.app.picking import FACTS, Picking, picking
from penult.core.lane.camera import position_m, project
from penult.core.lane.fit import fit_lane
from penult.errors import CalibrationError, OutputError
from penult.model.arrays import Floats, Image
from penult.model.calibration import Camera, Lens
from penult.review.picking import picking_server
from penult.review.server import LocalServer

SIZE_PX = (1280, 720)
WAIT_S = 60.0
CAMERA = Camera(
    parameters=np.array([np.pi, 0.0, 0.0, 2.6, 1.2, 12.0, np.log(1400.0), 0.0, 0.0]),
    covariance=np.zeros((9, 9)),
    image_size_px=SIZE_PX,
    centre_px=(639.5, 359.5),
)
"""Square on, 12 m away on the athlete's right, 1.2 m high."""

PLACES = {
    "pole −6 foot": (-6.0, 0.0, 0.0),
    "pole −6 top": (-6.0, 2.0, 0.0),
    "pole 1 foot": (1.0, 0.0, 0.0),
    "pole 1 top": (1.0, 2.0, 0.0),
}
TOO_WIDE = """[...document.querySelectorAll('body *')].filter(
  e => e.offsetParent && e.getBoundingClientRect().right > innerWidth + 1).map(e => e.id || e.tagName)"""
CUT_OFF = """[...document.querySelectorAll('#said p, #said button, #next, #under button')].filter(e => {
  const [own, box] = [e.getBoundingClientRect(), e.closest('#said, #under').getBoundingClientRect()];
  return e.offsetParent && (own.top < box.top - 1 || own.bottom > box.bottom + 1); }).map(e => e.id || e.tagName)"""
BOARD = [(-0.2, 0.0, 0.61), (0.0, 0.0, 0.61), (0.0, 0.0, -0.61), (-0.2, 0.0, -0.61)]


def seen(place: tuple[float, float, float]) -> Floats:
    return project(CAMERA, place)


def still() -> Image:
    image = np.full((SIZE_PX[1], SIZE_PX[0], 3), 120, np.uint8)
    for place in (*PLACES.values(), *BOARD):
        u, v = seen(place)
        cv2.circle(image, (round(u), round(v)), 3, (230, 60, 40), -1)
    return image


def draft(names: dict[str, tuple[float, float, float]], **more: Any) -> dict[str, Any]:
    marks = [{"name": n, "pixel": seen(p).tolist(), "runway_m": list(p)} for n, p in names.items()]
    return {"marks": marks, **more}


@pytest.fixture
def made(tmp_path: Path) -> Picking:
    return picking(still(), Path("empty.jpg"), tmp_path / "lane3.json")


@pytest.fixture
def server(made: Picking) -> Iterator[LocalServer]:
    server, _ = picking_server(made)
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    yield server
    server.stop()
    thread.join(WAIT_S)


@pytest.fixture
def bare(server: LocalServer) -> Iterator[httpx.Client]:
    """A client that has not used the one-time address."""
    with httpx.Client(base_url=f"http://127.0.0.1:{server.port}", timeout=WAIT_S) as there:
        yield there


@pytest.fixture
def own(server: LocalServer) -> Iterator[httpx.Client]:
    """A client that has."""
    with httpx.Client(base_url=f"http://127.0.0.1:{server.port}", timeout=WAIT_S) as there:
        assert there.get(server.address, follow_redirects=True).status_code == 200
        yield there


def test_marks_become_a_lane_file_with_its_still(made: Picking) -> None:
    """Writing gives a lane file that reads back, with the picture beside it, and the camera of the marks."""
    fit = made.write(draft(PLACES, camera_distance_m=12.0, note="lane 6"))
    lane = read_lane(made.out)

    assert lane.still == "lane3.jpg"
    assert lane.note == "lane 6"
    assert read_still(made.out, lane) is not None
    assert position_m(fit.camera)[2] == pytest.approx(12.0, abs=0.2)
    assert picking(still(), Path("empty.jpg"), made.out).begun == lane  # a second visit goes on from there


def test_what_is_no_lane_is_refused_and_nothing_overwritten(made: Picking) -> None:
    """Three marks, nonsense, and a place that holds another file: each refused, the file untouched."""
    with pytest.raises(CalibrationError, match="3 marks"):
        made.write(draft(dict(list(PLACES.items())[:3])))
    with pytest.raises(CalibrationError, match=r"marks\[0\]\.pixel"):
        made.write({"marks": [{"name": "a", "pixel": ["x", 1], "runway_m": [0, 0, 0]}]})
    made.out.write_text("my notes")
    with pytest.raises(OutputError, match="no lane file"):
        made.write(draft(PLACES, camera_distance_m=12.0))
    with pytest.raises(OutputError, match="no lane file"):
        picking(still(), Path("empty.jpg"), made.out)
    assert made.out.read_text() == "my notes"


def test_what_was_said_on_the_command_line_stands_in_the_page(tmp_path: Path) -> None:
    """Distance, note, no board and lens are in the page's first draft and in the file; a lens of another size is refused."""
    out, lens = tmp_path / "lane3.json", tmp_path / "lens.json"
    lens.write_text(lens_text(Lens(fx_px=1400.0, fy_px=1400.0, cx_px=639.5, cy_px=359.5), SIZE_PX))
    said = LaneFacts(camera_distance_m=12.0, lens_file=lens, board=False, note="lane 6")

    made = picking(still(), Path("empty.jpg"), out, said)
    begun = made.start()
    made.write({**begun, "marks": draft(PLACES)["marks"]})
    lane = read_lane(out)

    assert begun == {"marks": [], "camera_distance_m": 12.0, "board": False, "note": "lane 6"}
    assert (lane.camera_distance_m, lane.board, lane.note) == (12.0, False, "lane 6")
    assert lane.lens is not None
    assert lane.lens.fx_px == 1400.0
    again = picking(still(), Path("empty.jpg"), out, LaneFacts(note="lane 7")).start()
    assert (again["camera_distance_m"], again["board"], again["note"]) == (12.0, False, "lane 7")
    with pytest.raises(CalibrationError, match=r"lens\.json does not fit the picture"):
        picking(np.zeros((540, 960, 3), np.uint8), Path("empty.jpg"), tmp_path / "other.json", said)


def test_a_picture_of_somebody_else_is_not_replaced_by_the_still(tmp_path: Path) -> None:
    """lane3.jpg without a lane3.json is not ours, unless it is the very picture that is clicked in: then it stays as it is."""
    foreign = tmp_path / "lane3.jpg"
    cv2.imwrite(str(foreign), still())
    before = foreign.read_bytes()

    with pytest.raises(OutputError, match="belongs to no lane file"):
        picking(still(), Path("empty.jpg"), tmp_path / "lane3.json")
    picking(still(), foreign, tmp_path / "lane3.json").write(draft(PLACES, camera_distance_m=12.0))

    assert foreign.read_bytes() == before


def test_the_server_answers_its_own_page_only(server: LocalServer, own: httpx.Client, bare: httpx.Client) -> None:
    """Without the one-time address, from another host name or another site: refused. Source: the gate's own promise."""
    assert bare.get("/api/start").status_code == 403
    assert own.get("/api/start").json()["facts"] == FACTS
    assert own.get("/api/start", headers={"host": "evil.example"}).status_code == 403
    assert own.post("/api/fit", json={"marks": []}, headers={"origin": "http://evil.example"}).status_code == 403
    assert bare.get(server.address).status_code == 403  # the address works once
    assert own.get("/static/../picking.py").status_code == 404
    assert own.get("/picture.jpg").content[:2] == b"\xff\xd8"


def test_fits_are_answered_while_picking(own: httpx.Client, made: Picking) -> None:
    """Too few marks say what is missing; enough give residuals; a mistyped one is the one named."""
    few = own.post("/api/fit", json=draft(dict(list(PLACES.items())[:2]))).json()
    assert "2 marks" in " ".join(few["missing"]["details"])
    names = PLACES | {f"board {i}": place for i, place in enumerate(BOARD)}
    fit = own.post("/api/fit", json=draft(names)).json()["fit"]
    assert fit["depth_known"]
    assert max(m["cm"] for m in fit["marks"]) < 0.5
    wrong = draft(names)
    wrong["marks"][5]["runway_m"][0] += 0.5
    named = [m["disagrees"] for m in own.post("/api/fit", json=wrong).json()["fit"]["marks"]]
    assert named == [i == 5 for i in range(8)]
    assert own.post("/api/write", json={"marks": "none"}).status_code == 400
    assert own.post("/api/write", json={"marks": []}).status_code == 422
    assert not made.out.exists()
    assert own.post("/api/write", json=draft(names)).json()["written"] == str(made.out)
    assert made.out.is_file()


# The page in a browser ---------------------------------------------------------------------------------------------


class Hand:
    """A person at the page."""

    def __init__(self, chrome: Any) -> None:
        self.chrome, self.chain, self.keys = chrome, ActionChains, Keys
        self.clicks = 0

    def find(self, name: str) -> Any:
        return self.chrome.find_element("id", name)

    def ask(self, script: str, *arguments: Any) -> Any:
        return self.chrome.execute_script(f"return {script}", *arguments)

    def until(self, script: str) -> Any:
        return WebDriverWait(self.chrome, WAIT_S, 0.05).until(lambda c: c.execute_script(f"return {script}"))

    def offset(self, pixel: Floats) -> tuple[int, int]:
        x, y = self.ask("desk.board.toCanvas(arguments[0])", [float(v) for v in pixel])
        box = self.find("picture").rect
        return round(x - box["width"] / 2), round(y - box["height"] / 2)

    def click_picture(self, pixel: Floats) -> None:
        self.clicks += 1
        self.chain(self.chrome).move_to_element_with_offset(self.find("picture"), *self.offset(pixel)).click().perform()

    def press(self, name: str) -> None:
        self.clicks += 1
        self.find(name).click()

    def retype(self, name: str, text: str) -> None:
        self.find(name).clear()
        self.find(name).send_keys(text)

    def key(self, *keys: str) -> None:
        self.find("picture").send_keys(*keys)

    def fitted(self) -> None:
        self.until("document.body.dataset.fitted !== ''")

    def pixels(self) -> Floats:
        return np.array(self.ask("desk.marks.map(m => m.pixel)"))


@pytest.fixture(scope="module")
def chrome() -> Iterator[Any]:
    webdriver = pytest.importorskip("selenium.webdriver")
    driver = shutil.which("chromedriver")
    if driver is None:
        pytest.skip("no chromedriver on this machine")
    options = webdriver.ChromeOptions()
    for word in ("headless", "no-sandbox", "disable-gpu", "no-first-run", "disable-background-networking"):
        options.add_argument(f"--{word}")
    browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    yield browser
    browser.quit()


@pytest.fixture
def hand(chrome: Any, server: LocalServer) -> Hand:
    chrome.set_window_size(1366, 768)
    chrome.get(server.address)
    there = Hand(chrome)
    there.until("document.body.dataset.ready")
    return there


def pick_poles(hand: Hand) -> None:
    """Two poles by typing their x and clicking foot and top."""
    hand.retype("field-heights", "0, 2")
    for x in (-6.0, 1.0):
        hand.retype("field-x", str(x))
        for y in (0.0, 2.0):
            hand.click_picture(seen((x, y, 0.0)))


@pytest.mark.slow
def test_a_lane_file_in_ten_clicks(hand: Hand, made: Picking) -> None:
    """Two poles, the taped distance, written: the camera is right, in at most ten clicks and no JSON."""
    pick_poles(hand)
    hand.fitted()
    assert "distance is not known" not in hand.find("fit").text
    hand.clicks += 1
    hand.retype("distance", "12.0")
    hand.find("distance").send_keys(hand.keys.TAB)
    hand.until("document.getElementById('fit').textContent.includes('12.0 m from the middle line')")
    hand.press("write")
    hand.until("document.getElementById('said').textContent.includes('Written')")

    assert hand.clicks <= 10
    lane = read_lane(made.out)
    assert lane.camera_distance_m == 12.0
    fit = fit_lane(lane)
    off = project(fit.camera, [(-3.0, 1.0, 0.0), (0.0, 0.0, 0.1)]) - project(
        CAMERA, [(-3.0, 1.0, 0.0), (0.0, 0.0, 0.1)]
    )
    assert np.abs(off).max() < 2.0
    assert not [e for e in hand.chrome.get_log("browser") if e["level"] == "SEVERE"]


@pytest.mark.slow
def test_facts_of_the_rules_are_asked_to_be_confirmed(hand: Hand) -> None:
    """The board's size is a ready choice, but not before somebody has said that it was checked."""
    hand.press("kind-board")
    hand.click_picture(seen(BOARD[0]))
    assert hand.ask("desk.marks.length") == 0
    assert "Confirm" in hand.find("next").text
    hand.press("confirm")
    for place in BOARD:
        hand.click_picture(seen(place))

    assert hand.ask("desk.marks.map(m => m.runway)") == [list(p) for p in BOARD]
    assert hand.pixels() == pytest.approx(np.array([seen(p) for p in BOARD]), abs=1.5)
    hand.chrome.execute_script(
        "const w = document.getElementById('way'); w.value = '-1'; w.dispatchEvent(new Event('change'))"
    )
    hand.click_picture(np.array([300.0, 500.0]))
    assert hand.ask("desk.marks.at(-1).runway") == [-0.2, 0.0, -0.61]  # from the left, the near side has the smaller z


@pytest.mark.slow
def test_dragging_zooming_keys_and_undo(hand: Hand) -> None:
    """A mark is dragged at high zoom to a fraction of a pixel, nudged by arrows, removed; undo brings all of it back."""
    pick_poles(hand)
    hand.fitted()
    first = hand.pixels()
    hand.chain(hand.chrome).move_to_element_with_offset(hand.find("picture"), *hand.offset(first[1])).perform()
    hand.key("+", "+", "+", "+")
    assert float(hand.find("picture").get_attribute("data-zoom")) > 4.0
    assert not hand.find("loupe").get_attribute("hidden")
    start, target = hand.offset(first[3]), hand.offset(first[3] + np.array([2.0, -3.0]))
    picture = hand.find("picture")
    way = hand.chain(hand.chrome).move_to_element_with_offset(picture, *start).click_and_hold()
    way.move_to_element_with_offset(picture, (start[0] + target[0]) // 2, (start[1] + target[1]) // 2)
    way.move_to_element_with_offset(picture, *target).release().perform()
    hand.fitted()
    dragged = hand.pixels()
    assert dragged[3] - first[3] == pytest.approx([2.0, -3.0], abs=0.4)
    assert (dragged[:3] == first[:3]).all()
    hand.key(hand.keys.ARROW_RIGHT)
    hand.until("!desk.moving")
    assert hand.pixels()[3, 0] - dragged[3, 0] == pytest.approx(0.25, abs=0.011)
    hand.key(hand.keys.DELETE)
    assert len(hand.pixels()) == 3
    for _ in range(3):
        hand.key(hand.keys.CONTROL, "z")
    assert (hand.pixels() == first).all()
    hand.key(hand.keys.CONTROL, "y")
    assert (hand.pixels() == dragged).all()
    hand.key("0")
    assert float(picture.get_attribute("data-zoom")) == 1.0


@pytest.mark.slow
def test_marks_can_be_set_without_a_mouse(hand: Hand) -> None:
    """Type x, Enter to the picture, arrows move the cross, Enter sets the mark there."""
    hand.find("field-x").send_keys("-3", hand.keys.ENTER)
    hand.key(hand.keys.ARROW_RIGHT, hand.keys.ARROW_DOWN, hand.keys.ENTER)

    assert hand.ask("desk.marks.map(m => m.runway)") == [[-3, 0, 0]]
    middle = np.array(SIZE_PX) / 2.0
    assert (hand.pixels()[0] - middle).min() > 3.0


@pytest.mark.slow
def test_a_wrong_mark_is_shown_and_put_right(hand: Hand) -> None:
    """Text in a number field is refused; a place typed 0.5 m off is named with its centimetres; retyping heals it."""
    pick_poles(hand)
    hand.press("kind-board")
    hand.press("confirm")
    for place in BOARD:
        hand.click_picture(seen(place))
    hand.fitted()
    retype_x(hand, "abc")
    assert "a number in metres is wanted" in hand.find("said").text
    retype_x(hand, "0.5")
    hand.until("desk.fit && desk.fit.marks.some(m => m.disagrees)")
    assert "board, pit side, near" in hand.chrome.find_element("css selector", "#fit .wrong").text
    retype_x(hand, "0")
    hand.until("desk.fit && !desk.fit.marks.some(m => m.disagrees)")


def retype_x(hand: Hand, text: str) -> None:
    """Type another x for the sixth mark of the list."""
    field = hand.chrome.find_element("css selector", "#marks tbody tr:nth-child(6) input")
    field.send_keys(hand.keys.CONTROL, "a")
    field.send_keys(text, hand.keys.TAB)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("field-x", "left", "x: 'left' is no number"),
        ("field-x", "-650", "x: −650 m is too far"),
        ("field-heights", "0, one, 2", "heights: 'one' is no number"),
        ("field-heights", "1, 1", "heights: 1 m stands twice"),
        ("field-z", "middle", "z: 'middle' is no number"),
    ],
)
def test_what_is_no_number_is_said_beside_the_picture(hand: Hand, field: str, typed: str, said: str) -> None:
    """The field and what was typed are named, the field is marked, and a click sets nothing."""
    hand.find("field-x").send_keys("-6")
    hand.retype(field, typed)

    hand.click_picture(seen((-6.0, 0.0, 0.0)))

    assert said in hand.find("next").text
    assert hand.find(field).get_attribute("aria-invalid") == "true"
    assert hand.ask("desk.marks.length") == 0


@pytest.mark.slow
@pytest.mark.parametrize("typed", ["0,1,2", "0 1 2", "0; 1; 2", "0, 1, 2"])
def test_heights_may_be_parted_as_people_do(hand: Hand, typed: str) -> None:
    hand.find("field-x").send_keys("−6,5")
    hand.retype("field-heights", typed)

    assert hand.ask("desk.round().points.map(p => p.runway)") == [[-6.5, y, 0] for y in (0, 1, 2)]


@pytest.mark.slow
def test_a_decimal_comma_in_the_distance_is_no_thousand(hand: Hand) -> None:
    """12,3 is 12.3 m, never 123; a word is refused by name, and what stood there before is kept."""
    distance = hand.find("distance")
    distance.send_keys("12,3", hand.keys.TAB)
    assert hand.ask("desk.draft().camera_distance_m") == 12.3
    distance.send_keys(hand.keys.CONTROL, "a")
    distance.send_keys("far", hand.keys.TAB)

    assert "metres are wanted, 0.5 to 300, got 'far'" in hand.find("said").text
    assert hand.ask("desk.draft().camera_distance_m") == 12.3


@pytest.mark.slow
def test_the_same_mark_twice_is_named(hand: Hand) -> None:
    """A pole whose x was left as it was: both marks of the pair are named, and nothing can be written."""
    pick_poles(hand)
    hand.find("field-x").send_keys("1")
    hand.click_picture(seen((1.0, 0.0, 0.0)) + 8.0)
    hand.until("document.getElementById('fit').textContent.includes('twice')")

    assert "'pole at 1 m, 0 m high' and 'pole at 1 m, 0 m high (2)'" in hand.find("fit").text
    assert not hand.find("write").is_enabled()


@pytest.mark.slow
@pytest.mark.parametrize(("width", "height"), [(390, 844), (844, 390), (1366, 768)])
def test_the_page_fits_its_window(hand: Hand, width: int, height: int) -> None:
    """A phone upright and on its side, a laptop: nothing wider than the window, the picture large enough to aim at."""
    hand.chrome.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False},
    )
    try:
        pick_poles(hand)
        hand.fitted()
        assert hand.ask(TOO_WIDE) == []
        hand.press("write")
        hand.until("document.getElementById('said').textContent.includes('Written')")
        assert hand.ask(CUT_OFF) == []
        assert hand.ask("document.getElementById('picture').clientHeight") >= 150
        assert len(hand.pixels()) == 4
    finally:
        hand.chrome.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_the_page_has_no_foreign_parts() -> None:
    """Every address that the page's files name is this server's own: nothing is fetched from elsewhere."""
    static = Path(__file__).parents[2] / "src" / "penult" / "review" / "static"
    for path in sorted(static.glob("pick*")):
        text = path.read_text(encoding="utf-8")
        assert "http://" not in text.replace("http://www.w3.org", ""), path.name
        assert "https://" not in text, path.name
