"""Boots a guest, runs one script of tests/kernel/guest in it, and brings back what it found.

Emulated, with a clock that counts instructions (QEMU's icount): how busy the machine is that runs
the tests makes no difference to what the daemon in the guest sees of time.
"""

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from guest_kernel import KERNEL_TESTS, guest
from guest_system import system

SCRIPTS = KERNEL_TESTS / "guest"

MEGABYTES = 1024
LONGEST_S = 1500  # of the host's; ends a guest that hangs
CLOCK = ("-accel", "tcg,thread=single", "-smp", "1", "-icount", "shift=0,sleep=off")
BARE = ("-nodefaults", "-nographic", "-serial", "stdio", "-monitor", "none", "-no-reboot")


def found_in_guest(script: str, share: Path, *, keeps_levels: bool, systemd: bool = False) -> None:
    """It leaves its facts in ``share``. ``keeps_levels``: of a pin whose process has gone.

    ``systemd``: it runs as a service below that one, with the project installed, and sees nothing
    of the host; else on the host's files.
    """
    built = system(guest()) if systemd else guest()
    words = {
        "console": "ttyS0",
        "panic": "-1",
        "guest.persist": str(int(keeps_levels)),
        **(_below_systemd(script, share) if systemd else _alone(script)),
    }
    line = " ".join(["quiet", *(f"{key}={value}" for key, value in words.items())])
    host = () if systemd else _folder("host", "/", "readonly=on,multidevs=remap")
    command = [
        "qemu-system-x86_64", *CLOCK, "-cpu", "max", *BARE,
        "-m", str(MEGABYTES), "-kernel", str(built.kernel), "-initrd", str(built.initramfs),
        "-append", line, *host, *_folder("share", str(share), "readonly=off"),
    ]  # fmt: skip
    with (share / "console").open("wb") as console:
        subprocess.run(
            command, stdin=subprocess.DEVNULL, stdout=console, stderr=subprocess.STDOUT,
            timeout=LONGEST_S, check=False,
        )  # fmt: skip


def _alone(script: str) -> dict[str, str]:
    return {"guest.script": str(SCRIPTS / f"{script}.py"), "guest.python": sys.executable}


def _below_systemd(script: str, share: Path) -> dict[str, str]:
    """The scripts go along in the share."""
    shutil.copytree(SCRIPTS, share / "guest")
    return {
        "systemd.unit": "bench.target",
        "systemd.setenv": f"BENCH_SCRIPT=/bench/{script}.py",
    }


def told_by(script: str, share: Path) -> list[dict[str, Any]]:
    told = share / f"{script}.json"
    said = [share / name for name in ("console", "output") if (share / name).exists()]
    assert told.exists(), "\n".join(path.read_text(errors="replace")[-2000:] for path in said)
    facts = json.loads(told.read_text("utf-8"))
    assert isinstance(facts, list)
    return facts


def _folder(tag: str, path: str, options: str) -> tuple[str, ...]:
    return (
        "-fsdev", f"local,id={tag},path={path},security_model=none,{options}",
        "-device", f"virtio-9p-pci,fsdev={tag},mount_tag={tag}",
    )  # fmt: skip
