"""One drawing of one thing: the page's canvas and the stills put every shape at the same place, to a hundredth of a millimetre."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from page_driver import Page
from penult.model.arrays import Floats
from penult.outputs.drawing import measures
from penult.outputs.drawing.measures import DRAWINGS
from penult.outputs.drawing.shapes import Known, points_m

pytestmark = pytest.mark.slow
JOINTS = ("hip", "knee", "ankle", "heel", "toe", "shoulder")
IN_THE_PAGE = """
const [places, value, angle, surface, done] = arguments;
import("/static/drawing.js").then((drawing) => {
  const rows = [{ id: "takeoff//takeoff_angle_deg", draw: { value: angle } }];
  const contact = { number: 0, foot: "left", toe_x_m: places.toe_mark[0], surface_m: surface, span_s: [1.0, 1.1] };
  const before = { number: -1, foot: "right", toe_x_m: places.toe_mark_before[0], span_s: [0.7, 0.8] };
  const motion = {
    data: {
      groups: [{ rows }],
      track: { frames: [0, 1] },
      clip: { times: [0.85, 0.95] },
    },
    hipM: () => places.mid_hip,
    massM: (row) => [places.flight_start, places.flight_end, places.mass_centre][Math.min(row, 2)],
    middleM: (row, part) => places["mid_" + part],
    m: (row, name) => (row < 9 && name === "left_ankle" ? places.ankle_before : places[name.replace("left_", "")]),
    contact: (number) => ({ 0: contact, "-1": before })[number] || null,
  };
  const pen = { at: (place) => place, row: 9, motion };
  return fetch("/api/clip/0").then((a) => a.json()).then((page) =>
    Object.fromEntries(
      Object.entries(page.drawings).map(([name, shapes]) => [name, shapes.map((s) => drawing.pointsOf(pen, s, contact, value))]),
    ),
  );
}).then(done, (fault) => done(String(fault)));
"""


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_page_and_the_stills_draw_the_same(view: Page, seed: int) -> None:
    """Random bodies, values and take-off angles through both."""
    rng = np.random.default_rng(seed)
    places = {name: [*rng.uniform(-1.0, 1.0, 2), 0.1] for name in (*JOINTS, "ankle_before")}
    flat = ("mid_hip", "mid_shoulder", "mass_centre", "flight_start", "flight_end")
    places |= {name: [*rng.uniform(-1.0, 1.0, 2), 0.0] for name in flat}
    places |= {name: [rng.uniform(-2.0, 0.0), 0.0, 0.0] for name in ("toe_mark", "toe_mark_before")}
    places["line"] = [0.0, 0.0, 0.0]
    value, angle, surface = rng.uniform(0.02, 0.4), rng.uniform(15.0, 25.0), rng.uniform(0.0, 0.1)
    page: Any = view.driver.execute_async_script(IN_THE_PAGE, places, value, angle, surface)
    assert isinstance(page, dict), page
    assert set(page) == set(DRAWINGS)

    def place_m(name: str) -> Floats:
        return np.array(places[name])

    known = Known(place_m=place_m, values={"value": value, "takeoff_angle": angle}, surface_m=surface)
    for name, drawing in DRAWINGS.items():
        for shape, seen in zip(drawing, page[name], strict=True):
            here = points_m(shape, known)
            assert here is not None
            np.testing.assert_allclose(np.array(seen, float), here, atol=1e-5, err_msg=name)


def test_the_page_has_the_colours_of_the_stills(view: Page) -> None:
    """Okabe and Ito's set, written down for Python and for the page."""
    script = (
        'const done = arguments[0]; import("/static/drawing.js").then((d) => done(d.COLOURS), (e) => done(String(e)));'
    )
    page: Any = view.driver.execute_async_script(script)
    assert page == {name: "#{:02X}{:02X}{:02X}".format(*rgb) for name, rgb in measures.RGB.items()}
