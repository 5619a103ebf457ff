"""Which program the units start, and whether the service can reach it."""

import os
import sys
import sysconfig
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from supervisor.host import install_executable
from supervisor.host.install_executable import (
    NAME,
    Unfit,
    own_executable,
    refuse_odd,
    refuse_out_of_reach,
)


@pytest.fixture
def place(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """To which everybody may pass, and which nothing hides."""
    monkeypatch.setattr(install_executable, "HIDDEN", ("/home", "/root"))
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)


def program(folder: Path, mode: int = 0o755) -> Path:
    path = folder / NAME
    path.write_text("#!/bin/sh\n")
    path.chmod(mode)
    return path


# --- which


def test_it_is_the_one_that_was_called(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    called = program(place)
    monkeypatch.setattr(sys, "argv", [str(called), "install-units"])
    assert own_executable() == called


def test_a_link_is_kept_as_it_outlives_what_it_points_to(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (place / "bin").mkdir()
    link = place / "bin" / NAME
    link.symlink_to(program(place))
    monkeypatch.setattr(sys, "argv", [str(link)])
    assert own_executable() == link


@pytest.mark.parametrize("called", [NAME, f"./{NAME}", f"sub/../{NAME}"])
def test_a_path_from_here_is_told_from_the_root(
    place: Path, monkeypatch: pytest.MonkeyPatch, called: str
) -> None:
    (place / "sub").mkdir()
    expected = program(place)
    monkeypatch.chdir(place)
    monkeypatch.setattr(sys, "argv", [called])
    assert own_executable() == expected.resolve()


def test_of_a_module_it_is_the_one_beside_this_python(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "argv", ["/somewhere/supervisor/__main__.py"])
    monkeypatch.setattr(sysconfig, "get_path", lambda _name: str(place))
    with pytest.raises(Unfit, match="no program") as unfit:
        own_executable()
    assert unfit.value.remedy
    expected = program(place)
    assert own_executable() == expected


# --- a path that systemd reads as it is written


@pytest.mark.parametrize("path", ["/usr/bin/holdwatch", "/opt/hold-watch_2.0+b1~a/bin/holdwatch"])
def test_plain_paths_are_fine(path: str) -> None:
    refuse_odd(Path(path))


@pytest.mark.parametrize("letter", [*" \t\n%$\"'\\;#{}()*?<>|&!`^", "\x07", "é", "\u2028"])
def test_letters_that_unit_files_give_a_meaning_are_refused(letter: str) -> None:
    with pytest.raises(Unfit) as unfit:
        refuse_odd(Path(f"/opt/a{letter}b/holdwatch"))
    assert unfit.value.remedy
    assert str(unfit.value).isprintable()


@pytest.mark.parametrize("path", ["holdwatch", "bin/holdwatch", "/opt/bin/python3", "/"])
def test_what_is_no_whole_path_to_it_is_refused(path: str) -> None:
    with pytest.raises(Unfit):
        refuse_odd(Path(path))


# --- whether the service can reach it


def test_one_for_everybody_is_fine(place: Path) -> None:
    refuse_out_of_reach(program(place))


@pytest.mark.parametrize("hidden", ["/home", "/root", "/run/user", "/tmp", "/var/tmp"])
def test_what_the_sandbox_hides(hidden: str) -> None:
    """systemd.exec(5): ProtectHome= hides the first three, PrivateTmp= the others."""
    assert hidden in install_executable.HIDDEN


def test_one_in_a_hidden_folder(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(install_executable, "HIDDEN", (str(place),))
    with pytest.raises(Unfit, match="hidden from the service") as unfit:
        refuse_out_of_reach(program(place))
    assert "/opt/holdwatch" in unfit.value.remedy


def test_a_link_to_one_in_a_hidden_folder(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (place / "home").mkdir()
    link = place / NAME
    link.symlink_to(program(place / "home"))
    refuse_out_of_reach(link)
    monkeypatch.setattr(install_executable, "HIDDEN", (str(place / "home"),))
    with pytest.raises(Unfit, match="hidden"):
        refuse_out_of_reach(link)


def test_a_folder_whose_name_only_begins_so(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(install_executable, "HIDDEN", (str(place / "home"),))
    (place / "homestead").mkdir()
    refuse_out_of_reach(program(place / "homestead"))


@pytest.mark.parametrize("mode", [0o750, 0o744, 0o751, 0o700])
def test_a_program_that_others_cannot_run(place: Path, mode: int) -> None:
    with pytest.raises(Unfit, match=f"{mode:04o}") as unfit:
        refuse_out_of_reach(program(place, mode))
    assert "chmod o+rX" in unfit.value.remedy


@pytest.mark.parametrize("mode", [0o750, 0o754, 0o700])
def test_a_folder_that_others_cannot_pass(place: Path, mode: int) -> None:
    inner = place / "private" / "bin"
    inner.mkdir(parents=True)
    path = program(inner)
    (place / "private").chmod(mode)
    with pytest.raises(Unfit, match="private") as unfit:
        refuse_out_of_reach(path)
    assert str(place / "private") in unfit.value.remedy


def test_one_that_is_not_there(place: Path) -> None:
    with pytest.raises(Unfit, match="no program"):
        refuse_out_of_reach(place / NAME)


@pytest.mark.parametrize("part", ["python", "library", "package"])
def test_what_this_one_runs_on_has_to_be_in_reach_as_well(
    place: Path, monkeypatch: pytest.MonkeyPatch, part: str
) -> None:
    """A virtual environment for everybody may stand on a Python in somebody's home."""
    called = program(place)
    monkeypatch.setattr(sys, "argv", [str(called)])
    home = place / "home"
    home.mkdir()
    (home / "part.py").write_text("")
    parts = {"python": sys, "library": os, "package": install_executable.supervisor}
    for name, owner in parts.items():
        attribute = "executable" if name == "python" else "__file__"
        monkeypatch.setattr(owner, attribute, str(home / "part.py" if name == part else called))
    refuse_out_of_reach(called)
    monkeypatch.setattr(install_executable, "HIDDEN", (str(home),))
    with pytest.raises(Unfit, match=r"part\.py"):
        refuse_out_of_reach(called)
    another = place / "other"
    another.mkdir()
    refuse_out_of_reach(program(another))  # that one runs on something else
