"""The pages in real Chromium: nothing wider than a phone, nothing logged, every picture decoded."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from penult.cli import build

pytestmark = pytest.mark.slow

NAMES = ("comparison", "season", "side_by_side")
PHONE_PX = (390, 844)
MOST_SCREENS = 6
"""A phone's screens above the first table: pictures and drawings come first, but not for ever."""

FIRST_TABLE_PX = """
const tables = [...document.querySelectorAll('table')].filter(t => t.getBoundingClientRect().height > 0);
return tables.length ? tables[0].getBoundingClientRect().top + scrollY : document.documentElement.scrollHeight
"""
LEAD_BOTTOM_PX = "return document.querySelector('.lead').getBoundingClientRect().bottom + scrollY"

TOO_WIDE = """
return [...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1
  && !e.closest('.scroll') && !e.closest('svg')).map(e => e.tagName + '.' + e.className)
"""
BROKEN_PICTURES = "return [...document.images].filter(i => i.complete && !i.naturalWidth).length"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Return headless Chromium."""
    webdriver = pytest.importorskip("selenium.webdriver")
    driver = shutil.which("chromedriver")
    if driver is None:
        pytest.skip("no chromedriver on this machine")
    options = webdriver.ChromeOptions()
    for argument in (
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-background-networking",
        "--no-first-run",
    ):
        options.add_argument(argument)
    chrome = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    yield chrome
    chrome.quit()


@pytest.fixture(scope="module")
def pages(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return comparison and season of the demo athlete."""
    folder = tmp_path_factory.mktemp("pages")
    logbook = ["--athlete", "A1", "--logbook", str(samples / "season" / "logbook"), "--quiet"]
    groups = ["--first", "kind=mat drill", "--second", "kind=full approach"]
    run = CliRunner()
    assert run.invoke(build(), ["compare", *groups, *logbook, "--out", str(folder)]).exit_code == 0
    assert run.invoke(build(), ["season", *logbook, "--out", str(folder)]).exit_code == 0
    assert run.invoke(build(), ["compare", "--by", "kind", *logbook, "--out", str(folder)]).exit_code == 0
    return {name: folder / f"{name}.html" for name in NAMES}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(("width", "height"), [(390, 844), (1366, 768)])
def test_a_page_fits_phone_and_laptop(browser: Any, pages: dict[str, Path], name: str, width: int, height: int) -> None:
    """Wide tables scroll inside themselves, the page does not; the console stays empty."""
    metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    browser.get(pages[name].as_uri())

    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    assert browser.execute_script(TOO_WIDE) == []
    assert browser.execute_script(BROKEN_PICTURES) == 0
    assert browser.get_log("browser") == []


@pytest.mark.parametrize("name", NAMES)
def test_a_phone_shows_the_answer_first_and_tables_within_six_screens(
    browser: Any, pages: dict[str, Path], name: str
) -> None:
    """The sentence that says what happened is on the first screen; what is before the tables is under six."""
    width, height = PHONE_PX
    metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    browser.get(pages[name].as_uri())

    assert browser.execute_script(LEAD_BOTTOM_PX) < height
    assert browser.execute_script(FIRST_TABLE_PX) < MOST_SCREENS * height


def test_the_stills_in_the_comparison_are_decoded_and_level(browser: Any, pages: dict[str, Path]) -> None:
    """Four pairs: both pictures of a pair have the same height on the screen, at the same place."""
    browser.get(pages["comparison"].as_uri())
    boxes = browser.execute_script(
        "return [...document.querySelectorAll('svg.pair')].map(p => [...p.querySelectorAll('svg.inner > rect')]"
        ".map(r => { const b = r.getBoundingClientRect(); return [b.top, b.height, b.width] }))"
    )

    assert len(boxes) == 4
    for left, right in boxes:
        assert left == pytest.approx(right, abs=0.6)
        assert left[1] > 50
