"""What systemd has to do with it: users made, units read again, which of them are at work."""

import subprocess
from collections.abc import Sequence
from pathlib import Path

BOOTED = Path("/run/systemd/system")  # there when systemd runs the machine: sd_booted(3)
PATTERN = "holdwatch*@*.service"
RELOAD = ["systemctl", "daemon-reload"]
# Those in systemd/*.rules: nothing else on the machine is asked to come up again.
OUR_DEVICES = ["--subsystem-match=i2c-dev", "--subsystem-match=gpio"]
PATIENCE_S = 30.0


def is_running() -> bool:
    return BOOTED.is_dir()


def commands_after(paths: Sequence[Path]) -> list[list[str]]:
    """What has to be run once these files are in place."""
    commands = [
        [*command, str(path)]
        for folder, command in (
            ("sysusers.d", ["systemd-sysusers"]),
            ("tmpfiles.d", ["systemd-tmpfiles", "--create"]),
        )
        for path in paths
        if path.parent.name == folder
    ]
    if any(path.parent.name == "rules.d" for path in paths):
        commands.append(["udevadm", "control", "--reload"])
        commands.append(["udevadm", "trigger", *OUR_DEVICES])
    return [*commands, RELOAD]


def run(command: list[str]) -> str | None:
    """None when it went well, or else what it said."""
    try:
        result = subprocess.run(
            command, capture_output=True, text=True, timeout=PATIENCE_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return str(error)
    if result.returncode == 0:
        return None
    return result.stderr.strip() or f"exit code {result.returncode}"


def units_at_work() -> list[str]:
    """Ours that run now, by name. Raises OSError when systemd does not say."""
    command = ["systemctl", "list-units", "--plain", "--no-legend", "--no-pager", "--full"]
    states = "--state=active,activating,reloading,deactivating"
    try:
        result = subprocess.run(
            [*command, states, PATTERN],
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=True,
        )
    except subprocess.SubprocessError as error:
        raise OSError(f"systemctl does not say which units run: {error}") from None
    return [line.split()[0] for line in result.stdout.splitlines() if line.strip()]


def units_enabled(root: Path) -> list[str]:
    """Ours that start by themselves with the machine."""
    return sorted({link.name for link in root.glob(f"etc/systemd/system/*.wants/{PATTERN}")})


def drop_ins(root: Path) -> list[Path]:
    """Folders of somebody's own settings beside our units; never ours to touch."""
    return sorted(root.glob("etc/systemd/system/holdwatch*.service.d"))
