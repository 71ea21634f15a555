# ruff: noqa: PLC0415  # a command: it prints, and loads what it needs when it needs it
"""Is anything silently wrong? silent.py [--keep FOLDER] [--only WORD] [--save FILE] [--list] [--table].

Films with exact truth ($PENULT_SHARED) are spoilt as phones, messengers and coaches spoil them: compressed, slowed, frames
dropped, repeated or blended, retimed, rates and lanes misstated, lanes without a still after a zoom or a knock, and each is
analysed through the command line. A scenario is in order when it is refused, or when no value is beyond 3 u95 and at most a
tenth beyond u95 unless a warning names the true cause. A lane whose scale, or place, nothing in the clip can tell is 'only
said' when the result says so ('scale-told', 'camera-unchecked'): such scenarios are counted apart. A warning that blames something
else is always a fault.
Beside it stand the figures of the last release (tests/bench/silent_previous.json; --save writes such a file). Films, results and
joints are kept in FOLDER, so that another run is quick; --table prints what is kept without analysing. Not part of the test gate.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))
PREVIOUS = Path(__file__).with_name("silent_previous.json")
FILMS = Path(os.environ.get("PENULT_SHARED", "missing"))
KINDS: dict[str, frozenset[str]] = {
    "compressed": frozenset({"compressed"}),
    "ramp": frozenset({"rate-changes", "clock-doubted"}),
    "dropped": frozenset({"clock-doubted", "rate-changes", "frames-dropped", "frames-uneven"}),
    "repeated": frozenset({"frames-repeated"}),
    "blended": frozenset({"frames-repeated"}),
    "retimed": frozenset({"clock-doubted"}),
    "stated": frozenset({"clock-doubted"}),
    "lane": frozenset({"scale-doubted", "height-disagrees"}),
    "no still": frozenset({"camera-unchecked"}),
    "as it is": frozenset(),
}
"""Kinds of faults, and the warnings that name them."""
CAUSES = frozenset().union(*KINDS.values()) - {"camera-unchecked", "frames-dropped"} | {
    "camera-moving",
    "camera-moved",
}
"""Warnings that blame something."""
ABSOLUTE = ("touchdown_s", "toe_off_s")
"""On the clip's own clock, whose zero and pace another clip's truth does not know."""


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """A film, what is done to it, and what the coach adds."""

    name: str
    film: str
    kind: str
    frames: Callable[[int], list[tuple[int, ...]]] | None = None
    """From the number of frames: which are shown, several to be averaged."""
    pace: Fraction = Fraction(1)
    """The file's times are multiplied by this."""
    coding: tuple[str, int, int] | None = None
    """Codec, CRF and lines, where it is coded anew."""
    lane: Callable[[dict[str, Any]], dict[str, Any]] | None = None
    words: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    """Scenarios that share its cache and come first: the result must be the same as alone."""

    @property
    def is_on_time(self) -> bool:
        """Whether the clip's own clock is the film's."""
        return self.kind in {"compressed", "lane", "no still", "as it is"}


def every(step: int, until: int | Callable[[int], int], after: int = 1) -> Callable[[int], list[tuple[int, ...]]]:
    """Return one of `step` frames up to one frame, then one of `after`."""

    def shown(count: int) -> list[tuple[int, ...]]:
        end = until(count) if callable(until) else until
        return [(i,) for i in (*range(0, end, step), *range(end, count, after))]

    return shown


def without(step: int) -> Callable[[int], list[tuple[int, ...]]]:
    """Leave out every so many-th frame."""
    return lambda count: [(i,) for i in range(count) if i % step != step - 1]


def held(times: int) -> Callable[[int], list[tuple[int, ...]]]:
    """Show every so many-th frame so many times."""
    return lambda count: [(i - i % times,) for i in range(count)]


def mixed(times: int) -> Callable[[int], list[tuple[int, ...]]]:
    """Show every so many-th frame, and between two of them their mean."""
    return lambda count: [
        (i,) if i % times == 0 else (i - i % times, min(i - i % times + times, count - 1)) for i in range(count)
    ]


def scaled(by: float) -> Callable[[dict[str, Any]], dict[str, Any]]:
    """Every length of the lane file is wrong by a share."""

    def changed(lane: dict[str, Any]) -> dict[str, Any]:
        for mark in lane["marks"]:
            mark["runway_m"] = [round(by * v, 4) for v in mark["runway_m"]]
        if lane.get("camera_distance_m"):
            lane["camera_distance_m"] *= by
        return lane

    return changed


def poles(by: float) -> Callable[[dict[str, Any]], dict[str, Any]]:
    """Only the poles are wrong by a share: the board's corners were typed from the rules."""

    def changed(lane: dict[str, Any]) -> dict[str, Any]:
        for mark in lane["marks"]:
            if "board" not in mark["name"]:
                mark["runway_m"] = [round(by * v, 4) for v in mark["runway_m"]]
        return lane

    return changed


def again(by: float, said: str) -> Callable[[dict[str, Any]], dict[str, Any]]:
    """The poles are wrong by a share, and a distance was measured again."""
    return lambda lane: poles(by)(lane) | {"measured_again": [said]}


def zoomed(by: float, shift_px: float = 0.0) -> Callable[[dict[str, Any]], dict[str, Any]]:
    """The lane was calibrated with another zoom, or beside it, and its still is lost."""

    def changed(lane: dict[str, Any]) -> dict[str, Any]:
        lane.pop("still", None)
        middle = (np.array(lane["image_size_px"]) - 1) / 2.0
        for mark in lane["marks"]:
            mark["pixel"] = (
                ((np.array(mark["pixel"]) - middle) * by + middle + np.array([shift_px, 0.0])).round(2).tolist()
            )
        return lane

    return changed


FULL, TWO, JUNIOR = "films/full_240", "films/mat_two_240", "films/junior_240"
LIGHT, JOG, THROUGH = "films4/feet_light_240", "films4/feet_jog_240", "films/run_through_120"
CLOUD, FEET_120 = "films2/cloud_walkers_120", "films4/feet_run_through_120"


def scenarios() -> list[Scenario]:
    """Return all of them."""
    return [*_compressed(), *_clocks(), *_stated(), *_lanes()]


def _compressed() -> Iterator[Scenario]:
    codings = [
        (FULL, "libx264", 1080, (22, 28, 34, 38, 42)),
        (FULL, "libx264", 720, (28, 34, 38)),
        (LIGHT, "libx265", 1080, (28, 34, 38, 42)),
        (TWO, "libx264", 720, (30, 36, 42)),
        (TWO, "libx265", 720, (28, 36)),
        (THROUGH, "libx264", 720, (34, 38)),
    ]
    for film, codec, lines, crfs in codings:
        for crf in crfs:
            name = f"{Path(film).name} {codec[3:]} {lines}p CRF {crf}"
            yield Scenario(name=name, film=film, kind="compressed", coding=(codec, crf, lines))


def _clocks() -> Iterator[Scenario]:
    fine = ("libx264", 16, 1080)
    cut: list[tuple[str, str, str, Callable[[int], list[tuple[int, ...]]]]] = [
        ("ramp", "every 8th of 0-99, then all", FULL, every(8, 100)),
        ("ramp", "every 8th up to a support", FULL, every(8, 119)),
        ("ramp", "slow, then every 8th", FULL, every(1, 190, 8)),
        ("ramp", "every 4th of 0-149, then all", TWO, every(4, 150)),
        ("ramp", "slow in the middle", JUNIOR, lambda n: every(8, 120)(n)[:15] + every(1, 260, 8)(n)[120:]),
        ("ramp", "every 2nd, then all", LIGHT, every(2, 110)),
        ("dropped", "every 10th", FULL, without(10)),
        ("dropped", "every 10th", TWO, without(10)),
        ("dropped", "every 5th", JUNIOR, without(5)),
        ("dropped", "every 10th", THROUGH, without(10)),
        ("dropped", "every 10th", CLOUD, without(10)),
        ("dropped", "every 6th", FEET_120, without(6)),
        ("repeated", "240 -> 60 -> 240", FULL, held(4)),
        ("repeated", "240 -> 120 -> 240", TWO, held(2)),
        ("repeated", "120 -> 60 -> 120", THROUGH, held(2)),
        ("blended", "240 -> 60 -> 240", FULL, mixed(4)),
        ("blended", "240 -> 120 -> 240", TWO, mixed(2)),
    ]
    for kind, what, film, frames in cut:
        lines = 720 if film == THROUGH else 1080
        name = f"{Path(film).name} {kind}: {what}"
        yield Scenario(name=name, film=film, kind=kind, frames=frames, coding=(*fine[:2], lines))
    paces = [
        (FULL, "24/25"),
        (TWO, "24/25"),
        (JUNIOR, "24/25"),
        (JOG, "24/25"),
        (FULL, "25/24"),
        (FULL, "10/9"),
        (LIGHT, "2/1"),
    ]
    for film, pace in paces:
        yield Scenario(name=f"{Path(film).name} retimed x {pace}", film=film, kind="retimed", pace=Fraction(pace))


def _stated() -> Iterator[Scenario]:
    for film in (FULL, TWO, LIGHT):
        for rate in (216, 228, 250, 300):
            words = ("--capture-rate", str(rate))
            yield Scenario(name=f"{Path(film).name} said to be {rate}", film=film, kind="stated", words=words)
    yield Scenario(name="jog as it is", film=JOG, kind="as it is")
    yield Scenario(name="jog said to be 240", film=JOG, kind="as it is", words=("--capture-rate", "240"))


def _lanes() -> Iterator[Scenario]:
    for film in (FULL, TWO, JUNIOR):
        for by in (1.03, 1.06, 1.0936, 1.10):
            yield Scenario(name=f"{Path(film).name} lane x {by:g}", film=film, kind="lane", lane=scaled(by))
    for by in (1.03, 1.06, 1.0936):
        name = f"full_240 poles x {by:g}"
        yield Scenario(name=name, film=FULL, kind="lane", lane=poles(by))
        yield Scenario(name=f"{name}, height", film=FULL, kind="lane", lane=poles(by), words=("--height", "1.85"))
        measured = again(by, "pole 0 at 0.00 m to pole 3 at 0.00 m = 9.50")
        yield Scenario(name=f"{name}, measured again", film=FULL, kind="lane", lane=measured)
    for film in (FULL, TWO, LIGHT):
        short = Path(film).name
        yield Scenario(name=f"{short} no still, zoomed 3 %", film=film, kind="no still", lane=zoomed(1.0 / 1.03))
        yield Scenario(name=f"{short} no still, 12 px beside", film=film, kind="no still", lane=zoomed(1.0, 12.0))
    after = ("full_240 lane x 1.03", "full_240 lane x 1.06")
    yield Scenario(name="full_240 after other lane files", film=FULL, kind="as it is", after=after)


@dataclass(kw_only=True)
class Outcome:
    """What came of a scenario."""

    values: int = 0
    beyond: int = 0
    far: int = 0
    codes: list[str] = field(default_factory=list)
    refused: str = ""
    worst: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def is_only_said(self, scenario: Scenario) -> bool:
        """Whether values are wrong, and all that is said is that nobody could look."""
        named = set(self.codes) & (KINDS["no still"] if scenario.kind == "no still" else {"scale-told"})
        return bool(self.far and scenario.kind in {"lane", "no still"} and named)

    def verdict(self, scenario: Scenario) -> str:
        """Return '' where the scenario is in order, else what is not."""
        if self.faults:
            return "; ".join(self.faults)
        if self.refused:
            return "refused for another reason" if scenario.kind == "as it is" else ""
        wrong = sorted(set(self.codes) & CAUSES - KINDS[scenario.kind])
        if wrong:
            return f"blames {', '.join(wrong)}"
        named = set(self.codes) & KINDS[scenario.kind]
        if self.is_only_said(scenario):
            return ""
        if self.far:
            return f"{self.far} beyond 3 u95"
        return f"{self.beyond} of {self.values} beyond u95" if self.beyond > 0.1 * self.values and not named else ""

    def line(self) -> str:
        """Return the figures."""
        if self.refused:
            return f"refused: {self.refused[:70]}"
        codes = ",".join(c for c in self.codes if c in CAUSES | {"scale-told", "camera-unchecked"}) or "-"
        return f"{self.values:3d} values {self.beyond:3d} > u95 {self.far:3d} > 3 u95  {codes}"


def made(scenario: Scenario, folder: Path) -> tuple[Path, Path]:
    """Write clip and lane file of a scenario, unless they are there; return their paths."""
    film, clip, lane_path = FILMS / scenario.film, folder / "clip.mp4", folder / "lane.json"
    folder.mkdir(parents=True, exist_ok=True)
    lane = json.loads((film / "lane.json").read_text())
    still = lane.get("still")
    if still:
        shutil.copyfile(film / still, folder / still)
    factor = 1.0
    if not clip.exists():
        if scenario.coding is not None:
            coded(film / "clip.mp4", clip, scenario)
        elif scenario.pace != 1:
            repaced(film / "clip.mp4", clip, scenario.pace)
        else:
            clip.symlink_to(film / "clip.mp4")
    with av.open(str(clip)) as container:
        factor = container.streams.video[0].height / lane["image_size_px"][1]
    if factor != 1.0:
        lane = smaller(lane, factor, folder)
    if scenario.lane is not None:
        lane = scenario.lane(lane)
    lane_path.write_text(json.dumps(lane))
    return clip, lane_path


def smaller(lane: dict[str, Any], factor: float, folder: Path) -> dict[str, Any]:
    """Return the lane file of the picture made smaller, with its still."""
    import cv2

    still = cv2.imread(str(folder / lane["still"]))
    size = tuple(round(n * factor) for n in lane["image_size_px"])
    cv2.imwrite(str(folder / "small.png"), cv2.resize(still, size, interpolation=cv2.INTER_AREA))
    for mark in lane["marks"]:
        mark["pixel"] = ((np.array(mark["pixel"]) + 0.5) * factor - 0.5).round(3).tolist()
    return {
        **lane,
        "image_size_px": list(size),
        "still": "small.png",
        "pixel_sd_px": lane.get("pixel_sd_px", 1.0) * factor,
    }


def coded(source: Path, target: Path, scenario: Scenario) -> None:
    """Write the frames that a scenario shows, at the film's own rate."""
    codec, crf, lines = scenario.coding or ("libx264", 16, 1080)
    with av.open(str(source)) as old:
        stream = old.streams.video[0]
        count, rate = stream.frames, stream.guessed_rate or stream.average_rate
        shown = (scenario.frames or (lambda n: [(i,) for i in range(n)]))(count)
        last_use = {i: place for place, group in enumerate(shown) for i in group}
        options = {"preset": "veryfast", "crf": str(crf)} | (
            {"x265-params": "log-level=none"} if codec == "libx265" else {}
        )
        with av.open(str(target), "w") as new:
            out = new.add_stream(codec, rate=Fraction(rate).limit_denominator(1001), options=options)
            out.height, out.width = lines, stream.width * lines // stream.height
            out.pix_fmt = "yuv420p"
            frames, have = old.decode(stream), {}
            coming = -1
            for place, group in enumerate(shown):
                while coming < max(group):
                    coming += 1
                    frame = next(frames).reformat(width=out.width, height=out.height, format="yuv420p")
                    if coming in last_use:
                        have[coming] = frame.to_ndarray()
                planes = np.mean([have[i] for i in group], axis=0).round().astype(np.uint8)
                picture = av.VideoFrame.from_ndarray(planes, "yuv420p")
                picture.pts, picture.time_base = place, 1 / Fraction(rate).limit_denominator(1001)
                new.mux(out.encode(picture))
                have = {i: kept for i, kept in have.items() if last_use[i] > place}
            new.mux(out.encode())


def repaced(source: Path, target: Path, pace: Fraction) -> None:
    """Write the same pictures at other times."""
    with av.open(str(source)) as old, av.open(str(target), "w") as new:
        stream = new.add_stream_from_template(old.streams.video[0])
        for packet in old.demux(video=0):
            if packet.dts is None:
                continue
            packet.stream = stream
            packet.pts, packet.dts = round(packet.pts * pace), round(packet.dts * pace)
            packet.duration = round((packet.duration or 0) * pace)
            new.mux(packet)


def analysed(clip: Path, lane: Path, out: Path, cache: Path, words: Sequence[str]) -> str:
    """Run the command; return '' or why it refused."""
    command = [
        sys.executable,
        "-m",
        "penult",
        "analyse",
        str(clip),
        "--calib",
        str(lane),
        "--out",
        str(out),
        "--quiet",
        *words,
    ]
    shutil.rmtree(out, ignore_errors=True)
    done = subprocess.run(
        command, env={**os.environ, "PENULT_CACHE": str(cache)}, capture_output=True, text=True, check=False
    )
    lines = [line[7:] for line in done.stderr.splitlines() if line.startswith("error: ")]
    return "" if done.returncode == 0 else (lines or [f"exit {done.returncode}: {done.stderr.strip()[-300:]}"])[0]


def judged(scenario: Scenario, result: dict[str, Any]) -> Outcome:
    """Hold a result against the film's truth."""
    from scoring import contact_faults

    truth = json.loads((FILMS / scenario.film / "truth.json").read_text())
    out = Outcome(codes=[w["code"] for w in result["warnings"]])
    if "nobody has looked for" in (said := str(result["method"].get("scale_check"))) or "not checked" in said:
        out.codes.append("scale-told")
    withheld = set(out.codes) & KINDS[scenario.kind]
    if scenario.kind != "as it is" and not withheld:
        out.faults += [] if scenario.kind in {"ramp"} else [f for f in contact_faults(truth, result) if "foot" in f]
    for key, true in truth["measures"].items():
        part, number, name = key.split("|")
        if name in ABSOLUTE and not scenario.is_on_time:
            continue
        rows = result.get(part, [])
        row = next((r for r in rows if str(r["number"]) == number), {}) if isinstance(rows, list) else rows
        got = row.get(name)
        if not isinstance(got, dict) or "value" not in got:
            continue
        off = abs(got["value"] - true)
        out.values += 1
        out.beyond += off > got["u95"] + 1e-9
        if off > 3.0 * got["u95"] + 1e-9:
            out.far += 1
            out.worst.append(f"{part} {number} {name} {got['value']:.3f} +- {got['u95']:.3f} (true {true:.3f})")
    return out


def tried(scenario: Scenario, keep: Path, *, look_only: bool) -> Outcome | None:
    """Analyse a scenario and judge it; None where there is nothing to look at yet."""
    folder = keep / scenario.name.replace(" ", "_").replace("/", "_").replace(",", "").replace(":", "").replace(">", "")
    place = folder / "result" / "analysis.json"
    if look_only:
        if not (folder / "refused.txt").exists():
            return None
        why = (folder / "refused.txt").read_text()
        return Outcome(refused=why) if why else judged(scenario, json.loads(place.read_text()))
    clip, lane = made(scenario, folder)
    cache = folder / "cache"
    whys = []
    for number, name in enumerate(scenario.after):
        other = next(s for s in scenarios() if s.name == name)
        _, other_lane = made(other, folder / f"before{number}")
        whys.append(analysed(clip, other_lane, folder / "before", cache, other.words))
    why = analysed(clip, lane, folder / "result", cache, scenario.words)
    (folder / "refused.txt").write_text(why)
    if why:
        return Outcome(refused=why)
    out = judged(scenario, json.loads(place.read_text()))
    if scenario.after:
        analysed(clip, lane, folder / "alone", folder / "cache_alone", scenario.words)
        same = (folder / "alone" / "analysis.json").read_bytes() == place.read_bytes()
        out.faults += [] if same else ["another result than alone"]
    return out


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keep", type=Path, help="folder for films, results and joints, which are used again")
    parser.add_argument("--only", default="", help="scenarios with this word in their name or kind")
    parser.add_argument("--save", type=Path, help="write the figures, for the next release's column")
    parser.add_argument("--list", action="store_true", help="print the scenarios and end")
    parser.add_argument("--table", action="store_true", help="judge what is kept, analyse nothing")
    said = parser.parse_args()
    chosen = [s for s in scenarios() if said.only in s.name or said.only == s.kind]
    if said.list:
        print(*(f"{s.kind:11s} {s.name}" for s in chosen), sep="\n")
        return
    before = json.loads(PREVIOUS.read_text()) if PREVIOUS.exists() else {}
    keep = said.keep or Path(tempfile.mkdtemp())
    figures: dict[str, str] = {}
    bad = tried_count = said_only = 0
    for scenario in chosen:
        outcome = tried(scenario, keep, look_only=said.table)
        if outcome is None:
            continue
        tried_count += 1
        verdict = outcome.verdict(scenario)
        bad, only = bad + bool(verdict), outcome.is_only_said(scenario) and not verdict
        said_only += only
        note = f"  ! {verdict}" if verdict else "  (only said)" if only else ""
        figures[scenario.name] = f"{outcome.line()}{note}"
        print(f"{scenario.name:44s} {figures[scenario.name]}", flush=True)
        if scenario.name in before:
            print(f"{'':33s} before:    {before[scenario.name]}")
        print(*(f"{'':44s}   {w}" for w in outcome.worst[:3]), sep="\n", end="\n" if outcome.worst else "", flush=True)
    print(f"\n{tried_count} scenarios, {bad} not in order, {said_only} only said")
    if said.save:
        said.save.write_text(json.dumps(figures, indent=1) + "\n")


if __name__ == "__main__":
    main()
