"""The athlete's height from the supports: the chain of links by hand, and what a stated height says about the scale."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from penult.core.checks.stature import CHAIN_SHARE, body_height, chain_m, height_notice
from penult.core.uncertainty.draws import COUNT, Draws
from penult.model.measured import Measured, NotMeasured
from penult.model.skeleton import INDEX, JOINTS, joint

FILMS = Path(os.environ.get("PENULT_SHARED", "missing")) / "films"


def body(knee_deg: float = 180.0) -> np.ndarray:
    """Joints (17, 2) of a body whose links are 0.4 m each and 0.7 m from hip to ear, the knee bent, the rest at the hip."""
    xy_m = np.zeros((len(JOINTS), 2))
    bend = np.radians(180.0 - knee_deg)
    xy_m[INDEX["head"]] = (0.0, 0.7)
    for side in ("left", "right"):
        xy_m[joint(side, "knee")] = (0.0, -0.4)
        xy_m[joint(side, "ankle")] = (-0.4 * np.sin(bend), -0.4 - 0.4 * np.cos(bend))
    return xy_m


@pytest.mark.parametrize("knee_deg", [180.0, 130.0])
def test_the_chain_does_not_shorten_with_a_bent_knee(knee_deg: float) -> None:
    """0.4 + 0.4 + 0.7, worked by hand."""
    assert chain_m(body(knee_deg), "left") == pytest.approx(1.5)


def test_bodies_of_the_films_have_that_share() -> None:
    """True joint centres of rendered bodies with known height: ankle to ear is 0.858 to 0.875 of it in their supports."""
    if not FILMS.is_dir():
        pytest.skip("films with known truth are not here (PENULT_SHARED)")
    for place in sorted(FILMS.glob("*/truth.json")):
        truth = json.loads(place.read_text())
        known = np.array(truth["xyz_m"], float)[..., :2]
        xy_m = np.full((len(known), len(JOINTS), 2), np.nan)
        for name, i in INDEX.items():
            xy_m[:, i] = known[:, truth["keypoint_names"].index(name)]
        time_s = np.array(truth["time_s"])
        share = [
            np.nanmedian(chain_m(xy_m[(time_s >= c["touchdown_s"]) & (time_s <= c["toe_off_s"])], c["foot"]))
            for c in truth["contacts"]
        ]
        assert np.median(share) / truth["height_m"] == pytest.approx(CHAIN_SHARE, abs=0.014), place.parent.name


def drawn(scale: float, bias_m: float = 0.0) -> Draws:
    """Draws of the standing body over 20 frames, scaled, and with a bias of the head alone."""
    xy_m = np.repeat((scale * body())[None, None], 20, axis=1).repeat(COUNT + 1, axis=0)
    rng = np.random.default_rng(0)
    xy_m[1:, :, INDEX["head"], 1] += rng.normal(0.0, bias_m, (COUNT, 1)) if bias_m else 0.0
    nothing = np.zeros_like(xy_m)
    return Draws(
        xy_m=xy_m,
        camera_theta=np.zeros((COUNT, 9)),
        generator=rng,
        lasting_m=nothing,
        noise_factor=1.0,
        shared_timing_error=np.zeros((2, COUNT)),
    )


TIME_S = 0.70 + np.arange(20) / 150.0
"""The contact put together by hand stands from 0.70 to 0.82 s."""


def test_height_and_its_uncertainty_by_hand(made: Any) -> None:
    """A chain of 1.5 m is 1.740 m of body; 2 cm of head bias and 1.2 % of person together make u95 of 2 sqrt(2.3^2 + 2.1^2) cm."""
    got = body_height(drawn(1.0, 0.02), [made.contact(body())], TIME_S)

    assert isinstance(got, Measured)
    assert got.value == pytest.approx(1.5 / 0.862)
    assert got.u95 == pytest.approx(2.0 * np.hypot(0.02 / 0.862, 0.0105 / 0.87 * 1.724), rel=0.1)


def test_a_body_cut_off_says_so(made: Any) -> None:
    got = body_height(drawn(1.0), [made.contact(body(), wholly_seen=False)], TIME_S)

    assert isinstance(got, NotMeasured)
    assert height_notice(got, 1.8) is None


@pytest.mark.parametrize(("scale", "word"), [(1.0, ""), (1.04, "long"), (0.96, "short")])
def test_a_scale_wrong_by_four_percent_is_named_with_both_heights(scale: float, word: str, made: Any) -> None:
    """Camera and joints exact: only people's own shape is left, and 4 % shows; no stated height, nothing said."""
    tall_m = 1.5 / CHAIN_SHARE
    got = body_height(drawn(scale), [made.contact(body())], TIME_S)

    notice = height_notice(got, tall_m)

    assert height_notice(got, None) is None
    assert (notice is None) == (not word)
    if notice is not None:
        assert notice.code == "height-disagrees"
        assert f"{scale * tall_m:.2f}" in notice.text
        assert f"{tall_m:.2f} m was stated" in notice.text
        assert f"4 % too {word}" in notice.text
