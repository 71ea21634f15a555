"""Comparing series: phases that belong together, and clips that may not be averaged."""

from __future__ import annotations

import dataclasses

from penult.core.clips.compare import compare
from penult.core.clips.groups import mixed
from penult.core.clips.series import matched, series_words
from penult.model.analysis import Analysis, ClipRecord, Contact, JumpSequence, Phase, PhaseKind, Run
from penult.model.comparison import Group
from penult.model.measured import Measured
from penult.model.trial import MeasureKey, Said, Trial, measures_of


def m(value: float, u95: float = 0.02) -> Measured:
    return Measured(value=value, u95=u95)


def trial(
    name: str, places: list[float], feet: str, kind: PhaseKind, *, began: bool = True, method: str = "1"
) -> Trial:
    """A series whose contacts stand at those places, every distance measured but the last."""
    long = {"L": "left", "R": "right"}
    contacts = tuple(
        Contact(number=i, foot=long[f], measures={"toe_x_m": m(x), "contact_time_s": m(0.17, 0.003)})  # type: ignore[arg-type]
        for i, (x, f) in enumerate(zip(places, feet, strict=True))
    )
    phases = tuple(
        Phase(
            number=i,
            kind=kind,
            foot=long[f],  # type: ignore[arg-type]
            lands_on="",
            measures={"distance_m": m(places[i + 1] - x)} if i + 1 < len(places) else {},
        )
        for i, (x, f) in enumerate(zip(places, feet, strict=True))
    )
    total = m(places[-1] - places[0], 0.03)
    run = Run(
        direction="left to right",
        kind="",
        has_takeoff=True,
        athlete="A1",
        phases=tuple((p.number, p.kind) for p in phases),
    )
    analysis = Analysis(
        clip=ClipRecord(
            file=name,
            sha256=name.ljust(64, "0"),
            frames=200,
            capture_rate_hz=120.0,
            capture_rate_from="frame times",
            first_frame_s=0.0,
        ),
        run=run,
        contacts=contacts,
        steps=(),
        penultimate={},
        takeoff={},
        checks={},
        warnings=(),
        method={"method": method, "calibration_sha256": "a" * 64},
        phases=phases,
        sequence=JumpSequence(
            first_contact=0,
            feet=feet,
            kinds=(kind,) * len(feet),
            measures={"distance_of_whole_phases_m": total},
            began_before=began,
        ),
    )
    return Trial(analysis=analysis, said=Said(date="2026-10-03"))


def test_phases_of_series_without_a_run_up_are_matched_by_place() -> None:
    """The picture of the second clip begins one hop later: its contact 0 stands where the first clip's contact 1 stood."""
    first = trial("a", [0.5, 3.2, 5.9, 8.6], "LLLL", "hop")
    later = trial("b", [3.3, 6.0, 8.8], "LLL", "hop")

    got = matched(measures_of(later.analysis), measures_of(first.analysis), later, first)

    assert got[MeasureKey("phases", 1, "distance_m")] == m(6.0 - 3.3)
    assert MeasureKey("phases", 0, "distance_m") not in got


def test_numbers_stay_where_a_run_up_fixes_them_or_feet_do_not_agree() -> None:
    first = trial("a", [0.0, 3.2, 6.4], "LRL", "bound", began=False)
    longer = trial("b", [0.0, 3.4, 6.9], "LRL", "bound", began=False)
    other = trial("c", [3.2, 6.4, 9.6], "LRL", "bound")
    begun = trial("d", [0.0, 3.2, 6.4], "LRL", "bound")

    assert matched(measures_of(longer.analysis), measures_of(first.analysis), longer, first) == measures_of(
        longer.analysis
    )
    assert matched(measures_of(other.analysis), measures_of(begun.analysis), other, begun) == measures_of(
        other.analysis
    )


def test_two_groups_of_bounds_are_compared_phase_by_phase() -> None:
    """2 x 3 clips, the second group 10 cm farther in each bound with a spread of 1 cm: clearly different, by 0.10 m."""
    a = [trial(f"a{i}", [0.0, 3.00 + 0.01 * i, 6.0 + 0.02 * i], "LRL", "bound", began=False) for i in range(3)]
    b = [trial(f"b{i}", [0.0, 3.10 + 0.01 * i, 6.2 + 0.02 * i], "LRL", "bound", began=False) for i in range(3)]

    done = compare(Group(name="March", trials=tuple(a)), Group(name="April", trials=tuple(b)))

    row = done.row(MeasureKey("phases", 0, "distance_m"))
    assert row is not None
    assert row.difference is not None
    assert abs(row.difference.value - 0.10) < 1e-9
    assert row.verdict.kind == "clearly different"
    whole = done.row(MeasureKey("sequence", None, "distance_of_whole_phases_m"))
    assert whole is not None
    assert whole.difference is not None
    assert abs(whole.difference.value - 0.20) < 1e-9


def test_hops_and_bounds_are_not_averaged() -> None:
    hops, bounds = trial("a", [0.5, 3.2, 5.9], "LLL", "hop"), trial("b", [0.5, 3.2, 5.9], "LRL", "bound")

    assert (series_words(hops), series_words(bounds)) == ("hops", "bounds")
    assert "series" in mixed(Group(name="both", trials=(hops, bounds)))
    single = dataclasses.replace(
        hops, analysis=dataclasses.replace(hops.analysis, run=dataclasses.replace(hops.analysis.run, phases=()))
    )
    assert not series_words(single)
