"""What the process may do: by its unit, and by what it loads."""

import subprocess
import sys
from pathlib import Path

UNIT = Path(__file__).parents[2] / "systemd" / "holdwatch-messages@.service"


def set_to(key: str) -> list[str]:
    lines = UNIT.read_text("utf-8").splitlines()
    return [line.partition("=")[2] for line in lines if line.startswith(f"{key}=")]


def test_its_user_is_its_own_and_it_can_reach_no_socket_of_the_daemon() -> None:
    """It reads the journal as a member of the group that may close: by a Unix socket."""
    assert set_to("User") == ["holdwatch-messages"]
    assert set_to("RestrictAddressFamilies") == ["AF_INET AF_INET6"]


def test_it_can_write_in_its_own_folder_only() -> None:
    assert set_to("ProtectSystem") == ["strict"]
    assert set_to("ReadWritePaths") == []
    (folder,) = set_to("StateDirectory")
    assert f"--sent-dir /var/lib/{folder}" in set_to("ExecStart")[0]


def test_those_that_deliver_may_come_to_their_end_when_it_is_stopped() -> None:
    assert set_to("KillMode") == ["mixed"]


def test_the_process_that_stays_never_loads_apprise() -> None:
    """It is large, and what it logs holds addresses."""
    program = (
        "import sys, supervisor.cli.messages, supervisor.messages.watch, supervisor.messages.load,"
        " supervisor.messages.courier; print([m for m in sys.modules if m.startswith('apprise')])"
    )
    asked = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert asked.stdout.strip() == "[]"
