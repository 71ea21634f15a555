"""The chart of hip height over distance."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Any

import cv2
import numpy as np
import pytest

from penult.outputs.charts.hip_height import hip_chart, hip_chart_png, hip_chart_svg

SVG = "{http://www.w3.org/2000/svg}"
KINDS = ["scene", "leftward", "with_mats", "run_through", "doubted"]


def texts(svg: str) -> list[str]:
    return ["".join(node.itertext()).strip() for node in ET.fromstring(svg).iter(f"{SVG}text")]


@pytest.mark.parametrize("which", KINDS)
@pytest.mark.parametrize("width", ["wide", "narrow"])
def test_the_svg_is_whole_and_takes_the_pages_colours(which: str, width: str, request: pytest.FixtureRequest) -> None:
    given = request.getfixturevalue(which)

    svg = hip_chart_svg(given.analysis, given.motion, width)  # type: ignore[arg-type]

    assert ET.fromstring(svg).tag == f"{SVG}svg"
    assert "var(--ink)" in svg
    assert "#010203" not in svg
    assert "<script" not in svg
    assert "L 110 ms" in texts(svg) or which == "doubted" or "L  110 ms" in svg


def test_two_drawings_in_one_page_share_no_ids(scene: Any) -> None:
    ids = [
        {node.get("id") for node in ET.fromstring(hip_chart_svg(scene.analysis, scene.motion, width)).iter()} - {None}
        for width in ("wide", "narrow")
    ]

    assert not ids[0] & ids[1]


def test_hip_and_ground_have_one_and_the_same_scale(with_mats: Any) -> None:
    """A centimetre of mat is as tall as a centimetre of hip drop: pixels a metre agree in the two strips."""
    figure = hip_chart(with_mats.analysis, with_mats.motion, "wide")
    figure.canvas.draw()

    px_per_m = [
        axes.transData.transform((0.0, 1.0))[1] - axes.transData.transform((0.0, 0.0))[1] for axes in figure.axes[:2]
    ]
    assert px_per_m[0] == pytest.approx(px_per_m[1], rel=1e-3)


def test_a_mat_is_as_thick_as_it_is(with_mats: Any) -> None:
    figure = hip_chart(with_mats.analysis, with_mats.motion, "wide")

    tops = {round(float(c.get_datalim(figure.axes[1].transData).y1), 4) for c in figure.axes[1].collections}
    assert tops == {0.05, 0.04}


@pytest.mark.parametrize("which", ["scene", "leftward"])
def test_the_run_goes_left_to_right_whichever_way_it_was_filmed(which: str, request: pytest.FixtureRequest) -> None:
    given = request.getfixturevalue(which)
    top = hip_chart(given.analysis, given.motion, "wide").axes[0]

    path = max(top.lines, key=lambda line: len(line.get_xdata()))

    assert top.get_xlim()[0] < top.get_xlim()[1]
    assert (np.diff(path.get_xdata()) > 0).all()


def test_the_axis_says_where_it_starts(scene: Any) -> None:
    svg = hip_chart_svg(scene.analysis, scene.motion, "wide")
    low = 100.0 * hip_chart(scene.analysis, scene.motion, "wide").axes[0].get_ylim()[0]

    assert any(f"starts at {low:.0f} cm" in text for text in texts(svg))


def test_the_same_result_gives_the_same_drawing(scene: Any) -> None:
    assert hip_chart_svg(scene.analysis, scene.motion) == hip_chart_svg(scene.analysis, scene.motion)


def test_the_png_opens(scene: Any) -> None:
    picture = cv2.imdecode(np.frombuffer(hip_chart_png(scene.analysis, scene.motion), np.uint8), cv2.IMREAD_COLOR)

    assert picture.shape[:2] == (525, 1560)
