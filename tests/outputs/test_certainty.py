"""What costs certainty in a scene is said in a sentence each, and the instants known worst come first."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np

from penult.app.check import UNSEEN, costs_of, result_of
from penult.core.synthetic.film import clip_of, square_camera
from penult.model.analysis import Analysis, Contact, Notice, Step
from penult.model.measured import Measured, NotMeasured
from penult.outputs.folder.result import analysis_to_json
from penult.outputs.texts.certainty import costs, look_first

from .conftest import Scene


def contact(number: int, touchdown_u95_s: float, toe_off_u95_s: float, *, alike: bool = False) -> Contact:
    edges = NotMeasured(reason="the shoe's edges cannot be told from the pictures")
    return Contact(
        number=number,
        foot="left" if number % 2 else "right",
        measures={
            "touchdown_s": Measured(value=0.5 + 0.2 * number, u95=touchdown_u95_s),
            "toe_off_s": Measured(value=0.6 + 0.2 * number, u95=toe_off_u95_s),
            "support_height_m": edges if alike else Measured(value=0.0, u95=0.003),
        },
    )


def with_scene(scene: Scene, *contacts: Contact, codes: tuple[str, ...] = (), rate_hz: float = 240.0) -> Analysis:
    return dataclasses.replace(
        scene.analysis,
        contacts=contacts,
        warnings=tuple(Notice(code=code, text=code) for code in codes),
        clip=dataclasses.replace(scene.analysis.clip, capture_rate_hz=rate_hz),
        method={},
    )


def test_a_clear_scene_costs_nothing(scene: Scene) -> None:
    assert costs(with_scene(scene, contact(-1, 0.003, 0.004))) == []


def test_clothes_passers_by_rate_and_like_colours_are_said(scene: Scene) -> None:
    """One sentence each; the contact whose shoe cannot be told from the ground is named."""
    made = with_scene(
        scene,
        contact(-1, 0.003, 0.004, alike=True),
        contact(0, 0.003, 0.004),
        codes=("loose-clothes", "crossed"),
        rate_hz=60.0,
    )

    said = costs(made)

    assert len(said) == 4
    assert "loosely" in said[0]
    assert "Somebody else" in said[1]
    assert "17 ms apart: touchdown and toe-off within 4 ms" in said[2]
    assert "penultimate" in said[3]
    assert "last" not in said[3].replace("penultimate", "")


def test_the_instants_known_worst_come_first(scene: Scene) -> None:
    """Of four: 20, 12 and 9 ms, in that order; the fourth, 4 ms, is not among them."""
    first = look_first(with_scene(scene, contact(-1, 0.012, 0.004), contact(0, 0.009, 0.020)))

    assert [text.split(",")[0] for text in first] == ["toe-off", "touchdown", "touchdown"]
    assert ["± 20 ms" in first[0], "± 12 ms" in first[1], "± 9 ms" in first[2]] == [True] * 3


def test_what_clothes_leave_is_said_with_its_size(scene: Scene) -> None:
    """Hip heights of 2, 3 and 5 cm: the middle one; a step's speed of 0.15 m/s."""
    heights = {"hip_height_touchdown_m": 0.02, "hip_height_lowest_m": 0.03, "hip_height_toe_off_m": 0.05}
    stood = contact(-1, 0.003, 0.004)
    measures = {**stood.measures, **{n: Measured(value=0.9, u95=u) for n, u in heights.items()}}
    made = with_scene(scene, dataclasses.replace(stood, measures=measures), codes=("loose-clothes",))
    step = Step(number=0, measures={"step_speed_m_per_s": Measured(value=8.0, u95=0.15)})
    bare = {"penultimate": {}, "takeoff": {}, "checks": {}, "phases": (), "sequence": None}

    said = costs(dataclasses.replace(made, steps=(step,), **bare))

    assert said == [
        "Clothes hang loosely or show nothing that could be followed: hip heights within 3 cm, speeds within 0.15 m/s."
    ]


def test_a_passer_by_is_put_at_the_contact_or_flight_that_it_costs(scene: Scene) -> None:
    """Contacts of 0.3 to 0.4 and 0.5 to 0.6 s; somebody passes from 0.42 to 0.48 s, and from 0.55 on."""
    first, last = contact(-1, 0.003, 0.004), contact(0, 0.003, 0.009)
    made = with_scene(scene, first, last, codes=("crossed",))

    flight = costs(dataclasses.replace(made, method={"crossed_s": [[0.42, 0.48]]}))
    end = dataclasses.replace(made, method={"crossed_s": [[0.55, 0.7]]})

    assert flight == [
        "Somebody else passes before or behind the athlete (the flight after penultimate): less is sure there."
    ]
    assert "(the flight after" not in costs(end)[0]
    assert "(take-off)" in costs(end)[0]
    assert look_first(end)[0].endswith("(± 9 ms, somebody passes)")


def test_blur_is_not_called_cloth(scene: Scene) -> None:
    said = costs(with_scene(scene, contact(-1, 0.003, 0.004), codes=("unsteady-joints",)))

    assert len(said) == 1
    assert "blurred, dim or too far apart" in said[0]


def test_check_says_what_the_result_beside_a_clip_shows(scene: Scene, tmp_path: Path) -> None:
    """Of that very clip: the loose shirt. Of another one, and without a result: its rate, and that the rest is still unseen."""
    made = dataclasses.replace(scene.analysis, warnings=(Notice(code="loose-clothes", text="loose"),))
    clip = dataclasses.replace(clip_of(np.arange(9) / 60.0, square_camera()), sha256=made.clip.sha256)
    (tmp_path / "run_analysis").mkdir()
    (tmp_path / "run_analysis/analysis.json").write_text(analysis_to_json(made), encoding="utf-8")

    known = result_of(tmp_path / "run.mp4", clip)

    assert known is not None
    assert costs_of(clip, known)[0].startswith("Clothes hang loosely")
    assert result_of(tmp_path / "run.mp4", dataclasses.replace(clip, sha256="1" * 64)) is None
    assert result_of(tmp_path / "other.mp4", clip) is None
    assert costs_of(clip, None) == ("60 pictures a second, 17 ms apart.", UNSEEN)
