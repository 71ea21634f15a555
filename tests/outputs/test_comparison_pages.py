"""The pages of comparisons, seasons and sessions: verdict words, nothing unescaped, nothing loaded from anywhere."""

from __future__ import annotations

import csv
import html.parser
import io
import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from penult.core.clips.compare import compare
from penult.core.clips.season import season
from penult.core.synthetic.invented import Form, Made, trial
from penult.model.analysis import Mat, Notice
from penult.model.comparison import Comparison, Group, Interval, Verdict
from penult.model.logbook import Athlete, CoachNote, TapeResult
from penult.model.session import ClipOutcome, Session
from penult.model.still import StillPicture
from penult.model.trial import MeasureKey, Said, Trial
from penult.outputs.charts.comparison_pictures import by_middle, pairs
from penult.outputs.charts.season_slopes import APPROACH, flight_m
from penult.outputs.pages.comparison import comparison_csv, comparison_html
from penult.outputs.pages.season import season_csv, season_html
from penult.outputs.pages.session import session_html
from penult.outputs.texts.session_findings import session_findings
from penult.outputs.texts.verdicts import verdict_text

EVIL = '=HYPERLINK("x")<script>alert(1)</script>"\'><img src=x onerror=alert(2)> \u202egnp 跳🏃'


def made_clips(n: int, *, kind: str, athlete: str = "A1", seed: int = 1, days: int = 1) -> list[Trial]:
    rng = np.random.default_rng(seed)
    mats = (Mat(number=-1, thickness_m=0.05),) if "mat" in kind else ()
    form = Form(athlete=athlete, kind=kind, mats=mats)
    warned = Made(lane=f"{EVIL}.json", warnings=(Notice(code=EVIL, text=EVIL),))
    return [
        trial(
            rng,
            form,
            Said(
                date=f"2026-10-{1 + i % days:02d}",
                session=EVIL,
                approach_strides=14 + i % 3,
                official_distance_m=6.0 + 0.1 * i,
                note=EVIL,
            ),
            file=f"{kind}_{i}{EVIL}.mp4",
            made=warned,
        )
        for i in range(n)
    ]


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    evil = "mat drill " + EVIL
    first = Group(name=evil, trials=tuple(made_clips(4, kind=evil, athlete=EVIL)))
    return compare(
        first, Group(name="full approach", trials=tuple(made_clips(5, kind="full approach", athlete=EVIL, seed=2)))
    )


def jpeg(width: int = 90, height: int = 80) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), (200, 10, 10)).save(out, format="JPEG")
    return out.getvalue()


def still(
    *, scale: float = 0.03, ground: float = 70.0, hip: tuple[float, float] = (45.0, 40.0), way: str = "left to right"
) -> StillPicture:
    return StillPicture(
        contact=-1,
        instant="lowest",
        jpeg=jpeg(),
        size_px=(90, 80),
        metres_per_px=scale,
        ground_y_px=ground,
        hip_px=hip,
        direction=way,
    )


class _Reader(html.parser.HTMLParser):
    """Collects what a browser would run or load, and checks that tags close."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.handlers: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            if name.startswith("on"):
                self.handlers.append(name)
            if name in ("src", "href", "xlink:href", "action", "data"):
                self.links.append(value or "")


def check_page(page: str) -> None:
    """No script, no handler, nothing loaded; reading order marks gone."""
    reader = _Reader()
    reader.feed(page)
    assert "script" not in reader.tags
    assert not reader.handlers
    assert all(
        link.startswith(("#", "data:image/jpeg;base64,")) or link.endswith("/summary.html") for link in reader.links
    )
    assert "\u202e" not in page
    assert "default-src 'none'" in page
    assert "url(" not in page
    assert "@import" not in page
    assert len(re.findall(r"<svg", page)) == len(re.findall(r"</svg>", page))


def test_the_comparison_page_holds_hostile_names_as_plain_text(comparison: Comparison) -> None:
    """Markup in names, files, notes, warnings and lane files reaches the page escaped."""
    page = comparison_html(comparison, (("x", {}), ("y", {})), source=EVIL)

    check_page(page)
    assert "&lt;script&gt;alert(1)" in page


def test_every_row_of_the_page_carries_a_verdict_in_the_agreed_words(comparison: Comparison) -> None:
    """clearly different / a difference of X or less could not have been seen / too few clips (MEASURES section 7)."""
    page = comparison_html(comparison, (("x", {}), ("y", {})), source="folders")

    found = re.findall(r"clearly different|a difference of [^<]+ or less could not have been seen|too few clips", page)
    assert len(found) >= len([r for r in comparison.rows if r.difference is not None])


@pytest.mark.parametrize(
    ("verdict", "name", "text"),
    [
        (Verdict(kind="clearly different"), "contact_time_s", "clearly different"),
        (
            Verdict(kind="not seen", limit=0.0082),
            "penultimate_hip_drop_m",
            "a difference of 0.8 cm or less could not have been seen",
        ),
        (
            Verdict(kind="not seen", limit=0.0117),
            "contact_time_s",
            "a difference of 12 ms or less could not have been seen",
        ),
        (
            Verdict(kind="not seen", limit=1.26),
            "takeoff_angle_deg",
            "a difference of 1.3° or less could not have been seen",
        ),
        (Verdict(kind="too few clips"), "contact_time_s", "too few clips"),
        (Verdict(kind="not compared"), "contact_time_s", "not compared"),
    ],
)
def test_verdicts_say_their_limit_in_the_coachs_unit(verdict: Verdict, name: str, text: str) -> None:
    """Centimetres, milliseconds and degrees, with no digit that the interval does not support."""
    assert verdict_text(verdict, name) == text


def test_the_table_holds_every_single_value_with_its_u95(comparison: Comparison) -> None:
    """One row a measure; the clips' columns hold the numbers of the clips, and no cell starts a formula."""
    files = comparison_csv(comparison)
    rows = list(csv.DictReader(io.StringIO(files["comparison.csv"].decode("utf-8"))))
    drop = next(r for r in rows if r["measure"] == "penultimate_hip_drop_m")

    for i, one in enumerate(comparison.second.trials):
        value = one.analysis.penultimate["penultimate_hip_drop_m"]
        assert float(drop[f"clip_2.{i + 1}_value"]) == pytest.approx(value.value, rel=1e-5)  # type: ignore[union-attr]
        assert float(drop[f"clip_2.{i + 1}_u95"]) == pytest.approx(value.u95)  # type: ignore[union-attr]
    assert float(drop["ci95_low"]) < float(drop["difference"]) < float(drop["ci95_high"])
    for text in files.values():
        for row in csv.reader(io.StringIO(text.decode("utf-8"))):
            assert not any(re.match(r"[=+@\t]|-(?![\d.])", cell) for cell in row)


def test_stills_are_set_at_one_scale_with_the_ground_on_one_line() -> None:
    """A close and a far picture: what a metre is in the drawing, and where the ground lies, is the same in both."""
    near, far = still(scale=0.01, ground=70.0, hip=(40.0, 20.0)), still(scale=0.02, ground=50.0, hip=(60.0, 10.0))
    picture = pairs({(-1, "lowest"): near}, {(-1, "lowest"): far}, ("a", "b"))[0].picture
    boxes = [[float(v) for v in box.split()] for box in re.findall(r'class="inner"[^>]*viewBox="([^"]+)"', picture)]
    sizes = [
        (float(w), float(h))
        for w, h in re.findall(r'class="inner" x="[\d.]+" y="22" width="([\d.]+)" height="([\d.]+)"', picture)
    ]

    for (x, y, wide, _high), (width, _height), s in zip(boxes, sizes, (near, far), strict=True):
        px_per_m = width / (wide * s.metres_per_px)
        assert px_per_m == pytest.approx(150.0, rel=1e-3)
        assert 22.0 + (s.ground_y_px - y) * s.metres_per_px * px_per_m == pytest.approx(
            float(re.findall(r'class="level" x1="[\d.]+" y1="([\d.]+)"', picture)[0]), abs=0.2
        )
        assert x <= 0.01  # no label at a picture's edge is cut off
        assert x + wide >= s.size_px[0] - 0.01


def test_pictures_from_opposite_sides_say_so() -> None:
    """As filmed, never mirrored in silence."""
    both = pairs({(-1, "lowest"): still()}, {(-1, "lowest"): still(way="right to left")}, ("a", "b"))
    assert "opposite sides" in both[0].note


def test_the_clip_with_the_middle_hip_drop_stands_for_its_group() -> None:
    """Of five, the third by size comes first."""
    group = Group(name="g", trials=tuple(made_clips(5, kind="full approach")))
    drops = [t.analysis.penultimate["penultimate_hip_drop_m"].value for t in group.trials]  # type: ignore[union-attr]

    assert drops[by_middle(group)[0]] == sorted(drops)[2]


def test_many_clips_are_drawn_in_few_marks() -> None:
    """Forty clips a group: the page stays below 3 MB and says that not all paths are drawn."""
    first = Group(name="a", trials=tuple(made_clips(40, kind="mat drill")))
    second = Group(name="b", trials=tuple(made_clips(40, kind="full approach", seed=2)))
    page = comparison_html(compare(first, second), (("", {}), ("", {})), source="x")

    assert len(page) < 3_000_000
    assert "20 of 40 clips are drawn" in page


def test_the_season_page_and_table_hold_hostile_names_as_plain_text() -> None:
    """Athlete, kinds, notes and tape results from others."""
    trials = [
        *made_clips(9, kind="full approach " + EVIL, athlete=EVIL, days=3),
        *made_clips(9, kind="mat drill", athlete=EVIL, days=3),
    ]
    found = season(EVIL, trials)
    tape = [TapeResult(athlete=EVIL, date="2026-10-02", event=EVIL, distance_m=13.1, note=EVIL)]
    page = season_html(
        found, Athlete(label=EVIL), tape, [CoachNote(athlete=EVIL, date="2026-10-02", text=EVIL)], source=EVIL
    )

    check_page(page)
    for row in csv.reader(io.StringIO(season_csv(found)["season.csv"].decode("utf-8"))):
        assert not any(cell.startswith(("=", "+", "@")) for cell in row)


def test_the_season_page_names_what_is_published_and_what_is_not() -> None:
    """8 and 13 cm per 0.1 m/s with their source; the computed slope says that it is not published; the caution stands."""
    trials = made_clips(9, kind="full approach", days=3)
    page = season_html(season("A1", trials), Athlete(label="A1"), [], [], source="x")

    assert "8 cm per 0.1 m/s (Bridgett" in page
    assert "13 cm per 0.1 m/s (Bridgett" in page
    assert "computed, not published" in page
    assert "not a prescription" in page
    assert [round(p.slope_s, 2) for p in APPROACH] == [0.8, 1.3]


def test_the_computed_flight_distance_is_the_closed_form_of_the_references() -> None:
    """REFERENCES section 8: vx 8.8, vy 3.4, h 0.55 -> 7.29 m."""
    assert flight_m(np.hypot(8.8, 3.4), np.arctan2(3.4, 8.8)) == pytest.approx(7.29, abs=0.005)


def test_the_session_page_shows_failures_with_their_reason_and_links_that_stay_inside() -> None:
    """Path parts in a folder's name are quoted; the reason of a failed clip stands in its row."""
    one = made_clips(1, kind="full approach", athlete=EVIL)[0]
    clips = (
        ClipOutcome(file=EVIL, folder="a b#?_analysis", said=one.said, analysis=one.analysis),
        ClipOutcome(
            file="bad.mp4",
            folder="bad_analysis",
            said=Said(),
            error="no athlete runs along the lane\n  next: film again",
            exit_status=3,
        ),
    )
    page = session_html(Session(name=EVIL, folder="x", clips=clips), {EVIL: still()})

    check_page(page)
    assert "a%20b%23%3F_analysis/summary.html" in page
    assert "no athlete runs along the lane" in page
    assert "data:image/jpeg;base64," in page


def test_an_interval_text_has_the_digits_of_its_half_width() -> None:
    """JCGM 100, 7.2.6: at most two significant digits."""
    from penult.outputs.texts.verdicts import interval_text  # noqa: PLC0415

    assert (
        interval_text(Interval(value=0.0314, half_width=0.0108, freedom=4, how=""), "penultimate_hip_drop_m")
        == "+3.1 ± 1.1 cm"
    )
    assert interval_text(None, "contact_time_s") == "–"


def test_rows_of_other_keys_do_not_break_the_page(comparison: Comparison) -> None:
    """A measure that this version does not know is spelled out as it stands."""
    row = comparison.rows[0]
    odd = replace(comparison, rows=(*comparison.rows, replace(row, key=MeasureKey("contacts", -1, "future_measure_m"))))
    assert "Future measure m" in comparison_html(odd, (("", {}), ("", {})), source="x")


def _outcome(one: Trial, name: str) -> ClipOutcome:
    clip = replace(one.analysis.clip, file=name, sha256=name)
    return ClipOutcome(file=name, folder=f"{name}_analysis", said=one.said, analysis=replace(one.analysis, clip=clip))


def test_a_session_says_first_what_happened_against_what_and_how_sure() -> None:
    """Two drills on mats and two free runs of one athlete: the drill against the free run, both hip drops, in the page's lead."""
    rng = np.random.default_rng(8)
    mats = (Mat(number=-1, thickness_m=0.05),)
    forms = [Form(athlete="A1", kind="full approach"), Form(athlete="A1", kind="mat drill", mats=mats)]
    clips = [_outcome(trial(rng, f, Said(), file="x.mp4"), f"{f.kind}{i}.mp4") for f in forms for i in range(2)]
    session = Session(name="hall", folder="hall", clips=tuple(clips))

    ((athlete, texts),) = session_findings(session)
    text = " ".join(texts)

    assert athlete == "A1"
    assert "above what each foot stood on" in text
    assert "bove the runway" in text
    assert "The pattern against the free run" in text
    page = session_html(session, {})
    assert page.index("The pattern against the free run") < page.index("<table")


def test_one_run_in_a_session_is_told_from_plain_sprinting_and_none_is_nothing() -> None:
    rng = np.random.default_rng(9)
    one = _outcome(trial(rng, Form(athlete="", kind="full approach"), Said(), file="x.mp4"), "a.mp4")

    assert "The hips were" in session_findings(Session(name="s", folder="s", clips=(one,)))[0][1][0]
    assert session_findings(Session(name="s", folder="s", clips=())) == []
