"""The guided pass through the six instants that matter: with the keyboard alone, one key each, in under half a minute."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from page_driver import Page
from penult.adapters.files.corrections_file import read_corrections
from penult.model.corrections import InstantConfirmed, InstantMoved

pytestmark = pytest.mark.slow
ENTER, TAB, ESCAPE, LEFT, RIGHT, BACKSPACE = "\ue007", "\ue004", "\ue00c", "\ue012", "\ue014", "\ue003"
INSTANTS = [(number, instant) for number in (-2, -1, 0) for instant in ("touchdown", "toe_off")]


def place(page: Page) -> tuple[int, str]:
    """Return the instant that the guide asks about."""
    guide = page.element("guide")
    return int(guide.get_attribute("data-contact")), guide.get_attribute("data-instant")


def test_six_keys_confirm_six_instants_in_half_a_minute(
    page: Page, result: Path, contention: Callable[[], float]
) -> None:
    """C begins, Enter six times ends it; nothing but the keyboard; every instant is looked at, no value changes."""
    begun = time.monotonic()
    page.keys("c")
    for number, instant in INSTANTS:
        page.wait(lambda at=(number, instant): place(page) == at)
        frame = page.frame
        position = page.position(number, instant)
        assert 0.0 <= (frame - position if instant == "touchdown" else position - frame) <= 1.0
        version = page.version
        page.keys(ENTER)
        page.settled(version + 1)
    took_s = time.monotonic() - begun

    assert took_s < 30.0 * contention()
    page.wait(lambda: "All 6 instants are checked" in page.said())
    assert not page.element("guide").is_displayed()
    there = read_corrections(result)
    assert there is not None
    assert [type(c) for c in there.done] == [InstantConfirmed] * 6
    assert len(page.driver.find_elements("css selector", ".grip .tick")) == 6
    assert "by hand" not in page.element("panel-numbers").text


def test_an_instant_is_put_right_on_the_way(page: Page, result: Path) -> None:
    """Later, later, earlier, Enter: moved by one frame; back and Escape leave it; begun again, it goes on where it was."""
    page.keys("c")
    page.wait(lambda: place(page) == (-2, "touchdown"))
    before = page.position(-2, "touchdown")
    page.keys(RIGHT, RIGHT, LEFT)
    assert "moved by +1 frame" in page.element("guide-moved").text
    page.keys(ENTER)
    page.settled(1)
    there = read_corrections(result)
    assert there is not None
    moved = there.done[0]
    assert isinstance(moved, InstantMoved)
    assert moved.to_frame == pytest.approx(before + 1.0, abs=0.006)

    page.wait(lambda: place(page) == (-2, "toe_off"))
    page.keys(BACKSPACE)
    page.wait(lambda: place(page) == (-2, "touchdown"))
    page.keys(ESCAPE)
    assert not page.element("guide").is_displayed()

    page.keys("c")
    page.wait(lambda: place(page) == (-2, "toe_off"))
    page.keys(ESCAPE)


def test_the_small_pictures_show_the_frames_around_the_instant(page: Page) -> None:
    """Five of them, all drawn, all different; those in which the shoe bears are marked; a click on one moves the instant."""
    page.keys("c")
    page.wait(lambda: place(page) == (-2, "touchdown"))
    prints = (
        "return [...document.querySelectorAll('.films canvas')].map(c => c.getContext('2d')"
        ".getImageData(0, 0, c.width, c.height).data.reduce((a, v, i) => (a * 31 + v * (i % 7 + 1)) % 1000003, 7))"
    )
    drawn = page.wait(lambda: (found := page.js(prints)) and len(set(found)) == 5 and found)
    assert len(drawn) == 5
    bears = page.js("return [...document.querySelectorAll('.films button')].map(b => b.classList.contains('bears'))")
    assert bears == [False, False, True, True, True]

    before = page.frame
    page.js("document.querySelectorAll('.films button')[4].click()")
    assert page.frame == before + 2
    page.keys(ESCAPE)


def test_the_keyboard_alone_reaches_the_guide_and_its_buttons(page: Page) -> None:
    """Without single-letter keys: by Tab to the button, Enter, then Enter on 'Yes' with the focus on it."""
    page.keys("?")
    page.wait(lambda: page.js("return document.querySelector('dialog[open]') !== null"))
    page.click("keys-single")
    page.click("keys-close")
    page.keys("c")
    assert not page.element("guide").is_displayed()

    page.js("document.activeElement.blur()")
    for _ in range(40):
        page.keys(TAB)
        if page.js("return document.activeElement.id") == "guide-start":
            break
    page.keys(ENTER)
    page.wait(lambda: place(page) == (-2, "touchdown"))
    for _ in range(40):
        page.keys(TAB)
        if page.js("return document.activeElement.id") == "guide-yes":
            break
    page.keys(ENTER)
    page.settled(1)
    page.wait(lambda: place(page) == (-2, "toe_off"))
    page.keys(ESCAPE)
