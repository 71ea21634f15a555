"""Everybody can use it: contrast, labels, roles and sizes, checked by axe-core in every state of the pages."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from page_driver import Page, Serve, sized

pytestmark = pytest.mark.slow
SIZES = {"wide": (1366, 768), "narrow": (390, 844)}


def violations(page: Page, axe_source: str) -> list[str]:
    """Return what axe-core finds in the page as it is now: rule, and the elements."""
    if not page.js("return !!window.axe"):
        page.js(axe_source + "; window.axe = axe;")
    found: list[dict[str, Any]] = page.driver.execute_async_script(
        "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']}).then(r => done(r.violations))"
    )
    return [f"{v['id']}: {[n['target'] for n in v['nodes']][:4]}" for v in found]


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_the_review_page_in_every_state(
    driver: Any, result: Path, serve: Serve, axe_source: str, size: str, dark: bool
) -> None:
    """Each panel, something corrected and something taken back, joints in the hand, the guide, the keys, a fault."""
    sized(driver, *SIZES[size], dark=dark)
    page = Page(driver, serve(result).address)
    found: dict[str, list[str]] = {}

    def look(state: str) -> None:
        found[state] = violations(page, axe_source)
        assert page.js("return document.documentElement.scrollWidth") <= SIZES[size][0], state

    look("start")
    page.keys("f")
    page.settled(1)
    page.keys("f")
    page.settled(2)
    page.js("document.getElementById('undo').click()")
    page.settled(3)
    page.js("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    look("numbers")
    for tab in ("right", "clip", "done"):
        page.js("document.getElementById(arguments[0]).click()", f"tab-{tab}")
        look(tab)
    page.js("document.getElementById('tab-right').click()")
    page.keys("j")
    look("joints")
    page.keys("j")
    page.keys("c")
    page.wait(lambda: page.element("guide").is_displayed())
    look("guide")
    page.keys("\ue00c")
    page.keys("?")
    page.wait(lambda: page.js("return document.querySelector('dialog[open]') !== null"))
    look("keys")
    page.js("document.getElementById('keys-close').click()")
    page.js("document.getElementById('run').value = 9; document.getElementById('run').form.requestSubmit()")
    page.wait(page.said)
    look("fault")

    assert {state: faults for state, faults in found.items() if faults} == {}


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_the_comparison(
    driver: Any, analysed: Path, analysed_mat: Path, serve: Serve, axe_source: str, size: str, dark: bool
) -> None:
    """As it opens."""
    sized(driver, *SIZES[size], dark=dark)
    driver.get(serve(analysed / "clip_analysis", analysed_mat / "clip_analysis").address)
    page = Page.__new__(Page)
    page.driver = driver
    page.wait(
        lambda: page.js(
            "return [...document.querySelectorAll('figure canvas')].filter(c => c.dataset.frame).length === 2"
        )
    )

    assert violations(page, axe_source) == []
    assert page.js("return document.documentElement.scrollWidth") <= SIZES[size][0]


def test_everything_that_can_be_used_can_be_reached_with_the_keyboard(page: Page) -> None:
    """From the top, by Tab alone: buttons, boxes, the picture, every end of every bar, the numbers; and the focus is seen."""
    page.js("document.activeElement.blur()")
    reached: list[str] = []
    for _ in range(120):
        page.keys("\ue004")
        reached.append(
            page.js(
                "const e = document.activeElement;"
                "return e.id || e.dataset.measure || (e.dataset.contact && e.dataset.instant + e.dataset.contact) || e.tagName"
            )
        )
        if reached[-1] == "takeoff//takeoff_angle_deg":
            break
    for name in ("guide-start", "keys-open", "layer-body", "zoom-foot", "picture", "play", "speed", "tab-numbers"):
        assert name in reached
    assert {f"{end}{number}" for number in (-2, -1, 0) for end in ("touchdown", "toe_off")} <= set(reached)
    assert "takeoff//takeoff_angle_deg" in reached
    outline = page.js("return getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
