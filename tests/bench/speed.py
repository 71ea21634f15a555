"""How long things take, as ratios to a yardstick of the same run: python tests/bench/speed.py [FILM] [--quick] [--long] [--many].

FILM is a folder with clip.mp4 and lane.json (samples/full_240 by default). The yardstick is bare PyAV decoding of a clip
plus one single-threaded inference of the heavy pose model for each frame with the athlete in view. Printed is every bar with
what was measured, and '!' where it is missed; the ratios are of wall seconds, to be read on a machine that does nothing else
(some five minutes on two cores, three with --quick: a session of four clips, no other numbers of cores). A crowd and a
panned clip are taken from $PENULT_SHARED (films, films2, films3), else left out. --long adds five minutes with one run in them
and 60 s of 4K, both at 60 frames a second (ten minutes on two cores); --many adds 16 clips on two local Dask workers.
"""
# ruff: noqa: PLC0415

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WHOLE, NUMBERS, AGAIN, UNCHANGED, SESSION, PANNED = 0.55, 0.40, 0.18, 0.02, 0.40, 1.0
HELP_S, MEMORY_GB, LARGE_GB, ALIKE, BUSY, FOUR_CORES = 0.35, 1.2, 2.0, 0.15, 0.90, 1.7
FURTHER_MS, FIVE_MINUTES_S = 3.0, 50.0
CLEAN, CROWD, TURNED = "films/run_through_120", "films2/cloud_walkers_120", "films3/pan_runup_120"


@dataclass
class Cost:
    """Wall and CPU seconds of a command, the largest sum of the resident memory of its processes, and when it first spoke."""

    wall_s: float
    cpu_s: float
    peak_gb: float
    first_word_s: float = float("nan")


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("film", nargs="?", type=Path, default=ROOT / "samples" / "full_240")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--long", action="store_true")
    parser.add_argument("--many", action="store_true")
    parser.add_argument("--clips", type=int, default=16, help="so many clips in a session")
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        os.environ["PENULT_CACHE"] = str(folder / "cache")
        print(f"{len(cores())} cores")
        yard_s, whole_s = one_clip(said.film, folder)
        start_up()
        session(said.film, folder, 4 if said.quick else said.clips, yard_s)
        if not said.quick:
            on_cores(said.film, folder, whole_s)
        films_of_the_set(folder)
        further_frames(said.film, folder)
        if said.long:
            long_clips(said.film, folder)
        if said.many:
            many_clips(said.film, folder, said.clips)


def bar(what: str, value: float, limit: float, unit: str = "x", *, least: bool = False, more: str = "") -> None:
    """Print a figure beside its bar."""
    missed = value < limit if least else value > limit
    sign = ">=" if least else "<="
    print(f"{what:44s} {value:7.3f} {unit:2s} (bar {sign} {limit:g}){' !' if missed else ''}{more}", flush=True)


def cores() -> set[int]:
    """Cores that this process may run on."""
    return os.sched_getaffinity(0)


def one_clip(film: Path, folder: Path) -> tuple[float, float]:
    """The ways in which one clip is analysed; return the yardstick and the whole job in seconds."""
    out = folder / "result"
    first = measured(film, film / "lane.json", out, quiet=False)
    again = measured(film, film / "lane.json", out)
    recalibrated = measured(film, beside(film, folder), out)
    yard_s = told_yardstick(film, out)
    bar("whole job", first.wall_s / yard_s, WHOLE, more=cost_text(first))
    bar("numbers in the terminal", first.first_word_s / yard_s, NUMBERS)
    bar("another calibration", recalibrated.wall_s / yard_s, AGAIN, more=cost_text(recalibrated))
    bar("unchanged", again.wall_s / yard_s, UNCHANGED, more=cost_text(again))
    bar("peak memory", max(first.peak_gb, recalibrated.peak_gb), MEMORY_GB, "GB")
    return yard_s, first.wall_s


def beside(film: Path, folder: Path) -> Path:
    """Write the film's lane file as if clicked again, a bit beside, with its still."""
    lane = json.loads((film / "lane.json").read_text())
    for mark in lane["marks"]:
        mark["pixel"] = [mark["pixel"][0] + 0.3, mark["pixel"][1] - 0.2]
    (folder / "lane.json").write_text(json.dumps(lane))
    for still in film.glob("still.*"):
        shutil.copy(still, folder / still.name)
    return folder / "lane.json"


def cost_text(cost: Cost) -> str:
    """What else is known of a command."""
    return f"   {cost.wall_s:.2f} s, {cost.cpu_s:.2f} s CPU, {cost.peak_gb:.2f} GB"


def told_yardstick(film: Path, out: Path) -> float:
    """Measure and print the yardstick of a film with a result."""
    decode_s, pose_s, frames = yardstick(film, out)
    each = 1e3 * pose_s / frames
    yard_s = decode_s + pose_s
    print(
        f"yardstick of {film.name}: decoding {decode_s:.2f} s + {frames} x {each:.1f} ms = {yard_s:.2f} s (one thread)"
    )
    return yard_s


def session(film: Path, folder: Path, count: int, yard_s: float) -> None:
    """A folder of clips in one go: time of a clip, and how busy the cores are."""
    place = copies(film, folder / "session", count)
    cost = command(["session", str(place), "--calib", str(film / "lane.json"), "--quiet"])
    bar(f"session of {count} clips, a clip", cost.wall_s / count / yard_s, SESSION, more=cost_text(cost))
    bar("cores busy in it", cost.cpu_s / cost.wall_s / len(cores()), BUSY, "", least=True)


def copies(film: Path, place: Path, count: int) -> Path:
    """Return a folder of copies of a clip, each with content of its own: a box that players pass over."""
    place.mkdir()
    for i in range(count):
        box = (16 + 8).to_bytes(4, "big") + b"free" + i.to_bytes(16, "big")
        (place / f"clip_{i:02d}.mp4").write_bytes((film / "clip.mp4").read_bytes() + box)
    return place


def on_cores(film: Path, folder: Path, whole_s: float) -> None:
    """How much quicker four cores are than two: measured, or told from one and two (a part that is shared, one that is not)."""
    every = sorted(cores())
    times = {}
    for count in (1, 2, 4):
        if count > len(every):
            continue
        os.environ["PENULT_CACHE"] = str(folder / f"cache_{count}")
        os.sched_setaffinity(0, every[:count])
        try:
            is_known = count == len(every)
            out = folder / f"cores_{count}"
            times[count] = whole_s if is_known else measured(film, film / "lane.json", out).wall_s
        finally:
            os.sched_setaffinity(0, every)
    os.environ["PENULT_CACHE"] = str(folder / "cache")
    print("cores: " + ", ".join(f"{n}: {s:.2f} s" for n, s in times.items()))
    if 4 in times:
        bar("four cores over two", times[2] / times[4], FOUR_CORES, "", least=True)
    elif 2 in times:
        shared = 2.0 * (times[1] - times[2])
        modelled = times[1] - 0.75 * shared
        bar("four cores over two, modelled from 1 and 2", times[2] / modelled, FOUR_CORES, "", least=True)


def films_of_the_set(folder: Path) -> None:
    """A clean film and a crowd, and a panned one, where they are at hand."""
    shared = Path(os.environ.get("PENULT_SHARED", ROOT.parent / "shared"))
    ratios = {}
    for name in (CLEAN, CROWD, TURNED):
        film = shared / name
        if not (film / "clip.mp4").exists():
            print(f"{name} is not at hand ($PENULT_SHARED)")
            continue
        out = folder / film.name
        lane = swept(film, folder / "swept.json") if name == TURNED else film / "lane.json"
        cost = measured(film, lane, out)
        ratios[name] = cost.wall_s / told_yardstick(film, out)
        print(f"{name}: {ratios[name]:.3f} x{cost_text(cost)}")
    if CLEAN in ratios and CROWD in ratios:
        bar("a crowd over a clean film", ratios[CROWD] / ratios[CLEAN] - 1.0, ALIKE, "")
    if TURNED in ratios:
        bar("panned clip", ratios[TURNED], PANNED)


def swept(film: Path, lane: Path) -> Path:
    """Make the lane file of a panned place from its sweep and the true pixels of its marks, with the noise of a hand."""
    import numpy as np
    from panned import clicks

    from penult.app.lanes import LaneFacts
    from penult.app.sweep import calibrate_from_sweep

    marks = json.loads((film / "sweep_marks.json").read_text(encoding="utf-8"))
    table = clicks(marks, lane.with_suffix(".csv"), every=True, rng=np.random.default_rng(1))
    calibrate_from_sweep(film / "sweep.mp4", film / "places.csv", table, lane, LaneFacts(), lambda *_: None)
    return lane


def further_frames(film: Path, folder: Path) -> None:
    """What a further frame without the athlete costs, of 600 at 60 frames a second with the film's run before them."""
    costs, counts = [], []
    for seconds in (8.0, 24.0):
        made, lane = held(film, folder / f"still_{seconds:.0f}", seconds=seconds)
        costs.append(measured(film, lane, folder / f"still_{seconds:.0f}_result", made))
        counts.append(frames_in(made))
    more = counts[1] - counts[0]
    cpu_ms = 1e3 * (costs[1].cpu_s - costs[0].cpu_s) / more
    wall_ms = 1e3 * (costs[1].wall_s - costs[0].wall_s) / more
    bar("a further frame without the athlete", wall_ms, FURTHER_MS, "ms", more=f"   {cpu_ms:.2f} ms CPU")


def start_up() -> None:
    """`penult --help`, the median of five."""
    times = sorted(command(["--help"]).wall_s for _ in range(5))
    bar("penult --help", times[2], HELP_S, "s")


def measured(film: Path, lane: Path, out: Path, clip: Path | None = None, *, quiet: bool = True) -> Cost:
    """Analyse through the command line."""
    said = ["analyse", str(clip or film / "clip.mp4"), "--calib", str(lane), "--out", str(out)]
    return command([*said, "--quiet"] if quiet else said)


def command(arguments: list[str]) -> Cost:
    """Run penult and watch it."""
    before = os.times()
    start = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "penult", *arguments], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    assert process.stdout is not None
    with watched(process.pid) as peak:
        word = process.stdout.read(1)
        first_word_s = time.perf_counter() - start if word else float("nan")
        process.stdout.read()
        status = process.wait()
    wall_s = time.perf_counter() - start
    after = os.times()
    if status:
        raise SystemExit(f"penult {' '.join(arguments)}: exit {status}")
    cpu_s = after.children_user - before.children_user + after.children_system - before.children_system
    return Cost(wall_s=wall_s, cpu_s=cpu_s, peak_gb=peak[0], first_word_s=first_word_s)


@contextmanager
def watched(pid: int) -> Iterator[list[float]]:
    """Sum up the resident memory of a process and its children, 50 times a second; Linux only, else 0."""
    peak, done = [0.0], threading.Event()

    def watch() -> None:
        while not done.wait(0.02):
            peak[0] = max(peak[0], sum(resident_gb(p) for p in family(pid)))

    thread = threading.Thread(target=watch)
    thread.start()
    try:
        yield peak
    finally:
        done.set()
        thread.join()


def family(pid: int) -> list[int]:
    """A process and all that came of it."""
    found = [pid]
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        try:
            found += [p for child in task.read_text().split() for p in family(int(child))]
        except OSError:
            continue
    return found


def resident_gb(pid: int) -> float:
    """Resident memory of one process; shared pages count for each."""
    try:
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e9
    except (OSError, IndexError):
        return 0.0


def yardstick(film: Path, result: Path) -> tuple[float, float, int]:
    """Seconds of decoding; of one inference on one core for each frame with the athlete in view (some, for all); their count."""
    import av
    import numpy as np

    from penult.adapters.files.result_file import read_motion
    from penult.adapters.pose import Crop, pose_model

    start = time.perf_counter()
    with av.open(str(film / "clip.mp4")) as container:
        container.streams.video[0].thread_type = "AUTO"
        for _ in container.decode(video=0):
            pass
    decode_s = time.perf_counter() - start
    pixels = read_motion(result).pixels
    boxes = {int(f): xy for f, xy in zip(pixels.frame, pixels.xy_px, strict=True) if np.isfinite(xy).any()}
    cores = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {min(cores)})
    try:
        spent, count = 0.0, 0
        with pose_model() as model, av.open(str(film / "clip.mp4")) as container:
            for index, frame in enumerate(container.decode(video=0)):
                if index not in boxes:
                    continue
                image = frame.to_ndarray(format="rgb24")
                low, high = np.nanmin(boxes[index], axis=0), np.nanmax(boxes[index], axis=0)
                centre, height = tuple((low + high) / 2.0), float(high[1] - low[1])
                start = time.perf_counter()
                model.joints(image, Crop(centre_px=centre, side_px=2.5 * height), centre, height)
                spent, count = spent + time.perf_counter() - start, count + 1
    finally:
        os.sched_setaffinity(0, cores)
    frames = len(pixels.frame)
    return decode_s, spent * frames / count, frames


def long_clips(film: Path, folder: Path) -> None:
    """Five minutes with one run, and 60 s of 4K."""
    for title, seconds, times in (("five minutes, one run in them", 300.0, 1), ("60 s of 4K, one run in it", 60.0, 2)):
        made, lane = held(film, folder / f"held_{times}", seconds=seconds, times=times)
        cost = measured(film, lane, folder / f"held_{times}_result", made)
        if times == 1:
            bar(title, cost.wall_s, FIVE_MINUTES_S, "s")
        bar(f"peak memory of {title}", cost.peak_gb, LARGE_GB, "GB", more=cost_text(cost))


def frames_in(clip: Path) -> int:
    """Packets of the film."""
    import av

    with av.open(str(clip)) as container:
        return sum(1 for p in container.demux(video=0) if p.size)


def held(film: Path, folder: Path, *, seconds: float, times: int = 1) -> tuple[Path, Path]:
    """The film at 60 frames a second with its ends held, enlarged so many times, and its lane file enlarged with it."""
    import av
    import cv2

    folder.mkdir()
    with av.open(str(film / "clip.mp4")) as container:
        stream = container.streams.video[0]
        every = max(round(float(stream.average_rate) / 60.0), 1)
        frames = [f for i, f in enumerate(container.decode(stream)) if i % every == 0]
    with av.open(str(folder / "clip.mp4"), "w") as made:
        stream = made.add_stream("libx264", rate=60, options={"crf": "20", "preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = times * frames[0].width, times * frames[0].height, "yuv420p"
        before = (int(60.0 * seconds) - len(frames)) // 2
        for i in range(int(60.0 * seconds)):
            shown = frames[min(max(i - before, 0), len(frames) - 1)]
            picture = shown.reformat(width=stream.width, height=stream.height, format="yuv420p")
            picture.pts, picture.time_base = i, Fraction(1, 60)
            made.mux(stream.encode(picture))
        made.mux(stream.encode())
    lane = json.loads((film / "lane.json").read_text())
    lane["image_size_px"] = [times * v for v in lane["image_size_px"]]
    for mark in lane["marks"]:
        mark["pixel"] = [times * (v + 0.5) - 0.5 for v in mark["pixel"]]
    still = cv2.imread(str(film / lane["still"]))
    cv2.imwrite(str(folder / lane["still"]), cv2.resize(still, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC))
    (folder / "lane.json").write_text(json.dumps(lane))
    return folder / "clip.mp4", folder / "lane.json"


def many_clips(film: Path, folder: Path, count: int) -> None:
    """Clips one by one and on two local Dask workers, one of them killed in the middle: the same analysis.json."""
    from distributed import LocalCluster

    places = [copies(film, folder / name, count) for name in ("one_by_one", "cluster")]
    alone = command(["session", str(places[0]), "--calib", str(film / "lane.json"), "--quiet"])
    command(["cache", "--clear"])
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50) as local:
        victim = next(iter(local.workers.values())).pid
        killer = threading.Timer(alone.wall_s / 3.0, os.kill, (victim, 9))
        killer.start()
        start = time.perf_counter()
        command(
            [
                "session",
                str(places[1]),
                "--calib",
                str(film / "lane.json"),
                "--quiet",
                "--cluster",
                local.scheduler_address,
            ]
        )
        wall_s = time.perf_counter() - start
    names = sorted(p.relative_to(places[0]) for p in places[0].glob("*/analysis.json"))
    same = sum((places[0] / n).read_bytes() == (places[1] / n).read_bytes() for n in names)
    print(
        f"{count} clips: {alone.wall_s:.0f} s one by one, {wall_s:.0f} s on two Dask workers, one killed after a third"
    )
    print(f"the same analysis.json: {same} of {len(names)}{'' if same == len(names) == count else ' !'}")
    print(f"1,000 clips: {1000 * alone.cpu_s / count / 3600:.1f} core hours")


if __name__ == "__main__":
    main()
