"""What the journal costs a memory card. Prints; asserts nothing.

Records of a realistic charge go through the store in batches, as the writer's thread commits them;
then the bytes written are counted three ways: by SQLite's own calls, by the kernel for this process
(/proc/self/io, whole pages of the page cache), and, where root may, by the block device below a
file system of its own (its journal and metadata included). A card's own amplification comes on top
and is not to be seen from here.
"""

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from math import sin
from pathlib import Path
from random import Random

from journals import WALL_S, closing, event, run, window
from power_cut import Write, can_record, recorded

from supervisor.journal.records import Progress, Record, Span, Temperature
from supervisor.journal.schema import FILE_NAME
from supervisor.journal.store import Store
from supervisor.journal.writer import COMMIT_EVERY_S

HOURS = 2
HOUR_S = 3600
EVENT_EVERY_S, PROGRESS_EVERY_S, TEMPERATURES_EVERY_S = 600, 60, 10
PROBES = ("cells", "rectifier", "shunt")
DISK_MB = 256
# A card of 32 GB that bears 1000 times its size: common practice, no source; the maker says.
CARD_GB, CARD_CYCLES = 32, 1000
YEAR_H = 365 * 24
CARD_WRITES = 20  # bytes of its own for each byte it is told; likewise


def charge(seconds: int, *, is_close: bool) -> Iterator[list[Record]]:
    """In batches of one commit."""
    random, batch = Random(1), [run(), closing(0.0)]
    next_commit_s = COMMIT_EVERY_S
    for k in range(1, seconds * 10 + 1):
        at_s = k / 10
        volts, amperes = 3.35 + 0.05 * sin(at_s / 900), 50 + random.gauss(0, 0.2)
        noise_v = random.gauss(0, 0.0005)
        batch.append(
            window(at_s)._replace(
                front_v=Span(volts + noise_v, volts - 0.002, volts + 0.002),
                far_v=Span(volts - noise_v, volts - 0.003, volts + 0.001),
                current_a=Span(amperes, amperes - random.random(), amperes + random.random()),
            )
        )
        if k % (PROGRESS_EVERY_S * 10) == 0:
            figures = (at_s / 72, 0.5, at_s / 20, True, 0.1, 3.34, 0.0004)
            batch.append(Progress(at_s, WALL_S + at_s, "closed", "bulk", *figures))
        if k % (TEMPERATURES_EVERY_S * 10) == 0:
            batch += [Temperature(at_s, WALL_S + at_s, p, 30 + random.random()) for p in PROBES]
        is_event = k % (EVENT_EVERY_S * 10) == 0
        if is_event:
            about = {"reason": "the current fades", "amperes": 7.5}
            batch.append(event(at_s, "cue", is_close=is_close, **about))
        if is_event or at_s >= next_commit_s:  # an event is written at once
            yield batch
            batch, next_commit_s = [], at_s + COMMIT_EVERY_S


def written_bytes() -> int:
    """By this process, as the kernel counts what goes to a block device."""
    lines = Path("/proc/self/io").read_text("ascii").splitlines()
    return int(dict(line.split(": ") for line in lines)["write_bytes"])


def on_device_bytes(loop: str | None) -> int:
    """Sectors written, of 512 bytes whatever the device."""
    if loop is None:
        return 0
    os.sync()
    return int(Path(f"/sys/block/{loop}/stat").read_text("ascii").split()[6]) * 512


@contextmanager
def disk() -> Iterator[tuple[Path, str | None]]:
    """A folder, and the loop device below it if root may have one."""
    with tempfile.TemporaryDirectory() as name:
        folder, image = Path(name) / "mounted", Path(name) / "image"
        folder.mkdir()
        with image.open("wb") as file:
            file.truncate(DISK_MB * 1_000_000)
        device = _loop(image)
        if device is None:
            yield folder, None
            return
        try:
            # lazy_itable_init would write in the background, and be counted
            lazy = "lazy_itable_init=0,lazy_journal_init=0"
            subprocess.run(["mkfs.ext4", "-q", "-E", lazy, device], check=True)
            subprocess.run(["mount", "-o", "noatime", device, folder], check=True)
            try:
                yield folder, Path(device).name
            finally:
                subprocess.run(["umount", folder], check=True)
        finally:
            subprocess.run(["losetup", "--detach", device], check=True)


def _loop(image: Path) -> str | None:
    if os.geteuid() != 0:
        return None
    command = ["losetup", "--find", "--show", str(image)]
    try:
        answer = subprocess.run(command, check=False, capture_output=True, text=True)
    except FileNotFoundError:
        return None
    return answer.stdout.strip() if answer.returncode == 0 else None


def feed(folder: Path, *, is_close: bool) -> tuple[int, int]:
    """Commits, and bytes of the files in the end."""
    store = Store(folder / FILE_NAME)
    store.connect()
    commits = 0
    for batch in charge(HOURS * HOUR_S, is_close=is_close):
        store.write(batch)
        commits += 1
    store.disconnect()
    return commits, sum(part.stat().st_size for part in folder.glob(f"{FILE_NAME}*"))


def tell(title: str, *, is_close: bool) -> float:
    """MB per hour that reach the medium, by the best of the counts."""
    with disk() as (folder, loop):
        before = written_bytes(), on_device_bytes(loop)
        commits, size = feed(folder, is_close=is_close)
        by_kernel, on_device = written_bytes() - before[0], on_device_bytes(loop) - before[1]
    by_calls = called_bytes(is_close=is_close) if can_record() else 0
    print(f"{title}: {commits / HOURS:.0f} commits an hour")
    rows = {
        "in SQLite's calls": by_calls,
        "by the kernel, for this process": by_kernel,
        "on the block device": on_device,
        "growth of the file": size,
    }
    for name, count in rows.items():
        told = f"{count / HOURS / 1e6:8.2f} MB/h" if count else "  not told"
        print(f"  {name:<32}{told}")
    return max(by_kernel, on_device) / HOURS / 1e6


def called_bytes(*, is_close: bool) -> int:
    with tempfile.TemporaryDirectory() as name, recorded(Path(name)) as recording:
        feed(Path(name), is_close=is_close)
        return sum(len(act.data) for act in recording.acts if isinstance(act, Write))


def main() -> None:
    tell("a charge, an event each ten minutes", is_close=False)
    mb_per_h = tell("the same, each worth every window of its minute", is_close=True)
    bearable_mb = CARD_GB * 1000 * CARD_CYCLES
    years = bearable_mb / mb_per_h / YEAR_H
    print(
        f"a card of {CARD_GB} GB that bears {CARD_CYCLES} times its size (common practice, no "
        f"source): {years:.0f} years of charging without a pause;\n"
        f"{years / CARD_WRITES:.0f} if it writes {CARD_WRITES} times what it is told"
    )


if __name__ == "__main__":
    sys.exit(main())
