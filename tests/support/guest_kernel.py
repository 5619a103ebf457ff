"""Debian's own kernel with a virtual bus and virtual pins, as a kernel and a first file system.

Fetched by apt and built into a folder of the user's cache, once for each version. gpio-sim comes
from Debian's kernel source (GPL-2.0); nothing of it is kept in this project.
"""

import fcntl
import gzip
import hashlib
import os
import re
import shutil
import subprocess
import tarfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

KERNEL_TESTS = Path(__file__).parents[1] / "kernel"
CACHE = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "holdwatch-guest"
TOOLS = (
    "qemu-system-x86_64",
    "busybox",
    "cpio",
    "make",
    "gcc",
    "modinfo",
    "strip",
    "dpkg",
    "apt-get",
)
# Debian: qemu-system-x86 busybox-static cpio make gcc kmod binutils

MODULES = ("virtio_pci", "9pnet_virtio", "9p", "overlay", "i2c-dev", "configfs")
APPLETS = [
    "sh",
    "mount",
    "modprobe",
    "depmod",
    "cat",
    "echo",
    "mkdir",
    "chroot",
    "poweroff",
    "sync",
    "printf",
    "cp",
    "chmod",
]
TAKEN = ("drivers/gpio/gpio-sim.c", "drivers/gpio/gpiolib.h", "kernel/irq/irq_sim.c")
MAKEFILE = "obj-m := virtual_ads1115.o gpio-sim.o\ngpio-sim-y := gpio_sim_main.o irq_sim.o\n"

# Like a Raspberry Pi's controller when asked to: an output keeps its level when it is let go.
KEPT = """
\tif (persist && !test_bit(offset, chip->direction_map))
\t\treturn;
"""
FREE = "static void gpio_sim_free(struct gpio_chip *gc, unsigned int offset)\n{\n"
PERSIST = "static bool persist;\nmodule_param(persist, bool, 0644);\n\n"


class Guest(NamedTuple):
    kernel: Path
    initramfs: Path


def missing_tools(tools: Iterable[str] = TOOLS) -> list[str]:
    places = os.environ["PATH"] + ":/usr/sbin:/sbin"
    return [tool for tool in tools if shutil.which(tool, path=places) is None]


def guest() -> Guest:
    """Built when it is not there. Raises CalledProcessError when a step fails."""
    abi = _abi()
    folder = CACHE / f"{abi}-{_fingerprint()}"
    CACHE.mkdir(parents=True, exist_ok=True)
    with alone(CACHE / "lock"):
        if not (folder / "done").exists():
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            _fetch(folder, abi)
            _build_modules(folder, abi)
            _pack(folder, abi)
            (folder / "done").touch()
    return Guest(folder / f"boot/vmlinuz-{abi}", folder / "initramfs.gz")


def _abi() -> str:
    """Of Debian's newest kernel, such as 6.1.0-50-amd64."""
    told = _said(["apt-cache", "depends", "linux-image-amd64"])
    found = re.search(r"Depends: linux-image-(\S+)", told)
    assert found, f"apt knows no kernel; apt-get update first: {told!r}"
    return found[1]


def _fingerprint() -> str:
    ours = [KERNEL_TESTS / "guest" / "init", *(KERNEL_TESTS / "modules").iterdir(), Path(__file__)]
    return hashlib.sha256(b"".join(path.read_bytes() for path in sorted(ours))).hexdigest()[:12]


# --- fetch


def _fetch(folder: Path, abi: str) -> None:
    common, series = abi.removesuffix("-amd64"), re.match(r"\d+\.\d+", abi)
    assert series
    packages = [
        f"linux-image-{abi}", f"linux-headers-{abi}", f"linux-headers-{common}-common",
        f"linux-kbuild-{series[0]}", f"linux-source-{series[0]}",
    ]  # fmt: skip
    _run(["apt-get", "download", "-qq", *packages], folder)
    for package in sorted(folder.glob("*.deb")):
        if package.name.startswith("linux-source"):
            _take_sources(package, folder, f"linux-source-{series[0]}")
        else:
            _run(["dpkg", "-x", str(package), str(folder)], folder)
        package.unlink()


def _take_sources(package: Path, folder: Path, name: str) -> None:
    """Three files of 80 000; the rest is not unpacked."""
    with (
        subprocess.Popen(["dpkg", "--fsys-tarfile", str(package)], stdout=subprocess.PIPE) as feed,
        tarfile.open(fileobj=feed.stdout, mode="r|") as outer,
    ):
        inner = next(member for member in outer if member.name.endswith(f"{name}.tar.xz"))
        compressed = outer.extractfile(inner)
        assert compressed
        packed = folder / "source.tar.xz"
        with packed.open("wb") as file:
            shutil.copyfileobj(compressed, file)
        feed.kill()
    sources = folder / "source"
    sources.mkdir()
    wanted = [f"{name}/{path}" for path in TAKEN]
    _run(["tar", "-xJf", str(packed), "-C", str(sources), "--strip-components=1", *wanted], folder)
    packed.unlink()


# --- build


def _build_modules(folder: Path, abi: str) -> None:
    build = folder / "build"
    build.mkdir()
    for path in (KERNEL_TESTS / "modules").glob("*.c"):
        shutil.copy(path, build)
    source = folder / "source"
    shutil.copy(source / "drivers/gpio/gpiolib.h", build)
    (build / "gpio_sim_main.c").write_text(
        _keeping_levels((source / "drivers/gpio/gpio-sim.c").read_text())
    )
    (build / "irq_sim.c").write_text(_out_of_tree((source / "kernel/irq/irq_sim.c").read_text()))
    (build / "Makefile").write_text(MAKEFILE)
    headers = folder / "usr/src" / f"linux-headers-{abi}"
    makefile = headers / "Makefile"
    makefile.write_text(makefile.read_text().replace("include /usr", f"include {folder}/usr"))
    _run(["make", "-s", "-C", str(headers), f"M={build}", "modules"], folder)


def _keeping_levels(text: str) -> str:
    begin = text.index(FREE) + len(FREE)
    declared = text.index("\n\n", begin) + 1
    return (
        text[: begin - len(FREE)]
        + PERSIST
        + text[begin - len(FREE) : declared]
        + KEPT
        + text[declared:]
    )


def _out_of_tree(text: str) -> str:
    """What the kernel does not export is had another way."""
    text = text.replace(
        "#include <linux/irq.h>", "#include <linux/irq.h>\n#include <linux/irqdesc.h>"
    )
    return text.replace("irq_to_desc(irqnum)", "irq_data_to_desc(irq_get_irq_data(irqnum))")


# --- pack


def _pack(folder: Path, abi: str) -> None:
    root = folder / "root"
    modules = root / "lib/modules" / abi
    for place in ("bin", "proc", "sys", "dev"):
        (root / place).mkdir(parents=True)
    modules.mkdir(parents=True)
    busybox = shutil.which("busybox")
    assert busybox
    shutil.copy(busybox, root / "bin/busybox")
    for applet in APPLETS:
        (root / "bin" / applet).symlink_to("busybox")
    for path in _with_needed(folder / "lib/modules" / abi, MODULES):
        shutil.copy(path, modules)
    for name in ("virtual_ads1115", "gpio-sim"):
        _run(["strip", "--strip-debug", "-o", f"{modules}/{name}.ko", f"build/{name}.ko"], folder)
    for name in ("modules.builtin", "modules.order"):
        shutil.copy(folder / "lib/modules" / abi / name, modules)
    shutil.copy(KERNEL_TESTS / "guest" / "init", root / "init")
    (root / "init").chmod(0o755)
    (folder / "initramfs.gz").write_bytes(gzip.compress(packed_tree(root), 1))
    for place in ("root", "build", "source", "usr", "lib"):
        shutil.rmtree(folder / place, ignore_errors=True)


def packed_tree(root: Path) -> bytes:
    """As the kernel unpacks it; everything belongs to root there."""
    names = "\n".join(sorted(str(p.relative_to(root)) for p in root.rglob("*")))
    return subprocess.run(
        ["cpio", "-o", "-H", "newc", "--quiet", "-R", "0:0"], input=names.encode(), cwd=root,
        check=True, capture_output=True,
    ).stdout  # fmt: skip


def _with_needed(tree: Path, wanted: Iterable[str]) -> Iterator[Path]:
    """The modules, and those they need."""
    files = {path.stem.replace("-", "_"): path for path in tree.rglob("*.ko")}
    waiting, seen = [name.replace("-", "_") for name in wanted], set()
    while waiting:
        name = waiting.pop()
        if name in seen or name not in files:  # else it is built in
            continue
        seen.add(name)
        yield files[name]
        needed = _said([_modinfo(), "-F", "depends", str(files[name])]).strip().split(",")
        waiting += [one.replace("-", "_") for one in needed if one]


def _modinfo() -> str:
    return shutil.which("modinfo", path=os.environ["PATH"] + ":/usr/sbin:/sbin") or "modinfo"


# --- commands


@contextmanager
def alone(lock: Path) -> Iterator[None]:
    """Among the processes of a test run."""
    with lock.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def _run(command: list[str], folder: Path) -> None:
    subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True)


def _said(command: list[str]) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout
