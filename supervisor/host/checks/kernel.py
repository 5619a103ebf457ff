"""How soon the kernel lets the loop run."""

import re
from collections.abc import Iterator

from supervisor.host.check_answer import Answer, cannot_tell, fault, good, note, warning
from supervisor.host.check_host import Host

RUNTIME = "/proc/sys/kernel/sched_rt_runtime_us"
REAL_TIME = ("rr", "fifo")  # CPUSchedulingPolicy of systemd.exec(5)
GOVERNORS = "/sys/devices/system/cpu/cpu*/cpufreq/scaling_governor"
CONTROLLERS = "/sys/fs/cgroup/cgroup.controllers"
DRIVER = "/sys/devices/system/cpu/cpu0/cpufreq/scaling_driver"
OF_ITS_OWN = ("intel_pstate", "amd-pstate-epp", "amd_pstate_epp")  # there powersave is not slowest


def realtime(host: Host) -> Iterator[Answer]:
    microseconds = host.machine.number(RUNTIME)
    if microseconds is None:
        yield cannot_tell("whether the daemon may run in real time: the kernel does not say")
    elif microseconds == 0:
        yield fault(
            "the kernel gives no time to real-time processes (sched_rt_runtime_us is 0)",
            "The unit asks for it: the daemon does not start.",
            "sudo sysctl kernel.sched_rt_runtime_us=950000, and see what sets it in /etc/sysctl.d.",
        )
    elif microseconds < 0:
        yield note(
            "real-time processes may take all of the processor (sched_rt_runtime_us is -1)",
            "One that runs wild leaves nothing for anybody else.",
            "sudo sysctl kernel.sched_rt_runtime_us=950000",
        )
    elif host.unit.is_there and not {*host.unit.values("CPUSchedulingPolicy")[-1:]} & {*REAL_TIME}:
        yield note("the kernel would let the daemon run in real time; its unit does not ask for it")
    else:
        yield good("the daemon may run in real time")


def governor(host: Host) -> Iterator[Answer]:
    found = {host.machine.word(path) for path in host.machine.found(GOVERNORS)} - {None}
    words = ", ".join(sorted(str(word) for word in found))
    if not found:
        yield cannot_tell("how the processor's clock is set: the kernel does not say")
    elif "powersave" in found and host.machine.word(DRIVER) not in OF_ITS_OWN:
        yield warning(
            f"the processor is kept at its lowest clock (governor {words})",
            "Every cycle takes longer, and may be late: it opens then.",
            "echo ondemand | sudo tee /sys/devices/system/cpu/cpu*/cpufreq/scaling_governor, and "
            "see what sets it at the start.",
        )
    else:
        yield good(f"the processor's clock follows its work (governor {words})")


def swap(host: Host) -> Iterator[Answer]:
    text = host.machine.text("/proc/swaps")
    if text is None:
        yield cannot_tell("whether memory is moved out to a disk: the kernel does not say")
        return
    rows = [line.split() for line in text.splitlines()[1:]]
    slow = [row[0] for row in rows if row and not row[0].startswith("/dev/zram")]
    if slow:
        yield note(
            f"memory may be moved out to {', '.join(slow)}",
            "The daemon locks its own where its unit lets it (LimitMEMLOCK); without, a loop whose "
            "memory is fetched from a card is late, and opens. Swapping wears the card as well.",
            "With memory enough: sudo swapoff -a, and see what switches it on (swapon --show).",
        )
    else:
        yield good("no memory is moved out to a disk" + (" (zram only)" if rows else ""))


def memory_limit(host: Host) -> Iterator[Answer]:
    """Raspberry Pi OS starts without, as a rule (common practice, no source)."""
    controllers = host.machine.word(CONTROLLERS)
    if controllers is None:
        yield cannot_tell("whether the memory of a service can be limited: the kernel does not say")
    elif "memory" in controllers.split():
        yield good("the kernel can limit the memory of a service")
    else:
        yield note(
            "the kernel does not limit a service's memory: MemoryMax of the units does nothing",
            "A page or a delivery that eats memory presses on the daemon as well.",
            "Add cgroup_enable=memory to the line in /boot/firmware/cmdline.txt, then start anew.",
        )


def cores(host: Host) -> Iterator[Answer]:
    count = _count(host.machine.word("/sys/devices/system/cpu/online") or "")
    if not count:
        yield cannot_tell("how many processors there are: the kernel does not say")
    elif count == 1:
        yield warning(
            "there is one processor core only",
            "The page and the journal wait for the loop, and the loop for the kernel: it opens "
            "by loop_overrun when that takes too long.",
            "Try it for days with the supply off, or take a board with four cores.",
        )
    else:
        yield good(f"{count} processor cores")


def _count(text: str) -> int:
    """Of a list such as 0-3 or 0,2-3."""
    if not re.fullmatch(r"\d{1,4}(-\d{1,4})?(,\d{1,4}(-\d{1,4})?)*", text, re.ASCII):
        return 0
    ends = [part.partition("-") for part in text.split(",")]
    return sum(max(0, int(last or first) - int(first) + 1) for first, _, last in ends)


CHECKS = {
    "realtime": realtime,
    "governor": governor,
    "swap": swap,
    "memory_limit": memory_limit,
    "cores": cores,
}
