"""What each check of disk, users, service and kernel is to say of a machine."""

import errno

from pi_spoils import (
    KEY,
    LISTENING,
    OURS,
    TOKEN,
    WATCHDOG_CONF,
    Spoil,
    block,
    caller,
    free,
    mounted,
    no_settings,
    own,
    private,
    process,
    remove,
    unit,
    write,
)
from pi_tree import GPIO, GROUPS, HOLDWATCH, I2C, MOUNTS, RUN, SETTINGS, STATE

from supervisor.host.check_answer import State

ABOVE = "/etc/systemd/system/holdwatch@.service.d"

FAULT, WARNING, CANNOT_TELL, NOTE, GOOD = State

# The check, its answer, words of it, and what is changed before.
CASES: list[tuple[str, State, str, tuple[Spoil, ...]]] = [
    # --- disk
    ("disk.keeps", GOOD, "ext4", ()),
    *(("disk.keeps", state, kind, (mounted("ext4", kind),)) for kind, state in (
        ("overlay", FAULT), ("tmpfs", FAULT), ("nfs4", WARNING), ("vfat", WARNING),
        ("btrfs", GOOD), ("newfs", CANNOT_TELL))),
    ("disk.keeps", FAULT, "tmpfs", (
        write("/proc/self/mountinfo", f"{MOUNTS}3 1 0:30 / /var/lib rw - tmpfs tmpfs rw\n"),)),
    ("disk.keeps", GOOD, "ext4", (
        write("/proc/self/mountinfo", f"{MOUNTS}3 1 0:30 / /var/li rw - tmpfs tmpfs rw\n"),)),
    ("disk.keeps", CANNOT_TELL, "does not say", (remove("/proc/self/mountinfo"),)),
    ("disk.writable", GOOD, "to be written", ()),
    ("disk.writable", FAULT, "read only", (mounted("rw,noatime", "ro,noatime"),)),
    ("disk.writable", FAULT, "read only", (mounted("/dev/root rw", "/dev/root ro,errors=x"),)),
    ("disk.writable", CANNOT_TELL, "does not say", (write("/proc/self/mountinfo", "nonsense"),)),
    ("disk.room", GOOD, "550 MB are free; the journal may still take 500 MB", (free(550.0),)),
    ("disk.room", WARNING, "549 MB", (free(549.4),)),
    ("disk.room", GOOD, "may still take 300 MB", (
        free(400), lambda tree: tree.write_hole(f"{STATE}/journal.sqlite", 200_000_000))),
    ("disk.room", FAULT, "19 MB", (free(19.4),)),
    ("disk.room", FAULT, "no file can be added", (free(5000, 0),)),
    ("disk.room", GOOD, "free", (free(5000, None),)),
    ("disk.errors", GOOD, "mmcblk0p2 has had no errors", ()),
    ("disk.errors", WARNING, "has had errors: 3", (
        write("/sys/fs/ext4/mmcblk0p2/errors_count", "3\n"),)),
    ("disk.errors", CANNOT_TELL, "does not say", (remove("/sys/fs/ext4/mmcblk0p2/errors_count"),)),
    ("disk.errors", CANNOT_TELL, "xfs does not count", (mounted("ext4", "xfs"),)),
    ("disk.card", GOOD, "up to 20 %", ()),
    ("disk.card", WARNING, "80 % of its spare", (
        write("/sys/block/mmcblk0/device/pre_eol_info", "0x02\n"),)),
    ("disk.card", WARNING, "90 % through", (
        write("/sys/block/mmcblk0/device/life_time", "0x01 0x0A\n"),)),
    ("disk.card", CANNOT_TELL, "SD cards do not say", (remove("/sys/block/mmcblk0"),)),
    ("disk.card", NOTE, "not on a memory card", (
        lambda tree: tree.link("/sys/dev/block/179:2", "../../devices/sda/sda2"),)),
    ("disk.run_folder", GOOD, "in memory", ()),
    ("disk.run_folder", WARNING, "ext4, not in memory", (mounted("/run rw", "/other rw"),)),
    ("disk.run_folder", CANNOT_TELL, "does not say", (remove("/proc/self/mountinfo"),)),
    # --- folders and files
    ("folders.state", GOOD, "may write", ()),
    ("folders.state", NOTE, "makes it at its start", (remove(STATE),)),
    ("folders.state", FAULT, "root:root 0755", (own(STATE, 0, 0, 0o040755),)),
    ("folders.state", FAULT, "may not write", (own("/var/lib", 0, 0, 0o040700),)),
    ("folders.state", FAULT, "anybody may change", (own(STATE, HOLDWATCH, HOLDWATCH, 0o040777),)),
    ("folders.state", FAULT, "not a folder", (
        remove(STATE), write(STATE, ""), own(STATE, HOLDWATCH, HOLDWATCH, 0o100644))),
    ("folders.state", CANNOT_TELL, "which folder", (no_settings,)),
    ("folders.state", CANNOT_TELL, "no user", (write("/etc/passwd", ""),)),
    ("folders.run", GOOD, "may write", ()),
    ("folders.run", NOTE, "makes it at its start", (remove(RUN),)),
    ("folders.run", FAULT, "may not write", (own(RUN, 0, HOLDWATCH, 0o040755),)),
    ("folders.writing", GOOD, "reached the medium", ()),
    ("folders.writing", FAULT, "no space left", (
        lambda tree: setattr(
            tree.kernel, "refusal", OSError(errno.ENOSPC, "No space left on device")),)),
    ("folders.writing", CANNOT_TELL, "this user may not", (caller(1000, 1000),)),
    ("folders.settings", GOOD, "holdwatch may read", ()),
    ("folders.settings", FAULT, "holdwatch may not read", (own(SETTINGS, 0, 0, 0o100600),)),
    ("folders.settings", FAULT, "holdwatch may not read", (own("/etc/holdwatch", 0, 0, 0o040700),)),
    ("folders.settings", FAULT, "anybody may change", (own(SETTINGS, 0, 0, 0o100666),)),
    ("folders.settings", FAULT, "anybody may change /etc/holdwatch (", (
        own("/etc/holdwatch", 0, 0, 0o040777),)),
    ("folders.settings", WARNING, "a whole group", (own(SETTINGS, 0, HOLDWATCH, 0o100660),)),
    ("folders.settings", CANNOT_TELL, "there are none", (no_settings,)),
    ("folders.settings", CANNOT_TELL, "no such user", (write("/etc/passwd", ""),)),
    ("folders.secrets", GOOD, "its owner alone", private(TOKEN, 0o100600)),
    ("folders.secrets", WARNING, "open to others", private(TOKEN, 0o100604)),
    ("folders.secrets", WARNING, "open to others", private(KEY, 0o100620)),
    ("folders.secrets", WARNING, "holdwatch-web may not read", private(KEY, 0o100600, HOLDWATCH)),
    ("folders.secrets", WARNING, "is not there", (block("web", token_file=TOKEN),)),
    ("folders.secrets", WARNING, "hut.messages.yaml, is open", (
        write("/etc/holdwatch/hut.messages.yaml", ""),
        own("/etc/holdwatch/hut.messages.yaml", 0, 0, 0o100644))),
    # --- users
    ("users.service", GOOD, "holdwatch is there", ()),
    ("users.service", FAULT, "no user holdwatch", (write("/etc/passwd", "root:x:0:0:::\n"),)),
    ("users.service", FAULT, "as root", (unit("User=root"),)),
    ("users.service", FAULT, "no user nobody-here", (unit("User=nobody-here"),)),
    ("users.groups", GOOD, "i2c, gpio", ()),
    ("users.groups", FAULT, "is no group gpio", (
        write("/etc/group", GROUPS.replace(f"gpio:x:{GPIO}:\n", "")),)),
    ("users.groups", FAULT, "are no groups i2c, gpio", (
        write("/etc/group", f"holdwatch:x:{HOLDWATCH}:\n"),)),
    ("users.groups", FAULT, "not in the group i2c, gpio", (unit("SupplementaryGroups="),)),
    ("users.groups", GOOD, "i2c, gpio", (
        unit("SupplementaryGroups="),
        write("/etc/group", GROUPS.replace(f":{I2C}:", f":{I2C}:a,holdwatch")
              .replace(f":{GPIO}:", f":{GPIO}:holdwatch")))),
    ("users.groups", CANNOT_TELL, "no user", (write("/etc/passwd", ""),)),
    ("users.caller", GOOD, "root", ()),
    ("users.caller", GOOD, "in the group", (caller(1000, 1000, HOLDWATCH),)),
    ("users.caller", NOTE, "not since you logged in", (caller(1000, 1000),)),
    ("users.caller", NOTE, "not in the group", (caller(4000, 4000),)),
    ("users.caller", CANNOT_TELL, "no group", (caller(4000), write("/etc/group", ""))),
    # --- service
    ("units.files", GOOD, "as this version writes them", ()),
    ("units.files", WARNING, "is edited", (
        lambda tree: tree.write(OURS, tree.machine.text(OURS) + "Nice=5\n"),)),
    ("units.files", WARNING, "is not ours", (write(OURS, "[Service]\n"),)),
    ("units.files", FAULT, f"{OURS} is missing", (remove(OURS),)),
    ("units.files", FAULT, "is masked", (
        lambda tree: tree.link("/etc/systemd/system/holdwatch@.service", "/dev/null"),)),
    ("units.files", WARNING, "holdwatch-web@.service is missing", (
        remove(OURS.replace("@", "-web@")),)),
    ("units.files", FAULT, "not installed", (remove("/usr/local/lib"),)),
    ("units.enabled", GOOD, "holdwatch@hut.service starts", ()),
    ("units.enabled", WARNING, "does not start with", (
        remove("/etc/systemd/system/multi-user.target.wants"),)),
    ("units.enabled", WARNING, "does not start with", (
        remove("/etc/systemd/system/multi-user.target.wants"),
        write("/etc/systemd/system/multi-user.target.wants/holdwatch@other.service", ""))),
    ("units.enabled", CANNOT_TELL, "no service", (
        remove("/etc/systemd/system/multi-user.target.wants", OURS),)),
    ("units.restarted", GOOD, "nothing", ()),
    ("units.restarted", NOTE, "needrestart", (write("/usr/sbin/needrestart", ""),)),
    # --- what guards the circuit in the unit in force
    ("protection.kept", GOOD, "as they are delivered", ()),
    ("protection.kept", GOOD, "as they are delivered", (
        unit("WatchdogSec=2000ms", "Nice=-5", "SupplementaryGroups=spi",
             "ExecStopPost=/usr/bin/logger %i has ended"),)),
    ("protection.kept", GOOD, "as they are delivered", (
        write(OURS.replace("/usr/local/lib", "/etc").replace("@", "@other") + ".d/mine.conf",
              "[Service]\nRestart=no\n"),)),
    *(("protection.kept", WARNING, f"{line.partition('=')[0]} is ", (unit(*before, line),))
      for line, *before in (
          ("ExecStart=/usr/bin/true", "ExecStart="), ("ExecStopPost=",),
          ("ExecStopPost=/usr/bin/logger ended", "ExecStopPost="),
          ("WatchdogSec=30",), ("WatchdogSec=0",), ("WatchdogSec=",), ("WatchdogSignal=SIGABRT",),
          ("Restart=no",), ("RestartPreventExitStatus=69",), ("Type=exec",), ("User=root",),
          ("CPUSchedulingPolicy=other",), ("CPUSchedulingPriority=1",), ("LimitMEMLOCK=64K",),
          ("LimitMEMLOCK=",), ("RuntimeDirectory=",), ("RuntimeDirectoryMode=0777",),
          ("RuntimeDirectoryPreserve=no",), ("StateDirectory=other",))),
    *(("protection.kept", WARNING, f"not 2 ({path})", (write(path, "[Service]\nWatchdogSec=9\n"),))
      for path in (
          f"{folder}/systemd/system/{name}.d/mine.conf"
          for folder in ("/etc", "/run", "/usr/local/lib", "/usr/lib")
          for name in ("holdwatch@.service", "holdwatch@hut.service"))),
    ("protection.kept", WARNING, "WatchdogSec is 9, not 2", (
        unit("WatchdogSec=3"), write(f"{ABOVE}/zz.conf", "[Service]\nWatchdogSec=9\n"))),
    ("protection.kept", WARNING, "WatchdogSec is 9, not 2 (/etc/systemd/system/holdwatch@hut.ser", (
        lambda tree: tree.write("/etc/systemd/system/holdwatch@hut.service",
            tree.machine.text(OURS).replace("WatchdogSec=2\n", "WatchdogSec=9\n")),)),
    ("protection.kept", WARNING, "WatchdogSec is not set", (
        lambda tree: tree.write(OURS, tree.machine.text(OURS).replace("WatchdogSec=2\n", "")),)),
    ("protection.kept", FAULT, "ExecStopPost is not set", (
        block("contactor", drive="level"), unit("ExecStopPost="))),
    ("protection.kept", CANNOT_TELL, "no service", (remove(OURS),)),
    # --- program
    ("program.place", GOOD, "/opt/holdwatch/bin/holdwatch lies", ()),
    ("program.place", FAULT, "/home/warden/python", (
        remove("/opt/holdwatch/bin/python"), write("/home/warden/python", ""),
        lambda tree: tree.link("/opt/holdwatch/bin/python", "../../../home/warden/python"))),
    ("program.place", FAULT, "/home/w/bin/holdwatch", (
        unit("ExecStart=", "ExecStart=/home/w/bin/holdwatch run x"),)),
    ("program.place", FAULT, "/tmp/v/bin/holdwatch", (
        unit("ExecStart=", "ExecStart=/tmp/v/bin/holdwatch run x"),)),
    ("program.place", GOOD, "/home/w/bin/holdwatch", (
        unit("ProtectHome=read-only", "ExecStart=", "ExecStart=-/home/w/bin/holdwatch run x"),)),
    ("program.readable", GOOD, "may run", ()),
    ("program.readable", FAULT, "is not there", (remove("/opt/holdwatch/bin/holdwatch"),)),
    ("program.readable", FAULT, "python is not there", (remove("/opt/holdwatch/bin/python"),)),
    ("program.readable", FAULT, "may not run", (
        own("/opt/holdwatch/bin/holdwatch", 0, 0, 0o100750),)),
    ("program.readable", FAULT, "may not run", (own("/opt/holdwatch", 0, 0, 0o040700),)),
    ("program.readable", CANNOT_TELL, "no such user", (write("/etc/passwd", ""),)),
    # --- watchdog
    ("watchdog.device", GOOD, "there is a hardware", ()),
    ("watchdog.device", WARNING, "there is no", (remove("/dev/watchdog"),)),
    ("watchdog.fed", GOOD, "process 1 alive, not the loop", ()),
    ("watchdog.fed", WARNING, "nobody feeds", (remove(WATCHDOG_CONF),)),
    ("watchdog.fed", WARNING, "nobody feeds", (
        write("/etc/systemd/system.conf.d/zz.conf", "[Manager]\nRuntimeWatchdogSec=off\n"),)),
    ("watchdog.fed", GOOD, "=10s", (
        write("/usr/lib/systemd/system.conf.d/20.conf", "[Manager]\nRuntimeWatchdogSec=1m\n"),)),
    ("watchdog.fed", WARNING, "nobody feeds", (
        write(WATCHDOG_CONF, "#[Manager]\n[Other]\nRuntimeWatchdogSec=10s\n"),)),
    ("watchdog.fed", WARNING, "more than the 15 s", (
        write(WATCHDOG_CONF, "[Manager]\nRuntimeWatchdogSec=1min\n"),)),
    ("watchdog.fed", WARNING, "more than the 15 s", (
        remove("/sys/class/watchdog/watchdog0/max_timeout"),
        write(WATCHDOG_CONF, "[Manager]\nRuntimeWatchdogSec = 16 \n"))),
    ("watchdog.fed", GOOD, "as it found it", (
        write(WATCHDOG_CONF, "[Manager]\nRuntimeWatchdogSec=default\n"),)),
    ("watchdog.fed", WARNING, "it does not run", (
        write("/sys/class/watchdog/watchdog0/state", "inactive\n"),)),
    ("watchdog.fed", CANNOT_TELL, "whether it runs", (
        remove("/sys/class/watchdog/watchdog0/state"),)),
    ("watchdog.fed", CANNOT_TELL, "what RuntimeWatchdogSec=soon", (
        write(WATCHDOG_CONF, "[Manager]\nRuntimeWatchdogSec=soon\n"),)),
    # --- kernel
    ("kernel.realtime", GOOD, "may run in real time", ()),
    ("kernel.realtime", NOTE, "its unit does not ask", (unit("CPUSchedulingPolicy=other"),)),
    ("kernel.realtime", NOTE, "its unit does not ask", (unit("CPUSchedulingPolicy="),)),
    ("kernel.realtime", GOOD, "may run in real time", (unit("CPUSchedulingPolicy=fifo"),)),
    ("kernel.realtime", FAULT, "is 0", (write("/proc/sys/kernel/sched_rt_runtime_us", "0\n"),)),
    ("kernel.realtime", NOTE, "is -1", (write("/proc/sys/kernel/sched_rt_runtime_us", "-1\n"),)),
    ("kernel.realtime", CANNOT_TELL, "not say", (remove("/proc/sys/kernel/sched_rt_runtime_us"),)),
    ("kernel.governor", GOOD, "ondemand", ()),
    ("kernel.governor", WARNING, "powersave", (
        write("/sys/devices/system/cpu/cpu1/cpufreq/scaling_governor", "powersave\n"),)),
    ("kernel.governor", GOOD, "powersave", (
        write("/sys/devices/system/cpu/cpu1/cpufreq/scaling_governor", "powersave\n"),
        write("/sys/devices/system/cpu/cpu0/cpufreq/scaling_driver", "intel_pstate\n"))),
    ("kernel.governor", CANNOT_TELL, "not say", (remove("/sys/devices/system/cpu/cpu0"),)),
    ("kernel.swap", GOOD, "no memory is moved", ()),
    ("kernel.swap", GOOD, "zram only", (write("/proc/swaps", "Name\n/dev/zram0 p 1 0 5\n"),)),
    ("kernel.swap", NOTE, "/var/swap", (
        write("/proc/swaps", "Name\n/dev/zram0 p 1 0 5\n/var/swap file 1 0 -2\n"),)),
    ("kernel.swap", CANNOT_TELL, "not say", (remove("/proc/swaps"),)),
    ("kernel.cores", GOOD, "4 processor cores", ()),
    ("kernel.cores", GOOD, "3 processor cores", (
        write("/sys/devices/system/cpu/online", "0,2-3\n"),)),
    ("kernel.cores", WARNING, "one processor core", (
        write("/sys/devices/system/cpu/online", "0\n"),)),
    ("kernel.cores", CANNOT_TELL, "not say", (write("/sys/devices/system/cpu/online", "all"),)),
    ("kernel.memory_limit", GOOD, "limit", ()),
    ("kernel.memory_limit", NOTE, "MemoryMax", (
        write("/sys/fs/cgroup/cgroup.controllers", "cpuset cpu io pids\n"),)),
    ("kernel.memory_limit", CANNOT_TELL, "not say", (remove("/sys/fs/cgroup"),)),
    # --- page
    ("page.port", GOOD, "8462 of the page is free", ()),
    ("page.port", GOOD, "is free", (write("/proc/net/tcp", LISTENING.replace(" 0A ", " 01 ")),)),
    ("page.port", CANNOT_TELL, "whose port 8462", (write("/proc/net/tcp", LISTENING),)),
    ("page.port", CANNOT_TELL, "whose port 8462", (write("/proc/net/tcp6", LISTENING),)),
    ("page.port", GOOD, "is being served", (
        write("/proc/net/tcp", LISTENING),
        process("python /opt/holdwatch/bin/holdwatch web", "socket:[4711]"))),
    ("page.port", WARNING, "nginx (process 812)", (
        write("/proc/net/tcp", LISTENING), process("/usr/sbin/nginx", "socket:[4711]"))),
    ("page.port", NOTE, "of holdwatch", (
        write("/proc/net/tcp", LISTENING),
        process("python /opt/holdwatch/bin/holdwatch demo", "socket:[4711]"))),
    ("page.port", WARNING, "for root only", (block("web", port=443),)),
    ("page.port", CANNOT_TELL, "not say", (remove("/proc/net/tcp"),)),
    # --- clock
    ("clock.synchronised", GOOD, "set by the network", ()),
    ("clock.synchronised", GOOD, "no clock of its own", (remove("/dev/rtc0"),)),
    ("clock.synchronised", NOTE, "nobody sets the clock", (
        remove("/run/systemd/timesync/synchronized"),
        lambda tree: setattr(tree.kernel, "synchronised", False))),
    ("clock.synchronised", GOOD, "set by the network", (
        remove("/run/systemd/timesync/synchronized"),)),
]  # fmt: skip
