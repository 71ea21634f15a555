"""The terminal's table: 80 columns, no colour needed, everything in the agreed order."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from penult.cli.table import print_result
from penult.model.measured import Measured


def printed(analysis: Any, **console: Any) -> str:
    stream = io.StringIO()
    print_result(analysis, Path("/clips/clip_analysis"), Console(file=stream, width=80, **console))
    return stream.getvalue()


@pytest.mark.parametrize("which", ["scene", "leftward", "with_mats", "run_through", "doubted", "hostile"])
def test_no_line_is_wider_than_eighty_columns(which: str, request: pytest.FixtureRequest) -> None:
    text = printed(request.getfixturevalue(which).analysis)

    assert max(map(len, text.splitlines())) <= 80
    assert "…" not in text, "nothing is cut off"
    assert "\x1b" not in text, "no colour codes outside a terminal"


def test_the_parts_come_in_the_agreed_order(scene: Any) -> None:
    text = printed(scene.analysis)

    parts = (
        "clip.mp4, A1, full approach, 120 frames a second (frame times)",
        "fourth-last",
        "110 ± 4",
        "\npenultimate\n",
        "\ntake-off\n",
        "warnings",
        "camera was knocked",
        "files: /clips/clip_analysis",
    )
    places = [text.index(part) for part in parts]
    assert places == sorted(places)
    assert "5.0 ± 0.9 cm" in text
    assert "27.0 ± 1.1° from vertical" in text


def test_the_sharpest_figures_lose_their_spaces_not_their_digits(scene: Any) -> None:
    """Two digits of interval in every column are wider than 80 columns: nothing is cut off all the same."""
    sharp = {
        "flight_time_s": Measured(value=0.1234, u95=0.0014),
        "step_length_m": Measured(value=-12.3456, u95=0.0104),
        "step_speed_m_per_s": Measured(value=10.1234, u95=0.0111),
        "contact_time_s": Measured(value=0.1042, u95=0.0011),
        "hip_height_lowest_m": Measured(value=0.9212, u95=0.0011),
    }
    analysis = scene.analysis
    analysis = replace(
        analysis,
        steps=tuple(replace(s, measures={**s.measures, **sharp}) for s in analysis.steps),
        contacts=tuple(replace(c, measures={**c.measures, **sharp}) for c in analysis.contacts),
    )
    ladder = printed(analysis).split("penultimate\n")[0]

    for figures in ("123.4±1.4", "-12.346±0.010", "10.123±0.011", "104.2±1.1", "92.12±0.11"):
        assert figures in ladder
    assert "…" not in ladder


def test_what_is_missing_is_a_dash_with_its_reason(run_through: Any) -> None:
    text = printed(run_through.analysis)

    assert "no take-off in the clip" in text
    assert "last contact" in text


def test_no_color_is_honoured(scene: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """NO_COLOR (no-color.org): set and not empty means no colour, even in a terminal."""
    monkeypatch.setenv("NO_COLOR", "1")

    text = printed(scene.analysis, force_terminal=True)

    assert "\x1b[3" not in text
    assert "\x1b[9" not in text
