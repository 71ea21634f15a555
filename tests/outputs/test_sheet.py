"""The sheet for the athlete: three pictures, three numbers of the result, last time beside them, one page in every language."""

from __future__ import annotations

import base64
import html
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from penult.model.analysis import Analysis
from penult.model.measured import Measured, NotMeasured
from penult.model.showing import LANGUAGES, UNITS, Showing
from penult.outputs.pages.sheet import PICTURE_PX, SENTENCE_MOST, Before, sheet_html, wanted
from penult.outputs.pictures.film import Painter
from penult.outputs.pictures.follow import follow
from penult.outputs.texts.tongue import tongue_of

SENTENCE = (
    "Put the last but one foot down flat, stay tall through it and let the board come to you; well done today. " * 2
)


def page_of(
    given: Any, showing: Showing | None = None, before: Before | None = None, sentence: str = "", date: str = ""
) -> str:
    showing = showing or Showing()
    path = follow(given.motion, "landscape", size_px=PICTURE_PX)
    painter = Painter(given.analysis, given.motion, showing, path=path)
    held = wanted(painter.held, given.analysis)
    pictures = [(h, painter.still(given.frame(int(given.motion.pixels.frame[h.row])), h.hold)) for h in held]
    return sheet_html(given.analysis, pictures, before, sentence, tongue_of(showing), date)


def numbers_of(page: str) -> list[str]:
    return [html.unescape(t) for t in re.findall(r'<p class="large">(.*?)</p>', page)]


def last_of(page: str) -> list[str]:
    return [html.unescape(t) for t in re.findall(r'<p class="last">(.*?)</p>', page)]


def earlier(analysis: Analysis) -> Analysis:
    """The same run with a hip drop of 3 cm and no take-off angle."""
    return replace(
        analysis,
        penultimate={**analysis.penultimate, "penultimate_hip_drop_m": Measured(value=0.03, u95=0.01)},
        takeoff={**analysis.takeoff, "takeoff_angle_deg": NotMeasured(reason="the flight is not in the picture")},
    )


def test_three_pictures_and_the_three_numbers_of_the_result(scene: Any) -> None:
    """The made-up result: drop 5.0 +- 0.9 cm, take-off contact 0.110 +- 0.004 s, angle 19.2 +- 0.8 degrees."""
    page = page_of(scene)

    assert page.count("data:image/jpeg;base64,") == 3
    assert numbers_of(page) == ["5.0 ± 0.9 cm", "0.110 ± 0.004 s", "19.2 ± 0.8°"]
    assert last_of(page) == []
    assert "<script" not in page
    assert not re.search(r'(?:src|href)="(?!data:)', page), "nothing is loaded"


def test_last_time_stands_beside_each_number_and_what_was_not_measured_is_said(scene: Any) -> None:
    before = Before(analysis=earlier(scene.analysis), date="2026-10-03")

    assert last_of(page_of(scene, before=before)) == [
        "last time (2026-10-03): 3.0 ± 1.0 cm",
        "last time (2026-10-03): 0.110 ± 0.004 s",
        "last time (2026-10-03): not measured",
    ]
    assert last_of(page_of(scene, Showing(language="de"), before))[0] == "letztes Mal (03.10.2026): 3,0 ± 1,0 cm"


def test_a_run_without_take_off_and_one_over_mats(run_through: Any, with_mats: Any) -> None:
    assert len(numbers_of(page_of(run_through))) == 3
    page = page_of(with_mats)
    assert len(numbers_of(page)) == 4, "both hip drops, each named"
    assert "above the runway" in page
    assert "above what each foot stood on" in page


def test_what_a_person_typed_is_text_and_nothing_else(hostile: Any) -> None:
    page = page_of(hostile, sentence='<img src=x onerror="alert(1)">')

    assert "<script" not in page
    assert "<img src=x" not in page
    assert "&lt;img src=x" in page


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
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


OVERFLOWING = """
return [...document.querySelectorAll('main *')].filter(e => e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0
  && getComputedStyle(e).display !== 'inline').map(e => e.className + ': ' + e.textContent.trim().slice(0, 60))
"""


@pytest.mark.slow
@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("units", UNITS)
def test_it_prints_on_one_page_and_no_text_leaves_its_box(
    browser: Any, with_mats: Any, tmp_path: Path, language: Any, units: Any
) -> None:
    """In Chromium, with the longest that it may hold: two hip drops, last time, a sentence of full length."""
    showing = Showing(language=language, units=units)
    before = Before(analysis=with_mats.analysis, date="2026-10-03")
    place = tmp_path / "sheet.html"
    place.write_text(page_of(with_mats, showing, before, SENTENCE[:SENTENCE_MOST], "2026-11-28"), encoding="utf-8")

    for width, height in ((360, 740), (390, 844), (1280, 900)):
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        browser.get(place.as_uri())
        assert browser.execute_script("return document.documentElement.scrollWidth") <= width
        assert browser.execute_script(OVERFLOWING) == []
        assert browser.execute_script("return [...document.images].every(i => i.naturalWidth === 660)")
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", base64.b64decode(printed["data"]))) == 1
