"""The review page in a real browser: the clip frame by frame, its layers, its strip, its measures."""

from __future__ import annotations

import base64
import time
from pathlib import Path
from typing import Any

import cv2
import httpx
import numpy as np
import pytest

from page_driver import Page, Serve, sized
from penult.adapters.files.sighting_file import read_sighting
from penult.adapters.film import video

pytestmark = pytest.mark.slow
LEFT, RIGHT = "\ue012", "\ue014"
SHIFT, PAGE_UP, PAGE_DOWN, END, HOME = "\ue008", "\ue00e", "\ue00f", "\ue010", "\ue011"
INSIDE = "const c = document.getElementById('picture').getBoundingClientRect(); return [c.width, c.height]"


def decoded(analysed: Path, wanted: set[int]) -> dict[int, np.ndarray]:
    clip = read_sighting(analysed / "clip_analysis").clip
    found = video.frames(analysed / "clip.mp4", clip, first=min(wanted), last=max(wanted))
    return {frame.index: frame.image for frame in found if frame.index in wanted}


def difference(a: np.ndarray, b: np.ndarray) -> float:
    return float(np.abs(a.astype(int) - b.astype(int)).mean())


def test_every_frame_that_is_served_is_the_frame_of_that_number(looking: httpx.Client, analysed: Path) -> None:
    """Forward, backward, far jumps: each JPEG is nearer to its own decoded frame than to either neighbour."""
    asked = (0, 300, 299, 17, 250, 251, 249, 1, 334)
    truth = decoded(analysed, {n + d for n in asked for d in (-1, 0, 1) if 0 <= n + d <= 334})
    for number in asked:
        data = np.frombuffer(looking.get(f"/api/clip/0/frame/{number}").content, np.uint8)
        shown = cv2.cvtColor(cv2.imdecode(data, cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)
        off = {d: difference(shown, truth[number + d]) for d in (-1, 0, 1) if number + d in truth}
        assert min(off, key=lambda d: off[d]) == 0, (number, off)
        assert off[0] < 3.0


def test_the_picture_on_the_page_is_the_frame_it_names(view: Page, analysed: Path) -> None:
    """The canvas itself, layers off, against the decoded frame and its neighbours."""
    for layer in ("body", "path", "ground", "mats"):
        view.click(f"layer-{layer}")
    view.keys(RIGHT, RIGHT)
    frame = view.frame
    view.picture()
    data = view.js("return document.getElementById('picture').toDataURL('image/png').split(',')[1]")
    canvas = cv2.imdecode(np.frombuffer(base64.b64decode(data), np.uint8), cv2.IMREAD_COLOR)[..., ::-1]
    height, width = canvas.shape[:2]
    scale = min(width / 1920, height / 1080)
    x, y = round((width - 1920 * scale) / 2), round((height - 1080 * scale) / 2)
    shown = canvas[y : y + int(1080 * scale), x : x + int(1920 * scale)]

    truth = decoded(analysed, {frame - 1, frame, frame + 1})
    size = (shown.shape[1], shown.shape[0])
    off = {n: difference(shown, cv2.resize(image, size, interpolation=cv2.INTER_AREA)) for n, image in truth.items()}
    assert min(off, key=lambda n: off[n]) == frame, off
    assert not view.faults()


def test_keys_move_by_instant_by_frame_by_ten_and_to_the_ends(view: Page, looking: httpx.Client) -> None:
    """Starts at the penultimate touchdown. An arrow: to the next touchdown, lowest hip or toe-off; with Shift: one frame."""
    data = looking.get("/api/clip/0").json()
    contacts = {c["number"]: c for c in data["contacts"]}
    times = np.array(data["clip"]["times"])
    starts = {n: int(np.ceil(c["span_frames"][0] - 1e-6)) for n, c in contacts.items()}
    ends = {n: int(np.floor(c["span_frames"][1] + 1e-6)) for n, c in contacts.items()}
    lowest = int(np.argmin(np.abs(times - contacts[-1]["lowest_s"])))
    first = view.frame
    assert abs(first - starts[-1]) <= 1

    view.together(SHIFT, RIGHT)
    assert view.frame == first + 1
    view.together(SHIFT, LEFT)
    view.together(SHIFT, LEFT)
    assert view.frame == first - 1
    view.keys(PAGE_DOWN)
    assert view.frame == first + 9
    view.keys(PAGE_UP)
    seen = []
    for _ in range(4):
        view.keys(RIGHT)
        seen.append(view.frame)
    assert seen == [starts[-1], lowest, ends[-1], starts[0]]
    view.keys(LEFT)
    view.keys(LEFT)
    assert view.frame == lowest
    view.keys(HOME)
    assert view.frame == data["track"]["frames"][0]
    view.keys(END)
    assert view.frame == data["track"]["frames"][-1]


def test_the_strip_leads_and_buttons_of_instants_come_before_those_of_frames(view: Page) -> None:
    """In the order of the page: strip, picture, instants, play, frames."""
    order = "const ids = ['strip', 'stage', 'instant-back', 'instant-on', 'play', 'frame-back', 'frame-on'];"
    after = "Node.DOCUMENT_POSITION_FOLLOWING"
    pairs = "ids.slice(1).map((id, i) => Boolean(at(ids[i]).compareDocumentPosition(at(id)) & " + after + "))"

    assert view.js(f"const at = (id) => document.getElementById(id); {order} return {pairs}") == [True] * 6
    tops = view.js("return ['strip', 'stage'].map(id => document.getElementById(id).getBoundingClientRect().top)")
    assert tops[0] < tops[1]


def test_the_mouse_scrubs_on_the_picture_and_on_the_strip(view: Page) -> None:
    """Dragged 50 px on the picture: ten frames; clicked on the strip: the frame of that time; the wheel: a frame a notch."""
    first = view.frame
    picture = view.element("picture")
    view.drag(picture, 50)
    assert view.frame == first + 10
    view.drag(picture, -50)
    assert view.frame == first

    strip = view.element("strip")
    view.drag(strip, 0, at=(0, 60))
    middle = view.frame
    view.drag(strip, 120, at=(0, 60))
    assert view.frame > middle + 20

    now = view.frame
    origin = view.js(INSIDE)
    view.driver.execute_cdp_cmd(
        "Input.dispatchMouseEvent",
        {"type": "mouseWheel", "x": origin[0] / 2, "y": 300, "deltaX": 0, "deltaY": 120, "pointerType": "mouse"},
    )
    view.wait(lambda: view.frame == now + 3)


def touch(page: Page, element: Any, dx: int) -> None:
    """Put a finger on the middle of an element, move it aside, lift it."""
    from selenium.webdriver.common.actions import interaction  # noqa: PLC0415
    from selenium.webdriver.common.actions.action_builder import ActionBuilder  # noqa: PLC0415
    from selenium.webdriver.common.actions.pointer_input import PointerInput  # noqa: PLC0415

    actions = ActionBuilder(page.driver, mouse=PointerInput(interaction.POINTER_TOUCH, "finger"), duration=60)
    actions.pointer_action.move_to(element).pointer_down()
    for _ in range(4):
        actions.pointer_action.move_by(dx // 4, 0)
    actions.pointer_action.pointer_up()
    actions.perform()


def test_a_finger_scrubs_on_a_narrow_screen(driver: Any, result: Path, serve: Serve) -> None:
    """390 x 844: the page fits, the picture follows the athlete, a finger on it moves through the clip."""
    sized(driver, 390, 844)
    page = Page(driver, serve(result).address)
    assert page.js("return document.documentElement.scrollWidth") <= 390
    first = page.frame

    touch(page, page.element("picture"), 80)

    assert page.frame == first + 16


def test_it_plays_at_any_speed_from_still_to_real_time(view: Page) -> None:
    """Still does not move; a sixteenth moves slowly; real time ends the run within its length and a little."""
    speed = "const s = document.getElementById('speed'); s.value = arguments[0]; s.dispatchEvent(new Event('input'));"
    view.js(speed, "0")
    first = view.frame
    view.click("play")
    time.sleep(0.3)
    assert view.frame == first

    view.js(speed, "2")
    assert view.element("speed-out").text == "1/16"
    begun, shown_s = time.monotonic(), view.js("return performance.now() / 1000")
    view.click("play")
    view.wait(lambda: view.frame >= first + 5)
    view.click("play")
    moved = view.frame - first
    took_s = view.js("return performance.now() / 1000") - shown_s
    assert moved <= 240 / 16 * took_s + 2
    assert time.monotonic() - begun < 30.0

    view.js(speed, "6")
    view.click("play")
    view.wait(lambda: view.element("play").text == "Play")
    assert view.frame == int(view.js("return document.getElementById('readout').dataset.frame"))
    assert view.frame > first + 100


def test_each_layer_can_be_switched_on_and_off(driver: Any, analysed_mat: Path, serve: Serve) -> None:
    """On a film with a mat: with the layer the picture differs, without it is the same as before."""
    sized(driver)
    page = Page(driver, serve(analysed_mat / "clip_analysis").address)
    before = page.picture()

    for number, layer in enumerate(("body", "path", "ground", "grid", "mats")):
        page.keys(str(number + 1))
        changed = page.picture()
        page.click(f"layer-{layer}")

        assert changed != before, layer
        assert page.picture() == before, layer


def test_the_strip_has_a_bar_as_long_as_each_contact_lasted(view: Page, looking: httpx.Client) -> None:
    """One bar a contact on its foot's lane, as long as its time on the strip's scale; the pole stands at the frame shown."""
    data = looking.get("/api/clip/0").json()
    places = "[b.getAttribute('aria-label'), b.offsetLeft, b.offsetWidth, b.offsetTop]"
    bars = view.js(f"return [...document.querySelectorAll('.bar')].map(b => {places})")

    assert len(bars) == len(data["contacts"])
    lanes = {foot: {top for label, _, _, top in bars if f"{foot} foot" in label} for foot in ("left", "right")}
    assert all(len(tops) == 1 for tops in lanes.values())
    assert lanes["left"] != lanes["right"]
    widths = np.array([width for _, _, width, _ in bars])
    lasted = np.array([c["span_s"][1] - c["span_s"][0] for c in data["contacts"]])
    assert widths / widths[0] == pytest.approx(lasted / lasted[0], rel=0.05)
    contact = data["contacts"][2]
    pole = view.js("return document.getElementById('pole').offsetLeft")
    assert abs(pole - bars[2][1]) <= 4, contact


@pytest.mark.parametrize(
    "measure",
    [
        "penultimate//penultimate_hip_drop_m",
        "takeoff//takeoff_angle_deg",
        "takeoff//toe_to_board_m",
        "contacts/-1/knee_angle_min_deg",
        "contacts/0/leg_angle_touchdown_deg",
        "contacts/-2/trunk_angle_toe_off_deg",
        "contacts/-1/hip_height_lowest_m",
        "contacts/0/touchdown_distance_m",
        "contacts/0/foot_angle_touchdown_deg",
        "steps/0/step_length_m",
        "steps/-1/flight_time_s",
    ],
)
def test_a_measure_leads_to_its_frame_and_is_drawn_there(view: Page, looking: httpx.Client, measure: str) -> None:
    """The frame is its own; what is drawn is there in that frame and gone in the next."""
    rows = {row["id"]: row for group in looking.get("/api/clip/0").json()["groups"] for row in group["rows"]}
    view.js("document.querySelectorAll('details').forEach(d => { d.open = true; })")

    view.click(f'[data-measure="{measure}"]')

    assert view.frame == rows[measure]["frame"]
    drawn = view.picture()
    view.js("document.querySelectorAll('.number').forEach(b => b.blur())")
    view.together(SHIFT, RIGHT)
    view.together(SHIFT, LEFT)
    assert view.picture() == drawn
    view.click("tab-done")
    view.click("tab-numbers")
    button = view.element(f'[data-measure="{measure}"]')
    assert button.get_attribute("aria-pressed") == "true"
    assert rows[measure]["text"] in button.text
    assert not view.faults()


def test_larger_and_smaller(view: Page) -> None:
    """Keys and buttons: the athlete, the foot, whole again; the picture changes and comes back."""
    whole = view.picture()
    view.keys("v")
    foot = view.picture()
    view.keys("b")
    body = view.picture()
    view.keys("0")

    assert len({whole, foot, body}) == 3
    assert view.picture() == whole
    view.click("zoom-in")
    assert view.picture() != whole
    view.click("zoom-fit")
    assert view.picture() == whole
