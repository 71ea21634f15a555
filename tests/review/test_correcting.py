"""Every correction made in a real browser, and what follows from it in every number, on the disk and after a reload."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import numpy as np
import pytest

from page_driver import Page, Serve, opened, sized
from penult.adapters.files.corrections_file import read_corrections
from penult.adapters.files.result_file import read_analysis
from penult.app.review import open_result
from penult.model.analysis import Analysis
from penult.model.corrections import (
    AthletePicked,
    CaptureRateSet,
    ContactAdded,
    ContactDeleted,
    FootChanged,
    InstantMoved,
    JointDragged,
    KindSet,
    LegsSwapped,
    MatsSet,
)
from penult.model.measured import Measured
from penult.outputs.folder.result import analysis_to_json

pytestmark = pytest.mark.slow
LEFT, UP, RIGHT, DOWN = "\ue012", "\ue013", "\ue014", "\ue015"
CONTROL, SHIFT, ENTER, DELETE = "\ue009", "\ue008", "\ue007", "\ue017"
FRAME_S = 1.0 / 240.0


def of_file(result: Path) -> Analysis:
    """Return what follows from the corrections that lie beside a result."""
    return open_result(result, None, lambda _what, _share: None).state.outcome.analysis


def value(analysis: Analysis, part: str, number: int, name: str) -> Measured:
    item = analysis.contact(number) if part == "contacts" else analysis.step(number)
    measure = item.measures[name]  # type: ignore[union-attr]
    assert isinstance(measure, Measured)
    return measure


def shown(page: Page, measure: str) -> str:
    """Return a number as the page shows it."""
    page.js("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    return str(page.js('return document.querySelector(`[data-measure="${arguments[0]}"] .value`).textContent', measure))


def last(result: Path) -> Any:
    there = read_corrections(result)
    assert there is not None
    return there.done[-1]


def test_a_touchdown_moved_by_three_frames_changes_contact_time_by_exactly_that(page: Page, result: Path) -> None:
    """Three presses of a key on the touchdown: one correction; contact and step times follow by 12.5 ms exactly."""
    was = of_file(result)
    before = page.position(-1, "touchdown")
    page.js("arguments[0].focus()", page.grip(-1, "touchdown"))

    page.keys(RIGHT, RIGHT, RIGHT)

    assert page.position(-1, "touchdown") == pytest.approx(before + 3.0, abs=0.011)  # at once, before it is saved
    page.settled(1)
    now = of_file(result)
    for part, number, name, frames in (
        ("contacts", -1, "touchdown_s", 3),
        ("contacts", -1, "contact_time_s", -3),
        ("steps", -1, "flight_time_s", 3),
        ("steps", -1, "step_time_s", 3),
        ("steps", 0, "step_time_s", -3),
        ("steps", 0, "flight_time_s", 0),
        ("contacts", 0, "contact_time_s", 0),
    ):
        change = value(now, part, number, name).value - value(was, part, number, name).value
        assert change == pytest.approx(frames * FRAME_S, abs=2e-5), name  # the sample's frames are even to that
    assert value(now, "contacts", -1, "contact_time_s").by_hand
    assert not value(now, "contacts", 0, "contact_time_s").by_hand
    on_page = float(shown(page, "contacts/-1/contact_time_s").split()[0])
    assert on_page == pytest.approx(1000.0 * value(now, "contacts", -1, "contact_time_s").value, abs=0.6)
    page.click("tab-numbers")
    assert "by hand" in page.element('[data-measure="contacts/-1/contact_time_s"]').text
    assert isinstance(last(result), InstantMoved)
    assert last(result).made_at.endswith("Z")


def test_the_mouse_drags_a_toe_off(page: Page, result: Path) -> None:
    """By about ten frames; saved when the button is let go, by whole frames, and the hand stays in its contact."""
    before = page.position(-2, "toe_off")

    page.drag(page.grip(-2, "toe_off"), 26)

    page.settled(1)
    moved = last(result).to_frame - before
    assert moved == pytest.approx(round(moved), abs=0.006)
    assert 7 <= moved <= 13
    assert page.position(-2, "toe_off") == pytest.approx(last(result).to_frame, abs=0.011)

    page.drag(page.grip(-2, "toe_off"), 500)  # far into the next contact: refused, and it stands where it was
    page.wait(page.said)
    assert "reach into another" in page.said()
    assert page.version == 1
    assert page.position(-2, "toe_off") == pytest.approx(last(result).to_frame, abs=0.011)


def test_the_frame_shown_becomes_the_first_or_last_that_bears(page: Page, result: Path) -> None:
    """Keys T and O: the instant lies half a frame before the first picture that bears, half a frame after the last."""
    page.click("tab-right")
    for _ in range(2):
        page.together(SHIFT, RIGHT)
    frame = page.frame
    page.keys("t")
    page.settled(1)
    assert (last(result).instant, last(result).to_frame) == ("touchdown", frame - 0.5)

    for _ in range(20):
        page.together(SHIFT, RIGHT)
    frame = page.frame
    page.keys("o")
    page.settled(2)
    assert (last(result).instant, last(result).to_frame) == ("toe_off", frame + 0.5)
    at = str(page.js("return document.getElementById('toe_off-at').textContent"))
    assert float(at.split(maxsplit=1)[0]) == pytest.approx((frame + 0.5) * FRAME_S, abs=2e-4)


def test_undo_restores_the_bytes_and_redo_brings_them_back(page: Page, result: Path, looking: httpx.Client) -> None:
    """Two corrections taken back with keys, through a reload, made again: the result is the same to the last byte."""
    before = analysis_to_json(of_file(result))
    file = (result / "analysis.json").read_bytes()
    shown_before = looking.get("/api/clip/0").json()["groups"]
    page.js("arguments[0].focus()", page.grip(-1, "touchdown"))
    page.keys(RIGHT, RIGHT)
    page.settled(1)
    page.keys("f")
    page.settled(2)
    after = analysis_to_json(of_file(result))
    assert after != before

    page.together(CONTROL, "z")
    page.settled(3)
    page.driver.refresh()
    page.wait(lambda: page.version == 3)
    page.together(CONTROL, "z")
    page.settled(4)
    assert analysis_to_json(of_file(result)) == before
    rows = page.js("return fetch('/api/clip/0').then(a => a.json()).then(d => JSON.stringify(d.groups))")
    assert json.loads(rows) == shown_before
    assert page.element("undo").get_attribute("disabled")

    page.together(CONTROL, "y")
    page.settled(5)
    page.together(CONTROL, SHIFT, "z")
    page.settled(6)
    assert analysis_to_json(of_file(result)) == after
    assert (result / "analysis.json").read_bytes() == file  # never over the original


def test_undo_has_no_end(page: Page, result: Path) -> None:
    """Twelve corrections, all taken back, all made again."""
    for step in range(12):
        page.js("document.getElementById('kind').value = arguments[0]", f"word {step}")
        page.js("document.getElementById('kind').form.requestSubmit()")
        page.settled(step + 1)
    for step in range(12):
        page.js("document.getElementById('undo').click()")
        page.settled(13 + step)
    there = read_corrections(result)
    assert there is not None
    assert (len(there.done), len(there.undone)) == (0, 12)
    for step in range(12):
        page.js("document.getElementById('redo').click()")
        page.settled(25 + step)
    assert last(result).kind == "word 11"


def test_the_foot_is_changed_for_one_contact_and_for_all(page: Page, result: Path) -> None:
    """A key and a button: the bar goes to the other lane; the take-off foot with all of them."""
    was = of_file(result)
    page.keys("f")
    page.settled(1)
    assert last(result) == FootChanged(
        near_frame=last(result).near_frame, foot="left", everywhere=False, made_at=last(result).made_at
    )
    now = of_file(result)
    assert [c.foot for c in now.contacts if c.number != -1] == [c.foot for c in was.contacts if c.number != -1]
    assert "left foot" in page.element(".bar[aria-pressed=true]").get_attribute("aria-label")

    page.keys("f")
    page.settled(2)
    page.click("tab-right")
    page.click("feet-exchange")
    page.settled(3)
    assert of_file(result).run.takeoff_foot != was.run.takeoff_foot
    assert all(a.foot != b.foot for a, b in zip(of_file(result).contacts, was.contacts, strict=True))


def test_a_contact_is_deleted_and_added(page: Page, result: Path) -> None:
    """A key deletes the third-last; a key sets one where it was, with the foot that is due; its ends are then moved."""
    was = of_file(result)
    start = page.position(-2, "touchdown")
    page.js("document.querySelectorAll('.bar')[1].click()")
    page.keys(DELETE)
    page.settled(1)
    assert isinstance(last(result), ContactDeleted)
    assert len(page.driver.find_elements("css selector", ".bar")) == len(was.contacts) - 1

    page.wait(lambda: abs(page.frame - start) <= 1)
    page.keys("a")
    page.settled(2)
    assert isinstance(last(result), ContactAdded)
    assert last(result).foot == was.contact(-2).foot  # type: ignore[union-attr]
    now = of_file(result)
    assert [c.number for c in now.contacts] == [c.number for c in was.contacts]
    assert now.contact(-2).by_hand  # type: ignore[union-attr]
    assert value(now, "contacts", -2, "toe_x_m").value == pytest.approx(
        value(was, "contacts", -2, "toe_x_m").value, abs=0.06
    )


def test_a_joint_is_dragged_with_the_mouse(page: Page, result: Path) -> None:
    """The knee of the bearing leg: taken hold of on the picture, moved, let go; saved in clip pixels; the angle follows."""
    was = of_file(result)
    page.keys("b", "j")
    knee = page.joint_px("right_knee")
    at, scale = page.on_canvas(knee)

    page.drag(page.element("picture"), 24, -8, at=at)

    page.settled(1)
    drag = last(result)
    assert isinstance(drag, JointDragged)
    assert drag.joint == "right_knee"
    assert np.subtract(drag.to_px, knee) == pytest.approx([24 / scale, -8 / scale], abs=1.5)
    name = "knee_angle_touchdown_deg"
    assert abs(value(of_file(result), "contacts", -1, name).value - value(was, "contacts", -1, name).value) > 2.0
    assert value(of_file(result), "contacts", -1, name).by_hand


def test_a_joint_is_moved_with_keys(page: Page, result: Path) -> None:
    """J, N to choose, arrows on the picture, Enter: the joint stands ten and three pixels away."""
    page.keys("j", "n")
    joint = page.js("return document.getElementById('joint-list') && document.getElementById('joint-list').value")
    page.js("document.getElementById('picture').focus()")
    page.together(SHIFT, RIGHT)
    page.keys(UP, UP, UP, DOWN)
    page.keys(ENTER)
    page.settled(1)

    drag = last(result)
    assert drag.joint == joint == "left_ankle"
    assert drag.frame == page.frame
    page.keys("j")
    assert page.element("picture").get_attribute("data-mode") == "look"


def test_legs_are_swapped_over_a_stretch(page: Page, result: Path) -> None:
    """First and last frame taken from the frames shown; left becomes right in between."""
    page.click("tab-right")
    page.click("legs-first-here")
    first = page.frame
    for _ in range(6):
        page.together(SHIFT, RIGHT)
    page.click("legs-last-here")
    page.click("legs-swap")
    page.settled(1)

    assert last(result) == LegsSwapped(first_frame=first, last_frame=first + 6, made_at=last(result).made_at)


def test_mats_kind_and_capture_rate_are_set(page: Page, result: Path) -> None:
    """The form's fields: in the result's run and clock, and in the history."""
    page.click("tab-clip")
    for name, text, button in (
        ("mat-1", "5", "mats-set"),
        ("kind", "mat drill", "kind-set"),
        ("rate", "120", "rate-set"),
    ):
        version = page.version
        field = page.element(name)
        field.clear()
        field.send_keys(text)
        page.click(button)
        page.settled(version + 1)

    there = read_corrections(result)
    assert there is not None
    assert [type(c) for c in there.done] == [MatsSet, KindSet, CaptureRateSet]
    now = of_file(result)
    assert [(m.number, m.thickness_m) for m in now.run.mats] == [(-1, 0.05)]
    assert now.run.kind == "mat drill"
    assert now.clip.capture_rate_hz == pytest.approx(120.0)
    assert "clock-doubted" in {w.code for w in now.warnings}
    assert "120 frames a second" in page.element("facts").text


def test_another_athlete_is_picked_and_a_run_that_is_not_there_refused(page: Page, result: Path) -> None:
    """Run 7 is refused with the number there are; pointing at the athlete in the picture looks at the film again."""
    page.click("tab-clip")
    run = page.element("run")
    run.clear()
    run.send_keys("7")
    page.click("run-set")
    page.wait(lambda: "run 7" in page.said())
    assert page.version == 0

    page.click("athlete-point")
    at, _ = page.on_canvas(page.joint_px("right_hip"))
    page.drag(page.element("picture"), 0, at=at)
    page.wait(lambda: page.version == 1, seconds=400.0)

    pick = last(result)
    assert isinstance(pick, AthletePicked)
    assert pick.at is not None
    page.settled(1)
    assert len(page.driver.find_elements("css selector", ".bar")) >= 3


def test_leaving_in_the_middle_of_a_drag_loses_nothing_saved(
    driver: Any, page: Page, result: Path, serve: Serve
) -> None:
    """One correction saved, a second in the hand: the window goes; the first is there, whole, and shown when opened again."""
    page.keys("f")
    page.settled(1)
    saved = (result / "corrections.json").read_bytes()

    page.drag(page.grip(-2, "toe_off"), 30, release=False)
    assert page.position(-2, "toe_off") != pytest.approx(of_frames(result, -2), abs=0.5)
    driver.get("about:blank")

    assert (result / "corrections.json").read_bytes() == saved
    again = Page(driver, serve(result).address)
    assert again.version == 1
    assert again.position(-2, "toe_off") == pytest.approx(of_frames(result, -2), abs=0.02)
    page.let_go()


def of_frames(result: Path, number: int) -> float:
    span = of_file(result).contact(number).span_s  # type: ignore[union-attr]
    assert span is not None
    return span[1] / FRAME_S


def test_files_are_brought_up_to_date_and_a_new_analysis_says_the_same(page: Page, result: Path) -> None:
    """'Update files' writes the corrected result with its history; analysing again changes nothing; --ignore-corrections does."""
    original = (result / "analysis.json").read_bytes()
    page.js("arguments[0].focus()", page.grip(0, "touchdown"))
    page.keys(LEFT, LEFT)
    page.settled(1)
    page.click("write")
    page.wait(lambda: "hold all corrections" in page.said(), seconds=300.0)

    written = (result / "analysis.json").read_bytes()
    assert written.decode() == analysis_to_json(of_file(result))
    kept = read_analysis(result)
    assert [entry["kind"] for entry in kept.method["corrections"]] == ["instant-moved"]
    assert kept.contact(0).by_hand  # type: ignore[union-attr]
    assert "by hand" in (result / "summary.html").read_text()
    assert page.element("write").get_attribute("disabled")

    analyse = [sys.executable, "-m", "penult", "analyse", str(result.parent / "clip.mp4"), "--quiet", "--kind"]
    more = ["full approach", "--athlete", "A1", "--calib", str(result.parent / "lane.json")]
    subprocess.run([*analyse, *more, "--ignore-corrections"], check=True)
    assert (result / "analysis.json").read_bytes() == original
    assert read_corrections(result) is not None
    subprocess.run([*analyse, *more], check=True)
    assert (result / "analysis.json").read_bytes() == written


DEAF = "window.EventSource = class { close() {} };"
"""A window that hears no news: it does not know what the other has changed, as in the moment before they arrive."""


def test_two_windows_do_not_lose_each_other_s_work(driver: Any, result: Path, serve: Serve) -> None:
    """Different things: both are kept, and each window shows both. The same thing: the second is told and may do it again."""
    sized(driver)
    deaf = driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": DEAF})
    page = Page(driver, serve(result).address)
    driver.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", deaf)
    one = driver.current_window_handle
    driver.switch_to.new_window("tab")
    two = driver.current_window_handle
    try:
        driver.get(page.address.split("/open")[0])
        page.wait(lambda: page.body("firstMs"))

        page.keys("f")
        page.settled(1)
        driver.switch_to.window(one)
        assert page.version == 0
        page.js("arguments[0].focus()", page.grip(0, "toe_off"))
        page.keys(LEFT)
        page.settled(2)  # merged
        assert [type(c) for c in read_corrections(result).done] == [FootChanged, InstantMoved]  # type: ignore[union-attr]
        driver.switch_to.window(two)
        page.wait(lambda: page.version == 2)  # told of it

        page.keys("f")
        page.settled(3)
        driver.switch_to.window(one)
        assert page.version == 2
        page.js("document.querySelectorAll('.bar')[2].click()")
        page.keys("f")  # the very same thing, from an old state
        page.wait(lambda: "another window" in page.said())
        page.settled(3)
        assert len(read_corrections(result).done) == 3  # type: ignore[union-attr]
        page.click("do-again")
        page.settled(4)
        assert len(read_corrections(result).done) == 4  # type: ignore[union-attr]
    finally:
        driver.switch_to.window(two)
        driver.close()
        driver.switch_to.window(one)


def test_another_program_that_saves_meanwhile_is_not_overwritten(result: Path, serve: Serve) -> None:
    """Two servers on one result: the second hears of the first one's work before it adds its own."""
    with opened(serve(result)) as one, opened(serve(result)) as two:
        first = {"version": 0, "correction": {"kind": "kind-set", "word": "drill"}}
        assert one.post("/api/correct", json=first).status_code == 200
        same = {"version": 0, "correction": {"kind": "kind-set", "word": "other"}}
        assert two.post("/api/correct", json=same).status_code == 409
        assert two.get("/api/clip/0").json()["clip"]["kind"] == "drill"
        other = {"version": 1, "correction": {"kind": "mats-set", "mats": []}}
        assert two.post("/api/correct", json=other).status_code == 200
        assert one.get("/api/clip/0").json()["version"] == 2

    assert len(read_corrections(result).done) == 2  # type: ignore[union-attr]


def test_the_history_tells_what_was_done(page: Page) -> None:
    """In a coach's words, newest first; what was taken back apart."""
    page.keys("f")
    page.settled(1)
    page.js("arguments[0].focus()", page.grip(0, "touchdown"))
    page.keys(RIGHT)
    page.settled(2)
    page.click("undo")
    page.settled(3)
    page.click("tab-done")
    words = page.element("panel-done").text

    assert "foot of penultimate contact set to left" in words
    assert words.index("Taken back") < words.index("touchdown of take-off contact moved to")
    assert "Update files" in words


def is_closed(address: str) -> bool:
    """Whether nobody listens at the address any more."""
    place = urlsplit(address)
    with socket.socket() as asking:
        asking.settimeout(1.0)
        return asking.connect_ex((str(place.hostname), int(place.port or 0))) != 0


def test_a_page_whose_program_has_ended_says_so(driver: Any, result: Path, serve: Serve) -> None:
    """Nothing seems to be saved that is not."""
    sized(driver)
    server = serve(result)
    page = Page(driver, server.address)
    server.stop()
    page.wait(lambda: page.body("lost") == "true")
    # it hangs up on the page first, and still answers what comes meanwhile
    page.wait(lambda: is_closed(server.address))
    page.keys("f")
    page.wait(lambda: "start penult review again" in page.said())
    assert page.body("busy") == "false"
    assert page.version == 0
    assert not (result / "corrections.json").exists()
