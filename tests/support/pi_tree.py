"""A Raspberry Pi as a tree of files, sound in everything, to be spoilt one thing at a time."""

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from supervisor.control.instance import claim
from supervisor.devices.errors import HardwareMissing
from supervisor.host.check_host import Host
from supervisor.host.check_kernel import Kernel, Line, Room
from supervisor.host.check_machine import Access, Machine
from supervisor.host.unit_files import unit_files
from supervisor.settings.model import SupervisorSettings

FOLDER, FILE, DEVICE = 0o040755, 0o100644, 0o020660
I2C, GPIO, HOLDWATCH, WEB = 110, 111, 990, 991
SETTINGS = "/etc/holdwatch/hut.yaml"
RUN, STATE = "/run/holdwatch/hut", "/var/lib/holdwatch/hut"

PASSWD = (
    "root:x:0:0:root:/root:/bin/bash\n"
    "warden:x:1000:1000:,,,:/home/warden:/bin/bash\n"
    f"holdwatch:x:{HOLDWATCH}:{HOLDWATCH}::/:/usr/sbin/nologin\n"
    f"holdwatch-web:x:{WEB}:{WEB}::/:/usr/sbin/nologin\n"
)
GROUPS = (
    f"root:x:0:\nwarden:x:1000:\ni2c:x:{I2C}:\ngpio:x:{GPIO}:\nholdwatch:x:{HOLDWATCH}:warden\n"
    f"holdwatch-web:x:{WEB}:\n"
)
MOUNTS = (
    "1 0 179:2 / / rw,noatime shared:1 - ext4 /dev/root rw\n"
    "2 1 0:22 / /run rw,nosuid shared:2 - tmpfs tmpfs rw\n"
)
SWAPS = "Filename\t\tType\t\tSize\n"
PORTS = "  sl  local_address rem_address   st\n"

FILES = {
    "/proc/device-tree/model": "Raspberry Pi 4 Model B Rev 1.4\0",
    "/proc/self/mountinfo": MOUNTS,
    "/proc/swaps": SWAPS,
    "/proc/net/tcp": PORTS,
    "/proc/sys/kernel/sched_rt_runtime_us": "950000\n",
    "/proc/sys/net/ipv4/ip_unprivileged_port_start": "1024\n",
    "/etc/passwd": PASSWD,
    "/etc/group": GROUPS,
    SETTINGS: "",
    f"{RUN}/.keep": "",
    f"{STATE}/.keep": "",
    "/etc/systemd/system/multi-user.target.wants/holdwatch@hut.service": "",
    "/etc/systemd/system.conf.d/watchdog.conf": "[Manager]\nRuntimeWatchdogSec=10s\n",
    "/boot/firmware/config.txt": "dtparam=i2c_arm=on\n[all]\ngpio=17,22=op,dl\n",
    "/dev/i2c-1": "",
    "/dev/gpiochip0": "",
    "/dev/watchdog": "",
    "/dev/rtc0": "",
    "/run/systemd/timesync/synchronized": "",
    "/run/systemd/system/.keep": "",
    "/opt/holdwatch/bin/holdwatch": "#!/opt/holdwatch/bin/python\n",
    "/opt/holdwatch/bin/python": "",
    "/sys/bus/i2c/devices/i2c-1/of_node/clock-frequency": (400_000).to_bytes(4, "big"),
    "/sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs": "N\n",
    "/sys/devices/platform/soc/soc:firmware/get_throttled": "0\n",
    "/sys/class/thermal/thermal_zone0/type": "cpu-thermal\n",
    "/sys/class/thermal/thermal_zone0/temp": "48312\n",
    "/sys/class/watchdog/watchdog0/state": "active\n",
    "/sys/class/watchdog/watchdog0/timeout": "10\n",
    "/sys/class/watchdog/watchdog0/max_timeout": "15\n",
    "/sys/fs/cgroup/cgroup.controllers": "cpuset cpu io memory pids\n",
    "/sys/devices/system/cpu/online": "0-3\n",
    "/sys/devices/system/cpu/cpu0/cpufreq/scaling_governor": "ondemand\n",
    "/sys/fs/ext4/mmcblk0p2/errors_count": "0\n",
    "/sys/block/mmcblk0/device/life_time": "0x01 0x02\n",
    "/sys/block/mmcblk0/device/pre_eol_info": "0x01\n",
}
OWNERS = {
    "/dev/i2c-1": Access(0, I2C, DEVICE),
    "/dev/gpiochip0": Access(0, GPIO, DEVICE),
    RUN: Access(HOLDWATCH, HOLDWATCH, FOLDER),
    STATE: Access(HOLDWATCH, HOLDWATCH, FOLDER),
    SETTINGS: Access(0, HOLDWATCH, 0o100640),
    "/opt/holdwatch/bin/holdwatch": Access(0, 0, 0o100755),
    "/opt/holdwatch/bin/python": Access(0, 0, 0o100755),
}
CONFIG_AFTER_RESET = 0x8583


class TreeMachine(Machine):
    """Owners and modes as told, so that no test needs to be root."""

    def __init__(self, root: Path) -> None:
        super().__init__(root)
        self.owners = dict(OWNERS)

    def access(self, path: str | Path) -> Access | None:
        real = super().access(path)
        if real is None or str(path) in self.owners:
            return real and self.owners[str(path)]
        return Access(0, 0, FOLDER if self.at(path).is_dir() else FILE)


@dataclass
class Chips:
    """A bus on which each address answers a configuration, or an error; it counts the asking."""

    configurations: dict[int, int | OSError]
    asked: list[tuple[int, bytes]] = field(default_factory=list)
    is_closed: bool = False

    def writeto_then_readfrom(self, address: int, out: bytes, into: bytearray) -> None:
        self.asked.append((address, out))
        answer = self.configurations.get(address, OSError(121, "Remote I/O error"))
        if isinstance(answer, OSError):
            raise answer
        into[:] = answer.to_bytes(2, "big")

    def close(self) -> None:
        self.is_closed = True


@dataclass
class TreeKernel(Kernel):
    """The leaves, without a kernel."""

    chips: Chips = field(
        default_factory=lambda: Chips({0x48: CONFIG_AFTER_RESET, 0x49: CONFIG_AFTER_RESET})
    )
    missing: HardwareMissing | None = None
    labels: dict[str, str] = field(default_factory=lambda: {"gpiochip0": "pinctrl-bcm2711"})
    used: dict[int, str] = field(default_factory=dict)
    synchronised: bool = True
    free: Room = field(default_factory=lambda: Room(20_000_000_000, 1_000_000))
    refusal: OSError | None = None
    who: tuple[int, frozenset[int]] = (0, frozenset({0}))
    tried: list[Path] = field(default_factory=list)

    def open_bus(self, number: int, deadline_s: float) -> Chips:  # type: ignore[override]
        assert (number, deadline_s) == (1, 0.02)
        if self.missing:
            raise self.missing
        return self.chips

    def chip_label(self, device: Path) -> str:
        if device.name not in self.labels:
            raise PermissionError(13, "Permission denied")
        return self.labels[device.name]

    def line(self, device: Path, number: int) -> Line:
        assert device.name in self.labels
        return Line(number in self.used, self.used.get(number, ""))

    def is_synchronised(self) -> bool:
        return self.synchronised

    def room(self, path: Path) -> Room:
        assert path.exists()
        return self.free

    def try_writing(self, folder: Path) -> None:
        self.tried.append(folder)
        if self.refusal:
            raise self.refusal

    def caller(self) -> tuple[int, frozenset[int]]:
        return self.who


class PiTree:
    """``host()`` looks at the tree as it is by then; ``let_go`` ends what was claimed."""

    def __init__(self, root: Path, settings: SupervisorSettings | None) -> None:
        self.root, self.settings = root, settings
        self.machine, self.kernel = TreeMachine(root), TreeKernel()
        self._locks: list[int] = []
        for path, content in FILES.items():
            self.write(path, content)
        for wanted in unit_files():
            self.write(f"/{wanted.path}", wanted.content)
        self.link("/sys/dev/block/179:2", "../../devices/mmc0/mmcblk0/mmcblk0p2")

    def write(self, path: str, content: str | bytes) -> None:
        place = self.machine.at(path)
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content.encode() if isinstance(content, str) else content)

    def write_hole(self, path: str, size: int) -> None:
        """A file of that many bytes that takes no room."""
        self.write(path, "")
        os.truncate(self.machine.at(path), size)

    def link(self, path: str, target: str) -> None:
        place = self.machine.at(path)
        place.parent.mkdir(parents=True, exist_ok=True)
        place.unlink(missing_ok=True)
        place.symlink_to(target)

    def remove(self, path: str) -> None:
        place = self.machine.at(path)
        if place.is_dir():
            shutil.rmtree(place)
        else:
            place.unlink()

    def own(self, path: str, uid: int, gid: int, mode: int) -> None:
        self.machine.owners[path] = Access(uid, gid, mode)

    def process(self, number: int, arguments: str, *holds: str) -> None:
        self.write(f"/proc/{number}/cmdline", arguments.replace(" ", "\0") + "\0")
        self.machine.at(f"/proc/{number}/fd").mkdir(exist_ok=True)
        for name, target in enumerate(holds):
            self.link(f"/proc/{number}/fd/{name}", target)

    def claim(self, folder: str) -> None:
        self.write(f"{folder}/holdwatch.lock", "")
        self._locks.append(claim(self.machine.at(folder)))

    def let_go(self) -> None:
        """What was claimed. To be called at the end of a test."""
        while self._locks:
            os.close(self._locks.pop())

    def hide_processes(self) -> None:
        """As for a user who may not look at what others have open."""
        self.write("/proc/77/fd", "")
        self.write("/proc/77/cmdline", "secret\0")

    def with_settings(self, change: Callable[[SupervisorSettings], SupervisorSettings]) -> None:
        assert self.settings
        self.settings = change(self.settings)

    def host(self) -> Host:
        file = Path(SETTINGS) if self.settings else None
        machine = TreeMachine(self.root)
        machine.owners = self.machine.owners
        return Host(Path(RUN), Path(STATE), file, self.settings, 0, machine, self.kernel)

    def files(self) -> list[Path]:
        return sorted(Path(folder, n) for folder, _, names in os.walk(self.root) for n in names)
