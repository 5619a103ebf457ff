"""What can be wrong with the tree of ``pi_tree``: each a change of it, to be named in a table."""

from collections.abc import Callable

from pi_tree import MOUNTS, WEB, PiTree

from supervisor.host.check_kernel import Room
from supervisor.settings.hardware import Probe

Spoil = Callable[[PiTree], None]
OURS = "/usr/local/lib/systemd/system/holdwatch@.service"
FLAGS = "/sys/devices/platform/soc/soc:firmware/get_throttled"
HERTZ = "/sys/bus/i2c/devices/i2c-1/of_node/clock-frequency"
KEPT = "/sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs"
CONFIG_TXT = "/boot/firmware/config.txt"
WATCHDOG_CONF = "/etc/systemd/system.conf.d/watchdog.conf"
TOKEN, KEY = "/etc/holdwatch/hut.token", "/etc/holdwatch/hut.key"
LISTENING = "  sl  local\n   0: 00000000:210E 00000000:0000 0A 0:0 0:0 0 0 0 4711 1\n"


def write(path: str, content: str | bytes) -> Spoil:
    return lambda tree: tree.write(path, content)


def remove(*paths: str) -> Spoil:
    def change(tree: PiTree) -> None:
        for path in paths:
            tree.remove(path)

    return change


def own(path: str, uid: int, gid: int, mode: int) -> Spoil:
    return lambda tree: tree.own(path, uid, gid, mode)


def process(arguments: str, *holds: str) -> Spoil:
    return lambda tree: tree.process(812, arguments, *holds)


def unit(*lines: str) -> Spoil:
    """A drop-in of the circuit's own service."""
    text = "\n".join(["[Service]", *lines])
    return write("/etc/systemd/system/holdwatch@hut.service.d/mine.conf", text)


def config_txt(text: str) -> Spoil:
    return write(CONFIG_TXT, text)


def caller(uid: int, *gids: int) -> Spoil:
    return lambda tree: setattr(tree.kernel, "who", (uid, frozenset(gids)))


def free(megabytes: float, files: int | None = 1000) -> Spoil:
    return lambda tree: setattr(tree.kernel, "free", Room(int(megabytes * 1e6), files))


def chip(address: int, answer: int | OSError) -> Spoil:
    return lambda tree: tree.kernel.chips.configurations.update({address: answer})


def mounted(old: str, new: str) -> Spoil:
    assert old in MOUNTS
    return write("/proc/self/mountinfo", MOUNTS.replace(old, new))


def settings(**blocks: object) -> Spoil:
    return lambda tree: tree.with_settings(lambda s: s.model_copy(update=blocks))


def block(name: str, **values: object) -> Spoil:
    def change(tree: PiTree) -> None:
        tree.with_settings(
            lambda s: s.model_copy(update={name: getattr(s, name).model_copy(update=values)})
        )

    return change


def probe(**values: object) -> Spoil:
    return settings(probes={"sink": Probe(place="heat_sink", **values)})


def claimed(folder: str) -> Spoil:
    """As by a daemon at work."""
    return lambda tree: tree.claim(folder)


def private(path: str, mode: int, uid: int = WEB) -> tuple[Spoil, ...]:
    name = "token_file" if path == TOKEN else "key_file"
    return (block("web", **{name: path}), write(path, "x" * 30), own(path, uid, uid, mode))


def no_settings(tree: PiTree) -> None:
    tree.settings = None


def no_pi(tree: PiTree) -> None:
    tree.remove("/proc/device-tree/model")


def hidden(tree: PiTree) -> None:
    tree.hide_processes()


def unasked(tree: PiTree) -> None:
    tree.kernel.labels = {}


def level(tree: PiTree) -> None:
    block("contactor", drive="level")(tree)
