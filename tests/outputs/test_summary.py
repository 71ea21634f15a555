"""The summary page: whole, self-contained, readable, and saying what it must."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any

import pytest

from penult.model import catalogue
from penult.model.measured import NotMeasured
from penult.outputs.folder.contents import draw_all, wanted_frames
from penult.outputs.pages import summary
from penult.outputs.pages.summary import summary_html

KINDS = ["scene", "leftward", "with_mats", "run_through", "doubted", "hostile"]
VOID = {"meta", "img", "br", "link", "input", "hr"}


class Page(HTMLParser):
    """Collects what the tests ask for, and whether every element is closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.said: list[str] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] != "style":
            self.said.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.said))


@pytest.fixture(scope="module", params=KINDS)
def made(request: pytest.FixtureRequest) -> tuple[str, Any, str]:
    given = request.getfixturevalue(request.param)
    drawn = draw_all(
        given.analysis, given.motion, (given.frame(i) for i in wanted_frames(given.analysis, given.motion))
    )
    return request.param, given, summary_html(given.analysis, given.motion, drawn)


def test_the_page_is_well_formed_and_below_three_megabytes(made: tuple[str, Any, str]) -> None:
    page = Page(made[2])

    assert page.open == []
    assert len(made[2].encode()) < 3_000_000


def test_nothing_is_loaded_and_nothing_runs(made: tuple[str, Any, str]) -> None:
    """No script, no address to fetch: pictures are data, links stay within the page."""
    for tag, attributes in Page(made[2]).tags:
        assert tag not in {"script", "link", "iframe", "object", "embed", "base", "form"}
        for name, value in attributes.items():
            assert not name.startswith("on")
            if name in {"src", "href", "xlink:href", "srcset", "data", "action"}:
                assert (value or "").startswith(("data:image/jpeg;base64,", "#"))
    assert "url(http" not in made[2]
    assert "@import" not in made[2]


def test_ids_are_unique_and_links_arrive(made: tuple[str, Any, str]) -> None:
    tags = Page(made[2]).tags
    ids = [a["id"] for _, a in tags if "id" in a]

    assert len(ids) == len(set(ids))
    for tag, attributes in tags:
        if tag == "a":
            assert (attributes["href"] or "")[1:] in ids


def test_every_picture_has_a_text_and_its_size(made: tuple[str, Any, str]) -> None:
    pictures = [a for tag, a in Page(made[2]).tags if tag == "img"]

    assert len(pictures) == 10  # nine stills, and the penultimate one again on the first screen
    for picture in pictures:
        assert len(picture["alt"] or "") > 20
        assert picture["width"] == "900"
    for tag, attributes in Page(made[2]).tags:
        if tag == "svg":
            assert attributes.get("role") == "img"


def test_every_reason_stands_on_the_page(made: tuple[str, Any, str]) -> None:
    _, given, text = made
    said = Page(text).text
    parts = [c.measures for c in given.analysis.contacts] + [s.measures for s in given.analysis.steps]
    parts += [given.analysis.penultimate, given.analysis.takeoff, given.analysis.checks]
    for measures in parts:
        for measure in measures.values():
            if isinstance(measure, NotMeasured):
                assert measure.reason in said


def test_every_measure_is_defined(made: tuple[str, Any, str]) -> None:
    said = Page(made[2]).text
    parts = {part for part, _, _ in made[1].analysis.sets()}
    assert parts >= {"contacts", "steps", "penultimate", "takeoff", "checks"}
    for term in (e for e in catalogue.ROWS.values() if e.part in parts):
        assert re.sub(r"\s+", " ", term.definition) in said
        assert term.name in said


def test_the_first_screen_has_frame_path_and_three_numbers_in_this_order(scene: Any) -> None:
    frames = (scene.frame(i) for i in wanted_frames(scene.analysis, scene.motion))
    text = summary_html(scene.analysis, scene.motion, draw_all(scene.analysis, scene.motion, frames))
    first = text[text.index('<div class="first">') : text.index('<h2 id="approach">')]

    assert "of contact -1, right foot" in first
    places = [first.index(words) for words in ("5.0 ± 0.9 cm", "110 ± 4 ms", "19.2 ± 0.8°", 'class="chart"')]
    assert places == sorted(places)
    order = [
        text.index(f'id="{part}"') for part in ("approach", "contact-2", "contact-1", "contact-0", "flight", "checks")
    ]
    assert order == sorted(order)


def test_a_label_cannot_become_markup(hostile: Any) -> None:
    text = summary_html(hostile.analysis, hostile.motion, [])

    assert "<script" not in text
    assert "&lt;script&gt;" in text


def test_cautions_and_warnings_are_there(made: tuple[str, Any, str]) -> None:
    said = Page(made[2]).text
    for words in (
        "not a medical judgement",
        "injury risk",
        "dry",
        "for the coach to decide",
        "guardians",
        "camera was knocked",
    ):
        assert words in said


def test_published_values_stand_only_beside_runs_like_those_published(made: tuple[str, Any, str]) -> None:
    """Bands are of competition jumps by athletes of a known sex; no run here is one. Fails if a band stands beside a drill."""
    name, given, text = made
    assert given.analysis.run.sex is None, name
    assert 'id="references"' not in text
    assert "from memory" not in text.split("heel first, flat and forefoot")[0]


def relative_luminance(colour: str) -> float:
    """WCAG 2.1, definition of relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """WCAG 2.1, definition of contrast ratio."""
    high, low = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_text_has_contrast_in_light_and_dark(made: tuple[str, Any, str]) -> None:
    """At least 4.5 to 1 (WCAG 2.1, 1.4.3) for every text colour on every ground it stands on."""
    sets = re.findall(r":root \{([^}]*)\}", made[2])
    light = dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", sets[0]))
    dark = light | dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", sets[1]))
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # the worked value of the standard
    for colours in (light, dark):
        for text in ("ink", "muted", "link"):
            for ground in ("paper", "soft"):
                assert contrast(colours[text], colours[ground]) >= 4.5, (text, ground)


def test_pictures_are_packed_harder_when_there_are_too_many_bytes(scene: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    frames = [scene.frame(i) for i in wanted_frames(scene.analysis, scene.motion)]
    drawn = draw_all(scene.analysis, scene.motion, frames)
    easy = len(summary_html(scene.analysis, scene.motion, drawn))
    monkeypatch.setattr(summary, "LARGEST_PICTURES_BYTES", 10)

    assert len(summary_html(scene.analysis, scene.motion, drawn)) < easy


def test_without_any_still_there_is_a_page_all_the_same(scene: Any) -> None:
    assert "5.0 ± 0.9 cm" in summary_html(scene.analysis, scene.motion, [])
