"""The leaves, on whatever kernel the tests run."""

import os
import stat
from pathlib import Path

import pytest

from supervisor.host.check_config_txt import ConfigTxt
from supervisor.host.check_kernel import CHIP_INFO_BYTES, GET_CHIP_INFO, GET_LINE_INFO, Kernel
from supervisor.host.check_kernel import LINE_INFO_BYTES as LINE_BYTES
from supervisor.host.check_machine import LARGEST_BYTES, Access, Machine, User
from supervisor.host.check_unit import assigned, daemon_unit
from supervisor.host.checks.watchdog import span_s

NO_CHIP = "Inappropriate ioctl|No such file"


@pytest.mark.parametrize(
    ("request_number", "direction", "number", "size"),
    [(GET_CHIP_INFO, 2, 1, CHIP_INFO_BYTES), (GET_LINE_INFO, 3, 5, LINE_BYTES)],
)
def test_the_requests_are_made_as_the_kernels_headers_make_them(
    request_number: int, direction: int, number: int, size: int
) -> None:
    """_IOR, _IOWR of include/uapi/asm-generic/ioctl.h; type 0xB4 of include/uapi/linux/gpio.h."""
    assert request_number == direction << 30 | size << 16 | 0xB4 << 8 | number


def test_what_is_no_gpio_chip_raises_os_error(tmp_path: Path) -> None:
    for device in (Path("/dev/null"), tmp_path, tmp_path / "absent"):
        with pytest.raises(OSError, match=NO_CHIP):
            Kernel().chip_label(device)
        with pytest.raises(OSError, match=NO_CHIP):
            Kernel().line(device, 17)


def test_the_clock_answers_and_is_not_set() -> None:
    assert Kernel().is_synchronised() in (True, False)


def test_room_is_what_the_system_says(tmp_path: Path) -> None:
    told = Kernel().room(tmp_path)
    assert 0 <= told.free_bytes <= os.statvfs(tmp_path).f_blocks * os.statvfs(tmp_path).f_frsize
    with pytest.raises(FileNotFoundError):
        Kernel().room(tmp_path / "absent")


def test_trying_to_write_leaves_nothing_behind(tmp_path: Path) -> None:
    Kernel().try_writing(tmp_path)
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(FileNotFoundError):
        Kernel().try_writing(tmp_path / "absent")


def test_the_caller_is_who_runs_it() -> None:
    uid, gids = Kernel().caller()
    assert uid == os.geteuid()
    assert os.getegid() in gids


def test_a_long_file_of_the_kernel_is_read_to_its_end() -> None:
    """Which gives a page of it at a time."""
    text = Machine().text("/proc/self/smaps")
    assert text
    assert len(text) == LARGEST_BYTES or text.rstrip().rpartition("\n")[2].startswith("VmFlags")


@pytest.mark.parametrize(
    ("user", "bits", "may"),
    [
        (User("owner", 5, frozenset({9})), 6, True),
        (User("owner", 5, frozenset({7})), 4, True),  # the owner's bits count, not the group's
        (User("member", 6, frozenset({1, 7})), 4, True),
        (User("member", 6, frozenset({1, 7})), 2, False),
        (User("other", 6, frozenset({1})), 4, False),
        (User("other", 6, frozenset({1})), 1, True),
        (User("root", 0, frozenset()), 7, True),
    ],
)
def test_rights_are_those_of_owner_then_group_then_others(user: User, bits: int, may: bool) -> None:
    assert Access(5, 7, stat.S_IFREG | 0o641).lets(user, bits) is may


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("10", 10), ("10s", 10), ("1min", 60), ("1m 5s", 65), ("1min5", 65), ("500ms", 0.5),
        ("0", 0), ("off", 0), ("infinity", 0), ("", None), ("s", None), ("10 x", None),
        ("1.5s", 1.5), ("²", None), ("-1", None), ("1e3", None),
    ],
)  # fmt: skip
def test_times_as_systemd_writes_them(text: str, seconds: float | None) -> None:
    assert span_s(text) == seconds


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("[Service]\nUser=a\n", ["a"]),
        ("[Service]\nUser=a\nUser=b\n", ["a", "b"]),
        ("[Service]\nUser=a\nUser=\nUser = c \n", ["c"]),
        ("[Unit]\nUser=a\n", []),
        ("User=a\n", []),
        ("[Service]\n#User=a\n;User=a\n", []),
        ("[Service]\nUser=a \\\nb\n", ["a  b"]),
        ("[Service]\nUser\n=a\n", []),
    ],
)
def test_values_of_a_unit_file(text: str, values: list[str]) -> None:
    assert assigned([text], "Service", "User") == values


def test_the_strongest_unit_file_counts_and_its_drop_ins_add_to_it(tmp_path: Path) -> None:
    def write(path: str, *lines: str) -> None:
        file = tmp_path / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text("\n".join(["[Service]", *lines]))

    unit = "systemd/system/holdwatch@.service"
    write(f"usr/lib/{unit}", "User=vendor")
    assert daemon_unit(Machine(tmp_path), "hut").user == "vendor"
    write(f"usr/local/lib/{unit}", "User=local", "ExecStart=!/opt/x/bin/holdwatch run %i")
    write(f"etc/{unit}.d/50.conf", "User=dropped-in", "SupplementaryGroups=i2c")
    write("etc/systemd/system/holdwatch@hut.service.d/60.conf", "SupplementaryGroups=gpio a")
    write("etc/systemd/system/holdwatch@other.service.d/60.conf", "User=other")
    found = daemon_unit(Machine(tmp_path), "hut")
    assert (found.user, found.groups) == ("dropped-in", ("i2c", "gpio", "a"))
    assert found.program == "/opt/x/bin/holdwatch"
    write(f"usr/lib/{unit}.d/50.conf", "User=hidden by the one of the same name in etc")
    assert daemon_unit(Machine(tmp_path), "hut").user == "dropped-in"
    write(f"etc/{unit}")
    assert daemon_unit(Machine(tmp_path), "").program == ""


def test_config_txt_is_looked_for_in_both_places(tmp_path: Path) -> None:
    assert ConfigTxt.of(Machine(tmp_path)) is None
    (tmp_path / "boot" / "firmware").mkdir(parents=True)
    (tmp_path / "boot" / "config.txt").write_text("dtparam=a=1\n")
    found = ConfigTxt.of(Machine(tmp_path))
    assert found
    assert (found.path, found.parameter("a")) == ("/boot/config.txt", "1")
    (tmp_path / "boot" / "firmware" / "config.txt").write_text("dtparam=a=2 # 3\n")
    found = ConfigTxt.of(Machine(tmp_path))
    assert found
    assert found.parameter("a") == "2"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("gpio=17=op,dl", ("op", "dl")),
        ("gpio=2,17=op,dl", ("op", "dl")),
        ("gpio=10-20=op,dh", ("op", "dh")),
        ("gpio=17=op\ngpio=17=dh", ("op", "dh")),
        ("gpio=18-20=op,dh", ()),
        ("gpio=170=op", ()),
        ("#gpio=17=op", ()),
        ("[none]\ngpio=17=op\n[all]\ngpio=16=op", ()),
        ("[none]\n[pi5]\ngpio=17=pu", ("pu",)),
    ],
)
def test_what_config_txt_makes_of_a_pin(tmp_path: Path, text: str, words: tuple[str, ...]) -> None:
    (tmp_path / "boot").mkdir()
    (tmp_path / "boot" / "config.txt").write_text(text)
    found = ConfigTxt.of(Machine(tmp_path))
    assert found
    assert found.at_power_on(17) == words
