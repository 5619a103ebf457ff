"""Where lockout and record are kept: outlives a power cut, has room, is sound."""

from collections.abc import Iterator
from pathlib import Path

from supervisor.host.check_answer import Answer, cannot_tell, fault, good, note, warning
from supervisor.host.check_host import Host
from supervisor.host.check_machine import Mount
from supervisor.settings.model import Journal

FORGETS = ("tmpfs", "ramfs", "overlay", "squashfs", "devtmpfs")
KEEPS = ("ext4", "ext3", "btrfs", "xfs", "f2fs", "zfs", "bcachefs")
FAR = ("nfs", "nfs4", "cifs", "smb3", "9p", "ceph", "fuse.sshfs")
PLAIN = ("vfat", "exfat", "msdos", "ext2")
MEGABYTE = 1_000_000
SPARE_MEGABYTES = 50  # beside the journal: its own side files, the system's log (our own estimate)
LEAST_MEGABYTES = 20
RUN_KINDS = ("tmpfs", "ramfs")
# Of an eMMC, by JEDEC 84-B51 (memory): what is left of its spare blocks, and its age in tenths.
SPARE_WORDS = {2: "has used 80 % of its spare blocks", 3: "has hardly any spare block left"}
OLD_TENTHS = 9
MOVE = "Keep {folder} on a disk or card that is mounted to be written: `findmnt -T {folder}`."


def keeps(host: Host) -> Iterator[Answer]:
    folder, mount = host.state_dir, _mount(host)
    if mount is None:
        yield cannot_tell(f"what {folder} lies on: the kernel does not say")
    elif mount.kind in FORGETS:
        yield fault(
            f"{folder} lies on {mount.kind}, which forgets at power-off",
            "A lockout would be forgotten with the power: the next start would not know of it.",
            "sudo raspi-config, Performance Options, Overlay File System: off."
            if mount.kind == "overlay" and host.machine.is_pi
            else MOVE.format(folder=folder),
        )
    elif mount.kind in FAR or mount.kind in PLAIN:
        why = "over a network" if mount.kind in FAR else "without a journal of its own"
        yield warning(
            f"{folder} lies on {mount.kind}: {why}",
            "The lockout may be lost at a power cut, or not be written when it has to be.",
            "Keep it on ext4, on this machine.",
        )
    elif mount.kind in KEEPS:
        yield good(f"{folder} lies on {mount.kind}, which outlives a power cut")
    else:
        yield cannot_tell(
            f"whether {mount.kind}, which {folder} lies on, keeps what was written",
            "A lockout must outlive a power cut.",
            "Keep it on ext4.",
        )


def writable(host: Host) -> Iterator[Answer]:
    mount = _mount(host)
    if mount is None:
        yield cannot_tell("whether the disk may be written: the kernel does not say")
    elif "ro" in mount.options:
        yield fault(
            f"{mount.point} is mounted to be read only",
            "The latch cannot be armed: it does not close. A card that fails turns so by itself.",
            "sudo dmesg | grep -i -e ext4 -e mmc; save what you need, and put in a new card.",
        )
    else:
        yield good(f"{mount.point} is mounted to be written")


def room(host: Host) -> Iterator[Answer]:
    journal = host.settings.journal if host.settings else Journal()
    folder = host.machine.nearest(host.state_dir)
    told = host.kernel.room(host.machine.at(folder))
    free = told.free_bytes / MEGABYTE
    kept = sum(_bytes(host, path) for path in host.machine.found(f"{host.state_dir}/journal*"))
    to_come = max(0.0, journal.most_megabytes - kept / MEGABYTE)
    if free < LEAST_MEGABYTES or told.free_files == 0:
        yield fault(
            f"{free:.0f} MB are free where {host.state_dir} lies"
            + ("; no file can be added" if told.free_files == 0 else ""),
            "The latch cannot be armed on a full disk: it does not close.",
            "Make room: sudo journalctl --vacuum-size=100M; sudo apt clean; holdwatch sessions.",
        )
    elif free < to_come + SPARE_MEGABYTES:
        yield warning(
            f"{free:.0f} MB are free where {host.state_dir} lies; the journal may still take "
            f"{to_come:.0f} MB",
            "The disk fills before the journal gives up old sessions: no record then, and no "
            "closing.",
            "Make room, or write a smaller journal.most_megabytes.",
        )
    else:
        yield good(f"{free:,.0f} MB are free; the journal may still take {to_come:.0f} MB of them")


def errors(host: Host) -> Iterator[Answer]:
    mount = _mount(host)
    if mount is None or mount.kind != "ext4":
        kind = mount.kind if mount else "that file system"
        yield cannot_tell(f"whether the file system has had errors: {kind} does not count them")
        return
    count = host.machine.number(f"/sys/fs/ext4/{mount.device}/errors_count")
    if count is None:
        yield cannot_tell("whether the file system has had errors: the kernel does not say")
    elif count:
        yield warning(
            f"the file system on {mount.device} has had errors: {count}",
            "A card or disk that begins to fail turns read-only sooner or later.",
            "Save what you need; check it (fsck) from another machine, or put in a new one.",
        )
    else:
        yield good(f"the file system on {mount.device} has had no errors")


def card(host: Host) -> Iterator[Answer]:
    """What a memory card says of its own age: eMMC does, most SD cards do not."""
    mount = _mount(host)
    device = (mount.device if mount else "").partition("p")[0]
    if not device.startswith("mmcblk"):
        yield note(
            f"{host.state_dir} is not on a memory card: nothing here looks at the disk's health",
            remedy="smartctl -H, if it is a disk.",
        )
        return
    place = f"/sys/block/{device}/device"
    spare = host.machine.number(f"{place}/pre_eol_info", 16)
    ages = (host.machine.word(f"{place}/life_time") or "").split()
    tenths = max((int(age, 16) for age in ages if _is_hex(age)), default=0)
    if spare in SPARE_WORDS or tenths >= OLD_TENTHS:
        words = SPARE_WORDS.get(spare or 0, f"is {(tenths - 1) * 10} % through its life or more")
        yield warning(
            f"the card {device} {words}",
            "It fails or turns read-only before long: no closing then, and no record.",
            "Put in a new one.",
        )
    elif tenths and spare == 1:
        yield good(f"the card {device} is up to {tenths * 10} % through its life")
    else:
        yield cannot_tell(
            f"how worn the card {device} is: SD cards do not say",
            "The record is written every 30 s for days; cards die of that, and of power cuts.",
            "Use one made for endurance; keep a copy of the settings elsewhere.",
        )


def run_folder(host: Host) -> Iterator[Answer]:
    mount = host.machine.mount(host.run_dir)
    if mount is None:
        yield cannot_tell(f"what {host.run_dir} lies on: the kernel does not say")
    elif mount.kind in RUN_KINDS:
        yield good(f"{host.run_dir} lies in memory ({mount.kind})")
    else:
        yield warning(
            f"{host.run_dir} lies on {mount.kind}, not in memory",
            "The status is written four times a second: that wears a card, and a slow one makes "
            "the loop late.",
            "Mount a tmpfs there; on Debian and Raspberry Pi OS all of /run is one.",
        )


def _mount(host: Host) -> Mount | None:
    return host.machine.mount(Path(host.machine.real(host.machine.nearest(host.state_dir))))


def _bytes(host: Host, path: str) -> int:
    try:
        return host.machine.at(path).stat().st_size
    except OSError:
        return 0


def _is_hex(word: str) -> bool:
    return (
        word.startswith("0x") and len(word) == 4 and set(word[2:]) <= set("0123456789abcdefABCDEF")
    )


CHECKS = {
    "keeps": keeps,
    "writable": writable,
    "room": room,
    "errors": errors,
    "card": card,
    "run_folder": run_folder,
}
