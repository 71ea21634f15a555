"""How long things take, as ratios to a yardstick of the same run: python tests/bench/speed.py [FILM] [--long] [--many].

FILM is a folder with clip.mp4 and lane.json (samples/full_240 by default). The yardstick is bare PyAV decoding of the clip
plus one single-threaded inference of the heavy pose model for each frame with the athlete in view. Wall and CPU seconds
of every command and the peak memory of all its processes together are given; the ratios are of wall seconds, to be read
on a machine that does nothing else. --long adds the cost per frame from 300 to 6,000 frames, a five-minute clip with one
run in it and 60 s of 4K, both at 60 frames a second (ten minutes on two cores); --many adds 16 clips on two local Dask workers.
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
BARS = {
    "analyse": 0.70,
    "again, unchanged": 0.12,
    "again, another calibration": 0.30,
}
HELP_S, MEMORY_GB, LARGE_GB, FLAT = 0.35, 1.5, 2.0, 0.10


@dataclass
class Cost:
    """Wall and CPU seconds of a command, and the largest sum of the resident memory of its processes."""

    wall_s: float
    cpu_s: float
    peak_gb: float


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("film", nargs="?", type=Path, default=ROOT / "samples" / "full_240")
    parser.add_argument("--long", action="store_true")
    parser.add_argument("--many", action="store_true")
    parser.add_argument("--clips", type=int, default=16, help="so many clips with --many")
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        os.environ["PENULT_CACHE"] = str(folder / "cache")
        one_clip(said.film, folder)
        start_up()
        if said.long:
            long_clips(said.film, folder)
        if said.many:
            many_clips(said.film, folder, said.clips)


def one_clip(film: Path, folder: Path) -> None:
    """The three ways in which one clip is analysed, with the yardstick before and after."""
    out = folder / "result"
    first = measured(film, film / "lane.json", out)
    again = measured(film, film / "lane.json", out)
    lane = json.loads((film / "lane.json").read_text())
    for mark in lane["marks"]:  # clicked again, a bit beside
        mark["pixel"] = [mark["pixel"][0] + 0.3, mark["pixel"][1] - 0.2]
    other = folder / "lane.json"
    other.write_text(json.dumps(lane))
    for still in film.glob("still.*"):
        shutil.copy(still, folder / still.name)
    recalibrated = measured(film, other, out)
    decode_s, pose_s, frames = yardstick(film, out)
    yard = decode_s + pose_s
    print(f"yardstick: decoding {decode_s:.2f} s + {frames} inferences {pose_s:.2f} s = {yard:.2f} s (one thread)")
    print(f"{'':28s} wall s   CPU s  peak GB   x yardstick   bar")
    rows = {"analyse": first, "again, unchanged": again, "again, another calibration": recalibrated}
    for name, cost in rows.items():
        ratio = cost.wall_s / yard
        mark = "" if ratio <= BARS[name] and cost.peak_gb <= MEMORY_GB else " !"
        print(
            f"{name:28s} {cost.wall_s:6.2f}  {cost.cpu_s:6.2f}  {cost.peak_gb:7.2f}   {ratio:11.3f}  {BARS[name]:.2f}{mark}"
        )


def start_up() -> None:
    """`penult --help`, the median of five."""
    times = sorted(command(["--help"]).wall_s for _ in range(5))
    print(f"penult --help: {times[2]:.2f} s (bar {HELP_S} s){' !' if times[2] > HELP_S else ''}")


def measured(film: Path, lane: Path, out: Path, clip: Path | None = None) -> Cost:
    """Analyse through the command line."""
    return command(["analyse", str(clip or film / "clip.mp4"), "--calib", str(lane), "--out", str(out), "--quiet"])


def command(arguments: list[str]) -> Cost:
    """Run penult and watch it."""
    before = os.times()
    start = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "penult", *arguments], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    with watched(process.pid) as peak:
        status = process.wait()
    wall_s = time.perf_counter() - start
    after = os.times()
    if status:
        raise SystemExit(f"penult {' '.join(arguments)}: exit {status}")
    cpu_s = after.children_user - before.children_user + after.children_system - before.children_system
    return Cost(wall_s=wall_s, cpu_s=cpu_s, peak_gb=peak[0])


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
    """Cost per frame from 300 to 6,000 frames, five minutes with one run, and 60 s of 4K."""
    clip = film / "clip.mp4"
    before: tuple[int, float] | None = None
    base = None
    for repeats in (1, 4, 18):  # one run in each is measured: what every further frame costs is to be flat
        made = repeated(clip, folder / f"times_{repeats}.mp4", repeats)
        cost = measured(film, film / "lane.json", folder / f"long_{repeats}", made)
        frames = frames_in(made)
        told = ""
        if before is not None:
            each = 1e3 * (cost.cpu_s - before[1]) / (frames - before[0])
            base = base or each
            told = f", {each:.2f} ms for each further frame ({each / base - 1:+.0%}; bar {FLAT:.0%})"
        before = (frames, cost.cpu_s)
        print(f"{frames} frames: {cost.wall_s:.1f} s, {cost.cpu_s:.1f} s CPU, {cost.peak_gb:.2f} GB{told}")
    for title, seconds, times in (("five minutes, one run in them", 300.0, 1), ("60 s of 4K, one run in it", 60.0, 2)):
        made, lane = held(film, folder / f"held_{times}", seconds=seconds, times=times)
        cost = measured(film, lane, folder / f"held_{times}_result", made)
        mark = "" if cost.peak_gb <= LARGE_GB else " !"
        spent = f"{cost.wall_s:.0f} s, {cost.cpu_s:.0f} s CPU, {cost.peak_gb:.2f} GB"
        print(f"{title}, 60 frames a second: {spent} (bar {LARGE_GB:g} GB){mark}")


def frames_in(clip: Path) -> int:
    """Packets of the film."""
    import av

    with av.open(str(clip)) as container:
        return sum(1 for p in container.demux(video=0) if p.size)


def repeated(clip: Path, out: Path, times: int) -> Path:
    """The same film several times over, encoded again at its own rate: the athlete runs past once a round."""
    import av

    with av.open(str(out), "w") as made:
        stream, count = None, 0
        for _ in range(times):
            with av.open(str(clip)) as container:
                given = container.streams.video[0]
                for frame in container.decode(given):
                    if stream is None:
                        stream = made.add_stream("libx264", rate=given.average_rate, options={"crf": "18"})
                        stream.width, stream.height, stream.pix_fmt = frame.width, frame.height, "yuv420p"
                    picture = av.VideoFrame.from_ndarray(
                        frame.to_ndarray(), frame.format.name
                    )  # without its old stamp and kind
                    picture.pts, picture.time_base = count, 1 / Fraction(given.average_rate)
                    made.mux(stream.encode(picture))
                    count += 1
        assert stream is not None
        made.mux(stream.encode())
    return out


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

    places = [folder / "one_by_one", folder / "cluster"]
    for place in places:
        place.mkdir()
        for i in range(count):
            # a box that players pass over, so that every clip has content of its own
            box = (16 + 8).to_bytes(4, "big") + b"free" + i.to_bytes(16, "big")
            (place / f"clip_{i:02d}.mp4").write_bytes((film / "clip.mp4").read_bytes() + box)
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
