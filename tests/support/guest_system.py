"""A system with systemd and the project installed, for a guest: one archive, unpacked into memory.

Nothing is downloaded but the project's own dependencies: the files are those of Debian's packages
that this machine has. In memory, because the guest's clock runs ahead while it waits for a disk.
"""

import hashlib
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

from guest_kernel import CACHE, KERNEL_TESTS, Guest, alone, packed_tree

PROJECT = Path(__file__).parents[2]
UNITS = KERNEL_TESTS / "guest" / "units"
SOURCES = ("supervisor", "config", "systemd", "pyproject.toml", "README.md", "LICENSE")
PYTHON = "/usr/bin/python3"  # Debian's own: one in a home, the units' sandbox hides
TOOLS = (PYTHON, "systemd-sysusers", "/lib/systemd/systemd")  # python3-venv systemd
PACKAGES = ("systemd", "python3", "dash", "coreutils", "base-files", "libc-bin")
# Besides, no unit of Debian's is started but by a unit of the bench.
NOT_NEEDED = re.compile(r"/usr/share/(doc|man|locale|info)/|\.target\.wants|/system-generators/")
MERGED = ("bin", "sbin", "lib", "lib64")  # links to those below /usr
HOLDWATCH = "opt/holdwatch"  # as in the unit files
USERS = "root:x:0:0:root:/root:/bin/sh\nnobody:x:65534:65534:nobody:/:/usr/sbin/nologin\n"
GROUPS = "root:x:0:\nnogroup:x:65534:\n"


def system(kernel: Guest) -> Guest:
    """The kernel with that system behind its own first files. Raises CalledProcessError."""
    packages = sorted(_with_needed(PACKAGES))
    place = CACHE / f"system-{_fingerprint(kernel, packages)}"
    CACHE.mkdir(parents=True, exist_ok=True)
    with alone(CACHE / "system.lock"):
        if not (place / "done").exists():
            for old in CACHE.glob("system-*/"):
                shutil.rmtree(old)
            tree = place / "tree"
            _copy_debian(packages, tree / "system")
            _install(tree / "system")
            first = kernel.initramfs.read_bytes()
            aligned = first + bytes(-len(first) % 4)
            (place / "initramfs").write_bytes(aligned + packed_tree(tree))
            shutil.rmtree(tree)
            (place / "done").touch()
    return Guest(kernel.kernel, place / "initramfs")


def _fingerprint(kernel: Guest, packages: list[str]) -> str:
    digest = hashlib.sha256(kernel.initramfs.read_bytes() + Path(__file__).read_bytes())
    digest.update(_said("dpkg-query", "-W", *packages).encode())
    for path in (*_sources(), *_files(UNITS)):
        digest.update(str(path.relative_to(PROJECT)).encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:12]


def _sources() -> Iterator[Path]:
    for name in SOURCES:
        yield from _files(PROJECT / name)


def _files(top: Path) -> Iterator[Path]:
    found = sorted(top.rglob("*")) if top.is_dir() else [top]
    yield from (p for p in found if p.is_file() and "__pycache__" not in p.parts)


# --- Debian


def _with_needed(packages: tuple[str, ...]) -> set[str]:
    """Those that are installed here, and what they depend on."""
    waiting, seen = list(packages), set()
    while waiting:
        name = waiting.pop()
        asked = ["dpkg-query", "-W", "-f=${db:Status-Status} ${Pre-Depends}, ${Depends}", name]
        told = subprocess.run(asked, capture_output=True, text=True, check=False).stdout
        if name in seen or not told.startswith("installed"):
            continue
        seen.add(name)
        waiting += re.findall(r"[a-z0-9][a-z0-9+.-]+", re.sub(r"\(.*?\)|:\w+", "", told))
    return seen


def _copy_debian(packages: list[str], root: Path) -> None:
    for name in MERGED:
        (root / "usr" / name).mkdir(parents=True)
        (root / name).symlink_to(f"usr/{name}")
    for name in ("dev", "proc", "sys", "run", "tmp", "var/tmp", "root", "mnt/share", "etc"):
        (root / name).mkdir(parents=True)
    for name in ("tmp", "var/tmp"):
        (root / name).chmod(0o1777)
    for line in _said("dpkg-query", "-L", *packages).splitlines():
        if line.startswith("/") and not NOT_NEEDED.search(line):
            _copy(Path(line), root)
    shutil.copy("/etc/ld.so.cache", root / "etc")
    (root / "etc/passwd").write_text(USERS)
    (root / "etc/group").write_text(GROUPS)
    (root / "etc/machine-id").write_text(f"{1:032x}\n")


def _copy(path: Path, root: Path) -> None:
    """A file, a link, and what was compiled of a file."""
    real = path.parent.resolve() / path.name
    target = root / real.relative_to("/")
    is_folder = real.is_dir() and not real.is_symlink()
    if is_folder or os.path.lexists(target) or not os.path.lexists(real):
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copy2(real, target, follow_symlinks=False)
    if path.suffix == ".py":
        for compiled in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
            _copy(compiled, root)


# --- the project


def _install(root: Path) -> None:
    """As a user does, from a copy: setuptools leaves files where it builds, and takes up old ones.

    What takes most room goes again: no daemon needs it.
    """
    venv = root / HOLDWATCH
    python = str(venv / "bin/python")
    _said(PYTHON, "-m", "venv", str(venv))
    with tempfile.TemporaryDirectory() as copy:
        for path in (PROJECT / name for name in SOURCES):
            if path.is_dir():
                shutil.copytree(path, Path(copy) / path.name, symlinks=True)
            else:
                shutil.copy(path, copy)
        _said(python, "-m", "pip", "install", "-q", f"{copy}[messages]")
    script = venv / "bin/holdwatch"
    executable = f"/{HOLDWATCH}/bin/holdwatch"
    _said(str(script), "install-units", "--root", str(root), "--executable", executable)
    script.write_text(script.read_text().replace(f"#!{venv}", f"#!/{HOLDWATCH}", 1))
    shutil.copytree(UNITS, root / "etc/systemd/system", dirs_exist_ok=True)
    _said("systemd-sysusers", f"--root={root}")
    _said(python, "-m", "pip", "uninstall", "-q", "-y", "numpy", "setuptools", "pip")


def _said(*command: str) -> str:
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout
