"""Colours of the strip and of controls: readable, and not taken for those of the legs by anybody.

Contrast by WCAG 2.2 (success criterion 1.4.3: 4.5 : 1 for text, 1.4.11: 3 : 1 for parts of controls). Colour vision by the
matrices of Machado, Oliveira and Fernandes 2009 for a missing kind of cone (severity 1.0), in linear light; distances in
CIE 1976 L*a*b* (ISO/CIE 11664-4), where 2.3 is just noticed (Mahy et al. 1994) and 20 is a plain difference.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

import penult

STATIC = Path(penult.__file__).parent / "review" / "static"
VISION = {
    "usual": np.eye(3),
    "no long cones": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no middle cones": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "no short cones": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)


def schemes() -> dict[str, dict[str, str]]:
    """The page's colours by name, light and dark."""
    text = (STATIC / "page.css").read_text(encoding="utf-8")
    light, dark = re.findall(r":root \{(.*?)\n\s*\}", text, re.DOTALL)[:2]
    found = re.compile(r"--([a-z-]+): (#[0-9a-f]{6});")
    usual = dict(found.findall(light))
    return {"light": usual, "dark": usual | dict(found.findall(dark))}


def legs() -> dict[str, str]:
    text = (STATIC / "drawing.js").read_text(encoding="utf-8")
    return {name: re.search(rf'{name}: "(#[0-9A-F]{{6}})"', text).group(1) for name in ("support", "other")}  # type: ignore[union-attr]


def linear(colour: str) -> np.ndarray:
    coded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    low, high = sorted(float(TO_XYZ[1] @ linear(c)) for c in (one, other))
    return (high + 0.05) / (low + 0.05)


def lab(colour: str, vision: str) -> np.ndarray:
    seen = np.clip(np.array(VISION[vision]) @ linear(colour), 0.0, 1.0)
    x, y, z = (TO_XYZ @ seen) / (TO_XYZ @ np.ones(3))
    f = [v ** (1 / 3) if v > (6 / 29) ** 3 else v / (3 * (6 / 29) ** 2) + 4 / 29 for v in (x, y, z)]
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_strip_can_be_read(scheme: str) -> None:
    colours = schemes()[scheme]

    assert contrast(colours["bar"], colours["bar-text"]) >= 4.5
    assert contrast(colours["bearing"], colours["bearing-text"]) >= 4.5
    assert contrast(colours["bearing"], colours["paper"]) >= 3.0  # borders, and the bar of the contact shown
    assert contrast(colours["focus"], colours["paper"]) >= 3.0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("vision", list(VISION))
def test_nobody_takes_the_strip_or_the_focus_for_a_leg(scheme: str, vision: str) -> None:
    colours = schemes()[scheme]

    for leg in legs().values():
        for name in ("bar", "bearing", "focus"):
            apart = float(np.linalg.norm(lab(colours[name], vision) - lab(leg, vision)))
            assert apart > 20.0, (name, leg, round(apart, 1))


def test_no_rule_of_the_review_page_paints_a_control_in_a_leg_s_colour() -> None:
    for name in ("review.css", "compare.css"):
        text = (STATIC / name).read_text(encoding="utf-8")
        assert "--other" not in text
        assert "var(--support)" not in text, name
