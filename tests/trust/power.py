"""Power cuts on a real ext4: what a disk holds at a random moment, without any warning.

A file is mounted as a disk. While a recording is written there, that file is copied at random
moments: it holds what the file system gave the disk, and nothing that was still in memory. Each
copy is mounted, which replays its journal as after a cut. Needs root and loop devices.
"""

import os
import random
import shutil
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

from tests.recording.kills import RATE_HZ
from warmwatch.outputs.proof.facts import read_items
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.seal.verify import verify_recording

SIZE = 12 << 20
SETTLED_S = 3.0


def rows(count: int, folder: Path) -> list[str]:
    """Return one row; what is lost is held against what the recorder had been given."""
    disk, mount = folder / "disk", folder / "mount"
    mount.mkdir()
    if not _made(disk, mount):
        return ["| power cut on ext4 | - | not measured: no disk can be mounted here |"]
    try:
        states, losses = _cut_often(count, disk, mount, folder)
    finally:
        _unmount(mount)
    told = ", ".join(f"{n} {state}" for state, n in sorted(states.items()))
    what = "| power cut on ext4 at a random moment, at 10 Hz"
    return [f"{what} | {sum(states.values())} | {told}; worst loss {max(losses):.2f} s |"]


def _made(disk: Path, mount: Path) -> bool:
    with disk.open("wb") as file:
        file.truncate(SIZE)
    if shutil.which("mkfs.ext4") is None:
        return False
    made = subprocess.run(["mkfs.ext4", "-q", "-F", str(disk)], check=False)
    return made.returncode == 0 and _mount(disk, mount)


def _mount(disk: Path, mount: Path) -> bool:
    return subprocess.run(["mount", "-o", "loop", disk, mount], check=False).returncode == 0


def _unmount(mount: Path) -> None:
    subprocess.run(["umount", mount], check=True)


def _cut_often(
    count: int, disk: Path, mount: Path, folder: Path
) -> tuple["Counter[str]", list[float]]:
    rng, states, losses = random.Random(8_032), Counter[str](), [0.0]
    command = [sys.executable, "-m", "tests.recording.kills", "child", str(mount / "r")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        path = Path(process.stdout.readline().strip())
        os.set_blocking(process.stdout.fileno(), False)
        try:
            time.sleep(SETTLED_S)
            for _ in range(count):
                time.sleep(rng.uniform(0.05, 0.6))
                given = _last_number(process.stdout.read() or "")
                shutil.copy(disk, folder / "copy")
                state, last_s = _look(folder, path.relative_to(mount))
                states[state] += 1
                if given is not None:
                    losses.append(given / RATE_HZ - last_s)
        finally:
            process.kill()
    time.sleep(1.0)  # its helper closes the file
    return states, losses


def _last_number(text: str) -> int | None:
    whole = [line for line in text.split("\n")[:-1] if line.isdigit()]
    return int(whole[-1]) if whole else None


def _look(folder: Path, name: Path) -> tuple[str, float]:
    mount = folder / "after"
    mount.mkdir(exist_ok=True)
    if not _mount(folder / "copy", mount):
        return "no file system", 0.0
    try:
        path = mount / name
        if not path.exists() or not sidecar_path(path).exists():
            return "gone", 0.0
        items = [item.elapsed_s for item in read_items(path)]
        return str(verify_recording(path).state), items[-1] if items else 0.0
    finally:
        _unmount(mount)
