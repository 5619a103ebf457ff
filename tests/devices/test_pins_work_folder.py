"""The GPIO library makes a pipe where it works; nothing of it stays in the run folder."""

import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from lines import lines

from supervisor.devices.left_outputs import LeftOutputs
from supervisor.devices.pins import load_lgpio
from supervisor.settings.model import SupervisorSettings

__all__ = ["lines"]
PIPE = ".lgd-nfy0"
# As the library does when it is imported: a pipe in its working folder, both of its ends opened.
STAND_IN = """
import os
name = os.path.join(os.environ["LG_WD"], ".lgd-nfy0")
if os.path.lexists(name):
    os.unlink(name)
os.mkfifo(name)
ends = os.open(name, os.O_RDWR | os.O_NONBLOCK)
made = os.stat(name).st_ino
"""


@pytest.fixture
def stand_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Its folder; it is what ``import lgpio`` finds."""
    folder = tmp_path / "library"
    folder.mkdir()
    (folder / "lgpio.py").write_text(STAND_IN)
    monkeypatch.syspath_prepend(folder)
    monkeypatch.delitem(sys.modules, "lgpio", raising=False)
    monkeypatch.setenv("LG_WD", "")  # restored afterwards
    return folder


@pytest.fixture
def run_dir(tmp_path: Path) -> Path:
    folder = tmp_path / "run"
    folder.mkdir()
    return folder


def test_its_pipe_is_gone_at_once_and_works_on(stand_in: Path, run_dir: Path) -> None:
    library = load_lgpio(run_dir)
    assert library.__file__ == str(stand_in / "lgpio.py")
    assert list(run_dir.iterdir()) == []
    os.write(library.ends, b"edge")
    assert os.read(library.ends, 9) == b"edge"
    os.close(library.ends)


@pytest.mark.usefixtures("stand_in")
def test_nor_does_one_stay_that_a_killed_run_left(run_dir: Path) -> None:
    os.mkfifo(run_dir / PIPE)
    os.close(load_lgpio(run_dir).ends)
    assert list(run_dir.iterdir()) == []


@pytest.mark.usefixtures("stand_in")
def test_what_else_is_there_stays(run_dir: Path) -> None:
    for name in (".lgd-nfy", ".lgd-nfy1", "lgd-nfy0", "status.json"):
        (run_dir / name).touch()
    os.close(load_lgpio(run_dir).ends)
    assert len(list(run_dir.iterdir())) == 4


@pytest.mark.usefixtures("lines")
def test_a_library_that_made_none_is_as_good(run_dir: Path) -> None:
    """As when it was loaded before."""
    load_lgpio(run_dir)
    (run_dir / PIPE).mkdir()  # not its own: nothing is done to it, and it hinders nobody
    load_lgpio(run_dir)
    assert (run_dir / PIPE).is_dir()


@pytest.mark.usefixtures("stand_in")
def test_a_pipe_that_cannot_be_removed_stops_nobody(
    run_dir: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "unlink", refused)
    library = load_lgpio(run_dir)
    assert stat.S_ISFIFO((run_dir / PIPE).stat().st_mode)
    os.close(library.ends)


@pytest.mark.usefixtures("lines")
def test_drop_leaves_nothing_either(run_dir: Path, hut_settings: SupervisorSettings) -> None:
    left = LeftOutputs(run_dir)
    left.write(hut_settings)
    os.mkfifo(run_dir / PIPE)
    assert left.switch_off()
    assert list(run_dir.iterdir()) == []


def test_the_library_itself_leaves_nothing_and_goes_on(run_dir: Path) -> None:
    """In a process of its own: it does so once."""
    pytest.importorskip("lgpio")  # it has no wheel for every Python (pyproject.toml)
    probe = (
        "import os, sys, threading\n"
        "from pathlib import Path\n"
        "from supervisor.devices.pins import load_lgpio\n"
        "lgpio = load_lgpio(Path(sys.argv[1]))\n"
        "names = [os.readlink(f'/proc/self/fd/{n}') for n in os.listdir('/proc/self/fd')\n"
        "         if os.path.islink(f'/proc/self/fd/{n}')]\n"
        "print(sum('.lgd-nfy0' in name for name in names), lgpio.notify_open())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe, str(run_dir)], capture_output=True, text=True, check=True
    )
    assert done.stdout == "2 1\n"  # both ends of the first; another one can be made
    assert [one.name for one in run_dir.iterdir()] == [".lgd-nfy1"]  # by the test alone
