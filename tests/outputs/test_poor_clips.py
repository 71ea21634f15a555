"""Clips that show little: every output still comes, and says what is missing."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from penult.model.analysis import Analysis
from penult.model.measured import NotMeasured
from penult.model.track import Motion
from penult.outputs.folder.contents import result_files, wanted_frames
from penult.outputs.pictures.film import film_frames

Change = Callable[[Analysis, Motion], tuple[Analysis, Motion]]
GONE = NotMeasured(reason="hidden behind a spectator")


def only_the_takeoff(analysis: Analysis, motion: Motion) -> tuple[Analysis, Motion]:
    return replace(analysis, contacts=analysis.contacts[-1:], steps=()), motion


def no_contact(analysis: Analysis, motion: Motion) -> tuple[Analysis, Motion]:
    return replace(analysis, contacts=(), steps=()), motion


def nothing_measured(analysis: Analysis, motion: Motion) -> tuple[Analysis, Motion]:
    contacts = tuple(
        replace(c, measures=dict.fromkeys(c.measures, GONE), lowest_s=None, span_s=None, strike="")
        for c in analysis.contacts
    )
    steps = tuple(replace(s, measures=dict.fromkeys(s.measures, GONE)) for s in analysis.steps)
    parts = {part: dict.fromkeys(getattr(analysis, part), GONE) for part in ("penultimate", "takeoff", "checks")}
    return replace(analysis, contacts=contacts, steps=steps, warnings=(), **parts), motion


def half_the_body_unseen(analysis: Analysis, motion: Motion) -> tuple[Analysis, Motion]:
    xy_px, xy_m, hip_m = motion.pixels.xy_px.copy(), motion.runway.xy_m.copy(), motion.hip_m.copy()
    xy_px[:, ::2], xy_m[:, ::2], hip_m[::2] = np.nan, np.nan, np.nan
    return analysis, replace(
        motion,
        pixels=replace(motion.pixels, xy_px=xy_px),
        runway=replace(motion.runway, xy_m=xy_m),
        hip_m=hip_m,
        mass_centre_m=np.full_like(motion.mass_centre_m, np.nan),
    )


def no_joint_at_all(analysis: Analysis, motion: Motion) -> tuple[Analysis, Motion]:
    empty = np.full_like(motion.pixels.xy_px, np.nan)
    return analysis, replace(
        motion,
        pixels=replace(motion.pixels, xy_px=empty),
        runway=replace(motion.runway, xy_m=empty),
        hip_m=np.full_like(motion.hip_m, np.nan),
    )


def no_clock(analysis: Analysis, motion: Motion) -> tuple[Analysis, Motion]:
    return replace(analysis, clip=replace(analysis.clip, capture_rate_hz=0.0)), motion


@pytest.mark.parametrize(
    "change", [only_the_takeoff, no_contact, nothing_measured, half_the_body_unseen, no_joint_at_all, no_clock]
)
def test_every_file_comes_whatever_is_missing(scene: Any, change: Change) -> None:
    analysis, motion = change(scene.analysis, scene.motion)

    files = dict(result_files(analysis, motion, (scene.frame(i) for i in wanted_frames(analysis, motion))))

    assert all(files.values())
    assert len(json.loads(files["stills/index.json"])["stills"]) == len([n for n in files if n.endswith(".jpg")])
    assert b"NaN" not in files["stills/index.json"] + files["analysis.json"]
    page = files["summary.html"].decode()
    shown = re.sub(r"<[^>]*>", " ", page.split("<h3>Record of this analysis")[0])
    assert not re.search(r"\bnan\b|\binf\b", shown, flags=re.IGNORECASE)
    assert not re.search(r'="[^"]*\bnan\b', re.sub(r'"data:[^"]*"', "", page))
    if change is nothing_measured:
        assert "hidden behind a spectator" in page


@pytest.mark.parametrize("change", [no_contact, half_the_body_unseen, no_joint_at_all])
def test_the_film_comes_whatever_is_missing(scene: Any, change: Change) -> None:
    analysis, motion = change(scene.analysis, scene.motion)

    assert len(list(film_frames((scene.frame(i) for i in (15, 60, 100)), analysis, motion))) == 3
