"""``holdwatch drop`` where what the daemon wrote down is odd, or cannot be found: never silent."""

import errno
import json
import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from lines import BUZZER, COIL, LAMP, MAINS, STRANGER, Lines, lines

from supervisor.cli import page_address
from supervisor.cli.main import main
from supervisor.devices.left_outputs import BOOT_ID, LeftOutputs
from supervisor.settings.model import SupervisorSettings

__all__ = ["lines"]
OWN = (COIL, MAINS, BUZZER, LAMP)
GOOD: dict[str, Any] = {
    "boot": BOOT_ID.read_text("ascii").strip(),
    "chip": ["pinctrl-bcm2711"],
    "outputs": [{"name": "coil", "gpio": STRANGER}],
}
ODD: dict[str, bytes] = {
    "nothing": b"",
    "half": json.dumps(GOOD).encode()[:60],
    "no outputs": json.dumps(GOOD | {"outputs": []}).encode(),
    "no coil": json.dumps(GOOD | {"outputs": [{"name": "lamp", "gpio": 16}]}).encode(),
    "no start": json.dumps(GOOD | {"boot": ""}).encode(),
    "odd start": json.dumps(GOOD | {"boot": "x" * 36}).encode(),
    "another start": json.dumps(GOOD | {"boot": "0b3d5c1e-7f35-4f0e-9d44-5d6ad9b0a111"}).encode(),
    "no chip": json.dumps(GOOD | {"chip": []}).encode(),
}
odd = pytest.mark.parametrize("content", ODD.values(), ids=ODD)


def drop(run_dir: Path, *words: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, ["drop", "--run-dir", str(run_dir), *words])
    assert result.stdout == ""
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stderr


@pytest.fixture
def killed(tmp_path: Path, hut_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Run folder of a circuit of the service, whose settings are where they are usually."""
    etc, run_dir = tmp_path / "etc", tmp_path / "run" / "hut-bank"
    etc.mkdir()
    run_dir.mkdir(parents=True)
    (etc / "hut-bank.yaml").write_bytes(hut_path.read_bytes())
    monkeypatch.setattr(page_address, "SETTINGS_DIR", etc)
    return run_dir


@odd
def test_what_the_settings_name_is_dropped_and_somebody_told_to_look(
    killed: Path, lines: Lines, content: bytes
) -> None:
    LeftOutputs(killed).path.write_bytes(content)
    for run_dir in (killed, killed.parent):
        lines.level.update(dict.fromkeys(OWN, 1))
        code, said = drop(run_dir)
        assert code == 1
        assert [lines.level[gpio] for gpio in OWN] == [0, 0, 0, 0]
        assert lines.level[STRANGER] == 1
        assert "hut-bank.yaml: coil (GPIO 17), mains side (GPIO 22)" in said
        for word in ("outputs.json", "why:", "what to do: look at the contactor", "mains switch"):
            assert word in said
    assert LeftOutputs(killed).path.read_bytes() == content


@odd
def test_the_settings_may_be_named(
    tmp_path: Path, hut_path: Path, lines: Lines, content: bytes
) -> None:
    LeftOutputs(tmp_path).path.write_bytes(content)
    code, said = drop(tmp_path, "--config", str(hut_path))
    assert code == 1
    assert f"off, by {hut_path}: coil (GPIO 17)" in said
    assert lines.level[COIL] == 0


@pytest.mark.parametrize("settings", [None, "bank: {", "bank: {}"])
def test_without_settings_either_it_says_so(
    killed: Path, lines: Lines, settings: str | None
) -> None:
    config = page_address.SETTINGS_DIR / "hut-bank.yaml"
    config.unlink()
    if settings is not None:
        config.write_text(settings)
    LeftOutputs(killed).path.write_bytes(ODD["no outputs"])
    code, said = drop(killed)
    assert code == 1
    assert "nothing is switched off" in said
    assert str(config) in said
    assert "mains switch" in said
    assert "--config" in said
    assert lines.done == []


def test_a_line_that_is_busy_is_told(killed: Path, lines: Lines) -> None:
    LeftOutputs(killed).path.write_bytes(ODD["no outputs"])
    lines.busy.add(COIL)
    code, said = drop(killed)
    assert code == 1
    assert "may still be on: coil (GPIO 17), GPIO busy" in said
    assert [lines.level[gpio] for gpio in (MAINS, BUZZER, LAMP)] == [0, 0, 0]


def test_without_the_library_it_says_so(killed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", None)
    monkeypatch.setenv("LG_WD", "")
    LeftOutputs(killed).path.write_bytes(ODD["no outputs"])
    code, said = drop(killed)
    assert code == 1
    assert "lgpio cannot be loaded" in said


def test_a_sound_one_needs_no_settings(killed: Path, lines: Lines) -> None:
    LeftOutputs(killed).path.write_text(json.dumps(GOOD))
    lines.level[COIL] = 1
    assert drop(killed) == (0, f"off: coil (GPIO {STRANGER})\n")
    assert lines.level[COIL] == 1


# --- a folder that does not show what is in it


@pytest.mark.parametrize("number", [errno.EACCES, errno.EIO, errno.ELOOP, errno.EPERM])
def test_a_folder_that_cannot_be_listed_is_told_and_its_own_dropped(
    tmp_path: Path,
    hut_settings: SupervisorSettings,
    lines: Lines,
    monkeypatch: pytest.MonkeyPatch,
    number: int,
) -> None:
    LeftOutputs(tmp_path).write(hut_settings)

    def refused(*_: object) -> Any:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "listdir", refused)
    monkeypatch.setattr(os, "scandir", refused)
    code, said = drop(tmp_path)
    assert code == 1
    assert f"{tmp_path} cannot be listed ({os.strerror(number)})" in said
    assert "why:" in said
    assert "what to do:" in said
    assert "mains switch" in said
    assert lines.level[COIL] == 0
    assert "nothing was left on" not in drop(tmp_path)[1]


@pytest.fixture
def nobody() -> Iterator[None]:
    """May not do everything, as root may."""
    before = os.geteuid()
    if before == 0:
        os.seteuid(65534)
    yield
    os.seteuid(before)


@pytest.mark.usefixtures("nobody")
@pytest.mark.parametrize("of_parent", [False, True])
@pytest.mark.parametrize("mode", [0o000, 0o300, 0o600])
def test_nor_one_that_this_user_may_not_look_into(mode: int, *, of_parent: bool) -> None:
    with tempfile.TemporaryDirectory() as name:
        run_dir = Path(name) / "parent" / "run"
        run_dir.mkdir(parents=True)
        hidden = run_dir.parent if of_parent else run_dir
        hidden.chmod(mode)
        code, said = drop(run_dir)
        hidden.chmod(0o700)
    if of_parent and mode == 0o300:  # the way in is enough
        assert (code, said) == (0, f"nothing was left on in {run_dir}\n")
    else:
        assert code == 1
        assert "mains switch" in said


@pytest.mark.parametrize("make", ["file", "link to itself"])
def test_what_is_no_folder_is_told(tmp_path: Path, make: str) -> None:
    path = tmp_path / "run"
    if make == "file":
        path.touch()
    else:
        path.symlink_to(path)
    result = CliRunner().invoke(main, ["drop", "--run-dir", str(path)])
    assert result.exit_code != 0
    assert isinstance(result.exception, SystemExit)


def test_given_by_a_relative_path_every_circuit_below_is_dropped(
    tmp_path: Path,
    hut_settings: SupervisorSettings,
    lines: Lines,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The GPIO library changes the working folder with the first."""
    for name in ("a", "b"):
        (tmp_path / "run" / name).mkdir(parents=True)
        LeftOutputs(tmp_path / "run" / name).write(hut_settings)
    real = lines.gpiochip_open

    def opened(number: int) -> int:
        os.chdir("/")
        return real(number)

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(lines, "gpiochip_open", opened)
    code, said = drop(Path("run"))
    assert code == 0
    assert said.count("off: coil") == 2
    assert not list(tmp_path.glob("run/*/outputs.json"))


def test_a_folder_that_cannot_be_looked_into_is_not_said_to_be_clear(killed: Path) -> None:
    loop = killed.parent / "loop"
    loop.symlink_to(loop)  # ELOOP, for root as well
    code, told = drop(killed.parent)
    assert code == 1
    assert "nothing was left on" not in told
    assert str(loop) in told


def test_from_a_folder_that_is_gone_it_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    code, told = drop(Path("run"))
    assert code == 1
    assert "give whole paths" in told
