"""Forgetting a person, interrupted: python tests/bench/forget.py [--kills 100] [--disks 100].

Each time a logbook and results of three people are made, the forgetting is killed at a random moment or runs into a full
disk (a small one in memory; Linux), others' rows and results are compared, and the same is said again. Not part of the gate.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from forgetting import killed, shown, with_full_disks  # noqa: E402


def mount(place: Path) -> None:
    """Put a disk of 6 MB at a folder."""
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", str(place)], check=True)


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--disks", type=int, default=100)
    parser.add_argument("--inside", action="store_true", help=argparse.SUPPRESS)
    said = parser.parse_args()
    if said.disks and not said.inside:  # mounting needs a namespace of one's own
        os.execvp("unshare", ["unshare", "-rm", sys.executable, *sys.argv, "--inside"])
    with tempfile.TemporaryDirectory() as name:
        os.environ["PENULT_CACHE"] = f"{name}/cache"
        os.environ["PENULT_LOGBOOK"] = f"{name}/default/log.sqlite"
        kills = killed(Path(name), said.kills)
        print("kills:", shown(kills), flush=True)
        disks = with_full_disks(mount, Path(name), said.disks)
        print("full disks:", shown(disks), flush=True)
        if said.disks:
            subprocess.run(f"umount {name}/full*", shell=True, check=False)
    sys.exit(bool(kills.broken or disks.broken))


if __name__ == "__main__":
    main()
