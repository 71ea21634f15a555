"""What the page and the terminal say of a series, on a result put together by hand."""

from __future__ import annotations

import dataclasses
import re
from xml.etree import ElementTree as ET

from rich.console import Console

from penult.cli.phases import phases_table, sequence_lines
from penult.model.analysis import Analysis, ClipRecord, Contact, JumpSequence, Phase, PhaseKind, Run
from penult.model.measured import Measured, NotMeasured
from penult.outputs.charts.ground_line import ground_line_svg
from penult.outputs.folder.tables import phases_table as phases_csv
from penult.outputs.pages.phases import series
from penult.outputs.texts import words

PLACES_M, FEET = (-0.05, 4.58, 8.43), ("left", "left", "right")
KINDS: tuple[PhaseKind, ...] = ("hop", "step", "jump")


def triple_jump(*, sure: bool = True) -> Analysis:
    """A hop of 4.63 m, a step of 3.85 m, and a jump whose landing is not in the picture."""
    contacts = tuple(
        Contact(number=i, foot=foot, measures={"toe_x_m": Measured(value=x, u95=0.02)}, foot_sure=sure)  # type: ignore[arg-type]
        for i, (x, foot) in enumerate(zip(PLACES_M, FEET, strict=True))
    )
    distances = [
        Measured(value=4.633, u95=0.02),
        Measured(value=3.847, u95=0.02),
        NotMeasured(reason="the landing is not in the picture"),
    ]
    phases = tuple(
        Phase(
            number=i,
            kind=kind if sure else "?",
            foot=contacts[i].told_foot,
            lands_on=contacts[i + 1].told_foot if i < 2 else "",
            measures={
                "distance_m": distances[i],
                "contact_time_s": Measured(value=0.125 + 0.015 * i, u95=0.002),
                "flight_height_m": Measured(value=0.20, u95=0.01),
            },
        )
        for i, kind in enumerate(KINDS)
    )
    return Analysis(
        clip=ClipRecord(
            file="clip.mp4",
            sha256="ab" * 32,
            frames=400,
            capture_rate_hz=240.0,
            capture_rate_from="frame times",
            first_frame_s=0.0,
        ),
        run=Run(
            direction="right to left",
            kind="",
            has_takeoff=True,
            takeoff_foot="left",
            phases=tuple((p.number, p.kind) for p in phases),
        ),
        contacts=contacts,
        steps=(),
        penultimate={},
        takeoff={"toe_to_board_m": Measured(value=0.05, u95=0.02)},
        checks={},
        warnings=(),
        phases=phases,
        sequence=JumpSequence(
            first_contact=0,
            feet="LLR" if sure else "???",
            kinds=tuple(p.kind for p in phases),
            measures={"distance_of_whole_phases_m": Measured(value=8.48, u95=0.03)},
            shares_of_whole_phases=(Measured(value=0.546, u95=0.002), Measured(value=0.454, u95=0.002)),
        ),
    )


def test_feet_stand_at_their_places_in_one_scale() -> None:
    """Distances between the shoes drawn are as 4.63 to 3.85, whichever way the run was filmed; broken where no landing is seen."""
    for width in ("wide", "narrow"):
        drawing = ET.fromstring(ground_line_svg(triple_jump(), width))  # type: ignore[arg-type]
        shoes = [float(e.attrib["x"]) for e in drawing.iter("rect") if "shoe strong" in e.attrib["class"]]
        assert len(shoes) == 3
        ratio = (shoes[1] - shoes[0]) / (shoes[2] - shoes[1])
        assert abs(ratio - (4.58 + 0.05) / (8.43 - 4.58)) < 0.01
        arcs = [e.attrib["class"] for e in drawing.iter("path") if "arc" in e.attrib["class"]]
        assert arcs == ["arc", "arc", "arc broken"]
    assert "4.63 ± 0.02 m" in ground_line_svg(triple_jump(), "wide")


def test_a_contact_time_is_a_bar_as_long_as_it_lasted() -> None:
    drawing = ET.fromstring(ground_line_svg(triple_jump(), "wide"))
    bars = [float(e.attrib["height"]) for e in drawing.iter("rect") if e.attrib["class"] == "time"]

    assert abs(bars[1] / bars[0] - 140.0 / 125.0) < 0.01
    assert abs(bars[2] / bars[0] - 155.0 / 125.0) < 0.01


def test_feet_that_are_not_certain_are_question_marks_everywhere() -> None:
    unsure = triple_jump(sure=False)
    texts = re.findall(r">([^<]*)</text>", ground_line_svg(unsure, "wide"))

    assert texts.count("?") == 3
    shown = series(unsure)
    assert shown is not None
    assert shown.feet == "? ? ?"
    assert [row["feet"] for row in shown.rows][:2] == ["? → ?", "? → ?"]
    assert set(phases_csv(unsure)["foot"]) == {"?"}


def test_the_page_answers_how_far_and_in_which_shares() -> None:
    shown = series(triple_jump())

    assert shown is not None
    assert shown.seen == "Hop, step and jump"
    assert shown.ratio == "54.6 : 45.4 % (each ± 0.2), of the phases seen"
    assert [row["name"] for row in shown.rows] == ["hop", "step", "jump"]
    single = triple_jump()
    single = dataclasses.replace(single, run=dataclasses.replace(single.run, phases=((0, "jump"),)))
    assert series(single) is None


def test_phases_fit_into_80_columns() -> None:
    console = Console(width=80, record=True, file=None, force_terminal=False)
    with console.capture() as printed:
        console.print(phases_table(triple_jump(), " ± "))

    assert max(len(line) for line in printed.get().splitlines()) <= 80
    assert "4.63 ± 0.02" in printed.get()
    lines = dict(sequence_lines(triple_jump()))
    assert lines["distance of the phases seen whole"] == "8.48 ± 0.03 m"


def test_contacts_are_called_by_their_phases() -> None:
    run = triple_jump().run

    assert [words.contact_words(n, run) for n in (-1, 0, 1, 2)] == ["penultimate", "hop", "step", "jump"]
    bounds = dataclasses.replace(run, phases=((0, "bound"), (1, "bound"), (2, "jump")))
    assert [words.contact_words(n, bounds) for n in (0, 1, 2)] == ["bound 1", "bound 2", "jump"]


def test_published_shares_stand_beside_a_whole_triple_jump_of_like_athletes_alone() -> None:
    """36.5 : 29.3 : 34.2 % of the sum, ten women (Panoutsakopoulos and Kollias 2008)."""
    part = triple_jump()
    assert part.sequence is not None
    shares = tuple(Measured(value=v, u95=0.003) for v in (0.366, 0.292, 0.342))
    whole = dataclasses.replace(part, sequence=dataclasses.replace(part.sequence, shares_of_whole_phases=shares))
    hers = dataclasses.replace(whole, run=dataclasses.replace(whole.run, sex="female"))

    told = dict(sequence_lines(hers))
    page = series(hers)

    assert "36.5 : 29.3 : 34.2 %" in told["published, for orientation"]
    assert page is not None
    assert "Kollias 2008" in page.published_ratio
    assert "published, for orientation" not in dict(sequence_lines(whole))
    assert "published, for orientation" not in dict(sequence_lines(part))
